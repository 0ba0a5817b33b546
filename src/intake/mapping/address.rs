//! What deciding needs of an address: a keyed hash that recognises it, and whether it is
//! a post box.

use crate::intake::signature::hmac_sha256;
use std::collections::BTreeSet;
use unicode_normalization::UnicodeNormalization;

/// Bytes of the keyed hash that are kept: enough to tell addresses apart.
const HASH_BYTES: usize = 16;

/// HMAC-SHA-256 with the installation's key over the normalised parts of an address, or of a name,
/// its first 16 bytes in hex. Empty where there is nothing. Normalised: NFKC, lower case,
/// letters and digits only, so that "12, High St." and "12 high st" are the same.
pub(super) fn hash(installation_key: &[u8; 32], parts: &[&str]) -> String {
    let plain: Vec<String> = parts.iter().map(|part| letters_and_digits(part)).collect();
    if plain.iter().all(String::is_empty) {
        return String::new();
    }
    let mac = hmac_sha256(installation_key, plain.join("\n").as_bytes());
    data_encoding::HEXLOWER.encode(&mac[..HASH_BYTES])
}

fn letters_and_digits(text: &str) -> String {
    text.nfkc().flat_map(char::to_lowercase).filter(|c| c.is_alphanumeric()).collect()
}

/// A line of one of these and a number is a post box. Letters only; common practice in
/// these languages, no source lists them.
const BEFORE_A_NUMBER: [&str; 16] = [
    "pob", "box", "pf", "bp", "cs", "apartado", "apdo", "casilla", "pl", "pk", "skrpoczt", "ая", "τθ", "صب", "תד",
    "kotakpos",
];

/// Words that mean a post box where they end a word: a "Postfachweg" is a street.
const AS_A_WORD: [&str; 20] = [
    "postofficebox",
    "postfach",
    "boîtepostale",
    "boitepostale",
    "apartadopostal",
    "apartadodecorreos",
    "casillapostal",
    "casilladecorreo",
    "casellapostale",
    "caixapostal",
    "postbus",
    "postboks",
    "postilokero",
    "skrytkapocztowa",
    "poštovnípřihrádka",
    "postafiók",
    "postakutusu",
    "абонентскийящик",
    "ταχυδρομικήθυρίδα",
    "hộpthư",
];

/// Words that mean it wherever they stand: what follows is written without a space.
const ANYWHERE: [&str; 6] = ["صندوقبريد", "私書箱", "邮政信箱", "郵政信箱", "사서함", "ตู้ปณ"];

/// Does this address line name a post box?
pub(super) fn is_post_box(line: &str) -> bool {
    let mut plain = String::new();
    // Where a space or a mark stood.
    let mut ends = BTreeSet::new();
    for c in line.nfc().flat_map(char::to_lowercase) {
        if c.is_whitespace() || is_mark(c) {
            ends.insert(plain.len());
        } else {
            plain.push(c);
        }
    }
    let is_whole = |end: usize| ends.contains(&end) || !plain[end..].starts_with(char::is_alphabetic);
    let as_a_word = |word: &&str| plain.match_indices(word).any(|(at, word)| is_whole(at + word.len()));
    if ANYWHERE.iter().any(|word| plain.contains(word)) || AS_A_WORD.iter().any(as_a_word) {
        return true;
    }
    let number_follows = |rest: &str| numbered(rest).starts_with(char::is_numeric);
    if plain.match_indices("pobox").any(|(at, word)| number_follows(&plain[at + word.len()..])) {
        return true;
    }
    // The number must be all that follows: "PL12 4AB" is a postcode, "Box Lane 12" a street.
    BEFORE_A_NUMBER.iter().any(|word| {
        plain
            .strip_prefix(word)
            .map(numbered)
            .is_some_and(|rest| !rest.is_empty() && rest.chars().all(char::is_numeric))
    })
}

/// What follows "no." or "nr.", or the text itself.
fn numbered(text: &str) -> &str {
    text.strip_prefix("no").or(text.strip_prefix("nr")).unwrap_or(text)
}

/// Punctuation within and around such words.
fn is_mark(c: char) -> bool {
    matches!(c, '.' | ',' | ':' | '/' | '-' | '#' | '°' | 'º' | '״' | '"' | '\'')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn post_boxes_are_recognised_in_several_languages() {
        for line in [
            "P.O. Box 12",
            "PO BOX #12",
            "po box no. 12",
            "Post Office Box 12",
            "Postfach 10 11",
            "B.P. 123",
            "Boîte postale 7",
            "Apartado 33",
            "Apdo. 33",
            "Casella Postale 5",
            "Caixa Postal 5",
            "Postbus 44",
            "Postboks 44",
            "Box 44",
            "PL 12",
            "а/я 15",
            "Τ.Θ. 8",
            "ص.ب 12",
            "ת.ד. 12",
            "郵政信箱 3號",
            "中央郵便局私書箱12号",
            "사서함 12호",
            "Skrytka pocztowa 3",
        ] {
            assert!(is_post_box(line), "{line}");
        }
    }

    /// From `standards/postal_customs_address.json`, whose patterns are "from memory"; what is none says so in brackets.
    #[test]
    fn the_table_of_post_boxes_is_met() {
        let table = include_str!("../../../tests/standards/postal_customs_address.json");
        let table: serde_json::Value = serde_json::from_str(table).unwrap();
        let lines = table["po_box"]["detect"].as_array().unwrap();
        let (mut are, mut are_not) = (0, 0);
        for line in lines.iter().map(|line| line.as_str().unwrap()) {
            let (text, note) = line.split_once(" (").unwrap_or((line, ""));
            assert_eq!(is_post_box(text), !note.contains("NOT"), "{line}");
            *(if note.contains("NOT") { &mut are_not } else { &mut are }) += 1;
        }
        assert_eq!((are, are_not), (10, 4));
    }

    #[test]
    fn a_street_that_begins_like_a_post_box_is_none() {
        for (line, is_one) in [
            ("Postfachstraße 12", false),
            ("Postbusplein 1", false),
            ("Postfach", true),
            ("Postfach, Hauptpost", true),
            ("Casilla de correo 9", true),
            ("La Casilla 9 bis", false),
            ("Hauptpostfach 7", true),
        ] {
            assert_eq!(is_post_box(line), is_one, "{line}");
        }
    }

    #[test]
    fn houses_are_no_post_boxes() {
        for line in [
            "12 Box Lane",
            "Boxwood Close 3",
            "PL12 4AB",
            "Pforte 2",
            "Plover Lane 12",
            "Csák utca 3",
            "Campo Boxer 2",
            "",
        ] {
            assert!(!is_post_box(line), "{line}");
        }
    }

    #[test]
    fn the_same_address_written_otherwise_has_the_same_hash_and_another_key_another() {
        let parts = ["QS", "1203", "Port Haven", "12, High St."];
        let same = ["qs", "12 03", "PORT-HAVEN", "12 high st"];
        assert_eq!(hash(&[1; 32], &parts), hash(&[1; 32], &same));
        assert_eq!(hash(&[1; 32], &parts).len(), 2 * HASH_BYTES);
        assert_ne!(hash(&[1; 32], &parts), hash(&[2; 32], &parts));
        // A digit that moves from one part to the next is another address.
        assert_ne!(hash(&[1; 32], &["12", "3"]), hash(&[1; 32], &["1", "23"]));
        assert_eq!(hash(&[1; 32], &["", " - "]), "");
    }
}
