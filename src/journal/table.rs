//! The journal as tables in CSV: one for each kind of entry, and back. Written anew from what was read, a table is the
//! same to the byte.
//!
//! Columns of all kinds: `kind`, `key`, `at_utc`, `entered_at_utc`, `by`, `as_typed`, `replaces`; behind them those of
//! [`columns`]. Times are UTC, temperatures Celsius, a blank is what nobody said. A row that was made by hand has a
//! blank
//! `key`; one whose key does not belong to what it says was changed, and is refused.

use super::lines::{Lines, names_of, separated};
use super::{
    Amount, Covered, Damage, Entry, Gone, HARVEST_GRAMS, HEIGHT, Harvested, Imported, Key, Kind, Place, Reading,
    Sampled, Struck, Thermometer, Uncovered, What, note, photo,
};
use crate::crops::damage::{DamageClass, Usable};
use crate::units::{Celsius, DEW_POINT, Limits, READING};
use crate::zone::NightOf;
use chrono::{DateTime, Datelike, SecondsFormat, Utc};
use std::collections::BTreeMap;

/// The columns that every table begins with.
pub const COMMON: [&str; 7] = ["kind", "key", "at_utc", "entered_at_utc", "by", "as_typed", "replaces"];

/// The columns of a kind, behind [`COMMON`].
pub fn columns(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Reading => &[
            "place",
            "bed",
            "cover",
            "temperature_c",
            "dew_point_c",
            "of",
            "since_utc",
            "thermometer",
            "height_m",
            "shielded",
            "sure",
        ],
        Kind::Covered => &["bed", "cover", "layers"],
        Kind::Uncovered => &["bed"],
        Kind::Harvested => &["bed", "crop", "grams", "count", "note", "sowing"],
        Kind::Damage => &["bed", "crop", "night", "class", "usable", "note", "photo", "sowing"],
        Kind::Lost | Kind::Resown => &["bed", "crop", "note", "sowing"],
        Kind::Imported => &["file", "column", "place", "bed", "cover", "rows", "first_utc", "last_utc"],
        Kind::Struck => &["because"],
    }
}

/// What is wrong with one row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// Line of the file, the header being 1.
    pub line: u64,
    pub what: String,
}

/// One row of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub line: u64,
    /// What it is known by: its own key, or, for a row made by hand, the one made from it.
    pub key: Key,
    pub entry: Entry,
    /// Somebody made the row, not this program: its bed and planting were never checked.
    pub by_hand: bool,
}

/// Whether a first line names the columns of such a table.
pub fn is_header(line: &str) -> bool {
    names_of(line).iter().take(2).eq(&["kind", "key"])
}

/// Entries of one kind as a table, in the order given.
pub fn write<'e>(kind: Kind, entries: impl IntoIterator<Item = (&'e Key, &'e Entry)>) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    // Writing into memory does not fail, and every row has the columns of its kind.
    let _ = table.write_record(COMMON.iter().chain(columns(kind)));
    for (key, entry) in entries {
        let _ = table.write_record(fields(key, entry));
    }
    String::from_utf8(table.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// A time as it stands in a table.
pub fn time(instant: DateTime<Utc>) -> String {
    instant.to_rfc3339_opts(SecondsFormat::Secs, true)
}

fn fields(key: &Key, entry: &Entry) -> Vec<String> {
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let mut fields = vec![
        entry.what.kind().word().to_string(),
        key.to_string(),
        time(entry.at),
        time(entry.entered_at),
        text(&entry.by),
        entry.as_typed.clone(),
        entry.replaces.as_ref().map_or(String::new(), Key::to_string),
    ];
    let of_place = |place: &Place| {
        [place.word().into(), place.bed().unwrap_or_default().into(), place.cover().unwrap_or_default().into()]
    };
    match &entry.what {
        What::Reading(reading) => {
            fields.extend::<[String; 3]>(of_place(&reading.place));
            fields.push(reading.temperature.0.to_string());
            fields.push(reading.dew_point.map_or(String::new(), |dew_point| dew_point.0.to_string()));
            fields.push(reading.of.word().into());
            fields.push(reading.of.since().map_or(String::new(), time));
            fields.push(reading.thermometer.map_or("", Thermometer::word).into());
            fields.push(reading.height.map_or(String::new(), |height| height.to_string()));
            fields.push(reading.shielded.map_or("", |shielded| if shielded { "yes" } else { "no" }).into());
            fields.push(if reading.sure { "yes" } else { "" }.into());
        }
        What::Covered(covered) => {
            fields.extend([covered.bed.clone(), text(&covered.cover), covered.layers.to_string()]);
        }
        What::Uncovered(uncovered) => fields.push(uncovered.bed.clone()),
        What::Harvested(harvested) => {
            let (grams, count) = match harvested.amount {
                Amount::Grams(grams) => (grams.to_string(), String::new()),
                Amount::Count(count) => (String::new(), count.to_string()),
            };
            fields.extend([harvested.bed.clone(), harvested.crop.clone(), grams, count, text(&harvested.note)]);
            fields.push(text(&harvested.sowing));
        }
        What::Damage(damage) => fields.extend([
            damage.bed.clone(),
            text(&damage.crop),
            damage.night.to_string(),
            damage.class.number().to_string(),
            damage.usable.map_or("", Usable::word).into(),
            text(&damage.note),
            text(&damage.photo),
            text(&damage.sowing),
        ]),
        What::Lost(gone) | What::Resown(gone) => {
            fields.extend([gone.bed.clone(), gone.crop.clone(), text(&gone.note), text(&gone.sowing)]);
        }
        What::Imported(imported) => {
            fields.extend([imported.file.clone(), imported.column.clone()]);
            fields.extend::<[String; 3]>(of_place(&imported.place));
            fields.extend([imported.rows.to_string(), time(imported.first), time(imported.last)]);
        }
        What::Struck(struck) => fields.push(text(&struck.because)),
    }
    fields
}

/// The rows of a table that are sound, and what is wrong with the others. `Err` where there is no such table at all.
///
/// `now` refuses what has not come yet.
pub fn read(body: &[u8], now: DateTime<Utc>) -> Result<(Vec<Row>, Vec<RowFault>), String> {
    let body = body.strip_prefix("\u{feff}".as_bytes()).unwrap_or(body);
    let mut table = csv::ReaderBuilder::new().flexible(true).from_reader(Lines::new(body));
    let header = table.headers().map_err(|_| "its first line is not UTF-8 text".to_string())?.clone();
    let names: Vec<&str> = header.iter().map(str::trim).collect();
    separated(names.iter().copied())?;
    let known = |name: &str| COMMON.contains(&name) || Kind::ALL.iter().any(|kind| columns(*kind).contains(&name));
    if let Some(name) = names.iter().find(|name| !known(name)) {
        return Err(format!("it has a column {name:?}, which no table of the journal has"));
    }
    if let Some(name) = names.iter().enumerate().find(|(at, name)| names.iter().take(*at).any(|other| other == *name)) {
        return Err(format!("it has the column {:?} twice", name.1));
    }
    if let Some(name) = COMMON.iter().find(|name| !names.contains(name)) {
        return Err(format!(
            "it has no column {name:?}; the first line of a table of the journal is {}",
            COMMON.join(",")
        ));
    }
    let mut rows = Vec::new();
    let mut faults = Vec::new();
    let mut record = csv::StringRecord::new();
    loop {
        let byte = table.position().byte();
        let read = table.read_record(&mut record);
        let line = table.get_mut().line_from(byte);
        match read {
            Ok(false) => break,
            Ok(true) => {
                if record.len() != names.len() {
                    let what = format!("{} fields for {} columns; is the file cut off?", record.len(), names.len());
                    faults.push(RowFault { line, what });
                    continue;
                }
                let fields: BTreeMap<&str, &str> = names.iter().copied().zip(record.iter()).collect();
                match row(&Fields(fields), line, now) {
                    Ok(row) => rows.push(row),
                    Err(what) => faults.push(RowFault { line, what }),
                }
            }
            Err(_) => faults.push(RowFault { line, what: "it is not UTF-8 text".into() }),
        }
    }
    Ok((rows, faults))
}

struct Fields<'a>(BTreeMap<&'a str, &'a str>);

impl Fields<'_> {
    fn text(&self, name: &str) -> Result<&str, String> {
        self.0.get(name).copied().ok_or_else(|| format!("the table has no column {name:?}, which this kind needs"))
    }

    fn some(&self, name: &str) -> Result<Option<String>, String> {
        Ok(Some(self.text(name)?).filter(|text| !text.is_empty()).map(str::to_string))
    }

    fn needed(&self, name: &str) -> Result<String, String> {
        let text = self.some(name)?.ok_or_else(|| format!("{name} is blank"))?;
        plain(name, &text)?;
        Ok(text)
    }

    fn parsed<T>(&self, name: &str, parse: impl Fn(&str) -> Option<T>, like: &str) -> Result<Option<T>, String> {
        let Some(text) = self.some(name)? else { return Ok(None) };
        parse(&text).map(Some).ok_or_else(|| format!("{name} {text:?} is not {like}"))
    }

    fn time(&self, name: &str) -> Result<Option<DateTime<Utc>>, String> {
        let parse = |text: &str| {
            let time = DateTime::parse_from_rfc3339(text).ok()?.with_timezone(&Utc);
            ((1970..=2200).contains(&time.year()) && time.timestamp_subsec_nanos() == 0).then_some(time)
        };
        self.parsed(name, parse, "a time such as 2027-01-16T11:10:00Z")
    }

    fn number(&self, name: &str, limits: &Limits) -> Result<Option<f64>, String> {
        let number = self.parsed(name, |text| text.parse::<f64>().ok().filter(|x| x.is_finite()), "a number")?;
        number.map(|number| limits.check(number).map_err(|fault| format!("{name}: {fault}"))).transpose()
    }

    fn place(&self) -> Result<Place, String> {
        Place::of(&self.needed("place")?, self.some("bed")?, self.some("cover")?)
    }
}

fn plain(name: &str, text: &str) -> Result<(), String> {
    if text.chars().any(char::is_control) { Err(format!("{name} has control characters")) } else { Ok(()) }
}

fn row(fields: &Fields<'_>, line: u64, now: DateTime<Utc>) -> Result<Row, String> {
    let kind = fields.needed("kind")?;
    let kind = Kind::from_word(&kind).ok_or_else(|| format!("no entry is of the kind {kind:?}"))?;
    let at = fields.time("at_utc")?.ok_or("at_utc is blank")?;
    let given_key = fields.parsed("key", Key::parse, "a key; leave it blank in a row of your own")?;
    let entered_at = match (fields.time("entered_at_utc")?, &given_key) {
        (Some(entered_at), _) => entered_at,
        // A row made by hand need not say; its own time keeps its key the same at every import.
        (None, None) => at,
        (None, Some(_)) => return Err("entered_at_utc is blank".into()),
    };
    if let Some(ahead) = [at, entered_at].into_iter().find(|time| *time > now + chrono::Duration::minutes(5)) {
        return Err(format!("{} has not come yet", time(ahead)));
    }
    let words = fields.text("as_typed")?;
    for name in ["by", "as_typed", "cover", "bed"] {
        if let Some(text) = fields.0.get(name) {
            plain(name, text)?;
        }
    }
    let replaces = fields.parsed("replaces", Key::parse, "a key")?;
    if kind == Kind::Struck && replaces.is_none() {
        return Err("it strikes an entry and does not say which; replaces is blank".into());
    }
    let entry = Entry {
        at,
        entered_at,
        by: fields.some("by")?,
        as_typed: words.to_string(),
        replaces,
        what: what(kind, fields)?,
    };
    let begins = match &entry.what {
        What::Reading(reading) => reading.of.since().map(|since| ("since_utc", since)),
        What::Imported(imported) => Some(("first_utc", imported.first)),
        _ => None,
    };
    if let Some((name, begins)) = begins.filter(|(_, begins)| *begins > at) {
        return Err(format!("{name} {} comes after at_utc {}", time(begins), time(at)));
    }
    let made = entry.key();
    match given_key {
        None => Ok(Row { line, key: made, entry, by_hand: true }),
        Some(key) if key == made || key.is_old() => Ok(Row { line, key, entry, by_hand: false }),
        Some(key) => Err(format!(
            "the key {key} does not belong to what the row says: it was changed. To correct an entry, add a row with a \
             blank key and with {key} under replaces"
        )),
    }
}

fn what(kind: Kind, fields: &Fields<'_>) -> Result<What, String> {
    let a_note = |name: &str| note(fields.text(name)?);
    // Tables that were written before sowings were told apart do not have it.
    let sowing = || match fields.0.get("sowing") {
        None => Ok(None),
        Some(_) => a_note("sowing"),
    };
    Ok(match kind {
        Kind::Reading => {
            let temperature = fields.number("temperature_c", &READING)?.ok_or("temperature_c is blank")?;
            let of = fields.needed("of")?;
            let since = fields.time("since_utc")?;
            What::Reading(Reading {
                place: fields.place()?,
                temperature: Celsius(temperature),
                dew_point: fields.number("dew_point_c", &DEW_POINT)?.map(Celsius),
                of: Sampled::from_word(&of, since)
                    .filter(|of| since.is_none() || *of != Sampled::Instant)
                    .ok_or_else(|| format!("of {of:?} is not instant (without since_utc), minimum or maximum"))?,
                thermometer: fields.parsed("thermometer", Thermometer::from_word, "a kind of thermometer")?,
                height: fields.number("height_m", &HEIGHT)?,
                shielded: fields.parsed("shielded", yes_or_no, "yes or no")?,
                // Tables that were written before this was kept do not have it.
                sure: match fields.0.get("sure") {
                    None => false,
                    Some(_) => fields.parsed("sure", yes_or_no, "yes or no")?.unwrap_or(false),
                },
            })
        }
        Kind::Covered => What::Covered(Covered {
            bed: fields.needed("bed")?,
            cover: fields.some("cover")?,
            layers: fields
                .parsed("layers", |text| text.parse().ok().filter(|layers| (1..=2).contains(layers)), "1 or 2")?
                .ok_or("layers is blank")?,
        }),
        Kind::Uncovered => What::Uncovered(Uncovered { bed: fields.needed("bed")? }),
        Kind::Harvested => {
            let count = fields.parsed("count", |text| Amount::parse(text).ok(), "a count")?;
            let grams = fields.number("grams", &HARVEST_GRAMS)?.map(Amount::Grams);
            let amount = match (grams, count) {
                (Some(grams), None) => grams,
                (None, Some(count @ Amount::Count(_))) => count,
                _ => return Err("a harvest has either grams or a count".into()),
            };
            let (bed, crop) = (fields.needed("bed")?, fields.needed("crop")?);
            What::Harvested(Harvested { bed, crop, sowing: sowing()?, amount, note: a_note("note")? })
        }
        Kind::Damage => {
            let class = fields.needed("class")?;
            let number = class.parse().map_err(|_| format!("class {class:?} is not a number from 0 to 5"))?;
            What::Damage(Damage {
                bed: fields.needed("bed")?,
                crop: fields.some("crop")?,
                sowing: sowing()?,
                night: fields
                    .parsed(
                        "night",
                        |text| text.parse().ok().map(NightOf),
                        "the date of an evening such as 2027-01-15",
                    )?
                    .ok_or("night is blank")?,
                class: DamageClass::new(number)?,
                usable: fields.parsed("usable", Usable::from_word, "yes, partly or no")?,
                note: a_note("note")?,
                photo: photo(fields.text("photo")?)?,
            })
        }
        Kind::Lost | Kind::Resown => {
            let (bed, crop) = (fields.needed("bed")?, fields.needed("crop")?);
            let gone = Gone { bed, crop, sowing: sowing()?, note: a_note("note")? };
            if kind == Kind::Lost { What::Lost(gone) } else { What::Resown(gone) }
        }
        Kind::Imported => What::Imported(Imported {
            file: fields.needed("file")?,
            column: fields.needed("column")?,
            place: fields.place()?,
            rows: fields.parsed("rows", |text| text.parse().ok(), "a number")?.ok_or("rows is blank")?,
            first: fields.time("first_utc")?.ok_or("first_utc is blank")?,
            last: fields.time("last_utc")?.ok_or("last_utc is blank")?,
        }),
        Kind::Struck => What::Struck(Struck { because: a_note("because")? }),
    })
}

fn yes_or_no(text: &str) -> Option<bool> {
    match text {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
