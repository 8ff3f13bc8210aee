//! Which night did the harm that somebody found.
//!
//! Harm shows late, and so a planting is looked at more than once: whoever writes down at the second look what is still to
//! be seen has seen no second harm. There is this one rule, for what a night has taught, for its story and for its season.
//!
//! ```text
//! a report on a planting that was reported on before, seen within 15 days of the night of that report
//!   belongs to the last night since then that was at least as dangerous as that one,
//!   or to that one itself, where none was
//! any other report                                         to the night that it names
//! several reports of one planting and night                the worst counts, of equal ones the last
//! ```
//!
//! The danger of a night is its lowest air. A night counts as dangerous as another where it may have been as cold: a
//! thermometer errs by 0.5 K (assumed), a night that was only foretold by the spread of its forecast. A report
//! of a night of which nothing is known stays where it is, and so does one of what was sown again since.

use super::event::{ForecastAtRound, Known, PlaceLow, Written, night_of, tender_of};
use super::{Damage, Place, What};
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::night::Estimate;
use crate::risk::assess;
use crate::units::Kelvins;
use crate::zone::NightOf;
use chrono::Duration;
use std::collections::BTreeMap;

/// A report of damage that stands, and the night that did it.
#[derive(Clone, Debug, PartialEq)]
pub struct Report<'e> {
    pub written: &'e Written,
    pub damage: &'e Damage,
    pub night: NightOf,
}

/// So long after a night people are asked what it did.
pub const ASKED_WITHIN: Duration = Duration::days(15);
/// How well a thermometer tells a night's low, K (assumed).
const MEASURED: Kelvins = Kelvins(0.5);

/// How cold a night was, as far as it is known.
pub type Dangers = BTreeMap<NightOf, Estimate>;

/// How cold each night was: its lowest air from a thermometer that saw it through, else the lowest that was seen or foretold
/// on its day. Nights of which nothing is known are not among them.
pub fn dangers(foretold: &[ForecastAtRound], looks: &[PlaceLow], whole: &[PlaceLow], longitude: f64) -> Dangers {
    let of_day = foretold.iter().filter(|round| round.is_of_its_day(longitude));
    let mut dangers: Dangers = of_day.map(|round| (round.night, round.low)).collect();
    for low in lowest(looks) {
        let night = dangers.entry(low.0).or_insert(low.1);
        if low.1.mean <= night.mean {
            *night = low.1;
        }
    }
    dangers.extend(lowest(whole));
    dangers
}

/// The lowest air of each night.
fn lowest(lows: &[PlaceLow]) -> Dangers {
    let mut nights = Dangers::new();
    for low in lows.iter().filter(|low| matches!(low.place, Place::Screen | Place::Bed { .. })) {
        let night = nights.entry(low.night).or_insert(Estimate { mean: low.low, spread: MEASURED });
        night.mean = night.mean.min(low.low);
    }
    nights
}

/// Every report of damage that stands, in order of time, each with the night that did it. `entries` are in order of time.
pub fn reports<'e>(entries: &'e [Written], dangers: &Dangers, longitude: f64) -> Vec<Report<'e>> {
    let mut reports: Vec<Report<'e>> = Vec::new();
    for written in entries.iter().filter(|written| written.stands()) {
        let What::Damage(damage) = &written.entry.what else { continue };
        let of_planting = |earlier: &&Report<'_>| {
            let other = earlier.damage;
            other.bed == damage.bed && (other.crop == damage.crop || other.crop.is_none() || damage.crop.is_none())
        };
        let seen = night_of(written.entry.at, longitude);
        let before = |earlier: &&Report<'_>| {
            earlier.night < damage.night
                && seen.0 - earlier.night.0 <= ASKED_WITHIN
                && !sown_again(entries, earlier, written)
        };
        let first = reports.iter().filter(of_planting).filter(before).map(|earlier| earlier.night).max();
        let night = first.map_or(damage.night, |first| did_it(first, damage.night, dangers));
        reports.push(Report { written, damage, night });
    }
    reports
}

/// A report of damage with the crops of its bed for which it is the word on the night that did it.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstReport<'k> {
    pub damage: &'k Damage,
    /// The night that did it, by [`reports`].
    pub night: NightOf,
    /// Empty where it names none and nothing is known to grow there.
    pub crops: Vec<String>,
}

/// Reports of damage that stand, in order of their nights: of one planting and night the worst counts, of equal ones the
/// last, be it of the crop or of the whole bed. Reports of which nothing is left are not among them.
pub fn worst_reports<'k>(garden: &Garden, known: &'k Known) -> Vec<WorstReport<'k>> {
    let mut reports: Vec<WorstReport<'k>> = Vec::new();
    for found in known.reports(garden) {
        let (damage, night) = (found.damage, found.night);
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
            reports.push(WorstReport { damage, night, crops });
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

/// The later of two nights, unless it was not as cold as the first: then the last one since the first that was, or that.
fn did_it(first: NightOf, named: NightOf, dangers: &Dangers) -> NightOf {
    let (Some(low), true) = (dangers.get(&first), dangers.contains_key(&named)) else { return named };
    let as_dangerous = |night: &NightOf| dangers.get(night).is_some_and(|other| other.mean - other.spread <= low.mean);
    dangers.range(first..=named).rev().map(|(night, _)| *night).find(as_dangerous).unwrap_or(first)
}

/// The night that a report most likely speaks of which names none: the last one that put the bed at risk, of those about
/// which people are still asked. By its last list that wanted work, or because it came below the bed's most tender threshold.
/// Without any it is last night.
pub fn night_asked(garden: &Garden, catalogue: &Catalogue, known: &Known, bed: &str, last_night: NightOf) -> NightOf {
    let listed = |night: NightOf| {
        let list = known.said.iter().rfind(|(of, said)| *of == night && said.has_work());
        list.is_some_and(|(_, said)| said.was_out(bed))
    };
    let was_cold = |night: NightOf| {
        known.dangers.get(&night).is_some_and(|low| {
            let beds = assess(garden, night, None, catalogue);
            let here = beds.iter().find(|risk| risk.bed.id == bed);
            here.and_then(|risk| tender_of(risk, night)).is_some_and(|tender| low.mean < tender.begins)
        })
    };
    let ago = |days: i64| last_night.0.checked_sub_signed(Duration::days(days)).map(NightOf);
    let asked_about = (0..ASKED_WITHIN.num_days()).filter_map(ago);
    asked_about.into_iter().find(|night| listed(*night) || was_cold(*night)).unwrap_or(last_night)
}

/// Whether something was sown again in the bed between two reports.
fn sown_again(entries: &[Written], earlier: &Report<'_>, later: &Written) -> bool {
    let between = entries
        .iter()
        .filter(|written| written.stands())
        .filter(|written| written.entry.at > earlier.written.entry.at && written.entry.at <= later.entry.at);
    let of_crop = |crop: &str| earlier.damage.crop.as_deref().is_none_or(|other| other == crop);
    let mut sown = between.filter_map(|written| match &written.entry.what {
        What::Resown(sown) => Some(sown),
        _ => None,
    });
    sown.any(|sown| sown.bed == earlier.damage.bed && of_crop(&sown.crop))
}

#[cfg(test)]
mod tests;
