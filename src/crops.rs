//! What each crop can stand: crops, their stages, the organs at risk in each, and what to pick before it freezes.
//!
//! Every figure comes from a file in `crops/` with its source and evidence mark; nothing is stated here. Base figures
//! are those of unhardened plants, and a threshold is compared only with the temperature of its own [`Frame`].

mod after_frost;
pub mod age;
pub mod damage;
pub mod hardening;
mod harvest;

pub use after_frost::{AfterFrost, Then};
pub use harvest::{Harvest, PastBest};

use crate::units::{Celsius, Kelvins};
use crate::words::words;
use std::collections::BTreeMap;

/// All crops known, by identifier (the name of their file).
#[derive(Clone, Debug, Default)]
pub struct Catalogue {
    pub crops: BTreeMap<String, Crop>,
    pub sources: BTreeMap<String, Source>,
    /// What to do after a frost, by class of crops.
    pub after_frost: Vec<AfterFrost>,
}

/// One crop.
#[derive(Clone, Debug, PartialEq)]
pub struct Crop {
    pub id: String,
    /// As growers say it in a sentence: `leaf lettuce`.
    pub name: String,
    /// As it stands in a list: `lettuce (leaf)`.
    pub listed_as: String,
    pub scientific_name: String,
    pub family: String,
    /// In order of growth.
    pub stages: Vec<String>,
    pub stature: Stature,
    pub tolerances: Vec<Tolerance>,
    pub growing: Growing,
    pub harvest: Harvest,
}

/// How a grown plant stands in the night: high leaves get more wind, narrow ones hold less still air round them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stature {
    /// Of the upper leaves over the soil, m.
    pub height: f64,
    /// Of a leaf, leaflet or needle across the wind, m.
    pub leaf_width: f64,
}

/// What one organ stands, in the stages in which it is at risk.
#[derive(Clone, Debug, PartialEq)]
pub struct Tolerance {
    pub organ: Organ,
    pub stages: Vec<String>,
    pub harm: Harm,
    /// With which temperature the two thresholds are compared.
    pub frame: Frame,
    /// First harm: about one plant in ten shows it.
    pub damage_begins: Celsius,
    /// Heavy loss: about nine plants in ten.
    pub severe: Celsius,
    /// How much lower both lie in a fully hardened plant.
    pub hardened_gain: Kelvins,
    /// Standard deviation of our knowledge of `damage_begins`.
    pub spread: Kelvins,
    /// Time below `damage_begins` that harm needs, h; `None` where no source states one.
    pub exposure_hours: Option<f64>,
    /// Part of the planting's worth that goes with this organ, 0 to 1.
    pub share: f64,
    /// What to pick before the frost, as an instruction; `None` where there is nothing to pick.
    pub pick: Option<String>,
    /// What frost does to the eating quality.
    pub quality: String,
    pub evidence: ToleranceEvidence,
    /// Keys into the bibliography.
    pub sources: Vec<String>,
    pub note: Option<String>,
}

/// How well each figure of a tolerance is founded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ToleranceEvidence {
    pub damage_begins: Evidence,
    pub severe: Evidence,
    pub hardened_gain: Evidence,
}

/// How well a figure is founded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// Read in a paper, a government or extension text, or a reproduction of its table.
    Published,
    /// Read, but quoted by press, growers, vendors or a reprint.
    SecondHand,
    /// General knowledge of the handbooks, not re-read.
    Memory,
    /// Interpolated, or by analogy.
    Assumed,
    /// Trade knowledge without a source.
    CommonPractice,
}

/// The temperature that a threshold is compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Frame {
    /// Air at shelter height.
    ScreenAir,
    /// The plant itself.
    Tissue,
    /// Soil or potting mix at root depth.
    Soil,
}

/// What cold does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Harm {
    /// Ice in or on the tissue.
    Freezing,
    /// Injury above zero.
    Chilling,
}

/// The part of the plant at risk.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Organ {
    Leaf,
    Head,
    Curd,
    Pod,
    Flower,
    Fruit,
    Bulb,
    Root,
    Tuber,
    Crown,
}

/// How a crop is grown and taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Growing {
    pub harvested: HarvestHabit,
    /// Days from seed or transplant to the first harvest, lowest and highest, where it has such a time.
    pub days_to_maturity: Option<(u16, u16)>,
    /// Whether the days count from sowing or from setting out.
    pub counted_from: CountedFrom,
    /// Room one plant takes, m.
    pub spread: f64,
    /// Workable depth of soil that a bed should have, m.
    pub bed_depth: f64,
    pub life: Life,
    pub sources: Vec<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HarvestHabit {
    RootAsWanted,
    Whole,
    CutAndComeAgain,
    CentralThenSideShoots,
    Pods,
    Snip,
    Fruit,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CountedFrom {
    Seed,
    Transplant,
    Division,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Life {
    Annual,
    Biennial,
    Perennial,
}

/// One entry of the bibliography.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    pub author: String,
    pub year: String,
    pub title: String,
    pub publisher: String,
    pub place: String,
    /// How much of it was read.
    pub read: String,
}

impl Stature {
    /// Vegetables and herbs of a low bed: a crop that does not say otherwise (assumed).
    pub const LOW_BED: Stature = Stature { height: 0.2, leaf_width: 0.07 };
}

/// Stages in which a plant is still, or again, near the ground, and how high it then is at most, m (assumed).
const NEAR_THE_GROUND: [&str; 5] = ["emerging", "seedling", "transplant", "dormant", "sprouting"];
const YOUNG_HEIGHT: f64 = 0.1;

impl Crop {
    /// How it stands in a stage. A young leaf is narrower than a grown one; the grown width is kept, the colder answer.
    pub fn stature_at(&self, stage: &str) -> Stature {
        let height = self.stature.height;
        let young = NEAR_THE_GROUND.contains(&stage);
        Stature { height: if young { height.min(YOUNG_HEIGHT) } else { height }, ..self.stature }
    }

    /// The tolerances at risk in a stage.
    pub fn at_stage<'c, 's>(&'c self, stage: &'s str) -> impl Iterator<Item = &'c Tolerance> + use<'c, 's> {
        self.tolerances.iter().filter(move |tolerance| tolerance.stages.iter().any(|name| name == stage))
    }
}

/// The figures of a tolerance that a garden may replace with its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    pub damage_begins: Celsius,
    pub severe: Celsius,
    pub hardened_gain: Kelvins,
    pub spread: Kelvins,
    pub exposure_hours: Option<f64>,
}

impl Tolerance {
    /// Its figures as the catalogue has them.
    pub fn figures(&self) -> Figures {
        Figures {
            damage_begins: self.damage_begins,
            severe: self.severe,
            hardened_gain: self.hardened_gain,
            spread: self.spread,
            exposure_hours: self.exposure_hours,
        }
    }

    /// Both thresholds of the catalogue for a plant hardened to a degree of 0 (not at all) to 1 (fully).
    pub fn hardened(&self, degree: f64) -> (Celsius, Celsius) {
        self.figures().hardened(degree)
    }
}

impl Figures {
    /// Both thresholds moved alike, and how well they are then known.
    pub fn moved(self, by: Kelvins, spread: Kelvins) -> Figures {
        Figures { damage_begins: self.damage_begins + by, severe: self.severe + by, spread, ..self }
    }

    /// Both thresholds for a plant hardened to a degree of 0 (not at all) to 1 (fully): first harm, heavy loss.
    pub fn hardened(&self, degree: f64) -> (Celsius, Celsius) {
        let gain = Kelvins(self.hardened_gain.0 * degree.clamp(0.0, 1.0));
        (self.damage_begins - gain, self.severe - gain)
    }
}

words!(Evidence { Published = "published", SecondHand = "second-hand", Memory = "memory", Assumed = "assumed", CommonPractice = "common-practice" });
words!(Frame { ScreenAir = "screen-air", Tissue = "tissue", Soil = "soil" });
words!(Harm { Freezing = "freezing", Chilling = "chilling" });
words!(Organ { Leaf = "leaf", Head = "head", Curd = "curd", Pod = "pod", Flower = "flower", Fruit = "fruit", Bulb = "bulb", Root = "root", Tuber = "tuber", Crown = "crown" });
words!(HarvestHabit { RootAsWanted = "root-as-wanted", Whole = "whole", CutAndComeAgain = "cut-and-come-again", CentralThenSideShoots = "central-then-side-shoots", Pods = "pods", Snip = "snip", Fruit = "fruit" });
words!(CountedFrom { Seed = "seed", Transplant = "transplant", Division = "division" });
words!(Life { Annual = "annual", Biennial = "biennial", Perennial = "perennial" });

#[cfg(test)]
pub(crate) mod sample;
