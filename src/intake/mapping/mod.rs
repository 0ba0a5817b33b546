//! From a payload to what it means: orders with their flaws, something else, or nothing
//! that can be mapped. Pure: the same body, key and mapping give the same meaning.

mod address;
mod draft;
mod mapped;
mod schema_org;
#[cfg(test)]
mod tests;
mod text;
mod value;

use super::json;
use crate::book::Meaning;
use crate::model::{Currency, Payload, Service, Source, SourceName};
use draft::{Setting, Unmappable};
use std::collections::BTreeSet;

pub use text::{LINE_CHARS_MAX, NOTE_CHARS_MAX, STREET_LINES_MAX};

/// Orders of one message.
pub const ORDERS_MAX: usize = 200;

/// What marks our own test messages (`dawnslip try`): they order nothing, whatever the mapping.
const TEST_KEY: &str = "dawnslip";
const TEST_WORDS: &str = "test message";

/// The body of a test message: acknowledged by every source as no order. The instant makes it
/// another one each time, where a message is known by its body.
pub fn test_body(at: jiff::Timestamp) -> String {
    serde_json::json!({ TEST_KEY: TEST_WORDS, "at": at }).to_string()
}

/// What is wrong with a mapping, and under which key of the source's `map` table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{key}: {problem}")]
pub struct MappingProblem {
    /// The key, for example `line.sku`.
    pub key: String,
    /// A sentence for the person who wrote it.
    pub problem: String,
}

/// Reads the payloads of one source.
#[derive(Debug, Clone)]
pub struct Mapper {
    source: SourceName,
    how: How,
    collect: BTreeSet<String>,
}

#[derive(Debug, Clone)]
enum How {
    SchemaOrg,
    Mapped(Box<mapped::Compiled>),
}

impl Mapper {
    /// Checks a source's mapping.
    ///
    /// # Errors
    /// All its problems at once.
    pub fn compile(source: &Source) -> Result<Self, Vec<MappingProblem>> {
        let how = match &source.payload {
            Payload::SchemaOrg => How::SchemaOrg,
            Payload::Mapped(mapping) => How::Mapped(Box::new(mapped::Compiled::new(mapping)?)),
        };
        Ok(Self { source: source.name.clone(), how, collect: BTreeSet::new() })
    }

    /// The same, knowing which services are fetched: an order for one needs no address.
    #[must_use]
    pub fn with_services(mut self, services: &[Service]) -> Self {
        let fetched = services.iter().filter(|service| service.collect);
        let words = fetched.flat_map(|service| service.asked_as.iter().chain(std::iter::once(&service.name.0)));
        self.collect = words.map(|word| word.to_lowercase()).collect();
        self
    }

    /// What a verified body means. `installation_key` is for the keyed hash of addresses,
    /// `currency` is the workshop's: prices in others are left out.
    pub fn read(&self, body: &[u8], installation_key: &[u8; 32], currency: Currency) -> Meaning {
        let value = match json::parse(body) {
            Ok(value) => value,
            Err(error) => return Meaning::Unmappable { reason: error.to_string(), pointer: String::new() },
        };
        if value.get(TEST_KEY).and_then(serde_json::Value::as_str) == Some(TEST_WORDS) {
            return Meaning::NotAnOrder;
        }
        let drafts = match &self.how {
            How::SchemaOrg => schema_org::drafts(&value, currency),
            How::Mapped(compiled) => compiled.drafts(&value, currency),
        };
        let setting = Setting { source: &self.source, installation_key, currency, collect: &self.collect };
        let orders = drafts.and_then(|drafts| match drafts {
            Some(drafts) => drafts.into_iter().map(|draft| draft.check(&setting)).collect::<Result<_, _>>().map(Some),
            None => Ok(None),
        });
        match orders {
            Ok(Some(orders)) => Meaning::Orders(orders),
            Ok(None) => Meaning::NotAnOrder,
            Err(Unmappable { reason, pointer }) => Meaning::Unmappable { reason, pointer },
        }
    }
}
