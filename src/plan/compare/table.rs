//! A comparison as text for people who know postage, and as JSON.

use super::account::{Account, Against, Comparison, Group, Parts};
use super::days::Days;
use serde_json::{Value, json};
use std::fmt::Write;

/// Groups of those who change that are shown.
const GROUPS_MAX: usize = 30;
/// How wide the first column of a table gets before it is broken.
const NAME_COLUMNS: usize = 46;

impl Comparison {
    /// The whole as text.
    pub fn text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "{}; amounts in {}", self.what(), self.currency)?;
        writeln!(out)?;
        self.overview(out)?;
        self.parts(out)?;
        self.tally(out, "parcels by service", |account| {
            account.services.iter().map(|(name, count)| (name.to_string(), *count)).collect()
        })?;
        self.tally(out, "containers used", |account| {
            account.containers.iter().map(|(name, count)| (name.to_string(), *count)).collect()
        })?;
        for account in &self.accounts {
            if let Some(against) = &account.against {
                self.changes(out, account, against)?;
            }
        }
        writeln!(out)?;
        for account in &self.accounts {
            if let Some(against) = &account.against {
                writeln!(out, "{}", self.in_words(account, against))?;
            }
        }
        Ok(())
    }

    /// `412 orders (371 different), placed from 2026-03-02 to 2026-11-24`.
    fn what(&self) -> String {
        let different =
            if self.different == self.orders { String::new() } else { format!(" ({} different)", self.different) };
        let placed = match self.placed {
            None => String::new(),
            Some((first, last)) if first == last => format!(", placed on {first}"),
            Some((first, last)) => format!(", placed from {first} to {last}"),
        };
        let idle = match self.nothing_to_send {
            0 => String::new(),
            idle => format!("; {idle} more with nothing to send"),
        };
        format!("{}{different}{placed}{idle}", count(self.orders as i64, "order"))
    }

    fn overview(&self, out: &mut String) -> std::fmt::Result {
        let rows = self.accounts.iter().enumerate().map(|(index, account)| {
            let difference = match &account.against {
                None => String::new(),
                Some(against) => self.signed(against.difference),
            };
            let name = if index == 0 { format!("as it is, {}", account.days.in_words()) } else { account.name.clone() };
            vec![
                name,
                self.figure(account.cost.total()),
                difference,
                account.parcels.to_string(),
                account.unplanned.to_string(),
            ]
        });
        table(out, &["", "total", "difference", "parcels", "without a parcel"], rows.collect())?;
        if let (Some(Days::Own(day)), 1..) = (self.accounts.first().map(|account| account.days), self.undated) {
            writeln!(out, "{} without a day of their own: prices of {day}", count(self.undated as i64, "order"))?;
        }
        match self.accounts.iter().map(|account| account.unproved).max().unwrap_or(0) {
            0 => Ok(()),
            1 => writeln!(out, "one plan is the best found, not proved the cheapest"),
            most => writeln!(out, "up to {most} plans each are the best found, not proved the cheapest"),
        }
    }

    fn parts(&self, out: &mut String) -> std::fmt::Result {
        let all = [
            ("postage", (|parts: &Parts| parts.postage) as fn(&Parts) -> i64),
            ("surcharges", |parts| parts.surcharges),
            ("containers", |parts| parts.containers),
            ("supplies", |parts| parts.supplies),
            ("labour", |parts| parts.labour),
            ("contract", |parts| parts.contract),
        ];
        let shown: Vec<_> =
            all.iter().filter(|(_, of)| self.accounts.iter().any(|account| of(&account.cost) != 0)).collect();
        let head: Vec<&str> = std::iter::once("of it").chain(shown.iter().map(|(name, _)| *name)).collect();
        let row = |account: &Account| {
            std::iter::once(account.name.clone())
                .chain(shown.iter().map(|(_, of)| self.figure(of(&account.cost))))
                .collect()
        };
        writeln!(out)?;
        table(out, &head, self.accounts.iter().map(row).collect())
    }

    fn tally(&self, out: &mut String, head: &str, of: impl Fn(&Account) -> Vec<(String, i64)>) -> std::fmt::Result {
        let tallies: Vec<Vec<(String, i64)>> = self.accounts.iter().map(&of).collect();
        let mut names: Vec<&str> = Vec::new();
        for (name, _) in tallies.iter().flatten() {
            if !names.contains(&name.as_str()) {
                names.push(name);
            }
        }
        let head: Vec<&str> = std::iter::once(head).chain(names.iter().copied()).collect();
        let row = |(account, tally): (&Account, &Vec<(String, i64)>)| {
            let of = |name: &&str| tally.iter().find(|(known, _)| known == name);
            std::iter::once(account.name.clone())
                .chain(names.iter().map(|name| of(name).map_or_else(|| "-".to_owned(), |(_, count)| count.to_string())))
                .collect()
        };
        writeln!(out)?;
        table(out, &head, self.accounts.iter().zip(&tallies).map(row).collect())
    }

    fn changes(&self, out: &mut String, account: &Account, against: &Against) -> std::fmt::Result {
        writeln!(out, "\n{}", account.name)?;
        if let Some(best) = &account.boxes {
            let how = match (best.proved, best.least_possible) {
                (true, _) => format!("proved the best {} of {} boxes", best.names.len(), best.of),
                (false, Some(least)) => format!(
                    "best found {} of {} boxes; no others of them can cost less than {}",
                    best.names.len(),
                    best.of,
                    least.figure()
                ),
                (false, None) => format!("best found {} of {} boxes", best.names.len(), best.of),
            };
            writeln!(out, "   {how}")?;
        }
        if against.changed == 0 {
            return writeln!(out, "   nothing changes");
        }
        let (changed, all) = (against.changed, self.orders);
        writeln!(out, "   who changes: {changed} of {}", count(all as i64, "order"))?;
        let groups: Vec<(i64, String, String)> = against
            .groups
            .iter()
            .take(GROUPS_MAX)
            .map(|group| {
                let money = group.difference.map_or_else(String::new, |more| self.saves(more));
                (group.orders, in_words(group), money)
            })
            .collect();
        let figures = width(groups.iter().map(|(orders, ..)| count(*orders, "order")));
        let words = width(groups.iter().map(|(_, words, _)| words.clone()));
        for (orders, way, money) in &groups {
            let line = format!("   {:>figures$}  {way:<words$}  {money}", count(*orders, "order"));
            writeln!(out, "{}", line.trim_end())?;
        }
        if let Some(more) = against.groups.get(GROUPS_MAX..).filter(|more| !more.is_empty()) {
            let orders: i64 = more.iter().map(|group| group.orders).sum();
            writeln!(out, "   and {} in other ways", count(orders, "order"))?;
        }
        if !against.singles.is_empty() {
            let all = against.singles.len() as i64 == against.changed;
            writeln!(out, "   {}", if all { "order by order" } else { "those with the largest differences" })?;
        }
        let number = width(against.singles.iter().map(|single| tame(&single.order.number)));
        for single in &against.singles {
            let (from, to) = (&single.from, &single.to);
            let way = if from.0 == to.0 {
                format!("{} {} -> {}", from.0, self.figure(from.1), self.figure(to.1))
            } else {
                format!("{} {} -> {} {}", from.0, self.figure(from.1), to.0, self.figure(to.1))
            };
            let number = format!("{:<number$}", tame(&single.order.number));
            writeln!(out, "   {number}  {way}  ({})", self.signed(single.difference()))?;
        }
        Ok(())
    }

    /// The last line, in words.
    pub fn in_words(&self, account: &Account, against: &Against) -> String {
        let name = capital(&account.name);
        let these = if against.in_both == self.orders as i64 {
            format!("{} {}", if self.orders == 1 { "this" } else { "these" }, count(against.in_both, "order"))
        } else {
            format!("{} of {}", against.in_both, count(self.orders as i64, "order"))
        };
        let contract = account.cost.contract;
        let amount = |minor: i64| format!("{} {}", self.figure(minor.saturating_abs()), self.currency);
        let told = |difference: i64| match difference {
            0 => "the same".to_owned(),
            more if more > 0 => format!("{} more", amount(more)),
            less => format!("{} less", amount(less)),
        };
        let parcels_alone = against.difference - contract;
        let mut words = format!("{name} {these} would have cost {}", told(parcels_alone));
        if contract != 0 {
            let left = match against.difference {
                0 => "nothing is won or lost".to_owned(),
                more if more > 0 => format!("it does not pay: {} are lost", amount(more)),
                less => format!("it pays: {} are left", amount(less)),
            };
            let _ = write!(words, "; the contract costs {}, so {left}", amount(contract));
        } else if account.asks_contract {
            words.push_str(if parcels_alone < 0 {
                "; it pays if it costs less than that"
            } else {
                "; it does not pay"
            });
        }
        if let Some(best) = account.boxes.as_ref().filter(|best| !best.proved) {
            let _ = write!(words, "; the best found, not proved, of {} boxes", best.of);
        }
        let lost: i64 = against.groups.iter().filter(|group| group.to.is_none()).map(|group| group.orders).sum();
        if lost > 0 {
            let _ = write!(words, "; {} could not have been sent", count(lost, "order"));
        }
        let won: i64 = against.groups.iter().filter(|group| group.from.is_none()).map(|group| group.orders).sum();
        if won > 0 {
            let _ = write!(words, "; {} could have been sent that cannot be now", count(won, "order"));
        }
        words
    }

    /// With its sign: `-96.40`, `+3.00`, `0.00`.
    pub fn signed(&self, minor: i64) -> String {
        let sign = if minor > 0 { "+" } else { "" };
        format!("{sign}{}", self.figure(minor))
    }

    fn saves(&self, more: i64) -> String {
        match more {
            0 => "costs the same".to_owned(),
            more if more > 0 => format!("costs {} more", self.figure(more)),
            less => format!("saves {}", self.figure(less.saturating_abs())),
        }
    }

    /// The whole as JSON: money as text with its unit.
    pub fn json(&self) -> Value {
        let money = |minor: i64| format!("{} {}", self.figure(minor), self.currency);
        let group = |group: &Group| json!({ "from": group.from, "to": group.to, "orders": group.orders, "difference": group.difference.map(money) });
        let account = |account: &Account| {
            let cost = &account.cost;
            let boxes = account.boxes.as_ref().map(|best| {
                json!({ "names": best.names, "of": best.of, "proved": best.proved,
                        "least_possible": best.least_possible.map(|least| least.to_string()) })
            });
            let against = account.against.as_ref().map(|against| {
                let singles = against.singles.iter().map(|single| {
                    json!({ "order": single.order, "from": single.from.0, "from_cost": money(single.from.1),
                            "to": single.to.0, "to_cost": money(single.to.1), "difference": money(single.difference()) })
                });
                json!({
                    "orders_in_both": against.in_both,
                    "difference": money(against.difference),
                    "changed": against.changed,
                    "who_changes": against.groups.iter().map(group).collect::<Vec<_>>(),
                    "largest": singles.collect::<Vec<_>>(),
                    "in_words": self.in_words(account, against),
                })
            });
            json!({
                "name": account.name,
                "prices_of": match account.days { Days::Own(_) => None, Days::One(day) => Some(day.to_string()) },
                "total": money(cost.total()),
                "postage": money(cost.postage),
                "surcharges": money(cost.surcharges),
                "containers": money(cost.containers),
                "supplies": money(cost.supplies),
                "labour": money(cost.labour),
                "contract": money(cost.contract),
                "parcels": account.parcels,
                "orders_without_a_parcel": account.unplanned,
                "orders_not_proved": account.unproved,
                "parcels_by_service": tally_of(account.services.iter().map(|(name, count)| (name.to_string(), *count))),
                "containers_used": tally_of(account.containers.iter().map(|(name, count)| (name.to_string(), *count))),
                "boxes": boxes,
                "against_today": against,
            })
        };
        json!({
            "orders": self.orders,
            "different_orders": self.different,
            "orders_with_nothing_to_send": self.nothing_to_send,
            "orders_without_a_day": self.undated,
            "placed": self.placed.map(|(first, last)| [first.to_string(), last.to_string()]),
            "situations": self.accounts.iter().map(account).collect::<Vec<_>>(),
        })
    }
}

fn tally_of(tally: impl Iterator<Item = (String, i64)>) -> Value {
    tally.map(|(name, count)| (name, Value::from(count))).collect::<serde_json::Map<_, _>>().into()
}

fn in_words(group: &Group) -> String {
    match (&group.from, &group.to) {
        (Some(from), Some(to)) if from == to => format!("{from}, at another price"),
        (from, to) => {
            let told = |way: &Option<String>| way.clone().unwrap_or_else(|| "no parcel found".to_owned());
            format!("{} -> {}", told(from), told(to))
        }
    }
}

/// `1 order`, `2 orders`.
pub(super) fn count(count: i64, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A shop's number on a terminal: nothing in it may move the cursor.
fn tame(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '·' } else { c }).collect()
}

fn width(texts: impl Iterator<Item = String>) -> usize {
    texts.map(|text| text.chars().count()).max().unwrap_or(0)
}

/// Names on the left, figures on the right. A long name stands on a line of its own.
fn table(out: &mut String, head: &[&str], rows: Vec<Vec<String>>) -> std::fmt::Result {
    let columns = head.len();
    let cell = |row: &[String], column: usize| row.get(column).cloned().unwrap_or_default();
    let widths: Vec<usize> = (0..columns)
        .map(|column| {
            let heads = head.iter().skip(column).take(1).map(|text| (*text).to_owned());
            let most = width(heads.chain(rows.iter().map(|row| cell(row, column))));
            if column == 0 { most.min(NAME_COLUMNS) } else { most }
        })
        .collect();
    let line = |cells: &dyn Fn(usize) -> String| {
        let mut line = format!("{:<1$}", cells(0), widths[0]);
        (1..columns).for_each(|column| {
            let _ = write!(line, "  {:>1$}", cells(column), widths[column]);
        });
        line.trim_end().to_owned()
    };
    writeln!(out, "{}", line(&|column| head[column].to_owned()))?;
    for row in &rows {
        let name = cell(row, 0);
        if name.chars().count() > widths[0] {
            writeln!(out, "{name}")?;
            writeln!(out, "{}", line(&|column| if column == 0 { String::new() } else { cell(row, column) }))?;
        } else {
            writeln!(out, "{}", line(&|column| cell(row, column)))?;
        }
    }
    Ok(())
}
