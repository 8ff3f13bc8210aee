//! What a garden's own nights say of a feed, in the place of what is taken of feeds in general.

use super::screen::{CLEAR_CALM_SHIFT, CLEAR_CALM_SPREAD, SPREAD_BY_LEAD_DAY};
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

/// The shift of a feed's low before any night has spoken, and how well it is known: the garden's offset with its spread, and
/// what clear, calm nights (0 to 1) add to both, K.
pub fn published_shift((offset, spread): (Kelvins, Kelvins), clear_calm: f64) -> (Kelvins, Kelvins) {
    let shift = Kelvins(offset.0 + CLEAR_CALM_SHIFT * clear_calm);
    (shift, Kelvins(spread.0.hypot(CLEAR_CALM_SPREAD * clear_calm)))
}

/// The warmest shift that acts unasked: one published spread above what is published (assumed). A thermometer on a warm
/// wall shows every night too warm, and by its word a hard frost would be none; a colder one only makes a list longer.
pub fn warmest_believed((shift, spread): (Kelvins, Kelvins)) -> Kelvins {
    Kelvins(shift.0 + spread.0)
}

/// Of what is cut off so much widens the spread, in published spreads (assumed): with all of it a thermometer in a greenhouse
/// would ask for work on every mild night.
const MOST_UNBELIEVED: f64 = 2.0;

/// What is known of one feed on one lead day, for a night of some sky.
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

impl Correction {
    /// The same as a night uses it, beside the published shift: no warmer than [`warmest_believed`], and where that cuts it
    /// off no better known than what was published, with what was cut off as an error of its own.
    pub fn used(&self, published: (Kelvins, Kelvins)) -> Correction {
        let warmest = warmest_believed(published);
        if self.shift.0 <= warmest.0 {
            return self.clone();
        }
        let beyond = (self.shift.0 - warmest.0).min(MOST_UNBELIEVED * published.1.0);
        Correction { shift: warmest, spread: Kelvins(self.spread.0.max(published.1.0).hypot(beyond)), ..self.clone() }
    }
}

/// What is known of one feed on one lead day.
#[derive(Clone, Debug, PartialEq)]
pub struct OfLeadDay {
    /// The shift of a night that is not clear and calm, and what one that wholly is adds to it, K.
    pub shift: [f64; 2],
    /// Of their errors, K².
    pub covariance: [[f64; 2]; 2],
    /// The factors of nights that are not clear and calm, and of those that are.
    pub factors: [f64; 2],
    /// The nights that it rests on, in order. A clear night teaches the shift of others too, for the garden's place is in both.
    pub nights: Vec<NightOf>,
}

impl OfLeadDay {
    /// The correction of a night by how clear and calm it is, 0 to 1.
    pub fn at(&self, clear_calm: f64) -> Correction {
        let w = clear_calm.clamp(0.0, 1.0);
        let [[of_any, both], [_, of_clear]] = self.covariance;
        let variance = of_any + 2.0 * w * both + w * w * of_clear;
        Correction {
            shift: Kelvins(self.shift[0] + w * self.shift[1]),
            spread: Kelvins(variance.sqrt()),
            factor: self.factors[0] + w * (self.factors[1] - self.factors[0]),
            nights: self.nights.clone(),
        }
    }
}

/// What is known of one feed, by lead day from 1.
pub type OfFeed = [OfLeadDay; LEAD_DAYS];

/// What is known of each feed, under the key of its provider.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Corrections(pub BTreeMap<String, OfFeed>);

impl Corrections {
    /// The correction of a night by a feed, or `None` where no night speaks of it: what was published holds then.
    pub fn at(&self, provider: &str, lead_day: usize, clear_calm: f64) -> Option<Correction> {
        let correction = self.0.get(provider)?.get(lead_day.clamp(1, LEAD_DAYS) - 1)?.at(clear_calm);
        let is_sound = [correction.shift.0, correction.spread.0, correction.factor].iter().all(|part| part.is_finite());
        (is_sound && !correction.nights.is_empty()).then_some(correction)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is not believed of a bias is not forgotten: the list is the less sure for it.
    #[test]
    fn what_is_cut_off_of_a_warm_shift_widens_the_spread() {
        let published = (Kelvins(-0.5), Kelvins(1.2));
        let used = |shift: f64| {
            let learned = Correction { shift: Kelvins(shift), spread: Kelvins(0.3), factor: 1.0, nights: Vec::new() };
            let used = learned.used(published);
            (used.shift.0, used.spread.0)
        };
        assert_eq!([used(-4.0), used(0.7)], [(-4.0, 0.3), (0.7, 0.3)]);
        let (shift, spread) = used(2.3);
        // 1.6 K are cut off: with the 1.2 K that are published a spread of 2 K.
        assert!((shift - 0.7).abs() < 1e-12 && (spread - 2.0).abs() < 1e-12, "{shift} {spread}");
        assert_eq!(used(4.0), used(40.0));
        assert!((used(40.0).1 - 1.2 * 5.0_f64.sqrt()).abs() < 1e-12);
    }
}
