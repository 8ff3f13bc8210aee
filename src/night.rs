//! One night near the ground: from a forecast and the evening's readings to the garden's screen, from the screen to
//! each bed's air, plants and soil, each as an expected value with its spread.
//!
//! ```text
//! Forecast, readings -> Night (the garden's screen) -> BedNight (air, tissue, soil at one bed) -> under a cover
//! ```

pub mod bed;
pub mod cooling;
pub mod corrections;
pub mod cover;
pub mod day;
pub mod deposit;
pub mod dose;
pub mod dusk;
pub mod exposure;
pub mod leaf;
pub mod past;
pub mod pot;
pub mod roots;
pub mod screen;
pub mod soil;

use crate::units::{Celsius, Kelvins, MetresPerSecond, Probability};
use crate::weather::Provider;
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use cover::CoverConditions;

/// A temperature as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Expected value.
    pub mean: Celsius,
    /// One standard deviation.
    pub spread: Kelvins,
}

impl Estimate {
    /// The chance of a value at or below a temperature.
    pub fn chance_below(self, threshold: Celsius) -> Probability {
        dose::normal_cdf((threshold - self.mean).0 / self.spread.0.max(1e-6))
    }

    /// The estimate moved, with the spread of the move added (as independent errors add: in squares).
    pub fn moved(self, by: Kelvins, spread: Kelvins) -> Estimate {
        Estimate { mean: self.mean + by, spread: Kelvins(self.spread.0.hypot(spread.0)) }
    }
}

/// One step of how a number came about, for whoever takes it apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What is done, in the trade's words.
    pub what: String,
    /// A temperature that the step states.
    pub value: Option<Celsius>,
    /// What the step adds.
    pub effect: Option<Kelvins>,
    /// What the step adds to the spread, one standard deviation.
    pub spread: Option<Kelvins>,
    /// Where its figures come from.
    pub source: &'static str,
}

/// One instant of the night at the garden's screen. Nothing here is missing: what a feed left out has been assumed on
/// the cold side and is named in [`Night::remarks`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NightHour {
    pub time: DateTime<Utc>,
    pub air: Celsius,
    pub dew_point: Celsius,
    pub wind_10m: MetresPerSecond,
    /// 0 to 1
    pub cloud_cover: f64,
}

/// How the cold comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrostKind {
    /// Clear and calm: the ground radiates its heat away and cold air gathers in hollows.
    Radiation,
    /// Wind brings it; covers help less.
    Advection,
    /// Neither wholly.
    Mixed,
}

/// Whether the hours that matter are there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Knowledge {
    Complete,
    /// Hours are missing: nothing may be called safe.
    Incomplete {
        longest_hole_hours: f64,
        share_seen: f64,
    },
}

/// What was assumed or is doubtful about a night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remark {
    /// The feed has no wind: taken as calm.
    WindAssumed,
    /// The feed has no cloud: taken as clear.
    SkyAssumed,
    /// The feed has no humidity: taken as dry.
    DewPointAssumed,
    /// The feed does not say when it was issued.
    IssueUnknown,
    /// Issued longer ago than it should be.
    Old { hours: f64 },
    /// What the thermometer showed has moved the low: the reading that says most of it, by how much it is warmer than the
    /// forecast of its hour, and the low without and with all readings.
    ReadingMoved { at: DateTime<Utc>, air: Celsius, by: Kelvins, from: Celsius, to: Celsius },
    /// What the thermometer showed was not used: so much warmer than the forecast of its hour is a slip, or of another
    /// place. `more` others were left out as well.
    ReadingLeftOut { at: DateTime<Utc>, air: Celsius, by: Kelvins, more: usize },
    /// As warm as one that is left out, and used, because whoever read it said that it is right.
    ReadingSure { at: DateTime<Utc>, air: Celsius, by: Kelvins },
    /// What so many of the garden's nights say of its forecasts has moved the low by this.
    LearnedShift { by: Kelvins, nights: usize },
    /// The garden's nights say that forecasts run colder than its thermometer by more than is believed unasked.
    LearnedCapped { learned: Kelvins, used: Kelvins },
    /// Two feeds speak of different nights; the colder one is taken.
    FeedsDisagree { by: Kelvins },
    /// It gets colder by day than in the night.
    ColderByDay { low: Celsius, at: DateTime<Utc> },
    /// There is no forecast: the night rests on the evening's thermometer alone.
    ReadingOnly,
    /// There is no forecast: the night rests on one number given by hand.
    HandGiven,
}

/// A night at the garden's screen.
#[derive(Clone, Debug, PartialEq)]
pub struct Night {
    pub of: NightOf,
    pub sunset: DateTime<Utc>,
    pub sunrise: DateTime<Utc>,
    /// From sunset to one hour after sunrise, in order of time, at least one.
    pub hours: Vec<NightHour>,
    /// The lowest temperature at the garden's screen.
    pub minimum: Estimate,
    /// 1 on a clear calm night, 0 on a windy or overcast one.
    pub clear_calm: f64,
    /// The one bed at which the evening was read.
    pub read_at: Option<ReadAt>,
    pub kind: FrostKind,
    /// The days and nights before it, the oldest first; empty where no forecast has been kept.
    pub past: Vec<past::PastDay>,
    /// Air over soil and pots on the same days, in order of time: what freezes them stays in them.
    pub before: Vec<past::Remembered>,
    /// Mean air temperature around this night, which the soil remembers.
    pub mean_air: Celsius,
    /// Wind at 10 m in the hours in which covers are laid, mean.
    pub laying_wind: MetresPerSecond,
    pub cover_conditions: CoverConditions,
    pub knowledge: Knowledge,
    pub remarks: Vec<Remark>,
    pub provider: Option<Provider>,
    pub issued: Option<DateTime<Utc>>,
    pub fetched: Option<DateTime<Utc>>,
    /// How the minimum and its spread came about.
    pub steps: Vec<Step>,
}

/// The bed whose own thermometer has spoken of a night: what is not known of its offset is no doubt of its own night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadAt {
    /// By its place among the garden's beds.
    pub bed: usize,
    /// The spread of the night's low were its offset exact.
    pub spread: Kelvins,
    /// The part of what is not known of its offset that its readings leave open, 0 to 1.
    pub open: f64,
}

/// Wind that people and covers meet, at 10 m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Winds {
    /// While covers are laid.
    pub laying: MetresPerSecond,
    /// Around the low.
    pub at_the_low: MetresPerSecond,
}

impl From<MetresPerSecond> for Winds {
    /// The same wind all the time.
    fn from(wind: MetresPerSecond) -> Winds {
        Winds { laying: wind, at_the_low: wind }
    }
}

impl Night {
    /// The wind of its work and of its covers.
    pub fn winds(&self) -> Winds {
        Winds { laying: self.laying_wind, at_the_low: MetresPerSecond(self.cover_conditions.wind_10m) }
    }

    /// When it is coldest at the screen.
    pub fn coldest_at(&self) -> DateTime<Utc> {
        let coldest = self.hours.iter().min_by(|a, b| a.air.0.total_cmp(&b.air.0));
        coldest.map_or(self.sunrise, |hour| hour.time)
    }

    /// The same night, as a whole so much warmer or colder, and as moist for its warmth. The days before it stay.
    pub fn shifted(&self, by: Kelvins) -> Night {
        let mut night = self.clone();
        night.minimum = night.minimum.moved(by, Kelvins(0.0));
        for hour in &mut night.hours {
            (hour.air, hour.dew_point) = (hour.air + by, hour.dew_point + by);
        }
        night
    }
}

/// Why nothing can be said of a night.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoNight {
    #[error("there is no forecast")]
    NoForecast,
    #[error("the forecast was issued {hours} hours ago, too long for tonight")]
    Stale { hours: i64 },
    #[error("the forecast has no hour of this night")]
    NothingForThisNight,
    #[error("there is no forecast, and the thermometer was read too early to tell; read it two hours after sunset")]
    ReadTooEarly,
}

/// Hours spent below a temperature, between samples by straight lines, h.
///
/// `samples` are instants and temperatures in order of time.
pub fn hours_below(samples: impl IntoIterator<Item = (DateTime<Utc>, Celsius)>, threshold: Celsius) -> f64 {
    let mut below = 0.0;
    let mut last: Option<(DateTime<Utc>, Celsius)> = None;
    for (time, temperature) in samples {
        if let Some((from, start)) = last {
            let share = share_below(start, temperature, threshold);
            // Most hours are above, and a length costs more than a comparison. What is not a number is not passed over.
            if share != 0.0 {
                let hours = (time - from).num_seconds() as f64 / 3600.0;
                below += hours * share;
            }
        }
        last = Some((time, temperature));
    }
    below
}

/// The share of a straight line between two temperatures that lies below a threshold, 0 to 1.
pub fn share_below(start: Celsius, end: Celsius, threshold: Celsius) -> f64 {
    let (a, b) = ((start - threshold).0, (end - threshold).0);
    match (a < 0.0, b < 0.0) {
        (true, true) => 1.0,
        (false, false) => 0.0,
        (true, false) => a / (a - b),
        (false, true) => b / (b - a),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Duration;

    #[test]
    fn hours_below_follow_straight_lines() {
        let start = DateTime::UNIX_EPOCH;
        let curve = |values: &[f64]| -> Vec<(DateTime<Utc>, Celsius)> {
            (0..).zip(values).map(|(hour, value)| (start + Duration::hours(hour), Celsius(*value))).collect()
        };
        assert!((hours_below(curve(&[2.0, -2.0, -2.0, 2.0]), Celsius(0.0)) - 2.0).abs() < 1e-12);
        assert!((hours_below(curve(&[1.0, -3.0]), Celsius(0.0)) - 0.75).abs() < 1e-12);
        assert_eq!(hours_below(curve(&[1.0, 0.0, 3.0]), Celsius(0.0)), 0.0);
        assert_eq!(hours_below(curve(&[]), Celsius(0.0)), 0.0);
    }
}
