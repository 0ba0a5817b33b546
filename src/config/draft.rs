//! What is written, together with where it is written; and what was found wrong so far.

use super::complaint::Complaint;
use super::names::nearest;
use super::shape::Shape;
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Bytes of a file.
pub(super) type Span = Range<usize>;

/// Collects what is found while the files are read.
#[derive(Debug, Default)]
pub(super) struct Findings {
    pub(super) complaints: RefCell<Vec<Complaint>>,
    /// What is no mistake and worth knowing.
    pub(super) notes: RefCell<Vec<Complaint>>,
    /// Secrets that stand in a file though they must not.
    pub(super) secrets: RefCell<Vec<(String, Span)>>,
    /// Texts that will be printed: file, place, text.
    pub(super) printed: RefCell<Vec<(String, Span, String)>>,
}

impl Findings {
    /// Adds a complaint.
    pub(super) fn add(&self, complaint: Complaint) {
        self.complaints.borrow_mut().push(complaint);
    }
}

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Given<T> {
    pub(super) value: T,
    pub(super) at: Span,
}

/// A key with its value, as written.
#[derive(Debug, Clone)]
pub(super) struct Entry<'t> {
    pub(super) key: Given<String>,
    pub(super) at: Span,
    pub(super) value: &'t DeValue<'t>,
}

/// One table of a file.
#[derive(Clone)]
pub(super) struct Section<'t> {
    pub(super) file: &'t str,
    /// Where it begins: its name, or its first key.
    pub(super) at: Span,
    pub(super) found: &'t Findings,
    shape: &'static Shape,
    /// Itself, then the tables whose values count where it says nothing (`like`).
    tables: Vec<&'t DeTable<'t>>,
}

impl<'t> Section<'t> {
    /// A table; complains at once about keys that it does not know.
    pub(super) fn new(
        file: &'t str,
        at: Span,
        table: &'t DeTable<'t>,
        shape: &'static Shape,
        found: &'t Findings,
    ) -> Self {
        let section = Self { file, at, found, shape, tables: vec![table] };
        for entry in section.entries() {
            if !shape.keys.contains(&entry.key.value.as_str()) {
                section.unknown(&entry);
            }
        }
        section
    }

    fn unknown(&self, entry: &Entry<'t>) {
        let key = &entry.key.value;
        if ["secret", "token", "password"].iter().any(|word| key.contains(word)) && entry.value.is_str() {
            return self.secret_written(&entry.at);
        }
        let remedy = match nearest(key, self.shape.keys.iter().copied()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("known here: {}", self.shape.keys.join(", ")),
        };
        self.complain(&entry.key.at, format!("unknown key `{key}` in {}", self.shape.what), remedy);
    }

    /// A secret stands in the file: complains and blacks it out.
    pub(super) fn secret_written(&self, at: &Span) {
        self.found.secrets.borrow_mut().push((self.file.to_owned(), at.clone()));
        self.complain(
            at,
            "a secret must not stand in the configuration",
            "put it in a file of its own and write { file = \"secrets/NAME\" }, or { credential = \"NAME\" } for one of systemd; treat this one as known and make a new one",
        );
    }

    /// Adds a complaint about this place.
    pub(super) fn complain(&self, at: &Span, what: impl Into<String>, remedy: impl Into<String>) {
        self.found.add(Complaint::new(self.file, at.clone(), what, remedy));
    }

    /// Adds a note about this place.
    pub(super) fn note(&self, at: &Span, what: impl Into<String>, remedy: impl Into<String>) {
        self.found.notes.borrow_mut().push(Complaint::new(self.file, at.clone(), what, remedy));
    }

    /// Values of `other` count where this table says nothing.
    pub(super) fn like(mut self, other: &Section<'t>) -> Self {
        self.tables.extend(&other.tables);
        self
    }

    /// Its own entries in the order of the file.
    pub(super) fn entries(&self) -> Vec<Entry<'t>> {
        in_order(self.tables[0])
    }

    /// The value of a key, its own or else inherited.
    pub(super) fn entry(&self, key: &str) -> Option<Entry<'t>> {
        debug_assert!(self.shape.keys.contains(&key), "{key} is missing in the shape of {}", self.shape.what);
        self.tables.iter().find_map(|table| look_up(table, key))
    }

    /// The value of a key, its own only.
    pub(super) fn own(&self, key: &str) -> Option<Entry<'t>> {
        debug_assert!(self.shape.keys.contains(&key), "{key} is missing in the shape of {}", self.shape.what);
        look_up(self.tables[0], key)
    }

    /// Was the key given?
    pub(super) fn has(&self, key: &str) -> bool {
        self.entry(key).is_some()
    }

    /// Complains that a key is missing.
    pub(super) fn missing(&self, key: &str, example: &str) {
        self.complain(&self.at, format!("`{key}` is missing in {}", self.shape.what), format!("add {key} = {example}"));
    }

    /// Complains that a value is of the wrong kind.
    pub(super) fn wrong_kind(&self, entry: &Entry<'t>, wanted: &str, example: &str) {
        self.complain(
            &entry.at,
            format!("`{}` is {}, not {wanted}", entry.key.value, kind_of(entry.value)),
            format!("write it like {example}"),
        );
    }

    /// A table within this one.
    pub(super) fn sub(&self, key: &str, shape: &'static Shape) -> Option<Section<'t>> {
        let entry = self.entry(key)?;
        self.table_of(&entry, shape)
    }

    /// An entry's value as a table.
    pub(super) fn table_of(&self, entry: &Entry<'t>, shape: &'static Shape) -> Option<Section<'t>> {
        match entry.value {
            DeValue::Table(table) => Some(Section::new(self.file, entry.key.at.clone(), table, shape, self.found)),
            _ => {
                self.wrong_kind(entry, "a table", &format!("{} = {{ ... }}", entry.key.value));
                None
            }
        }
    }

    /// Tables by the names that the workshop gives them (`[product.MUG]`), in the order of the file.
    pub(super) fn named(&self, key: &str, shape: &'static Shape) -> Vec<(Given<String>, Section<'t>)> {
        let Some(entry) = self.entry(key) else { return Vec::new() };
        let DeValue::Table(names) = entry.value else {
            self.wrong_kind(&entry, "a table of names", &format!("[{key}.NAME]"));
            return Vec::new();
        };
        let entries = in_order(names);
        for (index, entry) in entries.iter().enumerate() {
            let twin = |other: &&Entry<'t>| other.key.value.to_lowercase() == entry.key.value.to_lowercase();
            if let Some(twin) = entries[..index].iter().find(twin) {
                // People type names, and type them as they please.
                let what = format!("{:?} and {:?} differ only in capitals", twin.key.value, entry.key.value);
                let complaint = Complaint::new(self.file, entry.key.at.clone(), what, "give one of them another name");
                self.found.add(complaint.and(twin.key.at.clone(), "the other"));
            }
        }
        entries
            .into_iter()
            .filter(|named| self.name_is_fine(&named.key))
            .filter_map(|named| Some((named.key.clone(), self.table_of(&named, shape)?)))
            .collect()
    }

    /// A list of tables (`[[product.MUG.batch]]`), in the order of the file; its own only.
    pub(super) fn list(&self, key: &str, shape: &'static Shape) -> Vec<Section<'t>> {
        let Some(entry) = self.own(key) else { return Vec::new() };
        self.tables_of(&entry, shape)
    }

    /// An entry's value as a list of tables.
    pub(super) fn tables_of(&self, entry: &Entry<'t>, shape: &'static Shape) -> Vec<Section<'t>> {
        let key = &entry.key.value;
        let DeValue::Array(items) = entry.value else {
            self.wrong_kind(entry, "a list of tables", &format!("{key} = [{{ ... }}]"));
            return Vec::new();
        };
        let mut sections = Vec::new();
        for item in items.iter() {
            match item.get_ref() {
                DeValue::Table(table) => {
                    let at = in_order(table).first().map_or(item.span(), |first| first.key.at.clone());
                    sections.push(Section::new(self.file, at, table, shape, self.found));
                }
                other => self.complain(
                    &item.span(),
                    format!("`{key}` holds {}, not tables", kind_of(other)),
                    format!("write {key} = [{{ ... }}]"),
                ),
            }
        }
        sections
    }

    /// Amounts by name (`{ tissue = 2, "paper tape" = "60 cm" }`), in the order of the file.
    pub(super) fn pairs(&self, key: &str) -> Vec<Entry<'t>> {
        let Some(entry) = self.entry(key) else { return Vec::new() };
        self.pairs_of(&entry)
    }

    /// An entry's value as amounts by name.
    pub(super) fn pairs_of(&self, entry: &Entry<'t>) -> Vec<Entry<'t>> {
        match entry.value {
            DeValue::Table(table) => in_order(table),
            _ => {
                let example = format!("{} = {{ NAME = 1 }}", entry.key.value);
                self.wrong_kind(entry, "a table of amounts", &example);
                Vec::new()
            }
        }
    }

    fn name_is_fine(&self, name: &Given<String>) -> bool {
        let fine = !name.value.trim().is_empty()
            && name.value.trim() == name.value
            && name.value.chars().count() <= NAME_CHARS_MAX
            && !name.value.chars().any(char::is_control);
        if !fine {
            let remedy = format!("a name has 1 to {NAME_CHARS_MAX} visible characters and no space at its ends");
            self.complain(&name.at, "this is no name", remedy);
        }
        fine
    }
}

/// Characters in a name: what still fits on a line of paper.
pub(super) const NAME_CHARS_MAX: usize = 60;

fn look_up<'t>(table: &'t DeTable<'t>, key: &str) -> Option<Entry<'t>> {
    table.get_key_value(key).map(|(key, value)| entry_of(key, value))
}

fn entry_of<'t>(key: &'t Spanned<toml::de::DeString<'t>>, value: &'t Spanned<DeValue<'t>>) -> Entry<'t> {
    Entry { key: Given { value: key.get_ref().to_string(), at: key.span() }, at: value.span(), value: value.get_ref() }
}

/// The entries of a table in the order of the file (the parser sorts them by name).
pub(super) fn in_order<'t>(table: &'t DeTable<'t>) -> Vec<Entry<'t>> {
    let mut entries: Vec<_> = table.iter().map(|(key, value)| entry_of(key, value)).collect();
    entries.sort_by_key(|entry| entry.key.at.start);
    entries
}

/// What a value is, in words.
pub(super) fn kind_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
