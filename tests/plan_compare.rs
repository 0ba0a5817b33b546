//! Situations held against each other: contracts, services, prices, and the best boxes. The
//! contracts' workshop counts in inches and ounces, as in `plan_bars.rs`, where its prices come from.

mod plan_bench;

use dawnslip::cli::crew;
use dawnslip::cli::screen::Screen;
use dawnslip::config;
use dawnslip::model::*;
use dawnslip::plan::compare::{
    Against, Answer, Change, CompareError, Comparison, Dated, Days, Job, Pool, Situation, alone, best_boxes, chart, run,
};
use jiff::civil::{Date, date};
use plan_bench::*;
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::process::Command;

const BOXES: [(&str, [i64; 3]); 3] = [("5x4x2", [5, 4, 2]), ("9x5x3", [9, 5, 3]), ("6x6x6", [6, 6, 6])];

/// Three services for all, a fixed-price mailer and volume tiers for those with a contract.
fn shop() -> Workshop {
    let mut shop = empty();
    let inches = |[l, w, h]: [i64; 3]| format!("{l} x {w} x {h} in").parse().expect("sides");
    shop.containers = BOXES.iter().map(|(name, sides)| carton(name, inches(*sides), 0, g(0), 0)).collect();
    let mut mailer = carton("mailer", mm(1, 1, 1), 0, g(0), 0);
    let flat = ["12.5 in", "9.5 in"].map(|side| side.parse().expect("a side"));
    let thickness_max = Length::from_mm(150);
    mailer.kind = ContainerKind::PaddedMailer { flat, outer: flat, allowance: [Length::ZERO; 2], thickness_max };
    mailer.carriers = true;
    mailer.goods = false;
    mailer.takes = BOXES.iter().map(|(name, _)| (*name).into()).collect();
    shop.containers.push(mailer);
    let own: Vec<ContainerName> = BOXES.iter().map(|(name, _)| (*name).into()).collect();
    let mut light = service("light", by_ounces(&[("8", 346), ("15.999", 533)]));
    light.containers.clone_from(&own);
    let mut standard = service("standard", by_ounces(&[("8", 716), ("16", 780), ("32", 905), ("80", 1290)]));
    standard.containers.clone_from(&own);
    let mut fixed = service("mailer", Price::Fixed(BTreeMap::from([(String::new(), eur(800))])));
    fixed.containers = vec!["mailer".into()];
    fixed.contract = Some("fixed".into());
    let mut tiers = service("tiers", by_tenths(&[690, 732, 810]));
    tiers.containers = own;
    tiers.contract = Some("volume".into());
    shop.services = vec![light, standard];
    // In the file the mailer stands first.
    shop.contracts.absent = vec![(0, fixed), (3, tiers)];
    shop
}

/// A day: ten light things, four of 26 oz, three of 65 oz, two of 80 oz.
fn day(shop: &mut Workshop) -> Vec<Dated> {
    let filling = |[l, w, h]: [i64; 3]| mm(l * 25, w * 25, h * 25);
    shop.products = vec![
        product("LIGHT", "Light", filling([5, 4, 2]), ounces("8")),
        product("MIDDLE", "Middle", filling([9, 5, 3]), ounces("26")),
        product("HEAVY", "Heavy", filling([6, 6, 6]), ounces("65")),
        product("HEAVIER", "Heavier", filling([6, 6, 6]), ounces("80")),
    ];
    numbered(
        [("LIGHT", 10), ("MIDDLE", 4), ("HEAVY", 3), ("HEAVIER", 2)]
            .into_iter()
            .flat_map(|(sku, times)| std::iter::repeat_n(vec![(sku, 1)], times)),
    )
}

fn numbered(goods: impl Iterator<Item = Vec<(&'static str, u32)>>) -> Vec<Dated> {
    let each = |(index, lines): (usize, Vec<(&str, u32)>)| {
        Dated::from(Order { key: OrderKey::new("shop", format!("S-{index}")), ..order(&lines) })
    };
    goods.enumerate().map(each).collect()
}

fn today(shop: &Workshop) -> Situation {
    Situation::today(shop, Days::One(date(2026, 11, 25)))
}

fn compared(orders: &[Dated], situations: &[Situation]) -> Comparison {
    run::<Infallible>(orders, situations, &mut alone).expect("nothing fails")
}

fn totals(comparison: &Comparison) -> Vec<i64> {
    comparison.accounts.iter().map(|account| account.cost.total()).collect()
}

fn against(comparison: &Comparison, index: usize) -> &Against {
    comparison.accounts[index].against.as_ref().expect("held against today")
}

fn contract(name: &str) -> Change {
    Change::Contract(name.to_owned(), None)
}

#[test]
fn contracts_are_held_against_a_day_without_them() {
    let mut shop = shop();
    let orders = day(&mut shop);
    let today = today(&shop);
    let situations: Vec<Situation> =
        [vec![], vec![contract("fixed")], vec![contract("volume")], vec![contract("fixed"), contract("volume")]]
            .iter()
            .map(|changes| today.with(changes).expect("there are such contracts"))
            .collect();
    let comparison = compared(&orders, &situations);
    assert_eq!((comparison.orders, comparison.different), (19, 4));
    // 10 x 3.46 + 4 x 9.05 + 5 x 12.90; then 26 oz in the mailer at 8.00; then 26 oz at 6.90 and 65 and 80 oz at 7.32.
    assert_eq!(totals(&comparison), [13_530, 13_110, 9_880, 9_880]);
    assert_eq!(against(&comparison, 1).difference, -420);
    let fixed = &against(&comparison, 1).groups;
    let told: Vec<_> = fixed
        .iter()
        .map(|group| (group.from.as_deref(), group.to.as_deref(), group.orders, group.difference))
        .collect();
    assert_eq!(told, [(Some("9x5x3 by standard"), Some("9x5x3 in a mailer"), 4, Some(-420))]);
    let volume = against(&comparison, 2);
    let told: Vec<_> =
        volume.groups.iter().map(|group| (group.to.as_deref(), group.orders, group.difference)).collect();
    assert_eq!(told, [(Some("6x6x6 by tiers"), 5, Some(-2790)), (Some("9x5x3 by tiers"), 4, Some(-860))]);
    assert_eq!((volume.changed, volume.singles.len()), (9, 9));
    assert_eq!(volume.singles[0].difference(), 732 - 1290);
    // With both, nothing is dearer than with either: not the sum, and no order of it.
    for one in 1..3 {
        let both = compared(&orders, &[situations[one].clone(), situations[3].clone()]);
        assert!(against(&both, 1).groups.iter().all(|group| group.difference.is_some_and(|more| more <= 0)));
    }
    let services = |index: usize| -> Vec<String> {
        comparison.accounts[index].services.iter().map(|(name, count)| format!("{name} {count}")).collect()
    };
    assert_eq!(services(1), ["mailer 4", "light 10", "standard 5"], "services stand where they stand in the file");
    let words = comparison.in_words(&comparison.accounts[2], volume);
    assert_eq!(
        words,
        "With the contract \"volume\" these 19 orders would have cost 36.50 EUR less; it pays if it costs less than that"
    );
    let text = comparison.text();
    for line in [
        "19 orders (4 different); amounts in EUR",
        "   5 orders  6x6x6 by standard -> 6x6x6 by tiers  saves 27.90",
        "   S-14  6x6x6 by standard 12.90 -> 6x6x6 by tiers 7.32  (-5.58)",
    ] {
        assert!(text.lines().any(|known| known == line), "{line:?} is missing in\n{text}");
    }
    assert_eq!(comparison.json()["situations"][2]["against_today"]["difference"], "-36.50 EUR");
    let picture = chart::svg(&comparison, "Tern & Thistle");
    assert!(picture.contains("Tern &amp; Thistle") && picture.contains(">98.80<"), "{picture}");
}

#[test]
fn a_contract_that_costs_something_must_save_more() {
    let mut shop = shop();
    let orders = day(&mut shop);
    for (costs, expected) in [
        (3000, "; the contract costs 30.00 EUR, so it pays: 6.50 EUR are left"),
        (4000, "; the contract costs 40.00 EUR, so it does not pay: 3.50 EUR are lost"),
    ] {
        let with = today(&shop).with(&[Change::Contract("volume".into(), Some(eur(costs)))]).expect("a contract");
        let comparison = compared(&orders, &[today(&shop), with]);
        assert_eq!(against(&comparison, 1).difference, -3650 + costs);
        let words = comparison.in_words(&comparison.accounts[1], against(&comparison, 1));
        assert!(words.ends_with(&format!("36.50 EUR less{expected}")), "{words}");
    }
    // Going back is the same the other way round.
    let with = today(&shop).with(&[contract("volume")]).expect("a contract");
    let back = with.with(&[Change::WithoutContract("volume".into())]).expect("it has it");
    assert_eq!(totals(&compared(&orders, &[with, back])), [9_880, 13_530]);
}

#[test]
fn what_cannot_be_sent_then_is_told_and_stays_out_of_the_difference() {
    let mut shop = shop();
    let orders = day(&mut shop);
    let without = |change| today(&shop).with(&[change]).expect("it is there");
    let situations = [
        today(&shop),
        without(Change::WithoutService("Standard".into())),
        without(Change::WithoutContainer("5x4x2".into())),
    ];
    let comparison = compared(&orders, &situations);
    let lost = against(&comparison, 1);
    assert_eq!((comparison.accounts[1].unplanned, lost.in_both, lost.difference), (9, 10, 0));
    assert_eq!(lost.groups[0].to, None);
    let words = comparison.in_words(&comparison.accounts[1], lost);
    assert_eq!(
        words,
        "Without the service standard 10 of 19 orders would have cost the same; 9 orders could not have been sent"
    );
    // The light things go in a larger box, which costs nothing more here.
    assert_eq!((against(&comparison, 2).difference, against(&comparison, 2).changed), (0, 10));
}

/// Nineteen parcels of one piece, each 4 min at 18.00 an hour, 1.20: 22.80 in all.
#[test]
fn labour_is_a_part_of_the_sums_where_it_counts() {
    let mut shop = shop();
    let orders = day(&mut shop);
    let without = compared(&orders, &[today(&shop)]);
    for (weighed, labour) in [(false, 0), (true, 2280)] {
        let minutes = jiff::SignedDuration::from_mins;
        let (per_parcel, per_container, per_piece) = (minutes(2), minutes(1), minutes(1));
        shop.labour = Some(Labour { wage: eur(1800), per_parcel, per_container, per_piece, weighed });
        let with = compared(&orders, &[today(&shop)]);
        assert_eq!(with.accounts[0].cost.labour, labour);
        assert_eq!(totals(&with)[0], totals(&without)[0] + labour);
    }
}

/// The light service costs 3.66 rather than 3.46 from 2027 on.
fn shop_with_two_price_lists() -> Workshop {
    let mut shop = shop();
    let mut dearer = shop.services[0].clone();
    dearer.name = "light 2027".into();
    dearer.valid.0 = Some(date(2027, 1, 1));
    let Price::ByWeight(steps) = &mut dearer.price else { panic!("by weight") };
    steps[0].price = eur(366);
    shop.services[0].valid.1 = Some(date(2026, 12, 31));
    shop.services.push(dearer);
    shop
}

/// Each order on the day that is given for its place in the list.
fn on_days(orders: Vec<Dated>, day: impl Fn(usize) -> Option<Date>) -> Vec<Dated> {
    orders.into_iter().enumerate().map(|(at, Dated { order, .. })| Dated { order, day: day(at) }).collect()
}

#[test]
fn prices_count_from_their_day_on() {
    let mut shop = shop_with_two_price_lists();
    let orders = day(&mut shop);
    let then = today(&shop).with(&[Change::PricesOf(date(2027, 1, 1))]).expect("a day");
    let comparison = compared(&orders, &[today(&shop), then]);
    assert_eq!((against(&comparison, 1).difference, against(&comparison, 1).changed), (200, 10));
}

#[test]
fn each_order_counts_on_its_own_day() {
    let mut shop = shop_with_two_price_lists();
    let sold = day(&mut shop);
    // Of the ten light ones the first six came on the last day of the old prices, three on the first
    // day of the new ones, and the tenth says no day.
    let orders = on_days(sold, |at| match at {
        0..6 => Some(date(2026, 12, 31)),
        6..9 => Some(date(2027, 1, 1)),
        _ => None,
    });
    let own = Situation::today(&shop, Days::Own(date(2026, 11, 25)));
    let then = own.with(&[Change::PricesOf(date(2027, 1, 1))]).expect("a day");
    let comparison = compared(&orders, &[own.clone(), then]);
    // 13 530 with the old prices alone: three light ones cost 20 more, then all ten do.
    assert_eq!(totals(&comparison), [13_530 + 3 * 20, 13_530 + 10 * 20]);
    assert_eq!((against(&comparison, 1).difference, against(&comparison, 1).changed), (7 * 20, 7));
    assert_eq!((comparison.different, comparison.undated), (5, 10), "light ones of two price lists, and the others");
    let text = comparison.text();
    assert!(text.contains("as it is, prices of each order's own day"), "{text}");
    assert!(text.contains("10 orders without a day of their own: prices of 2026-11-25"), "{text}");
    let json = comparison.json();
    assert_eq!(
        (&json["situations"][0]["prices_of"], &json["situations"][1]["prices_of"]),
        (&serde_json::Value::Null, &serde_json::json!("2027-01-01"))
    );
    // The best boxes are sought with the same days.
    let pool = Pool::of(&shop, 2).expect("three boxes");
    let best = best_boxes::<Infallible>(&orders, &own, &pool, 2, &mut alone).expect("nothing fails");
    assert_eq!(best.least_possible, Some(eur(13_530 + 3 * 20)));
}

/// Rates by month and a season's surcharge end with the month, a rule looks at the weekday: orders
/// of days that differ in one of these are not planned as one.
#[test]
fn seasons_months_and_rules_see_each_orders_day() {
    let mut shop = shop();
    let orders = |shop: &mut Workshop, days: &[Date]| {
        let mut all = on_days(day(shop), |at| days.get(at).copied());
        all.truncate(days.len());
        all
    };
    let total = |shop: &Workshop, orders: &[Dated]| {
        totals(&compared(orders, &[Situation::today(shop, Days::Own(date(2026, 1, 1)))]))[0]
    };
    let surcharge = |amount, between| Surcharge { between, ..Surcharge::plain("on top", amount) };
    let monthly = SurchargeAmount::ByMonth(BTreeMap::from([((2026, 10), 1000), ((2026, 11), 2000)]));
    shop.services[0].surcharges = vec![surcharge(monthly, (None, None))];
    let days = [date(2026, 9, 30), date(2026, 10, 1), date(2026, 10, 31), date(2026, 11, 1)];
    let sold = orders(&mut shop, &days);
    // 3.46 four times; of it 10 % twice, rounded up, and 20 % once.
    assert_eq!(total(&shop, &sold), 4 * 346 + 35 + 35 + 70);
    let season = (Some(date(2026, 10, 31)), Some(date(2026, 10, 31)));
    shop.services[0].surcharges = vec![surcharge(SurchargeAmount::Fixed(eur(50)), season)];
    assert_eq!(total(&shop, &sold), 4 * 346 + 50);
    shop.services[0].surcharges.clear();
    // The first of November 2026 is a Sunday.
    shop.rules = vec![rule("sundays", "date.weekday == 7", vec![Action::ForbidService(vec!["light".into()])])];
    assert_eq!(total(&shop, &sold), 3 * 346 + 716);
}

#[test]
fn on_its_day_a_service_takes_no_more_than_it_does_in_life() {
    let mut shop = shop();
    let sold = day(&mut shop);
    // Light ones: six on a Monday, four on the Tuesday; the others on the Wednesday.
    let orders = on_days(sold, |at| Some(date(2026, 11, [23, 24, 25][usize::from(at > 5) + usize::from(at > 9)])));
    shop.services[0].per_day = Some(5);
    let own = Situation::today(&shop, Days::Own(date(2026, 11, 25)));
    let with = own.with(&[contract("volume")]).expect("a contract");
    let comparison = compared(&orders, &[own, with]);
    // The sixth of the Monday goes by standard, 7.16 rather than 3.46; with the contract by tiers, 6.90.
    assert_eq!(totals(&comparison), [13_530 + 716 - 346, 9_880 + 690 - 346]);
    let light = |index: usize| {
        let services = &comparison.accounts[index].services;
        services.iter().find(|(name, _)| name.as_str() == "light").map(|(_, count)| *count)
    };
    assert_eq!((light(0), light(1)), (Some(9), Some(9)));
    let late = against(&comparison, 1).groups.iter().find(|group| group.from.as_deref() == Some("5x4x2 by standard"));
    assert_eq!(late.map(|group| (group.to.as_deref(), group.orders)), Some((Some("5x4x2 by tiers"), 1)));
    // All on one day are a reckoning, no day in life; and what nothing else takes waits for the next day.
    assert_eq!(totals(&compared(&orders, &[today(&shop)])), [13_530]);
    shop.services.truncate(1);
    let alone = compared(&orders, &[Situation::today(&shop, Days::Own(date(2026, 11, 25)))]);
    assert_eq!((alone.accounts[0].unplanned, totals(&alone)[0]), (9, 3460));
}

#[test]
fn names_that_there_are_not_are_refused_with_those_that_there_are() {
    let shop = shop();
    let today = today(&shop);
    let refused = |change: Change| today.with(&[change]).map(|_| ()).expect_err("refused").to_string();
    for (change, remedy) in [
        (contract("fixt"), "there is no contract \"fixt\"; there are fixed, volume"),
        (Change::WithoutService("Road".into()), "there is no service \"Road\"; there are light, standard"),
        (
            Change::WithoutContainer("7x7".into()),
            "there is no container \"7x7\"; there are 5x4x2, 9x5x3, 6x6x6, mailer",
        ),
        (Change::WithoutContract("volume".into()), "to hold it against having it: --contract \"volume\""),
    ] {
        let told = refused(change);
        assert!(told.ends_with(remedy), "{told}");
    }
    let with = today.with(&[contract("VOLUME")]).expect("capitals as one pleases");
    assert_eq!(with.with(&[contract("volume")]).map(|_| ()), Err(CompareError::HasContract("volume".into())));
    assert_eq!(Pool::of(&shop, 3).map(|_| ()), Err(CompareError::Boxes { asked: 3, there: 3 }));
}

#[test]
fn orders_that_a_rule_tells_apart_are_planned_apart() {
    let mut shop = shop();
    let orders = day(&mut shop);
    assert_eq!(compared(&orders, &[today(&shop)]).different, 4);
    shop.rules =
        vec![rule("one of them", "order.number == \"S-3\"", vec![Action::ForbidService(vec!["light".into()])])];
    let comparison = compared(&orders, &[today(&shop)]);
    assert_eq!((comparison.different, totals(&comparison)[0]), (19, 13_530 - 346 + 716));
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let mut shop = shop();
    let orders = day(&mut shop);
    let situations = [today(&shop), today(&shop).with(&[contract("volume")]).expect("a contract")];
    let alone = compared(&orders, &situations);
    for threads in [1, 2, 5] {
        let screen = Screen::of_terminal();
        let mut crew = |jobs: &[Job<'_>]| crew::work(jobs, threads, "planning", &screen);
        assert_eq!(run(&orders, &situations, &mut crew).expect("threads"), alone, "{threads} threads");
    }
}

/// The demo with five boxes, and orders of one to nine pieces.
fn boxes() -> (Workshop, Vec<Dated>) {
    let mut shop = demo();
    shop.containers.insert(1, carton("Cube", mm(150, 150, 150), 3, g(110), 30));
    shop.containers.insert(3, carton("Flat", mm(320, 240, 80), 3, g(150), 45));
    let goods = [
        vec![("MUG-TG", 1)],
        vec![("TEA-HS", 1)],
        vec![("TEA-HS", 3)],
        vec![("POT-1", 1)],
        vec![("MUG-TG", 2), ("TEA-HS", 1)],
        vec![("POT-1", 1), ("MUG-TG", 2)],
        vec![("POT-1", 2), ("TEA-HS", 3)],
        vec![("MUG-TG", 9)],
    ];
    let times = [6, 5, 4, 3, 4, 2, 1, 1];
    (shop, numbered(goods.into_iter().zip(times).flat_map(|(lines, times)| std::iter::repeat_n(lines, times))))
}

/// What all orders come to with the best choice of so many boxes, each choice planned as a situation of its own:
/// orders without a parcel, cost.
fn by_trying_all(orders: &[Dated], base: &Situation, pool: &Pool, asked: usize) -> Option<(i64, i64)> {
    let choices = (0_u32..1 << pool.names.len()).filter(|choice| choice.count_ones() as usize == asked);
    let worth = |choice: u32| {
        let mut tried = base.clone();
        let left_out = |name: &ContainerName| {
            pool.names.iter().position(|one| one == name).is_some_and(|at| choice >> at & 1 == 0)
        };
        tried.workshop.containers.retain(|container| !left_out(&container.name));
        let account = compared(orders, &[tried]).accounts.remove(0);
        (account.unplanned, account.cost.total())
    };
    choices.map(worth).min()
}

#[test]
fn the_best_boxes_are_those_that_trying_all_finds() {
    let (shop, orders) = boxes();
    let base = today(&shop);
    for asked in 1..5 {
        let pool = Pool::of(&shop, asked).expect("five boxes");
        assert_eq!(pool.names.len(), 5);
        let least = by_trying_all(&orders, &base, &pool, asked);
        let mut planned = 0;
        let mut crew = |jobs: &[Job<'_>]| -> Result<Vec<Answer>, Infallible> {
            planned += jobs.len();
            alone(jobs)
        };
        let best = best_boxes(&orders, &base, &pool, asked, &mut crew).expect("nothing fails");
        assert!(best.proved, "{best:?}");
        assert_eq!((best.names.len(), best.of), (asked, 5));
        // Eight different orders: far fewer plans than choices.
        assert!(planned <= 8 * 8, "{planned} plans");
        let chosen = base.with_boxes(&pool, best.clone());
        let account = compared(&orders, &[chosen]).accounts.remove(0);
        assert_eq!(Some((account.unplanned, account.cost.total())), least, "{best:?}");
        assert_eq!(best.least_possible, Some(eur(account.cost.total())));
    }
}

/// Where Letter takes so many a day, other boxes may be the best ones; trying all finds the same.
#[test]
fn the_best_boxes_mind_what_a_service_takes_a_day() {
    let (mut shop, orders) = boxes();
    let orders = on_days(orders, |at| Some(date(2026, 11, 23 + i8::try_from(at % 3).expect("a day"))));
    let mut other_choice = false;
    for (letter, skipper) in [(1, None), (2, Some(1)), (4, None), (1, Some(2))] {
        let mut chosen = Vec::new();
        for limits in [[None, None], [Some(letter), skipper]] {
            (shop.services[0].per_day, shop.services[2].per_day) = (limits[0], limits[1]);
            let base = Situation::today(&shop, Days::Own(date(2026, 11, 25)));
            for asked in 1..5 {
                let pool = Pool::of(&shop, asked).expect("five boxes");
                let best = best_boxes::<Infallible>(&orders, &base, &pool, asked, &mut alone).expect("nothing fails");
                assert!(best.proved, "{best:?}");
                let account = compared(&orders, &[base.with_boxes(&pool, best.clone())]).accounts.remove(0);
                let worth = (account.unplanned, account.cost.total());
                assert_eq!(Some(worth), by_trying_all(&orders, &base, &pool, asked), "{limits:?} {best:?}");
                assert_eq!(best.least_possible, Some(eur(worth.1)));
                chosen.push((asked, best.names));
            }
        }
        let (free, limited) = chosen.split_at(4);
        other_choice |= free != limited;
    }
    assert!(other_choice, "the limits changed no choice: the test shows nothing");
}

#[test]
fn where_the_house_pays_for_what_it_prefers_nothing_is_proved() {
    let (mut shop, orders) = boxes();
    shop.rules = vec![rule("cubes", "true", vec![Action::PreferContainer("Cube".into(), eur(100))])];
    let pool = Pool::of(&shop, 2).expect("five boxes");
    let best = best_boxes::<Infallible>(&orders, &today(&shop), &pool, 2, &mut alone).expect("nothing fails");
    assert!(!best.proved);
    let situations = [today(&shop), today(&shop).with_boxes(&pool, best)];
    assert!(compared(&orders, &situations).text().contains("best found"));
}

#[test]
fn candidates_stand_in_a_file_of_their_own() {
    let workshop = config::load(&config::embedded(), std::path::Path::new("config")).expect("the sample");
    let cube = "[container.Cube]\ninner = \"150 x 150 x 150 mm\"\nouter = \"156 x 156 x 156 mm\"\ntare = \"90 g\"\ncost = \"0.40 EUR\"\n";
    let text = format!("{cube}supplies = {{ \"paper tape\" = \"70 cm\" }}\n[taken_like]\nCube = \"Medium\"\n");
    let with = config::with_candidates(&workshop, "new.toml", &text).expect("candidates");
    assert_eq!(with.containers.last().map(|one| one.name.as_str()), Some("Cube"));
    let takes = |one: &Container| one.takes.contains(&ContainerName::new("Cube"));
    assert!(with.containers.iter().any(|one| one.name.as_str() == "Skipper" && takes(one)));
    // Compact names its boxes, and waits for its contract.
    let (place, compact) = &with.contracts.absent[0];
    assert!(*place == 2 && compact.containers.contains(&ContainerName::new("Cube")));
    for (text, complaint) in [
        (cube.replace("Cube", "small"), "packaging.toml has a container \"Small\" already"),
        (format!("{cube}[taken_like]\nCube = \"Middle\"\n"), "there is no container \"Middle\""),
        (cube.replace("tare", "weight"), "unknown key `weight` in a container"),
        (String::new(), "there is no container in it"),
        (format!("{cube}carriers = true\n"), "no service takes the container \"Cube\""),
    ] {
        let complaints = config::with_candidates(&workshop, "new.toml", &text).map(|_| ()).expect_err("refused");
        assert!(complaints.to_string().contains(complaint), "{complaints}");
    }
}

/// The real program on the sample configuration; code, output, errors.
fn dawnslip(words: &[&str]) -> (i32, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_dawnslip"));
    let config = concat!(env!("CARGO_MANIFEST_DIR"), "/config");
    let done =
        command.args(["compare", "--config", config]).args(words).env("NO_COLOR", "1").output().expect("it runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (done.status.code().expect("a code"), text(done.stdout), text(done.stderr))
}

#[test]
fn the_command_reads_messages_and_refuses_what_is_none() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("orders.ndjson");
    let line = |number: u32, sku: &str| {
        serde_json::json!({ "@context": "https://schema.org", "@type": "Order", "orderNumber": format!("S-{number}"),
            "customer": { "@type": "Person", "name": "Zoë" },
            "orderedItem": [{ "@type": "OrderItem", "orderQuantity": 2, "orderedItem": { "@type": "Product", "sku": sku, "name": sku } }],
            "orderDelivery": { "@type": "ParcelDelivery", "deliveryAddress": { "@type": "PostalAddress", "name": "Zoë",
                "streetAddress": "Quay 1", "addressLocality": "Tern", "postalCode": "4021", "addressCountry": "QS" } } })
    };
    let text = (1..7).map(|n| format!("{}\n", line(n, if n > 4 { "teapot" } else { "mug" }))).collect::<String>();
    std::fs::write(&file, &text).expect("room");
    let name = file.display().to_string();
    let chart = folder.path().join("compare.svg");
    let drawn = chart.display().to_string();
    let (code, told, faults) = dawnslip(&[
        &name,
        "--source",
        "shop",
        "--contract",
        "better rates",
        "--without-service",
        "Letter",
        "--chart",
        &drawn,
    ]);
    assert_eq!((code, faults.as_str()), (0, ""), "{told}");
    assert!(told.starts_with("6 orders (2 different)"), "{told}");
    assert!(std::fs::read_to_string(&chart).expect("it is drawn").starts_with("<svg"));
    let (code, told, _) =
        dawnslip(&[&name, "--source", "shop", "--contract", "better rates", "--json", "--threads", "1"]);
    let json: serde_json::Value = serde_json::from_str(&told).expect("JSON");
    assert_eq!((code, json["orders"].as_u64(), json["situations"].as_array().map(Vec::len)), (0, Some(6), Some(2)));

    // Two of them say when they were placed; --on puts all on one day.
    let dated = |at: usize, text: &str| {
        let mut order: serde_json::Value = serde_json::from_str(text).expect("JSON");
        if at < 2 {
            order["orderDate"] = serde_json::json!("2026-11-24T09:00:00Z");
        }
        format!("{order}\n")
    };
    std::fs::write(&file, text.lines().enumerate().map(|(at, line)| dated(at, line)).collect::<String>())
        .expect("room");
    for (more, without, prices) in
        [(&[][..], 4, serde_json::Value::Null), (&["--on", "2026-11-25"], 0, "2026-11-25".into())]
    {
        let words = ["--source", "shop", "--contract", "better rates", "--json"];
        let (code, told, _) = dawnslip(&[&[name.as_str()], &words[..], more].concat());
        let json: serde_json::Value = serde_json::from_str(&told).expect("JSON");
        assert_eq!(
            (code, &json["orders_without_a_day"], &json["situations"][0]["prices_of"]),
            (0, &without.into(), &prices)
        );
    }

    std::fs::write(&file, "").expect("room");
    let empty = dawnslip(&[&name, "--source", "shop", "--contract", "better rates"]);
    assert!(empty.0 == 1 && empty.2.contains("the file is empty"), "{empty:?}");
    std::fs::write(&file, format!("{text}no JSON\n")).expect("room");
    let broken = dawnslip(&[&name, "--source", "shop", "--contract", "better rates"]);
    assert!(broken.0 == 1 && broken.2.contains("line 7"), "{broken:?}");
    let unknown = dawnslip(&[&name, "--contract", "worse rates"]);
    assert!(unknown.0 == 1 && unknown.2.contains("there are better rates"), "{unknown:?}");
    let nothing = dawnslip(&[&name]);
    assert!(nothing.0 == 1 && nothing.2.contains("--prices-from"), "{nothing:?}");
}

#[test]
fn past_orders_come_from_the_data_folder_or_from_its_export() {
    let cases = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases");
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    let copied = Command::new("cp").arg("-r").arg(cases.join("format_1")).arg(&data).status().expect("cp");
    assert!(copied.success());
    // An empty folder is in no repository.
    std::fs::create_dir_all(data.join("aside")).expect("room");
    let words = ["--contract", "better rates", "--data"];
    let past = dawnslip(&[&words[..], &[&data.display().to_string()]].concat());
    assert_eq!((past.0, past.2.as_str()), (0, ""), "{past:?}");
    let export = cases.join("format_1_copy.ndjson").display().to_string();
    let exported = dawnslip(&[&words[..2], &[&export]].concat());
    assert_eq!(exported, past);
    // The book knows of each order on which day it was planned, or came.
    assert!(past.1.contains("prices of each order's own day") && !past.1.contains("without a day"), "{}", past.1);
}
