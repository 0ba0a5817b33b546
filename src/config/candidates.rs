//! Candidates for `dawnslip compare --boxes`: containers in the form of `packaging.toml`, in a
//! file of their own that is no part of the configuration.

use super::complaint::{Complaint, Complaints};
use super::draft::{Findings, Section};
use super::names::{Kind, Names};
use super::shape::Shape;
use super::{Files, load, packaging};
use crate::model::*;
use std::collections::BTreeSet;
use toml::de::{DeTable, DeValue};

/// Its top. `taken_like` is for services and mailers that name what they take.
static CANDIDATES: Shape = Shape { file: "candidates", what: "the candidates", keys: &["container", "taken_like"] };

/// The workshop with the candidates added behind its own containers. Services and mailers that
/// name the containers they take, take a candidate where `[taken_like]` says so:
/// `Cube = "Medium"` is taken wherever a Medium is. `name` is what complaints call the file.
///
/// # Errors
/// Everything that is wrong with the file, at once.
pub fn with_candidates(workshop: &Workshop, name: &str, text: &str) -> Result<Workshop, Complaints> {
    let files = Files::from([(name.to_owned(), text.to_owned())]);
    let found = Findings::default();
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        found.add(load::syntax(name, text, &error));
    }
    let section = Section::new(name, 0..0, table.get_ref(), &CANDIDATES, &found);
    let own = |container: &Container| container.name.to_string();
    let new: Vec<String> = load::keys_of(&section, "container");
    let names = Names {
        skus: workshop.products.iter().map(|product| product.sku.to_string()).collect(),
        containers: workshop.containers.iter().map(own).chain(new.iter().cloned()).collect(),
        supplies: workshop.supplies.iter().map(|supply| (supply.name.to_string(), supply.unit)).collect(),
        services: Vec::new(),
        printers: Vec::new(),
        cards: Vec::new(),
    };
    let containers = packaging::containers(&section, &names, workshop.currency);
    let place = |name: &str| {
        let tables = section.entry("container").map(|entry| entry.value);
        let Some(DeValue::Table(tables)) = tables else { return 0..0 };
        super::draft::in_order(tables).into_iter().find(|one| one.key.value == name).map_or(0..0, |one| one.key.at)
    };
    let mut meant = workshop.clone();
    for container in containers {
        let twin = |one: &&Container| one.name.as_str().eq_ignore_ascii_case(container.name.as_str());
        if let Some(twin) = workshop.containers.iter().find(twin) {
            let what = format!("packaging.toml has a container {:?} already", twin.name.as_str());
            found.add(Complaint::new(name, place(container.name.as_str()), what, "give the candidate another name"));
        }
        meant.containers.push(container);
    }
    for entry in section.pairs("taken_like") {
        let Some(like) = entry.value.as_str() else {
            section.wrong_kind(&entry, "a container's name", "Cube = \"Medium\"");
            continue;
        };
        let given = super::draft::Given { value: like.to_owned(), at: entry.at.clone() };
        let fine = names.check(&section, Kind::Container, &entry.key) & names.check(&section, Kind::Container, &given);
        if fine {
            take_like(&mut meant, &ContainerName::new(&entry.key.value), &ContainerName::new(like));
        }
    }
    let travels: BTreeSet<&ContainerName> = taken(&meant);
    for name_of in meant.containers.iter().filter(|one| new.contains(&own(one)) && !travels.contains(&one.name)) {
        let what = format!("no service takes the container {:?}", name_of.name.as_str());
        let remedy =
            format!("say which of yours it is taken like: [taken_like], then {:?} = \"NAME\"", name_of.name.as_str());
        found.add(Complaint::new(name, place(name_of.name.as_str()), what, remedy));
    }
    if meant.containers.len() == workshop.containers.len() && found.complaints.borrow().is_empty() {
        found.add(Complaint::new(
            name,
            0..0,
            "there is no container in it",
            "write [container.NAME] as in packaging.toml",
        ));
    }
    let complaints = found.complaints.take();
    if complaints.is_empty() { Ok(meant) } else { Err(Complaints::new(complaints, &files, String::new(), &[])) }
}

fn take_like(workshop: &mut Workshop, new: &ContainerName, like: &ContainerName) {
    let absent = workshop.contracts.absent.iter_mut().map(|(_, service)| service);
    for service in workshop.services.iter_mut().chain(absent) {
        if service.containers.contains(like) && !service.containers.contains(new) {
            service.containers.push(new.clone());
        }
    }
    for container in &mut workshop.containers {
        if container.takes.contains(like) && !container.takes.contains(new) {
            container.takes.push(new.clone());
        }
    }
}

/// Containers that some service takes, alone or in another one.
fn taken(workshop: &Workshop) -> BTreeSet<&ContainerName> {
    let absent = workshop.contracts.absent.iter().map(|(_, service)| service);
    let services: Vec<&Service> = workshop.services.iter().chain(absent).collect();
    let any = |container: &&Container| {
        services.iter().any(|service| {
            service.containers.contains(&container.name) || (service.containers.is_empty() && !container.carriers)
        })
    };
    let alone = workshop.containers.iter().filter(any);
    alone.flat_map(|container| std::iter::once(&container.name).chain(&container.takes)).collect()
}
