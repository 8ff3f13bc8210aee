//! What people were told, and have done, before a list is made.

use super::said::{Said, SaidBed};
use super::spell::{DayAdvice, OPEN_AND_CLOSE, by_day};
use super::{CoverUse, Measure};
use crate::night::cover::CoverKind;
use crate::night::day::Day;

/// What a list starts from. Nothing said and nothing out is [`Before::default`].
#[derive(Clone, Copy, Debug, Default)]
pub struct Before<'b> {
    /// What was last said of this night.
    pub said: Option<&'b Said>,
    /// What the night before has left out: covers on beds, pots inside.
    pub out: Option<&'b Said>,
    /// The day between the two nights, as far as it is known.
    pub day: Option<Day>,
}

impl<'b> Before<'b> {
    /// After nothing but this.
    pub fn said(said: Option<&'b Said>) -> Before<'b> {
        Before { said, ..Before::default() }
    }

    /// What was last said of a bed.
    pub(super) fn said_of(&self, bed: &str) -> Option<&'b SaidBed> {
        of(self.said, bed)
    }

    /// Person-minutes of the afternoon that it takes to have a cover ready which the night before has left on this bed;
    /// `None` where it is not there, or comes off by day.
    pub(super) fn minutes_to_close(&self, bed: &str, cover: &CoverUse, kind: CoverKind) -> Option<f64> {
        let left = of(self.out, bed)?.cover.as_ref()?;
        match by_day(kind, self.day.as_ref()) {
            _ if *left != cover.title() => None,
            DayAdvice::StaysOn => Some(0.0),
            DayAdvice::Open => Some(OPEN_AND_CLOSE),
            DayAdvice::ComesOff => None,
        }
    }

    /// Whether the pots of a bed stand inside since the night before.
    pub(super) fn is_inside(&self, bed: &str) -> bool {
        of(self.out, bed).is_some_and(|out| out.measure == Measure::BringIn)
    }
}

fn of<'b>(said: Option<&'b Said>, bed: &str) -> Option<&'b SaidBed> {
    said?.beds.iter().find(|said| said.bed == bed)
}
