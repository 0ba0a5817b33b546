//! Time of a plan: the sample's ordinary orders in the sample workshop, and made-up orders of up to
//! 12 units with 8 containers and 12 services; also by size, and with two mailers more.
//! The baseline is one fit of all the goods in each of the containers, which any planner needs to do
//! about once. A plan's time is its thread's on the processor: what else the machine does matters
//! little.
//!
//! Before that one planner plans 20 000 orders that are all made anew, and what the process has in memory is told on
//! the way: it must not grow with the orders. What grows at first are the verdicts that the planner remembers, of
//! which it keeps so many at most; after that it fails if there is more at the end.
//!
//! `cargo bench --bench plan [-- ORDERS]`

#[path = "../plan_bench/mod.rs"]
mod plan_bench;
mod support;

use dawnslip::model::*;
use dawnslip::plan::fit::{Budget, Laws, Piece, Sides, Turning, fit};
use dawnslip::plan::{Planner, Shelf};
use plan_bench::{carton, demo, eur, g, mm, order, pins, product, service, steps};
use std::collections::BTreeSet;
use std::time::{Duration, Instant};
use support::Figures;

/// Inner sides of the containers in millimetres.
const ROOMS: [Sides; 8] = [
    [150, 110, 80],
    [180, 120, 120],
    [240, 160, 110],
    [300, 220, 130],
    [320, 240, 200],
    [400, 300, 250],
    [480, 320, 300],
    [600, 400, 400],
];
/// Products: sides in millimetres, grams.
const THINGS: [(Sides, i64); 10] = [
    ([100, 80, 95], 380),
    ([190, 120, 110], 760),
    ([120, 80, 60], 120),
    ([85, 85, 40], 150),
    ([220, 220, 45], 640),
    ([60, 60, 120], 210),
    ([150, 100, 30], 90),
    ([310, 60, 60], 330),
    ([140, 140, 90], 520),
    ([75, 55, 35], 60),
];
const SERVICES: usize = 12;
const UNITS_MAX: u64 = 12;
/// Orders of a large day, the same some hundreds again and again.
const MANY: usize = 10_000;
/// After so many orders memory is looked at.
const LOOKS: [usize; 3] = [1_000, 5_000, 10_000];
/// At the last look there is at most so many times the memory of the one before, once the remembered verdicts are full.
const GROWTH_MAX: f64 = 1.1;

fn main() {
    support::on_a_large_stack(bench);
}

/// The made-up workshop.
fn large() -> Workshop {
    let mut workshop = demo();
    workshop.products = THINGS
        .iter()
        .enumerate()
        .map(|(number, ([l, w, h], grams))| product(&format!("P-{number}"), "thing", mm(*l, *w, *h), g(*grams)))
        .collect();
    workshop.containers = ROOMS
        .iter()
        .enumerate()
        .map(|(number, [l, w, h])| {
            let (number, volume) = (number as i64, l * w * h);
            carton(&format!("Box {number}"), mm(*l, *w, *h), 3, g(60 + volume / 60_000), 30 + volume / 200_000)
        })
        .collect();
    let zones = workshop.services[0].zones.clone();
    workshop.services = (0..SERVICES as i64)
        .map(|number| {
            let base = 300 + number * 45;
            let rows: Vec<(i64, i64)> =
                (1..=6).map(|step| (step * (400 + number * 300), base + step * (60 - number * 3))).collect();
            let mut service = service(&format!("Way {number}"), Price::ByWeight(steps("Middle", &rows)));
            service.zones = zones.clone();
            if number % 3 == 1 {
                service.outer_max = Some(mm(350 + number * 20, 250 + number * 10, 150 + number * 20));
            }
            service
        })
        .collect();
    workshop.services[SERVICES - 1].price = Price::Fixed([("Middle".to_owned(), eur(1190))].into());
    workshop
}

/// The same with services that mind how thick something is: a letter, tiers by volume, size as weight.
fn minding_size() -> Workshop {
    let mut workshop = large();
    workshop.services[0].outer_max = Some(mm(353, 250, 36));
    let tier = |step: u64| VolumeStep {
        zone: "Middle".into(),
        up_to: Volume::from_cm3(step * 1_200),
        soft_up_to: None,
        price: eur(320 + step as i64 * 55),
    };
    workshop.services[2].price = Price::ByVolume((1..=12).map(tier).collect());
    workshop.services[3].dimensional = Some(Dimensional {
        size: Volume::from_cm3(5_000),
        weighs: g(1_000),
        above: None,
        side_step: None,
        weight_step: None,
    });
    workshop
}

/// And with two mailers for goods, at each thickness that matters.
fn with_mailers() -> Workshop {
    let mut workshop = minding_size();
    for (name, flat, cost) in [("Mailer", [280, 200], 22), ("Large mailer", [420, 320], 35)] {
        let mut mailer = carton(name, mm(1, 1, 1), 0, g(30), cost);
        let flat = flat.map(Length::from_mm);
        let thickness_max = Length::from_mm(90);
        mailer.kind = ContainerKind::PaddedMailer { flat, outer: flat, allowance: [Length::ZERO; 2], thickness_max };
        mailer.cushion = Length::from_mm(3);
        workshop.containers.push(mailer);
    }
    workshop
}

/// Numbers that only have to vary (splitmix64, from memory).
struct Chance(u64);

impl Chance {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % bound
    }

    /// So many units, of at most so many products.
    fn order(&mut self, units: u64, kinds: u64) -> Order {
        let kinds: Vec<u64> = (0..kinds).map(|_| self.below(THINGS.len() as u64)).collect();
        let mut counts = [0u32; THINGS.len()];
        for _ in 0..units {
            let kind = kinds[self.below(kinds.len() as u64) as usize];
            counts[kind as usize] += 1;
        }
        let names: Vec<String> = (0..THINGS.len()).map(|number| format!("P-{number}")).collect();
        let lines: Vec<(&str, u32)> = names
            .iter()
            .zip(counts)
            .filter(|(_, count)| *count > 0)
            .map(|(name, count)| (name.as_str(), count))
            .collect();
        order(&lines)
    }
}

/// One fit of all goods in each container.
fn baseline(order: &Order) -> Duration {
    let pieces: Vec<Piece> = order
        .lines
        .iter()
        .flat_map(|line| {
            let number: usize = line.sku.as_str()[2..].parse().expect("P- and a number");
            std::iter::repeat_n(Piece::plain(THINGS[number].0, Turning::Any), line.quantity as usize)
        })
        .collect();
    let begin = support::processor_time();
    for room in ROOMS {
        std::hint::black_box(fit(room, &pieces, Laws::Bench, Budget::USUAL));
    }
    support::processor_time() - begin
}

/// Of few things and up to seven units, as on most days.
fn day_like(chance: &mut Chance) -> Order {
    let units = 1 + chance.below(4) + chance.below(4) * chance.below(2);
    let kinds = 1 + chance.below(3);
    chance.order(units.min(UNITS_MAX), kinds)
}

/// One planner, many orders that are all made anew, each dropped with its plan.
///
/// # Panics
/// Memory grows with the orders.
fn memory(large: &Workshop) {
    let planner = Planner::new(large);
    let mut chance = Chance(77);
    let now = |figure: &str| support::measure::memory(std::process::id(), figure) as f64 / 1e6;
    println!("memory: {:.1} MB before the first order", now("VmRSS"));
    println!("                              orders   MB now   MB at most   times that after {}", LOOKS[0]);
    let mut looks = |name: &str, make: &dyn Fn(&mut Chance) -> Order| {
        let mut seen: Vec<f64> = Vec::new();
        for number in 1..=LOOKS[LOOKS.len() - 1] {
            planner.decide(&make(&mut chance), large, &Shelf::default(), &BTreeSet::new(), &pins());
            if LOOKS.contains(&number) {
                seen.push(now("VmRSS"));
                let (here, most) = (seen[seen.len() - 1], now("VmHWM"));
                println!("{name:<28}  {number:>6}   {here:>6.1}   {most:>10.1}   {:>6.2}", here / seen[0]);
            }
        }
        seen[seen.len() - 1] / seen[seen.len() - 2]
    };
    looks("8 x 12, day-like", &day_like);
    // Well before five thousand of these the verdicts have been all there, and were thrown away.
    let grown = looks("8 x 12, always 12 units", &|chance: &mut Chance| chance.order(UNITS_MAX, 5));
    assert!(
        grown <= GROWTH_MAX,
        "memory grows with the orders: {grown:.2} times from the last look but one, at most {GROWTH_MAX} are allowed"
    );
}

struct Plans {
    times: Vec<Duration>,
    proved: usize,
    /// No parcels, but a question.
    asked: usize,
}

fn plan_all(workshop: &Workshop, orders: &[Order]) -> Plans {
    let planner = Planner::new(workshop);
    let mut plans = Plans { times: Vec::new(), proved: 0, asked: 0 };
    for order in orders {
        let begin = support::processor_time();
        let plan = planner.decide(order, workshop, &Shelf::default(), &BTreeSet::new(), &pins());
        plans.times.push(support::processor_time() - begin);
        plans.proved += usize::from(plan.verdict == Verdict::Proved);
        plans.asked += usize::from(plan.verdict == Verdict::Nothing);
    }
    plans
}

fn report(name: &str, plans: Plans, baseline: Option<Vec<Duration>>) {
    let count = plans.times.len();
    let packed = (count - plans.asked).max(1);
    let figures = Figures::of(plans.times);
    print!(
        "{name:<30} {count:>6}  {:>7.3}  {:>7.3}  {:>7.3}  {:>5.1} %",
        figures.ms(0.5),
        figures.ms(0.99),
        figures.ms(1.0),
        plans.proved as f64 * 100.0 / packed as f64
    );
    if let Some(baseline) = baseline {
        let baseline = Figures::of(baseline);
        print!("   {:>5.2}  {:>5.2}", figures.ms(0.5) / baseline.ms(0.5), figures.ms(0.99) / baseline.ms(0.99));
    }
    println!("{}", if plans.asked > 0 { format!("   {} without parcels", plans.asked) } else { String::new() });
}

fn bench() {
    let count = support::argument(1000);
    let large = large();
    memory(&large);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let (place, sample) = support::sample(folder.path());
    let table = place.sources(&sample, [0; 32]).unwrap_or_else(|errors| panic!("the sample's sources: {errors:?}"));
    let now = jiff::Timestamp::UNIX_EPOCH;
    let messages = support::ordinary(count, now);
    let ordinary: Vec<Order> = messages
        .iter()
        .flat_map(|message| match support::received(&table, message).meaning {
            dawnslip::book::Meaning::Orders(orders) => orders.into_iter().map(|(order, _)| order).collect(),
            _ => Vec::new(),
        })
        .collect();
    assert_eq!(ordinary.len(), count, "each message is one order");
    println!("orders                         count   p50 ms   p99 ms   max ms   proved   of the baseline: p50, p99");
    report("sample", plan_all(&sample, &ordinary), None);
    let many: Vec<Order> = ordinary.iter().cycle().take(MANY).cloned().collect();
    let seconds = |threads: usize| {
        // One memory for all: what one thread has found out, the others need not.
        let planner = Planner::new(&sample);
        let begin = Instant::now();
        std::thread::scope(|scope| {
            for part in many.chunks(many.len().div_ceil(threads)) {
                let (planner, sample) = (planner.clone(), &sample);
                let plan = move || {
                    for order in part {
                        planner.decide(order, sample, &Shelf::default(), &BTreeSet::new(), &pins());
                    }
                };
                std::thread::Builder::new().stack_size(64 << 20).spawn_scoped(scope, plan).expect("a thread");
            }
        });
        begin.elapsed().as_secs_f64()
    };
    let (one, two) = (seconds(1), seconds(2));
    println!("sample, {MANY} orders: {one:.1} s on one thread, {two:.1} s on two ({:.2} times)", one / two);

    let (minding, mailers) = (minding_size(), with_mailers());
    let mut chance = Chance(2026);
    let day: Vec<Order> = (0..count).map(|_| day_like(&mut chance)).collect();
    let full: Vec<Order> = (0..count).map(|_| chance.order(UNITS_MAX, 5)).collect();
    for (name, orders) in [("day-like", day), ("always 12 units", full)] {
        for (containers, workshop) in [("8 x 12", &large), ("by size", &minding), ("and mailers", &mailers)] {
            let base = orders.iter().map(baseline).collect();
            report(&format!("{containers}, {name}"), plan_all(workshop, &orders), Some(base));
        }
    }
}
