//! What was foretold beside what the garden's screen then showed, feed by feed.

use super::lows::NightLow;
use super::{Lessons, span_of};
use crate::beds::Garden;
use crate::journal::Place;
use crate::journal::event::ForecastAtRound;
use crate::learn::Figure;
use crate::learn::forecast::{ForecastNight, Forecasts, learn};
use crate::night::Estimate;
use crate::night::corrections::{Corrections, planning_spread};
use crate::night::screen::{STATED_SITE_SPREAD, UNKNOWN_SITE_SPREAD, lead_day_of};
use crate::units::{Celsius, Kelvins};
use crate::weather::Provider;
use crate::zone::NightOf;
use chrono::Duration;
use std::collections::{BTreeMap, BTreeSet};

/// A list rests on so many of the newest nights that were cold or near it: a winter's and more. Older ones taught of other
/// models, and a list must not wait for them.
pub const NIGHTS_OF_A_LIST: usize = 150;
/// A night that some round's feed had below this was cold or near it (assumed): summer nights must not push out a winter.
pub const COLD_ENOUGH: Celsius = Celsius(5.0);

/// The nights that a list rests on; with more of them at hand they stay the same.
fn of_a_list(foretold: &[ForecastAtRound]) -> BTreeSet<NightOf> {
    let cold = foretold.iter().filter(|round| round.feed_low.unwrap_or(round.low.mean) < COLD_ENOUGH);
    let mut nights: BTreeSet<NightOf> = cold.map(|round| round.night).collect();
    while nights.len() > NIGHTS_OF_A_LIST {
        nights.pop_first();
    }
    nights
}

/// The garden's offset as a night takes it before any night has spoken.
fn site(garden: &Garden) -> Figure {
    match garden.offset {
        Some(offset) => Figure { mean: offset, spread: Kelvins(STATED_SITE_SPREAD) },
        None => Figure { mean: Kelvins(0.0), spread: Kelvins(UNKNOWN_SITE_SPREAD) },
    }
}

/// What each feed has taught, under the key of its provider.
///
/// Each night counts with the feed's own low, in which no reading and nothing that was learned has a part: so a garden
/// never learns from its own corrections. Rounds after sunset are left out: they know part of the night.
pub fn of(garden: &Garden, lessons: &Lessons) -> BTreeMap<String, Forecasts> {
    let at_screen = lessons.lows.iter().filter(|low| low.place == Place::Screen);
    let measured: BTreeMap<NightOf, (&NightLow, chrono::DateTime<chrono::Utc>)> =
        at_screen.map(|low| (low.night, (low, span_of(garden, low.night).sunset))).collect();
    let mut nights: BTreeMap<String, Vec<ForecastNight>> = BTreeMap::new();
    let counted = of_a_list(&lessons.foretold);
    for round in lessons.foretold.iter().filter(|round| counted.contains(&round.night)) {
        let (Some(provider), Some(feed_low)) = (&round.provider, round.feed_low) else { continue };
        let Some((measured, sunset)) = measured.get(&round.night) else { continue };
        if round.made_at > *sunset || provider == Provider::HandGivenLow.key() {
            continue;
        }
        let lead_day = lead_day_of(Duration::minutes((round.lead_hours * 60.0).round() as i64));
        nights.entry(provider.clone()).or_default().push(ForecastNight {
            night: round.night,
            lead_day,
            clear_calm: round.clear_calm,
            // What a thermometer that was read early leaves open is not the feed's error.
            forecast: Estimate { mean: feed_low, spread: planning_spread(lead_day) }
                .moved(Kelvins(0.0), measured.spread),
            measured: measured.low,
            confirmed: lessons.is_sure(round.night, &Place::Screen),
        });
    }
    nights.into_iter().map(|(provider, nights)| (provider, learn(&nights, site(garden)))).collect()
}

/// The same as nights take it.
pub fn corrections(learned: &BTreeMap<String, Forecasts>) -> Corrections {
    Corrections(learned.iter().map(|(provider, forecasts)| (provider.clone(), forecasts.corrections())).collect())
}
