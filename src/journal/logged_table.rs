//! Rows of logs as one table of an exported journal, and back: millions of rows, so one at a time.
//!
//! Columns: `time_utc,celsius,place,bed,cover,of,source,height_m,import`. `import` is the key of the entry that tells
//! of the import. Written anew from what was read, the table is the same to the byte.

use super::lines::{Lines, names_of, separated};
use super::log::wall_time;
use super::table::{RowFault, time};
use super::{HEIGHT, Key, Place, Sampled};
use crate::units::{Celsius, READING};
use chrono::{DateTime, Utc};
use std::io::Read;

/// The columns.
pub const COLUMNS: [&str; 9] = ["time_utc", "celsius", "place", "bed", "cover", "of", "source", "height_m", "import"];

/// What the rows of one thermometer and import have in common.
#[derive(Clone, Debug, PartialEq)]
pub struct Origin {
    pub place: Place,
    pub of: Sampled,
    /// The thermometer's own name.
    pub source: String,
    /// m
    pub height: Option<f64>,
    pub import: Key,
}

/// The fields of one row.
pub fn fields(at: DateTime<Utc>, celsius: Celsius, origin: &Origin) -> [String; 9] {
    [
        time(at),
        celsius.0.to_string(),
        origin.place.word().into(),
        origin.place.bed().unwrap_or_default().into(),
        origin.place.cover().unwrap_or_default().into(),
        origin.of.word().into(),
        origin.source.clone(),
        origin.height.map_or(String::new(), |height| height.to_string()),
        origin.import.to_string(),
    ]
}

/// What reading on comes to.
#[derive(Debug, PartialEq)]
pub enum Next<'a> {
    Row { line: u64, at: DateTime<Utc>, celsius: Celsius, origin: &'a Origin },
    Fault(RowFault),
    End,
}

/// Such a table, read row by row.
pub struct LoggedTable<R> {
    table: csv::Reader<Lines<R>>,
    record: csv::StringRecord,
    /// The text of the last row's origin, and what it means: mostly the next row has the same.
    last: Option<(Vec<String>, Origin)>,
    now: DateTime<Utc>,
}

/// Whether a first line names the columns of such a table.
pub fn is_header(line: &str) -> bool {
    names_of(line) == COLUMNS
}

impl<R: Read> LoggedTable<R> {
    /// Begins to read, where the header is that of such a table.
    pub fn new(input: R, now: DateTime<Utc>) -> Result<LoggedTable<R>, String> {
        let mut table = csv::ReaderBuilder::new().flexible(true).from_reader(Lines::new(input));
        let header = table.headers().map_err(|_| "its first line is not UTF-8 text".to_string())?;
        separated(header.iter())?;
        if !header.iter().eq(COLUMNS) {
            return Err(format!("its first line is not {}", COLUMNS.join(",")));
        }
        Ok(LoggedTable { table, record: csv::StringRecord::new(), last: None, now })
    }

    /// How far into the file it has read, bytes.
    pub fn bytes(&self) -> u64 {
        self.table.position().byte()
    }

    /// The next row, or what is wrong with it.
    pub fn next_row(&mut self) -> Next<'_> {
        let byte = self.table.position().byte();
        let read = self.table.read_record(&mut self.record);
        let line = self.table.get_mut().line_from(byte);
        match read {
            Ok(false) => Next::End,
            Err(error) => Next::Fault(RowFault { line, what: format!("it cannot be read ({error})") }),
            Ok(true) => match self.row() {
                Ok((at, celsius)) => match &self.last {
                    Some((_, origin)) => Next::Row { line, at, celsius, origin },
                    None => Next::End,
                },
                Err(what) => Next::Fault(RowFault { line, what }),
            },
        }
    }

    fn row(&mut self) -> Result<(DateTime<Utc>, Celsius), String> {
        if self.record.len() != COLUMNS.len() {
            let (fields, columns) = (self.record.len(), COLUMNS.len());
            return Err(format!("{fields} fields for {columns} columns; is the file cut off?"));
        }
        let field = |index: usize| self.record.get(index).unwrap_or_default();
        let at = field(0).strip_suffix('Z').and_then(wall_time).map(|wall| wall.and_utc());
        let at = at.ok_or_else(|| format!("{:?} is no time such as 2027-01-16T11:10:00Z", field(0)))?;
        if at > self.now + chrono::Duration::minutes(5) || at < DateTime::UNIX_EPOCH {
            return Err(format!("{} has not come yet, or long ago", time(at)));
        }
        let celsius: f64 = field(1).parse().map_err(|_| format!("celsius {:?} is not a number", field(1)))?;
        READING.check(celsius).map_err(|fault| fault.to_string())?;
        let origin_fields = || self.record.iter().skip(2);
        if !self.last.as_ref().is_some_and(|(text, _)| text.iter().map(String::as_str).eq(origin_fields())) {
            let some = |text: &str| Some(text.to_string()).filter(|text| !text.is_empty());
            if origin_fields().any(|text| text.chars().any(char::is_control)) {
                return Err("it has control characters".into());
            }
            let height = some(field(7)).map(|text| {
                let number: f64 = text.parse().map_err(|_| format!("height_m {text:?} is not a number"))?;
                HEIGHT.check(number).map_err(|fault| fault.to_string())
            });
            let origin = Origin {
                place: Place::of(field(2), some(field(3)), some(field(4)))?,
                of: Sampled::from_word(field(5), None)
                    .ok_or_else(|| format!("of {:?} is not instant, minimum or maximum", field(5)))?,
                source: field(6).to_string(),
                height: height.transpose()?,
                import: Key::parse(field(8)).ok_or_else(|| format!("import {:?} is not a key", field(8)))?,
            };
            self.last = Some((origin_fields().map(str::to_string).collect(), origin));
        }
        Ok((at, Celsius(celsius)))
    }
}
