//! What is wrong in a file, where, why it matters and how to mend it: the answer to every bad setting.

use std::fmt;

/// One fault of one file.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// The file as the reader knows it.
    pub file: String,
    /// Counted from 1.
    pub line: usize,
    /// Counted in characters from 1.
    pub column: usize,
    /// The line itself.
    pub line_text: String,
    /// How many characters are meant, at least 1.
    pub width: usize,
    /// What is wrong, in the reader's words.
    pub what: String,
    /// Why it matters; may be empty.
    pub why: String,
    /// What to write instead.
    pub mend: String,
}

impl Fault {
    /// A fault at a span of bytes within a file's text.
    pub fn at(
        file: &str,
        text: &str,
        span: std::ops::Range<usize>,
        what: impl Into<String>,
        why: impl Into<String>,
        mend: impl Into<String>,
    ) -> Fault {
        let start = floor_char_boundary(text, span.start);
        let end = floor_char_boundary(text, span.end.max(start));
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let line_text = text[line_start..line_end].trim_end_matches('\r');
        let width = text[start..end.min(line_end).max(start)].chars().count().max(1);
        Fault {
            file: file.into(),
            line: text[..start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            line_text: line_text.into(),
            width,
            what: what.into(),
            why: why.into(),
            mend: mend.into(),
        }
    }

    /// A fault of a whole file or folder, such as one that cannot be read.
    pub fn of_file(file: &str, what: impl Into<String>, why: impl Into<String>, mend: impl Into<String>) -> Fault {
        Fault { line: 0, column: 0, width: 0, ..Fault::at(file, "", 0..0, what, why, mend) }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            writeln!(f, "{}: {}", self.file, self.what)?;
        } else {
            writeln!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.what)?;
            let number = self.line.to_string();
            // Tabs are shown as one blank, so that the caret stands under what is meant.
            writeln!(f, "  {number} | {}", self.line_text.replace('\t', " "))?;
            let blank = " ".repeat(number.len());
            writeln!(f, "  {blank} | {}{}", " ".repeat(self.column - 1), "^".repeat(self.width))?;
        }
        if !self.why.is_empty() {
            writeln!(f, "  {}", self.why)?;
        }
        writeln!(f, "  Mend: {}", self.mend)
    }
}

/// All faults as one text, in order of file and place, with their count at the end.
pub fn list(faults: &[Fault]) -> String {
    let mut sorted: Vec<&Fault> = faults.iter().collect();
    sorted.sort_by(|a, b| (&a.file, a.line, a.column).cmp(&(&b.file, b.line, b.column)));
    let mut files: Vec<&str> = sorted.iter().map(|fault| fault.file.as_str()).collect();
    files.dedup();
    let texts: Vec<String> = sorted.iter().map(|fault| fault.to_string()).collect();
    let (s, files_s) = (plural(faults.len()), plural(files.len()));
    format!(
        "{}\n{} fault{s} in {} file{files_s}. Nothing was started, nothing was sent.\n",
        texts.join("\n"),
        faults.len(),
        files.len()
    )
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

/// Spans come from a parser and point at whole characters; a stray one must not panic all the same.
fn floor_char_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_caret_stands_under_the_value_also_behind_wide_letters() {
        let text = "a = 1\nname = \"Käse\" # x\n";
        let at = text.find("\"K").unwrap_or_default();
        let fault = Fault::at("beds.toml", text, at..at + "\"Käse\"".len(), "cheese is no bed", "", "remove it");
        assert_eq!(
            fault.to_string(),
            "beds.toml:2:8: cheese is no bed\n  2 | name = \"Käse\" # x\n    |        ^^^^^^\n  Mend: remove it\n"
        );
    }

    #[test]
    fn a_stray_span_is_answered_without_a_panic() {
        for span in [0..0, 3..900, 900..901, 2..1] {
            assert!(!Fault::at("f", "ä", span, "w", "y", "m").to_string().is_empty());
        }
    }
}
