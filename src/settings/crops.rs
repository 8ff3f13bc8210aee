//! Crop files and the bibliography to a [`Catalogue`]. The dictionary of their fields is `crops/README.md`.

use super::reader::Table;
use super::{Fault, File, read_document};
use crate::crops::{
    Catalogue, CountedFrom, Crop, Evidence, Frame, Growing, Harm, HarvestHabit, Life, Organ, Source, Tolerance,
    ToleranceEvidence,
};
use crate::units::{Celsius, Kelvins, LENGTH, Limits, THRESHOLD};
use std::collections::BTreeMap;

const BIBLIOGRAPHY: &str = "sources.toml";
const GAIN: Limits =
    Limits { what: "gain", low: 0.0, high: 15.0, unit: "C", why: "hardening lowers a threshold, by a few degrees" };
const SPREAD: Limits =
    Limits { what: "spread", low: 0.1, high: 5.0, unit: "C", why: "no figure is known better or worse" };
const HOURS: Limits = Limits { what: "exposure", low: 0.1, high: 720.0, unit: "hours", why: "it is one cold spell" };
const SHARE: Limits = Limits { what: "share", low: 0.0, high: 1.0, unit: "of the worth", why: "it is a part of one" };
const DAYS: Limits = Limits { what: "days", low: 5.0, high: 800.0, unit: "days", why: "no crop takes that long" };

pub(super) fn read(files: &[File]) -> Result<Catalogue, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut sources = BTreeMap::new();
    let (bibliography, crop_files): (Vec<&File>, Vec<&File>) =
        files.iter().filter(|file| file.0.ends_with(".toml")).partition(|file| file_name(&file.0) == BIBLIOGRAPHY);
    match bibliography.first() {
        None => {
            let why = "No figure could be followed to where it comes from.";
            faults.push(Fault::of_file(BIBLIOGRAPHY, "the bibliography is missing", why, "put it beside the crops"));
        }
        Some(file) => match read_sources(file) {
            Ok(read) => sources = read,
            Err(new) => faults.extend(new),
        },
    }
    let mut crops = BTreeMap::new();
    for file in crop_files {
        match read_crop(file, &sources) {
            Ok(crop) => {
                crops.insert(crop.id.clone(), crop);
            }
            Err(new) => faults.extend(new),
        }
    }
    if faults.is_empty() { Ok(Catalogue { crops, sources }) } else { Err(faults) }
}

fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

fn read_sources(file: &File) -> Result<BTreeMap<String, Source>, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let mut sources = BTreeMap::new();
        for (key, _, table) in root.named_tables() {
            let text = |field: &'static str| {
                table.required(field, &format!("{field} = \"...\"")).and_then(|value| value.text()).map(str::to_string)
            };
            let fields = (text("author"), text("year"), text("title"), text("publisher"), text("place"), text("read"));
            table.finish();
            if let (Some(author), Some(year), Some(title), Some(publisher), Some(place), Some(read)) = fields {
                sources.insert(key, Source { author, year, title, publisher, place, read });
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
        let (name, scientific_name, family) = (text("name"), text("scientific_name"), text("family"));
        let stages = root.required("stages", "stages = [\"seedling\", \"leafy\"] in order of growth");
        let stages = stages.map(|value| value.texts()).unwrap_or_default();
        let growing = root.required("growing", "a table [growing]").and_then(|value| value.as_table());
        let growing = growing.and_then(|table| read_growing(table, sources));
        let tolerances: Vec<Tolerance> =
            root.tables("tolerance").into_iter().filter_map(|table| read_tolerance(table, &stages, sources)).collect();
        for stage in &stages {
            let at_stage = || tolerances.iter().filter(|tolerance| tolerance.stages.contains(stage));
            if at_stage().next().is_none() {
                let why = "A planting in it could not be warned about.";
                let mend = format!("add a [[tolerance]] with stages = [\"{stage}\"], or remove the stage");
                root.fault(format!("the stage \"{stage}\" has no tolerance"), why, mend);
            }
            let shares: f64 = at_stage().map(|tolerance| tolerance.share).sum();
            if shares > 1.0 + 1e-9 {
                let mend = "let the shares of all organs of one stage add up to at most 1";
                root.fault(format!("the shares of the stage \"{stage}\" add up to {shares:.2}"), "", mend);
            }
        }
        root.finish();
        Some(Crop {
            id: file_name(&file.0).trim_end_matches(".toml").to_string(),
            name: name?,
            scientific_name: scientific_name?,
            family: family?,
            stages,
            tolerances,
            growing: growing?,
        })
    })
}

fn read_growing(table: Table<'_>, sources: &BTreeMap<String, Source>) -> Option<Growing> {
    let harvested = table.required("harvested", "harvested = \"whole\"");
    let harvested = harvested.and_then(|value| value.word(HarvestHabit::ALL, HarvestHabit::word));
    let days_to_maturity = table.optional("days_to_maturity").and_then(|value| {
        let days: Vec<u16> = value
            .list()
            .iter()
            .filter_map(|item| item.count(&DAYS).and_then(|days| u16::try_from(days).ok()))
            .collect();
        match days.as_slice() {
            [low, high] if low <= high => Some((*low, *high)),
            _ => {
                value.fault("days_to_maturity needs two numbers, the lower first", "", "write [50, 70]");
                None
            }
        }
    });
    let counted_from = table.required("counted_from", "counted_from = \"seed\"");
    let counted_from = counted_from.and_then(|value| value.word(CountedFrom::ALL, CountedFrom::word));
    let spread = table.required("spread_m", "spread_m = 0.30").and_then(|value| value.number(&LENGTH));
    let bed_depth = table.required("bed_depth_m", "bed_depth_m = 0.25").and_then(|value| value.number(&LENGTH));
    let life = table.required("life", "life = \"annual\"").and_then(|value| value.word(Life::ALL, Life::word));
    let sources = read_source_keys(&table, sources);
    table.finish();
    Some(Growing {
        harvested: harvested?,
        days_to_maturity,
        counted_from: counted_from?,
        spread: spread?,
        bed_depth: bed_depth?,
        life: life?,
        sources,
    })
}

fn read_tolerance(table: Table<'_>, stages: &[String], sources: &BTreeMap<String, Source>) -> Option<Tolerance> {
    let organ = table.required("organ", "organ = \"leaf\"").and_then(|value| value.word(Organ::ALL, Organ::word));
    let at_stages = table.required("stages", "stages = [\"leafy\"]");
    let at_stages: Vec<String> = at_stages
        .map(|value| value.list())
        .unwrap_or_default()
        .iter()
        .filter_map(|item| {
            let stage = item.text()?;
            if !stages.iter().any(|known| known == stage) {
                item.fault(
                    format!("this crop has no stage \"{stage}\""),
                    "",
                    format!("its stages are: {}", stages.join(", ")),
                );
                return None;
            }
            Some(stage.to_string())
        })
        .collect();
    let harm = table.required("harm", "harm = \"freezing\" or \"chilling\"");
    let harm = harm.and_then(|value| value.word(Harm::ALL, Harm::word));
    let frame = table.required("frame", "frame = \"screen-air\", \"tissue\" or \"soil\"");
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
    let evidence = evidence.and_then(|value| value.as_table()).and_then(read_evidence);
    let sources = read_source_keys(&table, sources);
    let note = table.optional("note").and_then(|value| value.text()).map(str::to_string);
    table.finish();
    Some(Tolerance {
        organ: organ?,
        stages: at_stages,
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

/// Two temperatures closer than this make no curve.
const NARROWEST_CURVE: Kelvins = Kelvins(0.05);

fn read_thresholds(table: &Table<'_>) -> (Option<Celsius>, Option<Celsius>) {
    let begins = table.required("damage_begins", "damage_begins = \"-2.0C\"");
    let severe = table.required("severe", "severe = \"-4.0C\"").and_then(|value| value.temperature(&THRESHOLD));
    let Some(value) = begins else { return (None, severe) };
    let begins = value.temperature(&THRESHOLD);
    if let (Some(begins), Some(severe)) = (begins, severe)
        && begins - severe < NARROWEST_CURVE
    {
        value.fault(
            format!("damage begins at {:.1} C but is already severe at {:.1} C", begins.0, severe.0),
            "Severe damage needs a colder night than first damage.",
            "the two values look swapped: let damage_begins be the warmer one",
        );
    }
    (begins, severe)
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
    let Some(value) = table.required("sources", "sources = [\"...\"]: keys of sources.toml") else { return Vec::new() };
    let items = value.list();
    if items.is_empty() {
        let why = "A figure without a source cannot be checked or mended.";
        value.fault("no source is named", why, "name a key of sources.toml, MEMORY if it is one");
    }
    for item in &items {
        if let Some(key) = item.text()
            && !known.is_empty()
            && !known.contains_key(key)
        {
            item.fault(format!("sources.toml has no \"{key}\""), "", "add it there, or correct the key");
        }
    }
    value.texts()
}
