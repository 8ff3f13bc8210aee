//! The beds of a garden file: kind and size, exposure, and what grows there.

use super::KnownCrops;
use super::garden::{NOT_TOLD_APART, each_once};
use super::planting::{OF_A_PLANTING, PART, read_planting};
use super::reader::{Listed, Table};
use super::suggest::suggestion;
use crate::beds::{Bed, BedKind, Planting};
use crate::night::exposure::Exposure;
use crate::units::{LENGTH, Limits, TEMPERATURE_DIFFERENCE};
use chrono::NaiveDate;

const DEPTH: Limits =
    Limits { what: "depth of soil", low: 0.05, high: 2.0, unit: "m", why: "it is the depth that can be worked" };
const POTS: Limits = Limits {
    what: "number of pots",
    low: 1.0,
    high: 500.0,
    unit: "",
    why: "a group has one pot or more, and not as many as that",
};

const HEIGHT: Limits =
    Limits { what: "height", low: 0.05, high: 1.5, unit: "m", why: "no raised bed is so low, or so high" };
const MULCH: Limits =
    Limits { what: "mulch", low: 0.0, high: 0.5, unit: "m", why: "a layer over living plants is thinner than that" };

const PATH: Limits = Limits { what: "path", low: 0.0, high: 3.0, unit: "m", why: "no cover spans beds that far apart" };

pub(super) const BEDS: Listed = Listed { key: "beds", one: "bed", told_by: Some("id") };
const PLANTINGS: Listed = Listed { key: "plantings", one: "planting", told_by: Some("crop") };

/// Reads one bed.
pub(super) fn read_bed(table: Table<'_>, crops: &KnownCrops, today: Option<NaiveDate>) -> Option<Bed> {
    let id = table.required("id", "id = \"A1\" (what its label says)").and_then(|value| value.name());
    let name = table.optional("name").and_then(|value| value.name()).map(str::to_string);
    let kind_and_size = read_kind_and_size(&table);
    let exposure = match table.optional("exposure") {
        Some(value) => value.word(Exposure::ALL, Exposure::word),
        None => Some(Exposure::Open),
    };
    let offset = table.optional("offset").and_then(|value| value.difference(&TEMPERATURE_DIFFERENCE));
    let (height, mulch) = read_height_and_mulch(&table, kind_and_size.map(|(kind, _, _)| kind));
    let soil_depth = table.optional("soil_depth_m").and_then(|value| value.number(&DEPTH));
    let beside = table.optional("beside").and_then(|value| value.name()).map(str::to_string);
    let path = match table.optional("path_m") {
        Some(value) if beside.is_none() => {
            let mend = "write beside = \"...\" with the label of the bed across the path, or remove the line";
            value.fault_at_key("path_m says nothing without beside", "", mend);
            None
        }
        value => value.and_then(|value| value.number(&PATH)),
    };
    let plantings = read_plantings(&table, crops, today);
    for value in OF_A_PLANTING.iter().filter_map(|key| table.refused(key)) {
        let what = format!("{} belongs to what grows there, not to the bed", value.key);
        value.fault_at_key(what, "", "move the line down, below a [[beds.plantings]] of this bed");
    }
    table.finish();
    let (kind, length, width) = kind_and_size?;
    let (id, exposure) = (id?.to_string(), exposure?);
    let path = path.unwrap_or(Bed::PATH);
    let learned_offset = None;
    Some(Bed {
        id,
        name,
        kind,
        length,
        width,
        height,
        mulch,
        exposure,
        soil_depth,
        offset,
        learned_offset,
        beside,
        path,
        plantings,
    })
}

/// Keys of a bed, for whoever writes one below a planting.
pub(super) const OF_A_BED: [&str; 15] = [
    "id",
    "name",
    "kind",
    "exposure",
    "offset",
    "length_m",
    "width_m",
    "height_m",
    "mulch_m",
    "soil_depth_m",
    "beside",
    "path_m",
    "diameter_m",
    "pots",
    "movable",
];
const SIZE_OF_A_BED: [&str; 2] = ["length_m", "width_m"];
const SIZE_OF_POTS: [&str; 3] = ["diameter_m", "pots", "movable"];

/// Kind, length and width.
fn read_kind_and_size(table: &Table<'_>) -> Option<(BedKind, f64, f64)> {
    let kind = table.required("kind", "kind = \"raised\" (or \"in-ground\", \"containers\")");
    let kind = kind.and_then(|value| value.word(&["raised", "in-ground", "containers"], |word| word));
    match kind {
        Some("containers") => {
            let diameter = table.required("diameter_m", "diameter_m = 0.3");
            let diameter = diameter.and_then(|value| value.number(&LENGTH));
            let count = table.optional("pots").map_or(Some(1), |value| value.count(&POTS));
            let movable = table.optional("movable").map_or(Some(true), |value| value.flag());
            for value in SIZE_OF_A_BED.iter().filter_map(|key| table.optional(key)) {
                let what = format!("containers have no {}", value.key);
                value.fault_at_key(what, "", "write diameter_m of one pot, and pots = 4 for their number");
            }
            let (diameter, count) = (diameter?, count?);
            // Pots stand together: their room is their number of squares.
            let length = diameter * f64::from(count);
            Some((BedKind::Containers { diameter, count, movable: movable? }, length, diameter))
        }
        Some(word) => {
            let size = |key: &'static str| {
                table.required(key, &format!("{key} = 1.2")).and_then(|value| value.number(&LENGTH))
            };
            let (length, width) = (size("length_m"), size("width_m"));
            for value in SIZE_OF_POTS.iter().filter_map(|key| table.optional(key)) {
                let what = format!("only containers have {}", value.key);
                value.fault_at_key(what, "", "remove the line, or write kind = \"containers\"");
            }
            let kind = if word == "raised" { BedKind::Raised } else { BedKind::InGround };
            Some((kind, length?, width?))
        }
        None => {
            // Which of them belong here is not known before the kind is.
            SIZE_OF_A_BED.iter().chain(&SIZE_OF_POTS).for_each(|key| drop(table.optional(key)));
            None
        }
    }
}

/// How high the soil of a raised bed is, and how thick the straw or leaves on it. A pot of mulch would be another thing:
/// what keeps a pot warm goes round it.
fn read_height_and_mulch(table: &Table<'_>, kind: Option<BedKind>) -> (f64, f64) {
    let (height, mulch) = (table.optional("height_m"), table.optional("mulch_m"));
    match kind {
        Some(BedKind::InGround | BedKind::Containers { .. }) => {
            if let Some(value) = &height {
                let mend = "remove the line, or write kind = \"raised\"";
                value.fault_at_key("only a raised bed has height_m", "", mend);
            }
        }
        Some(BedKind::Raised) | None => {}
    }
    if let (Some(BedKind::Containers { .. }), Some(value)) = (kind, &mulch) {
        value.fault_at_key("containers have no mulch_m", "A pot loses its heat through the wall.", "remove the line");
    }
    let height = height.and_then(|value| value.number(&HEIGHT)).unwrap_or(Bed::RAISED);
    (height, mulch.and_then(|value| value.number(&MULCH)).unwrap_or(0.0))
}

/// The plantings of a bed. Those that do not say how much of it they fill share what the others leave.
fn read_plantings(bed: &Table<'_>, crops: &KnownCrops, today: Option<NaiveDate>) -> Vec<Planting> {
    let tables = bed.tables(PLANTINGS);
    if bed.optional("plantings").is_none_or(|value| value.is_empty()) {
        bed.fault(
            format!("{} has no planting", bed.name()),
            "A bed without a crop could not be warned about.",
            "add [[beds.plantings]] with crop and stage (or planted), or remove the bed while it rests",
        );
    }
    let written = tables.len();
    let read: Vec<(Planting, Option<f64>)> =
        tables.into_iter().filter_map(|planting| read_planting(planting, crops, today)).collect();
    let said: f64 = read.iter().filter_map(|(_, part)| *part).sum();
    let silent = read.iter().filter(|(_, part)| part.is_none()).count();
    let left = (1.0 - said) / silent.max(1) as f64;
    if read.len() == written && (left < -1e-9 || (silent > 0 && left < PART.low)) {
        let what = match silent {
            0 => format!("the plantings fill {} more than once: part_of_bed adds up to {said:.2}", bed.name()),
            _ => format!("nothing of {} is left for the planting without part_of_bed", bed.name()),
        };
        bed.fault(what, "Its worth would be counted wrongly.", "let part_of_bed add up to at most 1");
    }
    read.into_iter().map(|(planting, part)| Planting { part_of_bed: part.unwrap_or(left), ..planting }).collect()
}

/// Beds are told apart by their labels, in the list and in the journal.
pub(super) fn same_bed_twice(root: &Table<'_>) {
    let ids = root.tables(BEDS).into_iter().filter_map(|bed| bed.optional("id"));
    let named = ids.filter_map(|value| Some((value.text_if_sound()?.to_string(), value)));
    each_once(named, "two beds are labelled", NOT_TOLD_APART, "give each bed its own label");
}

/// A bed shares a large cover with one neighbour, which is another bed of this garden.
pub(super) fn neighbours(root: &Table<'_>) {
    let label = |bed: &Table<'_>| bed.optional("id").and_then(|value| value.text_if_sound().map(str::to_string));
    let beds = root.tables(BEDS);
    let labels: Vec<String> = beds.iter().filter_map(label).collect();
    let is_pots = |named: &str| {
        beds.iter().any(|bed| {
            let kind = bed.optional("kind").and_then(|value| value.text_if_sound());
            label(bed).as_deref() == Some(named) && kind == Some("containers")
        })
    };
    let mut pairs: Vec<[String; 2]> = Vec::new();
    for bed in &beds {
        let (Some(id), Some(value)) = (label(bed), bed.optional("beside")) else { continue };
        let Some(named) = value.text_if_sound() else { continue };
        let why = "One large cover is laid over the two beds together.";
        if named == id {
            value.fault(
                format!("{id} cannot be beside itself"),
                why,
                "name the bed across the path, or remove the line",
            );
        } else if !labels.iter().any(|label| label == named) {
            let mend = suggestion(named, labels.iter().map(String::as_str))
                .unwrap_or_else(|| "write the label of another bed of this garden, or remove the line".into());
            value.fault(format!("no bed is labelled \"{named}\""), why, mend);
        } else if is_pots(named) || is_pots(&id) {
            let mend = "remove the line: pots are put together under one cover anyway";
            value.fault("containers have no neighbour", why, mend);
        } else {
            let pair = [id.clone(), named.to_string()];
            let is_same = |other: &[String; 2]| other.iter().all(|bed| pair.contains(bed));
            let taken = pairs.iter().filter(|other| !is_same(other)).find_map(|other| {
                let shared = other.iter().find(|bed| pair.contains(bed))?;
                Some((shared, other.iter().find(|bed| *bed != shared)?))
            });
            if let Some((shared, other)) = taken {
                let what = format!("{shared} is beside {other} already");
                value.fault(what, why, "let each bed stand in one pair only: the one that mostly shares its cover");
            }
            pairs.push(pair);
        }
    }
}
