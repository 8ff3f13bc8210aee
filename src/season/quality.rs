//! How good the forecasts of a season were, against the garden's screen.

use super::NightFigures;
use crate::journal::Place;
use crate::score::brier::{Bin, Issued, base_rate, bins, brier, interval, skill};
use crate::score::errors::{Errors, errors};
use crate::score::{Scored, Threshold, month_of};

/// The forecasts of the nights whose low was measured at the garden's screen.
#[derive(Clone, Debug, PartialEq)]
pub struct Quality {
    pub errors: Errors,
    /// In the order of [`Threshold::ALL`].
    pub chances: Vec<Chances>,
    pub nights: Vec<Scored>,
}

/// Chances of one threshold.
#[derive(Clone, Debug, PartialEq)]
pub struct Chances {
    pub threshold: Threshold,
    /// How often it came, 0 to 1.
    pub base_rate: f64,
    /// 0 is best.
    pub brier: f64,
    /// Its 95 % interval by months; `None` of less than three months.
    pub interval: Option<(f64, f64)>,
    /// Against always giving the base rate; `None` where it came always or never.
    pub skill: Option<f64>,
    /// Fifths of the chance given.
    pub bins: Vec<Bin>,
}

/// Few nights share a bin of tenths in one season.
const BINS: u32 = 5;

pub(super) fn quality(nights: &[NightFigures]) -> Option<Quality> {
    let scored: Vec<Scored> = nights.iter().filter_map(scored).collect();
    let chances = |threshold: Threshold| {
        let issued: Vec<Issued> = scored.iter().map(|night| night.issued(threshold)).collect();
        Some(Chances {
            threshold,
            base_rate: base_rate(&issued)?,
            brier: brier(&issued)?,
            interval: interval(&scored, threshold),
            skill: skill(&issued),
            bins: bins(&issued, BINS),
        })
    };
    Some(Quality {
        errors: errors(&scored)?,
        chances: Threshold::ALL.into_iter().filter_map(chances).collect(),
        nights: scored,
    })
}

/// A night's forecast beside the screen; a thermometer at a bed is another place.
pub(super) fn scored(night: &NightFigures) -> Option<Scored> {
    let observed = night.measured.as_ref().filter(|(_, place)| *place == Place::Screen)?.0;
    Some(Scored::normal(night.of, night.foretold?, observed, None, month_of(night.of)))
}
