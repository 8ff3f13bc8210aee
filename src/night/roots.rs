//! The temperature at the roots: open ground, raised bed or pot, each by what cools it.

use super::bed::{BedHour, Place};
use super::past::{covered, mean_by_time};
use super::pot::pot_temperature;
use super::soil::{Sides, frost_depth, frost_left, share_of_the_wave, soil_minimum, through_mulch};
use super::{Estimate, Night, Step};
use crate::units::{Celsius, Kelvins};
use chrono::{DateTime, Duration, Utc};

/// What the roots stand in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RootZone {
    /// Flat ground.
    Ground,
    /// A raised bed of this width, its soil this high over the ground, m.
    Raised { width: f64, height: f64 },
    /// A pot of this radius, m.
    Pot { radius: f64 },
}

/// Depth at which crops hold their roots, m (assumed: shoulders near the surface freeze first).
const ROOT_DEPTH: f64 = 0.05;
/// Distance of a bed's outer row from its side, m: half of a square foot, the usual spacing (common practice).
const OUTER_ROW: f64 = 0.15;
/// Thermal diffusivity of moist soil, m²/s (mid-range of handbook values, from memory).
pub(super) const SOIL_DIFFUSIVITY: f64 = 5e-7;
/// How well a soil temperature without a thermometer in it is known, K: freely moving, and held at zero by its freezing
/// water (assumed).
const SOIL_SPREAD: (f64, f64) = (1.5, 0.5);
/// Soil of this temperature moves freely, °C (assumed). From there to zero its water stands ever more in the way of
/// frost, so that the spread narrows; it widens again as the frost passes. Were it to jump, a colder night would look
/// safer.
const FREELY_MOVING: f64 = 6.0;

/// A hole in the days before that is longer than this is as cold as the colder of its ends (assumed).
const HOLE: f64 = 6.0;

/// The air over some roots, from the days before to the end of the night.
struct Air {
    /// Each with its length, h, and the air at its start and its end.
    stretches: Vec<(f64, Celsius, Celsius)>,
    /// How many of them are over when the night begins.
    before: usize,
}

impl Air {
    /// `offset` is the bed's own on a clear, calm night. What a wall has warmed in the days before is not counted.
    fn over(night: &Night, offset: Kelvins, hours: &[BedHour]) -> Air {
        let begins = hours.first().map_or(night.sunset, |hour| hour.time);
        let colder = offset.0.min(0.0);
        let days = night.before.iter().filter(|hour| hour.time < begins);
        let days = days.map(|hour| (hour.time, hour.air + Kelvins(colder * hour.clear_calm)));
        let air: Vec<(DateTime<Utc>, Celsius)> =
            days.chain(hours.iter().map(|hour| (hour.time, hour.screen))).collect();
        let stretch = |pair: &[(DateTime<Utc>, Celsius)]| {
            let length = (pair[1].0 - pair[0].0).num_minutes() as f64 / 60.0;
            let colder = pair[0].1.min(pair[1].1);
            if length > HOLE { (length, colder, colder) } else { (length, pair[0].1, pair[1].1) }
        };
        let before = air.len() - hours.len();
        Air { stretches: air.windows(2).map(stretch).collect(), before }
    }

    /// The most frost that is in the ground during the night, °C h.
    fn frost(&self) -> f64 {
        let (mut left, mut most) = (0.0, 0.0_f64);
        for (index, (hours, start, end)) in self.stretches.iter().enumerate() {
            left = frost_left(left, *hours, Celsius(0.5 * (start.0 + end.0)));
            if index + 1 >= self.before {
                most = most.max(left);
            }
        }
        most
    }

    /// Mean of the first day that is known; `None` where too little is.
    fn first_day(&self) -> Option<Celsius> {
        let (mut sum, mut hours) = (0.0, 0.0);
        for (length, start, end) in self.stretches.iter().take(self.before).take_while(|(length, ..)| *length <= HOLE) {
            sum += length * 0.5 * (start.0 + end.0);
            hours += length;
            if hours >= 24.0 {
                break;
            }
        }
        (hours >= FEW_HOURS).then(|| Celsius(sum / hours))
    }
}

/// The lowest temperature at the roots of a place; `hours` are the night at it, `offset` is the place's own on a clear, calm
/// night.
pub(super) fn at_roots(night: &Night, place: &Place, offset: Kelvins, hours: &[BedHour]) -> Estimate {
    let air = Air::over(night, offset, hours);
    match place.root_zone {
        RootZone::Ground => in_soil(night, &air, hours, Sides::NONE, place.mulch),
        RootZone::Raised { width, height } => {
            let sides = Sides { width, from_side: OUTER_ROW.min(0.5 * width), height };
            in_soil(night, &air, hours, sides, place.mulch)
        }
        RootZone::Pot { radius } => {
            // The ball remembers the days: its lag starts with the first hour that is known, at that day's mean.
            let start = air.first_day().unwrap_or(night.mean_air);
            let steps = air.stretches.iter().map(|(length, _, end)| (*length, *end));
            let balls = pot_temperature(start, steps, radius).skip(air.before);
            let coldest = balls.fold(Celsius(f64::INFINITY), Celsius::min);
            let coldest = if coldest.0.is_finite() { coldest } else { start };
            // A pot has air all round and no earth below: it is not taken for warmer than the open ground beside it.
            let beside = in_soil(night, &air, hours, Sides::NONE, 0.0).mean;
            Estimate { mean: coldest.min(beside), spread: Kelvins(SOIL_SPREAD.0) }
        }
    }
}

/// Hours of day and night that the daily wave in the soil is reckoned from, and of how many hours of day a mean takes at
/// least (assumed).
const REMEMBERED: Duration = Duration::hours(36);
const FEW_HOURS: f64 = 5.0;

/// Mean of the air by time over the day and the night as it is expected, missing hours bridged; never above the
/// night's own figure, which alone counts where the day is not known.
fn mean_of_the_day(night: &Night) -> Celsius {
    let is_near = |time: DateTime<Utc>| night.sunrise - time <= REMEMBERED && time < night.sunset;
    let day: Vec<_> = night.before.iter().filter(|hour| is_near(hour.time)).map(|hour| (hour.time, hour.air)).collect();
    if covered(day.iter().map(|(time, _)| *time)) < FEW_HOURS {
        return night.mean_air;
    }
    let all = day.into_iter().chain(night.hours.iter().map(|hour| (hour.time, hour.air)));
    mean_by_time(all).map_or(night.mean_air, |mean| mean.min(night.mean_air))
}

fn in_soil(night: &Night, air: &Air, hours: &[BedHour], sides: Sides, mulch: f64) -> Estimate {
    let mean_air = mean_of_the_day(night);
    let lowest = hours.iter().map(|hour| hour.screen).fold(mean_air, Celsius::min);
    let share = share_of_the_wave(ROOT_DEPTH, through_mulch(mulch, SOIL_DIFFUSIVITY), sides, SOIL_DIFFUSIVITY);
    let wave = soil_minimum(mean_air, lowest, share);
    let degree_hours = air.frost();
    // The frost passes the roots with zero; behind it the soil is the colder the farther it has gone on, in a straight
    // line as in Stefan's solution. It comes from the top, and from the side of a raised bed as far as that is one.
    let passed = |frost: f64, distance: f64| (1.0 - distance / frost).max(0.0);
    let from_top = passed(frost_depth(degree_hours, mulch), ROOT_DEPTH);
    let from_side =
        if sides.height > ROOT_DEPTH { passed(frost_depth(degree_hours, 0.0), sides.from_side) } else { 0.0 };
    let behind = 1.0 - (1.0 - from_top) * (1.0 - from_side);
    let mean = if wave < Celsius(0.0) { Celsius(wave.0 * behind) } else { wave };
    let freely = (mean.0 / FREELY_MOVING).clamp(behind, 1.0);
    Estimate { mean, spread: Kelvins(SOIL_SPREAD.1 + (SOIL_SPREAD.0 - SOIL_SPREAD.1) * freely) }
}

/// How the temperature at the roots came about.
pub(super) fn step(place: &Place, soil: Estimate) -> Step {
    let mulch = match place.mulch {
        none if none <= 0.0 => String::new(),
        thick => format!(", under {:.0} cm of mulch", thick * 100.0),
    };
    let what = match place.root_zone {
        RootZone::Ground => format!("soil at root depth (5 cm){mulch}"),
        RootZone::Raised { width, height } => format!(
            "soil 5 cm deep in the outer row of a raised bed {:.1} m wide and {:.0} cm high, cold from above and from its \
             sides{mulch}",
            width,
            height * 100.0
        ),
        RootZone::Pot { radius } => {
            format!("potting mix in a pot {:.0} cm across, no warmer than the open ground", radius * 200.0)
        }
    };
    Step {
        what,
        value: Some(soil.mean),
        effect: None,
        spread: Some(soil.spread),
        source: "heat conduction and freezing, Carslaw and Jaeger; figures of moist soil, from memory",
    }
}
