//! The receipt of an erasure: what went from where, what stays and why, and what the program
//! cannot reach. Pure.

use super::{status, words};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;
use sha2::{Digest, Sha256};

/// A receipt. Its digest stands in the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Receipt {
    /// The order, with its shop.
    pub order: String,
    /// When the erasure was recorded; from then on nothing shows the data.
    pub at: Timestamp,
    /// Number of that record in the ledger.
    pub record: u64,
    /// What went, and from where.
    pub erased: Vec<Place>,
    /// What stays, and why.
    pub remains: Vec<String>,
    /// Where the program does not reach.
    pub beyond: Vec<String>,
}

/// One place from which something went.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Place {
    /// Where.
    pub place: &'static str,
    /// What.
    pub what: String,
}

/// What stays of a forgotten order, and why.
const REMAINS: [&str; 4] = [
    "numbers, goods, prices, stages and times of the order and its papers: the books need them, and they name nobody",
    "country and first characters of the postcode, on which the price of the postage rests",
    "digests of messages and content, and a keyed hash of the address: they tell that something is the same, and can be read back by nobody who does not guess the whole text",
    "of messages that could not be read nobody knows whose they are: they go when their question is answered and the retention is over",
];

/// What no program can erase.
const BEYOND: [&str; 4] = [
    "paper: slips, cards and pick lists that were printed",
    "the shop and the carrier, and what the printer may keep",
    "copies that somebody made: exports, backups elsewhere, pictures in a galley's folder, terminals that showed the order",
    "blocks of the disk that are free now: they are overwritten in time; an encrypted disk protects them until then",
];

impl Receipt {
    /// A receipt with the sentences that are always true.
    pub fn new(order: String, at: Timestamp, record: u64, erased: Vec<Place>) -> Self {
        let sentences = |all: &[&str]| all.iter().map(|one| (*one).to_owned()).collect();
        Self { order, at, record, erased, remains: sentences(&REMAINS), beyond: sentences(&BEYOND) }
    }

    /// SHA-256 (hex) of the receipt as JSON.
    pub fn digest(&self) -> String {
        let json = serde_json::to_vec(self).unwrap_or_default();
        data_encoding::HEXLOWER.encode(&Sha256::digest(json))
    }

    /// For programs: the receipt with its digest beside it.
    pub fn json(&self) -> serde_json::Value {
        serde_json::json!({ "receipt": self, "digest": self.digest() })
    }

    /// For people.
    pub fn text(&self, zone: &TimeZone) -> String {
        let columns = status::COLUMNS;
        let mut text = status::line_with_right_end(
            &format!("personal data of order {} are erased", words::tame(&self.order)),
            &words::day_and_time(zone, self.at),
        );
        text.push_str("\nERASED\n");
        for place in &self.erased {
            text.push_str(&words::hanging(&format!("{:<21}", place.place), &place.what, columns));
        }
        for (head, sentences) in [("STAYS", &self.remains), ("OUT OF REACH", &self.beyond)] {
            text.push_str(&format!("\n{head}\n"));
            for sentence in sentences {
                text.push_str(&words::hanging("- ", sentence, columns));
            }
        }
        text.push_str(&format!("\nrecord {} · digest of this receipt {}\n", self.record, self.digest()));
        text
    }
}
