//! Whole situations held against each other over many orders: another contract, other boxes,
//! without a service, other prices. Each order is planned in each situation by the planner
//! itself; alike orders once.
//!
//! The work is handed to a crew (a function that does jobs): one that works on several cores
//! lives where threads may, and what comes out does not depend on it.

mod account;
mod boxes;
mod cases;
pub mod chart;
mod days;
mod full;
mod sent;
mod situation;
pub mod table;

pub use account::{Account, Against, Comparison, Group, Parts, Single};
pub use boxes::{BOXES_MAX, BestBoxes, NODES_MAX, Pool, best_boxes};
pub use cases::{Case, alike};
pub use days::{Dated, Days};
pub use sent::{Answer, Job, Ready, Sent, Unsent};
pub use situation::{Change, Situation};

/// Why situations cannot be compared; each says what to write instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CompareError {
    /// Nothing is called so.
    #[error("there is no {what} {name:?}; {}", known_in_words(.what, .known))]
    NoSuch {
        /// Contract, service or container.
        what: &'static str,
        /// As typed.
        name: String,
        /// Those that there are.
        known: Vec<String>,
    },
    /// The workshop has that contract.
    #[error("the workshop has the contract {0:?} already; to hold it against being without: --without-contract {0:?}")]
    HasContract(String),
    /// The workshop does not have that contract.
    #[error("the workshop does not have the contract {0:?}; to hold it against having it: --contract {0:?}")]
    LacksContract(String),
    /// As many boxes as there are, or more.
    #[error("of {there} boxes the best {asked} are not to be sought; ask for fewer, or name more: --candidates FILE")]
    Boxes {
        /// As typed.
        asked: usize,
        /// Those that there are.
        there: usize,
    },
    /// More boxes than are compared.
    #[error("{0} boxes are too many, at most {BOXES_MAX} are compared; name fewer candidates")]
    ManyBoxes(usize),
    /// Nothing to plan.
    #[error("there is no order to compare with")]
    NoOrders,
    /// Nothing to compare.
    #[error("say what is to be held against today: --contract, --without-service, --boxes, --prices-from or another")]
    NoChange,
}

fn known_in_words(what: &str, known: &[String]) -> String {
    if known.is_empty() {
        format!("the configuration names no {what}")
    } else {
        format!("there are {}", known.join(", "))
    }
}

/// Does jobs and gives the answers in their order.
pub type Crew<'c, E> = dyn FnMut(&[Job<'_>]) -> Result<Vec<Answer>, E> + 'c;

/// Plans all orders in all situations, of which the first is what the others are held against.
///
/// # Errors
/// Those of the crew.
pub fn run<E>(orders: &[Dated], situations: &[Situation], crew: &mut Crew<'_, E>) -> Result<Comparison, E> {
    let cases = alike(orders, situations);
    let ready: Vec<Ready> = situations.iter().map(Ready::new).collect();
    let jobs: Vec<Job<'_>> =
        ready.iter().flat_map(|ready| cases.iter().map(move |case| Job::new(ready, &orders[case.first()]))).collect();
    let answers: Vec<Vec<Answer>> = crew(&jobs)?.chunks(cases.len().max(1)).map(<[Answer]>::to_vec).collect();
    let (cases, answers) = full::mind(orders, cases, &ready, answers, crew)?;
    Ok(Comparison::of(orders, &cases, situations, &answers.concat()))
}

/// The crew of one: does one job after the other.
pub fn alone<E>(jobs: &[Job<'_>]) -> Result<Vec<Answer>, E> {
    Ok(jobs.iter().map(Job::run).collect())
}
