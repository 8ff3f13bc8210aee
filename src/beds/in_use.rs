//! What a garden's nights have taught, as far as it acts on lists.

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
}

impl InUse {
    /// What was accepted of a cover.
    pub fn gain_of(&self, cover: Cover) -> Option<&(LearnedGain, usize)> {
        self.gains.iter().find(|(learned, _)| learned.cover == cover)
    }

    /// What a cover gains on a night like this: as learned and accepted, else as published.
    pub fn gain(&self, cover: Cover, conditions: CoverConditions) -> CoverGain {
        self.gain_of(cover).map_or_else(|| cover.gain(conditions), |(learned, _)| learned.on(conditions))
    }
}
