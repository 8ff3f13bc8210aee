use super::*;
use proptest::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeSet;

const GOOD: &str = include_str!("../../../../tests/feeds/nws_frost_night.json");

fn fetched() -> DateTime<Utc> {
    utc("2026-01-15T20:07:00Z")
}

fn utc(text: &str) -> DateTime<Utc> {
    let Ok(time) = DateTime::parse_from_rfc3339(text) else { panic!("bad time {text}") };
    time.to_utc()
}

fn of(text: &str) -> Result<Forecast, FeedFault> {
    decode(text.as_bytes(), fetched())
}

#[test]
fn layers_with_different_runs_are_joined_by_hour() -> Result<(), FeedFault> {
    let forecast = of(GOOD)?;
    assert_eq!(forecast.hours.len(), 24);
    assert_eq!(forecast.issued, Some(utc("2026-01-15T19:42:10Z")));
    assert_eq!((forecast.cell_elevation, forecast.implausible_hours), (Some(650.1), 0));
    let [seven, eight] = forecast.between(utc("2026-01-16T07:00:00Z"), utc("2026-01-16T08:00:00Z")) else {
        panic!("two hours expected")
    };
    // One run of two hours in the document.
    assert_eq!((seven.air_temperature, eight.air_temperature), (Celsius(-4.4), Celsius(-4.4)));
    assert_eq!((eight.dew_point, eight.cloud_cover), (Some(Celsius(-5.6)), Some(0.05)));
    assert!(eight.wind_10m.is_some_and(|wind| (wind.0 - 1.0).abs() < 1e-12));
    // Temperature runs an hour longer than the other layers.
    assert_eq!(
        forecast.hours.last().map(|hour| (hour.dew_point, hour.wind_10m, hour.cloud_cover)),
        Some((None, None, None))
    );
    Ok(())
}

#[test]
fn each_nights_minimum_is_kept_with_its_interval() -> Result<(), FeedFault> {
    let minima = of(GOOD)?.minima;
    let first =
        IntervalMinimum { from: utc("2026-01-16T00:00:00Z"), to: utc("2026-01-16T14:00:00Z"), low: Celsius(-5.6) };
    assert_eq!((minima.len(), minima[0]), (2, first));
    Ok(())
}

#[test]
fn an_unknown_unit_in_any_layer_is_a_fault_and_never_a_guess() {
    let kelvin = of(include_str!("../../../../tests/feeds/nws_in_kelvin.json"));
    assert_eq!(kelvin, Err(FeedFault::UnknownUnit { quantity: "air temperature", unit: "wmoUnit:K".into() }));
    let knots = of(&GOOD.replace("wmoUnit:km_h-1", "wmoUnit:kt"));
    assert_eq!(knots, Err(FeedFault::UnknownUnit { quantity: "wind", unit: "wmoUnit:kt".into() }));
    let nothing = of(&GOOD.replace(r#""uom": "wmoUnit:percent","#, ""));
    assert_eq!(nothing, Err(FeedFault::UnknownUnit { quantity: "relative humidity", unit: "none given".into() }));
    assert!(matches!(
        of(&GOOD.replace("wmoUnit:m\"", "wmoUnit:ft\"")),
        Err(FeedFault::UnknownUnit { quantity: "elevation", .. })
    ));
}

#[test]
fn the_spelling_of_units_of_2019_gives_the_same_forecast() {
    assert_eq!(of(&GOOD.replace("wmoUnit:", "unit:")), of(GOOD));
}

#[test]
fn what_the_night_lacks_stays_missing() -> Result<(), FeedFault> {
    let night = (utc("2026-01-16T00:00:00Z"), utc("2026-01-16T13:00:00Z"));
    assert_eq!(of(GOOD)?.between(night.0, night.1).len(), 14);
    let nulls = of(include_str!("../../../../tests/feeds/nws_nulls_in_the_night.json"))?;
    assert_eq!(nulls.between(night.0, night.1).len(), 7);
    let hole = of(include_str!("../../../../tests/feeds/nws_hole_of_three_hours.json"))?;
    assert_eq!(hole.between(night.0, night.1).len(), 11);
    assert!(hole.between(utc("2026-01-16T02:00:00Z"), utc("2026-01-16T04:00:00Z")).is_empty());
    Ok(())
}

#[test]
fn an_old_document_says_how_old_it_is() -> Result<(), FeedFault> {
    let old = of(include_str!("../../../../tests/feeds/nws_issued_forty_hours_ago.json"))?;
    assert_eq!(old.age(utc("2026-01-15T21:00:00Z")), Duration::hours(40));
    assert!(matches!(of(&GOOD.replace("updateTime", "update")), Err(FeedFault::NotTheFormat { .. })));
    Ok(())
}

#[test]
fn values_in_the_thousands_are_not_believed() {
    let thousands = of(include_str!("../../../../tests/feeds/nws_thousands.json"));
    assert_eq!(thousands, Err(FeedFault::Implausible { values: 4, example: 4000.0 }));
}

#[test]
fn a_document_that_breaks_off_says_so() {
    let Err(fault) = of(include_str!("../../../../tests/feeds/nws_truncated.json")) else { panic!("accepted") };
    assert!(fault.to_string().contains("breaks off"), "{fault}");
}

#[test]
fn where_runs_overlap_the_lower_value_stands() -> Result<(), FeedFault> {
    let twice = GOOD.replace("16T07:00:00+00:00/PT2H\", \"value\": -4.4", "16T05:00:00+00:00/PT4H\", \"value\": -3.5");
    let hours = of(&twice)?.between(utc("2026-01-16T05:00:00Z"), utc("2026-01-16T08:00:00Z")).to_vec();
    let read: Vec<f64> = hours.iter().map(|hour| hour.air_temperature.0).collect();
    assert_eq!(read, [-3.5, -3.9, -3.5, -3.5]);
    Ok(())
}

/// The lengths that occur in a recorded document of the service, and some that must not pass.
#[test]
fn lengths_are_days_hours_and_minutes_and_nothing_else() {
    for (text, minutes) in [
        ("PT1H", 60),
        ("PT17H", 1020),
        ("P1D", 1440),
        ("P1DT3H", 1620),
        ("P2DT6H", 3240),
        ("P6DT15H", 9540),
        ("PT30M", 30),
        ("PT1H30M", 90),
        ("PT0H", 0),
    ] {
        assert_eq!(length_of(text), Some(Duration::minutes(minutes)), "{text}");
    }
    for text in [
        "", "P", "PT", "P1", "PT1", "P1M", "P1Y", "P1W", "P1MT1H", "PT1S", "P-1D", "P1.5D", "PT1H1H", "PT1M1H", "P1DT",
        "1H", "pt1h", "P+1D", "PTH", "P999999D", "P 1D", "P1D3H",
    ] {
        assert_eq!(length_of(text), None, "{text:?} was taken for a length");
    }
}

#[test]
fn a_run_covers_the_whole_hours_within_it() -> Result<(), FeedFault> {
    let shifted = GOOD.replace("16T07:00:00+00:00/PT2H", "16T06:30:00+00:00/PT1H30M");
    let without_eight: Vec<_> = of(&GOOD.replace("16T07:00:00+00:00/PT2H", "16T07:00:00+00:00/PT1H"))?.hours;
    assert_eq!(of(&shifted)?.hours, without_eight);
    Ok(())
}

#[test]
fn a_run_of_years_does_not_fill_the_memory() {
    let years = GOOD.replace("16T07:00:00+00:00/PT2H", "16T07:00:00+00:00/P99999D");
    assert!(matches!(of(&years), Err(FeedFault::NotTheFormat { .. })));
}

proptest! {
    /// Runs made at random, some without a value, some hours in no run: exactly the hours with a value come out.
    #[test]
    fn no_hour_is_made_up(runs in prop::collection::vec((0i64..4, 1i64..30, prop::option::weighted(0.7, -20.0f64..20.0)), 1..20)) {
        let start = utc("2026-01-15T20:00:00Z");
        let (mut at, mut values, mut stated) = (start, Vec::new(), BTreeSet::new());
        for (gap, length, value) in runs {
            at += Duration::hours(gap);
            values.push(json!({"validTime": format!("{}/P{}DT{}H", at.to_rfc3339(), length / 24, length % 24), "value": value}));
            if value.is_some() {
                stated.extend((0..length).map(|hour| at + Duration::hours(hour)));
            }
            at += Duration::hours(length);
        }
        let mut document: Value = serde_json::from_str(GOOD)?;
        document["properties"]["temperature"]["values"] = Value::Array(values);
        match of(&document.to_string()) {
            Ok(forecast) => prop_assert_eq!(forecast.hours.iter().map(|hour| hour.time).collect::<BTreeSet<_>>(), stated),
            Err(fault) => {
                prop_assert_eq!(fault, FeedFault::Empty);
                prop_assert!(stated.is_empty());
            }
        }
    }
}
