//! Text that belongs to a person, and short names that are identities.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Text about a person (name, street, wish, e-mail). `Debug` prints `‹hidden›`, so
/// that no log line can carry it; reading it takes a deliberate `.reveal()`.
#[derive(Clone, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Hidden(String);

impl Hidden {
    /// Wraps text as it came.
    pub fn new(text: impl Into<String>) -> Self {
        Self(text.into())
    }
    /// The text itself, for paper and for the desk. Never for a log.
    pub fn reveal(&self) -> &str {
        &self.0
    }
    /// True where nothing but white space was given.
    pub fn is_blank(&self) -> bool {
        self.0.trim().is_empty()
    }
}

impl fmt::Debug for Hidden {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("‹hidden›")
    }
}

macro_rules! name_type {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub String);
        impl $name {
            /// Wraps the text as written.
            pub fn new(text: impl Into<String>) -> Self { Self(text.into()) }
            /// The text as written.
            pub fn as_str(&self) -> &str { &self.0 }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { f.pad(&self.0) }
        }
        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str { &self.0 }
        }
        impl From<&str> for $name {
            fn from(text: &str) -> Self { Self(text.to_owned()) }
        }
    };
}

name_type!(
    /// A shop that sends webhooks: its table's name in `sources.toml`.
    SourceName
);
name_type!(
    /// A product's stock keeping unit, as written in `products.toml`.
    Sku
);
name_type!(
    /// A container's name in `packaging.toml`.
    ContainerName
);
name_type!(
    /// A service's name in `services.toml`.
    ServiceName
);
name_type!(
    /// A supply's name in `packaging.toml`.
    SupplyName
);
name_type!(
    /// A printer's name in `printers.toml`.
    PrinterName
);
name_type!(
    /// A card template's file stem in `cards/`.
    CardName
);
name_type!(
    /// A made batch of a product, as written on the shelf label.
    BatchName
);
name_type!(
    /// SHA-256, in lower-case hex, of a configuration's files.
    ConfigDigest
);
