//! Papers: time from the state to the printer's bytes, by kind and by script, cold and warm; the
//! pick list of a large day; bytes of each.
//!
//! `cargo bench --bench paper [-- ORDERS]`

mod support;

use dawnslip::book::{Command, Effect, PersonRecord, State, Step, step};
use dawnslip::book::{People, Record};
use dawnslip::model::*;
use dawnslip::plan::{Planner, Shelf};
use dawnslip::slip::layout::layout;
use dawnslip::slip::{Fonts, Typesetter, Wanted, paper, render_bytes};
use jiff::Timestamp;
use std::time::{Duration, Instant};
use support::Figures;

/// Papers before the clock runs, and papers that are measured.
const WARM_UP: usize = 20;
const MEASURED: usize = 400;
/// Papers of one script.
const OF_A_SCRIPT: usize = 60;
/// Invented names, one a script; a number after each makes every paper another one.
const SCRIPTS: [(&str, &str); 9] = [
    ("Latin", "Zoë Ångström"),
    ("Greek", "Νίκος Παππάς"),
    ("Cyrillic", "Олена Коваль"),
    ("Han", "佐藤 花子"),
    ("Hangul", "김하늘"),
    ("Arabic", "محمد علي"),
    ("Hebrew", "נועה לוי"),
    ("Devanagari", "क्षितिज शर्मा"),
    ("Thai", "สมหญิง ใจดี"),
];

fn main() {
    support::on_a_large_stack(bench);
}

/// The book, driven as the program drives it, with the planner answering at once.
struct Book<'a> {
    state: State,
    people: People,
    workshop: &'a Workshop,
    planner: Planner,
    now: Timestamp,
}

impl Book<'_> {
    fn tell(&mut self, command: Command) {
        let mut commands = vec![command];
        while let Some(command) = commands.pop() {
            let Step { records, effects, .. } = step(&mut self.state, command, self.now);
            for record in &records {
                if let Record::Person(person) = record {
                    self.people.apply(person);
                }
            }
            for effect in effects {
                let Effect::PlanThis { order, pins } = effect else { continue };
                let entry = &self.state.orders[&order];
                let plan = self.planner.decide(&entry.order, self.workshop, &Shelf::default(), &entry.accepted, &pins);
                commands.push(Command::Planned(Box::new(plan)));
            }
        }
    }

    /// Time until a paper is bytes, and how many.
    fn print(&self, kind: PaperKind, subject: &Subject, setter: &mut Typesetter) -> (Duration, usize) {
        let wanted = Wanted { kind, subject, copy: None };
        let printer = self.workshop.printers.first().expect("the sample has a printer");
        let begin = Instant::now();
        let paper = paper(&wanted, &self.state, &self.people, self.workshop, setter, self.now).expect("a paper");
        let bytes = render_bytes(&paper, printer, None, setter).expect("bytes");
        (begin.elapsed(), bytes.len())
    }

    /// Bytes of a paper, and of the same dots sent whole: every row from edge to edge.
    fn sent_and_whole(&self, kind: PaperKind, subject: &Subject, setter: &mut Typesetter) -> (usize, usize) {
        let wanted = Wanted { kind, subject, copy: None };
        let printer = self.workshop.printers.first().expect("the sample has a printer");
        let paper = paper(&wanted, &self.state, &self.people, self.workshop, setter, self.now).expect("a paper");
        let dots = layout(&paper.document, printer.into(), setter).dots;
        (render_bytes(&paper, printer, None, setter).expect("bytes").len(), dots.bytes().len())
    }

    fn report(&self, name: &str, subjects: &[(PaperKind, Subject)], setter: &mut Typesetter) {
        let (mut times, mut bytes) = (Vec::new(), 0);
        for (kind, subject) in subjects {
            let (time, len) = self.print(*kind, subject, setter);
            times.push(time);
            bytes += len;
        }
        let (figures, count) = (Figures::of(times), subjects.len());
        println!("{name:<22} {:>7.2}  {:>7.2}  {:>8}", figures.ms(0.5), figures.ms(0.99), bytes / count.max(1));
    }
}

/// 500 slips by two threads with a typesetter each, cold.
fn five_hundred(book: &Book, ids: &[ParcelId]) {
    let ids: Vec<ParcelId> = ids.iter().copied().take(500).collect();
    let begin = Instant::now();
    std::thread::scope(|scope| {
        for half in ids.chunks(ids.len().div_ceil(2).max(1)) {
            scope.spawn(move || {
                let mut setter = Typesetter::new(Fonts::embedded());
                for id in half {
                    book.print(PaperKind::Slip, &Subject::Parcel(*id), &mut setter);
                }
            });
        }
    });
    println!("\n{} slips by two threads, cold: {:.2} s", ids.len(), begin.elapsed().as_secs_f64());
    let mut setter = Typesetter::new(Fonts::embedded());
    let mut largest = 0;
    let sums = ids.iter().fold((0, 0), |(sent, whole), id| {
        let (s, w) = book.sent_and_whole(PaperKind::Slip, &Subject::Parcel(*id), &mut setter);
        largest = largest.max(w);
        (sent + s, whole + w)
    });
    println!(
        "bytes of a slip: {} sent, {} if every row were sent whole: {:.2} of it; the largest takes {largest} in memory",
        sums.0 / ids.len().max(1),
        sums.1 / ids.len().max(1),
        sums.0 as f64 / sums.1 as f64
    );
}

fn bench() {
    let orders = support::argument(10_000);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let (place, mut workshop) = support::sample(folder.path());
    // All of them are today's, so that all stand on the list.
    workshop.day.parcels_a_day = u32::try_from(orders * 2).expect("a count");
    let table = place.sources(&workshop, [0; 32]).unwrap_or_else(|errors| panic!("the sample's sources: {errors:?}"));
    let now: Timestamp = "2026-11-25T06:00:00Z".parse().expect("an instant");
    let planner = Planner::new(&workshop);
    let (state, people) = (State::default(), People::default());
    let mut book = Book { state, people, workshop: &workshop, planner, now };
    book.tell(support::adopt(&workshop));
    let mut filled = Vec::new();
    for message in support::ordinary(orders, now) {
        let begin = Instant::now();
        book.tell(Command::Receive(Box::new(support::received(&table, &message))));
        filled.push(begin.elapsed());
    }
    let tenth = orders / 10;
    let mean = |part: &[Duration]| part.iter().sum::<Duration>().as_secs_f64() * 1e3 / part.len().max(1) as f64;
    println!(
        "{} orders, {} parcels; taking one in, with its plan: {:.2} ms among the first tenth, {:.2} ms among the last",
        book.state.orders.len(),
        book.state.parcels.len(),
        mean(&filled[..tenth]),
        mean(&filled[orders - tenth..])
    );

    let cards = |id: &ParcelId| {
        let planned = &book.state.parcels[id].planned;
        planned.cards.first().map(|card| (PaperKind::Card, Subject::Card(*id, card.clone())))
    };
    let slip = |id: &ParcelId| (PaperKind::Slip, Subject::Parcel(*id));
    let begin = Instant::now();
    let mut setter = Typesetter::new(Fonts::embedded());
    let loaded = begin.elapsed();
    let first = book.state.parcels.keys().next().expect("a parcel");
    let cold = book.print(PaperKind::Slip, &Subject::Parcel(*first), &mut setter).0;
    println!("cold: letters {:.1} ms, the first slip {:.1} ms\n", loaded.as_secs_f64() * 1e3, cold.as_secs_f64() * 1e3);
    println!("paper                  p50 ms   p99 ms     bytes");
    let ids: Vec<ParcelId> = book.state.parcels.keys().copied().collect();
    for id in ids.iter().take(WARM_UP) {
        for (kind, subject) in [Some(slip(id)), cards(id)].into_iter().flatten() {
            book.print(kind, &subject, &mut setter);
        }
    }
    let measured = ids.iter().skip(WARM_UP).take(MEASURED);
    book.report("slip", &measured.clone().map(slip).collect::<Vec<_>>(), &mut setter);
    book.report("card", &measured.filter_map(cards).collect::<Vec<_>>(), &mut setter);

    for (number, (script, name)) in SCRIPTS.iter().enumerate() {
        let of_script: Vec<ParcelId> = ids.iter().skip(number * OF_A_SCRIPT).take(OF_A_SCRIPT).copied().collect();
        for (count, id) in of_script.iter().enumerate() {
            let key = book.state.parcels[id].orders[0].clone();
            let version = book.state.orders[&key].version;
            let mut person = book.people.of(&key, version).expect("its person").clone();
            person.recipient = Hidden::new(format!("{name} {count}"));
            book.people.apply(&PersonRecord::Of { v: 1, order: key, version, person: Box::new(person) });
        }
        let mut fresh = Typesetter::new(Fonts::embedded());
        let cold = book.print(PaperKind::Slip, &Subject::Parcel(of_script[0]), &mut fresh).0;
        book.report(
            &format!("slip, {script} ({:.0} cold)", cold.as_secs_f64() * 1e3),
            &of_script.iter().map(slip).collect::<Vec<_>>(),
            &mut setter,
        );
    }

    five_hundred(&book, &ids);

    let date = book.state.date(now);
    let list = Subject::List { date, extra: 0 };
    let (time, bytes) = book.print(PaperKind::PickList, &list, &mut setter);
    println!("\npick list of {} orders: {:.0} ms, {bytes} bytes", book.state.orders.len(), time.as_secs_f64() * 1e3);
}
