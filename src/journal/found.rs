//! Which night did the harm that somebody found.
//!
//! Whoever writes a night down is believed: nothing here moves a report. Where nobody names one it is found once, when the
//! report is written, and said back:
//!
//! ```text
//! the night that people were asked about        the last one that put the planting at risk, by [`super::at_risk`]; else
//!                                               the bed; else last night
//! the planting was harmed before (class 1 on), within the 15 nights, and not sown or set out since
//!   the class is no worse                       what was seen then is seen again: the night of that report
//!   it is worse                                 the last night since then that was at least as dangerous,
//!                                               or that one itself, where none was: harm shows late
//! ```
//!
//! The danger of a night is its lowest air. A night counts as dangerous as another where it may have been as cold: a
//! thermometer errs by 0.5 K (assumed), a night that was only foretold by the spread of its forecast. It was not where the
//! bed lay covered and was open in the other; where it lay open and was covered in the other the two do not compare, and
//! the night that people were asked about stays. So it does where nothing is known of one of them.

use super::at_risk::{AtRisk, NightBehind, at_risk};
use super::event::{ForecastAtRound, Known, PlaceLow, Written};
use super::lying::stays;
use super::{Damage, Place, What};
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::crops::damage::DamageClass;
use crate::night::Estimate;
use crate::plan::said::Said;
use crate::units::Kelvins;
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Duration, Utc};
use std::collections::BTreeMap;

/// A report of damage that stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Report<'e> {
    pub written: &'e Written,
    pub damage: &'e Damage,
}

/// What somebody saw of a bed, without the night that did it.
#[derive(Clone, Copy, Debug)]
pub struct Look<'a> {
    pub bed: &'a str,
    /// A crop of the catalogue; none: all that grows in the bed.
    pub crop: Option<&'a str>,
    pub class: DamageClass,
    pub at: DateTime<Utc>,
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

/// Every report of damage that stands, in the order of the entries.
pub fn reports(entries: &[Written]) -> impl Iterator<Item = Report<'_>> {
    let standing = entries.iter().filter(|written| written.stands());
    standing.filter_map(|written| match &written.entry.what {
        What::Damage(damage) => Some(Report { written, damage }),
        _ => None,
    })
}

/// A report of damage with the crops of its bed for which it is the word on the night that did it.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstReport<'k> {
    pub damage: &'k Damage,
    /// The night that did it.
    pub night: NightOf,
    /// Empty where it names none and nothing is known to grow there.
    pub crops: Vec<String>,
}

/// Reports of damage that stand, in order of their nights: of one planting and night the worst counts, of equal ones the
/// last, be it of the crop or of the whole bed. Reports of which nothing is left are not among them.
pub fn worst_reports<'k>(garden: &Garden, known: &'k Known) -> Vec<WorstReport<'k>> {
    let mut reports: Vec<WorstReport<'k>> = Vec::new();
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

/// The night that a look most likely speaks of which names none; `known` are the nights on which people are still asked, and
/// `last_night` is the last of them.
pub fn night_asked(
    garden: &Garden,
    catalogue: &Catalogue,
    known: &Known,
    look: &Look<'_>,
    last_night: NightOf,
) -> NightOf {
    let named = night_at_risk(garden, catalogue, known, look, last_night);
    if look.class.number() == 0 {
        return named;
    }
    let is_near = |night: NightOf| (Duration::zero()..ASKED_WITHIN).contains(&(last_night.0 - night.0));
    let mut earlier: Vec<&Damage> = reports(&known.entries)
        .filter(|report| report.written.entry.at <= look.at && is_near(report.damage.night))
        .map(|report| report.damage)
        .filter(|damage| damage.class.number() > 0 && is_of_planting(damage, look))
        .filter(|damage| !is_new_since(garden, &known.entries, damage.night, look))
        .collect();
    earlier.sort_by_key(|damage| damage.night);
    if let Some(seen_before) = earlier.iter().rfind(|damage| damage.class >= look.class) {
        return seen_before.night;
    }
    earlier.last().map_or(named, |first| did_it(garden, known, first.night, named, look.bed))
}

fn is_of_planting(damage: &Damage, look: &Look<'_>) -> bool {
    let crop = damage.crop.as_deref();
    damage.bed == look.bed && (crop == look.crop || crop.is_none() || look.crop.is_none())
}

/// The last night that put a planting at risk, of those about which people are still asked; else its bed; else last night.
fn night_at_risk(
    garden: &Garden,
    catalogue: &Catalogue,
    known: &Known,
    look: &Look<'_>,
    last_night: NightOf,
) -> NightOf {
    let mut of_bed = None;
    for ago in 0..ASKED_WITHIN.num_days() {
        let Some(of) = last_night.0.checked_sub_signed(Duration::days(ago)).map(NightOf) else { break };
        let said: Vec<Said> =
            known.said.iter().filter(|(night, _)| *night == of).map(|(_, said)| said.clone()).collect();
        let of_day = |round: &&ForecastAtRound| round.night == of && round.is_of_its_day(garden.site.longitude);
        let lows: Vec<PlaceLow> = known.lows.iter().filter(|low| low.night == of).cloned().collect();
        let foretold = known.foretold.iter().rfind(of_day);
        let behind = NightBehind { of, said: &said, foretold, taken: &[], lows: &lows };
        let here: Vec<AtRisk> =
            at_risk(garden, catalogue, behind).into_iter().filter(|risk| risk.bed == look.bed).collect();
        if here.iter().any(|risk| look.crop.is_none_or(|crop| risk.crop == crop)) {
            return of;
        }
        of_bed = of_bed.or((!here.is_empty()).then_some(of));
    }
    of_bed.unwrap_or(last_night)
}

/// The night that did the worse harm: the last one up to the named one that was as dangerous to the bed as the first.
fn did_it(garden: &Garden, known: &Known, first: NightOf, named: NightOf, bed: &str) -> NightOf {
    if named <= first {
        return first;
    }
    let dangers = dangers(&known.foretold, &known.lows, &known.whole, garden.site.longitude);
    let (Some(low), true) = (dangers.get(&first), dangers.contains_key(&named)) else { return named };
    let stays = stays(garden, &known.entries, &known.mornings);
    let is_covered = |night: NightOf| stays.iter().any(|stay| stay.laid.bed == bed && stay.is_sure(night));
    let was_covered = is_covered(first);
    let as_dangerous = |night: &NightOf| match (was_covered, is_covered(*night)) {
        (false, true) => false,
        (true, false) => *night == named,
        _ => dangers.get(night).is_some_and(|other| other.mean - other.spread <= low.mean),
    };
    dangers.range(first..=named).rev().map(|(night, _)| *night).find(as_dangerous).unwrap_or(first)
}

/// Reports that stand and say another class of the same planting and night, seen on the same day of the garden: one of the
/// two is mostly a slip, and until somebody says which, the worst counts. Harm that shows later is none.
pub fn contradicting<'e>(
    damage: &Damage,
    seen: DateTime<Utc>,
    zone: &Zone,
    entries: &'e [Written],
) -> Vec<(&'e Written, &'e Damage)> {
    let day = |at: DateTime<Utc>| zone.local(at).date_naive();
    let of_same = |other: &Damage| {
        (&other.bed, &other.crop, &other.sowing, other.night)
            == (&damage.bed, &damage.crop, &damage.sowing, damage.night)
    };
    let that_day = entries.iter().filter(|written| written.stands() && day(written.entry.at) == day(seen));
    let reports = that_day.filter_map(|written| match &written.entry.what {
        What::Damage(other) => Some((written, other)),
        _ => None,
    });
    reports.filter(|(_, other)| of_same(other) && other.class != damage.class).collect()
}

/// Whether what was seen was sown or set out after a night; of several plantings of a crop in a bed nobody can tell which.
fn is_new_since(garden: &Garden, entries: &[Written], night: NightOf, look: &Look<'_>) -> bool {
    let seen = garden.zone.local(look.at).date_naive();
    let is_it = |bed: &str, crop: &str| bed == look.bed && look.crop.is_none_or(|seen| seen == crop);
    let mut sown = entries.iter().filter(|written| written.stands()).filter_map(|written| match &written.entry.what {
        What::Resown(sown) => Some((sown, garden.zone.local(written.entry.at).date_naive())),
        _ => None,
    });
    let mut plantings = garden.beds.iter().flat_map(|bed| bed.plantings.iter().map(move |one| (&bed.id, one)));
    sown.any(|(sown, on)| is_it(&sown.bed, &sown.crop) && on > night.0 && on <= seen)
        || plantings.any(|(bed, planting)| {
            is_it(bed, &planting.crop) && planting.planted.is_some_and(|on| on > night.0 && on <= seen)
        })
}

#[cfg(test)]
mod tests;
