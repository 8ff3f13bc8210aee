//! One value of a settings file: its kind, its limits, and what to say when it has not the right ones.

use super::fault::is_hidden;
use super::reader::{Document, Table, TableKind};
use super::suggest::suggestion;
use crate::units::{Celsius, Kelvins, Limits, UnitError, parse_difference, parse_temperature};
use chrono::NaiveDate;
use std::ops::Range;
use toml::Spanned;
use toml::de::DeValue;

/// One value and its place.
#[derive(Clone)]
pub(super) struct Value<'a> {
    pub document: &'a Document<'a>,
    pub key: String,
    pub key_span: Range<usize>,
    pub value: &'a Spanned<DeValue<'a>>,
    /// What it is called should it turn out to be a table.
    pub kind: TableKind,
}

/// A longer name fits no subject line, and no label of a bed.
pub(super) const LONGEST_NAME: usize = 80;

impl<'a> Value<'a> {
    pub fn span(&self) -> Range<usize> {
        self.value.span()
    }

    pub fn fault(&self, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        self.document.fault(self.span(), what, why, mend);
    }

    /// A fault of the key rather than of its value.
    pub fn fault_at_key(&self, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) {
        self.document.fault(self.key_span.clone(), what, why, mend);
    }

    pub fn wrong_kind(&self, wanted: &str, example: &str) {
        let what = format!("{} should be {wanted}", self.key);
        self.fault(what, "", format!("write {example}"));
    }

    /// A table, under a heading of its own or given as the value, such as `{ a = 1 }`.
    pub fn table(&self) -> Option<Table<'a>> {
        let DeValue::Table(entries) = self.value.get_ref() else {
            let example = match &self.kind {
                TableKind::Heading(path) => format!("[{path}] on a line of its own, its settings below"),
                TableKind::Item(_) | TableKind::Root => format!("{} = {{ key = value, ... }}", self.key),
            };
            self.wrong_kind("a table", &example);
            return None;
        };
        Some(Table::new(self.document, self.kind.clone(), self.key_span.clone(), entries))
    }

    /// A text that is not empty and has no control characters, which could forge a line of a mail.
    pub fn text(&self) -> Option<&'a str> {
        let DeValue::String(text) = self.value.get_ref() else {
            let literal = self.document.text.get(self.span()).unwrap_or_default();
            let example = match self.value.get_ref() {
                DeValue::Array(_) | DeValue::Table(_) => "...",
                _ => literal,
            };
            self.wrong_kind("a text", &format!("{} = \"{example}\" with double quotes", self.key));
            return None;
        };
        if text.trim().is_empty() {
            self.fault(format!("{} is empty", self.key), "", "write something between the quotes");
            return None;
        }
        if text.chars().any(is_hidden) {
            let why = "It could forge a line of a mail.";
            self.fault(format!("{} holds a hidden character", self.key), why, "type it again in one plain line");
            return None;
        }
        Some(text)
    }

    /// A text short enough to be a name.
    pub fn name(&self) -> Option<&'a str> {
        let text = self.text()?;
        let length = text.chars().count();
        if length > LONGEST_NAME {
            let what = format!("{} is {length} characters long", self.key);
            let why = "It would fill a telephone before the list begins.";
            self.fault(what, why, format!("keep it within {LONGEST_NAME} characters"));
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
            self.wrong_kind("a plain number", "the number alone, without quotes and without a unit");
            return None;
        };
        let shown = || format!("{number} {}", limits.unit).trim_end().to_string();
        self.within(limits, number, shown, |value| format!("{value}"), limits.unit).then_some(number)
    }

    /// A whole number within its limits.
    pub fn count(&self, limits: &Limits) -> Option<u32> {
        let number = self.number(limits)?;
        if number.fract() != 0.0 || !(0.0..=f64::from(u32::MAX)).contains(&number) {
            let mend = format!("write {} or {}", number.floor(), number.ceil());
            self.fault(format!("{} should be a whole number", self.key), "", mend);
            return None;
        }
        // The range was checked in the line above.
        Some(number as u32)
    }

    pub fn flag(&self) -> Option<bool> {
        let DeValue::Boolean(flag) = self.value.get_ref() else {
            self.wrong_kind("true or false", &format!("{0} = true or {0} = false, without quotes", self.key));
            return None;
        };
        Some(*flag)
    }

    /// A temperature with its unit, within its limits.
    pub fn temperature(&self, limits: &Limits) -> Option<Celsius> {
        let why = "28 F is a hard freeze and 28 C a summer day.";
        let (text, temperature) = self.with_unit(["28F", "-2.2C"], why, parse_temperature)?;
        let both = |value: f64| format!("{value} C ({:.0} F)", Celsius(value).fahrenheit());
        self.within(limits, temperature.0, || text, both, "").then_some(temperature)
    }

    /// A difference of temperatures with its unit, within its limits.
    pub fn difference(&self, limits: &Limits) -> Option<Kelvins> {
        let why = "A degree of F is little more than half a degree of C.";
        let (text, difference) = self.with_unit(["-2F", "1.1C"], why, parse_difference)?;
        let both = |value: f64| format!("{value} C ({:.1} F)", value * 1.8);
        self.within(limits, difference.0, || text, both, "").then_some(difference)
    }

    fn with_unit<T>(
        &self,
        examples: [&str; 2],
        why: &str,
        parse: fn(&str) -> Result<T, UnitError>,
    ) -> Option<(String, T)> {
        let [one, other] = examples;
        let text = match self.value.get_ref() {
            DeValue::String(text) => text.to_string(),
            DeValue::Integer(number) => number.as_str().to_string(),
            DeValue::Float(number) => number.as_str().to_string(),
            _ => {
                self.wrong_kind(
                    "a temperature with its unit",
                    &format!("{0} = \"{one}\" or {0} = \"{other}\"", self.key),
                );
                return None;
            }
        };
        match parse(&text) {
            Ok(value) => Some((text, value)),
            Err(UnitError::NoUnit(number)) => {
                self.fault(format!("{number} of what?"), why, format!("write \"{number}F\" or \"{number}C\""));
                None
            }
            Err(_) => {
                let what = format!("\"{text}\" is no temperature with its unit");
                self.fault(what, "", format!("write it like \"{one}\" or \"{other}\""));
                None
            }
        }
    }

    /// Whether a value is believed. `shown` is the value as the reader wrote it, `limit` prints a limit.
    fn within(
        &self,
        limits: &Limits,
        value: f64,
        shown: impl FnOnce() -> String,
        limit: impl Fn(f64) -> String,
        unit: &str,
    ) -> bool {
        let allowed = limits.allow(value);
        if !allowed {
            let what = if value.is_nan() || value.is_infinite() {
                format!("{} needs a number that can be measured", self.key)
            } else if value < 0.0 && limits.low >= 0.0 {
                format!("{} cannot be negative", self.key)
            } else {
                format!("{} of {} cannot be: {}", self.key, shown(), limits.why)
            };
            let mend = format!("write a value between {} and {} {unit}", limit(limits.low), limit(limits.high));
            self.fault(what, "", mend.trim_end());
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
            self.fault(format!("{} cannot be \"{text}\"", self.key), "", mend);
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
            let example = format!("year-month-day, like {} = 2026-01-31", self.key);
            self.wrong_kind("a date of the calendar", &example);
        }
        date
    }

    /// Whether it is a list without an item.
    pub fn is_empty(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::Array(items) if items.is_empty())
    }

    /// The items of a list; `example` is such a list.
    pub fn list(&self, example: &str) -> Option<Vec<Value<'a>>> {
        let DeValue::Array(items) = self.value.get_ref() else {
            self.wrong_kind("a list", &format!("{} = {example}", self.key));
            return None;
        };
        Some(items.iter().map(|item| Value { value: item, ..self.clone() }).collect())
    }
}
