//! A workshop as it is, or as it might be.

use super::CompareError;
use super::boxes::{self, BestBoxes};
use super::days::Days;
use crate::model::*;
use jiff::civil::Date;

/// What is different.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// With this contract, which costs so much over all the orders.
    Contract(String, Option<Money>),
    /// Without this one.
    WithoutContract(String),
    /// Without this service.
    WithoutService(String),
    /// Without this container.
    WithoutContainer(String),
    /// With the prices of that day for all orders.
    PricesOf(Date),
}

/// A workshop, and the days whose prices count.
#[derive(Debug, Clone)]
pub struct Situation {
    /// In words: `with the contract "better rates"`.
    pub name: String,
    /// The workshop in it.
    pub workshop: Workshop,
    /// Days of handing over.
    pub days: Days,
    /// What a contract costs over all the orders.
    pub contract_costs: Option<Money>,
    /// It is about a contract that the workshop does not have.
    pub asks_contract: bool,
    /// How its boxes were chosen.
    pub boxes: Option<BestBoxes>,
}

impl Situation {
    /// As it is, on these days.
    pub fn today(workshop: &Workshop, days: Days) -> Self {
        // What is printed and kept takes no part; a copy for each situation would only be large.
        let workshop = Workshop { files: Default::default(), words: Words::default(), ..workshop.clone() };
        let name = "as it is".to_owned();
        Self { name, workshop, days, contract_costs: None, asks_contract: false, boxes: None }
    }

    /// The same with changes.
    ///
    /// # Errors
    /// Names that there are not.
    pub fn with(&self, changes: &[Change]) -> Result<Self, CompareError> {
        let mut altered = self.clone();
        for change in changes {
            let name = altered.alter(change)?;
            altered.is_called(&name);
        }
        Ok(altered)
    }

    /// The same with these boxes in place of all in `pool`.
    pub fn with_boxes(&self, pool: &boxes::Pool, best: BestBoxes) -> Self {
        let mut altered = Self { workshop: pool.workshop.clone(), ..self.clone() };
        let chosen = |name: &ContainerName| best.names.contains(name) || !pool.names.contains(name);
        altered.workshop.containers.retain(|container| chosen(&container.name));
        let names: Vec<&str> = best.names.iter().map(ContainerName::as_str).collect();
        let word = if names.len() == 1 { "box" } else { "boxes" };
        altered.is_called(&format!("with {} {word}: {}", names.len(), names.join(", ")));
        altered.boxes = Some(best);
        altered
    }

    fn is_called(&mut self, name: &str) {
        let first = self.name == "as it is";
        self.name = if first { name.to_owned() } else { format!("{}, {name}", self.name) };
    }

    fn alter(&mut self, change: &Change) -> Result<String, CompareError> {
        let workshop = &mut self.workshop;
        match change {
            Change::Contract(name, costs) => {
                let name = take_contract(workshop, name)?;
                self.asks_contract = true;
                self.contract_costs = match (self.contract_costs, *costs) {
                    (Some(one), Some(other)) => Some(one + other),
                    (one, other) => one.or(other),
                };
                Ok(format!("with the contract \"{name}\""))
            }
            Change::WithoutContract(name) => {
                let name = leave_contract(workshop, name)?;
                Ok(format!("without the contract \"{name}\""))
            }
            Change::WithoutService(name) => {
                let known = workshop.services.iter().map(|service| service.name.as_str());
                let name = called("service", name, known)?;
                workshop.services.retain(|service| service.name.as_str() != name);
                Ok(format!("without the service {name}"))
            }
            Change::WithoutContainer(name) => {
                let known = workshop.containers.iter().map(|container| container.name.as_str());
                let name = called("container", name, known)?;
                workshop.containers.retain(|container| container.name.as_str() != name);
                Ok(format!("without the container {name}"))
            }
            Change::PricesOf(date) => {
                self.days = Days::One(*date);
                Ok(format!("with the prices of {date}"))
            }
        }
    }
}

/// The name as it is written in the configuration; people type capitals as they please.
fn called<'a>(
    what: &'static str,
    name: &str,
    known: impl Iterator<Item = &'a str> + Clone,
) -> Result<String, CompareError> {
    let found = known.clone().find(|one| one.eq_ignore_ascii_case(name.trim()));
    found.map(str::to_owned).ok_or_else(|| CompareError::NoSuch {
        what,
        name: name.to_owned(),
        known: once(known.map(str::to_owned)),
    })
}

fn once(names: impl Iterator<Item = String>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    names.for_each(|name| {
        if !all.contains(&name) {
            all.push(name);
        }
    });
    all
}

/// Brings the services of a contract back to their places in the file, which break ties.
fn take_contract(workshop: &mut Workshop, name: &str) -> Result<String, CompareError> {
    let Contracts { has, absent } = &mut workshop.contracts;
    if has.iter().any(|one| one.eq_ignore_ascii_case(name.trim())) {
        return Err(CompareError::HasContract(name.to_owned()));
    }
    let offered = absent.iter().filter_map(|(_, service)| service.contract.as_deref());
    let name = called("contract", name, offered)?;
    has.push(name.clone());
    // With all services in place, the places are those of the file.
    for (place, service) in absent.iter() {
        workshop.services.insert((*place).min(workshop.services.len()), service.clone());
    }
    let has_it = |service: &Service| service.contract.as_ref().is_none_or(|contract| has.contains(contract));
    workshop.services.retain(has_it);
    absent.retain(|(_, service)| !has_it(service));
    Ok(name)
}

fn leave_contract(workshop: &mut Workshop, name: &str) -> Result<String, CompareError> {
    let Contracts { has, absent } = &mut workshop.contracts;
    let offered = absent.iter().filter_map(|(_, service)| service.contract.as_deref());
    if offered.clone().any(|one| one.eq_ignore_ascii_case(name.trim()))
        && !has.iter().any(|one| one.eq_ignore_ascii_case(name.trim()))
    {
        return Err(CompareError::LacksContract(name.to_owned()));
    }
    let name = called("contract", name, has.iter().map(String::as_str))?;
    has.retain(|one| *one != name);
    workshop.services.retain(|service| service.contract.as_ref() != Some(&name));
    Ok(name)
}
