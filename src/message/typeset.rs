//! A letter set as plain text in 78 columns, and as HTML with inline styles, no picture and no fixed colours: a mail
//! program that turns white to black turns everything.

use super::letter::Letter;
use askama::Template;

/// RFC 5322 asks for lines of at most 78 characters.
const COLUMNS: usize = 78;

/// With this begins a line that is a command, and nothing else.
const COMMAND: &str = "counterpane ";

const AHEAD: &str = "THE NIGHTS AFTER THIS ONE";
const BY_HAND: &str = "HOW TO DECIDE BY HAND";

/// The letter as plain text, complete in itself.
pub fn plain_text(letter: &Letter) -> String {
    let mut text = Setter::default();
    text.paragraph(&letter.lead);
    text.paragraph(&letter.changes);
    if letter.by_hand_first() {
        text.titled(BY_HAND, &letter.by_hand);
    }
    for group in &letter.groups {
        text.blank();
        text.line("", &group.heading.to_uppercase());
        if !group.note.is_empty() {
            text.line("", &group.note);
        }
        for entry in group.entries() {
            let mark = if group.is_work { "[ ] " } else { "  - " };
            text.hanging(mark, "    ", &entry.title);
            for line in &entry.lines {
                text.hanging("      ", "        ", line);
            }
        }
    }
    if !letter.by_hand_first() {
        text.titled(BY_HAND, &letter.by_hand);
    }
    text.titled("CARE", &letter.cautions);
    text.titled(AHEAD, &letter.ahead);
    text.titled("READY AND NEXT", &letter.ready);
    if !letter.quoted.is_empty() {
        text.blank();
    }
    for line in &letter.quoted {
        text.line("> ", line);
    }
    text.blank();
    text.line("", "--------");
    for line in &letter.closing {
        text.line("", line);
    }
    text.text
}

const NO_BREAK: char = '\u{a0}';

/// A number and its unit belong on one line.
fn together(text: &str) -> String {
    let mut joined = String::with_capacity(text.len() + 16);
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(' ') {
        joined.push_str(before);
        let is_number = joined.ends_with(|last: char| last.is_ascii_digit());
        let is_unit = || {
            let next = after.strip_prefix(['F', 'C', '%']);
            next.is_some_and(|next| !next.starts_with(char::is_alphanumeric))
        };
        joined.push(if is_number && is_unit() { NO_BREAK } else { ' ' });
        rest = after;
    }
    joined.push_str(rest);
    joined
}

#[derive(Default)]
struct Setter {
    text: String,
}

impl Setter {
    fn blank(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    fn line(&mut self, indent: &str, line: &str) {
        self.hanging(indent, indent, line);
    }

    fn hanging(&mut self, first: &str, rest: &str, line: &str) {
        // A command is pasted: broken in two it would run as half of itself.
        if line.starts_with(COMMAND) {
            self.text.push_str(&format!("{first}{line}\n"));
            return;
        }
        let options = textwrap::Options::new(COLUMNS)
            .initial_indent(first)
            .subsequent_indent(rest)
            .word_splitter(textwrap::WordSplitter::NoHyphenation);
        let set = textwrap::fill(&together(line), options).replace(NO_BREAK, " ");
        self.text.push_str(&set);
        self.text.push('\n');
    }

    fn paragraph(&mut self, lines: &[String]) {
        if !lines.is_empty() {
            self.blank();
        }
        for line in lines {
            self.line("", line);
        }
    }

    fn titled<S: AsRef<str>>(&mut self, title: &str, lines: &[S]) {
        if lines.is_empty() {
            return;
        }
        self.blank();
        self.line("", title);
        for line in lines {
            self.hanging("  - ", "    ", line.as_ref());
        }
    }
}

#[derive(Template)]
#[template(path = "letter.html", config = "src/message/askama.toml")]
struct Page<'a> {
    letter: &'a Letter,
}

/// The letter as HTML. Everything from settings is escaped.
pub fn html(letter: &Letter) -> String {
    // Setting into memory does not fail; were it to, the plain text must still be there for a program that shows HTML.
    Page { letter }.render().map(|page| together(&page)).unwrap_or_else(|_| {
        let escaped = plain_text(letter).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        format!("<pre>{escaped}</pre>")
    })
}
