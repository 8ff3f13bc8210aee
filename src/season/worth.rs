//! What a season's covers took and saved, in person-minutes, as lists reckon them.

use super::NightFigures;
use super::covers::{Lying, lying};
use crate::beds::{Bed, Garden};
use crate::crops::damage::DamageClass;
use crate::journal::event::Known;
use crate::journal::{Damage, What};
use crate::plan::cover_minutes;
use crate::risk::pieces_for;
use crate::units::Minutes;
use crate::zone::NightOf;
use std::collections::BTreeMap;

/// The sum of what is known; `None` where nothing is.
pub(super) fn sum(parts: impl Iterator<Item = Option<Minutes>>) -> Option<Minutes> {
    parts.flatten().reduce(|sum, part| sum + part)
}

/// What grows in a bed on a night is worth.
fn worth(garden: &Garden, bed: &Bed, of: NightOf) -> Minutes {
    let planted = bed.plantings.iter().filter(|planting| planting.planted.is_none_or(|planted| planted <= of.0));
    planted.fold(Minutes(0.0), |sum, planting| sum + garden.worth(bed, planting))
}

/// Damage that stands, the last report of each bed, crop and night, in the order of the journal.
pub(super) fn damage(known: &Known) -> Vec<&Damage> {
    let mut last: BTreeMap<(&str, Option<&str>, NightOf), &Damage> = BTreeMap::new();
    for written in known.entries.iter().filter(|written| written.stands()) {
        if let What::Damage(damage) = &written.entry.what {
            last.insert((&damage.bed, damage.crop.as_deref(), damage.night), damage);
        }
    }
    let mut damage: Vec<&Damage> = last.into_values().collect();
    damage.sort_by_key(|damage| damage.night);
    damage
}

/// Adds to each night what its covers took and saved.
pub(super) fn reckon(garden: &Garden, known: &Known, nights: &mut [NightFigures]) {
    let lying = lying(known, garden.site.longitude);
    let damage = damage(known);
    for night in nights {
        let Some(lying) = lying.get(&night.of) else { continue };
        let beds = || lying.iter().filter_map(|lying| Some((lying, bed_of(garden, lying)?)));
        let work: Vec<f64> =
            beds().filter(|(lying, _)| lying.is_new).map(|(lying, bed)| work(garden, lying, bed)).collect();
        night.work = (!work.is_empty()).then(|| Minutes(work.iter().sum()));
        // Of a bed that no list spoke of nobody knows what would have become of it: then of the night neither.
        let saved: Option<Vec<f64>> = beds().map(|(_, bed)| saved(garden, night, bed, &damage)).collect();
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
fn saved(garden: &Garden, night: &NightFigures, bed: &Bed, damage: &[&Damage]) -> Option<f64> {
    if !night.was_cold()? {
        return Some(0.0);
    }
    let said = night.said_of(&bed.id)?;
    let found: Vec<DamageClass> = damage
        .iter()
        .filter(|damage| damage.bed == bed.id && damage.night == night.of)
        .map(|damage| damage.class)
        .collect();
    let left = if found.is_empty() {
        said.remaining
    } else {
        found.iter().map(|class| class.typical().0).sum::<f64>() / found.len() as f64
    };
    Some(worth(garden, bed, night.of).0 * (said.chance - left).max(0.0))
}
