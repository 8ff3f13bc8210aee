//! What saving a planting is worth: the manager's word, else the ground it fills and what it would take to have it again.

use super::growth::{is_past_its_best, stage_of, start_of};
use crate::beds::{Bed, BedKind, Garden, Planting};
use crate::crops::age::{Stage, StageFrom, days_grown, days_in_stage};
use crate::crops::{CountedFrom, Crop, HarvestHabit, Life};
use crate::units::Minutes;
use crate::zone::NightOf;

/// What saving a planting is worth, and why so much.
#[derive(Clone, Debug, PartialEq)]
pub struct Worth {
    pub minutes: Minutes,
    pub from: WorthFrom,
}

/// Where a worth comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum WorthFrom {
    /// The manager has said so.
    Manager,
    /// From the ground and the time that it would take again.
    Reckoned {
        /// Of lettuce ready to cut on one square metre.
        per_square_metre: Minutes,
        /// What the planting counts as, m².
        area: f64,
        /// Against such lettuce, 0.25 to 4.
        factor: f64,
        grown: Grown,
        past_its_best: bool,
    },
}

/// What a planting has behind it, and would have to grow again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Grown {
    /// Days, the weeks in a nursery included: so many of those to its first harvest.
    Days { grown: f64, in_all: f64 },
    /// Of what lives for years: so many of those until it is again what it was.
    Years { lived: f64, in_all: f64 },
    /// No table has its days.
    NotKnown,
}

impl WorthFrom {
    /// The word in `--json`.
    pub fn word(&self) -> &'static str {
        match self {
            WorthFrom::Manager => "manager",
            WorthFrom::Reckoned { .. } => "reckoned",
        }
    }
}

/// Days of leaf lettuce from seed to its first harvest, the middle of its 45 to 60: what a garden's worth of a square metre
/// speaks of (`lettuce_ready_to_cut_is_worth_its_ground`).
pub const LETTUCE_DAYS: f64 = 52.5;
/// Part of that worth that is the work of beginning again, which every crop takes alike; the rest is its time (assumed).
const BEGINNING: f64 = 0.5;
/// What a planting of one season counts as at most, however slow (assumed: another crop could have grown before it).
const MOST: f64 = 2.0;
/// What is left of it once it is past its best (assumed).
const PAST_ITS_BEST: f64 = 0.5;
/// Years until a perennial is again what it was (assumed): one that is divided and cut small, a bush or a bed of stalks, a
/// bush or tree of fruit; and those of them that it spent in a nursery, where it is set out.
const YEARS_DIVIDED: f64 = 1.0;
const YEARS_OF_A_BUSH: f64 = 2.0;
const YEARS_OF_FRUIT: f64 = 3.0;
const YEARS_IN_A_NURSERY: f64 = 0.5;
/// Ground that a pot counts as at least, m² (assumed): it was filled and potted, and often stays for years.
pub const GROUND_OF_A_POT: f64 = 0.6;

const DAYS_OF_A_YEAR: f64 = 365.25;

/// What saving a planting is worth on a night: what it would take to have it again.
///
/// ```text
/// w = w_1 a p f
/// f = 0.5 + 0.5 g / 52.5, at most 2    of a crop of one season
/// f = 1 + y                            of what lives for years
/// ```
///
/// and half of it for what is past its best. The manager's own worth takes the place of all this.
///
/// | symbol | meaning                                                               | unit   | accepted range |
/// |--------|-----------------------------------------------------------------------|--------|----------------|
/// | `w_1`  | leaf lettuce ready to cut on one square metre, by the garden's file   | min/m² | 0 and above    |
/// | `a`    | ground of the bed; of pots at least 0.6 m² each                       | m²     | above 0        |
/// | `p`    | part of the bed that the planting fills                               | -      | 0 to 1         |
/// | `g`    | days that have grown it, in a nursery too, until its first harvest    | d      | any            |
/// | `y`    | years that have grown it, until it is what it was: 1, 2 or 3 in all   | years  | any            |
///
/// The stage gives a span of days, and the date of planting says where in it; without a date it is the middle of the stage,
/// and the end of the last one. Where no table has the days, it counts as such lettuce.
///
/// **Method error.** Unknown: a garden may value a salad over a cabbage. It is the order between a garden's plantings that
/// matters, and the manager's word stands above it. Left out: the season, though what is lost in November is not sown again
/// before spring; and what was picked, which `plan::taken` takes off by itself.
/// **Refuses.** Nothing. A date after the night counts as planted on it.
/// **Source.** Days to maturity: the crop's own sources. All else is assumed.
/// **Check.** None known: it is a convention. `each_crop_in_each_stage_is_worth_what_a_gardener_would_say` holds rows by
/// hand, `tests/evenings.rs` what a careful grower makes of them.
pub fn worth(garden: &Garden, bed: &Bed, planting: &Planting, crop: &Crop, of: NightOf) -> Worth {
    of_stage(garden, bed, planting, crop, &stage_of(garden, planting, crop, of), of)
}

/// The same where the stage is known already.
pub(super) fn of_stage(
    garden: &Garden,
    bed: &Bed,
    planting: &Planting,
    crop: &Crop,
    stage: &Stage<'_>,
    of: NightOf,
) -> Worth {
    if let Some(minutes) = planting.worth {
        return Worth { minutes, from: WorthFrom::Manager };
    }
    let per_square_metre = garden.worth_per_square_metre;
    let whole_bed = match bed.kind {
        BedKind::Containers { count, .. } => bed.area().max(GROUND_OF_A_POT * f64::from(count)),
        BedKind::InGround | BedKind::Raised => bed.area(),
    };
    let area = whole_bed * planting.part_of_bed;
    let grown = grown(garden, planting, crop, stage, of);
    let past_its_best = is_past_its_best(garden, planting, crop, of.0);
    let factor = grown.factor() * if past_its_best { PAST_ITS_BEST } else { 1.0 };
    let minutes = Minutes(per_square_metre.0 * area * factor);
    Worth { minutes, from: WorthFrom::Reckoned { per_square_metre, area, factor, grown, past_its_best } }
}

impl Grown {
    /// Against lettuce ready to cut, 0.5 to 4.
    pub fn factor(self) -> f64 {
        match self {
            Grown::Days { grown, .. } => (BEGINNING + (1.0 - BEGINNING) * grown / LETTUCE_DAYS).min(MOST),
            Grown::Years { lived, .. } => 1.0 + lived,
            Grown::NotKnown => 1.0,
        }
    }
}

fn grown(garden: &Garden, planting: &Planting, crop: &Crop, stage: &Stage<'_>, of: NightOf) -> Grown {
    let since = planting.planted.map(|planted| (of.0 - planted).num_days().max(0) as f64);
    if crop.growing.life == Life::Perennial {
        let (before, in_all) = years(crop);
        let lived = match stage.name {
            "transplant" => before,
            _ => since.map_or(in_all, |days| (before + days / DAYS_OF_A_YEAR).min(in_all)),
        };
        return Grown::Years { lived, in_all };
    }
    let (start, own_days) = (start_of(planting, crop), garden.own_days_to_maturity(planting));
    let Some((before, in_all)) = days_grown(crop, start, own_days) else { return Grown::NotKnown };
    // A stage that the date has told says no more than the date.
    let named = match stage.from {
        StageFrom::Manager => days_in_stage(crop, start, own_days, stage.name),
        StageFrom::Calendar { .. } => None,
    };
    let (begins, usual, ends) = named.unwrap_or((before, in_all, in_all));
    let grown = since.map_or(usual, |days| (before + days).max(begins).min(ends));
    Grown::Days { grown, in_all }
}

/// Years in a nursery, and in all.
fn years(crop: &Crop) -> (f64, f64) {
    let is_divided = crop.growing.counted_from == CountedFrom::Division;
    let in_all = match crop.growing.harvested {
        HarvestHabit::Snip | HarvestHabit::Fruit if is_divided => YEARS_DIVIDED,
        HarvestHabit::Fruit => YEARS_OF_FRUIT,
        _ => YEARS_OF_A_BUSH,
    };
    (if is_divided { 0.0 } else { YEARS_IN_A_NURSERY }, in_all)
}

#[cfg(test)]
mod tests;
