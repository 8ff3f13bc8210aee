//! Which plantings a night that is over may have harmed: those that people are asked about.

use super::Place;
use super::event::{ForecastAtRound, PlaceLow};
use crate::beds::{Bed, Garden, Hardened};
use crate::crops::Catalogue;
use crate::night::screen::{Evidence, Span, expect, forecast_of_low};
use crate::night::{Estimate, Night};
use crate::plan::Measure;
use crate::plan::said::Said;
use crate::plan::taken::{self, Taken};
use crate::risk::{HardenedBy, assess};
use crate::rounds::night_hours;
use crate::units::{Celsius, Kelvins, Probability};
use crate::zone::NightOf;

/// A planting that was out in the cold and in danger, or of which nothing was known.
#[derive(Clone, Debug, PartialEq)]
pub struct AtRisk {
    pub bed: String,
    /// Identifier of its crop.
    pub crop: String,
    /// Which of several sowings of it, where something tells them apart.
    pub sowing: Option<String>,
    /// Of damage without a cover; `None` where nothing is known of the night.
    pub chance: Option<Probability>,
}

/// What is known of a night that is over.
#[derive(Clone, Copy, Debug)]
pub struct NightBehind<'a> {
    pub of: NightOf,
    /// All that was said of it, oldest first, the word of the morning included.
    pub said: &'a [Said],
    /// The last round of its day.
    pub foretold: Option<&'a ForecastAtRound>,
    /// What was picked or lost before it, by the journal: of that nobody is asked.
    pub taken: &'a [Taken],
    /// The coldest that was seen in it, looks included: they prove cold.
    pub lows: &'a [PlaceLow],
}

/// How well a thermometer tells the air at the plants, K (assumed).
const THERMOMETER: Kelvins = Kelvins(0.5);

/// The plantings that a night may have harmed, those at the highest chance first: of beds that its last list left out in
/// danger, and wherever a thermometer has seen cold that harms with the chance from which this garden asks for work.
///
/// What was called off, and then was not measured cold, is no question; nor is a pot that was inside. Hardening that the
/// manager does not state counts as none where the list saw danger, and in full where only the thermometer did: the list knew
/// the days before, and what it called fine must not be asked about after every cold night.
pub fn at_risk(garden: &Garden, catalogue: &Catalogue, night: NightBehind<'_>) -> Vec<AtRisk> {
    let list = night.said.iter().rfind(|said| said.kept.is_none());
    let asks = garden.caution.fine_below();
    let low_at = |place: Place| night.lows.iter().find(|low| low.place == place).map(|low| low.low);
    let at_screen = low_at(Place::Screen).map(|low| Estimate { mean: low, spread: THERMOMETER });
    let foretold = night.foretold.map(|round| round.low);
    let hardened = hardened_in_full(garden, catalogue, night.of);
    let colder = [at_screen, foretold].into_iter().flatten().reduce(|a, b| if b.mean < a.mean { b } else { a });
    let by_list = colder.map(|low| chances(garden, catalogue, &night, low));
    let measured = at_screen.map(|low| chances(&hardened, catalogue, &night, low));
    let mut found = Vec::new();
    for (index, bed) in garden.beds.iter().enumerate() {
        let measure = list.and_then(|list| list.beds.iter().find(|said| said.bed == bed.id)).map(|said| said.measure);
        if measure == Some(Measure::BringIn) {
            continue;
        }
        let is_out = list.is_some_and(|list| list.was_out(&bed.id));
        let here = low_at(Place::Bed { bed: bed.id.clone() }).map(|low| Estimate { mean: low, spread: THERMOMETER });
        let of_bed = |chances: &[(usize, AtRisk)]| -> Vec<AtRisk> {
            chances.iter().filter(|(of, _)| *of == index).map(|(_, planting)| planting.clone()).collect()
        };
        let seen = match here {
            Some(low) => of_bed(&chances(&alone(&hardened, index), catalogue, &night, low)),
            None => measured.as_deref().map(of_bed).unwrap_or_default(),
        };
        let foreseen = if is_out { by_list.as_deref().map(of_bed).unwrap_or_default() } else { Vec::new() };
        let mut of_this: Vec<AtRisk> = Vec::new();
        for planting in seen.iter().chain(&foreseen) {
            match of_this.iter_mut().find(|known| (&known.crop, &known.sowing) == (&planting.crop, &planting.sowing)) {
                Some(known) if known.of() < planting.of() => known.chance = planting.chance,
                Some(_) => {}
                None => of_this.push(planting.clone()),
            }
        }
        let likeliest = of_this.iter().map(|planting| planting.of()).fold(0.0, f64::max);
        match measure {
            // Nothing is known of the night at all.
            Some(Measure::Unknown | Measure::Cover | Measure::Harvest | Measure::Leave) if of_this.is_empty() => {
                of_this = growing(garden, catalogue, &night, bed);
            }
            Some(Measure::Cover | Measure::Harvest | Measure::Leave) if likeliest < asks.0 => {
                of_this.retain(|planting| planting.of() >= likeliest);
                of_this.truncate(1);
            }
            _ => of_this.retain(|planting| planting.of() >= asks.0),
        }
        found.extend(of_this);
    }
    found.sort_by(|a, b| b.of().total_cmp(&a.of()));
    found
}

impl AtRisk {
    /// The chance as a number; what nobody knows comes first.
    fn of(&self) -> f64 {
        self.chance.map_or(1.0, |chance| chance.0)
    }
}

/// What stood in a bed on a night, each sowing once.
fn growing(garden: &Garden, catalogue: &Catalogue, night: &NightBehind<'_>, bed: &Bed) -> Vec<AtRisk> {
    let mut beds = assess(garden, night.of, None, catalogue);
    taken::apply(&mut beds, night.taken, night.of);
    let mut found: Vec<AtRisk> = Vec::new();
    let plantings = beds.iter().filter(|risk| risk.bed.id == bed.id).flat_map(|risk| &risk.plantings);
    for planting in plantings.map(|risk| risk.planting) {
        if planting.planted.is_some_and(|planted| planted > night.of.0) {
            continue;
        }
        let (crop, sowing) = (planting.crop.clone(), bed.sowing_of(planting));
        let planting = AtRisk { bed: bed.id.clone(), crop, sowing, chance: None };
        if !found.contains(&planting) {
            found.push(planting);
        }
    }
    found
}

/// The garden with full hardening where neither the manager nor a planting's age says otherwise.
fn hardened_in_full(garden: &Garden, catalogue: &Catalogue, of: NightOf) -> Garden {
    let mut hardened = garden.clone();
    for (bed, risk) in hardened.beds.iter_mut().zip(assess(garden, of, None, catalogue)) {
        for known in risk.plantings.iter().filter(|planting| planting.hardening.from == HardenedBy::NoRecord) {
            for planting in bed.plantings.iter_mut().filter(|planting| *planting == known.planting) {
                planting.hardened = Some(Hardened::Fully);
            }
        }
    }
    hardened
}

/// The garden with one of its beds lying as the thermometer does that hangs there.
fn alone(garden: &Garden, index: usize) -> Garden {
    let mut garden = garden.clone();
    if let Some(bed) = garden.beds.get_mut(index) {
        (bed.offset, bed.learned_offset) = (Some(Kelvins(0.0)), None);
    }
    garden
}

/// The chance of damage of each planting in a night of that low at the garden's screen, with the bed's place in the garden.
fn chances(garden: &Garden, catalogue: &Catalogue, behind: &NightBehind<'_>, low: Estimate) -> Vec<(usize, AtRisk)> {
    let Some(night) = of_low(garden, behind, low) else { return Vec::new() };
    let mut beds = assess(garden, behind.of, Some(&night), catalogue);
    taken::apply(&mut beds, behind.taken, behind.of);
    let stood = |planted: Option<chrono::NaiveDate>| planted.is_none_or(|planted| planted <= behind.of.0);
    let each = beds.iter().enumerate().flat_map(|(index, bed)| {
        let plantings = bed.plantings.iter().filter(|planting| stood(planting.planting.planted));
        plantings.filter_map(move |planting| {
            let chance = planting.deciding()?.open.chance;
            let (crop, sowing) = (planting.crop.id.clone(), bed.bed.sowing_of(planting.planting));
            Some((index, AtRisk { bed: bed.bed.id.clone(), crop, sowing, chance: Some(chance) }))
        })
    });
    each.collect()
}

/// A night of that low, with the sky and wind that were foretold of it.
fn of_low(garden: &Garden, behind: &NightBehind<'_>, low: Estimate) -> Option<Night> {
    let (sunset, sunrise) = night_hours(&garden.site, &garden.zone, behind.of);
    let span = Span { of: behind.of, sunset, sunrise };
    let mut forecast = forecast_of_low(Celsius(low.mean.0), &span, sunset);
    if let Some(round) = behind.foretold {
        for hour in &mut forecast.hours {
            (hour.cloud_cover, hour.wind_10m) = (Some(round.cloud), Some(round.wind_10m));
        }
    }
    let evidence =
        Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, learned: None, now: sunset };
    expect(&evidence, &span).ok().map(|night| Night { minimum: low, ..night })
}

#[cfg(test)]
mod tests;
