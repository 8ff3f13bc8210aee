//! What a season's covers took and saved, in person-minutes, as lists reckon them.

use super::NightFigures;
use super::covers::{Lying, lying};
use crate::beds::{Bed, Garden};
use crate::crops::Catalogue;
use crate::crops::damage::DamageClass;
use crate::journal::event::Known;
use crate::journal::{Damage, What};
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

/// A report of damage with the crops of its bed for which it is the last word on its night.
pub(super) struct Report<'k> {
    pub damage: &'k Damage,
    /// Empty where it names none and nothing is known to grow there.
    pub crops: Vec<String>,
}

/// Reports of damage that stand, in order of their nights: of one planting and night the last one counts, be it of the
/// crop or of the whole bed. Reports of which nothing is left are not among them.
pub(super) fn damage<'k>(garden: &Garden, known: &'k Known) -> Vec<Report<'k>> {
    let mut reports: Vec<Report<'k>> = Vec::new();
    for written in known.entries.iter().filter(|written| written.stands()) {
        let What::Damage(damage) = &written.entry.what else { continue };
        let crops = match &damage.crop {
            Some(crop) => vec![crop.clone()],
            None => crops_of(garden, &damage.bed, damage.night),
        };
        reports.retain_mut(|earlier| {
            if earlier.damage.bed != damage.bed || earlier.damage.night != damage.night {
                return true;
            }
            earlier.crops.retain(|crop| damage.crop.is_some() && !crops.contains(crop));
            !earlier.crops.is_empty()
        });
        reports.push(Report { damage, crops });
    }
    reports.sort_by_key(|report| report.damage.night);
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
    let lying = lying(known, garden.site.longitude);
    let damage = damage(garden, known);
    for night in nights {
        let Some(lying) = lying.get(&night.of) else { continue };
        let beds = || lying.iter().filter_map(|lying| Some((lying, bed_of(garden, lying)?)));
        let work: Vec<f64> =
            beds().filter(|(lying, _)| lying.is_new).map(|(lying, bed)| work(garden, lying, bed)).collect();
        night.work = (!work.is_empty()).then(|| Minutes(work.iter().sum()));
        // Of a bed that no list spoke of nobody knows what would have become of it: then of the night neither.
        let worth = |bed: &Bed| worth_of(garden, catalogue, bed, night.of);
        let saved: Option<Vec<f64>> = beds().map(|(_, bed)| saved(night, bed, worth(bed), &damage)).collect();
        night.saved = saved.filter(|saved| !saved.is_empty()).map(|saved| Minutes(saved.iter().sum()));
    }
}

fn bed_of<'g>(garden: &'g Garden, lying: &Lying) -> Option<&'g Bed> {
    garden.beds.iter().find(|bed| bed.id == lying.bed)
}

/// To lay it and to take it off again, in little wind and without the way there.
fn work(garden: &Garden, lying: &Lying, bed: &Bed) -> f64 {
    let layers = u32::from(lying.layers);
    let stock = garden.covers.iter().find(|stock| Some(&stock.name) == lying.cover.as_ref());
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
        .map(|report| report.damage)
        .filter(|damage| damage.bed == bed.id && damage.night == night.of)
        .map(|damage| damage.class)
        .collect();
    let left = if found.is_empty() {
        said.remaining
    } else {
        found.iter().map(|class| class.typical().0).sum::<f64>() / found.len() as f64
    };
    Some(worth.0 * (said.chance - left).max(0.0))
}
