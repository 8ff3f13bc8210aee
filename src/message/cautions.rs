//! Where a measure can hurt someone: the usual caution in short. Local codes and licensed people have the last word.

use crate::plan::{Measure, Plan};
use crate::units::Celsius;

/// Fire services' reports of fires from heat lamps; carbon monoxide: common practice.
const NO_HEAT: &str = "Never put a heat lamp, heater, candle or burner under a cover: fire, and carbon monoxide in closed \
                       tunnels. Any electric heat or cord outdoors: only gear made for it, on a protected outlet; follow \
                       local codes and ask a licensed electrician.";
/// Common practice.
const WEIGH_DOWN: &str =
    "Weigh edges down before dark; in wind two people to a cover. No ladders in the dark or on ice.";
/// Common practice.
const LIFT: &str = "Heavy pots: two people or a trolley, never over icy steps.";
/// Common practice.
const ICE: &str = "Paths may be icy: headlamp, gloves, shoes that grip, and nobody alone.";
/// Kansas State University Research and Extension and NC State Extension on frosted produce; the last part is common
/// practice.
const PRODUCE: &str = "Pick before it freezes. Do not handle frozen leaves. Use frosted produce at once; throw out what is \
                       soft, slimy or smells. Tomatoes from frozen vines are not for canning. Discard limp rhubarb and \
                       green tubers.";

/// The cautions that the work of a list calls for.
pub(super) fn for_plan(plan: &Plan<'_>) -> Vec<&'static str> {
    let mut cautions = Vec::new();
    let covers = plan.beds.iter().any(|bed| bed.cover.is_some());
    if covers || plan.count(Measure::Unknown) > 0 {
        cautions.extend([WEIGH_DOWN, NO_HEAT]);
    }
    if plan.count(Measure::BringIn) > 0 {
        cautions.push(LIFT);
    }
    if plan.count(Measure::Harvest) > 0 {
        cautions.push(PRODUCE);
    }
    let freezing = plan.night.as_ref().is_ok_and(|night| night.minimum.mean <= Celsius(1.0));
    if plan.has_work() && freezing {
        cautions.push(ICE);
    }
    cautions
}

/// The cautions of the morning after.
pub(super) fn for_morning() -> [&'static str; 2] {
    [PRODUCE, ICE]
}
