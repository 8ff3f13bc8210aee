//! The temperature at the roots: open ground, raised bed or pot, each by what cools it.

use super::bed::{BedHour, Place};
use super::pot::pot_temperature;
use super::soil::{Sides, frost_depth, share_of_the_wave, soil_minimum, through_mulch};
use super::{Estimate, Night, Step, hours_below};
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

/// The lowest temperature at the roots of a place; `hours` are the night at it.
pub(super) fn at_roots(night: &Night, place: &Place, hours: &[BedHour]) -> Estimate {
    match place.root_zone {
        RootZone::Ground => in_soil(night, hours, Sides::NONE, place.mulch),
        RootZone::Raised { width, height } => {
            let sides = Sides { width, from_side: OUTER_ROW.min(0.5 * width), height };
            in_soil(night, hours, sides, place.mulch)
        }
        RootZone::Pot { radius } => {
            // The ball remembers the day: its lag starts with the first hour that is known, at that day's mean.
            let day = night.before.iter().copied();
            let air: Vec<(DateTime<Utc>, Celsius)> =
                day.chain(hours.iter().map(|hour| (hour.time, hour.screen))).collect();
            let steps = air.windows(2).map(|pair| {
                let hours = (pair[1].0 - pair[0].0).num_minutes() as f64 / 60.0;
                (hours, pair[1].1)
            });
            let mean = mean_of_the_day(night);
            let balls = pot_temperature(mean, steps, radius).skip(night.before.len());
            let coldest = balls.fold(Celsius(f64::INFINITY), Celsius::min);
            let coldest = if coldest.0.is_finite() { coldest } else { mean };
            // A pot has air all round and no earth below: it is not taken for warmer than the open ground beside it.
            let beside = in_soil(night, hours, Sides::NONE, 0.0).mean;
            Estimate { mean: coldest.min(beside), spread: Kelvins(SOIL_SPREAD.0) }
        }
    }
}

/// Hours of day and night that the soil still feels before sunrise, and of how many hours of day a mean takes at least
/// (assumed).
const REMEMBERED: Duration = Duration::hours(36);
const FEW_HOURS: usize = 6;

/// Mean of the air by time over the day and the night as it is expected, missing hours bridged; never above the
/// night's own figure, which alone counts where the day is not known.
fn mean_of_the_day(night: &Night) -> Celsius {
    let day: Vec<_> = night.before.iter().copied().filter(|(time, _)| night.sunrise - *time <= REMEMBERED).collect();
    if day.len() < FEW_HOURS {
        return night.mean_air;
    }
    let all: Vec<_> = day.into_iter().chain(night.hours.iter().map(|hour| (hour.time, hour.air))).collect();
    let (mut sum, mut hours) = (0.0, 0.0);
    for pair in all.windows(2) {
        let length = (pair[1].0 - pair[0].0).num_minutes() as f64 / 60.0;
        sum += length * 0.5 * (pair[0].1.0 + pair[1].1.0);
        hours += length;
    }
    if hours > 0.0 { Celsius((sum / hours).min(night.mean_air.0)) } else { night.mean_air }
}

fn in_soil(night: &Night, hours: &[BedHour], sides: Sides, mulch: f64) -> Estimate {
    let mean_air = mean_of_the_day(night);
    let lowest = hours.iter().map(|hour| hour.screen).fold(mean_air, Celsius::min);
    let share = share_of_the_wave(ROOT_DEPTH, through_mulch(mulch, SOIL_DIFFUSIVITY), sides, SOIL_DIFFUSIVITY);
    let wave = soil_minimum(mean_air, lowest, share);
    let offset = hours.first().zip(night.hours.first()).map_or(Kelvins(0.0), |(bed, open)| bed.screen - open.air);
    let extra = -offset.0.min(0.0) * hours_below(hours.iter().map(|hour| (hour.time, hour.screen)), Celsius(0.0));
    let degree_hours = night.freezing_degree_hours + extra;
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
