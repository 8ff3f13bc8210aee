//! How far a planting has grown and how hardened it is on one night: the manager's word, else dates and past nights.

use crate::beds::{Bed, Garden, Hardened, Planting, Raised};
use crate::crops::age::{Stage, StageFrom, by_calendar, from_start};
use crate::crops::hardening::{DayBehind, Hardening, RECORD, hardening};
use crate::crops::{CountedFrom, Crop, HarvestHabit};
use crate::night::past::{DAYS, PastDay};
use crate::units::Kelvins;
use crate::zone::NightOf;
use chrono::{Datelike, Duration, NaiveDate};

/// How hardened a planting is, and on what that rests.
#[derive(Clone, Debug, PartialEq)]
pub struct HardeningState {
    /// 0 (not at all) to 1 (fully).
    pub degree: f64,
    pub from: HardenedBy,
}

/// Where a degree of hardening comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum HardenedBy {
    /// The manager has said so.
    Manager(Hardened),
    /// Raised under cover and set out less than a week ago, or nobody knows when: none.
    JustSetOut,
    /// No night before this one is known: none is assumed.
    NoRecord,
    /// The nights and days behind it.
    Record(Hardening),
}

impl HardenedBy {
    /// The word in `--json`.
    pub fn word(&self) -> &'static str {
        match self {
            HardenedBy::Manager(_) => "manager",
            HardenedBy::JustSetOut => "just-set-out",
            HardenedBy::NoRecord => "no-record",
            HardenedBy::Record(_) => "record",
        }
    }
}

/// A plant from under cover begins to harden after this time outdoors (assumed).
const FIRST_WEEK: Duration = Duration::days(7);

// The nights that are remembered are all that the gain from nothing to all takes.
const _: () = assert!(DAYS as usize >= RECORD);

/// The stage of a planting on a night.
pub fn stage_of<'a>(garden: &Garden, planting: &Planting, crop: &'a Crop, of: NightOf) -> Stage<'a> {
    let named = planting.stage.as_ref().and_then(|named| crop.stages.iter().find(|stage| *stage == named));
    match (named, planting.planted) {
        (Some(name), _) => Stage { name, from: StageFrom::Manager },
        (None, planted) => {
            // Settings ask for one of the two.
            let days = planted.map_or(0, |planted| (of.0 - planted).num_days());
            by_calendar(crop, start_of(planting, crop), garden.own_days_to_maturity(planting), days)
        }
    }
}

pub(super) fn start_of(planting: &Planting, crop: &Crop) -> CountedFrom {
    planting.start.unwrap_or(crop.growing.counted_from)
}

/// Days to the first harvest: the garden's own before the catalogue's, counted from what this planting was started as.
pub fn days_to_maturity(garden: &Garden, planting: &Planting, crop: &Crop) -> Option<(u16, u16)> {
    let days = garden.own_days_to_maturity(planting).or(crop.growing.days_to_maturity)?;
    Some(from_start(days, crop, start_of(planting, crop)))
}

/// Whether even the slowest plants of a planting have ripened and stood their days. What is cut again and again has no
/// such day. The dark months do not count: they hold plants where they are, and what they do to them is not known.
pub fn is_past_its_best(garden: &Garden, planting: &Planting, crop: &Crop, today: NaiveDate) -> bool {
    let again = matches!(crop.growing.harvested, HarvestHabit::CutAndComeAgain | HarvestHabit::Snip);
    let (Some(planted), Some((_, most)), Some(stands), false) =
        (planting.planted, days_to_maturity(garden, planting, crop), &crop.harvest.past_best, again)
    else {
        return false;
    };
    let is_dark = |day: &NaiveDate| match garden.site.latitude < 0.0 {
        false => matches!(day.month(), 11 | 12 | 1 | 2),
        true => (5..=8).contains(&day.month()),
    };
    // Longer than this nothing takes that has days at all, so that a date of long ago costs no time.
    let days = planted.iter_days().take(2000).take_while(|day| *day < today);
    days.filter(|day| !is_dark(day)).count() > usize::from(most) + usize::from(stands.days)
}

/// How hardened a planting of a bed is on a night.
pub fn hardening_of(
    bed: &Bed,
    planting: &Planting,
    crop: &Crop,
    stage: &Stage<'_>,
    past: &[PastDay],
    of: NightOf,
) -> HardeningState {
    if let Some(word) = planting.hardened {
        return HardeningState { degree: word.degree(), from: HardenedBy::Manager(word) };
    }
    let none = |from| HardeningState { degree: 0.0, from };
    let by_start = if start_of(planting, crop) == CountedFrom::Transplant || stage.name == "transplant" {
        Raised::UnderCover
    } else {
        Raised::Outdoors
    };
    let tender = planting.raised.unwrap_or(by_start) == Raised::UnderCover;
    let young = |planted: NaiveDate| of.0 - planted < FIRST_WEEK;
    if tender && planting.planted.map_or(stage.name == "transplant", young) {
        return none(HardenedBy::JustSetOut);
    }
    let offset = offset_of(bed);
    let behind: Vec<DayBehind> = past
        .iter()
        .map(|day| {
            // Under cover, or still a seed in its packet, it felt nothing of the night.
            let stood = planting.planted.is_none_or(|planted| day.of.0 >= planted);
            let first_week = tender && planting.planted.is_some_and(|planted| day.of.0 - planted < FIRST_WEEK);
            DayBehind {
                low: day.low(offset).filter(|_| stood),
                // What it gains in that week is not counted.
                mean: day.mean().filter(|_| stood && !first_week),
            }
        })
        .collect();
    if behind.iter().all(|day| day.low.is_none()) {
        return none(HardenedBy::NoRecord);
    }
    let state = hardening(&behind);
    HardeningState { degree: state.degree, from: HardenedBy::Record(state) }
}

/// Air at a bed against the garden's screen on a clear calm night.
pub(super) fn offset_of(bed: &Bed) -> Kelvins {
    bed.offset_in_use()
}
