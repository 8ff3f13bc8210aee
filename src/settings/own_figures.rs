//! `[[own_figures]]` of a garden file: what the garden has found out of a crop, in place of the catalogue's figures.

use super::KnownCrops;
use super::crops::{GAIN, HOURS, NARROWEST_CURVE, SPREAD, read_days, read_stages};
use super::planting::read_crop;
use super::reader::{Listed, Table};
use super::suggest::suggestion;
use super::value::Value;
use crate::beds::{Applied, Bed, OwnFigures};
use crate::crops::{Crop, Harm, Organ, Tolerance};
use crate::units::{Celsius, THRESHOLD};

const OWN_FIGURES: Listed = Listed { key: "own_figures", one: "own figure", told_by: Some("crop") };

/// Reads the garden's own figures. `beds` are those that could be read, to know its cultivars.
pub(super) fn read(root: &Table<'_>, beds: &[Bed], crops: &KnownCrops) -> Vec<OwnFigures> {
    let read = root.tables(OWN_FIGURES).into_iter().filter_map(|table| {
        let (own, crop) = read_one(&table, beds, crops)?;
        // A crop at fault in its own file is known by name alone.
        Some((table, own, crop?))
    });
    let read: Vec<(Table<'_>, OwnFigures, &Crop)> = read.collect();
    let all: Vec<OwnFigures> = read.iter().map(|(_, own, _)| own.clone()).collect();
    for (index, (table, own, crop)) in read.iter().enumerate() {
        twice(table, own, &all[..index], crop);
        makes_curves(table, own, &all, crop);
    }
    all
}

fn read_one<'c>(table: &Table<'_>, beds: &[Bed], crops: &'c KnownCrops) -> Option<(OwnFigures, Option<&'c Crop>)> {
    let crop = table.required("crop", "crop = \"carrot\" (a name from crops/)");
    let crop = crop.and_then(|value| read_crop(&value, crops));
    let known = crop.as_ref().and_then(|(_, crop)| *crop);
    let cultivar = table
        .optional("cultivar")
        .map_or(Some(None), |value| read_cultivar(&value, crop.as_ref().map(|(id, _)| id.as_str()), beds).map(Some));
    let organ = table.optional("organ").map_or(Some(None), |value| value.word(Organ::ALL, Organ::word).map(Some));
    let harm = table.optional("harm").map_or(Some(None), |value| value.word(Harm::ALL, Harm::word).map(Some));
    let of_the_crop = known.map(|crop| crop.stages.as_slice()).unwrap_or_default();
    let stages = table.optional("stages").map_or(Some(Vec::new()), |value| read_stages(&value, of_the_crop));
    let celsius = |key| table.optional(key).map_or(Some(None), |value| value.temperature(&THRESHOLD).map(Some));
    let (damage_begins, severe) = (celsius("damage_begins"), celsius("severe"));
    let kelvins = |key, limits| table.optional(key).map_or(Some(None), |value| value.difference(limits).map(Some));
    let (hardened_gain, spread) = (kelvins("hardened_gain", &GAIN), kelvins("spread", &SPREAD));
    let hours = table.optional("exposure_hours").map_or(Some(None), |value| value.number(&HOURS).map(Some));
    let days = table.optional("days_to_maturity").map_or(Some(None), |value| read_days(&value).map(Some));
    table.report_unknown();
    let (crop, known) = crop?;
    let own = OwnFigures {
        crop,
        cultivar: cultivar?,
        organ: organ?,
        harm: harm?,
        stages: stages?,
        damage_begins: damage_begins?,
        severe: severe?,
        hardened_gain: hardened_gain?,
        spread: spread?,
        exposure_hours: hours?,
        days_to_maturity: days?,
    };
    if own.figures().next().is_none() {
        let mend = "add damage_begins, severe, hardened_gain, spread, exposure_hours or days_to_maturity";
        table.fault(format!("{} has no figure", table.name()), "", mend);
        return None;
    }
    if let Some(crop) = known
        && selected(&own, crop).next().is_none()
    {
        let parts: Vec<&str> = crop.tolerances.iter().map(|part| part.organ.word()).collect();
        let what = format!("no part of {} is meant by organ, harm and stages together", crop.name);
        let why = "A figure that meets nothing could lose a warning.";
        table.fault(what, why, format!("leave some of them out; its parts are: {}", each_once(&parts).join(", ")));
        return None;
    }
    Some((own, known))
}

/// The cultivar of some planting: a misspelt one would be ignored in silence.
fn read_cultivar(value: &Value<'_>, crop: Option<&str>, beds: &[Bed]) -> Option<String> {
    let text = value.name()?;
    let plantings = beds.iter().flat_map(|bed| &bed.plantings).filter(|planting| Some(planting.crop.as_str()) == crop);
    let cultivars: Vec<&str> = plantings.filter_map(|planting| planting.cultivar.as_deref()).collect();
    if crop.is_some() && !cultivars.iter().any(|cultivar| cultivar.eq_ignore_ascii_case(text)) {
        let why = "A figure that meets nothing could lose a warning.";
        let mend = suggestion(text, cultivars.iter().copied())
            .unwrap_or_else(|| "write it as in a planting of this garden, or leave it out to mean them all".into());
        value.fault(format!("no planting here has the cultivar \"{text}\""), why, mend);
        return None;
    }
    Some(text.to_string())
}

/// The parts and stages of a crop that a garden's figures speak of.
fn selected<'c>(own: &OwnFigures, crop: &'c Crop) -> impl Iterator<Item = (&'c Tolerance, &'c str)> {
    let pairs = crop.tolerances.iter().flat_map(|part| part.stages.iter().map(move |stage| (part, stage.as_str())));
    pairs.filter(|(part, stage)| own.selects(part, stage)).collect::<Vec<_>>().into_iter()
}

/// Two figures for one thing, of which one would be ignored.
fn twice(table: &Table<'_>, own: &OwnFigures, earlier: &[OwnFigures], crop: &Crop) {
    let same_cultivar = |other: &&OwnFigures| match (&own.cultivar, &other.cultivar) {
        (None, None) => true,
        (Some(one), Some(two)) => one.eq_ignore_ascii_case(two),
        _ => false,
    };
    for other in earlier.iter().filter(|other| other.crop == own.crop).filter(same_cultivar) {
        let meets = selected(own, crop).any(|(part, stage)| other.selects(part, stage));
        let shared = own.figures().find(|figure| other.figures().any(|theirs| theirs == *figure));
        if let Some(figure) = shared.filter(|_| meets) {
            let what = format!("{} has {} twice for the same part", table.name(), figure.word());
            table.fault(what, "One of the two would be ignored.", "keep one, or tell them apart by organ and stages");
        }
    }
}

/// Together with what the catalogue and the garden say of the crop, harm must begin before it is severe. What is said
/// of all cultivars is looked at once by itself and once with each cultivar.
fn makes_curves(table: &Table<'_>, own: &OwnFigures, all: &[OwnFigures], crop: &Crop) {
    let written = ["damage_begins", "severe", "hardened_gain"].into_iter().find_map(|key| table.optional(key));
    let Some(value) = written else { return };
    for (part, stage) in selected(own, crop) {
        let mut applied = Applied::published(part);
        let of_this =
            |other: &&OwnFigures| other.is_of(&crop.id, own.cultivar.as_deref()) && other.selects(part, stage);
        let (general, special): (Vec<&OwnFigures>, Vec<&OwnFigures>) =
            all.iter().filter(of_this).partition(|other| other.cultivar.is_none());
        general.into_iter().chain(special).for_each(|other| other.apply(&mut applied));
        let (begins, severe) = (applied.figures.damage_begins, applied.figures.severe);
        if begins - severe < NARROWEST_CURVE {
            let what = format!(
                "damage to the {} of {} would begin at {}, where it is severe from {} on",
                part.organ.word(),
                crop.name,
                both(begins),
                both(severe)
            );
            let why = "Severe damage needs a colder night than first damage.";
            value.fault(what, why, "give damage_begins and severe together, severe at least 0.1 C colder");
            return;
        }
        // What the literature calls heavy loss of the hardiest plants is no place for first harm.
        let hardiest = begins - applied.figures.hardened_gain;
        let limit = part.severe - part.hardened_gain;
        if hardiest < limit {
            let what = format!(
                "hardened {} would begin to suffer at {} ({}), colder than {}, where the crop list has heavy loss",
                crop.name,
                both(hardiest),
                part.organ.word(),
                both(limit)
            );
            let why = "Such a bed would be called fine on a night that kills.";
            value.fault(what, why, "give a warmer damage_begins or a smaller hardened_gain");
            return;
        }
    }
}

fn both(temperature: Celsius) -> String {
    format!("{:.1} C ({:.1} F)", temperature.0, temperature.fahrenheit())
}

fn each_once<'w>(words: &[&'w str]) -> Vec<&'w str> {
    let mut once: Vec<&str> = Vec::new();
    for word in words {
        if !once.contains(word) {
            once.push(word);
        }
    }
    once
}
