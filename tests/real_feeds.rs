//! The decoders against recorded documents of the services, which do not travel with this project: a test here does
//! its work where the variable COUNTERPANE_REAL_FEEDS names a folder that holds them.

use chrono::{DateTime, Duration, Utc};
use counterpane::service::feed::{decode, recognise};
use counterpane::weather::Provider;
use std::path::PathBuf;

fn recorded(name: &str) -> Option<Vec<u8>> {
    let Some(folder) = std::env::var_os("COUNTERPANE_REAL_FEEDS") else {
        println!("{name}: passed over, COUNTERPANE_REAL_FEEDS is not set");
        return None;
    };
    let path = PathBuf::from(folder).join(name);
    match std::fs::read(&path) {
        Ok(body) => Some(body),
        Err(error) => panic!("{}: {error}", path.display()),
    }
}

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap_or_else(|_| panic!("bad time {text}"))
}

/// US National Weather Service, gridpoints/TAE/58,65, updated 2022-02-04 03:15 UTC; its figures were counted in the
/// document by other means.
#[test]
fn a_recorded_raw_grid_is_read_whole() -> Result<(), Box<dyn std::error::Error>> {
    let Some(body) = recorded("nws_gridpoint_raw.json") else { return Ok(()) };
    assert_eq!(recognise(&body), Some(Provider::NationalWeatherService));
    let forecast = decode(&Provider::NationalWeatherService, &body, utc("2022-02-04T04:00:00Z"))?;
    let times: Vec<_> = forecast.hours.iter().map(|hour| hour.time).collect();
    assert_eq!(times.first(), Some(&utc("2022-02-03T21:00:00Z")));
    // The last run covers one hour and ends at 11:00.
    assert_eq!(times.last(), Some(&utc("2022-02-11T10:00:00Z")));
    assert!(times.windows(2).all(|pair| pair[1] - pair[0] == Duration::hours(1)), "there is a hole");
    assert_eq!((forecast.issued, forecast.cell_elevation), (Some(utc("2022-02-04T03:15:41Z")), Some(3.9624)));
    assert_eq!(forecast.implausible_hours, 0);
    let Some((last, before)) = forecast.hours.split_last() else { panic!("no hours") };
    assert!(
        before.iter().all(|hour| hour.dew_point.is_some() && hour.wind_10m.is_some() && hour.cloud_cover.is_some())
    );
    assert_eq!((last.dew_point, last.wind_10m, last.cloud_cover), (None, None, None));

    assert_eq!(forecast.minima.len(), 8);
    for minimum in &forecast.minima {
        let lowest = forecast.between(minimum.from, minimum.to).iter().map(|hour| hour.air_temperature.0);
        assert_eq!(lowest.reduce(f64::min), Some(minimum.low.0), "{}", minimum.from);
    }
    Ok(())
}

/// MET Norway, Locationforecast 2.0 compact for 40.7 N 74.0 W, fetched 2020-07-20 11:44 UTC. Data from MET Norway,
/// CC BY 4.0.
#[test]
fn a_recorded_compact_locationforecast_is_read_whole() -> Result<(), Box<dyn std::error::Error>> {
    let Some(body) = recorded("metno_compact.json") else { return Ok(()) };
    assert_eq!(recognise(&body), Some(Provider::MetNorway));
    let fetched = utc("2020-07-20T11:44:31Z");
    let forecast = decode(&Provider::MetNorway, &body, fetched)?;
    let steps: Vec<i64> = forecast.hours.windows(2).map(|pair| (pair[1].time - pair[0].time).num_hours()).collect();
    assert_eq!(forecast.hours.len(), 82);
    assert_eq!(steps.iter().filter(|hours| **hours == 1).count(), 55);
    assert_eq!(steps.iter().filter(|hours| **hours == 6).count(), 26);
    assert_eq!(forecast.age(fetched).num_minutes(), 10 * 60 + 13);
    assert_eq!((forecast.implausible_hours, forecast.minima.len()), (0, 0));
    assert!(forecast.hours.iter().all(|hour| hour.dew_point.is_some() && hour.wind_10m.is_some()));
    Ok(())
}
