//! When the night begins and ends: sunset and the sunrise after it, at a place, on the evening of a date.

mod remembered;
mod search;

use super::Site;
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Datelike, NaiveTime, Utc};
use search::Sky;
use solar_positioning::{Location, delta_t};

/// What the sun does in the night of a date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SunEvents {
    /// It sets and rises again, less than 24 hours later.
    Night { sunset: DateTime<Utc>, sunrise: DateTime<Utc> },
    /// It stays up (midnight sun).
    NeverSets,
    /// It stays down for at least one noon (polar night).
    NeverRises,
}

/// Sunset on the evening of a local date, and the following sunrise.
///
/// ```text
/// elevation of the sun's centre, without refraction, = -50/60 degrees
/// ```
///
/// | symbol    | meaning                | unit    | accepted range       |
/// |-----------|------------------------|---------|----------------------|
/// | latitude  | of the site            | degrees | -90 to 90            |
/// | longitude | of the site, east      | degrees | -180 to 180          |
/// | night     | date of its evening    | -       | years -1998 to 5998  |
///
/// -50' is 34' of mean refraction and 16' of the sun's radius, so the upper edge touches a level horizon. The night is
/// the dark time about the solar midnight that follows the local date's solar noon: nothing here knows the UTC day, so
/// places far east and west are served alike, and a sunset after midnight belongs to the evening before.
///
/// **Method error.** Under 1 s against the roots of another implementation of the same algorithm (`tests/published/sun.rs`);
/// real refraction moves the event by a minute or two, a hill by more. Next to the polar day and the polar
/// night, a night or a day of a few minutes may be taken for none (not swept; at the poles it is a day of the year).
/// **Refuses.** Nothing. Coordinates outside their limits, NaN and years outside the range answer `NeverRises`, the
/// careful one: settings refuse such sites, and a night that cannot be placed must not be skipped.
/// **Source.** I. Reda and A. Andreas, 2004, Solar Energy 76, 577-589 (SPA), through the crate `solar-positioning`.
/// **Check.** pvlib 0.16.1 (SPA): Oslo, 15 October 2026, sunset 16:08:29 and sunrise 05:58:25 UTC:
///
/// ```
/// # use chrono::{DateTime, Utc};
/// # use counterpane::{weather::{Site, sun::{SunEvents, night_between}}, zone::{NightOf, Zone}};
/// let oslo = Site { latitude: 59.9139, longitude: 10.7522, elevation: 20.0 };
/// let zone = Zone::bundled(chrono_tz::Europe::Oslo).ok_or("no rules")?;
/// let SunEvents::Night { sunset, sunrise } = night_between(&oslo, &zone, NightOf("2026-10-15".parse()?))
///     else { return Err("no night".into()) };
/// assert!((sunset - "2026-10-15T16:08:29Z".parse::<DateTime<Utc>>()?).num_seconds().abs() <= 2);
/// assert!((sunrise - "2026-10-16T05:58:25Z".parse::<DateTime<Utc>>()?).num_seconds().abs() <= 2);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn night_between(site: &Site, zone: &Zone, night: NightOf) -> SunEvents {
    // Outside these years the wall clock's arithmetic could overflow; the algorithm ends at -2000 and 6000.
    if !(-1998..=5998).contains(&night.0.year()) {
        return SunEvents::NeverRises;
    }
    night_after_noon(site, zone.instant(night.0.and_time(NOON)))
}

const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

/// The night that follows the solar noon nearest to an instant; the instant of 12:00 by the wall clock serves.
///
/// As [`night_between`], for a caller that has the instant and no zone.
pub fn night_after_noon(site: &Site, noon: DateTime<Utc>) -> SunEvents {
    remembered::night(site, noon, || sun_events(site, noon).unwrap_or(SunEvents::NeverRises))
}

/// The same, or `None` where the algorithm has no answer.
fn sun_events(site: &Site, noon: DateTime<Utc>) -> Option<SunEvents> {
    if !(-1999..=5999).contains(&noon.year()) {
        return None;
    }
    let place = Location { latitude: site.latitude, longitude: site.longitude };
    let delta_t = delta_t::estimate_from_date_like(&noon).ok()?;
    Sky { place, start: noon, delta_t }.night()
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{Duration, NaiveDate, TimeZone, Timelike};
    use proptest::prelude::*;

    fn night(site: &Site, zone: &str, date: &str) -> SunEvents {
        let zone = zone.parse().ok().and_then(Zone::bundled);
        let (Some(zone), Ok(date)) = (zone, date.parse()) else { panic!("bad row") };
        night_between(site, &zone, NightOf(date))
    }

    fn site(latitude: f64, longitude: f64) -> Site {
        Site { latitude, longitude, elevation: 0.0 }
    }

    #[test]
    fn the_evening_belongs_to_the_local_date_west_and_east_of_greenwich() {
        for (place, zone, date) in [
            (site(39.7392, -104.9903), "America/Denver", "2026-04-20"),
            (site(-37.8136, 144.9631), "Australia/Melbourne", "2026-07-10"),
            (site(21.3, -157.86), "Pacific/Honolulu", "2026-01-05"),
            (site(1.87, -157.4), "Pacific/Kiritimati", "2026-01-05"),
            (site(-43.95, -176.56), "Pacific/Chatham", "2026-09-27"),
            (site(39.47, 75.99), "Asia/Shanghai", "2026-12-21"),
        ] {
            let SunEvents::Night { sunset, sunrise } = night(&place, zone, date) else { panic!("no night in {zone}") };
            let Some(rules) = zone.parse().ok().and_then(Zone::bundled) else { panic!("no zone {zone}") };
            assert_eq!(rules.local(sunset).date_naive().to_string(), date, "{zone}");
            assert!((16..=20).contains(&rules.local(sunset).hour()), "{zone} {sunset}");
            assert!((5..=10).contains(&rules.local(sunrise).hour()), "{zone} {sunrise}");
        }
    }

    #[test]
    fn a_sunset_after_midnight_belongs_to_the_evening_before() {
        // Reykjavík keeps Greenwich time 22 degrees west of Greenwich.
        let SunEvents::Night { sunset, sunrise } = night(&site(64.15, -21.94), "Atlantic/Reykjavik", "2026-06-20")
        else {
            panic!("no night")
        };
        assert_eq!(sunset.date_naive().to_string(), "2026-06-21");
        assert!(sunrise > sunset && sunrise - sunset < Duration::hours(4));
    }

    #[test]
    fn a_site_or_a_date_that_cannot_be_placed_is_dark() {
        let Some(zone) = Zone::bundled(chrono_tz::UTC) else { panic!("no UTC") };
        for bad in [site(f64::NAN, 0.0), site(0.0, f64::INFINITY), site(91.0, 0.0), site(0.0, 181.0)] {
            assert_eq!(night(&bad, "UTC", "2026-01-01"), SunEvents::NeverRises);
        }
        for date in [NaiveDate::MIN, NaiveDate::MAX] {
            assert_eq!(night_between(&site(50.0, 0.0), &zone, NightOf(date)), SunEvents::NeverRises);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        #[test]
        fn the_sun_rises_after_it_sets_and_within_a_day(
            latitude in prop_oneof![-90.0f64..=90.0, Just(-90.0), Just(90.0), 60.0f64..=90.0],
            longitude in -180.0f64..=180.0,
            days in 0i64..40_000,
            clock_minutes in -180i64..=180,
        ) {
            // Clocks keep solar time within three hours.
            let solar_noon = Duration::minutes(720 - (longitude * 4.0) as i64 + clock_minutes);
            let noon = Utc.timestamp_opt(days * 86_400, 0).single().map(|day| day + solar_noon);
            let Some(noon) = noon else { return Err(TestCaseError::fail("no such day")) };
            match night_after_noon(&site(latitude, longitude), noon) {
                SunEvents::Night { sunset, sunrise } => {
                    prop_assert!(sunset < sunrise);
                    prop_assert!(sunrise - sunset < Duration::hours(24));
                    prop_assert!(sunset > noon - Duration::hours(4) && sunrise < noon + Duration::hours(28));
                }
                SunEvents::NeverSets | SunEvents::NeverRises => prop_assert!(latitude.abs() > 65.0),
            }
        }
    }
}
