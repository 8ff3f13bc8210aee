//! What the TOML parser objects to, in the words of somebody who has never heard of it.

use super::fault::{Fault, without_secret};
use super::service::PASSWORD_IN_FILE;
use crate::units::parse_temperature;
use toml::de::Error;

/// A file that stops being TOML somewhere is not read further.
const WHY: &str = "The rest of this file is looked at once this is mended.";

/// The faults of a file that is no TOML. Of one line only the first is told: the others follow from it.
pub(super) fn faults(file: &str, text: &str, errors: &[Error]) -> Vec<Fault> {
    if text.contains('\0') {
        let mend = "save it as plain text (UTF-8), not in the format of a word processor or a spreadsheet";
        return vec![Fault::of_file(file, "this is no text file", "", mend)];
    }
    let mut faults: Vec<Fault> = Vec::new();
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        let meant = text.get(span.clone()).unwrap_or_default();
        // A fault that is noticed at the end of a line, or of the whole file, belongs to the last thing written there.
        let place = if meant.is_empty() { last_written(text, span.start) } else { span.start };
        let (line, value) = line_and_value(text, place);
        let place = place..span.end.max(place);
        let fault = if without_secret(line) == line {
            let (what, mend) = explain(error.message(), meant, line, value);
            Fault::at(file, text, place, what, WHY, mend)
        } else {
            // Nothing of such a line may be repeated, and it is wrong however it is written.
            let (what, why, mend) = PASSWORD_IN_FILE;
            Fault::at(file, text, place, what, why, mend)
        };
        if faults.iter().all(|known| known.line != fault.line) {
            faults.push(fault);
        }
        // Within brackets that do not end, everything to the end of the file is at fault.
        if ["array element", "unclosed array,", "inline table"].iter().any(|part| error.message().contains(part)) {
            break;
        }
    }
    let lines = text.lines().filter(|line| !line.trim().is_empty()).count();
    if faults.len() > 3 && faults.len() * 2 > lines {
        let mend = "write lines like name = \"...\", or begin with a copy of a file of the demo garden";
        return vec![Fault::of_file(file, "hardly a line of this file is a setting", "", mend)];
    }
    faults
}

/// The start of the last character before `at` that is not blank, on the same line where that has one.
fn last_written(text: &str, at: usize) -> usize {
    let before = text.get(..at).unwrap_or_default();
    let written = before.trim_end();
    written.char_indices().next_back().map_or(0, |(place, _)| place)
}

/// The line around a place, and what stands behind its first `=`.
fn line_and_value(text: &str, at: usize) -> (&str, &str) {
    let start = text.get(..at).and_then(|before| before.rfind('\n')).map_or(0, |newline| newline + 1);
    let line = text.get(start..).and_then(|rest| rest.lines().next()).unwrap_or_default();
    let value = line.split_once('=').map_or("", |(_, value)| value);
    (line, value.split('#').next().unwrap_or_default().trim())
}

/// What is wrong and how to mend it.
fn explain(message: &str, meant: &str, line: &str, value: &str) -> (String, String) {
    let says = |start: &str| message.starts_with(start);
    let pair = |what: &str, mend: &str| (what.to_string(), mend.to_string());
    if line.contains(['\u{201c}', '\u{201d}', '\u{201e}', '\u{2018}', '\u{2019}']) && !says("duplicate key") {
        return pair("these are the quotes of a printed page", "write plain quotes: \"...\"");
    }
    if parse_temperature(value).is_ok() && !says("duplicate key") {
        return (format!("{value} stands without quotes"), format!("write \"{value}\""));
    }
    let is_number = meant.is_empty() || meant.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    if says("string values must be quoted") || (says("invalid ") && !is_number && message.ends_with("`nan`")) {
        return match value {
            "" => pair("nothing stands behind the =", "write a value there, or remove the line"),
            _ if meant.starts_with(|c: char| c.is_ascii_digit()) => {
                pair("this is no number", "write the number alone, like 1.2, and any other text in double quotes")
            }
            _ => pair("this text stands without quotes", "put it in double quotes: \"...\""),
        };
    }
    if says("duplicate key") {
        let mend = "keep one of them; things that come many times, such as beds, start with [[beds]] each";
        return (format!("{meant} is said twice"), mend.to_string());
    }
    if says("invalid basic string, expected `\"`") || says("invalid literal string") {
        return pair("the quotes are not closed on this line", "close them at the end of the text");
    }
    if says("invalid basic string") {
        return pair("the text holds a control character", "write it in one plain line");
    }
    if says("missing escaped value") {
        return pair(
            "a \\ in a text has a meaning of its own",
            "write it twice, \\\\, or write / in the name of a file",
        );
    }
    if says("invalid multi-line") {
        return pair("a text that began with three quotes does not end", "write it in one line, in double quotes");
    }
    if says("key with no value") {
        return match line.contains(':') {
            true => pair("there is no = on this line", "write key = value, with = where the : stands"),
            false => pair("there is no = on this line", "write key = value, or # before a remark"),
        };
    }
    if says("unclosed table") || says("unclosed array table") {
        return pair("the bracket is not closed", "close it: [place], or [[beds]] with two on each side");
    }
    if says("missing comma between array elements") || says("unclosed array") {
        return pair("the list has no end, or a comma is missing in it", "write it like [\"one\", \"two\"]");
    }
    if message.contains("inline table") {
        return pair(
            "the braces have no end, or a comma is missing in them",
            "write them on one line: { one = 1, two = 2 }",
        );
    }
    if says("unexpected key or value") {
        let with_comma = |c: char| c.is_ascii_digit() || matches!(c, ',' | '-');
        if value.contains(',') && value.chars().all(with_comma) {
            return (format!("{value} is written with a comma"), format!("write {}", value.replace(',', ".")));
        }
        return pair("something follows the value on this line", "write one setting a line, and # before a remark");
    }
    if says("invalid date") || says("invalid time") {
        return pair("this is no date of the calendar", "write year-month-day, like 2026-01-31");
    }
    if says("invalid boolean") {
        return (format!("{meant} is no word that is known here"), "write true or false, in small letters".into());
    }
    if says("unexpected leading zero") || says("invalid mantissa") || says("invalid fraction") || says("invalid float")
    {
        return pair(
            "this is no number",
            "write it with a digit on each side of the point, like 0.5, and without a 0 before it",
        );
    }
    if says("invalid unquoted key") || says("unquoted keys cannot be empty") {
        return pair("this is no name of a setting", "write key = value; a name has letters, digits, - and _ only");
    }
    (format!("this is not TOML: {message}"), "write key = value, texts in double quotes, one setting a line".into())
}
