//! What must hold of every plan: more choice is never dearer, and nothing that says the same in another way changes
//! anything.

mod plan_bench;

use dawnslip::config::{self, Files};
use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::fit::Budget;
use plan_bench::*;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

fn plan_on(workshop: &Workshop, lines: &[(&str, u32)], shelf: &Shelf) -> Plan {
    Planner::new(workshop).with_budget(Budget::SMALL).decide(&order(lines), workshop, shelf, &BTreeSet::new(), &pins())
}

fn plan(workshop: &Workshop, lines: &[(&str, u32)]) -> Plan {
    plan_on(workshop, lines, &Shelf::default())
}

/// No plan costs less than this, as the planner says; nothing where it has no parcels.
fn least(plan: &Plan) -> Option<i64> {
    match &plan.verdict {
        Verdict::Proved => plan.cost.map(|cost| cost.minor),
        Verdict::BestFound { least_possible } => Some(least_possible.minor),
        Verdict::Nothing => None,
    }
}

/// Containers and service, cost and contents of each parcel, in an order of their own.
fn parcels(plan: &Plan) -> Vec<(String, i64, BTreeMap<String, u32>)> {
    let mut all: Vec<_> = plan
        .parcels
        .iter()
        .map(|parcel| {
            let mut contents: BTreeMap<String, u32> = BTreeMap::new();
            for content in &parcel.contents {
                let batch = content.batch.as_ref().map_or_else(String::new, ToString::to_string);
                *contents.entry(format!("{} {batch}", content.sku)).or_default() += content.quantity;
            }
            let how = format!("{} in {:?} by {}", parcel.container, parcel.inside, parcel.service);
            (how, parcel.cost.total().minor, contents)
        })
        .collect();
    all.sort();
    all
}

fn lines() -> impl Strategy<Value = Vec<(&'static str, u32)>> {
    (0u32..4, 0u32..3, 1u32..4).prop_map(|(mugs, pots, teas)| {
        let lines = [("MUG-TG", mugs), ("POT-1", pots), ("TEA-HS", teas)];
        lines.into_iter().filter(|(_, n)| *n > 0).collect()
    })
}

/// Lowers one of the demo's prices, as far as nothing.
fn lower(workshop: &mut Workshop, which: usize, less: i64) {
    let lower = |money: &mut Money| money.minor = (money.minor - less).max(0);
    match which {
        0..3 => lower(&mut workshop.containers[which].cost),
        3 => lower(&mut workshop.supplies[0].price),
        service => match &mut workshop.services[service % 3].price {
            Price::Fixed(prices) => prices.values_mut().for_each(lower),
            // All of its steps: a lower one alone would stand below the step before it.
            Price::ByWeight(steps) => steps.iter_mut().for_each(|step| lower(&mut step.price)),
            Price::Nothing | Price::ByVolume(_) => panic!("the demo has no such service"),
        },
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn one_more_container_is_never_dearer(
        lines in lines(), l in 80i64..420, w in 80i64..300, h in 50i64..260, cost in 0i64..150, first in any::<bool>(),
    ) {
        let base = plan(&demo(), &lines);
        let mut richer = demo();
        let one = carton("Odd", mm(l, w, h), 3, g(100), cost);
        richer.containers.insert(if first { 0 } else { richer.containers.len() }, one);
        prop_assert!(least(&plan(&richer, &lines)) <= base.cost.map(|cost| cost.minor));
    }

    #[test]
    fn one_more_service_is_never_dearer(lines in lines(), price in 0i64..1000, most_g in 200i64..4000) {
        let base = plan(&demo(), &lines);
        let mut richer = demo();
        let weight_max = Some(g(most_g));
        let price = Price::Fixed(BTreeMap::from([(String::new(), eur(price))]));
        richer.services.insert(0, Service { weight_max, ..service("Cart", price) });
        prop_assert!(least(&plan(&richer, &lines)) <= base.cost.map(|cost| cost.minor));
    }

    #[test]
    fn a_lower_price_is_never_dearer(lines in lines(), which in 0usize..7, less in 0i64..400) {
        let base = plan(&demo(), &lines);
        let mut cheaper = demo();
        lower(&mut cheaper, which, less);
        prop_assert!(least(&plan(&cheaper, &lines)) <= base.cost.map(|cost| cost.minor));
    }

    #[test]
    fn more_stock_is_never_dearer(lines in lines(), left in prop::array::uniform3(0i64..3), more in prop::array::uniform3(0i64..3)) {
        let shelf = |left: [i64; 3]| {
            let names = ["Small", "Medium", "Large"].map(ContainerName::new);
            Shelf { containers_left: names.into_iter().zip(left).collect(), ..Shelf::default() }
        };
        let base = plan_on(&demo(), &lines, &shelf(left));
        prop_assume!(base.cost.is_some());
        let richer = plan_on(&demo(), &lines, &shelf([0, 1, 2].map(|k| left[k] + more[k])));
        prop_assert!(least(&richer).is_some_and(|least| Some(least) <= base.cost.map(|cost| cost.minor)));
    }

    /// Lines in any order, one product in two of them.
    #[test]
    fn the_order_of_lines_changes_no_parcel(
        (lines, shuffled) in lines().prop_flat_map(|mut lines| {
            lines.push(("MUG-TG", 1));
            (Just(lines.clone()), Just(lines).prop_shuffle())
        }),
    ) {
        let (one, other) = (plan(&demo(), &lines), plan(&demo(), &shuffled));
        prop_assert_eq!(parcels(&one), parcels(&other));
        prop_assert_eq!((one.cost, one.verdict), (other.cost, other.verdict));
    }

    /// Products, containers and services in any order: the demo has no two ways that cost the same, so that the file's
    /// order has nothing to break.
    #[test]
    fn the_order_of_the_files_changes_no_parcel(
        lines in lines(),
        products in Just([0usize, 1, 2]).prop_shuffle(),
        containers in Just([0usize, 1, 2, 3]).prop_shuffle(),
        services in Just([0usize, 1, 2, 3]).prop_shuffle(),
    ) {
        let mut shuffled = demo();
        shuffled.products = products.iter().map(|&at| demo().products.remove(at)).collect();
        shuffled.containers = containers.iter().map(|&at| demo().containers.remove(at)).collect();
        shuffled.services = services.iter().map(|&at| demo().services.remove(at)).collect();
        let (one, other) = (plan(&demo(), &lines), plan(&shuffled, &lines));
        prop_assert_eq!(parcels(&one), parcels(&other));
        prop_assert_eq!((one.cost, one.verdict), (other.cost, other.verdict));
    }
}

/// One planner, whose memory of fits all threads share and fill in whatever order they come.
#[test]
fn threads_that_share_a_planner_change_nothing() {
    let workshop = demo();
    let all: Vec<Vec<(&str, u32)>> = (0..4u32)
        .flat_map(|mugs| (0..3u32).map(move |pots| vec![("MUG-TG", mugs), ("POT-1", pots), ("TEA-HS", 1)]))
        .map(|lines| lines.into_iter().filter(|(_, n)| *n > 0).collect())
        .collect();
    let alone: Vec<Plan> = all.iter().map(|lines| plan(&workshop, lines)).collect();
    let shared = Planner::new(&workshop).with_budget(Budget::SMALL);
    let decide =
        |lines: &[(&str, u32)]| shared.decide(&order(lines), &workshop, &Shelf::default(), &BTreeSet::new(), &pins());
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..4usize)
            .map(|thread| {
                let (all, decide) = (&all, &decide);
                // Each begins elsewhere, every other one goes backwards.
                scope.spawn(move || -> Vec<(usize, Plan)> {
                    let at = (0..all.len()).map(|k| (k + thread * 3) % all.len());
                    let at: Vec<usize> = if thread % 2 == 0 { at.collect() } else { at.rev().collect() };
                    at.into_iter().map(|at| (at, decide(&all[at]))).collect()
                })
            })
            .collect();
        for thread in threads {
            for (at, plan) in thread.join().expect("a thread that ends well") {
                assert_eq!(parcels(&plan), parcels(&alone[at]), "{:?}", all[at]);
                assert_eq!((plan.cost, &plan.verdict), (alone[at].cost, &alone[at].verdict), "{:?}", all[at]);
            }
        }
    });
}

/// The same shop in inches and ounces or in millimetres and grams: 1 in is 25.4 mm, 1 oz 28.349523125 g, both exactly.
fn shop_in(inches: bool) -> Workshop {
    // Hundredths of an inch, hundredths of an ounce; fours of these are whole nanograms.
    let length = |hundredths: i64| match inches {
        true => format!("{}.{:02} in", hundredths / 100, hundredths % 100),
        false => format!("{}.{:03} mm", hundredths * 254 / 1000, hundredths * 254 % 1000),
    };
    let size = |sides: [i64; 3]| sides.map(length).join(" x ");
    let weight = |hundredths: i64| {
        let ng = hundredths * 28_349_523_125 / 100;
        match inches {
            true => format!("{}.{:02} oz", hundredths / 100, hundredths % 100),
            false => format!("{}.{:09} g", ng / 1_000_000_000, ng % 1_000_000_000),
        }
    };
    let mut files = Files::new();
    files.insert(
        "workshop.toml".to_owned(),
        "name = \"Test\"\ntime_zone = \"Europe/Oslo\"\ncurrency = \"EUR\"\ncountry = \"QS\"\n".to_owned(),
    );
    let products = [
        ("BAR", [350, 250, 100], 600),
        ("CUP", [400, 400, 375], 1324),
        ("TIN", [237, 237, 512], 432),
        ("CARD", [500, 350, 40], 200),
    ];
    let product = |(sku, sides, ounces): (&str, [i64; 3], i64)| {
        let (size, weight) = (size(sides), weight(ounces));
        format!("[product.{sku}]\nname = \"{sku}\"\nsize = \"{size}\"\nweight = \"{weight}\"\n")
    };
    files.insert("products.toml".to_owned(), products.map(product).concat());
    let containers =
        [("Small", [500, 400, 250], 152), ("Medium", [900, 600, 425], 300), ("Large", [1200, 900, 800], 700)];
    let container = |(name, sides, ounces): (&str, [i64; 3], i64)| {
        let (inner, outer, tare) = (size(sides), size(sides.map(|side| side + 25)), weight(ounces));
        let (cost, cushion) = (ounces / 10, length(12));
        format!(
            "[container.{name}]\ninner = \"{inner}\"\nouter = \"{outer}\"\ntare = \"{tare}\"\n\
             cost = \"0.{cost} EUR\"\ncushion = \"{cushion}\"\n"
        )
    };
    // A mailer that could be 2 in thick, a letter of 0.75 in at most, and small things by volume.
    let (flat, thick, padding, tare) = ([900, 600].map(length).join(" x "), length(200), length(12), weight(40));
    let mailer = format!(
        "[container.Mailer]\nkind = \"padded mailer\"\nflat_inner = \"{flat}\"\nthickness_max = \"{thick}\"\n\
         tare = \"{tare}\"\ncost = \"0.10 EUR\"\ncushion = \"{padding}\"\n"
    );
    files.insert("packaging.toml".to_owned(), containers.map(container).concat() + &mailer);
    let (girth, letter) = (length(4000), size([1150, 625, 75]));
    files.insert(
        "services.toml".to_owned(),
        format!(
            "[service.Road]\ntariff = \"tariffs/road.csv\"\nlength_and_girth_max = \"{girth}\"\n\
             [service.Letter]\nprice = \"1.40 EUR\"\nouter_max = \"{letter}\"\n\
             [service.Small]\ntariff = \"tariffs/small.csv\"\nby = \"volume\"\n"
        ),
    );
    // A cubic inch is 16.387064 cm3.
    let volume = |hundredths: i64| match inches {
        true => format!("{}.{:02} in3", hundredths / 100, hundredths % 100),
        false => format!("{}.{:08} cm3", hundredths * 16_387_064 / 100_000_000, hundredths * 16_387_064 % 100_000_000),
    };
    files.insert("tariffs/small.csv".to_owned(), format!("up to, price\n{}, 3.20 EUR\n", volume(8333)));
    let rows = [(800, 346), (1600, 533), (3200, 905), (8000, 1290), (32_000, 2100)];
    let row = |(ounces, price): (i64, i64)| format!("{}, {}.{:02} EUR\n", weight(ounces), price / 100, price % 100);
    files.insert("tariffs/road.csv".to_owned(), format!("up to, price\n{}", rows.map(row).concat()));
    config::load(&files, Path::new("config")).unwrap_or_else(|complaints| panic!("{complaints}"))
}

#[test]
fn units_change_nothing() {
    let (imperial, metric) = (shop_in(true), shop_in(false));
    assert_eq!((&imperial.products, &imperial.containers), (&metric.products, &metric.containers));
    assert_eq!(imperial.services, metric.services);
    let mut planned = 0;
    for bars in 0..5 {
        for cups in 0..4 {
            for tins in 0..3 {
                let lines = [("BAR", bars), ("CUP", cups), ("TIN", tins), ("CARD", (bars + tins) % 2)];
                let lines: Vec<(&str, u32)> = lines.into_iter().filter(|(_, n)| *n > 0).collect();
                let plan_in = plan(&imperial, &lines);
                assert_eq!(plan_in, plan(&metric, &lines), "{lines:?}");
                planned += usize::from(!plan_in.parcels.is_empty());
            }
        }
    }
    assert_eq!(planned, 5 * 4 * 3 - 1, "all but the empty order");
    let flat = |sku| plan(&metric, &[(sku, 1)]).parcels[0].thick_at_most;
    assert_eq!(flat("CARD"), "0.75 in".parse().ok());
    // 83.33 cubic inches of 9 x 6 in are 39.196... mm: a tenth of a millimetre is left out.
    assert_eq!(flat("BAR"), "39.1 mm".parse().ok());
}
