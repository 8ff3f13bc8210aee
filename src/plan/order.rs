//! In which order a list is worked through, who does what, and what is left first when people or minutes run short.
//!
//! First what is cut, while it is dry and light; then what is carried; then covers, which keep the day's warmth best
//! when they are laid last. In the dark nobody begins with a knife: what is carried comes first, then covers, and what is
//! cut last. Watering, which helps only on the day before, would come before all of them. Within each of
//! these the part of the garden comes first in which something is due first, as in the dark, or in which most is saved
//! for a minute, and its beds in the garden's order, which is the walk. Weighing down the edges is part of covering, and is looked over once more at the end.

mod sharing;

pub use sharing::arrange;

use super::aftermath::loss_left;
use super::{BedPlan, Measure, Plan, Reason, time_left};
use crate::beds::BedKind;
use crate::rounds::{NoSunset, no_sunset};
use crate::units::Minutes;
use crate::words::words;
use chrono::{DateTime, Utc};

/// From this length on two people lay a cover, m (common practice; the length is assumed).
const LONG_COVER: f64 = 4.5;
/// From this diameter on two people carry a pot, m (common practice; the diameter is assumed).
const LARGE_POT: f64 = 0.4;

/// What kind of work a turn is, in the order in which they are done by day; see [`Light::phases`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// What is picked; a cover over what stays is laid with it.
    Cut,
    BringIn,
    Cover,
}

words!(Phase { Cut = "cut", BringIn = "bring-in", Cover = "cover" });

impl Phase {
    /// The measure that it carries out.
    pub fn measure(self) -> Measure {
        match self {
            Phase::Cut => Measure::Harvest,
            Phase::BringIn => Measure::BringIn,
            Phase::Cover => Measure::Cover,
        }
    }
}

/// By what light the work is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    Day,
    Dark,
}

impl Light {
    /// That of a list: dark from sunset on, or all day where the sun does not rise.
    pub fn of(plan: &Plan<'_>) -> Light {
        let is_dark = match no_sunset(&plan.garden.site, &plan.garden.zone, plan.of) {
            Some(NoSunset::NeverSets) => false,
            Some(NoSunset::NeverRises) => true,
            None => plan.made_at >= plan.deadline + plan.garden.finish_before_sunset,
        };
        if is_dark { Light::Dark } else { Light::Day }
    }

    /// The kinds of work in their order.
    pub fn phases(self) -> [Phase; 3] {
        match self {
            Light::Day => [Phase::Cut, Phase::BringIn, Phase::Cover],
            // Pots are safe to carry by lamp light, a knife among leaves is not (common practice).
            Light::Dark => [Phase::BringIn, Phase::Cover, Phase::Cut],
        }
    }
}

/// The work at one bed, or at two that lie under one piece, before it has its turn.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Index into [`Plan::beds`].
    pub bed: usize,
    /// The neighbour that lies under the same piece: one task for both.
    pub with: Option<usize>,
    pub phase: Phase,
    /// Which part of the garden: beds that follow each other in its file under one letter.
    pub place: usize,
    /// Of all its people together, tonight; more than 0.
    pub minutes: Minutes,
    /// By when it has to be done; before dark the same for all.
    pub do_by: Option<DateTime<Utc>>,
    /// How many people it wants, where there are so many; 1 or more.
    pub hands: u32,
    /// Whether it comes before all others, whatever they save: roots that do not last in soil so cold.
    pub is_first: bool,
    /// Expected loss that it averts, in minutes of worth.
    pub averted: Minutes,
}

impl Task {
    /// Its bed, or both that lie under one piece.
    pub fn beds(&self) -> impl Iterator<Item = usize> {
        std::iter::once(self.bed).chain(self.with)
    }

    /// Expected loss averted for a minute of work.
    pub fn averted_per_minute(&self) -> f64 {
        self.averted.0 / self.minutes.0.max(1e-9)
    }
}

/// Why a turn comes when it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TurnReason {
    /// It begins its kind of work, in the place where it is due first, or where a minute saves most.
    SavesMost,
    /// It lies beside the one before.
    OnTheWay,
    /// It begins a place where a minute saves less than in the one before.
    SavesLess,
    /// It begins a place where there is more time than in the one before.
    DueLater,
}

words!(TurnReason { SavesMost = "saves-most", OnTheWay = "on-the-way", SavesLess = "saves-less", DueLater = "due-later" });

/// A task with its turn.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    pub task: Task,
    pub reason: TurnReason,
    /// The people who do it, counted from 1; empty where nobody says who comes.
    pub who: Vec<u32>,
    /// Minutes after these people began; `None` where nobody says who comes.
    pub starts_after: Option<Minutes>,
    /// What it takes each of them.
    pub each: Minutes,
}

/// The people of one afternoon, and the time of each before work outdoors has to end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Party {
    pub people: u32,
    pub minutes: Minutes,
}

/// A list as work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WorkOrder {
    /// Who comes; `None` where the garden does not say.
    pub party: Option<Party>,
    /// What fits, in the order in which it is done.
    pub turns: Vec<Turn>,
    /// What does not fit into the time of those who come, what saves most for a minute first.
    pub does_not_fit: Vec<Task>,
    /// The tasks of `turns` that half of the people leave, what saves least for a minute first; where the garden does
    /// not say who comes, those that half of the minutes leave.
    pub leave_first: Vec<Task>,
}

impl WorkOrder {
    /// The tasks as they are worked through, those that do not fit at the end.
    pub fn tasks(&self) -> impl Iterator<Item = &Task> {
        self.turns.iter().map(|turn| &turn.task).chain(&self.does_not_fit)
    }

    /// The beds in the same order.
    pub fn beds(&self) -> impl Iterator<Item = usize> {
        self.tasks().flat_map(Task::beds)
    }
}

/// The work of a plan. Every bed with work is in it once, by itself or with the neighbour under the same piece.
pub fn work_order(plan: &Plan<'_>) -> WorkOrder {
    let mut places = Vec::with_capacity(plan.beds.len());
    let mut place = 0;
    for (index, bed) in plan.beds.iter().enumerate() {
        let before = index.checked_sub(1).and_then(|before| plan.beds.get(before));
        if before.is_some_and(|before| part_of_garden(&before.risk.bed.id) != part_of_garden(&bed.risk.bed.id)) {
            place += 1;
        }
        places.push(place);
    }
    let tasks = plan.beds.iter().zip(places).enumerate().filter_map(|(index, (bed, place))| {
        let phase = match bed.measure {
            Measure::Harvest => Phase::Cut,
            Measure::BringIn => Phase::BringIn,
            Measure::Cover => Phase::Cover,
            Measure::Leave | Measure::Fine | Measure::Unknown => return None,
        };
        let (with, is_done_with) = neighbour(plan, bed);
        if is_done_with {
            return None;
        }
        let beds = || std::iter::once(bed).chain(with.and_then(|with| plan.beds.get(with)));
        let sum = |of: &dyn Fn(&BedPlan<'_>) -> Minutes| beds().fold(Minutes(0.0), |sum, bed| sum + of(bed));
        // Less than a minute is one, by the time the knife or the cloth is found; what is out already takes none.
        let least = if beds().all(BedPlan::stays_out) { 0.0 } else { 1.0 };
        Some(Task {
            bed: index,
            with,
            phase,
            place,
            minutes: Minutes(sum(&|bed| bed.tonight).0.max(least)),
            do_by: beds().filter_map(|bed| bed.do_by).min(),
            hands: hands(plan, bed),
            is_first: matches!(bed.reason, Reason::SoilTooCold { .. }),
            averted: sum(&|bed| averted(plan, bed)),
        })
    });
    arrange(tasks.collect(), Light::of(plan), party(plan))
}

/// The bed that lies under the same piece as this one, and whether the work there serves this one too.
fn neighbour(plan: &Plan<'_>, bed: &BedPlan<'_>) -> (Option<usize>, bool) {
    let cover = bed.cover.as_ref();
    let other = cover.and_then(|cover| {
        let id = cover.together_with.as_ref()?;
        plan.beds.iter().position(|other| other.risk.bed.id == *id && other.measure.is_work() && other.cover.is_some())
    });
    // Of the two beds one has the piece.
    (other, other.is_some() && cover.is_some_and(|cover| cover.pieces == 0))
}

/// Those who are counted on, with the time that bounded the choice: no task is asked for that this would leave.
fn party(plan: &Plan<'_>) -> Option<Party> {
    let crew = plan.garden.crew?;
    let left = time_left(plan.deadline, plan.made_at).map_or(f64::INFINITY, |left| left.as_seconds_f64() / 60.0);
    Some(Party { people: crew.people, minutes: Minutes(crew.minutes.0.min(left)) })
}

/// The letters before the number of a bed's label.
fn part_of_garden(label: &str) -> String {
    label.chars().take_while(|letter| letter.is_alphabetic()).flat_map(char::to_lowercase).collect()
}

fn hands(plan: &Plan<'_>, bed: &BedPlan<'_>) -> u32 {
    let stock = bed.cover.as_ref().and_then(|cover| plan.garden.covers.get(cover.stock));
    let long_cover = stock.is_some_and(|stock| stock.length.max(stock.width) >= LONG_COVER);
    let large_pot = bed.measure == Measure::BringIn
        && matches!(bed.risk.bed.kind, BedKind::Containers { diameter, .. } if diameter >= LARGE_POT);
    if long_cover || large_pot { 2 } else { 1 }
}

/// The expected loss that a bed's measure averts. A roof averts nearly all of it.
fn averted(plan: &Plan<'_>, bed: &BedPlan<'_>) -> Minutes {
    let used = bed.cover.as_ref().and_then(|used| Some((plan.garden.covers.get(used.stock)?, used.layers)));
    let cover = used.map(|(stock, layers)| stock.cover(layers));
    let left = loss_left(&bed.risk, bed.measure, cover, &bed.risk);
    Minutes((bed.risk.expected_loss(None).0 - left.0).max(0.0))
}

#[cfg(test)]
mod tests;
