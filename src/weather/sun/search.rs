//! The search for a sunset and a sunrise from a close estimate: the sun's place is taken seven times. It costs hundreds of
//! sines, and a list may ask after 150 nights; a search that knows nothing of the sun's path takes it some fifty times for
//! each.

use super::SunEvents;
use chrono::{DateTime, Duration, Utc};
use solar_positioning::{Horizon, Location, SolarPositions};

/// Seconds of a mean solar day, in which the hour angle goes through a turn.
const DAY: f64 = 86_400.0;
/// Nearer to the meridian than this the next noon follows from the rate, to less than a millisecond.
const AT_NOON: f64 = 0.01;
/// The sun's centre stands so much higher in our sky than it does from the middle of the earth, degrees: 8.794".
const PARALLAX: f64 = 0.0024;
/// After a step so short the next one would be shorter than a millisecond, seconds.
const SHORT_STEP: f64 = 0.05;
/// Newton's method takes one or two steps; a bisection of half a day to a millisecond would take 26.
const MOST_STEPS: u32 = 50;

/// The sun over one place, by seconds after some instant.
pub(super) struct Sky {
    pub(super) place: Location,
    pub(super) start: DateTime<Utc>,
    /// The earth's rotation behind uniform time, seconds.
    pub(super) delta_t: f64,
}

/// Where the sun stands, in degrees.
#[derive(Clone, Copy)]
struct Sun {
    /// From the meridian, west positive, -180 to 180.
    hour_angle: f64,
    declination: f64,
    elevation: f64,
}

impl Sun {
    fn is_up(&self) -> bool {
        self.elevation > Horizon::SunriseSunset.elevation_angle()
    }
}

impl Sky {
    /// The night after the solar noon that is nearest to the start.
    pub(super) fn night(&self) -> Option<SunEvents> {
        let (noon, sun_at_noon) = self.noon(0.0)?;
        let (next_noon, sun_at_next_noon) = self.noon(noon + DAY)?;
        let midnight = f64::midpoint(noon, next_noon);
        let sun_at_midnight = self.sun(midnight)?;
        if sun_at_midnight.is_up() {
            return Some(SunEvents::NeverSets);
        }
        if !sun_at_noon.is_up() || !sun_at_next_noon.is_up() {
            return Some(SunEvents::NeverRises);
        }
        let path = Path {
            latitude: self.place.latitude.to_radians(),
            noon,
            day: next_noon - noon,
            declinations: [sun_at_noon, sun_at_midnight, sun_at_next_noon].map(|sun| sun.declination.to_radians()),
        };
        let sunset = self.crossing(&path, path.estimate(noon, 1.0), noon, midnight)?;
        let sunrise = self.crossing(&path, path.estimate(next_noon, -1.0), next_noon, midnight)?;
        Some(SunEvents::Night { sunset: self.instant(sunset), sunrise: self.instant(sunrise) })
    }

    /// The solar noon nearest to an instant, and the sun within a few seconds of it.
    fn noon(&self, near: f64) -> Option<(f64, Sun)> {
        let mut at = near;
        loop {
            let sun = self.sun(at)?;
            let noon = at - sun.hour_angle / 360.0 * DAY;
            // Solar days differ from the mean one by half a minute: the second look is nearly always the last.
            if sun.hour_angle.abs() < AT_NOON || at != near {
                return Some((noon, sun));
            }
            at = noon;
        }
    }

    /// When the sun passes the horizon between an instant at which it is up and one at which it is down.
    fn crossing(&self, path: &Path, estimate: f64, mut up: f64, mut down: f64) -> Option<f64> {
        let mut at = estimate.clamp(up.min(down), up.max(down));
        for _ in 0..MOST_STEPS {
            let sun = self.sun(at)?;
            if sun.is_up() {
                up = at;
            } else {
                down = at;
            }
            let step = path.step(&sun);
            if step.abs() < SHORT_STEP {
                return Some(at + step);
            }
            let (earlier, later) = (up.min(down), up.max(down));
            let stepped = at + step;
            // Where night or day is short the path is bent, and a step may lead out of it.
            at = if (earlier..=later).contains(&stepped) { stepped } else { f64::midpoint(earlier, later) };
        }
        Some(at)
    }

    fn sun(&self, seconds: f64) -> Option<Sun> {
        let prepared = SolarPositions::new().for_time(&self.instant(seconds), self.delta_t).ok()?;
        let from = |place| prepared.at(place, 0.0, None).ok();
        // The crate states no hour angle: it is the azimuth as seen from the pole.
        let at_the_pole = from(Location { latitude: 90.0, ..self.place })?;
        Some(Sun {
            hour_angle: at_the_pole.azimuth() - 180.0,
            declination: prepared.declination(),
            elevation: from(self.place)?.elevation_angle(),
        })
    }

    fn instant(&self, seconds: f64) -> DateTime<Utc> {
        #[allow(clippy::cast_possible_truncation)] // Two days are 2e14 nanoseconds.
        let nanoseconds = (seconds * 1e9) as i64;
        self.start + Duration::nanoseconds(nanoseconds)
    }
}

/// The sun's way from one noon to the next, near enough to say about when it passes the horizon and how fast. In radians
/// and seconds.
struct Path {
    latitude: f64,
    noon: f64,
    day: f64,
    /// At noon, at midnight and at the next noon.
    declinations: [f64; 3],
}

impl Path {
    /// By the parabola through the three that are known.
    fn declination(&self, at: f64) -> f64 {
        let [noon, midnight, next_noon] = self.declinations;
        let share = (at - self.noon) / self.day;
        noon * (1.0 - share) * (1.0 - 2.0 * share)
            + midnight * 4.0 * share * (1.0 - share)
            + next_noon * share * (2.0 * share - 1.0)
    }

    /// ```text
    /// cos(hour angle) = (sin(elevation) - sin(latitude) sin(declination)) / (cos(latitude) cos(declination))
    /// ```
    ///
    /// before (-1) or after (1) a noon, with the declination of the answer itself, found by asking again.
    fn estimate(&self, noon: f64, side: f64) -> f64 {
        let horizon = (Horizon::SunriseSunset.elevation_angle() + PARALLAX).to_radians().sin();
        let mut at = noon + side * self.day / 4.0;
        for _ in 0..3 {
            let (sine, cosine) = self.declination(at).sin_cos();
            let hour_angle = ((horizon - self.latitude.sin() * sine) / (self.latitude.cos() * cosine)).clamp(-1.0, 1.0);
            at = noon + side * hour_angle.acos() / std::f64::consts::TAU * self.day;
        }
        at
    }

    /// From where the sun stands to where it meets the horizon, by the rate at which the sine of its elevation changes.
    fn step(&self, sun: &Sun) -> f64 {
        let [noon, _, next_noon] = self.declinations;
        let (of_latitude, of_declination) = (self.latitude.sin_cos(), sun.declination.to_radians().sin_cos());
        let of_hour_angle = sun.hour_angle.to_radians().sin_cos();
        let by_season = of_latitude.0 * of_declination.1 - of_latitude.1 * of_declination.0 * of_hour_angle.1;
        let by_day = of_latitude.1 * of_declination.1 * of_hour_angle.0;
        let rate = (by_season * (next_noon - noon) - by_day * std::f64::consts::TAU) / self.day;
        let above = sun.elevation.to_radians().sin() - Horizon::SunriseSunset.elevation_angle().to_radians().sin();
        -above / rate
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use solar_positioning::{SolarEvents, delta_t};

    /// The same night by the search of the crate, which knows nothing of the sun's path and so misses nothing of it.
    fn searched(sky: &Sky) -> Option<SunEvents> {
        let (place, delta_t) = (sky.place, sky.delta_t);
        let events = SolarEvents::new();
        let transit = |from: DateTime<Utc>, to| events.next_transit(&from, &to, place.longitude, delta_t).ok()?;
        let noon = transit(sky.start - Duration::hours(12), sky.start + Duration::minutes(12 * 60 + 5))?;
        let next_noon = transit(noon + Duration::hours(23), noon + Duration::hours(25))?;
        let midnight = noon + (next_noon - noon) / 2;
        let is_up = |at: DateTime<Utc>| {
            let position = SolarPositions::new().at(&at, place, 0.0, delta_t, None).ok()?;
            Some(position.elevation_angle() > Horizon::SunriseSunset.elevation_angle())
        };
        if is_up(midnight)? {
            return Some(SunEvents::NeverSets);
        }
        if !is_up(noon)? || !is_up(next_noon)? {
            return Some(SunEvents::NeverRises);
        }
        let sunset = events.next_set(&noon, &midnight, place, delta_t, Horizon::SunriseSunset).ok()??;
        let sunrise = events.next_rise(&midnight, &next_noon, place, delta_t, Horizon::SunriseSunset).ok()??;
        Some(SunEvents::Night { sunset, sunrise })
    }

    /// Every night of a year, of which the polar day and the polar night take some, at clocks that are up to three hours
    /// from the sun. The crate's search ends at a millisecond.
    #[test]
    fn every_night_of_a_year_is_the_one_that_a_thorough_search_finds() {
        let (mut nights, mut without) = (0, 0);
        let far_north = [66.0, 67.0, 68.5, 80.0, 89.6];
        for (count, latitude) in (-7_i32..=7).map(|tens| f64::from(tens * 10)).chain(far_north).enumerate() {
            for day in 0..366_i32 {
                let longitude = (f64::from(day) * 7.3 + count as f64 * 31.0).rem_euclid(360.0) - 180.0;
                let solar_noon = Duration::days(20_454 + i64::from(day)) + Duration::hours(12)
                    - Duration::seconds((longitude * 240.0) as i64);
                let start = DateTime::UNIX_EPOCH + solar_noon + Duration::minutes(i64::from(day % 7 - 3) * 60);
                let delta_t = delta_t::estimate_from_date_like(&start).unwrap_or_default();
                let sky = Sky { place: Location { latitude, longitude }, start, delta_t };
                let (found, expected) = (sky.night(), searched(&sky));
                match (found, expected) {
                    (
                        Some(SunEvents::Night { sunset, sunrise }),
                        Some(SunEvents::Night { sunset: expected_sunset, sunrise: expected_sunrise }),
                    ) => {
                        nights += 1;
                        for (found, expected) in [(sunset, expected_sunset), (sunrise, expected_sunrise)] {
                            let apart = (found - expected).abs();
                            assert!(apart <= Duration::milliseconds(5), "{latitude} {start}: {found}, not {expected}");
                        }
                    }
                    _ => {
                        without += 1;
                        assert_eq!(found, expected, "{latitude} {longitude} {start}");
                    }
                }
            }
        }
        assert!(nights > 5500 && without > 500, "{nights} nights, and {without} without sunset or sunrise");
    }
}
