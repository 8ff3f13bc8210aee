//! Every parser that meets text from outside, with the claims that hold whatever it is given.

use chrono::{DateTime, Duration, Utc};
use counterpane::beds::BedKind;
use counterpane::crops::{Catalogue, Crop};
use counterpane::journal::doubts::Watch;
use counterpane::journal::log::{self, Column, Log, LogClock};
use counterpane::journal::logged_table::{self, LoggedTable};
use counterpane::journal::when::Speaker;
use counterpane::journal::{Kind, What, table};
use counterpane::night::screen::{Evidence, Span, expect};
use counterpane::rounds::{next_firing, parse_schedule};
use counterpane::service::feed::{decode, recognise};
use counterpane::service::look::span_of;
use counterpane::settings::{Fault, File, Files, Settings, catalogue, list, settings};
use counterpane::units::{
    AIR_TEMPERATURE, COVER_COUNT, DEW_POINT, DEW_POINT_EXCESS, ELEVATION, LATITUDE, LENGTH, LONGITUDE, Limits, MINUTES,
    READING, TEMPERATURE_DIFFERENCE, THRESHOLD, WIND_SPEED, parse_difference, parse_temperature,
};
use counterpane::weather::{Forecast, Provider};
use counterpane::zone::{NightOf, Zone};
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A parser: its name is that of its folder in the corpus.
pub struct Parser {
    pub name: &'static str,
    /// Words of its language, to be put where they do not belong.
    pub dictionary: &'static [&'static str],
    /// Whether the text was accepted, or which claim it broke.
    pub judge: fn(&[u8]) -> Result<bool, String>,
    /// Inputs of an ordinary run: a few seconds without optimisation.
    pub inputs: u64,
}

pub const PARSERS: [Parser; 14] = [
    Parser { name: "service", dictionary: &SERVICE_WORDS, judge: service, inputs: 400 },
    Parser { name: "garden", dictionary: &GARDEN_WORDS, judge: garden, inputs: 400 },
    Parser { name: "crop", dictionary: &CROP_WORDS, judge: crop, inputs: 1_000 },
    Parser { name: "bibliography", dictionary: &CROP_WORDS, judge: bibliography, inputs: 1_000 },
    Parser { name: "nws", dictionary: &FEED_WORDS, judge: nws, inputs: 2_000 },
    Parser { name: "met_norway", dictionary: &FEED_WORDS, judge: met_norway, inputs: 2_000 },
    Parser { name: "hourly_arrays", dictionary: &FEED_WORDS, judge: hourly_arrays, inputs: 2_000 },
    Parser { name: "csv", dictionary: &FEED_WORDS, judge: csv, inputs: 2_000 },
    Parser { name: "temperature", dictionary: &TEMPERATURE_WORDS, judge: temperature, inputs: 100_000 },
    Parser { name: "schedule", dictionary: &SCHEDULE_WORDS, judge: schedule, inputs: 2_000 },
    Parser { name: "journal", dictionary: &JOURNAL_WORDS, judge: journal, inputs: 4_000 },
    Parser { name: "logged", dictionary: &JOURNAL_WORDS, judge: logged, inputs: 4_000 },
    Parser { name: "log", dictionary: &LOG_WORDS, judge: log, inputs: 4_000 },
    Parser { name: "time", dictionary: &TIME_WORDS, judge: time, inputs: 4_000 },
];

const JOURNAL_WORDS: [&str; 24] = [
    "kind",
    "key",
    "reading",
    "covered",
    "damage",
    "struck",
    "imported",
    "screen",
    "under-cover",
    "soil",
    "minimum",
    "instant",
    "u00000000012",
    "2027-01-16T11:10:00Z",
    "9999-12-31T23:59:59Z",
    "2027-01-16T11:10:00.5Z",
    "\"\"",
    "\"\n\"",
    ",,,,",
    "-0",
    "1e400",
    "NaN",
    "../",
    "\u{7}",
];
const LOG_WORDS: [&str; 22] = [
    "time_utc",
    "time_local",
    "time",
    "air_c",
    "soil_f",
    "min_c",
    "max_c",
    "under_cover_c",
    "2026-03-08 02:30",
    "2026-11-01 01:30",
    "2026-11-01T01:30:00-05:00",
    "9999-12-31 23:59",
    "0000-01-01 00:00",
    "85.0",
    "-127",
    "NaN",
    "1e400",
    "-0.0",
    "\"",
    "\u{feff}",
    "\r",
    ",,",
];
const TIME_WORDS: [&str; 22] = [
    "now",
    "last night",
    "this morning",
    "yesterday",
    "today",
    "monday",
    "am",
    "pm",
    " at ",
    "06:10",
    "24:00",
    "12am",
    "02:30",
    "2026-03-08",
    "2026-11-01 01:30",
    "Sunday 1 November 2026, 01:30 EST",
    " EDT",
    "-05:00",
    "T",
    "Z",
    ":59",
    "9999-12-31",
];

const SERVICE_WORDS: [&str; 30] = [
    "operator",
    "store",
    "mail",
    "from",
    "reply_to",
    "folder",
    "smtp",
    "server",
    "port",
    "tls",
    "user",
    "password",
    "password_file",
    "password_env",
    "feeds",
    "provider",
    "address",
    "rounds",
    "morning",
    "all_quiet",
    "[mail.smtp]",
    "[[feeds]]",
    "[feeds.x]",
    "\"none\"",
    "\"implicit\"",
    "https://",
    "http://127.0.0.1",
    "= {",
    "'''",
    "\\u0000",
];
const GARDEN_WORDS: [&str; 31] = [
    "name",
    "feeds",
    "place",
    "latitude",
    "longitude",
    "elevation_m",
    "time_zone",
    "people",
    "covers",
    "beds",
    "[beds]",
    "[[beds]]",
    "[[beds.plantings]]",
    "kind",
    "count",
    "length_m",
    "diameter_m",
    "pots",
    "exposure",
    "offset",
    "\"-1F\"",
    "hardened",
    "part_of_bed",
    "worth_minutes",
    "planted",
    "2026-02-30",
    "\"Europe/London\"",
    "[]",
    "= {",
    "\"\"\"",
    "\\U0010FFFF",
];
const CROP_WORDS: [&str; 27] = [
    "name",
    "stages",
    "[growing]",
    "[[tolerance]]",
    "tolerance",
    "organ",
    "harm",
    "frame",
    "damage_begins",
    "severe",
    "hardened_gain",
    "spread",
    "share",
    "evidence",
    "sources",
    "\"28F\"",
    "\"-2.2C\"",
    "\"published\"",
    "\"soil\"",
    "days_to_maturity",
    "exposure_hours",
    "[READ]",
    "author",
    "read",
    "[]",
    "= {",
    "'''",
];
const FEED_WORDS: [&str; 44] = [
    "null",
    "true",
    "{}",
    "[]",
    "[[[[[[[[",
    "{\"a\":",
    "\"properties\"",
    "\"temperature\"",
    "\"values\"",
    "\"uom\"",
    "\"validTime\"",
    "P1D",
    "PT1H",
    "PT0H",
    "P99999D",
    "P1M",
    "P6DT15H",
    "/PT",
    "+00:00",
    "-23:59",
    "9999-12-31T23:00:00Z",
    "0000-01-01T00:00:00Z",
    "+262143-12-31T23:59:59Z",
    "2026-01-16T05:00:60Z",
    "wmoUnit:degF",
    "unit:m",
    "\"timeseries\"",
    "\"meta\"",
    "\"updated_at\"",
    "celsius",
    "\"error\": true,",
    "\"hourly\"",
    "\"time\"",
    "unixtime",
    "iso8601",
    "°C",
    "km/h",
    "utc_time",
    "temp_c",
    "dew_point_c",
    "\n2026-01-16 05:00,",
    "\\ud800",
    "\"x\":1e400,",
    ",,,,",
];
const TEMPERATURE_WORDS: [&str; 12] = ["C", "F", "°C", "° F", "K", "+", "-", "\u{2212}", ".", "e", " ", "nan"];
const SCHEDULE_WORDS: [&str; 22] = [
    "*", "?", "*/2", "1-5", "0", "59", "60", "24", "Mon", "Mon-Fri", "Sun", "Jan", "L", "W", "#", "@daily", "@hourly",
    ",", "/", "2099", "06:30", "31",
];

const SERVICE: &str = include_str!("../corpus/service/small.toml");
const SHORT_SERVICE: &str = include_str!("../corpus/service/without_rounds.toml");
const GARDEN: &str = include_str!("../corpus/garden/small.toml");
const CROP: &str = include_str!("../corpus/crop/small.toml");
const BIBLIOGRAPHY: &str = include_str!("../corpus/bibliography/small.toml");

const SERVICE_FILE: &str = "counterpane.toml";
const GARDEN_FILE: &str = "gardens/plot.toml";
const CROP_FILE: &str = "crops/kale.toml";
const BIBLIOGRAPHY_FILE: &str = "crops/sources.toml";

fn service(text: &[u8]) -> Result<bool, String> {
    one_file(SERVICE_FILE, text)
}

fn garden(text: &[u8]) -> Result<bool, String> {
    one_file(GARDEN_FILE, text)
}

fn crop(text: &[u8]) -> Result<bool, String> {
    one_crop_file(CROP_FILE, text)
}

fn bibliography(text: &[u8]) -> Result<bool, String> {
    one_crop_file(BIBLIOGRAPHY_FILE, text)
}

/// A text in the place of one file, the others sound: sound values, or faults that say where and how to mend.
fn one_file(name: &str, text: &[u8]) -> Result<bool, String> {
    let files = Files {
        // Its schedules are looked at over a year, which says nothing of a garden.
        service: either(name, text, SERVICE_FILE, if name == SERVICE_FILE { SERVICE } else { SHORT_SERVICE }),
        gardens: vec![either(name, text, GARDEN_FILE, GARDEN)],
        crops: vec![(CROP_FILE.into(), CROP.into()), (BIBLIOGRAPHY_FILE.into(), BIBLIOGRAPHY.into())],
    };
    match settings(&files) {
        Ok(settings) => believable_settings(&settings).map(|()| true),
        Err(faults) => well_said(&faults, &[&files.service, &files.gardens[0]]).map(|()| false),
    }
}

/// The same for the catalogue's two kinds of files.
fn one_crop_file(name: &str, text: &[u8]) -> Result<bool, String> {
    let crops = [either(name, text, CROP_FILE, CROP), either(name, text, BIBLIOGRAPHY_FILE, BIBLIOGRAPHY)];
    match catalogue(&crops) {
        Ok(catalogue) => believable_crops(&catalogue).map(|()| true),
        Err(faults) => well_said(&faults, &[&crops[0], &crops[1]]).map(|()| false),
    }
}

/// The text under trial, if it stands for this file, else the sound one. What is not UTF-8 is refused before.
fn either(on_trial: &str, text: &[u8], file: &str, sound: &str) -> File {
    (file.into(), if file == on_trial { String::from_utf8_lossy(text).into_owned() } else { sound.into() })
}

fn well_said(faults: &[Fault], files: &[&File]) -> Result<(), String> {
    ensure(!faults.is_empty(), || "refused without a fault".into())?;
    for fault in faults {
        let file = files.iter().find(|file| file.0 == fault.file).ok_or_else(|| format!("of no file: {fault}"))?;
        ensure(fault.line <= file.1.split('\n').count(), || format!("beyond the last line: {fault}"))?;
        ensure(!fault.what.is_empty() && !fault.mend.is_empty(), || format!("half a fault: {fault}"))?;
        ensure(!fault.what.contains("could not be understood"), || format!("laid at our own door: {fault}"))?;
    }
    let shown = list(faults);
    ensure(shown.ends_with("Nothing was started, nothing was sent.\n"), || format!("cut short: {shown}"))?;
    ensure(!shown.chars().any(|c| c.is_control() && c != '\n'), || format!("moves the cursor: {shown:?}"))
}

/// Whether everything that was accepted lies within its limits and can stand in a header.
fn believable_settings(settings: &Settings) -> Result<(), String> {
    let within = |limits: &Limits, value: f64| limits.check(value).map(drop).map_err(|fault| fault.to_string());
    let is_a_name = |text: &str| {
        let hidden = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{202A}'..='\u{202E}');
        ensure(!text.trim().is_empty() && !text.chars().any(hidden), || format!("{text:?} was taken for a name"))
    };
    is_a_name(&settings.service.operator)?;
    for feed in &settings.service.feeds {
        let address = feed.address.as_deref().unwrap_or("https://");
        ensure(!address.chars().any(char::is_control), || format!("{address:?} was taken for an address"))?;
    }
    for choice in &settings.gardens {
        let garden = &choice.garden;
        within(&LATITUDE, garden.site.latitude)?;
        within(&LONGITUDE, garden.site.longitude)?;
        within(&ELEVATION, garden.site.elevation)?;
        within(&MINUTES, garden.worth_per_square_metre.0)?;
        garden.offset.map_or(Ok(()), |offset| within(&TEMPERATURE_DIFFERENCE, offset.0))?;
        is_a_name(&garden.name)?;
        garden.people.iter().try_for_each(|person| is_a_name(&person.name).and(is_a_name(&person.address)))?;
        ensure(!garden.beds.is_empty() && !garden.people.is_empty(), || "nothing to warn of, or nobody".into())?;
        ensure(!choice.feeds.is_empty(), || "no feed".into())?;
        for cover in &garden.covers {
            is_a_name(&cover.name)?;
            within(&COVER_COUNT, cover.count.into())?;
            within(&LENGTH, cover.length).and(within(&LENGTH, cover.width))?;
        }
        for bed in &garden.beds {
            is_a_name(&bed.id)?;
            bed.name.as_deref().map_or(Ok(()), is_a_name)?;
            ensure(bed.area() > 0.0 && bed.area().is_finite(), || format!("{bed:?} has no area"))?;
            if let BedKind::Containers { diameter, count, .. } = bed.kind {
                within(&LENGTH, diameter)?;
                ensure(count > 0, || "no pots".into())?;
            }
            bed.offset.map_or(Ok(()), |offset| within(&TEMPERATURE_DIFFERENCE, offset.0))?;
            for planting in &bed.plantings {
                let part = planting.part_of_bed;
                ensure(part > 0.0 && part <= 1.0, || format!("{part} of a bed"))?;
                planting.worth.map_or(Ok(()), |worth| within(&MINUTES, worth.0))?;
                let crop = settings.catalogue.crops.get(&planting.crop);
                // Without a stage there is a date that tells it.
                let is_told = |crop: &Crop| match &planting.stage {
                    Some(stage) => crop.stages.contains(stage),
                    None => planting.planted.is_some(),
                };
                ensure(crop.is_some_and(is_told), || format!("{planting:?} of no crop, or of no stage"))?;
            }
        }
    }
    Ok(())
}

fn believable_crops(catalogue: &Catalogue) -> Result<(), String> {
    for crop in catalogue.crops.values() {
        for tolerance in &crop.tolerances {
            ensure(THRESHOLD.allow(tolerance.damage_begins.0), || format!("{tolerance:?}"))?;
            ensure(THRESHOLD.allow(tolerance.severe.0), || format!("{tolerance:?}"))?;
            ensure(tolerance.hardened_gain.0 >= 0.0 && (0.0..=1.0).contains(&tolerance.share), || {
                format!("{tolerance:?}")
            })?;
            ensure(tolerance.stages.iter().all(|stage| crop.stages.contains(stage)), || format!("{tolerance:?}"))?;
            ensure(tolerance.severe < tolerance.damage_begins, || format!("{} is swapped", crop.id))?;
            ensure(tolerance.spread.0 > 0.0, || format!("{} is known without doubt", crop.id))?;
            let known = |source: &String| catalogue.sources.contains_key(source);
            ensure(tolerance.sources.iter().all(known), || format!("{} has an unknown source", crop.id))?;
        }
    }
    Ok(())
}

fn nws(text: &[u8]) -> Result<bool, String> {
    forecast(&Provider::NationalWeatherService, text)
}

fn met_norway(text: &[u8]) -> Result<bool, String> {
    forecast(&Provider::MetNorway, text)
}

fn hourly_arrays(text: &[u8]) -> Result<bool, String> {
    forecast(&Provider::HourlyArrays, text)
}

fn csv(text: &[u8]) -> Result<bool, String> {
    forecast(&Provider::Csv, text)
}

/// The night of the sound documents, 15 January 2026, when they come in.
fn fetched() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + Duration::hours(491_252)
}

/// A document: a fault in one plain line, or a forecast that can be believed, kept and judged.
fn forecast(provider: &Provider, text: &[u8]) -> Result<bool, String> {
    recognise(text);
    let forecast = match decode(provider, text, fetched()) {
        Ok(forecast) => forecast,
        Err(fault) => {
            let words = fault.to_string();
            let is_one_line = !words.chars().any(char::is_control) && words.len() < 2_000;
            ensure(is_one_line && fault.for_the_garden().ends_with('.'), || format!("no line of a log: {words:?}"))?;
            return Ok(false);
        }
    };
    sound(&forecast)?;
    let kept = serde_json::to_string(&forecast).map_err(|error| format!("cannot be kept: {error}"))?;
    let read: Forecast = serde_json::from_str(&kept).map_err(|error| format!("cannot be read back: {error}"))?;
    // Numbers may change in their last digit on the way.
    let times = |forecast: &Forecast| forecast.hours.iter().map(|hour| hour.time).collect::<Vec<_>>();
    ensure(times(&read) == times(&forecast) && read.issued == forecast.issued, || "kept as another forecast".into())?;
    judged(&forecast)?;
    judged(&read.with_past_of(&forecast))?;
    Ok(true)
}

fn sound(forecast: &Forecast) -> Result<(), String> {
    ensure(!forecast.hours.is_empty(), || "no hours".into())?;
    let in_order = forecast.hours.windows(2).all(|pair| pair[0].time < pair[1].time);
    ensure(in_order, || "hours out of order, or one twice".into())?;
    for hour in &forecast.hours {
        let t = hour.air_temperature.0;
        let excess = |dew_point: f64| DEW_POINT.allow(dew_point) && DEW_POINT_EXCESS.allow(dew_point - t);
        let is_sound = AIR_TEMPERATURE.allow(t)
            && hour.dew_point.is_none_or(|dew_point| excess(dew_point.0))
            && hour.wind_10m.is_none_or(|wind| WIND_SPEED.allow(wind.0))
            && hour.cloud_cover.is_none_or(|cloud| (0.0..=1.0).contains(&cloud));
        ensure(is_sound, || format!("beyond its limits: {hour:?}"))?;
    }
    for minimum in &forecast.minima {
        let is_sound = AIR_TEMPERATURE.allow(minimum.low.0) && minimum.from <= minimum.to;
        ensure(is_sound, || format!("beyond its limits: {minimum:?}"))?;
    }
    let says_when = matches!(forecast.provider, Provider::NationalWeatherService | Provider::MetNorway);
    ensure(!says_when || forecast.issued.is_some(), || "without its issue time".into())?;
    let elevation = forecast.cell_elevation;
    ensure(elevation.is_none_or(|metres| ELEVATION.allow(metres)), || format!("a cell at {elevation:?} m"))
}

/// The night that follows from a forecast: numbers, or words that say why not.
fn judged(forecast: &Forecast) -> Result<(), String> {
    static SPAN: OnceLock<Span> = OnceLock::new();
    let now = fetched() + Duration::hours(1);
    // The sun takes longer to reckon than all the rest.
    let span = *SPAN.get_or_init(|| span_of(&sound_settings().gardens[0].garden, NightOf(now.date_naive())));
    let Ok(night) =
        expect(&Evidence { forecast: Some(forecast), readings: &[], garden_offset: None, learned: None, now }, &span)
    else {
        return Ok(());
    };
    let low = night.minimum;
    let is_a_number = (-100.0..=100.0).contains(&low.mean.0) && low.spread.0.is_finite() && low.spread.0 > 0.0;
    ensure(is_a_number, || format!("a low of {low:?}"))?;
    ensure((0.0..=1.0).contains(&night.clear_calm), || format!("clear and calm to {}", night.clear_calm))
}

fn sound_settings() -> Settings {
    let files = Files {
        service: (SERVICE_FILE.into(), SERVICE.into()),
        gardens: vec![(GARDEN_FILE.into(), GARDEN.into())],
        crops: vec![(CROP_FILE.into(), CROP.into()), (BIBLIOGRAPHY_FILE.into(), BIBLIOGRAPHY.into())],
    };
    settings(&files).unwrap_or_else(|faults| panic!("{}", list(&faults)))
}

/// A temperature that is read is a number, and is read back as it is printed; the same text as a difference has the
/// same size of degree and no 32.
fn temperature(text: &[u8]) -> Result<bool, String> {
    let text = String::from_utf8_lossy(text);
    let (temperature, difference) = match (parse_temperature(&text), parse_difference(&text)) {
        (Ok(temperature), Ok(difference)) => (temperature, difference),
        (Err(fault), Err(other)) => {
            ensure(fault == other, || format!("{fault} but {other}"))?;
            return Ok(false);
        }
        (temperature, difference) => return Err(format!("{temperature:?} but {difference:?}")),
    };
    ensure(temperature.0.is_finite() && difference.0.is_finite(), || format!("{temperature:?}"))?;
    let is_celsius = text.trim_end().ends_with(['C', 'c']);
    let nothing = if is_celsius { 0.0 } else { -32.0 / 1.8 };
    let apart = (temperature.0 - difference.0 - nothing).abs();
    ensure(apart <= 1e-9 * temperature.0.abs().max(1.0), || format!("{temperature:?} and {difference:?}"))?;
    let printed = format!("{}C", temperature.0);
    let read = parse_temperature(&printed).map_err(|fault| format!("{printed}: {fault}"))?;
    ensure(read == temperature, || format!("{printed} is read as {read:?}"))?;
    Ok(true)
}

/// A schedule that is read fires again and again, always later, never after more than a week and a day.
fn schedule(text: &[u8]) -> Result<bool, String> {
    static ZONE: OnceLock<Zone> = OnceLock::new();
    let zone = ZONE.get_or_init(|| {
        // Half an hour is left out in spring and repeated in autumn.
        "Australia/Lord_Howe".parse().ok().and_then(Zone::bundled).expect("a zone of the bundled set")
    });
    let text = String::from_utf8_lossy(text);
    let schedule = match parse_schedule(&text) {
        Ok(schedule) => schedule,
        Err(fault) => {
            ensure(!fault.what.is_empty() && !fault.mend.is_empty(), || format!("half a fault: {fault}"))?;
            return Ok(false);
        }
    };
    let mut last = fetched();
    for _ in 0..10 {
        let next = next_firing(&schedule, zone, last).ok_or("never fires again")?;
        ensure(next > last, || format!("{next} follows {last}"))?;
        ensure(next - last <= Duration::days(8) + Duration::hours(2), || format!("silence from {last} to {next}"))?;
        last = next;
    }
    Ok(true)
}

/// A table of entries: rows that are written as they were read and within their limits, and faults that name a line.
fn journal(text: &[u8]) -> Result<bool, String> {
    let lines = text.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).count() as u64 + 2;
    let (rows, faults) = match table::read(text, fetched()) {
        Ok(read) => read,
        Err(what) => return ensure(!what.is_empty(), || "refused without words".into()).map(|()| false),
    };
    for fault in &faults {
        ensure(fault.line <= lines && !fault.what.is_empty(), || format!("{fault:?} of {lines} lines"))?;
    }
    for row in &rows {
        ensure(row.entry.at <= fetched() + Duration::minutes(5), || format!("of the future: {row:?}"))?;
        if let What::Reading(reading) = &row.entry.what {
            ensure(READING.allow(reading.temperature.0), || format!("{reading:?}"))?;
        }
        let kept: What = serde_json::from_str(&row.entry.document()).map_err(|error| format!("{row:?}: {error}"))?;
        ensure(kept == row.entry.what, || format!("kept as {kept:?}: {row:?}"))?;
    }
    for kind in Kind::ALL {
        let of_kind = rows.iter().filter(|row| row.entry.what.kind() == *kind);
        let written = table::write(*kind, of_kind.map(|row| (&row.key, &row.entry)));
        let (again, faults) = table::read(written.as_bytes(), fetched())?;
        ensure(faults.is_empty(), || format!("its own table has {faults:?}"))?;
        let rewritten = table::write(*kind, again.iter().map(|row| (&row.key, &row.entry)));
        ensure(rewritten == written, || format!("{written}\nis written anew as\n{rewritten}"))?;
    }
    Ok(!rows.is_empty())
}

/// A table of logs' rows: each within its limits, or a fault that names a line; an end.
fn logged(text: &[u8]) -> Result<bool, String> {
    let Ok(mut rows) = LoggedTable::new(text, fetched()) else { return Ok(false) };
    let mut accepted = false;
    for _ in 0..=text.len() {
        match rows.next_row() {
            logged_table::Next::End => return Ok(accepted),
            logged_table::Next::Fault(fault) => ensure(!fault.what.is_empty(), || "without words".into())?,
            logged_table::Next::Row { celsius, at, origin, .. } => {
                accepted = true;
                ensure(READING.allow(celsius.0) && at <= fetched() + Duration::minutes(5), || {
                    format!("{at}: {celsius:?}")
                })?;
                let fields = logged_table::fields(at, celsius, origin);
                ensure(fields[1].parse() == Ok(celsius.0), || format!("{celsius:?} is written as {fields:?}"))?;
            }
        }
    }
    Err("it does not end".into())
}

/// A log: rows in order of time, each within its limits, or a fault that names a line; an end.
fn log(text: &[u8]) -> Result<bool, String> {
    let zone = Zone::bundled(chrono_tz::America::New_York).expect("a zone of the bundled set");
    let open_end = (text.last() != Some(&b'\n')).then_some(text.len() as u64);
    let site = sound_settings_once().gardens[0].garden.site;
    let Ok(mut log) = Log::new(text, &[], Some(LogClock::Zone(zone.clone())), open_end, fetched()) else {
        return Ok(false);
    };
    let columns: Vec<_> = log.header().columns().cloned().collect();
    let watch = |column: &Column| Watch::new(column, &site, Vec::new());
    let mut watches: Vec<Watch> = columns.iter().map(watch).collect();
    let mut last = None;
    for _ in 0..=text.len() {
        match log.next_row() {
            log::Next::End => {
                for watch in &watches {
                    let doubts = watch.doubts(&site, &zone, &BTreeMap::new());
                    ensure(doubts.iter().all(|doubt| !doubt.to_string().is_empty()), || "without words".into())?;
                }
                return Ok(last.is_some());
            }
            log::Next::Repeated { .. } => {}
            log::Next::Fault(fault) => ensure(!fault.what.is_empty(), || "without words".into())?,
            log::Next::Row(row) | log::Next::Part(row, _) => {
                ensure(last.is_none_or(|last| last < row.at), || format!("{} after {last:?}", row.at))?;
                ensure(row.at <= fetched() + Duration::minutes(5), || format!("of the future: {row:?}"))?;
                last = Some(row.at);
                for (watch, value) in watches.iter_mut().zip(&row.values) {
                    let Some(value) = value else { continue };
                    ensure(READING.allow(value.0), || format!("{row:?}"))?;
                    watch.look(&row, *value);
                }
            }
        }
    }
    Err("it does not end".into())
}

/// A time that is understood is past, and is understood as the same when it is said back.
fn time(text: &[u8]) -> Result<bool, String> {
    let garden = &sound_settings_once().gardens[0].garden;
    let zone = Zone::bundled(chrono_tz::America::New_York).expect("a zone of the bundled set");
    let now = fetched() + Duration::days(400);
    let speaker = Speaker { zone: &zone, site: &garden.site, now };
    let text = String::from_utf8_lossy(text);
    let moment = match speaker.moment(&text) {
        Ok(moment) => moment,
        Err(fault) => return ensure(!fault.to_string().is_empty(), || "without words".into()).map(|()| false),
    };
    ensure(moment.at <= now + Duration::minutes(5), || format!("of the future: {moment:?}"))?;
    let echo = speaker.echo(moment.at);
    let again = speaker.moment(&echo).map_err(|fault| format!("{echo}: {fault}"))?;
    // Fractions of a second are not said back.
    ensure(again.at.timestamp() == moment.at.timestamp(), || format!("{echo} is understood as {}", again.at))?;
    Ok(true)
}

fn sound_settings_once() -> &'static Settings {
    static SETTINGS: OnceLock<Settings> = OnceLock::new();
    SETTINGS.get_or_init(sound_settings)
}

fn ensure(is_so: bool, otherwise: impl FnOnce() -> String) -> Result<(), String> {
    if is_so { Ok(()) } else { Err(otherwise()) }
}
