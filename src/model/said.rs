//! What the program tells people, kept as data: the desk and the history say it in English
//! (`Display`), paper in the workshop's language.
//!
//! Each kind ends with the words themselves: what people or rules wrote, and records from
//! before these were data.

use super::{Length, Money, ServiceName, Sku, Weight};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A danger or a duty of a parcel, printed with a mark.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Caution {
    /// Nothing may lie on this product.
    Fragile {
        /// Its name.
        product: String,
    },
    /// Dangerous goods.
    Danger {
        /// Its name.
        product: String,
        /// The workshop's words for the danger.
        danger: String,
    },
    /// Goods that travel as a limited quantity: the parcel needs its mark.
    LimitedQuantity {
        /// Their numbers in the list of dangerous goods.
        un: Vec<String>,
        /// The mark, in the workshop's words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mark: Option<String>,
    },
    /// Allergens.
    Contains {
        /// Its name.
        product: String,
        /// The workshop's words for each.
        allergens: Vec<String>,
    },
    /// More than one person should lift.
    Heavy {
        /// The workshop's limit.
        above: Weight,
    },
    /// So near the end of a price step that the scale decides what it costs.
    DearerAbove {
        /// The end of the step.
        ends: Weight,
        /// What the next one costs more.
        more: Money,
    },
    /// So near the service's limit that the scale decides whether it may travel by it.
    TooHeavyAbove {
        /// The limit.
        ends: Weight,
        /// Whose.
        service: ServiceName,
    },
    /// What the service takes the mailer or envelope for: it is to be no thicker.
    PressFlat {
        /// Outside.
        most: Length,
        /// Whose price counts on it.
        service: ServiceName,
    },
    /// What the customs form asks for and nobody has said.
    Customs {
        /// Product by product.
        missing: Vec<CustomsGap>,
    },
    /// A rule's words, or a record from before cautions were data.
    #[serde(untagged)]
    Said(String),
}

/// What is not known of a product for customs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CustomsGap {
    /// Its name.
    pub product: String,
    /// Number, origin and description of the goods.
    pub facts: bool,
    /// What it costs.
    pub value: bool,
}

impl fmt::Display for CustomsGap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = match (self.facts, self.value) {
            (true, true) => "HS code, origin, description, value",
            (true, false) => "HS code, origin, description",
            (false, _) => "value",
        };
        write!(f, "{} ({what})", self.product)
    }
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fragile { product } => write!(f, "{product}: fragile, nothing on top"),
            Self::Danger { product, danger } => write!(f, "{product}: {danger}; the carrier's rules count"),
            Self::LimitedQuantity { un, mark } => {
                let mark = mark.as_ref().map_or_else(String::new, |mark| format!(" ({mark})"));
                write!(
                    f,
                    "goes as limited quantity, {}: put the mark on it{mark}; the carrier's and local rules count",
                    un.join(", ")
                )
            }
            Self::Contains { product, allergens } => write!(f, "{product} contains {}", allergens.join(", ")),
            Self::Heavy { above } => {
                write!(f, "heavy, more than {}: two people lift it; local rules count", above.short())
            }
            Self::DearerAbove { ends, more } => {
                write!(f, "weigh it: above {} it costs {} more", ends.short(), more.figure())
            }
            Self::TooHeavyAbove { ends, service } => {
                write!(f, "weigh it: above {} it is too heavy for {service}", ends.short())
            }
            Self::PressFlat { most, service } => write!(f, "press it flat: at most {most} thick for {service}"),
            Self::Customs { missing } => {
                let missing: Vec<String> = missing.iter().map(ToString::to_string).collect();
                write!(f, "customs data missing: {}", missing.join("; "))
            }
            Self::Said(text) => f.write_str(text),
        }
    }
}

/// How an order differs from the slip that is on paper; never what a customer wrote.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Difference {
    /// A product that was not in it.
    Added {
        /// How many.
        count: u64,
        /// As the shop calls it.
        name: String,
        /// Which.
        sku: Sku,
    },
    /// Another number of the same product.
    Count {
        /// Now.
        count: u64,
        /// Before.
        was: u64,
        /// As the shop calls it.
        name: String,
        /// Which.
        sku: Sku,
    },
    /// A product that is in it no more.
    TakenOut {
        /// How many.
        count: u64,
        /// As the shop calls it.
        name: String,
        /// Which.
        sku: Sku,
    },
    /// It goes somewhere else.
    Address,
    /// Another service is asked for.
    Service {
        /// Now.
        now: Option<ServiceName>,
        /// Before.
        was: Option<ServiceName>,
    },
    /// It is a gift now, or none any more.
    Gift(bool),
    /// Not before this day, or at any time.
    NotBefore(Option<Date>),
    /// Something that the customer wrote.
    Words,
    /// It was cancelled, and is not any more.
    OpenAgain,
    /// A record from before differences were data.
    #[serde(untagged)]
    Said(String),
}

impl Difference {
    /// Does it take back a stop note, in whichever form it was recorded?
    pub fn is_open_again(&self) -> bool {
        match self {
            Self::OpenAgain => true,
            Self::Said(text) => *text == Self::OpenAgain.to_string(),
            _ => false,
        }
    }
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Added { count, name, sku } => write!(f, "added: {count} x {name} ({sku})"),
            Self::Count { count, was, name, sku } => write!(f, "{name} ({sku}): {count} instead of {was}"),
            Self::TakenOut { count, name, sku } => write!(f, "taken out: {count} x {name} ({sku})"),
            Self::Address => f.write_str("the address is another one"),
            Self::Service { now, was } => {
                let word = |service: &Option<ServiceName>| service.as_ref().map_or("none".into(), ToString::to_string);
                write!(f, "service asked for: {} instead of {}", word(now), word(was))
            }
            Self::Gift(true) => f.write_str("it is a gift now"),
            Self::Gift(false) => f.write_str("it is no gift any more"),
            Self::NotBefore(Some(day)) => write!(f, "not before {day}"),
            Self::NotBefore(None) => f.write_str("it may go at any time"),
            Self::Words => f.write_str("something the customer wrote is different: name, address, wish or gift text"),
            Self::OpenAgain => f.write_str("open again: an earlier stop note no longer counts"),
            Self::Said(text) => f.write_str(text),
        }
    }
}

/// What a question says beyond its [`super::Cause`], for paper in any language.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Detail {
    /// The product has no size, no weight, or neither.
    Lacks {
        /// The product's name.
        product: String,
        /// No size.
        size: bool,
        /// No weight.
        weight: bool,
    },
    /// No container holds this product.
    TooLarge {
        /// Its name.
        product: String,
    },
    /// More pieces than are planned at once.
    TooMany {
        /// How many.
        pieces: u32,
        /// The most.
        most: u32,
    },
    /// The customer asks for a service that nobody knows.
    Wish(ServiceName),
    /// A rule's own words.
    Rule(String),
    /// Two rules that no parcel could obey both.
    Conflict,
    /// Cancelled after so many of its parcels were handed over.
    CancelledAfterHandOver(u32),
    /// Changed after everything was handed over.
    ChangedAfterHandOver,
    /// Changed after it was partly printed or packed.
    ChangedAfterPacking,
    /// It came again after its person was erased.
    CameAfterForgetting,
}

/// Why a paper is in doubt or an order cancelled, where the program itself knows it. Records keep
/// the English sentence; paper recognises it, also in records of any age.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// The connection broke in the middle.
    Broken,
    /// The printer answers nothing at all any more.
    Silent,
    /// The printer is well but did not confirm.
    Unconfirmed,
    /// The printer answered, but not with what was asked.
    WrongAnswer,
    /// The program was stopped in the middle.
    Stopped,
    /// The program ended in the middle.
    Ended,
    /// The records of the time after are lost.
    RecordsLost,
    /// The shop cancelled the order.
    ShopCancelled,
    /// A person answered a question so.
    Decided,
}

impl Reason {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Broken,
        Self::Silent,
        Self::Unconfirmed,
        Self::WrongAnswer,
        Self::Stopped,
        Self::Ended,
        Self::RecordsLost,
        Self::ShopCancelled,
        Self::Decided,
    ];

    /// The sentence of the record; one about a printer or a question has it in the place `{}`.
    pub fn words(self) -> &'static str {
        match self {
            Self::Broken => "the connection to the printer broke in the middle",
            Self::Silent => "the printer went silent",
            Self::Unconfirmed => "the printer did not confirm it",
            Self::WrongAnswer => "the printer confirmed something else",
            Self::Stopped => "the program was stopped in the middle",
            Self::Ended => "the program stopped while {} was printing it",
            Self::RecordsLost => "the records of the time after are not here: it may have been printed",
            Self::ShopCancelled => "the shop cancelled it",
            Self::Decided => "decided: {}",
        }
    }

    /// The sentence with its place filled.
    pub fn about(self, what: &str) -> String {
        self.words().replace("{}", what)
    }

    /// Which of them a record's sentence is, with what stands in its place; `None` for people's own words.
    pub fn of(sentence: &str) -> Option<(Self, &str)> {
        Self::ALL.into_iter().find_map(|reason| match reason.words().split_once("{}") {
            None => (reason.words() == sentence).then_some((reason, "")),
            Some((before, after)) => {
                Some((reason, sentence.strip_prefix(before)?.strip_suffix(after).filter(|what| !what.is_empty())?))
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_records_said_in_words_is_still_read_and_written_as_it_was() {
        let old = "\"heavy, more than 23 kg: two people lift it; local rules count\"";
        let caution: Caution = serde_json::from_str(old).unwrap();
        assert!(matches!(caution, Caution::Said(_)));
        assert_eq!(serde_json::to_string(&caution).unwrap(), old);
        let old = "\"open again: an earlier stop note no longer counts\"";
        let difference: Difference = serde_json::from_str(old).unwrap();
        assert!(difference.is_open_again() && difference != Difference::OpenAgain);
        assert_eq!(serde_json::to_string(&difference).unwrap(), old);
        for difference in [Difference::Address, Difference::Gift(true), Difference::NotBefore(None)] {
            let text = serde_json::to_string(&difference).unwrap();
            assert_eq!(serde_json::from_str::<Difference>(&text).unwrap(), difference, "{text}");
        }
    }

    #[test]
    fn every_reason_is_recognised_by_its_sentence_and_no_other() {
        for reason in Reason::ALL {
            let sentence = reason.about("bench");
            let what = if reason.words().contains("{}") { "bench" } else { "" };
            assert_eq!(Reason::of(&sentence), Some((reason, what)));
        }
        assert_eq!(Reason::of("it was torn"), None);
        assert_eq!(Reason::of("decided: "), None);
    }
}
