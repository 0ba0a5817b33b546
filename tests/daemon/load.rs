//! Orders from several senders at once, what they were told, and what must then be there.

use super::support::*;
use dawnslip::intake::sender::Sender;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// Senders at once.
const SENDERS: usize = 3;

/// What the senders have been told: orders answered 2xx, and how often there was no answer.
#[derive(Default)]
pub struct Told {
    pub kept: Mutex<Vec<String>>,
    pub refused: Mutex<Vec<(u16, String)>>,
    pub stop: AtomicBool,
}

impl Told {
    /// Orders answered so far.
    pub fn count(&self) -> usize {
        self.kept.lock().unwrap().len()
    }
}

/// Sends orders until told to stop or until nobody answers.
pub fn load(bench: &Bench, round: usize, told: &Arc<Told>) -> Vec<tokio::task::JoinHandle<()>> {
    (0..SENDERS)
        .map(|sender| {
            let told = Arc::clone(told);
            let target = bench.target();
            let envelopes: Vec<_> = (0..400)
                .map(|index| {
                    let number = format!("K-{round}-{sender}-{index}");
                    let sku = if is_printable(&number) { "sea-mint" } else { "GLZ-9" };
                    let body = order(&number, &[(sku, 1)]).to_string();
                    (bench.sign("shop", &format!("msg_{number}"), body), number)
                })
                .collect();
            bench.runtime.spawn(async move {
                let mut sender = Sender::new(target);
                for (envelope, number) in envelopes {
                    if told.stop.load(Ordering::Relaxed) {
                        return;
                    }
                    match sender.send(&envelope).await {
                        Ok(answer) if (200..300).contains(&answer.status) => told.kept.lock().unwrap().push(number),
                        Ok(answer) => told.refused.lock().unwrap().push((answer.status, answer.body)),
                        Err(_) => return,
                    }
                    tokio::time::sleep(Duration::from_millis(4)).await;
                }
            })
        })
        .collect()
}

/// Every twentieth order of a sender gets paper, the first among them; the others wait for a
/// product that nobody knows: printing takes longer than keeping.
pub fn is_printable(number: &str) -> bool {
    number.rsplit('-').next().and_then(|index| index.parse::<usize>().ok()).is_some_and(|index| index % 20 == 0)
}

pub fn wait_for(bench: &Bench, senders: Vec<tokio::task::JoinHandle<()>>) {
    for sender in senders {
        bench.runtime.block_on(sender).unwrap();
    }
}

/// No paper lies on the galley twice under the same process id: the second would say COPY and
/// have one of its own.
pub fn nothing_twice(bench: &Bench, what: &str) {
    let mut seen = std::collections::BTreeSet::new();
    for id in bench.galley.papers().iter().flat_map(|paper| &paper.process_ids) {
        let proof = *id == dawnslip::print::driver::PROOF_ID;
        assert!(proof || seen.insert(*id), "{what}: paper {} came twice", String::from_utf8_lossy(id));
    }
}

/// Splitmix64 (published by Vigna, from memory): the same again from the same seed.
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    pub fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }
    pub fn coin(&mut self) -> bool {
        self.next() & 1 == 0
    }
}

/// A number from the environment.
pub fn number_of(name: &str, otherwise: usize) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

/// Waits until each order that can be printed is printed. One that was being planned at two kills
/// is set aside, as one that stops the program is: a person, here this function, has it tried
/// again. Says how many those were. A paper that was on its way at several kills is in doubt, and
/// its order waits with what else it needs: this person says that it is to be printed once more.
/// Nothing else may keep an order from its papers.
pub fn until_printed(bench: &Bench, numbers: &[String]) -> usize {
    let mut set_aside = 0;
    for number in numbers.iter().filter(|number| is_printable(number)) {
        let page = || bench.get(&format!("/orders/{number}"), "application/json").body;
        bench.until(&format!("{number} planned"), || !bench.papers_of(number).is_empty() || page().contains(SET_ASIDE));
        if bench.papers_of(number).is_empty() {
            set_aside += 1;
            bench.run(&["decide", &format!("{SET_ASIDE}shop/{number}"), "retry"]).expect(0, &[]);
            bench.until(&format!("{number} planned after all"), || !bench.papers_of(number).is_empty());
        }
    }
    bench.until_still();
    for number in numbers.iter().filter(|number| is_printable(number)) {
        let page = bench.get(&format!("/orders/{number}"), "application/json").body;
        let mut jobs: Vec<&str> =
            page.split(IN_DOUBT).skip(1).filter_map(|rest| rest.split(['"', ' ', ';']).next()).collect();
        jobs.sort_unstable();
        jobs.dedup();
        for job in jobs {
            bench.run(&["decide", &format!("{IN_DOUBT}{job}"), "copy"]).expect(0, &[]);
        }
    }
    bench.until_still();
    set_aside
}

/// The cause of a paper of which nobody knows whether it came.
const IN_DOUBT: &str = "uncertain-paper:";

/// The cause of an order that stopped the program twice.
const SET_ASIDE: &str = "stopped-program:";

/// Every paper is on the galley once; more often only if it was made again as a COPY.
pub fn each_paper_once(bench: &Bench, numbers: &[String]) {
    let printable = numbers.iter().filter(|number| is_printable(number));
    assert!(printable.clone().count() > 0);
    for number in printable {
        let papers = bench.papers_of(number);
        for kind in ["slip", "card"] {
            let of_kind: Vec<_> = papers.iter().filter(|paper| paper["kind"] == kind).collect();
            // What was taken out of the queue while its order waited was never sent; it comes anew.
            let sent = of_kind.iter().filter(|paper| paper["state"] != "dropped" || paper["tries"] != 0);
            let originals = sent.filter(|paper| paper["copy"] == false).count();
            assert_eq!(originals, 1, "{number}: {of_kind:?}");
            let on_paper = of_kind.iter().filter(|paper| paper["state"] == "on paper").count();
            assert!(on_paper >= 1, "{number} is not on paper: {of_kind:?}");
            for paper in &of_kind {
                let lies = bench.on_galley(paper);
                assert!(lies <= 1, "{number}: the same paper {lies} times without COPY: {paper}");
                assert!(paper["state"] != "on paper" || lies == 1, "{number}: said to be on paper, is not: {paper}");
            }
        }
    }
}
