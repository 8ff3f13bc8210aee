//! How to decide where the service cannot.

use crate::beds::Role;
use crate::night::dusk::dusk_air_before_frost;
use crate::plan::Plan;
use crate::rounds::{self, DUSK, night_hours};
use crate::units::{Probability, Scale};
use chrono::Duration;

/// Hours of a winter night of the middle latitudes: the rule of hand is for any night of the season (assumed).
const NIGHT_FOR_THE_RULE_OF_HAND: f64 = 13.5;

/// So long after its hour the rule of the evening still holds (assumed: the relation takes readings from an hour to three
/// and a half hours after sunset, its hour is two).
const STILL_DUSK: Duration = Duration::minutes(60);

/// How to decide without a forecast: what evenings lead to, turned round.
pub(super) fn by_hand(plan: &Plan<'_>, role: Role) -> Vec<String> {
    let scale = plan.garden.shown;
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
    lines.push(thermometer(plan, scale));
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

/// What a thermometer tells: the rule of the evening while its hour is to come, afterwards what it shows now.
fn thermometer(plan: &Plan<'_>, scale: Scale) -> String {
    let (garden, what) = (plan.garden, "A thermometer in the open, at the height of the plants, tells more");
    let dusk = plan.deadline + garden.finish_before_sunset + DUSK;
    if plan.made_at <= dusk + STILL_DUSK {
        let air = |chance| dusk_air_before_frost(Probability(chance), NIGHT_FOR_THE_RULE_OF_HAND).whole(scale);
        return format!(
            "{what}. Under a clear, still sky, less than {} at {} means that frost is as likely as not; up to {} it still \
             comes one night in ten.",
            air(0.5),
            garden.zone.local(dusk).format("%H:%M"),
            air(0.1)
        );
    }
    let until = match rounds::no_sunset(&garden.site, &garden.zone, plan.of) {
        None => {
            let (_, sunrise) = night_hours(&garden.site, &garden.zone, plan.of);
            format!("sunrise, near {}", garden.zone.local(sunrise).format("%H:%M"))
        }
        Some(_) => "morning".into(),
    };
    format!(
        "{what}: look at it now, and again in an hour. Under a clear, still sky the air mostly goes on falling until \
         {until}: near freezing now, take it for a frost."
    )
}
