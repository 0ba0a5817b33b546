//! A mailer or an envelope counts as thick as what is in it needs, not as thick as it could get.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::choose::{Now, Overrides, Shelf, Wanted};
use dawnslip::plan::fit::{Budget, Fit, Laws, Piece, Pouch, Turning, fit_pouch};
use dawnslip::plan::tariff::{self, LEVELS_MAX};
use dawnslip::plan::{Planner, quote};
use plan_bench::*;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

const INCH: i64 = 25_400_000;

fn inches(text: &str) -> Length {
    text.parse().expect("a length")
}

/// A mailer for goods, as thick as `thickness_max` allows.
fn mailer(flat: [Length; 2], thickness_max: Length, cost: i64) -> Container {
    let mut mailer = carton("Mailer", mm(1, 1, 1), 0, g(20), cost);
    mailer.kind = ContainerKind::PaddedMailer { flat, outer: flat, allowance: [Length::ZERO; 2], thickness_max };
    mailer
}

fn fixed(name: &str, price: i64) -> Service {
    service(name, Price::Fixed(BTreeMap::from([(String::new(), eur(price))])))
}

/// A mailer of 9 x 6 in that gets 2 in thick and a box; what is no thicker than 3/4 in and no heavier than 8 oz goes for
/// 1.40, all else for 7.00.
fn light_or_road() -> Workshop {
    let mut workshop = empty();
    let mut carton = carton("Box", "8 x 6 x 4 in".parse().expect("sides"), 0, g(90), 30);
    carton.tare = g(100);
    workshop.containers = vec![mailer([inches("9 in"), inches("6 in")], inches("2 in"), 20), carton];
    let mut light = service("Light", by_ounces(&[("4", 140), ("8", 200)]));
    light.outer_max = "11.5 x 6.125 x 0.75 in".parse().ok();
    workshop.services = vec![light, fixed("Road", 700)];
    workshop
}

fn plan_with(workshop: &Workshop, lines: &[(&str, u32)], shelf: &Shelf) -> Plan {
    let (asked, overrides) = (order(lines), Overrides::default());
    Planner::new(workshop).decide_with(&asked, workshop, shelf, &BTreeSet::new(), &pins(), &overrides)
}

fn plan(workshop: &Workshop, lines: &[(&str, u32)]) -> Plan {
    plan_with(workshop, lines, &Shelf::default())
}

fn why_not<'p>(plan: &'p Plan, what: &str) -> &'p str {
    plan.alternatives.iter().find(|other| other.what == what).map_or("", |other| other.why.as_str())
}

/// Three ounces of flat goods, and things of 3/4 in and a nanometre more.
#[test]
fn flat_goods_go_light_in_a_mailer_that_could_be_thicker() {
    for (thick, service, flat) in [
        (inches("0.5 in"), "Light", true),
        (inches("3/4 in"), "Light", true),
        (Length { nm: INCH * 3 / 4 + 1 }, "Road", false),
        (inches("1.5 in"), "Road", false),
    ] {
        let mut workshop = light_or_road();
        let dims = Dims { length: inches("6 in"), width: inches("4 in"), height: thick };
        workshop.products = vec![product("FLAT", "Print", dims, ounces("3"))];
        let made = plan(&workshop, &[("FLAT", 1)]);
        let [parcel] = made.parcels.as_slice() else { panic!("{made:?}") };
        assert_eq!((parcel.container.as_str(), parcel.service.as_str()), ("Mailer", service), "{thick}");
        assert_eq!(parcel.thick_at_most, flat.then(|| inches("3/4 in")));
        let said = Caution::PressFlat { most: inches("3/4 in"), service: "Light".into() };
        assert_eq!(parcel.cautions.contains(&said), flat, "{:?}", parcel.cautions);
        assert_eq!((&made.verdict, made.cost), (&Verdict::Proved, Some(eur(if flat { 160 } else { 720 }))));
    }
}

/// The same words for people: what was taken, what else, and why not.
#[test]
fn what_is_to_be_flat_is_said_in_plain_words() {
    let mut workshop = light_or_road();
    workshop.locale.units = Units::Ounces;
    workshop.products = vec![product("FLAT", "Print", "6 x 4 x 0.5 in".parse().expect("sides"), ounces("3"))];
    let flat = plan(&workshop, &[("FLAT", 1)]);
    let table = |plan: &Plan| {
        quote::table(&quote::Quote { plan: plan.clone(), tried: Vec::new(), refused: Vec::new() }, &workshop, false)
    };
    assert!(table(&flat).starts_with("Mailer at most 0.75 in thick by Light"), "{}", table(&flat));
    assert!(table(&flat).contains("! press it flat: at most 19.05 mm thick for Light"), "{}", table(&flat));
    assert_eq!(flat.parcels[0].spoken(), "Mailer at most 19.05 mm thick by Light");
    assert_eq!(why_not(&flat, "Mailer by Road"), "5.60 more, fixed price");
    workshop.products[0].dims = "6 x 4 x 1.5 in".parse().ok();
    let thick = plan(&workshop, &[("FLAT", 1)]);
    assert_eq!(thick.parcels[0].spoken(), "Mailer by Road");
    let why = "takes Mailer at most 0.75 in thick, and no way to lay this so flat was found";
    assert_eq!(why_not(&thick, "Light"), why);
    assert_eq!(thick.alternatives.iter().filter(|other| other.what.starts_with("Mailer at most")).count(), 0);
    let rows = quote::price_list(&workshop, &order(&[]).destination, ounces("4"), None, pins().hand_over);
    let row = |what: &str| rows.iter().find(|row| row.what == what).map(|row| row.cost);
    assert_eq!(row("Mailer at most 0.75 in thick by Light"), Some(Some(eur(160))));
    assert_eq!((row("Mailer by Light"), row("Mailer by Road")), (Some(None), Some(Some(eur(720)))));
    assert_eq!(row("Mailer at most 0.75 in thick by Road"), None, "it costs the same");
}

/// Where nobody asks less for it, nobody presses anything flat; containers that have run out are told once.
#[test]
fn nobody_presses_flat_for_nothing() {
    let mut workshop = light_or_road();
    workshop.products = vec![product("FLAT", "Print", mm(150, 100, 10), g(80))];
    workshop.services[0].price = Price::Fixed(BTreeMap::from([(String::new(), eur(700))]));
    let made = plan(&workshop, &[("FLAT", 1)]);
    assert_eq!((made.parcels[0].thick_at_most, made.parcels[0].service.as_str()), (None, "Road"));
    assert_eq!(made.alternatives[0].what, "Mailer at most 19.05 mm thick by Light");
    assert!(made.alternatives[0].why.starts_with("costs the same"), "{:?}", made.alternatives[0]);
    let out = Shelf { containers_left: BTreeMap::from([("Mailer".into(), 0)]), ..Shelf::default() };
    let made = plan_with(&workshop, &[("FLAT", 1)], &out);
    assert_eq!(made.alternatives.iter().filter(|other| other.what.starts_with("Mailer")).count(), 1);
    // Two are two mailers, however thick each of them is.
    workshop.services[0].price = Price::Fixed(BTreeMap::from([(String::new(), eur(100))]));
    workshop.products[0].dims = Some(mm(150, 100, 19));
    for (left, flat) in [(2, 2), (1, 0)] {
        let shelf = Shelf { containers_left: BTreeMap::from([("Mailer".into(), left)]), ..Shelf::default() };
        let made = plan_with(&workshop, &[("FLAT", 2)], &shelf);
        let found = made.parcels.iter().filter(|parcel| parcel.thick_at_most.is_some()).count();
        assert_eq!((found, made.parcels.len()), (flat, left as usize), "two flat ones, or a thick one");
        assert!(made.parcels.iter().all(|parcel| parcel.container.as_str() == "Mailer"));
    }
}

/// A person's word that so many go in is not one about a mailer pressed flat; that no more go in holds for it, too.
#[test]
fn hints_speak_of_the_mailer_as_thick_as_it_gets() {
    let mut workshop = light_or_road();
    workshop.products = vec![product("FLAT", "Print", mm(150, 100, 19), g(20))];
    let hint = |at_most: u32, trust: bool| vec![Holds { sku: "FLAT".into(), at_most, trust }];
    workshop.containers.truncate(1);
    workshop.containers[0].holds = hint(5, true);
    let made = plan(&workshop, &[("FLAT", 5)]);
    assert!(made.parcels.iter().all(|parcel| parcel.thick_at_most.is_none()
        || parcel.contents.iter().map(|content| content.quantity).sum::<u32>() == 1));
    workshop.containers[0].holds = hint(0, true);
    assert!(plan(&workshop, &[("FLAT", 1)]).parcels.is_empty());
}

/// A box of 100 x 80 x 30 mm, closed, in a mailer that gets 150 mm thick: 30 mm, and cushion above and below.
#[test]
fn a_box_in_a_mailer_makes_it_as_thick_as_the_box_is() {
    let mut workshop = empty();
    workshop.products = vec![product("TIN", "Tin", mm(90, 70, 20), g(100))];
    let mut outside = mailer([Length::from_mm(200), Length::from_mm(160)], Length::from_mm(150), 0);
    outside.cushion = Length::from_mm(4);
    outside.carriers = true;
    outside.goods = false;
    outside.takes = vec!["Tin box".into()];
    workshop.containers = vec![carton("Tin box", mm(30, 100, 80), 0, g(30), 40), outside];
    for (most, taken) in [(38, true), (37, false)] {
        let mut fixed = fixed("Mailer", 300);
        fixed.containers = vec!["Mailer".into()];
        fixed.outer_max = Some(mm(200, 160, most));
        workshop.services = vec![fixed];
        let made = plan(&workshop, &[("TIN", 1)]);
        assert_eq!(made.parcels.len(), usize::from(taken), "{most} mm: {made:?}");
        assert!(made.parcels.iter().all(|parcel| parcel.thick_at_most.is_none() && parcel.cautions.is_empty()));
    }
}

/// What was planned flat stays so; where the limit is another one, the paper says another one.
#[test]
fn a_plan_stays_as_flat_as_it_was() {
    let mut workshop = light_or_road();
    workshop.products = vec![product("FLAT", "Print", mm(150, 100, 15), g(80))];
    let before = plan(&workshop, &[("FLAT", 1)]);
    let asked = order(&[("FLAT", 1)]);
    let again = |workshop: &Workshop| {
        let (order, pins) = (&asked, &pins());
        let now = Now { order, workshop, shelf: &Shelf::default(), accepted: &BTreeSet::new(), pins };
        Planner::new(workshop).decide_again(&before, Wanted::SameIfItHolds, now)
    };
    assert!(again(&workshop).same_parcels(&before));
    workshop.services[0].outer_max = Some(mm(300, 160, 16));
    let stricter = again(&workshop);
    assert_eq!(stricter.parcels[0].thick_at_most, Some(Length::from_mm(16)));
    assert!(!stricter.same_parcels(&before) && stricter.instead.is_some());
    workshop.services[0].outer_max = Some(mm(300, 160, 14));
    assert_eq!(again(&workshop).parcels[0].service.as_str(), "Road");
}

/// A service whose price hangs on the size in some ways; sides are millimetres.
fn any_service() -> impl Strategy<Value = Service> {
    let limit = |from: i64, to: i64| prop::option::weighted(0.3, from..to);
    let limits = (limit(150, 260), limit(300, 900), limit(200, 500), limit(5, 70), limit(1, 30));
    let surcharge = (prop::option::weighted(0.4, 100u64..2500), limit(350, 800), 1i64..300);
    (0usize..3, prop::collection::btree_set(100u64..3000, 1..5), 100i64..900, limits, surcharge).prop_map(
        |(kind, ends, base, (longest, girth, sum, thin, least), (volume, long, more))| {
            let price = |nth: usize| eur(base + 40 * nth as i64);
            let ends: Vec<u64> = ends.into_iter().collect();
            let by_volume = |(nth, &cm3): (usize, &u64)| VolumeStep {
                zone: String::new(),
                up_to: Volume::from_cm3(cm3),
                soft_up_to: None,
                price: price(nth),
            };
            let by_weight = |(nth, &grams): (usize, &u64)| WeightStep {
                zone: String::new(),
                up_to: g(grams as i64),
                price: price(nth),
                for_each: None,
            };
            let length = Length::from_mm;
            Service {
                longest_max: longest.map(length),
                length_and_girth_max: girth.map(length),
                sum_max: sum.map(length),
                outer_max: thin.map(|thin| mm(300, 200, thin)),
                outer_min: least.map(|least| mm(20, 20, least)),
                dimensional: (kind == 2).then(|| Dimensional {
                    size: Volume::from_cm3(2),
                    weighs: g(1),
                    above: volume.map(Volume::from_cm3),
                    side_step: Some((Length::from_mm(10), Round::Near)),
                    weight_step: None,
                }),
                surcharges: vec![Surcharge {
                    above_volume: volume.map(Volume::from_cm3),
                    above_length_and_girth: long.map(length),
                    ..Surcharge::plain("bulky", SurchargeAmount::Fixed(eur(more)))
                }],
                ..service(
                    "Way",
                    match kind {
                        0 => Price::Fixed(BTreeMap::from([(String::new(), price(0))])),
                        1 => Price::ByVolume(ends.iter().enumerate().map(by_volume).collect()),
                        _ => Price::ByWeight(ends.iter().enumerate().map(by_weight).collect()),
                    },
                )
            }
        },
    )
}

fn any_services() -> impl Strategy<Value = Vec<Service>> {
    prop::collection::vec(any_service(), 1..4).prop_map(|mut services| {
        services.iter_mut().enumerate().for_each(|(nth, one)| one.name = format!("Way {nth}").as_str().into());
        services
    })
}

/// As a tariff sees a mailer of this thickness, so heavy.
fn parcel_of(container: &Container, thick: Length, weight: Weight) -> tariff::Parcel<'_> {
    let ContainerKind::PaddedMailer { outer: [length, width], .. } = &container.kind else { panic!("a mailer") };
    let outer = Dims { length: *length, width: *width, height: thick };
    tariff::Parcel { outermost: &container.name, carriers: false, soft: true, outer, weight }
}

fn asked(service: &Service, parcel: &tariff::Parcel<'_>) -> Option<i64> {
    let to = order(&[]).destination;
    tariff::price(service, parcel, &to, pins().hand_over, Currency::EUR).ok().map(|quoted| quoted.total().minor)
}

const THICK_MM: i64 = 60;
const FLAT_MM: [i64; 2] = [230, 160];

fn any_mailer() -> Container {
    mailer(FLAT_MM.map(Length::from_mm), Length::from_mm(THICK_MM), 25)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every tenth of a millimetre is asked: what it costs there it costs at the next thicker level, or it is too small
    /// there; and no level is there for nothing.
    #[test]
    fn between_two_levels_nothing_changes(services in any_services(), grams in prop::sample::select(vec![20i64, 300, 900])) {
        let container = any_mailer();
        let all: Vec<&Service> = services.iter().collect();
        let parcel = |thick: Length| parcel_of(&container, thick, g(grams));
        let thickest = parcel(Length::from_mm(THICK_MM));
        let levels = tariff::thinner(&all, &thickest, Length::ZERO, &order(&[]).destination, pins().hand_over);
        let levels: Vec<Length> = levels.into_iter().map(|level| level.most).collect();
        prop_assert!(levels.len() < LEVELS_MAX && levels.is_sorted_by(|one, next| one > next), "{:?}", levels);
        prop_assert!(levels.iter().all(|level| *level < Length::from_mm(THICK_MM)));
        let mut level = 0;
        let mut at = vec![Length::from_mm(THICK_MM)];
        at.extend(levels);
        for tenths in (1..=THICK_MM * 10).rev() {
            let thick = Length { nm: tenths * NM_PER_MM / 10 };
            while level + 1 < at.len() && at[level + 1] >= thick {
                level += 1;
            }
            for service in &services {
                let (here, there) = (asked(service, &parcel(thick)), asked(service, &parcel(at[level])));
                let least = service.outer_min.map_or(Length::ZERO, |least| least.height);
                prop_assert!(here == there || here.is_none() && thick < least, "{thick} {here:?}, {:?} {there:?}", at[level]);
            }
        }
    }

    /// All ways to send up to four equal things in mailers and a box are tried, each mailer in every whole millimetre of
    /// thickness: nothing is cheaper than the plan. As thick as they get they never cost less.
    #[test]
    fn no_thickness_of_any_mailer_is_cheaper_than_the_plan(
        services in any_services(), sides in (40i64..200, 30i64..150, 2i64..40), grams in 5i64..400, count in 1u32..5,
    ) {
        let mut workshop = empty();
        let (length, width, height) = sides;
        workshop.products = vec![product("THING", "Thing", mm(length, width, height), g(grams))];
        workshop.containers = vec![any_mailer(), carton("Box", mm(200, 160, 80), 2, g(60), 40)];
        workshop.services = services;
        let made = plan(&workshop, &[("THING", count)]);
        let pouch = |thick: i64| Pouch { along: FLAT_MM[0], across: FLAT_MM[1], thick };
        let thing = Piece::plain([length, width, height], Turning::Any);
        let fits = |n: u32, thick: i64| {
            let things = vec![thing.clone(); n as usize];
            matches!(fit_pouch(pouch(thick), &things, Laws::Bench, Budget::USUAL), Fit::Fits(_))
        };
        let (soft, stiff) = (&workshop.containers[0], &workshop.containers[1]);
        let cheapest = |parcel: tariff::Parcel<'_>, own: i64| {
            workshop.services.iter().filter_map(|service| asked(service, &parcel)).min().map(|cost| cost + own)
        };
        let in_box = |n: u32| {
            let ContainerKind::Box { inner, outer } = &stiff.kind else { panic!("a box") };
            let things = vec![thing.clone(); n as usize];
            let room = inner.sides().map(|side| side.nm / NM_PER_MM);
            matches!(dawnslip::plan::fit::fit(room, &things, Laws::Bench, Budget::USUAL), Fit::Fits(_)).then(|| {
                let weight = g(grams * i64::from(n)) + stiff.tare;
                cheapest(tariff::Parcel { outermost: &stiff.name, carriers: false, soft: false, outer: *outer, weight }, 40)
            }).flatten()
        };
        let in_mailer = |n: u32, thick: i64| {
            let weight = g(grams * i64::from(n)) + soft.tare;
            fits(n, thick).then(|| cheapest(parcel_of(soft, Length::from_mm(thick), weight), 25)).flatten()
        };
        let least = |thinnest: i64| {
            let alone = |n: u32| (thinnest..=THICK_MM).filter_map(|thick| in_mailer(n, thick)).chain(in_box(n)).min();
            let mut best: Vec<Option<i64>> = vec![Some(0)];
            for n in 1..=count {
                let several = (1..n).filter_map(|one| Some(best[one as usize]? + best[(n - one) as usize]?)).min();
                best.push(alone(n).into_iter().chain(several).min());
            }
            best[count as usize]
        };
        prop_assert_eq!(made.cost.map(|cost| cost.minor), least(1), "{:?}", made.verdict);
        let always_thickest = least(THICK_MM);
        prop_assert!(made.cost.is_some() || always_thickest.is_none());
        prop_assert!(always_thickest.is_none_or(|most| made.cost.is_some_and(|cost| cost.minor <= most)));
        for parcel in made.parcels.iter().filter(|parcel| parcel.container == soft.name) {
            let thick = parcel.thick_at_most.unwrap_or(Length::from_mm(THICK_MM));
            let service = workshop.service(&parcel.service).expect("one of them");
            let n = parcel.contents.iter().map(|content| content.quantity).sum();
            prop_assert!(fits(n, thick.nm / NM_PER_MM));
            let total = parcel.cost.postage + parcel.cost.surcharges;
            prop_assert_eq!(asked(service, &parcel_of(soft, thick, parcel.weight)), Some(total.minor));
            prop_assert!(service.outer_max.is_none_or(|most| thick <= most.height));
            // Flat only where that is worth something.
            let thickest = asked(service, &parcel_of(soft, Length::from_mm(THICK_MM), parcel.weight));
            prop_assert!(parcel.thick_at_most.is_none() || thickest.is_none_or(|thickest| thickest > total.minor));
        }
    }
}
