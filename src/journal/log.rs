//! A thermometer's log: a table in CSV with a time and temperatures, whose header says which scale they are on.
//!
//! The column of times is `time_utc`, `time_local`, or `time` where each carries its offset. Every other column names
//! what it measures and ends in the scale: `air_c`, `soil_f`, `min_c`, `max_f`, `under_cover_c`. Rows are read one at a
//! time, so that a log may be of any length; what is wrong with a row is said of that row, and nothing is guessed.

mod header;

pub use header::{Column, Header, Medium};

use super::lines::Lines;
use super::table::RowFault;
use crate::units::{Celsius, READING, Scale};
use crate::zone::Zone;
use chrono::{DateTime, Duration, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use header::Times;
use std::io::Read;

/// The clock by which a log gives its times.
#[derive(Clone, Debug)]
pub enum LogClock {
    Zone(Zone),
    /// One that is never put forward or back.
    Fixed(FixedOffset),
}

/// One row: an instant and a temperature for each column, where there is one.
#[derive(Clone, Debug, PartialEq)]
pub struct LogRow {
    /// The header is line 1.
    pub line: u64,
    pub at: DateTime<Utc>,
    /// In the order of [`Header::columns`].
    pub values: Vec<Option<Celsius>>,
}

/// What reading on comes to.
#[derive(Clone, Debug, PartialEq)]
pub enum Next {
    Row(LogRow),
    /// A row of which some temperatures are sound, and what is wrong with the others, which are blank.
    Part(LogRow, RowFault),
    /// The same row as the one before.
    Repeated {
        line: u64,
    },
    Fault(RowFault),
    End,
}

/// A log, read row by row.
pub struct Log<R> {
    table: csv::Reader<Lines<R>>,
    record: csv::StringRecord,
    header: Header,
    clock: Option<LogClock>,
    now: DateTime<Utc>,
    /// Length of a file that ends without a line end, so that its last line may be cut off, bytes.
    open_end: Option<u64>,
    last: Option<LogRow>,
    /// How many digits the values of the row before have behind the point.
    decimals: Vec<usize>,
    /// A wall day and its offset, where that day has only one.
    day: Option<(NaiveDate, FixedOffset)>,
}

/// Samples of the DS18B20 and its kin before they have measured anything (data sheet: power-on reset value +85 °C), and
/// what their usual library answers where none is connected (from memory).
const POWER_ON: Celsius = Celsius(85.0);
const DISCONNECTED: Celsius = Celsius(-127.0);

impl<R: Read> Log<R> {
    /// Begins to read. `clock` is needed where the header says `time_local`; `open_end` is the length of a
    /// file whose last byte is no line end.
    pub fn new(
        input: R,
        passed_over: &[String],
        clock: Option<LogClock>,
        open_end: Option<u64>,
        now: DateTime<Utc>,
    ) -> Result<Log<R>, String> {
        let mut table = csv::ReaderBuilder::new().flexible(true).from_reader(Lines::new(input));
        let names = table.headers().map_err(|_| "its first line is not UTF-8 text".to_string())?.clone();
        let header = Header::read(&names.iter().collect::<Vec<_>>(), passed_over)?;
        if header.is_local() && clock.is_none() {
            return Err("its times are local; say of which zone with --zone America/New_York, or --zone -05:00 for a \
                        clock that is never put forward"
                .into());
        }
        Ok(Log {
            table,
            record: csv::StringRecord::new(),
            header,
            clock,
            now,
            open_end,
            last: None,
            decimals: Vec::new(),
            day: None,
        })
    }

    pub fn header(&self) -> &Header {
        &self.header
    }

    /// How far into the file it has read, bytes.
    pub fn bytes(&self) -> u64 {
        self.table.position().byte()
    }

    /// The next row, or what is wrong with it. After [`Next::End`] there is nothing more.
    pub fn next_row(&mut self) -> Next {
        let byte = self.table.position().byte();
        let read = self.table.read_record(&mut self.record);
        let line = self.table.get_mut().line_from(byte);
        match read {
            Ok(false) => Next::End,
            Err(error) if matches!(error.kind(), csv::ErrorKind::Io(_)) => {
                Next::Fault(RowFault { line, what: format!("the file cannot be read on ({error})") })
            }
            Err(_) => Next::Fault(RowFault { line, what: "it is not UTF-8 text".into() }),
            Ok(true) => match self.row(line) {
                Ok(next) => next,
                Err(what) => Next::Fault(RowFault { line, what }),
            },
        }
    }

    fn row(&mut self, line: u64) -> Result<Next, String> {
        let is_last = self.open_end.is_some_and(|end| self.table.position().byte() >= end);
        if self.record.len() != self.header.width {
            let cut = if is_last { ": the file is cut off here" } else { "" };
            return Err(format!("{} fields for {} columns{cut}", self.record.len(), self.header.width));
        }
        let mut values = Vec::with_capacity(self.header.values.len());
        let mut decimals = Vec::with_capacity(self.header.values.len());
        let mut wrong = Vec::new();
        for (index, column) in &self.header.values {
            let text = self.record.get(*index).unwrap_or_default().trim();
            decimals.push(text.split_once('.').map_or(0, |(_, decimals)| decimals.len()));
            let value = if text.is_empty() { Ok(None) } else { value(text, column).map(Some) };
            values.push(value.unwrap_or_else(|what| {
                wrong.push(what);
                None
            }));
        }
        if !wrong.is_empty() && values.iter().all(Option::is_none) {
            return Err(wrong.join("; "));
        }
        // The last column may have lost its last digits, and what is left is a number too.
        if is_last
            && self.header.values.last().is_some_and(|(index, _)| index + 1 == self.header.width)
            && (decimals.last() != self.decimals.last() || decimals.last() == Some(&0))
        {
            return Err(
                "the file ends within this line, which may be cut off; end it with a line break if it is whole".into(),
            );
        }
        self.decimals = decimals;
        let text = self.record.get(self.header.time_at).unwrap_or_default().trim();
        let at = at(text, self.header.times, self.clock.as_ref(), self.last.as_ref(), &values, &mut self.day)?;
        if at > self.now + Duration::minutes(5) {
            return Err(format!("{} UTC has not come yet", at.format("%Y-%m-%d %H:%M")));
        }
        let row = LogRow { line, at, values };
        match &self.last {
            Some(last) if last.at == at && last.values == row.values => return Ok(Next::Repeated { line }),
            Some(last) if last.at == at => {
                return Err(format!("the same time as line {}, and another temperature", last.line));
            }
            Some(last) if last.at > at => {
                return Err(format!("earlier than line {}; sort the file by its times", last.line));
            }
            _ => {}
        }
        self.last = Some(row.clone());
        if wrong.is_empty() {
            return Ok(Next::Row(row));
        }
        wrong.push("the rest of the row is sound".into());
        Ok(Next::Part(row, RowFault { line, what: wrong.join("; ") }))
    }
}

/// The instant of the text of a row with some values.
fn at(
    text: &str,
    times: Times,
    clock: Option<&LogClock>,
    last: Option<&LogRow>,
    values: &[Option<Celsius>],
    day: &mut Option<(NaiveDate, FixedOffset)>,
) -> Result<DateTime<Utc>, String> {
    if let Ok(instant) = DateTime::parse_from_rfc3339(text) {
        let instant = instant.with_timezone(&Utc);
        return in_this_age(instant).ok_or_else(|| no_time(text, times));
    }
    let wall = wall_time(text).ok_or_else(|| no_time(text, times))?;
    let instant = match (times, clock) {
        (Times::WithOffset, _) | (Times::Local, None) => return Err(no_time(text, times)),
        (Times::Utc, _) => wall.and_utc(),
        (Times::Local, Some(LogClock::Fixed(offset))) => {
            Utc.from_utc_datetime(&(wall - Duration::seconds(offset.local_minus_utc().into())))
        }
        (Times::Local, Some(LogClock::Zone(zone))) => match day {
            Some((date, offset)) if *date == wall.date() => {
                Utc.from_utc_datetime(&(wall - Duration::seconds(offset.local_minus_utc().into())))
            }
            _ => {
                let start = wall.date().and_time(NaiveTime::MIN);
                let offset = |wall: NaiveDateTime| *zone.local(zone.instant(wall)).offset();
                let (first, next) = (offset(start), offset(start + Duration::days(1)));
                *day = (first == next).then_some((wall.date(), first));
                let instants = zone.instants(wall);
                match instants.as_slice() {
                    [] => {
                        return Err(format!(
                            "the clocks of {} never showed {text}: they were put forward past it. A logger that is not \
                             put forward needs --zone with its fixed offset, such as --zone -05:00",
                            zone.name()
                        ));
                    }
                    [only] => *only,
                    [first, rest @ ..] => {
                        // The second time round the clock has gone back, or stands where it stood an hour ago with
                        // something else to say; the same time with the same values is the same row again.
                        let is_second =
                            last.is_some_and(|last| last.at > *first || (last.at == *first && last.values != values));
                        if is_second { rest.first().copied().unwrap_or(*first) } else { *first }
                    }
                }
            }
        },
    };
    in_this_age(instant).ok_or_else(|| no_time(text, times))
}

fn in_this_age(instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
    use chrono::{Datelike, SubsecRound};
    (1970..=2200).contains(&instant.year()).then(|| instant.trunc_subsecs(0))
}

fn no_time(text: &str, times: Times) -> String {
    // Nobody can tell a day from a month there, so that none is taken for the other.
    let by_slashes = text.split(['/', '.', ' ']).take(3).all(|part| part.len() <= 4 && part.parse::<u16>().is_ok());
    match times {
        _ if by_slashes && text.contains(['/', '.']) => format!(
            "{text:?} may be day before month or month before day; write it like 2027-01-16 06:10 (in a spreadsheet: format \
             the cells as yyyy-mm-dd hh:mm)"
        ),
        Times::WithOffset => format!("{text:?} is no time with its offset, such as 2027-01-16T06:10:00-05:00"),
        Times::Utc | Times::Local => format!("{text:?} is no time such as 2027-01-16 06:10"),
    }
}

/// `2027-01-16 06:10`, `2027-01-16T06:10:30`. By hand, because millions are read.
pub(super) fn wall_time(text: &str) -> Option<NaiveDateTime> {
    let bytes = text.as_bytes();
    let number = |from: usize, to: usize| -> Option<u32> {
        bytes
            .get(from..to)?
            .iter()
            .try_fold(0_u32, |number, byte| byte.is_ascii_digit().then(|| number * 10 + u32::from(byte - b'0')))
    };
    let is = |at: usize, among: &[u8]| bytes.get(at).is_some_and(|byte| among.contains(byte));
    let second = match bytes.len() {
        16 => 0,
        19 if is(16, b":") => number(17, 19)?,
        _ => return None,
    };
    if !(is(4, b"-/") && is(7, b"-/") && is(10, b" T") && is(13, b":")) {
        return None;
    }
    let date = NaiveDate::from_ymd_opt(i32::try_from(number(0, 4)?).ok()?, number(5, 7)?, number(8, 10)?)?;
    Some(date.and_time(NaiveTime::from_hms_opt(number(11, 13)?, number(14, 16)?, second)?))
}

fn value(text: &str, column: &Column) -> Result<Celsius, String> {
    let name = &column.name;
    let number: f64 =
        text.parse().map_err(|_| format!("{name} {text:?} is not a number; leave it blank if it is missing"))?;
    let celsius = match column.scale {
        Scale::Celsius => Celsius(number),
        Scale::Fahrenheit => Celsius::from_fahrenheit(number),
    };
    let is = |value: Celsius| (celsius - value).0.abs() < 0.05;
    if is(POWER_ON) {
        return Err(format!(
            "{name} {text}: a digital sensor says 85 C (185 F) before it has measured anything; leave it blank"
        ));
    }
    if is(DISCONNECTED) {
        return Err(format!(
            "{name} {text}: a digital sensor says -127 C (-196.6 F) when it is not connected; leave it blank"
        ));
    }
    if READING.allow(celsius.0) {
        return Ok(celsius);
    }
    let other = match column.scale {
        Scale::Celsius => READING.allow(Celsius::from_fahrenheit(number).0).then_some('F'),
        Scale::Fahrenheit => READING.allow(number).then_some('C'),
    };
    let hint = other.map_or(String::new(), |scale| format!("; is the column in {scale}?"));
    Err(format!("{name} {text} is no temperature of a garden in {}{hint}", column.scale.letter()))
}

#[cfg(test)]
mod tests;
