//! Reads one TOML document value by value and keeps every fault with its place, so that one run names them all.
//!
//! Deserialising into structures would stop at the first fault of each file and could not say which keys a table
//! knows; this walks the parsed document instead. A value that is at fault is `None` and its fault is on the list;
//! whoever builds the checked structure gives up when the list is not empty.

use super::fault::Fault;
use super::suggest::suggestion;
use super::syntax;
use super::value::{LONGEST_NAME, Value};
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

/// One file while it is read.
pub(super) struct Document<'a> {
    pub file: &'a str,
    pub text: &'a str,
    root: Spanned<DeTable<'a>>,
    faults: RefCell<Vec<Fault>>,
}

impl<'a> Document<'a> {
    /// The document, or why it is none: what could be read of a broken one would only mislead.
    pub fn parse(file: &'a str, text: &'a str) -> Result<Document<'a>, Vec<Fault>> {
        let (root, errors) = DeTable::parse_recoverable(text);
        if !errors.is_empty() {
            return Err(syntax::faults(file, text, &errors));
        }
        Ok(Document { file, text, root, faults: RefCell::default() })
    }

    pub fn root(&self) -> Table<'_> {
        Table::new(self, TableKind::Root, 0..0, self.root.get_ref())
    }

    pub fn fault(&self, span: Range<usize>, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        self.faults.borrow_mut().push(Fault::at(self.file, self.text, span, what, why, mend));
    }

    /// The faults, each once: a value that was read twice reports the same fault twice.
    pub fn into_faults(self) -> Vec<Fault> {
        let mut once: Vec<Fault> = Vec::new();
        for fault in self.faults.into_inner() {
            if !once.contains(&fault) {
                once.push(fault);
            }
        }
        once
    }
}

/// One table of a document, and which of its keys have been asked for.
pub(super) struct Table<'a> {
    document: &'a Document<'a>,
    kind: TableKind,
    span: Range<usize>,
    entries: &'a DeTable<'a>,
    asked: RefCell<Vec<&'static str>>,
}

/// What a table is, as far as a reader must know to find it.
#[derive(Clone)]
pub(super) enum TableKind {
    /// The file itself.
    Root,
    /// Under a heading of its own, such as `mail.smtp`.
    Heading(String),
    /// One of many, or a part of one, such as `bed "A1"`.
    Item(String),
}

/// How the tables of a list are called in front of a reader.
#[derive(Clone, Copy)]
pub(super) struct Listed {
    /// The key of the list, such as `beds`.
    pub key: &'static str,
    /// One of them, such as `bed`.
    pub one: &'static str,
    /// The key whose value tells them apart, such as `id`.
    pub told_by: Option<&'static str>,
}

impl<'a> Table<'a> {
    pub fn new(document: &'a Document<'a>, kind: TableKind, span: Range<usize>, entries: &'a DeTable<'a>) -> Table<'a> {
        Table { document, kind, span, entries, asked: RefCell::default() }
    }

    /// The name of the table in a sentence.
    pub fn name(&self) -> String {
        match &self.kind {
            TableKind::Root => "this file".into(),
            TableKind::Heading(path) => format!("[{path}]"),
            TableKind::Item(name) => name.clone(),
        }
    }

    /// The value of a key that may be left out.
    pub fn optional(&self, key: &'static str) -> Option<Value<'a>> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        let (found, value) = self.entries.iter().find(|(name, _)| name.get_ref() == key)?;
        Some(self.value(found, value))
    }

    /// The value of a key that must not be there; it is never suggested.
    pub fn refused(&self, key: &'static str) -> Option<Value<'a>> {
        self.entries.iter().any(|(name, _)| name.get_ref() == key).then(|| self.optional(key))?
    }

    /// Whether nothing is in it.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// The value of a key that must be there; `mend` is the line to write.
    pub fn required(&self, key: &'static str, mend: &str) -> Option<Value<'a>> {
        let value = self.optional(key);
        if value.is_none() {
            self.fault(format!("{key} is missing in {}", self.name()), "", format!("add {mend}"));
        }
        value
    }

    fn value(&self, name: &Spanned<DeString<'a>>, value: &'a Spanned<DeValue<'a>>) -> Value<'a> {
        let key = name.get_ref().to_string();
        let kind = match &self.kind {
            TableKind::Root => TableKind::Heading(key.clone()),
            TableKind::Heading(path) => TableKind::Heading(format!("{path}.{key}")),
            TableKind::Item(owner) => TableKind::Item(format!("{key} of {owner}")),
        };
        Value { document: self.document, key, key_span: name.span(), value, kind }
    }

    /// A table below this one, if there.
    pub fn table(&self, key: &'static str) -> Option<Table<'a>> {
        self.optional(key)?.table()
    }

    /// The tables of an array of tables; none if the key is left out.
    pub fn tables(&self, listed: Listed) -> Vec<Table<'a>> {
        let Some(list) = self.optional(listed.key) else { return Vec::new() };
        let path = match &self.kind {
            TableKind::Root => listed.key.to_string(),
            TableKind::Heading(path) => format!("{path}.{}", listed.key),
            // The only lists within lists are those of a bed.
            TableKind::Item(_) => format!("beds.{}", listed.key),
        };
        let wrong = |value: &Value<'_>| {
            let mend = format!("write [[{path}]] on a line of its own before each {}, its settings below", listed.one);
            value.fault(format!("each {} needs a heading of its own", listed.one), "", mend);
        };
        let DeValue::Array(items) = list.value.get_ref() else {
            wrong(&list);
            return Vec::new();
        };
        let tables = items.iter().enumerate().filter_map(|(number, item)| {
            let DeValue::Table(entries) = item.get_ref() else {
                wrong(&Value { value: item, ..list.clone() });
                return None;
            };
            let kind = TableKind::Item(self.name_of_item(listed, number + 1, entries));
            Some(Table::new(self.document, kind, item.span(), entries))
        });
        tables.collect()
    }

    /// `bed "A1"`, or `bed number 3` where it does not say.
    fn name_of_item(&self, listed: Listed, number: usize, entries: &DeTable<'_>) -> String {
        let told = listed.told_by.and_then(|key| entries.get(key)).and_then(|value| match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => Some(text),
            _ => None,
        });
        let name = match told {
            Some(told) => format!("{} \"{}\"", listed.one, told.chars().take(LONGEST_NAME).collect::<String>()),
            None => format!("{} number {number}", listed.one),
        };
        match &self.kind {
            TableKind::Item(owner) => format!("{name} of {owner}"),
            _ => name,
        }
    }

    /// All entries whose names are free, such as the feeds of a service: the name, where it stands, its table.
    pub fn named_tables(&self) -> Vec<(Value<'a>, Table<'a>)> {
        let entries = self.entries.iter().filter_map(|(name, value)| {
            let value = self.value(name, value);
            let table = value.table()?;
            Some((value, table))
        });
        entries.collect()
    }

    /// Reports the keys that nobody asked for, when the last one has been.
    pub fn finish(self) {
        self.report_unknown();
    }

    /// The same where the table is still needed.
    pub fn report_unknown(&self) {
        let known = self.asked.borrow();
        for (name, _) in self.entries {
            let key = name.get_ref().as_ref();
            if !known.contains(&key) {
                let what = format!("{key} is no setting of {}", self.name());
                let mend = suggestion(key, known.iter().copied())
                    .unwrap_or_else(|| format!("remove it, or write one of: {}", known.join(", ")));
                let why = "A setting that is silently ignored could lose a warning.";
                self.document.fault(name.span(), what, why, mend);
            }
        }
    }

    /// A fault of the table as a whole.
    pub fn fault(&self, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        match self.kind {
            // What a file lacks stands on none of its lines.
            TableKind::Root => {
                self.document.faults.borrow_mut().push(Fault::of_file(self.document.file, what, why, mend));
            }
            TableKind::Heading(_) | TableKind::Item(_) => self.document.fault(self.span.clone(), what, why, mend),
        }
    }
}
