//! How to decide where the service cannot.

use crate::beds::Role;
use crate::night::dusk::dusk_air_before_frost;
use crate::plan::Plan;
use crate::units::{Probability, Scale};

/// Hours of a winter night of the middle latitudes: the rule of hand is for any night of the season (assumed).
const NIGHT_FOR_THE_RULE_OF_HAND: f64 = 13.5;

/// How to decide without a forecast: what evenings lead to, turned round.
pub(super) fn by_hand(plan: &Plan<'_>, role: Role) -> Vec<String> {
    let scale = plan.garden.shown;
    let dusk = plan.garden.zone.local(plan.deadline + plan.garden.finish_before_sunset + crate::rounds::DUSK);
    let hours = NIGHT_FOR_THE_RULE_OF_HAND;
    let even = dusk_air_before_frost(Probability(0.5), hours);
    let one_in_ten = dusk_air_before_frost(Probability(0.1), hours);
    let mut lines = if plan.night.is_err() {
        vec![
            "Clear and still, or already near freezing? Take it for a frost. Work from the top of the list down: pots \
             under a roof, ripe things picked, covers on while they last, edges down and weighed."
                .to_string(),
            "Not sure? Do the same: a cover for nothing costs minutes, a frost the crop.".to_string(),
        ]
    } else {
        vec![
            "Covers left over, and the sky clear? Cover the beds that are not known to be safe too, from the top down."
                .to_string(),
        ]
    };
    lines.push(format!(
        "A thermometer in the open, at the height of the plants, tells more. Under a clear, still sky, less than {} at \
         {} means that frost is as likely as not; up to {} it still comes one night in ten.",
        even.whole(scale),
        dusk.format("%H:%M"),
        one_in_ten.whole(scale)
    ));
    if role == Role::Manager {
        let (reading, low) = if scale == Scale::Fahrenheit { ("38F", "27F") } else { ("3.5C", "-3C") };
        let id = &plan.garden.id;
        lines.push(format!(
            "Give the service what it shows and ask for the list: counterpane reading {reading} --garden {id}, then \
             counterpane tonight --garden {id}. Or give a low you trust: counterpane tonight --low {low} --garden {id}."
        ));
    }
    lines
}
