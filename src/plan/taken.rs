//! What was picked or lost before a list is made, by what somebody wrote down, and what of each planting that leaves.
//!
//! The rule, assumed where it names a figure:
//!
//! - A planting that was lost, or that nothing will grow from again, is gone until it is sown again.
//! - A count of what is cut plant by plant takes so many of the plants. Where nobody has counted the plants and a list had
//!   asked for the picking, half of those that there is room for are all that there were.
//! - A weight, and a count of anything else, says how much there is in the kitchen and not how much is in the bed. Where the
//!   list that stood had asked for the picking it is done, unless it is clearly less; where none had, somebody took some for
//!   supper, and nothing is taken off. Of what is cut plant by plant a weight never takes anything off: one heavy head is
//!   not a bed of them.
//! - What was picked or lost on the day of a planting was the one before it.
//! - What is taken with its plant, or dies of it, is gone with its worth; a plant that goes on growing keeps the rest of it,
//!   and is not to be picked again before it has grown. A central head does not come again: its side shoots go with the
//!   plant's own share.

use super::Keeps;
use super::harvest::{self, by_plant, keeps, main_part, plants, yield_of};
use crate::beds::Bed;
use crate::crops::{Crop, HarvestHabit, Life};
use crate::risk::{BedRisk, Left, PlantingRisk};
use crate::zone::NightOf;
use chrono::{Duration, NaiveDate};

/// One thing that was written down of what grows in a bed.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    pub bed: String,
    /// A crop of the catalogue; none: all that grows there.
    pub crop: Option<String>,
    /// Which of several sowings of it in that bed; none: all of them.
    pub sowing: Option<String>,
    /// The day of the garden; of harm that of its night's evening.
    pub on: NaiveDate,
    /// On the evening of this day what it speaks of was there: what was set out later is another planting.
    pub stood_on: NaiveDate,
    pub how: How,
}

/// What became of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum How {
    /// Picked; whether a list had asked for it.
    Picked { amount: Picked, asked: bool },
    /// So much of what there was to pick is of no use any more, 0 to 1.
    Spoilt(f64),
    /// Nothing of it grows any more.
    Gone,
    /// Sown or set out again: what was before is of another planting.
    Resown,
}

/// How much was picked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Picked {
    /// Heads, bunches, fruits.
    Pieces(u32),
    /// g
    Weight(f64),
}

/// A plant that goes on growing has something to pick again after so many days, spears and stalks of perennials sooner
/// (assumed; in the dark months it takes longer, and then there is less to pick than the list thinks).
const GROWS_AGAIN: Duration = Duration::days(14);
const SPEARS_GROW_AGAIN: Duration = Duration::days(3);
/// Where a planting has no date, what was written longer ago speaks of another one (assumed).
const OF_THIS_PLANTING: Duration = Duration::days(90);
/// Less than this of an asked picking is a part of it: of the plants that one sees, and of all that stand close (assumed).
const MOST_OF_IT: f64 = 0.5;
const A_FEW: f64 = 0.1;
/// Less than this from a square metre is a meal and no picking, g (assumed).
const A_MEAL: f64 = 100.0;
/// A planting of which less stands is gone (assumed: what is left are gaps and small heads).
const REMNANT: f64 = 0.05;

/// Takes what is gone from the risks of a night.
pub fn apply(risks: &mut [BedRisk<'_>], all: &[Taken], of: NightOf) {
    for risk in risks {
        let here: Vec<&Taken> = all.iter().filter(|taken| taken.bed == risk.bed.id && taken.on <= of.0).collect();
        if here.is_empty() {
            continue;
        }
        let lefts: Vec<Left> = risk.plantings.iter().map(|planting| left(risk, planting, &here, of)).collect();
        for (planting, left) in risk.plantings.iter_mut().zip(lefts) {
            planting.left = left;
            planting.worth.0 *= left.stands;
        }
        let (stand, gone) = risk.plantings.drain(..).partition(|planting| planting.left.stands >= REMNANT);
        risk.plantings = stand;
        risk.gone.extend(gone.into_iter().map(|planting: PlantingRisk<'_>| planting.crop));
    }
}

/// What of a planting is left.
fn left(risk: &BedRisk<'_>, planting: &PlantingRisk<'_>, taken: &[&Taken], of: NightOf) -> Left {
    let (mut picked, mut is_gone) = (0.0_f64, false);
    let (keeps, comes_again) = after_picking(planting);
    let is_perennial = planting.crop.growing.life == Life::Perennial;
    let grows_again = if is_perennial { SPEARS_GROW_AGAIN } else { GROWS_AGAIN };
    let mut taken: Vec<&&Taken> = taken.iter().filter(|taken| is_of(planting, taken, of)).collect();
    taken.sort_by_key(|taken| taken.on);
    for taken in taken {
        let has_grown = comes_again && of.0 - taken.on > grows_again;
        match taken.how {
            How::Resown => (picked, is_gone) = (0.0, false),
            How::Gone => is_gone = true,
            _ if has_grown => {}
            How::Spoilt(part) => picked = picked.max(part),
            How::Picked { amount, asked } => picked += part(risk, planting, taken, amount, asked),
        }
    }
    let picked = picked.clamp(0.0, 1.0);
    match keeps {
        _ if is_gone => Left { stands: 0.0, ..Left::ALL },
        Keeps::Nothing => Left { stands: 1.0 - picked, ..Left::ALL },
        Keeps::Plant | Keeps::Crown => {
            let yields = yield_of(risk.bed, planting);
            Left { to_pick: 1.0 - picked, of_picked: 1.0 - picked * yields.taken, ..Left::ALL }
        }
    }
}

fn is_of(planting: &PlantingRisk<'_>, taken: &Taken, of: NightOf) -> bool {
    let since = planting.planting.planted.unwrap_or(of.0 - OF_THIS_PLANTING);
    taken.crop.as_ref().is_none_or(|crop| *crop == planting.crop.id)
        && is_of_sowing(planting, taken)
        && taken.stood_on >= since
}

fn is_of_sowing(planting: &PlantingRisk<'_>, taken: &Taken) -> bool {
    taken.sowing.as_ref().is_none_or(|sowing| planting.planting.is_sowing(sowing))
}

/// What stays after picking, and whether there will be something to pick again.
fn after_picking(planting: &PlantingRisk<'_>) -> (Keeps, bool) {
    // An entry names the crop alone. Where the catalogue knows of nothing to pick, what was picked was something on the side.
    let keeps = main_part(planting).map_or(Keeps::Plant, |part| keeps(planting.crop, planting.stage.name, part));
    let comes_again = planting.crop.growing.harvested != HarvestHabit::CentralThenSideShoots;
    (keeps, keeps != Keeps::Nothing && comes_again)
}

/// What part of the picking somebody did.
fn part(risk: &BedRisk<'_>, planting: &PlantingRisk<'_>, taken: &Taken, amount: Picked, asked: bool) -> f64 {
    let Some(organ) = main_part(planting) else { return 0.0 };
    let same = |other: &&PlantingRisk<'_>| other.crop.id == planting.crop.id && is_of_sowing(other, taken);
    let alike = || risk.plantings.iter().filter(same);
    let there = || alike().filter(|other| other.planting.planted.is_none_or(|planted| planted <= taken.on));
    let all: f64 = there().map(|other| plants(risk.bed, other.planting, other.crop)).sum();
    let is_counted = there().all(|other| other.planting.plants.is_some());
    match amount {
        Picked::Pieces(pieces) if by_plant(planting.crop, organ).1 => {
            let part = f64::from(pieces) / all.max(1.0);
            if asked && !is_counted && part >= MOST_OF_IT { 1.0 } else { part.min(1.0) }
        }
        Picked::Weight(_) if by_plant(planting.crop, organ).1 => 0.0,
        _ if !asked => 0.0,
        Picked::Pieces(pieces) => {
            let with_its_plant = keeps(planting.crop, planting.stage.name, organ) == Keeps::Nothing
                && matches!(planting.crop.growing.harvested, HarvestHabit::Whole | HarvestHabit::RootAsWanted);
            if with_its_plant && f64::from(pieces) < A_FEW * all { 0.0 } else { 1.0 }
        }
        Picked::Weight(grams) => {
            let area: f64 = there().map(|other| area(risk.bed, other)).sum();
            if grams < A_MEAL * area { 0.0 } else { 1.0 }
        }
    }
}

/// Whether a crop is cut plant by plant, so that a number of them says what is left, and a weight does not.
pub fn is_counted(crop: &Crop) -> bool {
    let picked = crop.tolerances.iter().filter(|tolerance| tolerance.pick.is_some());
    picked.map(|tolerance| harvest::taken(crop.growing.harvested, tolerance.organ)).any(|organ| by_plant(crop, organ).1)
}

fn area(bed: &Bed, planting: &PlantingRisk<'_>) -> f64 {
    bed.area() * planting.planting.part_of_bed
}

impl BedRisk<'_> {
    /// Whether something of what grows there was picked or lost before.
    pub fn is_picked(&self) -> bool {
        !self.gone.is_empty() || self.plantings.iter().any(|one| one.left != Left::ALL)
    }
}

#[cfg(test)]
mod tests;
