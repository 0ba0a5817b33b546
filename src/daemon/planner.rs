//! The planner's thread: takes orders that the book wants planned, loads what the plan
//! depends on, decides, and hands the result back to the book.
//!
//! It has a large stack, since rules are evaluated on it, and it survives a panic in the
//! planner: the order concerned becomes a question, the others go on. An order that takes
//! the whole process down is recognised by the book: after an unclean stop it hands out one
//! order at a time, with a mark on disk.

use super::core::CoreHandle;
use super::shared::Shared;
use crate::book::{Busy, Command, State};
use crate::model::*;
use crate::plan::choose::{Now, Wanted};
use crate::plan::{Planner, Shelf};
use jiff::civil::Date;
use std::collections::BTreeSet;
use std::panic::AssertUnwindSafe;
use std::sync::mpsc;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Stack of the planner's thread: an expression language's parser needs it (see DEVELOPERS.md).
pub const PLANNER_STACK_BYTES: usize = 64 * 1024 * 1024;

/// A request to plan one order, or several together.
#[derive(Debug)]
pub struct Request {
    /// The order.
    pub order: OrderKey,
    /// For what.
    pub pins: Pins,
}

/// The queue to the planner's thread.
#[derive(Debug)]
pub struct PlannerQueue(Mutex<Option<mpsc::Sender<Request>>>);

impl PlannerQueue {
    /// A queue and the end that the thread reads.
    pub fn new() -> (Self, mpsc::Receiver<Request>) {
        let (send, receive) = mpsc::channel();
        (Self(Mutex::new(Some(send))), receive)
    }
    /// Adds a request; after `close` it is left for the next start (the book remembers it).
    pub fn ask(&self, request: Request) {
        if let Some(queue) = &*self.0.lock().unwrap_or_else(PoisonError::into_inner) {
            let _ = queue.send(request);
        }
    }
    /// Ends the thread after the request at hand.
    pub fn close(&self) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take();
    }
}

/// Starts the thread.
pub fn start(
    shared: Arc<Shared>,
    core: CoreHandle,
    requests: mpsc::Receiver<Request>,
) -> std::io::Result<std::thread::JoinHandle<()>> {
    std::thread::Builder::new().name("planner".into()).stack_size(PLANNER_STACK_BYTES).spawn(move || {
        let mut planner: Option<(ConfigDigest, Planner)> = None;
        for request in requests {
            if !plan_one(&shared, &core, &mut planner, &request) {
                return;
            }
        }
    })
}

/// Plans one order; false when the program is stopping.
fn plan_one(
    shared: &Shared,
    core: &CoreHandle,
    planner: &mut Option<(ConfigDigest, Planner)>,
    request: &Request,
) -> bool {
    let workshop = shared.workshop();
    if planner.as_ref().is_none_or(|(digest, _)| *digest != workshop.digest) {
        *planner = Some((workshop.digest.clone(), Planner::new(&workshop)));
    }
    let Some((_, ready)) = planner.as_ref() else { return true };
    let loaded = {
        let durable = shared.durable();
        let joined = request.pins.joined.iter().map(|(key, _)| key);
        let keys: Vec<OrderKey> = std::iter::once(&request.order).chain(joined).cloned().collect();
        let entries: Option<Vec<_>> = keys.iter().map(|key| durable.state.orders.get(key)).collect();
        entries.map(|entries| {
            let accepted: BTreeSet<String> = entries.iter().flat_map(|entry| entry.accepted.iter().cloned()).collect();
            let orders: Vec<Order> = entries.iter().map(|entry| entry.order.clone()).collect();
            let shelf = shelf(&durable.state, &workshop, &keys, &accepted, request.pins.hand_over);
            let before = entries[0].plan.as_ref().map(|(plan, _)| plan.clone());
            let wanted = if entries[0].anew { Wanted::New } else { Wanted::SameIfItHolds };
            (orders, accepted, before, wanted, shelf)
        })
    };
    let Some((orders, accepted, before, wanted, shelf)) = loaded else { return true };
    let pins = &request.pins;
    let decide = || match (orders.as_slice(), &before) {
        ([order], Some(before)) => {
            let now = Now { order, workshop: &workshop, shelf: &shelf, accepted: &accepted, pins };
            ready.decide_again(before, wanted, now)
        }
        ([order], None) => ready.decide(order, &workshop, &shelf, &accepted, pins),
        (several, _) => ready.decide_together(several, &workshop, &shelf, &accepted, pins),
    };
    let plan = std::panic::catch_unwind(AssertUnwindSafe(decide)).unwrap_or_else(|_| {
        tracing::error!(order = %request.order, "the planner stopped on this order");
        *planner = None;
        failed_plan(request)
    });
    told(core, || Command::Planned(Box::new(plan.clone())))
}

/// What is left for these orders on their day: the configured stock, and the parcels that services take,
/// less what other open orders' parcels have taken, and what a person said is ready.
fn shelf(state: &State, workshop: &Workshop, orders: &[OrderKey], accepted: &BTreeSet<String>, day: Date) -> Shelf {
    let mut shelf = Shelf::default();
    let taken = state.taken_by_others(orders);
    for service in &workshop.services {
        if let Some(most) = service.per_day {
            let left = i64::from(most) - taken.parcels_by(&service.name, day);
            shelf.services_left.insert(service.name.clone(), left);
        }
    }
    for container in &workshop.containers {
        if let Some(stock) = container.stock {
            let left = i64::from(stock) - taken.containers(&container.name);
            shelf.containers_left.insert(container.name.clone(), left);
        }
    }
    for product in &workshop.products {
        for batch in &product.batches {
            if let Some(made) = batch.made {
                let key = (product.sku.clone(), batch.name.clone());
                let left = (i64::from(made) - taken.pieces(&key)).max(0);
                shelf.batches_left.insert(key, u32::try_from(left).unwrap_or(made));
            }
        }
    }
    // A settled wait is remembered as `ready:SKU` (StopKind::acceptance).
    shelf.settled = accepted.iter().filter_map(|cause| cause.strip_prefix("ready:")).map(Sku::from).collect();
    shelf
}

/// Sends a command, again while the ledger is behind or the disk is full.
fn told(core: &CoreHandle, command: impl Fn() -> Command) -> bool {
    loop {
        match core.ask_blocking(command()) {
            Ok(_) => return true,
            Err(Busy::Stopping) => return false,
            Err(Busy::Behind | Busy::NoRoom) => std::thread::sleep(Duration::from_secs(1)),
        }
    }
}

/// The plan of an order that the planner could not survive.
fn failed_plan(request: &Request) -> Plan {
    Plan {
        order: request.order.clone(),
        pins: request.pins.clone(),
        parcels: Vec::new(),
        cost: None,
        verdict: Verdict::Nothing,
        questions: vec![Question {
            cause: Cause::StoppedProgram(request.order.clone()),
            what: "the planner stopped on this order".into(),
            remedy: format!(
                "pack it by hand, or mend what is odd about it, then: dawnslip decide stopped-program:{} retry",
                request.order
            ),
            detail: None,
        }],
        waits: Vec::new(),
        alternatives: Vec::new(),
        what_would_change: Vec::new(),
        rules: Vec::new(),
        urgent: false,
        instead: None,
        joined: Vec::new(),
        joined_saves: None,
    }
}
