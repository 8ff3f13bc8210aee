//! Risks and means to measures: one measure for every bed, each with its reason and the hour by which it must be done.

pub mod aftermath;
pub mod before;
pub use before::Before;
mod choice;
use choice::Bounds;
pub use choice::{CARRY_PER_POT, HARD_TO_HANDLE, TOO_WINDY, WIND_FACTOR, cover_minutes};
pub mod harvest;
pub mod order;
pub use harvest::{Keeps, Pick};
pub mod ready;
pub mod remarks;
pub mod said;
pub mod spell;
pub mod taken;
pub mod turning;
pub use turning::Turning;

use crate::beds::{Crew, Garden};
use crate::crops::Frame;
use crate::night::bed::BedHour;
use crate::night::cover::Layers;
use crate::night::{Knowledge, Night, NoNight};
use crate::risk::BedRisk;
use crate::units::{Celsius, Kelvins, Minutes, Probability};
use crate::words::words;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use serde::{Deserialize, Serialize};

/// What people do with a bed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Put a cover over it.
    Cover,
    /// Pick what the frost would take, and cover what stays where that is worth it.
    Harvest,
    /// Carry the pots under a roof.
    BringIn,
    /// At risk, and nothing is left or worth doing; the reason says why.
    Leave,
    /// Nothing to do: it stands this night.
    Fine,
    /// Nothing can be said; look at a thermometer.
    Unknown,
}

words!(Measure { Cover = "cover", Harvest = "harvest", BringIn = "bring-in", Leave = "leave", Fine = "fine", Unknown = "unknown" });

impl Measure {
    /// Whether somebody has to go out for it.
    pub fn is_work(self) -> bool {
        matches!(self, Measure::Cover | Measure::Harvest | Measure::BringIn)
    }
}

/// Why a bed has its measure, with the figures behind it.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// The cover averts more than it takes.
    CoverSaves { covered: Probability },
    /// Picking saves what no cover is sure to.
    PickBeforeFrost,
    /// It is frozen by now: what is handled then is spoilt, and what stands it can be picked when it has thawed.
    WaitForThaw,
    /// Pots lose their roots first, and a roof is surer than a cover.
    RootsAndTopsInside,
    /// The soil is too cold for what ripens in it.
    SoilTooCold { soil: Celsius, begins: Celsius },
    /// The plants stand colder than this night.
    WithinMargin,
    /// They may suffer, with a chance below the one from which this garden asks for work.
    SmallChance { chance: Probability, asks_from: Probability },
    /// They stand it, and some are the better for it.
    BetterForFrost,
    /// Only roots are in danger, and the soil stays above the temperature that harms them.
    SoilKeepsRoots { soil: Celsius, begins: Celsius },
    /// Only a small part of its worth is at risk.
    MinorPart,
    /// What this night would take was picked, or lost, before.
    PickedBefore,
    /// A cover would help; all that there are of it would not make one for this bed.
    CoversTooSmall,
    /// A cover would pay; too little of it is left. The bed that has of it and would miss it least, and another cover that
    /// is left and fits, but would not pay.
    NoCoverLeft { to: Option<String>, wanted: String, at_hand: Option<String> },
    /// Something would help; the people who come have no time left for it, or nobody comes.
    NoTimeLeft { work: Minutes, left: Minutes, nobody: bool },
    /// No cover in stock is of use for this bed or at this temperature, and there is nothing to pick.
    NothingHelps,
    /// What the best measure would save is less than its work.
    WorthLessThanWork { saved: Minutes, work: Minutes },
    /// Hours of the night are missing, and what is there does not show damage.
    HoursMissing,
    /// There is no usable weather.
    NoWeather,
}

impl Reason {
    /// The word in `--json` and in the log.
    pub fn word(&self) -> &'static str {
        match self {
            Reason::CoverSaves { .. } => "cover-saves",
            Reason::PickBeforeFrost => "pick-before-frost",
            Reason::WaitForThaw => "wait-for-thaw",
            Reason::RootsAndTopsInside => "safer-inside",
            Reason::SoilTooCold { .. } => "soil-too-cold",
            Reason::WithinMargin => "within-margin",
            Reason::SmallChance { .. } => "small-chance",
            Reason::BetterForFrost => "better-for-frost",
            Reason::SoilKeepsRoots { .. } => "soil-keeps-roots",
            Reason::MinorPart => "minor-part",
            Reason::PickedBefore => "picked-before",
            Reason::CoversTooSmall => "covers-too-small",
            Reason::NoCoverLeft { .. } => "no-cover-left",
            Reason::NoTimeLeft { .. } => "no-time-left",
            Reason::NothingHelps => "nothing-helps",
            Reason::WorthLessThanWork { .. } => "worth-less-than-work",
            Reason::HoursMissing => "hours-missing",
            Reason::NoWeather => "no-weather",
        }
    }
}

/// A cover for a bed.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverUse {
    /// As written on the shelf.
    pub name: String,
    /// Index into the garden's stock.
    pub stock: usize,
    /// Of all layers together.
    pub pieces: u32,
    pub layers: Layers,
    /// The neighbour that one piece covers together with this bed; of the two beds one has the piece, the other none.
    pub together_with: Option<String>,
}

/// Between the name of a cover and the bed that lies under the same piece.
const TOGETHER: &str = ", one piece together with ";
/// Before the name of a cover that lies double.
const TWO_LAYERS: &str = "two layers of ";

impl CoverUse {
    /// "white cloth", "two layers of white cloth".
    pub fn title(&self) -> String {
        match (self.layers, &self.together_with) {
            (_, Some(bed)) => format!("{}{TOGETHER}{bed}", self.name),
            (layers, None) => CoverUse::titled(&self.name, layers),
        }
    }

    /// The same of a cover over one bed.
    pub fn titled(name: &str, layers: Layers) -> String {
        match layers {
            Layers::One => name.to_string(),
            Layers::Two => format!("{TWO_LAYERS}{name}"),
        }
    }

    /// The name on the shelf in what [`CoverUse::title`] gives.
    pub fn name_in(title: &str) -> &str {
        let title = title.strip_prefix(TWO_LAYERS).unwrap_or(title);
        title.rsplit_once(TOGETHER).map_or(title, |(name, _)| name)
    }

    /// Whether a cover is laid with all that another was laid with, by what [`CoverUse::title`] gives of both.
    pub fn has_all_of(title: &str, other: &str) -> bool {
        let is_double = |title: &str| title.starts_with(TWO_LAYERS);
        CoverUse::name_in(title) == CoverUse::name_in(other) && (is_double(title) || !is_double(other))
    }

    /// The other bed under the same piece in what [`CoverUse::title`] gives.
    pub fn together_in(title: &str) -> Option<&str> {
        title.rsplit_once(TOGETHER).map(|(_, bed)| bed)
    }

    /// How many pieces lie side by side.
    pub fn pieces_per_layer(&self) -> u32 {
        self.pieces / self.layers.times()
    }
}

/// One bed's measure.
#[derive(Clone, Debug)]
pub struct BedPlan<'a> {
    pub risk: BedRisk<'a>,
    pub measure: Measure,
    /// The cover to lay, also after a harvest.
    pub cover: Option<CoverUse>,
    pub picks: Vec<Pick>,
    pub reason: Reason,
    /// Why other plantings of a bed that is picked, in danger too, are left without a cover.
    pub rest: Option<Reason>,
    pub do_by: Option<DateTime<Utc>>,
    /// The work, tomorrow's uncovering included.
    pub work: Minutes,
    /// Of it, what is done before the night.
    pub tonight: Minutes,
    /// Whether its cover lies there, or its pots stand inside, since the night before.
    pub is_out: bool,
    /// Expected loss that remains, in minutes of worth, less what of the work would be done within days anyhow.
    pub loss: Minutes,
    /// Where the measure would change, if that was asked for.
    pub turning: Option<Turning>,
}

/// One garden's list for one night.
#[derive(Clone, Debug)]
pub struct Plan<'a> {
    pub garden: &'a Garden,
    pub of: NightOf,
    pub made_at: DateTime<Utc>,
    /// By when work outdoors should end.
    pub deadline: DateTime<Utc>,
    /// The night, or why nothing is known of it.
    pub night: Result<Night, NoNight>,
    /// In the garden's order.
    pub beds: Vec<BedPlan<'a>>,
    /// Walking and fetching before the night, once for all beds.
    pub trips: Minutes,
    /// Person-minutes that bound the work before the night; `None` where the garden does not say.
    pub minutes: Option<Minutes>,
    /// By how much, at most, another choice of measures could be better, in person-minutes: 0 where this one is proven.
    pub gap: Minutes,
    /// Shared covers that other gardens have tonight.
    pub elsewhere: Vec<said::Elsewhere>,
}

/// With no more time than this before the deadline people can only be late (assumed).
const TOO_SHORT: Duration = Duration::minutes(10);

/// The time before the deadline that bounds the work; `None` where it is too short, or over: then only people's own time
/// does.
fn time_left(deadline: DateTime<Utc>, now: DateTime<Utc>) -> Option<Duration> {
    Some(deadline - now).filter(|left| *left > TOO_SHORT)
}

/// The list for a night. `sunset` also where the night itself is unknown; what was said of it `before` is changed only where
/// that gains enough, and what is out already is no work again.
pub fn decide<'a>(
    garden: &'a Garden,
    of: NightOf,
    sunset: DateTime<Utc>,
    night: Result<Night, NoNight>,
    risks: Vec<BedRisk<'a>>,
    before: Before<'_>,
    now: DateTime<Utc>,
) -> Plan<'a> {
    decide_for(garden.crew, garden, of, sunset, night, risks, before, now)
}

/// The list for a night after the one at hand. People can still be asked for it: nothing is bounded by those who come, and
/// the list says how many it takes.
pub fn decide_ahead<'a>(
    garden: &'a Garden,
    of: NightOf,
    sunset: DateTime<Utc>,
    night: Result<Night, NoNight>,
    risks: Vec<BedRisk<'a>>,
    before: Before<'_>,
    now: DateTime<Utc>,
) -> Plan<'a> {
    decide_for(None, garden, of, sunset, night, risks, before, now)
}

#[expect(clippy::too_many_arguments, reason = "all that a list needs, and who comes")]
fn decide_for<'a>(
    crew: Option<Crew>,
    garden: &'a Garden,
    of: NightOf,
    sunset: DateTime<Utc>,
    night: Result<Night, NoNight>,
    mut risks: Vec<BedRisk<'a>>,
    before: Before<'_>,
    now: DateTime<Utc>,
) -> Plan<'a> {
    taken::apply(&mut risks, before.taken, of);
    harvest::freeze(&mut risks, now);
    let deadline = sunset - garden.finish_before_sunset;
    let minutes = crew.map(|crew| crew.person_minutes());
    // Late is better than never: when the deadline has passed, or is too near for anything, it bounds nothing any more.
    let ahead = crew.zip(time_left(deadline, now)).map(|(crew, left)| crew.until(left));
    let bounds = Bounds { minutes, left: ahead, before, underway: 0, is_laid: deadline <= now };
    let chosen = match &night {
        Ok(night) => choice::choose(garden, night.winds(), risks, &bounds),
        Err(_) => {
            let beds = risks.into_iter().map(unknown).collect();
            choice::Chosen { beds, trips: Minutes(0.0), gap: Minutes(0.0) }
        }
    };
    let choice::Chosen { mut beds, trips, gap } = chosen;
    if let Ok(Night { knowledge: Knowledge::Incomplete { .. }, .. }) = &night {
        // What the known hours already show stays; what they do not show is not known to be safe.
        for bed in &mut beds {
            if bed.measure == Measure::Fine {
                bed.measure = Measure::Unknown;
                bed.reason = Reason::HoursMissing;
            }
        }
    }
    for bed in &mut beds {
        bed.do_by = bed.measure.is_work().then(|| do_by(bed, deadline, sunset, now));
    }
    Plan { garden, of, made_at: now, deadline, night, beds, trips, minutes, gap, elsewhere: before.elsewhere.to_vec() }
}

/// A bed of which nothing is known. Its risk is empty.
fn unknown(risk: BedRisk<'_>) -> BedPlan<'_> {
    BedPlan {
        risk,
        measure: Measure::Unknown,
        cover: None,
        picks: Vec::new(),
        reason: Reason::NoWeather,
        rest: None,
        do_by: None,
        work: Minutes(0.0),
        tonight: Minutes(0.0),
        is_out: false,
        loss: Minutes(0.0),
        turning: None,
    }
}

/// Until when work can go on in the light: the garden's deadline, or sunset where that has passed or is too near for
/// anything to be done by it; `None` in the dark.
fn while_light(deadline: DateTime<Utc>, sunset: DateTime<Utc>, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    time_left(deadline, now).map(|_| deadline).or(Some(sunset).filter(|sunset| now < *sunset))
}

/// The garden's deadline; after it sunset, while there is light; in the dark the hour at which harm begins in the bed, or what
/// is to be picked freezes, and where that is past, or no hour shows it, the coldest: late is better than never.
fn do_by(bed: &BedPlan<'_>, deadline: DateTime<Utc>, sunset: DateTime<Utc>, now: DateTime<Utc>) -> DateTime<Utc> {
    if let Some(light) = while_light(deadline, sunset, now) {
        return light;
    }
    let Some(night) = &bed.risk.night else { return now };
    let freezes = (bed.measure == Measure::Harvest).then(|| harvest::freezes_at(&bed.risk)).flatten();
    let ends = [bed.harm_begins_at(), freezes].into_iter().flatten().filter(|at| *at > now).min();
    ends.unwrap_or(night.coldest_at).max(now)
}

impl<'a> BedPlan<'a> {
    /// The planting whose organ decides over the bed.
    pub fn deciding(&self) -> Option<(&crate::risk::PlantingRisk<'a>, &crate::risk::OrganRisk<'a>)> {
        self.risk
            .plantings
            .iter()
            .filter_map(|planting| Some((planting, planting.deciding()?)))
            .max_by(|(_, a), (_, b)| a.likelier(b))
    }

    /// Plantings in danger of which nothing is picked tonight, with the part that decides.
    pub fn in_danger_beside(
        &self,
        from: Probability,
    ) -> impl Iterator<Item = (&crate::risk::PlantingRisk<'a>, &crate::risk::OrganRisk<'a>)> {
        harvest::in_danger_beside(&self.risk, from)
    }

    /// The hour at which the first of its organs meets its threshold; `None` where no hour is expected to be so cold.
    pub fn harm_begins_at(&self) -> Option<DateTime<Utc>> {
        let organs =
            self.risk.plantings.iter().flat_map(|planting| planting.organs.iter().map(move |organ| (planting, organ)));
        let crossing = organs.filter_map(|(planting, organ)| {
            let below = |hour: &&BedHour| match organ.tolerance.frame {
                Frame::Tissue => hour.tissue <= organ.damage_begins,
                Frame::ScreenAir => hour.screen <= organ.damage_begins,
                // Soil moves too slowly for an hour of its own.
                Frame::Soil => false,
            };
            planting.night.as_ref()?.hours.iter().find(below).map(|hour| hour.time)
        });
        crossing.min()
    }

    /// Whether nobody has to go out for it: its cover or its pots stay where they are since the night before.
    pub fn stays_out(&self) -> bool {
        self.is_out && self.tonight.0 <= 0.0
    }

    /// The chance of damage that remains with the measure.
    pub fn remaining_chance(&self) -> Probability {
        match (self.measure, &self.reason) {
            (Measure::Cover, Reason::CoverSaves { covered }) => *covered,
            (Measure::Leave | Measure::Fine, _) => {
                self.deciding().map_or(Probability(0.0), |(_, organ)| organ.open.chance)
            }
            _ => Probability(0.0),
        }
    }

    /// The soil from which down roots would be lifted, where the soil keeps them and no low of one night would change that: in
    /// one night it cools by little.
    pub fn turning_of_soil(&self) -> Option<Celsius> {
        match self.reason {
            Reason::SoilKeepsRoots { begins, .. } if self.turning.is_none() => Some(begins),
            _ => None,
        }
    }

    /// The smallest margin of all its organs that carry weight.
    pub fn margin(&self) -> Option<Kelvins> {
        self.deciding().map(|(_, organ)| organ.open.margin)
    }
}

impl Plan<'_> {
    /// Whether it is cold enough for harm already at a bed with work.
    pub fn is_late_for(&self, bed: &BedPlan<'_>) -> bool {
        bed.measure.is_work() && bed.harm_begins_at().is_some_and(|at| at <= self.made_at)
    }

    /// Until when work can go on in the light; `None` in the dark.
    pub fn light_until(&self) -> Option<DateTime<Utc>> {
        while_light(self.deadline, self.deadline + self.garden.finish_before_sunset, self.made_at)
    }

    /// How many beds have a measure.
    pub fn count(&self, measure: Measure) -> usize {
        self.beds.iter().filter(|bed| bed.measure == measure).count()
    }

    /// Whether somebody has to go out.
    pub fn has_work(&self) -> bool {
        self.beds.iter().any(|bed| bed.measure.is_work())
    }

    /// Whether no bed is in danger or unknown.
    pub fn is_quiet(&self) -> bool {
        self.beds.iter().all(|bed| bed.measure == Measure::Fine)
    }

    /// All work of the list, walking and fetching and tomorrow's uncovering included.
    pub fn work(&self) -> Minutes {
        self.beds.iter().fold(self.trips, |sum, bed| sum + bed.work)
    }

    /// Of it, what is done before the night.
    pub fn tonight(&self) -> Minutes {
        self.beds.iter().fold(self.trips, |sum, bed| sum + bed.tonight)
    }
}

#[cfg(test)]
pub(crate) mod tests;
