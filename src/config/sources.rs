//! `sources.toml`: shops, how their messages are signed, and where their secrets lie.

use super::draft::{Entry, Section};
use super::names::{Kind, Names};
use super::{mapping, shape};
use crate::model::*;
use jiff::SignedDuration;
use std::collections::BTreeMap;
use std::path::Path;
use toml::de::DeValue;

/// Clock difference that every published library of Standard Webhooks accepts.
const TOLERANCE: SignedDuration = SignedDuration::from_secs(300);
/// Secrets of one source: an old and a new one, and one in reserve.
const SECRETS_MAX: usize = 5;

/// All sources.
pub(super) fn read(section: &Section<'_>, base: &Path, names: &Names) -> BTreeMap<SourceName, Source> {
    let mut sources = BTreeMap::new();
    for (name, table) in section.named("source", &shape::SOURCE) {
        // The name is part of an address (`/intake/shop`) and of an order's key (`shop/S-417`).
        if !name.value.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-' || b == b'_') {
            table.complain(&name.at, "this is no name of a source", "small letters a to z, digits, - and _ only");
        }
        let name = SourceName(name.value);
        sources.insert(name.clone(), source(name, &table, base, names));
    }
    sources
}

fn source(name: SourceName, table: &Section<'_>, base: &Path, names: &Names) -> Source {
    #[derive(Clone, Copy, PartialEq)]
    enum As {
        Standard,
        Hmac,
    }
    let scheme = table.word("scheme", &[("standard webhooks", As::Standard), ("body hmac", As::Hmac)]);
    if !table.has("scheme") {
        table.missing("scheme", "\"standard webhooks\" or \"body hmac\"");
    }
    let mut secrets = secrets(table, base);
    secrets.truncate(SECRETS_MAX);
    Source {
        name,
        scheme: match scheme {
            Some(As::Hmac) => Scheme::BodyHmac(hmac(table)),
            _ => standard(table, scheme.is_some()),
        },
        secrets,
        payload: payload(table),
        gapless_prefix: table.text("gapless_prefix").map(|given| given.value),
        printer: table
            .text("printer")
            .filter(|given| names.check(table, Kind::Printer, given))
            .map(|given| PrinterName(given.value)),
        print: table.word(
            "print",
            &[("on arrival", PrintWhen::OnArrival), ("when packing starts", PrintWhen::WhenPackingStarts)],
        ),
    }
}

fn standard(table: &Section<'_>, chosen: bool) -> Scheme {
    if chosen {
        // Settings without effect would make somebody believe in them.
        for key in ["header", "encoding", "prefix", "timestamp_header", "template", "id_header"] {
            if let Some(entry) = table.entry(key) {
                let what = format!("`{key}` has no effect with \"standard webhooks\"");
                table.complain(&entry.key.at, what, "take it out, or say scheme = \"body hmac\"");
            }
        }
    }
    let tolerance = table.written("tolerance").map_or(TOLERANCE, |given| given.value);
    Scheme::StandardWebhooks { tolerance }
}

fn hmac(table: &Section<'_>) -> BodyHmac {
    let header = header(table, "header");
    if !table.has("header") {
        table.missing("header", "\"x-signature\"");
    }
    let timestamp = header_of(table, "timestamp_header");
    let tolerance = table.written("tolerance").map_or(TOLERANCE, |given| given.value);
    if let (Some(entry), None) = (table.entry("tolerance"), &timestamp) {
        table.complain(
            &entry.key.at,
            "`tolerance` has no effect without a timestamp",
            "name its header: timestamp_header = \"...\"",
        );
    }
    let id_header = header_of(table, "id_header");
    let template = template(table, timestamp.is_some(), id_header.is_some());
    BodyHmac {
        header: header.unwrap_or_default(),
        encoding: table
            .word("encoding", &[("hex", SignatureEncoding::Hex), ("base64", SignatureEncoding::Base64)])
            .unwrap_or(SignatureEncoding::Hex),
        prefix: table.text("prefix").map_or_else(String::new, |given| given.value),
        timestamp: timestamp.map(|header| (header, tolerance)),
        template,
        id_header,
    }
}

fn header_of(table: &Section<'_>, key: &str) -> Option<String> {
    if table.has(key) { header(table, key) } else { None }
}

/// A header's name, in lower case (RFC 9110: letters, digits and some signs).
fn header(table: &Section<'_>, key: &str) -> Option<String> {
    let given = table.text(key)?;
    let fine = !given.value.is_empty()
        && given.value.bytes().all(|b| b.is_ascii_alphanumeric() || b"!#$%&'*+-.^_`|~".contains(&b));
    if !fine {
        table.complain(&given.at, format!("`{key}` is no name of a header"), "write it like \"x-signature\"");
        return None;
    }
    Some(given.value.to_ascii_lowercase())
}

fn template(table: &Section<'_>, has_timestamp: bool, has_id: bool) -> Option<String> {
    let given = table.text("template")?;
    let text = &given.value;
    let mut rest = text.as_str();
    while let Some(open) = rest.find('{') {
        let end = rest[open..].find('}').map_or(rest.len(), |close| open + close + 1);
        let place = &rest[open..end];
        let remedy = match place {
            "{body}" => None,
            "{timestamp}" if has_timestamp => None,
            "{id}" if has_id => None,
            "{timestamp}" => Some("name its header: timestamp_header = \"...\""),
            "{id}" => Some("name its header: id_header = \"...\""),
            _ => Some("possible: {timestamp}, {id}, {body}"),
        };
        if let Some(remedy) = remedy {
            table.complain(&given.at, format!("nothing can be put in for {place} in `template`"), remedy);
        }
        rest = &rest[end..];
    }
    if !text.contains("{body}") {
        table.complain(&given.at, "the signature would not cover the body", "put {body} into the template");
    }
    if has_timestamp && !text.contains("{timestamp}") {
        let what = "the signature would not cover the timestamp, so anybody could change it";
        table.complain(&given.at, what, "put {timestamp} into the template, or take timestamp_header out");
    }
    Some(given.value)
}

fn payload(table: &Section<'_>) -> Payload {
    #[derive(Clone, Copy)]
    enum As {
        SchemaOrg,
        Mapped,
    }
    let word = table.word("payload", &[("schema.org", As::SchemaOrg), ("mapped", As::Mapped)]);
    match word.unwrap_or(if table.has("map") { As::Mapped } else { As::SchemaOrg }) {
        As::Mapped => {
            let Some(map) = table.sub("map", &shape::MAP) else {
                table.missing("map", "{ ... } (see the source `fair` of the sample)");
                return Payload::SchemaOrg;
            };
            Payload::Mapped(Box::new(mapping::read(&map)))
        }
        As::SchemaOrg => {
            if let Some(entry) = table.entry("map") {
                table.complain(
                    &entry.key.at,
                    "a mapping has no effect with \"schema.org\"",
                    "say payload = \"mapped\"",
                );
            }
            Payload::SchemaOrg
        }
    }
}

fn secrets(table: &Section<'_>, base: &Path) -> Vec<SecretRef> {
    let Some(entry) = table.entry("secrets") else {
        table.missing("secrets", "[{ file = \"secrets/NAME\" }]");
        return Vec::new();
    };
    let DeValue::Array(items) = entry.value else {
        return secret_ref(table, &entry, base).into_iter().collect();
    };
    if items.is_empty() || items.len() > SECRETS_MAX {
        let what = format!("{} secrets are named", items.len());
        table.complain(&entry.at, what, format!("name 1 to {SECRETS_MAX}: [{{ file = \"secrets/NAME\" }}]"));
    }
    let item = |item: &toml::Spanned<DeValue<'_>>| {
        let entry = Entry { key: entry.key.clone(), at: item.span(), value: item.get_ref() };
        secret_ref_of(table, &entry.at, item.get_ref(), base)
    };
    items.iter().filter_map(item).collect()
}

/// Where a secret lies. Text in its place is taken for the secret itself, and refused.
pub(super) fn secret_ref(table: &Section<'_>, entry: &Entry<'_>, base: &Path) -> Option<SecretRef> {
    secret_ref_of(table, &entry.at, entry.value, base)
}

fn secret_ref_of(table: &Section<'_>, at: &super::draft::Span, value: &DeValue<'_>, base: &Path) -> Option<SecretRef> {
    let remedy = "write { file = \"secrets/NAME\" }, or { credential = \"NAME\" } for one of systemd";
    match value {
        DeValue::String(_) => {
            table.secret_written(at);
            None
        }
        DeValue::Table(inner) => {
            let mut entries = super::draft::in_order(inner);
            let one = entries.pop().filter(|_| entries.is_empty());
            let text = one.as_ref().and_then(|one| one.value.as_str());
            match (one.as_ref().map(|one| one.key.value.as_str()), text) {
                (Some("file"), Some(path)) if !path.trim().is_empty() => Some(SecretRef::File(base.join(path))),
                (Some("credential"), Some(name)) if is_credential_name(name) => {
                    Some(SecretRef::Credential(name.to_owned()))
                }
                _ => {
                    table.complain(at, "this does not say where a secret lies", remedy);
                    None
                }
            }
        }
        _ => {
            table.complain(at, "this does not say where a secret lies", remedy);
            None
        }
    }
}

/// A credential is a plain file name (systemd.exec(5)): nothing that leaves its folder.
fn is_credential_name(name: &str) -> bool {
    !name.is_empty() && name != "." && name != ".." && !name.contains(['/', '\0']) && name.len() <= 255
}
