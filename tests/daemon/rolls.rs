//! How long papers are, for how many more the roll will do, and a stand-in printer with another
//! width: held against what lies on the galley.

use super::support::*;
use dawnslip::clock::{Clock, ShiftedClock};
use dawnslip::daemon;
use dawnslip::desk::{Backend, TakenIn};
use dawnslip::model::{JobId, JobState};
use dawnslip::print::galley::{Fault, Galley, GalleyOptions, Paper};
use dawnslip::print::net::TcpNet;
use jiff::{SignedDuration, Timestamp};
use serde_json::Value;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

/// The sample's printer: dots an inch, and its roll.
const DPI: f64 = 203.0;
const ROLL_MM: f64 = 80_000.0;

fn millimetres(paper: &Paper) -> f64 {
    paper.rows as f64 * 25.4 / DPI
}

fn galley_paper<'a>(papers: &'a [Paper], job: &Value) -> &'a Paper {
    let id = JobId(job["job"].as_str().unwrap()[1..].parse().unwrap()).process_id();
    papers.iter().find(|paper| paper.process_ids.contains(&id)).unwrap_or_else(|| panic!("{job} is not on the galley"))
}

#[test]
fn after_a_new_roll_status_says_for_how_many_more_slips_it_will_do() {
    let bench = Bench::running();
    let print = |number: &str| {
        bench.order(number, &[("mug-dawn", 1)]);
        bench.until_stage(number, "printed");
        bench.until_still();
    };
    print("A-1");
    bench.galley.set_fault(Fault::NearEnd);
    print("A-2");
    let status = bench.status();
    assert!(status.contains("the roll is near its end") && !status.contains("this roll ends"), "{status}");
    let before = bench.galley.papers().len();
    bench.galley.load_paper();
    for number in ["A-3", "A-4", "A-5", "A-6", "A-7", "A-8"] {
        print(number);
    }
    let flat = bench.status().split_whitespace().collect::<Vec<_>>().join(" ");
    let said = flat.split_once("printer \"bench\": this roll ends after about ").unwrap_or_else(|| panic!("{flat}")).1;
    let slips: f64 = said.split_once(" more slips").unwrap_or_else(|| panic!("{flat}")).0.parse().unwrap();
    // Each slip goes with its card. A real head's way to the knife (13 mm) is longer than the galley's (24 rows).
    let length = |paper: &Paper| millimetres(paper) + 13.0 - 24.0 * 25.4 / DPI;
    let papers = bench.galley.papers();
    let all: f64 = papers.iter().map(length).sum();
    let used: f64 = papers[before..].iter().map(length).sum();
    let left = (ROLL_MM - used) / (all / 8.0);
    // So many are told in fifties, rounded down.
    assert!(left > 200.0 && (left - 51.0..=left + 1.0).contains(&slips), "{slips} told, {left} left");
    assert!(!flat.contains("near its end"), "{flat}");
}

#[test]
fn each_paper_is_shown_with_its_length() {
    let bench = Bench::running();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.order("A-2", &[("mug-dawn", 2), ("mug", 1), ("sea-mint", 3)]);
    for number in ["A-1", "A-2"] {
        bench.until_stage(number, "printed");
    }
    bench.until_still();
    let (papers, jobs) = (bench.galley.papers(), bench.jobs());
    assert_eq!(jobs.len(), papers.len());
    let text = bench.get("/jobs", "text/plain").body;
    for job in &jobs {
        let (told, lies) = (job["millimetres"].as_f64().unwrap(), millimetres(galley_paper(&papers, job)));
        // It is told without the way to the knife.
        assert!((told..told + 16.0).contains(&lies), "{job} is {lies} mm long");
        assert!(text.contains(&format!("{told} mm")), "{told} mm is not in:\n{text}");
    }
    let lengths: std::collections::BTreeSet<_> = jobs.iter().map(|job| job["millimetres"].as_u64()).collect();
    assert!(lengths.len() > 1, "{lengths:?}");
}

#[test]
fn a_stand_in_with_another_width_gets_papers_made_for_its_own() {
    let bench = Bench::new();
    let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let narrow = GalleyOptions { dots: 384, ..GalleyOptions::default() };
    let office = bench.runtime.block_on(Galley::start(any, narrow)).unwrap();
    bench.edit("printers.toml", "# stand_in = \"office\"\nuncertain", "stand_in = \"office\"\nuncertain");
    let address = office.addr().unwrap();
    bench.append("printers.toml", &format!("\n[printer.office]\naddress = \"{address}\"\ndots = 384\n"));
    bench.galley.set_fault(Fault::PowerOff);
    let begun = Timestamp::now();
    let clock = Arc::new(ShiftedClock::starting_at(begun));
    let options = daemon::Options {
        place: daemon::Place { folder: bench.config() },
        data: bench.data(),
        clock: Arc::clone(&clock) as Arc<dyn Clock>,
        net: Arc::new(TcpNet),
        listen: Some((any, any)),
    };
    let papers = bench.runtime.block_on(async {
        let running = daemon::start(options).await.unwrap();
        let house = Arc::clone(&running.house);
        let told = house.take_in("shop".into(), order("A-1", &[("mug-dawn", 1)]).to_string().into()).await.unwrap();
        assert!(matches!(told, TakenIn::New(_)), "{told:?}");
        let patient = std::time::Instant::now();
        let wait = || async {
            assert!(patient.elapsed() < PATIENCE, "{:?}", house.read().printers);
            tokio::time::sleep(std::time::Duration::from_millis(30)).await;
        };
        let troubled = || house.read().printers.iter().filter(|printer| printer.trouble.is_some()).count();
        while troubled() == 0 || house.read().state.queued().count() < 2 {
            wait().await;
        }
        assert!(office.papers().is_empty(), "not before its printer has been in trouble for two minutes");
        clock.move_to(begun + SignedDuration::from_mins(3));
        while !house.read().state.jobs.values().all(|job| matches!(job.state, JobState::OnPaper { .. })) {
            wait().await;
        }
        running.stop().await;
        office.papers()
    });
    assert_eq!(papers.len(), 2, "slip and card");
    for paper in papers {
        // The galley notes what goes beyond its edge.
        assert_eq!(paper.notes, Vec::<String>::new());
        let picture = dawnslip::print::galley::Picture::from_png(&paper.png).unwrap();
        let is_inked = |columns: std::ops::Range<usize>| {
            columns.clone().any(|x| (0..picture.height()).any(|y| picture.is_black(x, y)))
        };
        assert!(is_inked(0..192) && is_inked(288..384), "it fills the narrow paper");
    }
    assert!(bench.galley.papers().is_empty());
}
