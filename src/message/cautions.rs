//! Where a measure can hurt someone: the usual caution in short, and only where it belongs. Local codes and licensed
//! people have the last word.

use crate::beds::BedKind;
use crate::plan::{BedPlan, Measure, Plan};
use crate::units::Celsius;

/// Fire services' reports of fires from heat lamps; carbon monoxide: common practice.
const NO_HEAT: &str = "No heat lamp, heater, candle or burner under a cover, ever: fire, and carbon monoxide. Electric gear \
                       outdoors: made for it, on a protected outlet, by local code; ask a licensed electrician.";
/// Common practice.
const HANDLING: &str = "In wind two people to a cover. No ladders in the dark or on ice.";
/// Common practice.
const LIFT: &str = "Heavy pots: two people or a trolley, never over icy steps.";
/// Common practice.
const ICE: &str = "Paths may be icy: headlamp, gloves, shoes that grip, and nobody alone.";
/// Common practice.
const PICK: &str = "Pick before it freezes; do not touch leaves while they are frozen.";
/// Kansas State University Research and Extension and NC State Extension on frosted produce.
const PRODUCE: &str =
    "Do not touch frozen leaves until they thaw. Use frosted produce at once; throw out what is soft, slimy or smells.";
/// The same, by crop.
const PRODUCE_OF: [(&str, &str); 3] = [
    ("tomato", "Tomatoes from frozen vines are not for canning."),
    ("rhubarb", "Throw out rhubarb stalks that have gone limp."),
    ("potato", "Throw out potatoes that are green or frozen."),
];

/// The cautions that the work of a list calls for.
pub(super) fn for_plan(plan: &Plan<'_>) -> Vec<&'static str> {
    let mut cautions = Vec::new();
    let is_unknown = |bed: &BedPlan<'_>| bed.measure == Measure::Unknown;
    let unknown = plan.beds.iter().any(is_unknown);
    if unknown || plan.beds.iter().any(|bed| bed.cover.is_some()) {
        cautions.extend([HANDLING, NO_HEAT]);
    }
    let is_carried = |bed: &BedPlan<'_>| {
        let movable = matches!(bed.risk.bed.kind, BedKind::Containers { movable: true, .. });
        bed.measure == Measure::BringIn || (is_unknown(bed) && movable)
    };
    if plan.beds.iter().any(is_carried) {
        cautions.push(LIFT);
    }
    if plan.count(Measure::Harvest) > 0 {
        cautions.push(PICK);
        let picked = plan.beds.iter().filter(|bed| bed.measure == Measure::Harvest);
        let picked = picked.flat_map(|bed| &bed.risk.plantings).map(|planting| planting.crop.id.as_str());
        cautions.extend(produce_of(&picked.collect::<Vec<_>>()));
    }
    // A night of which nothing is known may freeze.
    let freezing = plan.night.as_ref().map_or(true, |night| night.minimum.mean <= Celsius(1.0));
    if (plan.has_work() || unknown) && freezing {
        cautions.push(ICE);
    }
    cautions
}

/// The cautions of the morning after; what may be eaten of which crop stands with its bed.
pub(super) fn for_morning() -> Vec<&'static str> {
    vec![PRODUCE, ICE]
}

/// The cautions of a look at plants some days later.
pub(super) fn for_a_look() -> Vec<&'static str> {
    vec![PRODUCE]
}

fn produce_of(crops: &[&str]) -> impl Iterator<Item = &'static str> {
    PRODUCE_OF.into_iter().filter(|(crop, _)| crops.contains(crop)).map(|(_, caution)| caution)
}
