//! What is ready to pick, what comes next, and whether tonight empties the garden.

use super::harvest::{goes_with_picking, is_harvest_stage, main_part};
use super::{BedPlan, Measure, Plan};
use crate::beds::Garden;
use crate::crops::{Crop, Frame, HarvestHabit, Life};
use crate::risk::{OrganRisk, PlantingRisk, days_to_maturity, is_past_its_best};
use chrono::{Days, NaiveDate};

/// What a garden has to pick around one day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outlook {
    /// Ready now, in the garden's order.
    pub ready: Vec<Ready>,
    /// Not ready yet, the earliest first; those whose day is not known last.
    pub coming: Vec<Coming>,
    /// For each crop that is picked or lost tonight, where it is to be had next.
    pub follows: Vec<Follows>,
    /// Set when everything that is ready is picked or lost tonight.
    pub emptied: Option<Emptied>,
}

/// A planting that can be picked.
#[derive(Clone, Debug, PartialEq)]
pub struct Ready {
    /// The bed's label.
    pub bed: String,
    pub crop: String,
    /// Since when at the earliest, where it is known.
    pub since: Option<NaiveDate>,
    /// What becomes of it if it is left.
    pub if_left: Option<String>,
    pub look: Look,
    /// Picked or lost tonight.
    pub goes_tonight: bool,
}

/// How closely something ready is to be watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// It stands.
    WhenConvenient,
    /// It is past its best within days.
    EveryDay,
    /// By its dates it is past its best already.
    PastItsBest,
}

/// A planting that is not ready yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Coming {
    /// The bed's label.
    pub bed: String,
    pub crop: String,
    /// Not before this day: the fewest days to maturity, which in winter are too few.
    pub not_before: Option<NaiveDate>,
}

/// Where a crop that goes tonight is to be had next.
#[derive(Clone, Debug, PartialEq)]
pub struct Follows {
    pub crop: String,
    pub next: Next,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Next {
    /// Another planting is ready.
    ReadyIn(String),
    /// Another planting comes.
    Comes(Coming),
    /// No other planting of this crop is in the garden, or all go tonight.
    Nothing,
}

/// A garden in which nothing is left to pick after tonight.
#[derive(Clone, Debug, PartialEq)]
pub struct Emptied {
    /// What is ready next, where its day is known.
    pub next: Option<Coming>,
    /// Plantings whose day is not known: one of them may be earlier.
    pub unknown: Vec<Coming>,
    /// Crops of which a crown or the plant stays and comes again, nobody knows when.
    pub regrowing: Vec<String>,
}

/// Such a part of a planting damaged is a planting lost (assumed).
const LOST: f64 = 0.5;
/// What stands no longer than this once it is ready is looked at every day, days (common practice).
const EVERY_DAY: u16 = 5;

/// The outlook of a list on the day `today`.
pub fn outlook(plan: &Plan<'_>, today: NaiveDate) -> Outlook {
    let mut outlook = Outlook::default();
    let (mut gone, mut regrowing): (Vec<&str>, Vec<String>) = (Vec::new(), Vec::new());
    for bed in &plan.beds {
        for planting in bed.risk.plantings.iter().filter(|planting| is_a_harvest(planting.crop)) {
            let goes = goes_tonight(plan.garden, bed, planting);
            let (label, crop) = (bed.risk.bed.id.clone(), planting.crop.name.clone());
            if goes && !gone.contains(&planting.crop.name.as_str()) {
                gone.push(&planting.crop.name);
            }
            if regrows(bed, planting) && !regrowing.contains(&crop) {
                regrowing.push(crop.clone());
            }
            match readiness(plan.garden, planting, today) {
                Readiness::Ready { since } => {
                    let past_best = planting.crop.harvest.past_best.as_ref();
                    let stands = past_best.map(|past_best| past_best.days);
                    let past = is_past_its_best(plan.garden, planting.planting, planting.crop, today);
                    let look = match stands {
                        _ if past => Look::PastItsBest,
                        Some(days) if days <= EVERY_DAY => Look::EveryDay,
                        _ => Look::WhenConvenient,
                    };
                    let if_left = past_best.map(|past_best| past_best.what.clone());
                    outlook.ready.push(Ready { bed: label, crop, since, if_left, look, goes_tonight: goes });
                }
                // What frost takes before it is ready does not come.
                Readiness::Growing { .. } if goes => {}
                Readiness::Growing { not_before } => outlook.coming.push(Coming { bed: label, crop, not_before }),
            }
        }
    }
    outlook.coming.sort_by_key(|coming| (coming.not_before.is_none(), coming.not_before));
    outlook.follows = gone.into_iter().map(|crop| follows(crop, &outlook)).collect();
    if !outlook.ready.is_empty() && outlook.ready.iter().all(|ready| ready.goes_tonight) {
        let (known, unknown): (Vec<Coming>, Vec<Coming>) =
            outlook.coming.iter().cloned().partition(|coming| coming.not_before.is_some());
        outlook.emptied = Some(Emptied { next: known.into_iter().next(), unknown, regrowing });
    }
    outlook
}

fn follows(crop: &str, outlook: &Outlook) -> Follows {
    let ready = outlook.ready.iter().find(|ready| ready.crop == crop && !ready.goes_tonight);
    let coming = outlook.coming.iter().find(|coming| coming.crop == crop);
    let next = match (ready, coming) {
        (Some(ready), _) => Next::ReadyIn(ready.bed.clone()),
        (None, Some(coming)) => Next::Comes(coming.clone()),
        (None, None) => Next::Nothing,
    };
    Follows { crop: crop.to_string(), next }
}

/// Sprigs of a bush of herbs can be had at any time and are no harvest that a garden waits for.
fn is_a_harvest(crop: &Crop) -> bool {
    !(crop.growing.harvested == HarvestHabit::Snip && crop.growing.life == Life::Perennial)
}

enum Readiness {
    Ready { since: Option<NaiveDate> },
    Growing { not_before: Option<NaiveDate> },
}

/// By the stage, and where a planting has its date and the crop its days, by these too: leaves are leaves long before
/// they are worth cutting.
fn readiness(garden: &Garden, planting: &PlantingRisk<'_>, today: NaiveDate) -> Readiness {
    let earliest = ripe_from(garden, planting);
    let has_some = planting.left.to_pick > 0.0;
    if has_some && is_harvest_stage(planting.crop, planting.stage.name) && earliest.is_none_or(|day| day <= today) {
        return Readiness::Ready { since: earliest };
    }
    // A day that has passed without the stage having come says nothing of when it comes.
    Readiness::Growing { not_before: earliest.filter(|day| *day > today) }
}

/// The first day on which a planting may be ripe, where it has its date and its crop its days.
fn ripe_from(garden: &Garden, planting: &PlantingRisk<'_>) -> Option<NaiveDate> {
    let (fewest, _) = days_to_maturity(garden, planting.planting, planting.crop)?;
    planting.planting.planted?.checked_add_days(Days::new(fewest.into()))
}

/// Whether something of a planting is picked tonight.
fn is_picked(bed: &BedPlan<'_>, planting: &PlantingRisk<'_>) -> bool {
    bed.measure == Measure::Harvest && bed.picks.iter().any(|pick| pick.is_of(planting))
}

/// Whether a planting is picked tonight, or most likely lost under the measure its bed has.
fn goes_tonight(garden: &Garden, bed: &BedPlan<'_>, planting: &PlantingRisk<'_>) -> bool {
    let picked = is_picked(bed, planting) && goes_with_picking(planting).0;
    let chance = match bed.measure {
        Measure::BringIn | Measure::Fine | Measure::Unknown => 0.0,
        Measure::Cover | Measure::Harvest | Measure::Leave => {
            let laid = bed.cover.as_ref();
            let cover = laid.and_then(|laid| Some(garden.covers.get(laid.stock)?.cover(laid.layers)));
            decides(planting).map_or(0.0, |organ| organ.under(cover).chance.0)
        }
    };
    picked || chance >= LOST
}

/// The part by which a planting is lost: roots that it is grown for stay in the soil when their leaves are gone.
fn decides<'p, 'a>(planting: &'p PlantingRisk<'a>) -> Option<&'p OrganRisk<'a>> {
    let main = main_part(planting);
    let roots = planting
        .organs
        .iter()
        .find(|organ| organ.tolerance.frame == Frame::Soil && Some(organ.tolerance.organ) == main);
    roots.or_else(|| planting.deciding())
}

/// Whether a planting that is picked tonight comes again.
fn regrows(bed: &BedPlan<'_>, planting: &PlantingRisk<'_>) -> bool {
    is_picked(bed, planting) && goes_with_picking(planting).1
}

#[cfg(test)]
mod tests;
