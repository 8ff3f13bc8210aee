//! What a garden's own nights say of a feed, in the place of what is taken of feeds in general.

use super::screen::SPREAD_BY_LEAD_DAY;
use crate::units::Kelvins;
use crate::zone::NightOf;
use std::collections::BTreeMap;

/// Lead days that have a figure of their own; later ones count as the last.
pub const LEAD_DAYS: usize = SPREAD_BY_LEAD_DAY.len();

/// The planning spread of a lead day, 1 and up; later ones count as the last, 0 as the first.
pub fn planning_spread(lead_day: usize) -> Kelvins {
    Kelvins(SPREAD_BY_LEAD_DAY[lead_day.clamp(1, LEAD_DAYS) - 1])
}

/// The planning spread is never multiplied by less than this, whatever was learned: a run of lucky nights must not make
/// a list surer than it can be (assumed).
pub const LEAST_FACTOR: f64 = 0.75;

/// What is known of one feed on one lead day under one sky.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Added to the feed's low, K.
    pub shift: Kelvins,
    /// How well that is known, K.
    pub spread: Kelvins,
    /// By what the planning spread is multiplied.
    pub factor: f64,
    /// The nights that it rests on, in order; none where it is as published.
    pub nights: Vec<NightOf>,
}

/// On clear, calm nights, and on others.
pub type BySky = [Correction; 2];

/// What is known of one feed, by lead day from 1.
pub type OfFeed = [BySky; LEAD_DAYS];

/// What is known of each feed, under the key of its provider.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Corrections(pub BTreeMap<String, OfFeed>);

impl Corrections {
    /// The correction of a night by a feed, or `None` where no night speaks of it: what was published holds then.
    pub fn at(&self, provider: &str, lead_day: usize, clear_calm: f64) -> Option<Correction> {
        let [clear, other] = self.0.get(provider)?.get(lead_day.clamp(1, LEAD_DAYS) - 1)?;
        let correction = between(clear, other, clear_calm);
        let is_sound = [correction.shift.0, correction.spread.0, correction.factor].iter().all(|part| part.is_finite());
        (is_sound && !correction.nights.is_empty()).then_some(correction)
    }
}

/// Between the two skies by how clear and calm a night is. Variances go by the square, as those of a shift that grows
/// with it do. It rests on the nights of the skies that have a part in it.
pub fn between(clear: &Correction, other: &Correction, clear_calm: f64) -> Correction {
    let w = clear_calm.clamp(0.0, 1.0);
    let mean = |clear: f64, other: f64, w: f64| other + w * (clear - other);
    let mut nights: Vec<NightOf> = Vec::new();
    nights.extend(if w > 0.0 { clear.nights.as_slice() } else { &[] });
    nights.extend(if w < 1.0 { other.nights.as_slice() } else { &[] });
    nights.sort_unstable();
    nights.dedup();
    Correction {
        shift: Kelvins(mean(clear.shift.0, other.shift.0, w)),
        spread: Kelvins(mean(clear.spread.0.powi(2), other.spread.0.powi(2), w * w).sqrt()),
        factor: mean(clear.factor, other.factor, w),
        nights,
    }
}
