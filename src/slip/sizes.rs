//! Sizes of letters on the house's papers: two for words, three for what is seen from afar.
//! A test counts them.

/// What is read at arm's length.
pub const WORDS: u16 = 25;
/// What stands beside or below it.
pub const SMALL: u16 = 21;
/// Headings, and what must not be overlooked.
pub const HEADING: u16 = 32;
/// The container, the customer's name, a list's title.
pub const LARGE: u16 = 44;
/// An order's number.
pub const NUMBER: u16 = 64;
