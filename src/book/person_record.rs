//! What is written of persons, apart from the facts: so that it can be erased.

use crate::model::*;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// What tells of a person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PersonRecord {
    /// The person of an order's version.
    Of {
        /// Version of the written form.
        v: u8,
        /// The order.
        order: OrderKey,
        /// Which content of it, counted from 1.
        version: u32,
        /// The person.
        person: Box<Person>,
    },
    /// A message's raw body.
    Raw {
        /// Version of the written form.
        v: u8,
        /// The message.
        message: MessageKey,
        /// The body as text.
        body: Hidden,
    },
    /// What a person typed about an order: why it is held, cancelled, printed again. The fact it
    /// belongs to has the same instant.
    Said {
        /// Version of the written form.
        v: u8,
        /// The order.
        order: OrderKey,
        /// When.
        at: Timestamp,
        /// As typed.
        text: Hidden,
    },
}
