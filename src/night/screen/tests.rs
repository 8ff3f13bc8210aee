//! Nights from forecasts and readings that are made here, each with one thing the matter.
//!
//! The sun sets at hour 0 and rises at hour 14; times are hours after sunset. The forecast falls by half a kelvin an hour
//! from 4 C at sunset to -3 C at sunrise, clear and calm. It is judged two hours before sunset.

mod edges;
mod forecasts;
mod readings;
mod taught;

use super::*;
use crate::night::{FrostKind, hours_below};
use crate::weather::Reading;
use chrono::NaiveDate;

fn at(hours: f64) -> DateTime<Utc> {
    // 22:00 of 16 January 2027
    let sunset = DateTime::UNIX_EPOCH + Duration::days(20_834) + Duration::hours(22);
    sunset + Duration::minutes((hours * 60.0).round() as i64)
}

fn span() -> Span {
    let of = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    Span { of, sunset: at(0.0), sunrise: at(14.0) }
}

fn hour(time: f64, air: f64) -> Hour {
    Hour {
        time: at(time),
        air_temperature: Celsius(air),
        dew_point: Some(Celsius(-6.0)),
        wind_10m: Some(MetresPerSecond(1.5)),
        cloud_cover: Some(0.1),
    }
}

/// From the noon before to the afternoon after.
fn forecast() -> Forecast {
    let hours = (-5..=20).map(|time| {
        let time = f64::from(time);
        hour(
            time,
            if time < 0.0 {
                8.0
            } else if time <= 14.0 {
                4.0 - time / 2.0
            } else {
                3.0 * time - 45.0
            },
        )
    });
    Forecast {
        provider: Provider::NationalWeatherService,
        issued: Some(at(-4.0)),
        fetched: at(-3.0),
        hours: hours.collect(),
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    }
}

/// The forecast with its hours changed.
fn each_hour(mut change: impl FnMut(f64, &mut Hour)) -> Forecast {
    let mut forecast = forecast();
    for (index, hour) in forecast.hours.iter_mut().enumerate() {
        change(index as f64 - 5.0, hour);
    }
    forecast
}

/// The forecast without some of its hours.
fn without(hours: &[i32]) -> Forecast {
    let mut forecast = forecast();
    forecast.hours.retain(|hour| hours.iter().all(|gone| hour.time != at(f64::from(*gone))));
    forecast
}

fn judge(forecast: Option<&Forecast>, readings: &[Reading], now: f64) -> Result<Night, NoNight> {
    expect(&Evidence { forecast, readings, garden_offset: None, learned: None, now: at(now) }, &span())
}

#[track_caller]
fn night(forecast: &Forecast) -> Night {
    judge(Some(forecast), &[], -2.0).expect("a night")
}

fn reading(time: f64, air: f64) -> Reading {
    Reading {
        at: at(time),
        air: Celsius(air),
        dew_point: None,
        offset: Kelvins(0.0),
        offset_spread: Kelvins(0.0),
        bed: None,
        sure: false,
    }
}

fn is_close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}
