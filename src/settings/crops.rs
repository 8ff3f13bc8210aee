//! Crop files and the bibliography to a [`Catalogue`]. The dictionary of their fields is `crops/README.md`.

mod after_frost;
mod harvest;

use super::reader::{Listed, Table};
use super::stature::read_stature;
use super::suggest::suggestion;
use super::value::Value;
use super::{Fault, File, KnownCrops, read_document};
use crate::crops::{
    Catalogue, CountedFrom, Crop, Evidence, Frame, Growing, Harm, HarvestHabit, Life, Organ, Source, Stature,
    Tolerance, ToleranceEvidence,
};
use crate::units::{Celsius, Kelvins, LENGTH, Limits, THRESHOLD};
use std::collections::BTreeMap;

const BIBLIOGRAPHY: &str = "sources.toml";
const AFTER_FROST: &str = "after_frost.toml";
pub(super) const GAIN: Limits =
    Limits { what: "gain", low: 0.0, high: 15.0, unit: "C", why: "hardening lowers a threshold, by a few degrees" };
pub(super) const SPREAD: Limits =
    Limits { what: "spread", low: 0.1, high: 5.0, unit: "C", why: "no threshold is known so well, or so badly" };
pub(super) const HOURS: Limits =
    Limits { what: "exposure", low: 0.1, high: 720.0, unit: "hours", why: "one cold spell is meant" };
const SHARE: Limits =
    Limits { what: "share", low: 0.0, high: 1.0, unit: "of the worth", why: "it is a part of the whole" };
const DAYS: Limits = Limits { what: "days", low: 5.0, high: 800.0, unit: "days", why: "no crop takes that long" };

const TOLERANCES: Listed = Listed { key: "tolerance", one: "tolerance", told_by: None };

/// The crops that could be read, and what is wrong with the others.
pub(super) fn read(files: &[File]) -> (KnownCrops, Vec<Fault>) {
    let mut faults = Vec::new();
    let mut catalogue = Catalogue::default();
    let mut at_fault = Vec::new();
    let (bibliography, crop_files): (Vec<&File>, Vec<&File>) =
        files.iter().filter(|file| file.0.ends_with(".toml")).partition(|file| file_name(&file.0) == BIBLIOGRAPHY);
    let (after_frost, crop_files): (Vec<&File>, Vec<&File>) =
        crop_files.into_iter().partition(|file| file_name(&file.0) == AFTER_FROST);
    match bibliography.first() {
        None => {
            let why = "No figure could be followed to where it comes from.";
            let folder = files.first().map_or("", |file| file.0.trim_end_matches(file_name(&file.0)));
            let missing = format!("{folder}{BIBLIOGRAPHY}");
            faults.push(Fault::of_file(&missing, "the bibliography is missing", why, "put it beside the crops"));
        }
        Some(file) => match read_sources(file) {
            // Without this the keys of every crop would go unchecked.
            Ok(read) if read.is_empty() => {
                let why = "No figure could be followed to where it comes from.";
                let mend = "describe each source under a heading of its own, like [AUTHOR_2026]";
                faults.push(Fault::of_file(&file.0, "the bibliography has no source", why, mend));
            }
            Ok(read) => catalogue.sources = read,
            Err(new) => faults.extend(new),
        },
    }
    for file in crop_files {
        match read_crop(file, &catalogue.sources) {
            Ok(crop) => {
                catalogue.crops.insert(crop.id.clone(), crop);
            }
            Err(new) => {
                at_fault.push(id_of(&file.0));
                faults.extend(new);
            }
        }
    }
    for file in after_frost {
        match after_frost::read_classes(file, &catalogue, &at_fault) {
            Ok(classes) => catalogue.after_frost = classes,
            Err(new) => faults.extend(new),
        }
    }
    (KnownCrops { catalogue, at_fault }, faults)
}

/// A crop goes by the name of its file.
fn id_of(path: &str) -> String {
    file_name(path).trim_end_matches(".toml").to_string()
}

fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

fn read_sources(file: &File) -> Result<BTreeMap<String, Source>, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let mut sources = BTreeMap::new();
        for (key, table) in root.named_tables() {
            let text = |field: &'static str| {
                table.required(field, &format!("{field} = \"...\"")).and_then(|value| value.text()).map(str::to_string)
            };
            let fields = (text("author"), text("year"), text("title"), text("publisher"), text("place"), text("read"));
            table.finish();
            if let (Some(author), Some(year), Some(title), Some(publisher), Some(place), Some(read)) = fields {
                sources.insert(key.key.to_string(), Source { author, year, title, publisher, place, read });
            }
        }
        Some(sources)
    })
}

fn read_crop(file: &File, sources: &BTreeMap<String, Source>) -> Result<Crop, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let text = |key: &'static str| {
            root.required(key, &format!("{key} = \"...\"")).and_then(|value| value.text()).map(str::to_string)
        };
        let (listed_as, scientific_name, family) = (text("name"), text("scientific_name"), text("family"));
        let said_as = root.optional("said_as").and_then(|value| value.name()).map(str::to_string);
        let stages = root.required("stages", "stages = [\"seedling\", \"leafy\"] in order of growth");
        let stage_values = stages.as_ref().and_then(|value| value.list("[\"seedling\", \"leafy\"]"));
        if let (Some(value), Some([])) = (&stages, stage_values.as_deref()) {
            let mend = "write its stages in order of growth, such as stages = [\"seedling\", \"leafy\"]";
            value.fault("this crop has no stage", "Nothing of it could ever be at risk.", mend);
        }
        let stage_values = stage_values.unwrap_or_default();
        let stages: Vec<String> = stage_values.iter().filter_map(|value| value.text().map(str::to_string)).collect();
        let stature = root.optional("stature").map_or(Some(Stature::LOW_BED), |value| read_stature(&value));
        let growing = root.required("growing", "a table [growing]").and_then(|value| value.table());
        let growing = growing.and_then(|table| read_growing(table, sources));
        let tables = root.tables(TOLERANCES);
        let written = tables.len();
        let tolerances: Vec<Tolerance> =
            tables.into_iter().filter_map(|table| read_tolerance(table, &stages, sources)).collect();
        // A tolerance at fault may be the one of a stage that would seem to have none.
        if tolerances.len() == written {
            stage_values.iter().for_each(|stage| check_stage(stage, &tolerances));
        }
        let harvest = harvest::read_harvest(&root);
        root.finish();
        Some(Crop {
            id: id_of(&file.0),
            name: said_as.or_else(|| listed_as.clone())?,
            listed_as: listed_as?,
            scientific_name: scientific_name?,
            family: family?,
            stages,
            stature: stature?,
            tolerances,
            growing: growing?,
            harvest,
        })
    })
}

/// Every stage has something that the cold can take, and not more than everything.
fn check_stage(value: &Value<'_>, tolerances: &[Tolerance]) {
    let Some(stage) = value.text_if_sound() else { return };
    let shares: Vec<f64> = tolerances
        .iter()
        .filter(|tolerance| tolerance.stages.iter().any(|at| at == stage))
        .map(|tolerance| tolerance.share)
        .collect();
    if shares.is_empty() {
        let why = "A planting in it could not be warned about.";
        let mend = format!("add a [[tolerance]] with stages = [\"{stage}\"], or remove the stage");
        value.fault(format!("the stage \"{stage}\" has no tolerance"), why, mend);
    }
    if shares.iter().sum::<f64>() > 1.0 + 1e-9 {
        let sum: Vec<String> = shares.iter().map(f64::to_string).collect();
        let what = format!("the shares of the stage \"{stage}\" add up to more than 1: {}", sum.join(" + "));
        value.fault(what, "A planting cannot lose more than all it is worth.", "lower the shares of its tolerances");
    }
}

fn read_growing(table: Table<'_>, sources: &BTreeMap<String, Source>) -> Option<Growing> {
    let harvested = table.required("harvested", "harvested = \"whole\"");
    let harvested = harvested.and_then(|value| value.word(HarvestHabit::ALL, HarvestHabit::word));
    let days_to_maturity = table.optional("days_to_maturity").map_or(Some(None), |value| read_days(&value).map(Some));
    let counted_from = table.required("counted_from", "counted_from = \"seed\"");
    let counted_from = counted_from.and_then(|value| value.word(CountedFrom::ALL, CountedFrom::word));
    let spread = table.required("spread_m", "spread_m = 0.30").and_then(|value| value.number(&LENGTH));
    let bed_depth = table.required("bed_depth_m", "bed_depth_m = 0.25").and_then(|value| value.number(&LENGTH));
    let life = table.required("life", "life = \"annual\"").and_then(|value| value.word(Life::ALL, Life::word));
    let sources = read_source_keys(&table, sources);
    table.finish();
    Some(Growing {
        harvested: harvested?,
        days_to_maturity: days_to_maturity?,
        counted_from: counted_from?,
        spread: spread?,
        bed_depth: bed_depth?,
        life: life?,
        sources,
    })
}

/// Fewest and most days.
pub(super) fn read_days(value: &Value<'_>) -> Option<(u16, u16)> {
    let items = value.list("[50, 70]")?;
    let days: Vec<u16> =
        items.iter().filter_map(|item| item.count(&DAYS).and_then(|days| u16::try_from(days).ok())).collect();
    match days.as_slice() {
        [low, high] if low <= high => Some((*low, *high)),
        _ => {
            if days.len() == items.len() {
                value.fault("days_to_maturity needs two numbers, the lower first", "", "write [50, 70]");
            }
            None
        }
    }
}

fn read_tolerance(table: Table<'_>, stages: &[String], sources: &BTreeMap<String, Source>) -> Option<Tolerance> {
    let organ = table.required("organ", "organ = \"leaf\"").and_then(|value| value.word(Organ::ALL, Organ::word));
    let at_stages = table.required("stages", "stages = [\"leafy\"]");
    let at_stages = at_stages.and_then(|value| read_stages(&value, stages));
    let harm = table.required("harm", "harm = \"freezing\" (or \"chilling\")");
    let harm = harm.and_then(|value| value.word(Harm::ALL, Harm::word));
    let frame = table.required("frame", "frame = \"screen-air\" (or \"tissue\", \"soil\")");
    let frame = frame.and_then(|value| value.word(Frame::ALL, Frame::word));
    let (damage_begins, severe) = read_thresholds(&table);
    let hardened_gain = table.required("hardened_gain", "hardened_gain = \"0C\"");
    let hardened_gain = hardened_gain.and_then(|value| value.difference(&GAIN));
    let spread = table.required("spread", "spread = \"2C\"").and_then(|value| value.difference(&SPREAD));
    let exposure_hours = table.optional("exposure_hours").and_then(|value| value.number(&HOURS));
    let share = table.required("share", "share = 1.0").and_then(|value| value.number(&SHARE));
    let pick = table.optional("pick").and_then(|value| value.text()).map(str::to_string);
    let quality = table.required("quality", "quality = \"no change\"").and_then(|value| value.text());
    let evidence = table.required(
        "evidence",
        "evidence = { damage_begins = \"memory\", severe = \"memory\", hardened_gain = \"assumed\" }",
    );
    let evidence = evidence.and_then(|value| value.table()).and_then(read_evidence);
    let sources = read_source_keys(&table, sources);
    let note = table.optional("note").and_then(|value| value.text()).map(str::to_string);
    table.finish();
    Some(Tolerance {
        organ: organ?,
        stages: at_stages?,
        harm: harm?,
        frame: frame?,
        damage_begins: damage_begins?,
        severe: severe?,
        hardened_gain: hardened_gain?,
        spread: spread?,
        exposure_hours,
        share: share?,
        pick,
        quality: quality?.to_string(),
        evidence: evidence?,
        sources,
        note,
    })
}

/// The stages of a tolerance, if the crop has all of them.
pub(super) fn read_stages(value: &Value<'_>, known: &[String]) -> Option<Vec<String>> {
    let read = value.list("[\"leafy\"]")?.into_iter().map(|item| {
        let stage = item.text()?;
        if !known.is_empty() && !known.iter().any(|known| known == stage) {
            let mend = format!("its stages are: {}", known.join(", "));
            item.fault(format!("this crop has no stage \"{stage}\""), "", mend);
            return None;
        }
        Some(stage.to_string())
    });
    // All of them are looked at before the first at fault counts.
    read.collect::<Vec<_>>().into_iter().collect()
}

/// Two temperatures closer than this make no curve.
pub(super) const NARROWEST_CURVE: Kelvins = Kelvins(0.05);

fn read_thresholds(table: &Table<'_>) -> (Option<Celsius>, Option<Celsius>) {
    let begins = table.required("damage_begins", "damage_begins = \"-2.0C\"");
    let severe = table.required("severe", "severe = \"-4.0C\"");
    let of = |value: &Option<Value<'_>>| value.as_ref().and_then(|value| value.temperature(&THRESHOLD));
    let (warm, cold) = (of(&begins), of(&severe));
    if let (Some(warm), Some(cold), Some(begins), Some(severe)) = (warm, cold, begins, severe)
        && warm - cold < NARROWEST_CURVE
    {
        let said = |value: &Value<'_>| value.text_if_sound().unwrap_or_default().to_string();
        let mend = match warm < cold {
            true => "the two values look swapped: let damage_begins be the warmer one",
            false => "let severe be at least 0.1 C colder",
        };
        begins.fault(
            format!("damage begins at {} but is already severe at {}", said(&begins), said(&severe)),
            "Severe damage needs a colder night than first damage.",
            mend,
        );
    }
    (warm, cold)
}

fn read_evidence(table: Table<'_>) -> Option<ToleranceEvidence> {
    let mark = |key: &'static str| {
        table.required(key, &format!("{key} = \"memory\"")).and_then(|value| value.word(Evidence::ALL, Evidence::word))
    };
    let (damage_begins, severe, hardened_gain) = (mark("damage_begins"), mark("severe"), mark("hardened_gain"));
    table.finish();
    Some(ToleranceEvidence { damage_begins: damage_begins?, severe: severe?, hardened_gain: hardened_gain? })
}

fn read_source_keys(table: &Table<'_>, known: &BTreeMap<String, Source>) -> Vec<String> {
    let Some(value) = table.required("sources", "sources = [\"...\"] (keys of sources.toml)") else {
        return Vec::new();
    };
    let Some(items) = value.list("[\"...\"]") else { return Vec::new() };
    if items.is_empty() {
        let why = "A figure without a source cannot be checked or mended.";
        value.fault("no source is named", why, "name a key of sources.toml, MEMORY if it is one");
    }
    let keys = items.iter().filter_map(|item| {
        let key = item.text()?;
        if !known.is_empty() && !known.contains_key(key) {
            let mend = suggestion(key, known.keys().map(String::as_str))
                .unwrap_or_else(|| "add it there, or correct the key".into());
            item.fault(format!("sources.toml has no \"{key}\""), "", mend);
        }
        Some(key.to_string())
    });
    keys.collect()
}
