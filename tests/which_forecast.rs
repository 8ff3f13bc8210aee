//! Which of several feeds a list rests on, and what the evening's thermometer is to it.

use chrono::{DateTime, Duration, Utc};
use counterpane::night::Remark;
use counterpane::plan::{Measure, Plan};
use counterpane::service::files::demo;
use counterpane::service::look::list;
use counterpane::settings::{Settings, settings};
use counterpane::units::{Celsius, Kelvins, MetresPerSecond};
use counterpane::weather::{Forecast, Hour, Provider, Reading};
use counterpane::zone::NightOf;

fn at(text: &str) -> DateTime<Utc> {
    text.parse().expect("a time")
}

/// Two hours after sunset of the demo garden.
fn dusk() -> DateTime<Utc> {
    at("2027-01-17T00:35:00Z")
}

/// A clear calm evening that falls by half a kelvin an hour to `low` at 12:00 UTC.
fn forecast(provider: Provider, issued: &str, low: f64) -> Forecast {
    let hours = (0..40).map(|hour| {
        let time = at("2027-01-16T00:00:00Z") + Duration::hours(hour);
        let before_low = (at("2027-01-17T12:00:00Z") - time).num_hours().unsigned_abs().min(20);
        Hour {
            time,
            air_temperature: Celsius(low + 0.5 * f64::from(u32::try_from(before_low).expect("few hours"))),
            dew_point: Some(Celsius(low - 2.0)),
            wind_10m: Some(MetresPerSecond(1.0)),
            cloud_cover: Some(0.1),
        }
    });
    Forecast {
        provider,
        issued: Some(at(issued)),
        fetched: at(issued),
        hours: hours.collect(),
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    }
}

fn judged<'s>(settings: &'s Settings, forecasts: &[Forecast], readings: &[Reading]) -> Plan<'s> {
    let night = NightOf("2027-01-16".parse().expect("a date"));
    list(&settings.gardens[0].garden, &settings.catalogue, night, forecasts, readings, dusk())
}

#[test]
fn a_thermometer_does_not_take_the_place_of_a_good_second_feed() {
    let settings = settings(&demo()).expect("sound settings");
    let stale = forecast(Provider::NationalWeatherService, "2027-01-15T00:00:00Z", -1.0);
    let good = forecast(Provider::MetNorway, "2027-01-16T18:00:00Z", -1.0);
    // Just what the good feed says of the hour.
    let reading = Reading {
        at: dusk(),
        air: Celsius(4.7),
        dew_point: None,
        offset: Kelvins(0.0),
        offset_spread: Kelvins(0.0),
        bed: None,
        sure: false,
    };
    let plan = judged(&settings, &[stale.clone(), good.clone()], &[reading]);
    let night = plan.night.as_ref().expect("a night");
    assert_eq!(night.provider, Some(Provider::MetNorway));
    assert!(!night.remarks.iter().any(|remark| matches!(remark, Remark::ReadingOnly | Remark::FeedsDisagree { .. })));
    // Without the good feed it is all there is.
    let plan = judged(&settings, &[stale], &[reading]);
    assert!(plan.night.as_ref().is_ok_and(|night| night.remarks.contains(&Remark::ReadingOnly)));
}

/// 38 F written as 38 C beside a forecast that is too old: nothing is known, and nothing is fine.
#[test]
fn a_slip_of_the_unit_is_no_night_where_the_forecast_is_old() {
    let settings = settings(&demo()).expect("sound settings");
    let stale = forecast(Provider::NationalWeatherService, "2027-01-15T00:00:00Z", -1.0);
    let slip = Reading {
        at: dusk(),
        air: Celsius(38.0),
        dew_point: None,
        offset: Kelvins(0.0),
        offset_spread: Kelvins(0.0),
        bed: None,
        sure: false,
    };
    let plan = judged(&settings, &[stale], &[slip]);
    assert!(plan.night.is_err() && plan.count(Measure::Fine) == 0, "{:?}", plan.night);
}

#[test]
fn an_old_feed_that_is_much_colder_is_believed_and_named() {
    let settings = settings(&demo()).expect("sound settings");
    let old = forecast(Provider::NationalWeatherService, "2027-01-16T10:00:00Z", -6.0);
    let young = forecast(Provider::MetNorway, "2027-01-16T22:00:00Z", 3.0);
    let plan = judged(&settings, &[old, young], &[]);
    let night = plan.night.as_ref().expect("a night");
    assert_eq!(night.provider, Some(Provider::NationalWeatherService));
    assert!(night.remarks.iter().any(|remark| matches!(remark, Remark::FeedsDisagree { .. })));
}
