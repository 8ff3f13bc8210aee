//! Reads one TOML document value by value and keeps every fault with its place, so that one run names them all.
//!
//! Deserialising into structures would stop at the first fault of each file and could not say which keys a table
//! knows; this walks the parsed document instead. A value that is at fault is `None` and its fault is on the list;
//! whoever builds the checked structure gives up when the list is not empty.

use super::fault::Fault;
use crate::units::{Celsius, Kelvins, Limits, UnitError, parse_difference, parse_temperature};
use chrono::NaiveDate;
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One file while it is read.
pub(super) struct Document<'a> {
    pub file: &'a str,
    pub text: &'a str,
    root: Spanned<DeTable<'a>>,
    faults: RefCell<Vec<Fault>>,
}

impl<'a> Document<'a> {
    pub fn parse(file: &'a str, text: &'a str) -> Document<'a> {
        let (root, errors) = DeTable::parse_recoverable(text);
        let faults = errors
            .iter()
            .map(|error| {
                let span = error.span().unwrap_or(0..0);
                let what = format!("this is not TOML: {}", error.message());
                Fault::at(file, text, span, what, "", "write key = value, texts in double quotes, one setting a line")
            })
            .collect();
        Document { file, text, root, faults: RefCell::new(faults) }
    }

    pub fn root(&self) -> Table<'_> {
        Table::new(self, "this file".into(), 0..0, self.root.get_ref())
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
    name: String,
    pub span: Range<usize>,
    entries: &'a DeTable<'a>,
    asked: RefCell<Vec<&'static str>>,
}

impl<'a> Table<'a> {
    fn new(document: &'a Document<'a>, name: String, span: Range<usize>, entries: &'a DeTable<'a>) -> Table<'a> {
        Table { document, name, span, entries, asked: RefCell::new(Vec::new()) }
    }

    /// The value of a key that may be left out.
    pub fn optional(&self, key: &'static str) -> Option<Value<'a>> {
        self.asked.borrow_mut().push(key);
        let (found, value) = self.entries.iter().find(|(name, _)| name.get_ref() == key)?;
        Some(Value { document: self.document, key: key.into(), key_span: found.span(), value })
    }

    /// The value of a key that must be there; `mend` is the line to write.
    pub fn required(&self, key: &'static str, mend: &str) -> Option<Value<'a>> {
        let value = self.optional(key);
        if value.is_none() {
            let what = format!("{key} is missing in {}", self.name);
            self.document.fault(self.span.clone(), what, "", format!("add {mend}"));
        }
        value
    }

    /// A table below this one, if there.
    pub fn table(&self, key: &'static str) -> Option<Table<'a>> {
        self.optional(key)?.table()
    }

    /// The tables of an array of tables; none if the key is left out.
    pub fn tables(&self, key: &'static str) -> Vec<Table<'a>> {
        let Some(value) = self.optional(key) else { return Vec::new() };
        let DeValue::Array(items) = value.value.get_ref() else {
            value.wrong_kind("a list of tables", &format!("[[{key}]] before each of them"));
            return Vec::new();
        };
        let tables = items.iter().enumerate().filter_map(|(number, item)| match item.get_ref() {
            DeValue::Table(entries) => {
                let name = format!("[[{key}]] number {}", number + 1);
                Some(Table::new(self.document, name, item.span(), entries))
            }
            _ => {
                let item = Value { value: item, ..value.clone() };
                item.wrong_kind("a table", &format!("[[{key}]] before each of them"));
                None
            }
        });
        tables.collect()
    }

    /// All entries whose names are free, such as the feeds of a service: the name, where it stands, its table.
    pub fn named_tables(&self) -> Vec<(String, Range<usize>, Table<'a>)> {
        let entries = self.entries.iter().filter_map(|(name, value)| {
            let key = name.get_ref().to_string();
            let value = Value { document: self.document, key: key.clone(), key_span: name.span(), value };
            Some((key, name.span(), value.table()?))
        });
        entries.collect()
    }

    /// Reports the keys that nobody asked for.
    pub fn finish(self) {
        let known = self.asked.borrow();
        for (name, _) in self.entries {
            let key = name.get_ref().as_ref();
            if !known.contains(&key) {
                let what = format!("{} knows no key {key}", self.name);
                let mend = suggestion(key, known.iter().copied())
                    .unwrap_or_else(|| format!("remove it; known are: {}", known.join(", ")));
                let why = "A setting that is silently ignored could lose a warning.";
                self.document.fault(name.span(), what, why, mend);
            }
        }
    }

    /// A fault of the table as a whole.
    pub fn fault(&self, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        self.document.fault(self.span.clone(), what, why, mend);
    }
}

/// One value and its place.
#[derive(Clone)]
pub(super) struct Value<'a> {
    document: &'a Document<'a>,
    key: String,
    key_span: Range<usize>,
    value: &'a Spanned<DeValue<'a>>,
}

impl<'a> Value<'a> {
    pub fn span(&self) -> Range<usize> {
        self.value.span()
    }

    pub fn fault(&self, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        self.document.fault(self.span(), what, why, mend);
    }

    /// A fault of the key rather than of its value, without showing the value.
    pub fn fault_at_key(&self, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        let mut fault = Fault::at(self.document.file, self.document.text, self.key_span.clone(), what, why, mend);
        fault.line_text = format!("{} = ...", self.key);
        fault.column = 1;
        self.document.faults.borrow_mut().push(fault);
    }

    fn wrong_kind(&self, wanted: &str, example: &str) {
        let what = format!("{} should be {wanted}", self.key);
        self.fault(what, "", format!("write {example}"));
    }

    fn table(&self) -> Option<Table<'a>> {
        match self.value.get_ref() {
            DeValue::Table(entries) => {
                Some(Table::new(self.document, format!("[{}]", self.key), self.key_span.clone(), entries))
            }
            _ => {
                self.wrong_kind("a table", &format!("[{}] on a line of its own, its settings below", self.key));
                None
            }
        }
    }

    /// A text that is not empty and has no control characters, which could forge a line of a mail.
    pub fn text(&self) -> Option<&'a str> {
        let DeValue::String(text) = self.value.get_ref() else {
            self.wrong_kind("a text", &format!("{} = \"...\" with double quotes", self.key));
            return None;
        };
        if text.trim().is_empty() {
            self.fault(format!("{} is empty", self.key), "", "write something between the quotes");
            return None;
        }
        if text.chars().any(char::is_control) {
            let why = "A line break in a name could forge a line of a mail.";
            self.fault(format!("{} holds a control character", self.key), why, "write it in one plain line");
            return None;
        }
        Some(text)
    }

    /// The text if the value is a sound one, without reporting a fault that another reading has reported.
    pub fn text_if_sound(&self) -> Option<&'a str> {
        match self.value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => Some(text),
            _ => None,
        }
    }

    /// A number within its limits.
    pub fn number(&self, limits: &Limits) -> Option<f64> {
        let number = match self.value.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().parse().ok(),
            DeValue::Float(float) => float.as_str().parse().ok(),
            _ => None,
        };
        let Some(number) = number else {
            self.wrong_kind("a number", &format!("{} = {} ({})", self.key, limits.low.max(1.0), limits.unit));
            return None;
        };
        self.within(limits, number, || format!("{number} {}", limits.unit)).then_some(number)
    }

    /// A whole number within its limits.
    pub fn count(&self, limits: &Limits) -> Option<u32> {
        let number = self.number(limits)?;
        if number.fract() != 0.0 || !(0.0..=f64::from(u32::MAX)).contains(&number) {
            self.wrong_kind("a whole number", &format!("{} = 5", self.key));
            return None;
        }
        // The range was checked in the line above.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        Some(number as u32)
    }

    pub fn flag(&self) -> Option<bool> {
        let DeValue::Boolean(flag) = self.value.get_ref() else {
            self.wrong_kind("true or false", &format!("{} = true", self.key));
            return None;
        };
        Some(*flag)
    }

    /// A temperature with its unit, within its limits.
    pub fn temperature(&self, limits: &Limits) -> Option<Celsius> {
        let temperature = self.with_unit("28F or -2.2C", parse_temperature)?;
        self.within(limits, temperature.0, || format!("{:.1} C", temperature.0)).then_some(temperature)
    }

    /// A difference of temperatures with its unit, within its limits.
    pub fn difference(&self, limits: &Limits) -> Option<Kelvins> {
        let difference = self.with_unit("-2F or 1.1C", parse_difference)?;
        self.within(limits, difference.0, || format!("{:.1} C", difference.0)).then_some(difference)
    }

    fn with_unit<T>(&self, example: &str, parse: fn(&str) -> Result<T, UnitError>) -> Option<T> {
        let text = match self.value.get_ref() {
            DeValue::String(text) => text.to_string(),
            DeValue::Integer(number) => number.as_str().to_string(),
            DeValue::Float(number) => number.as_str().to_string(),
            _ => {
                self.wrong_kind("a temperature with its unit", &format!("{} = \"28F\" or \"-2.2C\"", self.key));
                return None;
            }
        };
        match parse(&text) {
            Ok(value) => Some(value),
            Err(UnitError::NoUnit(number)) => {
                let why = "28 F is a hard freeze and 28 C a summer day.";
                self.fault(format!("{number} of what?"), why, format!("write \"{number}F\" or \"{number}C\""));
                None
            }
            Err(_) => {
                let what = format!("\"{text}\" is not a temperature with its unit");
                self.fault(what, "", format!("write it like {example}, in double quotes"));
                None
            }
        }
    }

    fn within(&self, limits: &Limits, value: f64, shown: impl Fn() -> String) -> bool {
        let allowed = limits.allow(value);
        if !allowed {
            let what = format!("{} of {} cannot be: {}", self.key, shown(), limits.why);
            let mend = format!("write a {} between {} and {} {}", limits.what, limits.low, limits.high, limits.unit);
            self.fault(what, "", mend);
        }
        allowed
    }

    /// One of a fixed set of words.
    pub fn word<T: Copy>(&self, known: &[T], word: fn(T) -> &'static str) -> Option<T> {
        let text = self.text()?;
        let found = known.iter().copied().find(|value| word(*value) == text);
        if found.is_none() {
            let words: Vec<&str> = known.iter().map(|value| word(*value)).collect();
            let mend = suggestion(text, words.iter().copied())
                .unwrap_or_else(|| format!("write one of: {}", words.join(", ")));
            self.fault(format!("{} knows no \"{text}\"", self.key), "", mend);
        }
        found
    }

    /// A date, written 2026-01-31, with or without quotes.
    pub fn date(&self) -> Option<NaiveDate> {
        let text = match self.value.get_ref() {
            DeValue::Datetime(date) => date.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => String::new(),
        };
        let date = NaiveDate::parse_from_str(&text, "%Y-%m-%d").ok();
        if date.is_none() {
            self.wrong_kind("a date", &format!("{} = 2026-01-31", self.key));
        }
        date
    }

    /// The items of a list.
    pub fn list(&self) -> Vec<Value<'a>> {
        let DeValue::Array(items) = self.value.get_ref() else {
            self.wrong_kind("a list", &format!("{} = [\"...\", \"...\"]", self.key));
            return Vec::new();
        };
        items.iter().map(|item| Value { value: item, ..self.clone() }).collect()
    }

    /// A list of texts.
    pub fn texts(&self) -> Vec<String> {
        self.list().iter().filter_map(|item| item.text().map(str::to_string)).collect()
    }

    /// A table given as the value, such as `{ a = 1 }`.
    pub fn as_table(&self) -> Option<Table<'a>> {
        self.table()
    }
}

/// "did you mean", where one known word is near enough to be meant.
pub(super) fn suggestion<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<String> {
    nearest(word, known).map(|near| format!("did you mean \"{near}\"?"))
}

/// The known word that is nearest, if it is near enough to be meant.
pub(super) fn nearest<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    let word = word.to_lowercase();
    known
        .map(|candidate| (strsim::jaro_winkler(&word, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness > 0.82)
        .max_by(|(a, _), (b, _)| a.total_cmp(b))
        .map(|(_, candidate)| candidate)
}
