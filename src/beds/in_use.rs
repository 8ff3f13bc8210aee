//! What a garden's nights have taught, as far as it acts on lists.

use crate::crops::{Harm, Organ, Tolerance};
use crate::learn::Figure;
use crate::learn::cover_gain::LearnedGain;
use crate::night::corrections::Corrections;
use crate::night::cover::{Cover, CoverConditions, CoverGain};

/// Learned figures that take part; empty is as published.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InUse {
    /// Of forecasts: act at once.
    pub forecasts: Corrections,
    /// Of covers: those that were accepted, each with the number of nights it rests on.
    pub gains: Vec<(LearnedGain, usize)>,
    /// Of tolerances: those that were accepted.
    pub shifts: Vec<LearnedShift>,
}

/// What reports of harm have taught of one part of a crop in a stage.
#[derive(Clone, Debug, PartialEq)]
pub struct LearnedShift {
    pub crop: String,
    pub stage: String,
    pub organ: Organ,
    /// By how much both thresholds lie above the catalogue's, with how well that is known.
    pub shift: Figure,
    /// How many nights it rests on.
    pub nights: usize,
}

impl LearnedShift {
    /// Whether it speaks of a part, in its stage of its crop. Only frost was learned of.
    pub fn is_of(&self, tolerance: &Tolerance) -> bool {
        self.organ == tolerance.organ && tolerance.harm == Harm::Freezing
    }
}

impl InUse {
    /// What was accepted of a cover.
    pub fn gain_of(&self, cover: Cover) -> Option<&(LearnedGain, usize)> {
        self.gains.iter().find(|(learned, _)| learned.cover == cover)
    }

    /// What was accepted of a part in a stage.
    pub fn shift_of(&self, crop: &str, stage: &str, tolerance: &Tolerance) -> Option<&LearnedShift> {
        self.shifts.iter().find(|learned| learned.crop == crop && learned.stage == stage && learned.is_of(tolerance))
    }

    /// What a cover gains on a night like this: as learned and accepted, else as published.
    pub fn gain(&self, cover: Cover, conditions: CoverConditions) -> CoverGain {
        self.gain_of(cover).map_or_else(|| cover.gain(conditions), |(learned, _)| learned.on(conditions))
    }
}
