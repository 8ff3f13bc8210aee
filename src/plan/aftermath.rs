//! The loss that a measure leaves: under the night expected, for the choice, and under the night that was, for scores of lists.

use super::choice::{kinds_of, trips};
use super::{Measure, harvest};
use crate::night::cover::Cover;
use crate::risk::BedRisk;
use crate::units::Minutes;

/// The expected loss that was left at a bed: `planned` is what was known when the measure was chosen, and says what was
/// picked; `came` is the same bed under the night that was.
pub fn loss_left(planned: &BedRisk<'_>, measure: Measure, cover: Option<Cover>, came: &BedRisk<'_>) -> Minutes {
    if measure == Measure::BringIn {
        return came.loss_under_a_roof();
    }
    let mut lost = 0.0;
    for (before, after) in planned.plantings.iter().zip(&came.plantings) {
        for (expected, organ) in before.organs.iter().zip(&after.organs) {
            let chance = organ.under(cover).chance.0;
            let left = before.left.of(organ.tolerance);
            let part = if measure == Measure::Harvest && harvest::is_due(before, expected) {
                let yields = harvest::yield_of(planned.bed, before);
                let to_pick = before.left.to_pick.min(left);
                let rest = (1.0 - yields.taken) * to_pick + left - to_pick;
                yields.taken * to_pick * yields.growth_forgone + rest * chance
            } else {
                left * chance
            };
            lost += after.worth.0 * organ.tolerance.share * part;
        }
    }
    Minutes(lost)
}

/// The work of picking what is in danger in a bed.
pub fn picking(risk: &BedRisk<'_>) -> Minutes {
    harvest::work(risk)
}

/// Walking and fetching for what is done, once for all beds of a kind of work; of each bed its measure, and whether it
/// gets a cover.
pub fn walking(done: impl IntoIterator<Item = (Measure, bool)>) -> Minutes {
    Minutes(trips(done.into_iter().fold(0, |kinds, (measure, has_cover)| kinds | kinds_of(measure, has_cover, false))))
}
