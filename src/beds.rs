//! The garden as its manager describes it: place, people, covers in stock, beds and what grows in them.

mod caution;
mod in_use;
mod own_figures;
mod sowing;

pub use caution::Caution;
pub use in_use::{InUse, LearnedShift};
pub use own_figures::{Applied, OwnFigure, OwnFigures};
pub use sowing::named;

use crate::crops::CountedFrom;
use crate::night::cover::{Cover, CoverKind, Layers};
use crate::night::exposure::Exposure;
pub use crate::night::exposure::LearnedOffset;
use crate::units::{Kelvins, Minutes, Scale};
use crate::weather::Site;
use crate::words::words;
use crate::zone::Zone;
use chrono::{Duration, NaiveDate};

/// One garden.
#[derive(Clone, Debug)]
pub struct Garden {
    /// The name of its file, used on the command line.
    pub id: String,
    pub name: String,
    pub site: Site,
    pub zone: Zone,
    pub shown: Scale,
    /// The garden's screen against the forecast, where the manager knows it.
    pub offset: Option<Kelvins>,
    /// Work outdoors ends this long before sunset.
    pub finish_before_sunset: Duration,
    /// What saving one square metre of lettuce ready to cut is worth: the measure of all worth that is not said.
    pub worth_per_square_metre: Minutes,
    pub caution: Caution,
    pub people: Vec<Person>,
    /// Who comes to work before a cold night; `None` where the manager does not say, and then nothing is bounded by it.
    pub crew: Option<Crew>,
    pub covers: Vec<CoverStock>,
    pub beds: Vec<Bed>,
    /// Figures of the garden's own, in place of the catalogue's.
    pub own_figures: Vec<OwnFigures>,
    /// What the garden's nights have taught, as far as it acts; nothing before a store was asked.
    pub learned: InUse,
}

/// The people who come to work before a cold night, and the time that each has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crew {
    /// As many as can be counted on; 0 where nobody can.
    pub people: u32,
    /// What each of them has before the deadline, their way to the garden not counted.
    pub minutes: Minutes,
}

impl Crew {
    /// Of all people together.
    pub fn person_minutes(&self) -> Minutes {
        Minutes(f64::from(self.people) * self.minutes.0)
    }

    /// Of all people together, when nothing can be begun before and all must end after this time.
    pub fn until(&self, time: Duration) -> Minutes {
        let each = self.minutes.0.min(time.num_seconds() as f64 / 60.0);
        Minutes(f64::from(self.people) * each.max(0.0))
    }
}

/// Someone who is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Person {
    pub name: String,
    pub address: String,
    pub role: Role,
    /// Whether lists bring an entry for the calendar.
    pub calendar: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Gets everything, the figures included.
    Manager,
    /// Gets the work.
    Volunteer,
}

words!(Role { Manager = "manager", Volunteer = "volunteer" });

/// Covers of one kind and size in the shed.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverStock {
    /// As written on the shelf.
    pub name: String,
    pub kind: CoverKind,
    pub count: u32,
    /// m
    pub length: f64,
    /// m
    pub width: f64,
    /// Whether leaves touch it as it is laid here.
    pub rests_on_plants: bool,
    /// Gardens, by the names of their files, that use these same pieces; each of them says so too.
    pub shared_with: Vec<String>,
}

impl CoverStock {
    /// As it lies on a bed.
    pub fn cover(&self, layers: Layers) -> Cover {
        Cover { kind: self.kind, rests_on_plants: self.rests_on_plants, layers }
    }
}

/// One bed, or one group of pots that are moved together.
#[derive(Clone, Debug, PartialEq)]
pub struct Bed {
    /// As written on its label.
    pub id: String,
    pub name: Option<String>,
    pub kind: BedKind,
    /// m
    pub length: f64,
    /// m
    pub width: f64,
    /// Soil of a raised bed over the ground round it, m; of no meaning for others.
    pub height: f64,
    /// Thickness of straw or leaves on the soil, m; 0 without.
    pub mulch: f64,
    pub exposure: Exposure,
    /// Workable depth of its soil, m, where it has been measured.
    pub soil_depth: Option<f64>,
    /// Air at the bed against the garden's screen on a clear calm night, where it has been measured.
    pub offset: Option<Kelvins>,
    /// Learned from the garden's nights and accepted; it acts where none has been measured.
    pub learned_offset: Option<LearnedOffset>,
    /// The label of the neighbour with which it may share one large cover.
    pub beside: Option<String>,
    /// Path between the two, m.
    pub path: f64,
    pub plantings: Vec<Planting>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BedKind {
    InGround,
    Raised,
    /// Pots of this diameter (m) and number; whether two people can carry one under a roof.
    Containers {
        diameter: f64,
        count: u32,
        movable: bool,
    },
}

/// What grows in a bed.
#[derive(Clone, Debug, PartialEq)]
pub struct Planting {
    /// A crop of the catalogue.
    pub crop: String,
    pub cultivar: Option<String>,
    /// A stage of that crop in the manager's words; without it the date tells.
    pub stage: Option<String>,
    /// In the manager's judgement; without it past nights tell.
    pub hardened: Option<Hardened>,
    /// When it was sown or set out.
    pub planted: Option<NaiveDate>,
    /// Which of the two; without it as the days of its crop are counted.
    pub start: Option<CountedFrom>,
    /// Where it grew up; without it under cover if it was set out.
    pub raised: Option<Raised>,
    /// Part of the bed it fills, 0 to 1.
    pub part_of_bed: f64,
    /// How many plants there are, where somebody has counted.
    pub plants: Option<u32>,
    /// What saving it is worth, if the manager says.
    pub worth: Option<Minutes>,
}

/// Where a planting grew up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Raised {
    /// In a greenhouse, a frame, a house: not hardened at all when it is set out.
    UnderCover,
    Outdoors,
}

words!(Raised { UnderCover = "under-cover", Outdoors = "outdoors" });

/// How far a planting is used to cold, in the manager's judgement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hardened {
    /// Raised under cover, or after a warm spell.
    No,
    /// Some cool nights behind it.
    Partly,
    /// A week or more of nights near freezing.
    Fully,
}

words!(Hardened { No = "no", Partly = "partly", Fully = "fully" });

impl Hardened {
    /// The degree of hardening, 0 to 1, that [`crate::crops::Tolerance::hardened`] takes. The middle value is assumed.
    pub fn degree(self) -> f64 {
        match self {
            Hardened::No => 0.0,
            Hardened::Partly => 0.4,
            Hardened::Fully => 1.0,
        }
    }
}

impl Garden {
    /// Whether some of its covers are another garden's too.
    pub fn shares_with(&self, other: &Garden) -> bool {
        self.covers.iter().any(|stock| stock.shared_with.contains(&other.id))
    }

    /// Whether nobody comes to work, or nobody has time.
    pub fn is_left_alone(&self) -> bool {
        self.crew.is_some_and(|crew| crew.person_minutes() <= Minutes(0.0))
    }
}

impl Bed {
    /// A path between two beds, m, where a garden does not say (assumed).
    pub const PATH: f64 = 0.5;

    /// Length, width and area (m, m²) of the two beds and the path between their long sides; `None` for pots, which stand as
    /// they are put.
    pub fn together_with(&self, other: &Bed) -> Option<(f64, f64, f64)> {
        let is_pots = |bed: &Bed| matches!(bed.kind, BedKind::Containers { .. });
        if is_pots(self) || is_pots(other) {
            return None;
        }
        let sides = |bed: &Bed| (bed.length.max(bed.width), bed.length.min(bed.width));
        let ((a, a_wide), (b, b_wide)) = (sides(self), sides(other));
        // Either of the two may be the one that names the other.
        let path = if self.beside.is_some() { self.path } else { other.path };
        let (length, width) = (a.max(b), a_wide + path + b_wide);
        Some((length, width, length * width))
    }

    /// Height of a raised bed that does not say, m: two boards (assumed).
    pub const RAISED: f64 = 0.3;

    /// Air at the bed against the garden's screen on a clear calm night: as measured, else as learned and accepted, else as
    /// its exposure has it.
    pub fn offset_in_use(&self) -> Kelvins {
        let learned = self.learned_offset.map(|learned| learned.mean);
        self.offset.or(learned).unwrap_or(self.exposure.effect().offset)
    }

    /// m²
    pub fn area(&self) -> f64 {
        self.length * self.width
    }

    /// The label, with the name where it has one.
    pub fn title(&self) -> String {
        match &self.name {
            Some(name) => format!("{} {name}", self.id),
            None => self.id.clone(),
        }
    }
}

#[cfg(test)]
pub(crate) mod sample;
