//! A planting of a bed: its crop, and the manager's word or the dates that tell its stage and hardening.

use super::KnownCrops;
use super::bed::OF_A_BED;
use super::reader::Table;
use super::suggest::nearest;
use super::value::Value;
use crate::beds::{Hardened, Planting, Raised};
use crate::crops::age::can_tell;
use crate::crops::{CountedFrom, Crop};
use crate::units::{Limits, MINUTES, Minutes};
use chrono::NaiveDate;

/// Part of a bed that a planting fills.
pub(super) const PART: Limits =
    Limits { what: "part", low: 0.01, high: 1.0, unit: "of the bed", why: "a planting fills a part of its bed" };
const PLANTS: Limits = Limits {
    what: "number of plants",
    low: 1.0,
    high: 20_000.0,
    unit: "",
    why: "a planting has one plant or more, and not as many as that",
};
/// Keys of a planting, for whoever writes one above it.
pub(super) const OF_A_PLANTING: [&str; 10] =
    ["crop", "cultivar", "stage", "hardened", "planted", "start", "raised", "part_of_bed", "plants", "worth_minutes"];

/// A planting, and the part of the bed it says it fills. `today` is the garden's, where it is known.
pub(super) fn read_planting(
    table: Table<'_>,
    crops: &KnownCrops,
    today: Option<NaiveDate>,
) -> Option<(Planting, Option<f64>)> {
    let crop = table.required("crop", "crop = \"carrot\" (a name from crops/)");
    let crop = crop.and_then(|value| read_crop(&value, crops));
    let known = crop.as_ref().and_then(|(_, crop)| *crop);
    let (stage_given, planted_given) = (table.optional("stage"), table.optional("planted"));
    let stage = stage_given.as_ref().map_or(Some(None), |value| read_stage(value, known).map(Some));
    let planted = planted_given.as_ref().map_or(Some(None), |value| read_planted(value, today).map(Some));
    if stage_given.is_none() {
        stage_can_be_told(&table, known, planted_given.is_some());
    }
    let hardened = optional_word(&table, "hardened", Hardened::ALL, Hardened::word);
    let start = optional_word(&table, "start", CountedFrom::ALL, CountedFrom::word);
    if let Some(value) = table.optional("start").filter(|_| planted_given.is_none()) {
        let mend = "add planted with the date, or remove the line";
        value.fault_at_key("start says how planted is counted, and there is no date", "", mend);
    }
    let raised = optional_word(&table, "raised", Raised::ALL, Raised::word);
    let cultivar = table.optional("cultivar").and_then(|value| value.name()).map(str::to_string);
    let part = table.optional("part_of_bed").map_or(Some(None), |value| value.number(&PART).map(Some));
    let plants = table.optional("plants").and_then(|value| value.count(&PLANTS));
    let worth = table.optional("worth_minutes").and_then(|value| value.number(&MINUTES)).map(Minutes);
    // Below a heading everything belongs to it, also what was meant for the bed.
    for value in OF_A_BED.iter().filter_map(|key| table.refused(key)) {
        let what = format!("{} belongs to the bed, not to what grows there", value.key);
        value.fault_at_key(what, "", "move the line up, above the first [[beds.plantings]] of this bed");
    }
    table.finish();
    let (crop, _) = crop?;
    let (stage, planted) = (stage?, planted?);
    let (hardened, start, raised) = (hardened?, start?, raised?);
    Some((Planting { crop, cultivar, stage, hardened, planted, start, raised, part_of_bed: 1.0, plants, worth }, part?))
}

/// A word that may be left out; `None` where it is at fault.
fn optional_word<T: Copy>(
    table: &Table<'_>,
    key: &'static str,
    all: &[T],
    word: fn(T) -> &'static str,
) -> Option<Option<T>> {
    table.optional(key).map_or(Some(None), |value| value.word(all, word).map(Some))
}

fn read_stage(value: &Value<'_>, crop: Option<&Crop>) -> Option<String> {
    let text = value.text()?;
    let Some(crop) = crop else { return Some(text.to_string()) };
    if !crop.stages.iter().any(|stage| stage == text) {
        value.fault(format!("{} has no stage \"{text}\"", crop.name), "", stages_of(crop));
        return None;
    }
    Some(text.to_string())
}

fn stages_of(crop: &Crop) -> String {
    format!("its stages are: {}", crop.stages.join(", "))
}

/// What is not in the ground yet has nothing to lose, and would be young for ever.
fn read_planted(value: &Value<'_>, today: Option<NaiveDate>) -> Option<NaiveDate> {
    let date = value.date()?;
    if let Some(today) = today.filter(|today| date > *today) {
        let why = "What is not in the ground yet cannot be warned about.";
        let mend = "correct the date, or add the planting on its day";
        value.fault(format!("planted lies in the future: today is {today}"), why, mend);
        return None;
    }
    Some(date)
}

/// Without a stage there must be a date that tells it.
fn stage_can_be_told(planting: &Table<'_>, crop: Option<&Crop>, has_date: bool) {
    let stages = crop.map_or("a stage of its crop".to_string(), |crop| crop.stages.join(", "));
    if !has_date {
        let what = format!("{} has neither stage nor planted", planting.name());
        let why = "What a frost takes depends on how far a crop has grown.";
        let mend = "add planted = 2026-09-12, the day it was sown or set out; or stage, one of";
        planting.fault(what, why, format!("{mend}: {stages}"));
    } else if let Some(crop) = crop.filter(|crop| !can_tell(crop, crop.growing.days_to_maturity)) {
        let what = format!("no date tells the stage of {}", crop.name);
        let why = "It lives for years and sleeps in between.";
        planting.fault(what, why, format!("add stage, one of: {stages}"));
    }
}

/// A crop by the name of its file, or by its own name.
pub(super) fn read_crop<'c>(value: &Value<'_>, crops: &'c KnownCrops) -> Option<(String, Option<&'c Crop>)> {
    let text = value.text()?;
    let known = &crops.catalogue.crops;
    // A grower may well write the crop's own name instead of the name of its file.
    let named =
        || known.values().find(|crop| [&crop.name, &crop.listed_as].iter().any(|name| name.eq_ignore_ascii_case(text)));
    if let Some(crop) = known.get(text).or_else(named) {
        return Some((crop.id.clone(), Some(crop)));
    }
    // Its own file says what is wrong with it.
    if crops.at_fault.iter().any(|id| id == text) {
        return Some((text.to_string(), None));
    }
    let names = known.keys().chain(&crops.at_fault).map(String::as_str);
    let mend = match nearest(text, names) {
        Some(near) => format!("did you mean \"{near}\"? `counterpane check --crops` lists all names"),
        None => "choose a name that `counterpane check --crops` lists".to_string(),
    };
    value.fault(format!("no crop is called \"{text}\""), "A bed without a known crop could not be warned about.", mend);
    None
}
