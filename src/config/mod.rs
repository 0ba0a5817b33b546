//! TOML files into one validated, immutable [`crate::model::Workshop`]; every complaint at
//! once, each with file, line, column and a remedy.
//!
//! May touch: files of the configuration folder. Never: read by the core while it decides.
//!
//! Two steps: [`draft`] keeps what is written together with where it is written; one file
//! a subject (`workshop`, `sources`, `products`, ...) turns that into what is meant.

mod candidates;
mod cards;
mod complaint;
mod currency;
mod danger;
mod draft;
mod folder;
mod load;
mod mapping;
mod names;
mod packaging;
mod paths;
mod policy;
mod printers;
mod products;
mod rules;
pub mod secret;
mod services;
mod shape;
mod sources;
mod surcharges;
mod tariff;
mod values;
mod words;
mod workshop;

pub use candidates::with_candidates;
pub use complaint::{COMPLAINTS_MAX, Colour, Complaint, Complaints};
pub use folder::{FILE_BYTES_MAX, FILES_MAX, Files, ReadError, embedded, read_folder};
pub use load::{CardTrouble, Checks, load, load_but_cards, load_with};
pub use policy::policy;
pub use shape::{SHAPES, Shape};
