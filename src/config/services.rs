//! `services.toml`: how parcels travel, to which zones, at what price.

use super::complaint::Complaint;
use super::danger;
use super::draft::{Given, Section, Span, in_order};
use super::names::{Kind, Names, nearest};
use super::surcharges;
use super::tariff::{self, By, Row};
use super::values::WeightBound;
use super::{Files, shape};
use crate::model::*;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use toml::de::DeValue;

/// What the services need of other files.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    pub(super) names: &'a Names,
    pub(super) files: &'a Files,
    /// Of the workshop; in a service with another one, that.
    pub(super) currency: Currency,
    pub(super) rates: &'a BTreeMap<Currency, Rate>,
    pub(super) contracts: &'a [Given<String>],
}

/// What was read.
pub(super) struct Services {
    /// Those that can be used, in the order of the file.
    pub(super) usable: Vec<Service>,
    /// Those whose contract the workshop does not have.
    pub(super) without_contract: Vec<Service>,
    /// Price tables that some service names.
    pub(super) tables: BTreeSet<String>,
}

/// Parcels of one day at most, as for the workshop.
const PARCELS_A_DAY_MAX: u32 = 100_000;

pub(super) type Zones = Vec<(ZoneRule, Span)>;

/// All services.
pub(super) fn read(section: &Section<'_>, around: &Around<'_>) -> Services {
    let zones = zone_lists(section);
    let mut read = Services { usable: Vec::new(), without_contract: Vec::new(), tables: BTreeSet::new() };
    for (name, table) in section.named("service", &shape::SERVICE) {
        let service = service(&name, &table, around, &zones, &mut read.tables);
        match &service.contract {
            Some(contract) if !around.contracts.iter().any(|has| &has.value == contract) => {
                near_contract(&table, contract, around);
                read.without_contract.push(service);
            }
            _ => read.usable.push(service),
        }
    }
    note_ends(section, &read);
    read
}

/// Notes on services whose prices end and which nothing follows: a forgotten new year's list would be noticed only by
/// the first order that no service takes.
fn note_ends(section: &Section<'_>, read: &Services) {
    let all = || read.usable.iter().chain(&read.without_contract);
    for (name, table) in section.named("service", &shape::SERVICE) {
        let Some(until) = table.date("valid_until") else { continue };
        let Ok(next) = until.value.tomorrow() else { continue };
        let follows = |other: &Service| {
            let (from, end) = other.valid;
            from.is_some_and(|from| from <= next) && end.is_none_or(|end| end >= next)
        };
        if !all().any(|other| other.name.as_str() != name.value && follows(other)) {
            let what = format!("the prices of {} end on {} and nothing follows", name.value, until.value);
            table.note(
                &until.at,
                what,
                "write the next ones as a service of their own with valid_from, or take the end out",
            );
        }
    }
}

/// A contract that is almost one of the workshop's is a slip of the finger.
fn near_contract(table: &Section<'_>, contract: &str, around: &Around<'_>) {
    let near = nearest(contract, around.contracts.iter().map(|given| given.value.as_str()));
    if let (Some(near), Some(entry)) = (near, table.entry("contract")) {
        let what = format!("the workshop has no contract {contract:?}");
        table.complain(&entry.at, what, format!("did you mean {near:?}, as in workshop.toml?"));
    }
}

fn zone_lists(section: &Section<'_>) -> BTreeMap<String, Zones> {
    let mut lists = BTreeMap::new();
    let Some(entry) = section.entry("zones") else { return lists };
    let DeValue::Table(table) = entry.value else {
        section.wrong_kind(&entry, "a table of lists", "[[zones.NAME]]");
        return lists;
    };
    for list in in_order(table) {
        let rules = section.tables_of(&list, &shape::ZONE).iter().filter_map(zone_rule).collect();
        lists.insert(list.key.value, rules);
    }
    lists
}

fn zone_rule(zone: &Section<'_>) -> Option<(ZoneRule, Span)> {
    if !zone.has("zone") {
        zone.missing("zone", "\"North\"");
    }
    let postcodes = surcharges::postcodes(zone);
    let countries = zone.written_list::<CountryCode>("countries").into_iter().map(|given| given.value).collect();
    let name = zone.text("zone")?;
    Some((ZoneRule { zone: name.value, countries, postcodes }, name.at))
}

fn service(
    name: &Given<String>,
    table: &Section<'_>,
    around: &Around<'_>,
    lists: &BTreeMap<String, Zones>,
    tables: &mut BTreeSet<String>,
) -> Service {
    let zones = zones_of(table, lists);
    let rate = rate(table, around);
    let around = &Around { currency: rate.as_ref().map_or(around.currency, |rate| rate.of), ..*around };
    let collect = table.yes("collect");
    let price = price(table, around, &zones, collect, tables);
    let valid = (table.date("valid_from").map(|d| d.value), table.date("valid_until"));
    if let (Some(from), Some(until)) = (valid.0, &valid.1)
        && until.value < from
    {
        table.complain(&until.at, "the service ends before it begins", "did you swap the two?");
    }
    let mut service = Service {
        name: ServiceName::new(&name.value),
        asked_as: table.texts("asked_as").into_iter().map(|given| given.value).collect(),
        only_when_asked: table.yes_or("only_when_asked", collect),
        collect,
        containers: around
            .names
            .known(table, Kind::Container, table.texts("containers"))
            .into_iter()
            .map(ContainerName)
            .collect(),
        weight_max: table.written::<WeightBound>("weight_max").map(|given| given.value.0),
        longest_max: table.written("longest_max").map(|given| given.value),
        side_step: side_step(table),
        dimensional: surcharges::dimensional(table, &price),
        length_and_girth_max: table.written("length_and_girth_max").map(|given| given.value),
        sum_max: table.written("sum_max").map(|given| given.value),
        outer_max: table.written("outer_max").map(|given| given.value),
        outer_min: table.written("outer_min").map(|given| given.value),
        no_post_box: table.yes("no_post_box"),
        refuses: danger::refuses(table),
        limited_quantity: danger::of_service(table),
        rate,
        price,
        later: Vec::new(),
        minimum: table.money("minimum", around.currency).map(|given| given.value),
        surcharges: surcharges::read(table, around.currency, &zones),
        vat: surcharges::vat(table),
        round: surcharges::rounding(table, around.currency),
        zones: zones.iter().map(|(rule, _)| rule.clone()).collect(),
        contract: table.text("contract").map(|given| given.value),
        valid: (valid.0, valid.1.map(|given| given.value)),
        prints: prints(table),
        per_day: table.whole("per_day", 1, PARCELS_A_DAY_MAX).map(|given| given.value),
        latest: table.time("latest").map(|given| given.value),
    };
    service.later = later(&service, table, around, &zones, tables);
    service
}

/// The rate of a price list in another currency.
fn rate(table: &Section<'_>, around: &Around<'_>) -> Option<Rate> {
    let given = table.currency("currency")?;
    if given.value == around.currency {
        return None;
    }
    let rate = around.rates.get(&given.value).cloned();
    if rate.is_none() {
        let remedy =
            format!("add {} = \"1.00 {}\" with the true figure under [rates] there", given.value, around.currency);
        table.complain(&given.at, format!("workshop.toml does not say what a {} costs", given.value), remedy);
    }
    // With a stand-in the rest is still read in the currency that was meant.
    rate.or(Some(Rate { of: given.value, home: around.currency, billionths: 1, looked_up: None }))
}

/// What prints beside the slip.
fn prints(table: &Section<'_>) -> Vec<PaperKind> {
    let mut kinds = Vec::new();
    for given in table.texts("prints") {
        match given.value.as_str() {
            "label" => kinds.push(PaperKind::Label),
            "customs" => kinds.push(PaperKind::Customs),
            other => {
                table.complain(
                    &given.at,
                    format!("{other:?} does not print beside a slip"),
                    "\"label\" or \"customs\"",
                );
            }
        }
    }
    kinds
}

/// A step without length would divide by nothing; one without volume prices does nothing.
fn side_step(table: &Section<'_>) -> Option<Length> {
    let given = table.written::<Length>("side_step")?;
    if given.value <= Length::ZERO {
        table.complain(&given.at, "`side_step` is nothing", "write it like \"0.25 in\", or leave it out");
        return None;
    }
    if table.text("by").is_none_or(|by| by.value != "volume") {
        table.complain(&given.at, "`side_step` has no effect here", "add by = \"volume\", or leave it out");
    }
    Some(given.value)
}

fn zones_of(table: &Section<'_>, lists: &BTreeMap<String, Zones>) -> Zones {
    let Some(given) = table.text("zones") else { return Vec::new() };
    lists.get(&given.value).cloned().unwrap_or_else(|| {
        let remedy = match nearest(&given.value, lists.keys().map(String::as_str)) {
            Some(near) => format!("did you mean {near:?}?"),
            None => format!("add [[zones.{}]]", given.value),
        };
        table.complain(&given.at, format!("there is no list of zones {:?}", given.value), remedy);
        Vec::new()
    })
}

fn price(
    table: &Section<'_>,
    around: &Around<'_>,
    zones: &Zones,
    collect: bool,
    tables: &mut BTreeSet<String>,
) -> Price {
    if let (Some(price), Some(tariff)) = (table.entry("price"), table.entry("tariff")) {
        table.contradiction(
            &tariff.key.at,
            "both a price and a tariff",
            "keep one of them",
            &price.key.at,
            "the price",
        );
    }
    if let (Some(by), false) = (table.entry("by"), table.has("tariff")) {
        table.complain(&by.key.at, "`by` has no effect without a tariff", "add tariff = \"tariffs/NAME.csv\"");
    }
    if let Some(file) = table.text("tariff") {
        return table_price(table, file, around, zones, tables);
    }
    let Some(entry) = table.entry("price") else {
        if !collect && !table.has("tariff") {
            table.missing("tariff", "\"tariffs/NAME.csv\", or price = \"6.90 EUR\", or price = \"free\"");
        }
        return Price::Nothing;
    };
    match entry.value {
        DeValue::String(text) if text.eq_ignore_ascii_case("free") => Price::Nothing,
        DeValue::Table(_) => {
            let mut prices = BTreeMap::new();
            for pair in table.pairs_of(&entry) {
                known_zone(table, zones, &pair.key, &pair.key.at);
                if let Some(money) = table.money_in(&pair, around.currency) {
                    prices.insert(pair.key.value, money.value);
                }
            }
            every_zone_has_a_price(table, zones, &entry.at, |zone| prices.contains_key(zone));
            Price::Fixed(prices)
        }
        _ => {
            let Some(money) = table.money_in(&entry, around.currency) else { return Price::Nothing };
            let mut prices: BTreeMap<String, Money> =
                zones.iter().map(|(rule, _)| (rule.zone.clone(), money.value)).collect();
            if prices.is_empty() {
                prices.insert(String::new(), money.value);
            }
            Price::Fixed(prices)
        }
    }
}

/// What counts from a day on, in place of what was before; what it does not name stays as it was.
fn later(
    service: &Service,
    table: &Section<'_>,
    around: &Around<'_>,
    zones: &Zones,
    tables: &mut BTreeSet<String>,
) -> Vec<(Date, Service)> {
    let mut all: Vec<(Given<Date>, Service)> = Vec::new();
    for terms in table.list("later", &shape::LATER) {
        if !terms.has("from") {
            terms.missing("from", "\"2027-01-01\"");
        }
        let before = all.last().map_or(service, |(_, before)| before).clone();
        let changed = changed(before, &terms, around, zones, tables);
        let Some(from) = terms.date("from") else { continue };
        if let Some((before, _)) = all.last()
            && from.value <= before.value
        {
            terms.contradiction(
                &from.at,
                "these prices do not begin after the ones before them",
                "put them in order, each day once",
                &before.at,
                "the ones before",
            );
            continue;
        }
        all.push((from, changed));
    }
    all.into_iter().map(|(from, service)| (from.value, service)).collect()
}

/// A service with what these terms name in place of what it had.
fn changed(
    mut service: Service,
    terms: &Section<'_>,
    around: &Around<'_>,
    zones: &Zones,
    tables: &mut BTreeSet<String>,
) -> Service {
    let is_price = |key: &str| ["price", "tariff", "by"].contains(&key);
    let named: Vec<String> = terms.entries().into_iter().map(|entry| entry.key.value).collect();
    // A table that names nothing else lacks its price.
    if named.iter().any(|key| is_price(key)) || named.iter().all(|key| key == "from") {
        service.price = price(terms, around, zones, false, tables);
    }
    if terms.has("dimensional") {
        service.dimensional = surcharges::dimensional(terms, &service.price);
    } else if let (Some(_), false) = (&service.dimensional, matches!(service.price, Price::ByWeight(_))) {
        // Size counts as weight by weight only.
        service.dimensional = None;
    }
    let of = |key: &str| terms.written::<Length>(key).map(|given| given.value);
    let size = |key: &str| terms.written::<Dims>(key).map(|given| given.value);
    service.weight_max = terms.written::<WeightBound>("weight_max").map(|most| most.value.0).or(service.weight_max);
    service.longest_max = of("longest_max").or(service.longest_max);
    service.length_and_girth_max = of("length_and_girth_max").or(service.length_and_girth_max);
    service.sum_max = of("sum_max").or(service.sum_max);
    service.outer_max = size("outer_max").or(service.outer_max);
    service.outer_min = size("outer_min").or(service.outer_min);
    service.minimum = terms.money("minimum", around.currency).map(|given| given.value).or(service.minimum);
    service.vat = surcharges::vat(terms).or(service.vat);
    service
}

fn table_price(
    table: &Section<'_>,
    file: Given<String>,
    around: &Around<'_>,
    zones: &Zones,
    tables: &mut BTreeSet<String>,
) -> Price {
    let by = table.word("by", &[("weight", By::Weight), ("volume", By::Volume)]).unwrap_or(By::Weight);
    let Some((name, text)) = around.files.get_key_value(&file.value).filter(|(name, _)| name.ends_with(".csv")) else {
        let known = around.files.keys().filter(|name| name.ends_with(".csv")).map(String::as_str);
        let remedy = match nearest(&file.value, known) {
            Some(near) => format!("did you mean {near:?}?"),
            None => "put the table into tariffs/ and name it like \"tariffs/road.csv\"".to_owned(),
        };
        table.complain(&file.at, format!("there is no price table {:?}", file.value), remedy);
        return Price::Nothing;
    };
    tables.insert(name.clone());
    let rows = tariff::read(name, text, by, around.currency, table.found);
    zones_in_table(table, name, &rows, zones);
    if !rows.is_empty() {
        every_zone_has_a_price(table, zones, &file.at, |zone| rows.iter().any(|row| row.zone == zone));
    }
    match by {
        By::Weight => Price::ByWeight(tariff::by_weight(rows)),
        By::Volume => Price::ByVolume(tariff::by_volume(rows)),
    }
}

/// Every zone in the table must be one of the service's; each unknown one is told once.
fn zones_in_table(table: &Section<'_>, file: &str, rows: &[Row], zones: &Zones) {
    let mut told = BTreeSet::new();
    for row in rows {
        let known = zones.iter().any(|(rule, _)| rule.zone == row.zone) || (zones.is_empty() && row.zone.is_empty());
        if known || !told.insert(&row.zone) {
            continue;
        }
        let (what, remedy) = if zones.is_empty() {
            (
                "the service has no zones, but its table has".to_owned(),
                "add zones = \"NAME\" to the service, or take the column out".to_owned(),
            )
        } else if row.zone.is_empty() {
            ("the service has zones, but its table has none".to_owned(), "add a column: zone, up to, price".to_owned())
        } else {
            let remedy = match nearest(&row.zone, zones.iter().map(|(rule, _)| rule.zone.as_str())) {
                Some(near) => format!("did you mean {near:?}?"),
                None => "add it to the service's zones".to_owned(),
            };
            (format!("there is no zone {:?}", row.zone), remedy)
        };
        table.found.add(Complaint::new(file, row.zone_at.clone(), what, remedy));
    }
}

fn every_zone_has_a_price(table: &Section<'_>, zones: &Zones, at: &Span, has: impl Fn(&str) -> bool) {
    let names: BTreeSet<&str> = zones.iter().map(|(rule, _)| rule.zone.as_str()).collect();
    for zone in names.into_iter().filter(|zone| !has(zone)) {
        table.complain(at, format!("zone {zone:?} has no price here"), "add it, or take it out of the service's zones");
    }
}

pub(super) fn known_zone(table: &Section<'_>, zones: &Zones, given: &Given<String>, at: &Span) {
    if zones.iter().any(|(rule, _)| rule.zone == given.value) {
        return;
    }
    let remedy = match nearest(&given.value, zones.iter().map(|(rule, _)| rule.zone.as_str())) {
        Some(near) => format!("did you mean {near:?}?"),
        None if zones.is_empty() => "the service has no zones: add zones = \"NAME\"".to_owned(),
        None => "add it to the service's zones".to_owned(),
    };
    table.complain(at, format!("there is no zone {:?}", given.value), remedy);
}

/// Complains about containers that no service takes, not even one without a contract.
pub(super) fn every_container_travels(packaging: &Section<'_>, containers: &[Container], services: &Services) {
    let all = || services.usable.iter().chain(&services.without_contract);
    let taken = |container: &Container| {
        all().any(|service| {
            service.containers.contains(&container.name) || (service.containers.is_empty() && !container.carriers)
        })
    };
    let mut travels: BTreeSet<&ContainerName> = containers.iter().filter(|c| taken(c)).map(|c| &c.name).collect();
    // What stands in a container that travels, travels too.
    loop {
        let inside: Vec<&ContainerName> = containers
            .iter()
            .filter(|outer| travels.contains(&outer.name))
            .flat_map(|outer| &outer.takes)
            .filter(|inner| !travels.contains(inner))
            .collect();
        if inside.is_empty() {
            break;
        }
        travels.extend(inside);
    }
    let named = packaging.named("container", &shape::CONTAINER);
    for container in containers.iter().filter(|container| !travels.contains(&container.name)) {
        let at = named.iter().find(|(name, _)| name.value == container.name.as_str());
        let at = at.map_or(packaging.at.clone(), |(name, _)| name.at.clone());
        let remedy = match container.carriers {
            true => "it is the carrier's own: name it in `containers` of a service in services.toml",
            false => "name it in `containers` of a service in services.toml",
        };
        packaging.complain(&at, format!("no service takes the container {:?}", container.name.as_str()), remedy);
    }
}
