//! Reports of harm beside what the plants felt in those nights.
//!
//! A report speaks of a planting, a tolerance of one of its parts. What is learned goes to the part that frost harms first
//! among those that carry weight: if nothing is to be seen, nothing is to be seen on that part either, and if something is,
//! it is there first.

use super::rows::are_known;
use super::{Lessons, lows, of_harm, span_of};
use crate::beds::{Bed, Garden, Planting};
use crate::crops::{Catalogue, Crop, Figures, Frame, Harm, Organ, Tolerance};
use crate::journal::{Damage, Place};
use crate::learn::Learned;
use crate::learn::tolerance::{DamageReport, learn};
use crate::night::bed::{MEASURED_OFFSET_SPREAD, on_a_night};
use crate::night::cover::CoverConditions;
use crate::night::{Estimate, hours_below};
use crate::risk::{DECIDING_SHARE, HardenedBy, hardening_of, relief, stage_of};
use crate::units::Kelvins;
use crate::zone::NightOf;
use std::collections::BTreeMap;

/// The part of a crop in a stage of which reports speak.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Identifier of the crop.
    pub crop: String,
    /// As growers say it.
    pub crop_name: String,
    pub stage: String,
    pub organ: Organ,
    /// As the catalogue has it.
    pub published: Figures,
}

/// A report that teaches nothing, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Aside {
    pub night: NightOf,
    pub bed: String,
    /// None: it spoke of the whole bed.
    pub crop: Option<String>,
    /// Which of several sowings of it, where it said so.
    pub sowing: Option<String>,
    pub why: Why,
}

/// Why a report teaches nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// Bed or crop are not in the garden's file, or not yet on that night.
    NotThere,
    /// It speaks of a whole bed with several crops, or of a crop that stands there in several stages.
    Several,
    /// The part in question is compared with the temperature of the plant, which nobody measures, or of the soil, which nobody
    /// measured that night.
    OtherFrame(Frame),
    /// Nothing that carries weight is harmed by frost in that stage.
    NoSuchPart,
    /// No thermometer saw that night through.
    NoLow,
    /// How clear, calm or windy it was is not known: no round foretold that night.
    NoRound,
    /// Something lay on the bed, or was not written down as taken off, and nobody knows what it gained.
    UnknownCover,
}

/// A report of harm that stands, and the night that did it, by [`crate::journal::found`].
#[derive(Clone, Debug, PartialEq)]
pub struct Harmed {
    pub night: NightOf,
    pub damage: Damage,
}

/// What reports of harm have taught, and those that did not.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FromHarm {
    pub parts: Vec<(Part, Learned)>,
    pub aside: Vec<Aside>,
}

/// How well a thermometer tells the air at the plants, K (assumed).
const THERMOMETER: Kelvins = Kelvins(0.5);

/// The part of a crop in a stage that a report of harm speaks of.
pub fn part_of<'c>(crop: &'c Crop, stage: &str) -> Result<&'c Tolerance, Why> {
    let weighty = |part: &&Tolerance| part.harm == Harm::Freezing && part.share >= DECIDING_SHARE;
    let above = crop.at_stage(stage).filter(weighty).filter(|part| part.frame != Frame::Soil);
    let part = above.max_by(|a, b| a.damage_begins.0.total_cmp(&b.damage_begins.0));
    match part.or_else(|| crop.at_stage(stage).find(weighty)) {
        Some(part) if part.frame == Frame::Tissue => Err(Why::OtherFrame(part.frame)),
        Some(part) => Ok(part),
        None => Err(Why::NoSuchPart),
    }
}

/// What reports have taught of each crop and stage, in order of their names. Offsets and gains of the garden act as they
/// stand in it, accepted ones too. Of a planting that was looked at on several days, the worst counts: harm shows late.
pub fn of(garden: &Garden, catalogue: &Catalogue, lessons: &Lessons) -> FromHarm {
    let mut found = FromHarm::default();
    let mut looks = BTreeMap::new();
    for Harmed { night, damage } in &lessons.damage {
        let bed = garden.beds.iter().find(|bed| bed.id == damage.bed);
        let crop = damage.crop.clone().or_else(|| only_crop(bed?, *night));
        let worst = looks.entry((*night, damage.bed.clone(), crop, damage.sowing.clone())).or_insert(damage);
        if damage.class >= worst.class {
            *worst = damage;
        }
    }
    let mut reports: BTreeMap<(String, String, Organ), (Part, Vec<DamageReport>)> = BTreeMap::new();
    for ((night, bed, crop, sowing), damage) in looks {
        match report(garden, catalogue, lessons, crop.as_deref(), night, damage) {
            Ok((part, report)) => {
                let key = (part.crop.clone(), part.stage.clone(), part.organ);
                reports.entry(key).or_insert_with(|| (part, Vec::new())).1.push(report);
            }
            Err(why) => found.aside.push(Aside { night, bed, crop, sowing, why }),
        }
    }
    // What was accepted acts, and so is listed, when its reports are gone.
    for learned in &garden.learned.shifts {
        let part = catalogue.crops.get(&learned.crop).and_then(|crop| {
            let tolerance = crop.at_stage(&learned.stage).find(|part| learned.is_of(part))?;
            Some(Part::of(crop, &learned.stage, tolerance))
        });
        if let Some(part) = part {
            let key = (part.crop.clone(), part.stage.clone(), part.organ);
            reports.entry(key).or_insert_with(|| (part, Vec::new()));
        }
    }
    for (part, reports) in reports.into_values() {
        let learned = learn(part.published, &reports).shift;
        found.parts.push((part, learned));
    }
    found
}

fn stood(planting: &Planting, night: NightOf) -> bool {
    planting.planted.is_none_or(|planted| planted <= night.0)
}

/// The crop of a bed that has but one on a night.
fn only_crop(bed: &Bed, night: NightOf) -> Option<String> {
    let mut crops = bed.plantings.iter().filter(|planting| stood(planting, night)).map(|planting| &planting.crop);
    let first = crops.next()?;
    crops.all(|crop| crop == first).then(|| first.clone())
}

fn report(
    garden: &Garden,
    catalogue: &Catalogue,
    lessons: &Lessons,
    crop: Option<&str>,
    night: NightOf,
    damage: &Damage,
) -> Result<(Part, DamageReport), Why> {
    let number = garden.beds.iter().position(|bed| bed.id == damage.bed).ok_or(Why::NotThere)?;
    let bed = garden.beds.get(number).ok_or(Why::NotThere)?;
    let crop = catalogue.crops.get(crop.ok_or(Why::Several)?).ok_or(Why::NotThere)?;
    let meant = |planting: &&Planting| damage.sowing.as_ref().is_none_or(|sowing| planting.is_sowing(sowing));
    let mut plantings = bed.plantings_of(&crop.id).filter(meant).filter(|planting| stood(planting, night));
    let planting = plantings.next().ok_or(Why::NotThere)?;
    let stage = stage_of(garden, planting, crop, night);
    if plantings.any(|other| stage_of(garden, other, crop, night).name != stage.name) {
        return Err(Why::Several);
    }
    let part = part_of(crop, stage.name)?;
    let (air, seen_at) = match part.frame {
        Frame::Soil => soil_at(lessons, bed, night)?,
        Frame::ScreenAir | Frame::Tissue => air_at(garden, lessons, bed, night)?,
    };
    // The garden's own gain and hours, where it has them.
    let figures = garden.figures(planting, stage.name, part).figures;
    let span = span_of(garden, night);
    let rows_at = |place: &Place| {
        lessons.rows.iter().filter(|rows| rows.night == night && rows.place == *place).collect::<Vec<_>>()
    };
    let mut records = rows_at(&Place::Screen).into_iter().map(|rows| rows.days_before(&span));
    // A day of which too little is known would count as mild, and what hardening it gave as none.
    let past = records.find(|days| are_known(days)).unwrap_or_default();
    let state = hardening_of(bed, planting, crop, &stage, &past, night);
    let degree = (state.from != HardenedBy::NoRecord).then_some(state.degree);
    let gain = figures.hardened_gain;
    let hardening = Taken { most: Kelvins(gain.0 * degree.unwrap_or(1.0)), is_known: degree.is_some() };
    let hours = lessons.low(night, &seen_at).and_then(|low| {
        let rows = rows_at(&seen_at).into_iter().find_map(|rows| rows.whole_night(&span, low))?;
        let (begins, here) = (part.damage_begins - hardening.most, air.mean - low);
        Some(hours_below(rows.iter().map(|(at, air)| (*at, *air + here)), begins))
    });
    let most = |needed| relief(part.damage_begins, part.severe, hours.unwrap_or(0.0), needed);
    let short = Taken { most: figures.exposure_hours.map_or(Kelvins(0.0), most), is_known: hours.is_some() };
    let report = DamageReport {
        night,
        bed: number,
        class: damage.class.number(),
        felt: as_unhardened(air, hardening, short),
        confirmed: lessons.confirmed.contains(&(night, of_harm(&bed.id, &crop.id))),
    };
    Ok((Part::of(crop, stage.name, part), report))
}

impl Part {
    fn of(crop: &Crop, stage: &str, tolerance: &Tolerance) -> Part {
        Part {
            crop: crop.id.clone(),
            crop_name: crop.name.clone(),
            stage: stage.into(),
            organ: tolerance.organ,
            published: tolerance.figures(),
        }
    }
}

/// What made a frost milder to a plant than its low alone.
#[derive(Clone, Copy)]
struct Taken {
    /// As it was, or, where that is not known, as much as it can have been.
    most: Kelvins,
    is_known: bool,
}

/// What an unhardened plant would have felt in a long frost. Hardening and hours that are not known count in full, which errs
/// to the tender side: harm is taken to have come of milder air than it did. That they may have been anything from nothing to
/// all is in the spread, as of even chances.
fn as_unhardened(air: Estimate, hardening: Taken, relief: Taken) -> Estimate {
    let of_even_chances = |taken: Taken| if taken.is_known { 0.0 } else { taken.most.0 / 12.0_f64.sqrt() };
    let spread = Kelvins(of_even_chances(hardening).hypot(of_even_chances(relief)));
    air.moved(Kelvins(hardening.most.0 + relief.most.0), spread)
}

/// The lowest temperature of the soil of a bed, which a cover above it changes little.
fn soil_at(lessons: &Lessons, bed: &Bed, night: NightOf) -> Result<(Estimate, Place), Why> {
    let place = Place::Soil { bed: bed.id.clone() };
    let low = lessons.low(night, &place).ok_or(Why::OtherFrame(Frame::Soil))?;
    Ok((Estimate { mean: low, spread: THERMOMETER }, place))
}

/// The lowest air at the plants of a bed, and where a thermometer showed it: under the cover that was on it, else in the
/// open. A thermometer in that place goes before one beside it, and that before the garden's screen; without any of them
/// nothing is known.
fn air_at(garden: &Garden, lessons: &Lessons, bed: &Bed, night: NightOf) -> Result<(Estimate, Place), Why> {
    let low = |place: &Place| {
        let low = lows::at(&lessons.lows, night, place)?;
        Some(Estimate { mean: low.low, spread: THERMOMETER }.moved(Kelvins(0.0), low.spread))
    };
    let id = bed.id.clone();
    let at_bed = Place::Bed { bed: id.clone() };
    let beneath = Place::UnderCover { bed: id.clone(), cover: None };
    if let Some(under) = low(&beneath) {
        return Ok((under, beneath));
    }
    let cover = match lessons.covered.get(&(night, id)) {
        None => None,
        Some(None) => return Err(Why::UnknownCover),
        Some(Some(cover)) => Some(*cover),
    };
    let round = || lessons.last_foretold(garden, night).ok_or(Why::NoRound);
    let (open, seen_at) = match low(&at_bed) {
        Some(low) => (low, at_bed),
        None => {
            let screen = low(&Place::Screen).ok_or(Why::NoLow)?;
            let weight = round()?.clear_calm;
            let spread = match (bed.offset, bed.learned_offset) {
                (Some(_), _) => on_a_night(MEASURED_OFFSET_SPREAD),
                (None, Some(learned)) => on_a_night(learned.spread),
                (None, None) => bed.exposure.effect().offset_spread,
            };
            let open = screen.moved(Kelvins(bed.offset_in_use().0 * weight), Kelvins(spread.0 * weight));
            (open, Place::Screen)
        }
    };
    let Some(cover) = cover else { return Ok((open, seen_at)) };
    let conditions =
        CoverConditions { wind_10m: round()?.wind_10m.0, left_by_the_day: CoverConditions::left_by(None, None) };
    let gain = garden.learned.gain(cover, conditions);
    Ok((open.moved(gain.mean, gain.spread), seen_at))
}

#[cfg(test)]
mod tests;
