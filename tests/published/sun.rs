//! Sunrise and sunset.

use chrono::{DateTime, Duration, NaiveDate, Utc};
use counterpane::weather::{
    Site,
    sun::{SunEvents, night_after_noon},
};

type Row = (f64, f64, &'static str, i64, Option<(&'static str, &'static str)>);

/// Latitude, longitude, local date, whole-hour offset of the local clock, sunrise and sunset of that date, UTC.
/// Source: pvlib 0.16.1, SPA; roots of the elevation at -0.8333 degrees, to the second.
const PVLIB: &[Row] = &[
    (40.6925, -74.1687, "2013-01-15", -5, Some(("2013-01-15T12:18:27Z", "2013-01-15T21:54:21Z"))),
    (40.6925, -74.1687, "2013-04-20", -5, Some(("2013-04-20T10:10:10Z", "2013-04-20T23:41:31Z"))),
    (39.74, -105.18, "2004-10-15", -7, Some(("2004-10-15T13:11:28Z", "2004-10-16T00:20:41Z"))),
    (37.62, -122.4, "2004-04-05", -8, Some(("2004-04-05T13:48:17Z", "2004-04-06T02:36:32Z"))),
    (62.967, -141.933, "2001-01-15", -9, Some(("2001-01-15T18:40:58Z", "2001-01-16T00:34:19Z"))),
    (55.317, -160.517, "2001-03-20", -11, Some(("2001-03-20T16:43:18Z", "2001-03-21T04:56:36Z"))),
    (51.51, -0.12, "2012-12-21", 0, Some(("2012-12-21T08:03:58Z", "2012-12-21T15:53:36Z"))),
    (51.51, -0.12, "2012-06-21", 0, Some(("2012-06-21T03:43:07Z", "2012-06-21T20:21:34Z"))),
    (57.2, -2.22, "2026-11-25", 0, Some(("2026-11-25T08:11:59Z", "2026-11-25T15:39:12Z"))),
    (52.3, 4.77, "2026-03-29", 0, Some(("2026-03-29T05:22:43Z", "2026-03-29T18:09:41Z"))),
    (46.8153, 9.8559, "2020-02-29", 1, Some(("2020-02-29T06:01:35Z", "2020-02-29T17:05:13Z"))),
    (69.65, 18.96, "2026-12-21", 1, None),
    (69.65, 18.96, "2026-06-21", 1, None),
    (69.65, 18.96, "2026-03-20", 1, Some(("2026-03-20T04:43:55Z", "2026-03-20T17:01:30Z"))),
    (78.22, 15.65, "2026-10-10", 1, Some(("2026-10-10T06:41:40Z", "2026-10-10T14:44:19Z"))),
    (-33.87, 151.21, "2026-07-01", 10, Some(("2026-06-30T21:01:02Z", "2026-07-01T06:57:00Z"))),
    (-45.03, 168.66, "2026-09-20", 11, Some(("2026-09-19T18:39:22Z", "2026-09-20T06:39:20Z"))),
    (-41.29, 174.78, "2026-10-05", 12, Some(("2026-10-04T17:49:01Z", "2026-10-05T06:30:35Z"))),
    (0.0, -78.5, "2026-09-23", -5, Some(("2026-09-23T11:03:04Z", "2026-09-23T23:09:32Z"))),
    (28.61, 77.21, "2026-01-10", 5, Some(("2026-01-10T01:45:11Z", "2026-01-10T12:12:09Z"))),
];

/// The rows are rounded to the second, and two programs of one algorithm estimate the earth's rotation each.
const TOLERANCE_S: f64 = 1.0;

fn noon(date: &str, zone_h: i64) -> DateTime<Utc> {
    let date: Option<NaiveDate> = date.parse().ok();
    let Some(noon) = date.and_then(|date| date.and_hms_opt(12, 0, 0)) else { panic!("bad row") };
    noon.and_utc() - Duration::hours(zone_h)
}

#[test]
fn sunrise_and_sunset_agree_with_pvlib() {
    for (latitude, longitude, date, zone_h, events) in PVLIB {
        let site = Site { latitude: *latitude, longitude: *longitude, elevation: 0.0 };
        let noon = noon(date, *zone_h);
        let (before, after) = (night_after_noon(&site, noon - Duration::days(1)), night_after_noon(&site, noon));
        match events {
            Some((rise, set)) => {
                let (Ok(rise), Ok(set)) = (rise.parse::<DateTime<Utc>>(), set.parse::<DateTime<Utc>>()) else {
                    panic!("bad row")
                };
                let (SunEvents::Night { sunrise, .. }, SunEvents::Night { sunset, .. }) = (before, after) else {
                    panic!("no night at {latitude}, {date}")
                };
                for (what, found, expected) in [("sunrise", sunrise, rise), ("sunset", sunset, set)] {
                    let error = (found - expected).num_milliseconds() as f64 / 1000.0;
                    assert!(error.abs() < TOLERANCE_S, "{what} at {latitude}, {longitude}, {date}: {error} s");
                }
            }
            None => {
                let expected = if date.contains("-06-") { SunEvents::NeverSets } else { SunEvents::NeverRises };
                assert_eq!(after, expected, "{latitude}, {date}");
            }
        }
    }
}
