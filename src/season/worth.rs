//! What a season's covers took and saved, in person-minutes, as lists reckon them.

use super::NightFigures;
use super::covers::lying;
use crate::beds::{Bed, Garden};
use crate::crops::Catalogue;
use crate::journal::What;
use crate::journal::event::{Known, night_of};
use crate::journal::found::WorstReport;
use crate::journal::lying::Stay;
use crate::plan::cover_minutes;
use crate::risk::{pieces_for, worth};
use crate::units::Minutes;
use crate::zone::NightOf;
use chrono::Duration;
use std::collections::BTreeMap;

/// The sum of what is known; `None` where nothing is.
pub(super) fn sum(parts: impl Iterator<Item = Option<Minutes>>) -> Option<Minutes> {
    parts.flatten().reduce(|sum, part| sum + part)
}

/// What grows in a bed on a night, and what each crop is worth.
fn worth_by_crop<'g>(garden: &Garden, catalogue: &Catalogue, bed: &'g Bed, of: NightOf) -> BTreeMap<&'g str, Minutes> {
    let mut crops = BTreeMap::new();
    for planting in bed.plantings.iter().filter(|planting| planting.planted.is_none_or(|planted| planted <= of.0)) {
        if let Some(crop) = catalogue.crops.get(&planting.crop) {
            let sum = crops.entry(planting.crop.as_str()).or_insert(Minutes(0.0));
            *sum = *sum + worth(garden, bed, planting, crop, of).minutes;
        }
    }
    crops
}

/// Of one crop in one bed the part that still stands, 0 to 1: as it was, and as it would be had nothing ever been covered.
#[derive(Clone, Copy)]
struct Standing {
    as_it_was: f64,
    open: f64,
}

/// What stands at each bed, by crops.
type Stand<'s> = BTreeMap<(&'s str, &'s str), Standing>;

/// Adds to each night what its covers took and saved, the first night first: what would have been lost once in the open cannot be
/// lost again, and so no bed saves more over a season than it is worth.
pub(super) fn reckon(garden: &Garden, catalogue: &Catalogue, known: &Known, nights: &mut [NightFigures]) {
    let lying = lying(garden, known);
    let damage = known.worst_reports(garden);
    let mut stand = Stand::new();
    let mut sown = resown(garden, known).into_iter().peekable();
    for night in nights {
        while let Some((_, at)) = sown.next_if(|(from, _)| *from <= night.of) {
            stand.remove(&at);
        }
        let lying = lying.get(&night.of).map(Vec::as_slice).unwrap_or_default();
        let mut saved = (!lying.is_empty()).then_some(0.0);
        for bed in &garden.beds {
            let is_covered = lying.iter().any(|stay| stay.laid.bed == bed.id);
            let of_bed = saved_at(garden, catalogue, night, bed, is_covered, &damage, &mut stand);
            if is_covered {
                // Of a bed that no list spoke of nobody knows what would have become of it: then of the night neither.
                saved = saved.zip(of_bed).map(|(sum, of_bed)| sum + of_bed);
            }
        }
        night.saved = saved.map(Minutes);
        let laid = lying.iter().filter(|stay| stay.first == night.of);
        let work: Vec<f64> = laid.filter_map(|stay| Some(work(garden, stay, bed_of(garden, stay)?))).collect();
        night.work = (!work.is_empty()).then(|| Minutes(work.iter().sum()));
    }
}

/// What was sown again, and the first night after that, in order of nights.
fn resown<'k>(garden: &Garden, known: &'k Known) -> Vec<(NightOf, (&'k str, &'k str))> {
    let sown =
        known.entries.iter().filter(|written| written.stands()).filter_map(|written| match &written.entry.what {
            What::Resown(sown) => {
                let from = night_of(written.entry.at + Duration::hours(12), garden.site.longitude);
                Some((from, (sown.bed.as_str(), sown.crop.as_str())))
            }
            _ => None,
        });
    let mut sown: Vec<_> = sown.collect();
    sown.sort();
    sown
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

/// What covers saved at a bed in a night: the worth of each planting, times what of it the list expected to be lost in the open,
/// of what would still have stood there, less what was found to be lost or, where nobody looked, what the list still expected.
/// Nothing on a night that was measured to stay above the garden's most tender threshold; `None` where nobody measured it, or no
/// list spoke of the bed.
fn saved_at<'g>(
    garden: &'g Garden,
    catalogue: &Catalogue,
    night: &NightFigures,
    bed: &'g Bed,
    is_covered: bool,
    damage: &[WorstReport<'_>],
    stand: &mut Stand<'g>,
) -> Option<f64> {
    let of_night = |report: &&WorstReport<'_>| report.damage.bed == bed.id && report.night == night.of;
    let reports: Vec<&WorstReport<'_>> = damage.iter().filter(of_night).collect();
    let said = night.last_word_of(&bed.id).filter(|_| night.was_cold() == Some(true));
    let asked = night.was_asked(&bed.id).is_some();
    let mut saved = 0.0;
    for (crop, worth) in worth_by_crop(garden, catalogue, bed, night.of) {
        let stand = stand.entry((&bed.id, crop)).or_insert(Standing { as_it_was: 1.0, open: 1.0 });
        let found = reports.iter().filter(|report| report.crops.iter().any(|harmed| harmed == crop));
        let found = found.map(|report| report.damage.class.typical().0).reduce(f64::max);
        let expected = said.map(|said| said.expected(crop));
        let left = found.or(expected.map(|(_, left)| left)).unwrap_or(0.0);
        let open = match expected {
            Some((open, _)) if is_covered || asked => open,
            // It lay open: what became of it is what would have.
            _ => left,
        };
        saved += worth.0 * (stand.open * open - stand.as_it_was * left).max(0.0);
        stand.as_it_was *= 1.0 - left;
        // What was lost under its cover does not stand in the open either.
        stand.open = (stand.open * (1.0 - open)).min(stand.as_it_was);
    }
    match night.was_cold()? {
        true => said.map(|_| saved),
        false => Some(0.0),
    }
}
