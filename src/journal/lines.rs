//! On which line of a file a record stands, as an editor counts them.
//!
//! The reader of tables counts line feeds up to where it goes on reading, which lies before blank lines and, of lines
//! that end in two bytes, between the two.

use std::collections::VecDeque;
use std::io::Read;

/// Bytes on their way to a reader of tables, whose lines are counted. A line ends in LF, CR LF or CR.
#[derive(Debug)]
pub(super) struct Lines<R> {
    input: R,
    /// Of each line that is not blank, among those not yet asked for: its first byte and its number.
    starts: VecDeque<(u64, u64)>,
    byte: u64,
    line: u64,
    at_start: bool,
    after_return: bool,
}

impl<R: Read> Lines<R> {
    pub(super) fn new(input: R) -> Lines<R> {
        Lines { input, starts: VecDeque::new(), byte: 0, line: 1, at_start: true, after_return: false }
    }

    /// The line of the record that begins at a byte, or behind the line ends and blank lines that follow there. Bytes
    /// that were asked for before are forgotten.
    pub(super) fn line_from(&mut self, byte: u64) -> u64 {
        while self.starts.front().is_some_and(|(start, _)| *start < byte) {
            self.starts.pop_front();
        }
        self.starts.front().map_or(self.line, |(_, line)| *line)
    }

    fn count(&mut self, bytes: &[u8]) {
        for byte in bytes {
            let ends = match byte {
                b'\n' => !std::mem::take(&mut self.after_return),
                b'\r' => {
                    self.after_return = true;
                    true
                }
                _ => {
                    self.after_return = false;
                    if std::mem::take(&mut self.at_start) {
                        self.starts.push_back((self.byte, self.line));
                    }
                    false
                }
            };
            if ends {
                self.line += 1;
                self.at_start = true;
            }
            self.byte += 1;
        }
    }
}

impl<R: Read> Read for Lines<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let read = self.input.read(buffer)?;
        self.count(buffer.get(..read).unwrap_or_default());
        Ok(read)
    }
}

/// Refuses a table whose first line has all its columns in one.
pub(super) fn separated<'n>(mut names: impl Iterator<Item = &'n str>) -> Result<(), String> {
    let (Some(only), None) = (names.next(), names.next()) else { return Ok(()) };
    let between = [(';', "semicolons"), ('\t', "tabs")].into_iter().find(|(mark, _)| only.contains(*mark));
    between.map_or(Ok(()), |(_, marks)| {
        Err(format!("its columns are separated by {marks}; save it with commas, and with points in its numbers"))
    })
}

/// The names of a first line.
pub(super) fn names_of(line: &str) -> Vec<String> {
    let line = line.trim_start_matches('\u{feff}');
    let mut table = csv::ReaderBuilder::new().has_headers(false).from_reader(line.as_bytes());
    let record = table.records().next().and_then(Result::ok).unwrap_or_default();
    record.iter().map(|name| name.trim().to_string()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of every record its line and its first field.
    fn records(text: &str) -> Vec<(u64, String)> {
        let mut table = csv::ReaderBuilder::new().flexible(true).from_reader(Lines::new(text.as_bytes()));
        table.headers().expect("a header");
        let mut record = csv::StringRecord::new();
        let mut records = Vec::new();
        loop {
            let byte = table.position().byte();
            if !table.read_record(&mut record).expect("a record") {
                return records;
            }
            records.push((table.get_mut().line_from(byte), record.get(0).unwrap_or_default().to_string()));
        }
    }

    #[test]
    fn a_record_stands_where_an_editor_shows_it() {
        let text = "h,i\na,1\n\n\nb,2\n\"c\nc\",\"x\n\ny\"\nd,4\n\ne,5";
        let expected = [(2, "a"), (5, "b"), (6, "c\nc"), (10, "d"), (12, "e")];
        let expected: Vec<(u64, String)> = expected.map(|(line, text)| (line, text.to_string())).into();
        assert_eq!(records(text), expected);
        let with = |end: &str| expected.iter().map(|(line, text)| (*line, text.replace('\n', end))).collect::<Vec<_>>();
        assert_eq!(records(&text.replace('\n', "\r\n")), with("\r\n"));
        assert_eq!(records(&text.replace('\n', "\r")), with("\r"));
        assert_eq!(records(&format!("\u{feff}{text}")), expected);
        assert_eq!(records(&format!("\n\n{text}"))[0], (4, "a".to_string()));
    }

    #[test]
    fn lines_are_counted_over_more_than_one_buffer() {
        for end in ["\n", "\r\n"] {
            let text: String = (1..=20_000).map(|line| format!("{line},x{end}")).collect();
            let records = records(&text);
            assert_eq!(records.len(), 19_999);
            assert!(records.iter().all(|(line, text)| *text == line.to_string()));
        }
    }
}
