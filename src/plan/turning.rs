//! The one number: the low at the garden's screen at which a bed's measure would change, all other beds as they are.

use super::choice::{Bounds, choose, kinds_of, pieces_at_hand, trips};
use super::taken;
use super::{BedPlan, Before, Measure, Plan};
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::night::{Knowledge, Night};
use crate::risk::assess;
use crate::units::{Celsius, Kelvins, Minutes};

/// Where a measure changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turning {
    /// The expected low at the garden's screen, within [`STEP`].
    pub low: Celsius,
    /// Whether the other measure holds from there down, or from there up.
    pub side: Side,
    /// The measure beyond it.
    pub then: Measure,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Down,
    Up,
}

/// How far from the expected low it is looked for: beyond that it is another night.
pub const REACH: Kelvins = Kelvins(8.0);
/// How near to it the answer comes.
pub const STEP: Kelvins = Kelvins(0.1);

/// Finds it for every bed of a list, given what the other beds have of covers and time. `before` as when the list was made.
///
/// The night is moved as a whole, air and dew point alike, and what the soil remembers stays; of several turnings the nearest
/// counts. Nothing is found within [`REACH`], for a night that is not wholly known, and for a bed that would not be judged
/// the same by itself.
pub fn find(plan: &mut Plan<'_>, catalogue: &Catalogue, before: Before<'_>) {
    let Ok(night) = plan.night.clone() else { return };
    if night.knowledge != Knowledge::Complete {
        return;
    }
    let turnings: Vec<Option<Turning>> =
        (0..plan.beds.len()).map(|bed| turning_of(plan, &night, bed, catalogue, before)).collect();
    for (bed, turning) in plan.beds.iter_mut().zip(turnings) {
        bed.turning = turning;
    }
}

fn turning_of(
    plan: &Plan<'_>,
    night: &Night,
    index: usize,
    catalogue: &Catalogue,
    before: Before<'_>,
) -> Option<Turning> {
    let bed = plan.beds.get(index)?;
    let judged = judged_together(plan, index);
    let alone = alone(plan, &judged);
    let others = || plan.beds.iter().enumerate().filter(|(other, _)| !judged.contains(other)).map(|(_, bed)| bed);
    let underway = others().fold(0, |kinds, bed| kinds | kinds_of(bed.measure, bed.cover.is_some(), bed.is_out));
    let spent = others().map(|bed| bed.tonight.0).sum::<f64>() + trips(underway);
    let here = judged.iter().position(|bed| *bed == index)?;
    let minutes = plan.minutes.map(|all| Minutes((all.0 - spent).max(0.0)));
    // What other gardens have is off the shelf already.
    let before = Before { elsewhere: &[], ..before };
    let bounds = Bounds { minutes, left: None, before, underway, is_laid: false };
    let measure_at = |shift: f64| {
        let night = night.shifted(Kelvins(shift));
        let mut risks = assess(&alone, plan.of, Some(&night), catalogue);
        taken::apply(&mut risks, before.taken, plan.of);
        // What is frozen by now is so whatever the rest of the night brings.
        for (risk, bed) in risks.iter_mut().zip(&judged).filter_map(|(risk, at)| Some((risk, plan.beds.get(*at)?))) {
            let known = risk.plantings.iter_mut().zip(&bed.risk.plantings);
            known.for_each(|(planting, known)| planting.is_frozen = known.is_frozen);
        }
        choose(&alone, night.winds(), risks, &bounds).beds.get(here).map(|bed| bed.measure)
    };
    if measure_at(0.0) != Some(bed.measure) {
        return None;
    }
    let whole_steps = REACH.0 as i32;
    // Nearest first, and of two as near the colder: that is the one to be warned of.
    let (mut near, mut far) = (0.0, None);
    'found: for step in 1..=whole_steps {
        for sign in [-1.0, 1.0] {
            let shift = sign * f64::from(step);
            if measure_at(shift).is_some_and(|measure| measure != bed.measure) {
                (near, far) = (shift - sign, Some(shift));
                break 'found;
            }
        }
    }
    let mut far = far?;
    let mut then = measure_at(far)?;
    while (far - near).abs() > STEP.0 {
        let middle = 0.5 * (near + far);
        match measure_at(middle)? {
            same if same == bed.measure => near = middle,
            other => (far, then) = (middle, other),
        }
    }
    let side = if far < 0.0 { Side::Down } else { Side::Up };
    Some(Turning { low: night.minimum.mean + Kelvins(far), side, then })
}

/// A bed, and the neighbour that has one piece with it: of two under one piece neither has a measure of its own. In the order
/// of the garden.
fn judged_together(plan: &Plan<'_>, index: usize) -> Vec<usize> {
    let with = plan.beds.get(index).and_then(|bed| bed.cover.as_ref()?.together_with.as_ref());
    let is_judged = |(other, bed): &(usize, &BedPlan<'_>)| *other == index || with == Some(&bed.risk.bed.id);
    plan.beds.iter().enumerate().filter(is_judged).map(|(other, _)| other).collect()
}

/// The garden with these beds only, and with the covers that the others leave them.
fn alone(plan: &Plan<'_>, judged: &[usize]) -> Garden {
    let mut garden = plan.garden.clone();
    for (stock, left) in garden.covers.iter_mut().zip(pieces_at_hand(plan.garden, &plan.elsewhere)) {
        stock.count = left;
    }
    for (_, bed) in plan.beds.iter().enumerate().filter(|(other, _)| !judged.contains(other)) {
        if let Some(cover) = &bed.cover
            && let Some(stock) = garden.covers.get_mut(cover.stock)
        {
            stock.count = stock.count.saturating_sub(cover.pieces);
        }
    }
    garden.beds = plan
        .beds
        .iter()
        .enumerate()
        .filter(|(bed, _)| judged.contains(bed))
        .map(|(_, bed)| bed.risk.bed.clone())
        .collect();
    garden
}
