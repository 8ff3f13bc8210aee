//! Several nights together: what each wants, which covers stay on by day, how many people to ask, and when.
//!
//! A night does not use a cover up, so every night may have all of them. What is scarce over a spell is labour: what
//! stays on, stays inside or is picked already is work that the next afternoon does not have.

use super::choice::{kinds_of, trips};
use super::said::Said;
use super::{BedPlan, CoverUse, Measure, Pick, Plan};
use crate::beds::Garden;
use crate::night::cover::CoverKind;
use crate::night::day::Day;
use crate::units::{Celsius, Minutes};
use serde::{Deserialize, Serialize};

/// Nights in a row.
#[derive(Clone, Debug)]
pub struct Spell<'a> {
    pub tonight: Plan<'a>,
    /// The nights after it.
    pub ahead: Vec<NightAhead<'a>>,
}

/// So many nights are told in a message, tonight among them (a first choice: a low is known ever less well).
pub const TOLD: u32 = 3;

/// One night of a spell, and what the nights before it leave to be done.
#[derive(Clone, Debug)]
pub struct NightAhead<'a> {
    /// The list as it would be made for this night alone.
    pub plan: Plan<'a>,
    /// Of each bed that is covered in the night before and in this one: its cover on the day between.
    pub by_day: Vec<ByDay>,
    /// Beds for which somebody goes out on this afternoon.
    pub beds: Vec<(String, Measure)>,
    /// The work of this afternoon, walking, fetching and tomorrow's uncovering included.
    pub minutes: Minutes,
    /// Of it, what is done before the night.
    pub before_night: Minutes,
    /// How many people it takes before the night, where the manager says how long each has.
    pub people: Option<u32>,
    /// Whether it leaves out picking that the nights before it ask for, as if that were done: the list of its day asks again
    /// for what nobody has written down as picked.
    pub counts_on_picking: bool,
}

/// What was told of a night to come, so that it is told again when it asks for more.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ToldAhead {
    /// As [`NightAhead::people`].
    pub people: Option<u32>,
    /// As [`NightAhead::beds`].
    pub beds: Vec<(String, Measure)>,
    /// The low that was expected, °C.
    pub low: Option<f64>,
}

impl ToldAhead {
    /// What is told of a night.
    pub fn of(night: &NightAhead<'_>) -> ToldAhead {
        let low = night.plan.night.as_ref().ok().map(|night| night.minimum.mean.0);
        ToldAhead { people: night.people, beds: night.beds.clone(), low }
    }

    /// Whether a night asks for more than this: people beyond those told of, or work at a bed that had none. Other work at
    /// the same beds, and less of it, is told by the list of its day.
    pub fn is_less_than(&self, night: &NightAhead<'_>) -> bool {
        let more_people = self.people.zip(night.people).is_some_and(|(told, now)| now > told);
        let is_new = |(bed, _): &(String, Measure)| !self.beds.iter().any(|(told, _)| told == bed);
        more_people || night.beds.iter().any(is_new)
    }
}

/// A cover on the day between two nights.
#[derive(Clone, Debug, PartialEq)]
pub struct ByDay {
    pub bed: String,
    pub cover: CoverUse,
    pub advice: DayAdvice,
}

/// What to do with a cover by day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum DayAdvice {
    /// It may stay as it is.
    StaysOn,
    /// It stays, opened at its ends or propped up while it is light, and is closed before dusk.
    Open,
    /// It comes off in the morning and goes on again before dusk.
    ComesOff,
}

impl DayAdvice {
    /// The word in `--json`.
    pub fn word(self) -> &'static str {
        match self {
            DayAdvice::StaysOn => "stays-on",
            DayAdvice::Open => "open-by-day",
            DayAdvice::ComesOff => "comes-off-by-day",
        }
    }
}

/// From such a warmest hour on every cover comes off by day (60 F: a grower's page, cool-season crops under row cover
/// with and without plastic; low grade).
const UNCOVER_FROM: Celsius = Celsius(15.6);
/// From such a warmest hour on what is closed is opened, whatever the sky (assumed).
const OPEN_FROM: Celsius = Celsius(8.0);
/// A day that stays below this is no day to lay plants bare (assumed).
const STAYS_COLD: Celsius = Celsius(1.0);
/// Skies with less cloud than this heat what is closed (as in [`crate::night::cover::CoverConditions`]).
const SUNNY: f64 = 0.6;
/// Person-minutes to open a cover and close it again (assumed).
pub(super) const OPEN_AND_CLOSE: f64 = 2.0;

/// A cover of this kind on such a day. Where nothing is known of the day it comes off, as every cover does in the
/// morning: plastic that is forgotten in the sun kills.
pub fn by_day(kind: CoverKind, day: Option<&Day>) -> DayAdvice {
    let Some(day) = day else { return DayAdvice::ComesOff };
    // What is not a number counts as warm and sunny.
    let is_warm = |limit: Celsius| day.warmest >= limit || day.warmest.0.is_nan();
    let may_be_sunny = day.cloud_cover.is_none_or(|cloud| cloud < SUNNY || cloud.is_nan());
    if is_warm(UNCOVER_FROM) {
        return DayAdvice::ComesOff;
    }
    match kind {
        // Light, rain and air go through.
        CoverKind::LightRowCover | CoverKind::MediumRowCover => DayAdvice::StaysOn,
        // Plants want the light that these keep off (common practice), unless the day is as hard on them as the night.
        CoverKind::HeavyRowCover | CoverKind::Sheet if is_warm(STAYS_COLD) => DayAdvice::ComesOff,
        CoverKind::HeavyRowCover | CoverKind::Sheet => DayAdvice::StaysOn,
        CoverKind::ClearPlastic if may_be_sunny || is_warm(OPEN_FROM) => DayAdvice::ComesOff,
        CoverKind::LowTunnel | CoverKind::ColdFrame if may_be_sunny || is_warm(OPEN_FROM) => DayAdvice::Open,
        CoverKind::ClearPlastic | CoverKind::LowTunnel | CoverKind::ColdFrame => DayAdvice::StaysOn,
    }
}

impl<'a> Spell<'a> {
    /// Lists of nights in a row, and the days between them: `days[0]` follows tonight.
    pub fn of(tonight: Plan<'a>, later: Vec<Plan<'a>>, days: &[Option<Day>]) -> Spell<'a> {
        let mut spell = Spell { tonight, ahead: Vec::with_capacity(later.len()) };
        for (index, plan) in later.into_iter().enumerate() {
            let before: Vec<&Plan<'a>> = spell.plans().collect();
            let night = night_ahead(&before, plan, days.get(index).and_then(Option::as_ref));
            spell.ahead.push(night);
        }
        spell
    }

    fn plans(&self) -> impl Iterator<Item = &Plan<'a>> {
        std::iter::once(&self.tonight).chain(self.ahead.iter().map(|night| &night.plan))
    }

    /// The first night after tonight for which people are wanted: worth a word of its own while tonight has none.
    pub fn to_announce(&self) -> Option<&NightAhead<'a>> {
        self.ahead.iter().find(|night| !night.beds.is_empty())
    }
}

fn night_ahead<'a>(before: &[&Plan<'a>], plan: Plan<'a>, day: Option<&Day>) -> NightAhead<'a> {
    let garden = plan.garden;
    let last = before.last().copied();
    let by_day: Vec<ByDay> = plan.beds.iter().filter_map(|bed| cover_by_day(garden, last, bed, day)).collect();
    let mut beds = Vec::new();
    let (mut minutes, mut before_night, mut kinds, mut counts_on_picking) = (0.0, 0.0, 0, false);
    for bed in plan.beds.iter().filter(|bed| bed.measure.is_work()) {
        let id = &bed.risk.bed.id;
        let was = |measure: Measure| move |plan: &&Plan<'a>| has(plan, id, measure);
        let is_asked = |pick: &&Pick| before.iter().any(|plan| asks(plan, id, pick));
        let asked: f64 = bed.picks.iter().filter(is_asked).map(|pick| pick.work.0).sum();
        let picked = bed.measure == Measure::Harvest && bed.picks.iter().all(|pick| is_asked(&pick));
        counts_on_picking |= asked > 0.0;
        let inside = bed.measure == Measure::BringIn && before.last().is_some_and(was(Measure::BringIn));
        let picking: f64 = bed.picks.iter().map(|pick| pick.work.0).sum();
        // All of the work, and what of it is done before the night.
        let (covering, before, is_laid) =
            match by_day.iter().find(|by_day| by_day.bed == *id).map(|by_day| by_day.advice) {
                Some(DayAdvice::StaysOn) => (0.0, 0.0, false),
                Some(DayAdvice::Open) => (OPEN_AND_CLOSE, OPEN_AND_CLOSE, false),
                Some(DayAdvice::ComesOff) | None => {
                    ((bed.work.0 - picking).max(0.0), (bed.tonight.0 - picking).max(0.0), bed.cover.is_some())
                }
            };
        let (work, before) = match bed.measure {
            _ if inside => (0.0, 0.0),
            Measure::Harvest if picked => (covering, before),
            Measure::Harvest => (picking - asked + covering, picking - asked + before),
            Measure::Cover => (covering, before),
            _ => (bed.work.0, bed.tonight.0),
        };
        if work > 0.0 {
            let measure = if picked { Measure::Cover } else { bed.measure };
            beds.push((id.clone(), measure));
            (minutes, before_night) = (minutes + work, before_night + before);
            kinds |= kinds_of(measure, is_laid, false);
        }
    }
    let trips = trips(kinds);
    let (minutes, before_night) = (Minutes(minutes + trips), Minutes(before_night + trips));
    let people = garden.crew.and_then(|crew| people(before_night, crew.minutes));
    NightAhead { plan, by_day, beds, minutes, before_night, people, counts_on_picking }
}

/// What is out in the morning, where the coming night wants the same again.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Kept {
    /// Of each bed that is covered, its cover today.
    pub covers: Vec<ByDay>,
    /// Pots that stand inside, by the label of their bed.
    pub inside: Vec<String>,
}

impl Kept {
    /// The beds that are left as they are through the day, or all but.
    pub fn beds(&self) -> Vec<String> {
        let covered = self.covers.iter().filter(|cover| cover.advice != DayAdvice::ComesOff).map(|cover| &cover.bed);
        covered.chain(&self.inside).cloned().collect()
    }

    /// Of these, the beds whose cover is opened while it is light.
    pub fn opened(&self) -> Vec<String> {
        let opened = self.covers.iter().filter(|cover| cover.advice == DayAdvice::Open);
        opened.map(|cover| cover.bed.clone()).collect()
    }
}

/// A cover that was to stay as it was, on a day that turns too hot or too bright for that.
#[derive(Clone, Debug, PartialEq)]
pub struct TooHot {
    pub bed: String,
    /// What it was called: see [`CoverUse::title`].
    pub cover: String,
    /// What the day asks for now: to open it, or to take it off.
    pub advice: DayAdvice,
}

/// What heat asks of a cover that is on, on such a day: light that cloth keeps off is no reason to go out in the middle of
/// the day.
fn in_the_heat(kind: CoverKind, day: &Day) -> DayAdvice {
    let is_cloth = match kind {
        CoverKind::LightRowCover | CoverKind::MediumRowCover | CoverKind::HeavyRowCover | CoverKind::Sheet => true,
        CoverKind::ClearPlastic | CoverKind::LowTunnel | CoverKind::ColdFrame => false,
    };
    if is_cloth && day.warmest < UNCOVER_FROM { DayAdvice::StaysOn } else { by_day(kind, Some(day)) }
}

/// Of the covers that the `word` of the morning left on, those that are `out` still and that the day as it is known now asks
/// to treat otherwise. A day that turns cooler asks for nothing: what is open stays open until dusk.
pub fn too_hot(garden: &Garden, word: &Said, out: &Said, day: &Day) -> Vec<TooHot> {
    let kept = word.kept.as_deref().unwrap_or_default();
    let covered = out.beds.iter().filter(|bed| kept.contains(&bed.bed));
    let hot = covered.filter_map(|bed| {
        let cover = bed.cover.as_ref()?;
        let stock = garden.covers.iter().find(|stock| stock.name == CoverUse::name_in(cover))?;
        let told = if word.open.contains(&bed.bed) { DayAdvice::Open } else { DayAdvice::StaysOn };
        let advice = in_the_heat(stock.kind, day);
        (advice > told).then(|| TooHot { bed: bed.bed.clone(), cover: cover.clone(), advice })
    });
    hot.collect()
}

impl Said {
    /// The word of the morning, once people were told of these covers.
    #[must_use]
    pub fn opened_up(mut self, hot: &[TooHot]) -> Said {
        for cover in hot {
            self.open.retain(|bed| *bed != cover.bed);
            match cover.advice {
                DayAdvice::Open => self.open.push(cover.bed.clone()),
                DayAdvice::ComesOff | DayAdvice::StaysOn => {
                    self.kept.iter_mut().for_each(|kept| kept.retain(|bed| *bed != cover.bed));
                }
            }
        }
        self
    }
}

/// What of the last night's list the coming night wants again.
pub fn kept(said: &Said, tonight: &Plan<'_>, day: Option<&Day>) -> Kept {
    let covers = tonight.beds.iter().filter_map(|bed| {
        let cover = bed.cover.as_ref()?;
        let before = said.beds.iter().find(|said| said.bed == bed.risk.bed.id)?.cover.as_ref()?;
        let kind = tonight.garden.covers.get(cover.stock)?.kind;
        let advice = if *before == cover.title() { by_day(kind, day) } else { DayAdvice::ComesOff };
        Some(ByDay { bed: bed.risk.bed.id.clone(), cover: cover.clone(), advice })
    });
    let is_inside = |id: &String| said.beds.iter().any(|said| said.bed == *id && said.measure == Measure::BringIn);
    let brought_in = tonight.beds.iter().filter(|bed| bed.measure == Measure::BringIn);
    let inside = brought_in.map(|bed| bed.risk.bed.id.clone()).filter(is_inside);
    Kept { covers: covers.collect(), inside: inside.collect() }
}

/// A bed that had a cover in the night before, and has one in this.
fn cover_by_day(garden: &Garden, last: Option<&Plan<'_>>, bed: &BedPlan<'_>, day: Option<&Day>) -> Option<ByDay> {
    let cover = bed.cover.as_ref()?;
    let before = last?.beds.iter().find(|other| other.risk.bed.id == bed.risk.bed.id)?.cover.as_ref()?;
    let kind = garden.covers.get(before.stock)?.kind;
    // Another cover, or another layer: what lies there is taken off or added to.
    let same = before.stock == cover.stock && before.layers == cover.layers;
    let advice = if same { by_day(kind, day) } else { DayAdvice::ComesOff };
    Some(ByDay { bed: bed.risk.bed.id.clone(), cover: before.clone(), advice })
}

/// Whether a list asks for a picking at a bed.
fn asks(plan: &Plan<'_>, id: &str, pick: &Pick) -> bool {
    let same = |other: &Pick| other.crop == pick.crop && other.instruction == pick.instruction;
    plan.beds.iter().any(|bed| bed.risk.bed.id == id && bed.picks.iter().any(same))
}

fn has(plan: &Plan<'_>, id: &str, measure: Measure) -> bool {
    plan.beds.iter().any(|bed| bed.risk.bed.id == id && bed.measure == measure)
}

/// People for so much work; `None` where they have no time at all.
fn people(work: Minutes, each: Minutes) -> Option<u32> {
    // Work is within the limits of settings, far inside the range of the type; no people times no minutes is no number.
    (each.0 > 0.0).then(|| (work.0 / each.0 - 1e-9).ceil().max(0.0) as u32)
}

#[cfg(test)]
mod tests;
