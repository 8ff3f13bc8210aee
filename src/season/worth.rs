//! What a season's covers took and saved, in person-minutes, as lists reckon them.

use super::NightFigures;
use super::covers::lying;
use crate::beds::{Bed, Garden};
use crate::crops::Catalogue;
use crate::crops::damage::DamageClass;
use crate::journal::Damage;
use crate::journal::event::Known;
use crate::journal::lying::Stay;
use crate::plan::cover_minutes;
use crate::risk::{pieces_for, worth};
use crate::units::Minutes;
use crate::zone::NightOf;

/// The sum of what is known; `None` where nothing is.
pub(super) fn sum(parts: impl Iterator<Item = Option<Minutes>>) -> Option<Minutes> {
    parts.flatten().reduce(|sum, part| sum + part)
}

/// What grows in a bed on a night is worth.
fn worth_of(garden: &Garden, catalogue: &Catalogue, bed: &Bed, of: NightOf) -> Minutes {
    let planted = bed.plantings.iter().filter(|planting| planting.planted.is_none_or(|planted| planted <= of.0));
    let known = planted.filter_map(|planting| Some((planting, catalogue.crops.get(&planting.crop)?)));
    known.fold(Minutes(0.0), |sum, (planting, crop)| sum + worth(garden, bed, planting, crop, of).minutes)
}

/// A report of damage with the crops of its bed for which it is the word on the night that did it.
pub(super) struct Report<'k> {
    pub damage: &'k Damage,
    /// The night that did it, by [`crate::journal::found`].
    pub night: NightOf,
    /// Empty where it names none and nothing is known to grow there.
    pub crops: Vec<String>,
}

/// Reports of damage that stand, in order of their nights: of one planting and night the worst counts, of equal ones the
/// last, be it of the crop or of the whole bed. Reports of which nothing is left are not among them.
pub(super) fn damage<'k>(garden: &Garden, known: &'k Known) -> Vec<Report<'k>> {
    let mut reports: Vec<Report<'k>> = Vec::new();
    for found in known.reports() {
        let (damage, night) = (found.damage, found.damage.night);
        let mut crops = match &damage.crop {
            Some(crop) => vec![crop.clone()],
            None => crops_of(garden, &damage.bed, night),
        };
        let is_unknown = crops.is_empty();
        let mut is_outdone = false;
        reports.retain_mut(|earlier| {
            if earlier.damage.bed != damage.bed || earlier.night != night {
                return true;
            }
            if earlier.damage.class > damage.class {
                crops.retain(|crop| !earlier.crops.contains(crop));
                is_outdone |= crops.is_empty();
                return true;
            }
            earlier.crops.retain(|crop| !is_unknown && !crops.contains(crop));
            !earlier.crops.is_empty()
        });
        if !is_outdone {
            reports.push(Report { damage, night, crops });
        }
    }
    reports.sort_by_key(|report| report.night);
    reports
}

fn crops_of(garden: &Garden, bed: &str, of: NightOf) -> Vec<String> {
    let bed = garden.beds.iter().find(|known| known.id == bed);
    let plantings = bed.map(|bed| bed.plantings.as_slice()).unwrap_or_default();
    let stood = plantings.iter().filter(|planting| planting.planted.is_none_or(|date| date <= of.0));
    stood.map(|planting| planting.crop.clone()).collect()
}

/// Adds to each night what its covers took and saved.
pub(super) fn reckon(garden: &Garden, catalogue: &Catalogue, known: &Known, nights: &mut [NightFigures]) {
    let lying = lying(garden, known);
    let damage = damage(garden, known);
    for night in nights {
        let Some(lying) = lying.get(&night.of) else { continue };
        let beds = || lying.iter().filter_map(|lying| Some((lying, bed_of(garden, lying)?)));
        let work: Vec<f64> =
            beds().filter(|(lying, _)| lying.first == night.of).map(|(lying, bed)| work(garden, lying, bed)).collect();
        night.work = (!work.is_empty()).then(|| Minutes(work.iter().sum()));
        // Of a bed that no list spoke of nobody knows what would have become of it: then of the night neither.
        let worth = |bed: &Bed| worth_of(garden, catalogue, bed, night.of);
        let saved: Option<Vec<f64>> = beds().map(|(_, bed)| saved(night, bed, worth(bed), &damage)).collect();
        night.saved = saved.filter(|saved| !saved.is_empty()).map(|saved| Minutes(saved.iter().sum()));
    }
}

fn bed_of<'g>(garden: &'g Garden, lying: &Stay) -> Option<&'g Bed> {
    garden.beds.iter().find(|bed| bed.id == lying.laid.bed)
}

/// To lay it and to take it off again, in little wind and without the way there.
fn work(garden: &Garden, lying: &Stay, bed: &Bed) -> f64 {
    let layers = u32::from(lying.laid.layers);
    let stock = garden.covers.iter().find(|stock| Some(&stock.name) == lying.laid.cover.as_ref());
    let pieces = stock.map_or(1, |stock| pieces_for(bed, stock)).saturating_mul(layers);
    let (lay, take_off) = cover_minutes(bed.area(), pieces, layers);
    lay + take_off
}

/// What a cover saved: the worth of the bed, times by how much the damage that was found (or, where nobody looked, the chance
/// that the list still gave under the cover) lies below the chance that it gave for the open bed. Nothing on a night that
/// was measured to stay above the garden's most tender threshold; `None` where nobody measured it.
fn saved(night: &NightFigures, bed: &Bed, worth: Minutes, damage: &[Report<'_>]) -> Option<f64> {
    if !night.was_cold()? {
        return Some(0.0);
    }
    let said = night.said_of(&bed.id)?;
    let found: Vec<DamageClass> = damage
        .iter()
        .filter(|report| report.damage.bed == bed.id && report.night == night.of)
        .map(|report| report.damage.class)
        .collect();
    let left = if found.is_empty() {
        said.remaining
    } else {
        found.iter().map(|class| class.typical().0).sum::<f64>() / found.len() as f64
    };
    Some(worth.0 * (said.chance - left).max(0.0))
}
