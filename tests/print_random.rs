//! Random faults, random moments: the books must balance whatever happens. Time is paused, the
//! wire is in memory; the seed is printed, `DAWNSLIP_SEED` sets another.

mod print_support;

use dawnslip::clock::SystemClock;
use dawnslip::model::{Confirmation, Confirms};
use dawnslip::print::galley::{Fault, Galley, GalleyOptions};
use dawnslip::print::worker::{self, WorkerOptions};
use print_support::{Spool, State, printer};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::{sleep, timeout};

/// Where nothing else is asked for: `cargo test` meets the same faults each time.
const SEED: u64 = 1106;
const ROUNDS: u64 = 90;
const A_DAY: Duration = Duration::from_secs(24 * 3600);

/// SplitMix64 (Steele, Lea, Flood 2014): small, and good enough to choose faults.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) % limit
    }

    fn fault(&mut self) -> Fault {
        let few = self.below(300);
        match self.below(17) {
            0 => Fault::PaperOut { after_rows: few },
            1 => Fault::NearEnd,
            2 => Fault::CoverOpen,
            3 => Fault::CutterStuck,
            4 => Fault::TooHot,
            5 => Fault::Unrecoverable,
            6 => Fault::Stall,
            7 => Fault::CloseAfter { bytes: few * 60 },
            8 | 9 => Fault::ResetAfter { bytes: few * 60 },
            10 => Fault::PowerOff,
            11 => Fault::PowerOffAfter { rows: few },
            12 => Fault::Silent,
            13 => Fault::NoStatus,
            14 => Fault::NoConfirmation,
            15 => Fault::WrongId,
            _ => Fault::Nonsense,
        }
    }
}

#[tokio::test(start_paused = true)]
async fn the_books_balance_whatever_the_printer_does() {
    let seed = std::env::var("DAWNSLIP_SEED").map_or(SEED, |seed| seed.parse().unwrap());
    println!("seed: DAWNSLIP_SEED={seed}");
    let mut dice = Dice(seed);
    let options = GalleyOptions { rows_a_second: Some(640), ..GalleyOptions::default() };
    let galley = Galley::offline(options).unwrap();
    let spool = Arc::new(Spool::new());
    let worker = worker::start(
        printer("galley", Confirms::ProcessId),
        spool.clone(),
        galley.net(),
        Arc::new(SystemClock),
        WorkerOptions::default(),
    );
    let mut jobs = 0;
    for _ in 0..ROUNDS {
        for _ in 0..=dice.below(6) {
            let title = if dice.below(9) == 0 { "list" } else { "slip" };
            spool.add(title, 20 + dice.below(160) as u16);
            jobs += 1;
        }
        sleep(Duration::from_millis(dice.below(1500))).await;
        for _ in 0..=dice.below(2) {
            galley.set_fault(dice.fault());
        }
        sleep(Duration::from_millis(dice.below(90_000))).await;
        galley.mend();
    }
    galley.mend();
    let settled = timeout(A_DAY, spool.wait_settled()).await;
    assert!(settled.is_ok(), "stuck: {:?}", worker.health().borrow());
    assert!(worker.stop(Duration::from_secs(60)).await);

    spool.check_books(&galley.papers());
    let entries = spool.entries();
    let confirmed = |state: &State| *state == State::OnPaper(Confirmation::ProcessId);
    let on_paper = entries.values().filter(|entry| confirmed(&entry.state)).count();
    println!("{jobs} jobs, {ROUNDS} rounds of faults, {on_paper} confirmed, {} copies", spool.copies());
    assert!(jobs > ROUNDS && spool.copies() > 0, "some fault should have put a job in doubt");
}
