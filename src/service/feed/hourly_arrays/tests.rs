use super::*;
use crate::units::Celsius;

const GOOD: &str = include_str!("../../../../tests/feeds/hourly_arrays_frost_night.json");

fn of(text: &str) -> Result<Forecast, FeedFault> {
    decode(text.as_bytes(), DateTime::UNIX_EPOCH)
}

#[test]
fn nulls_at_the_end_are_missing_hours() -> Result<(), FeedFault> {
    let forecast = of(GOOD)?;
    assert_eq!((forecast.hours.len(), forecast.issued, forecast.cell_elevation), (22, None, Some(648.0)));
    let first = forecast.hours[0];
    assert_eq!(first.time.to_rfc3339(), "2026-01-15T20:00:00+00:00");
    assert_eq!((first.air_temperature, first.dew_point), (Celsius(4.4), Some(Celsius(-4.4))));
    assert_eq!((first.wind_10m.map(|wind| wind.0), first.cloud_cover), (Some(3.6), Some(0.3)));
    Ok(())
}

#[test]
fn older_spellings_give_the_same_forecast() {
    let older = GOOD
        .replace("dew_point_2m", "dewpoint_2m")
        .replace("relative_humidity_2m", "relativehumidity_2m")
        .replace("cloud_cover", "cloudcover")
        .replace("wind_speed_10m", "windspeed_10m");
    assert_eq!(of(&older), of(GOOD));
}

#[test]
fn wind_is_read_in_the_unit_it_states() -> Result<(), FeedFault> {
    for (unit, expected) in [("m/s", 3.6), ("km/h", 1.0), ("kn", 1.852), ("mp/h", 1.609344)] {
        let forecast = of(&GOOD.replace("m/s", unit))?;
        let Some(wind) = forecast.hours[0].wind_10m else { panic!("no wind in {unit}") };
        assert!((wind.0 - expected).abs() < 1e-3, "{unit}: {wind:?}");
    }
    assert!(matches!(of(&GOOD.replace("m/s", "Bft")), Err(FeedFault::UnknownUnit { quantity: "wind", .. })));
    Ok(())
}

#[test]
fn fahrenheit_and_silence_about_the_unit_are_refused() {
    for unit in ["°F", "K", ""] {
        let Err(fault) = of(&GOOD.replace("°C", unit)) else { panic!("accepted {unit:?}") };
        assert_eq!(fault, FeedFault::UnknownUnit { quantity: "air temperature", unit: unit.into() });
    }
    assert!(matches!(of(&GOOD.replace("hourly_units", "units")), Err(FeedFault::UnknownUnit { .. })));
}

#[test]
fn arrays_of_unequal_length_are_refused() {
    let Err(fault) = of(include_str!("../../../../tests/feeds/hourly_arrays_unequal_lengths.json")) else {
        panic!("accepted")
    };
    assert!(fault.to_string().contains("21 values of air temperature for 24 hours"), "{fault}");
}

#[test]
fn a_refusal_is_passed_on_with_its_reason() {
    let Err(fault) = of(include_str!("../../../../tests/feeds/hourly_arrays_refused.json")) else { panic!("accepted") };
    assert!(fault.to_string().contains("No variable is called soil_temperature_9cm"), "{fault}");
}

#[test]
fn written_times_are_taken_only_where_the_document_says_that_they_are_utc() -> Result<(), FeedFault> {
    let written = |offset: &str| {
        format!(
            r#"{{{offset} "hourly_units": {{"time": "iso8601", "temperature_2m": "°C"}},
                "hourly": {{"time": ["2026-01-16T05:00", "2026-01-16T06:00"], "temperature_2m": [-1.5, -2]}}}}"#
        )
    };
    let forecast = of(&written(r#""utc_offset_seconds": 0,"#))?;
    assert_eq!(forecast.hours[1].time.to_rfc3339(), "2026-01-16T06:00:00+00:00");
    for offset in [r#""utc_offset_seconds": -18000,"#, ""] {
        assert!(matches!(of(&written(offset)), Err(FeedFault::NotTheFormat { .. })), "{offset}");
    }
    assert!(matches!(
        of(&GOOD.replace("unixtime", "milliseconds")),
        Err(FeedFault::UnknownUnit { quantity: "time", .. })
    ));
    Ok(())
}
