use super::*;

const GOOD: &str = include_str!("../../../../tests/feeds/met_norway_frost_night.json");

fn utc(text: &str) -> DateTime<Utc> {
    let Ok(time) = DateTime::parse_from_rfc3339(text) else { panic!("bad time {text}") };
    time.to_utc()
}

fn of(text: &str) -> Result<Forecast, FeedFault> {
    decode(text.as_bytes(), utc("2026-01-15T20:07:00Z"))
}

#[test]
fn steps_are_read_with_their_units() -> Result<(), FeedFault> {
    let forecast = of(GOOD)?;
    assert_eq!((forecast.hours.len(), forecast.implausible_hours), (15, 0));
    assert_eq!(forecast.issued, Some(utc("2026-01-15T18:51:07Z")));
    assert_eq!(forecast.cell_elevation, Some(655.0));
    let first = forecast.hours[0];
    assert_eq!((first.air_temperature, first.dew_point), (Celsius(3.9), Some(Celsius(-4.5))));
    assert_eq!((first.wind_10m.map(|wind| wind.0), first.cloud_cover), (Some(2.0), Some(0.125)));
    Ok(())
}

#[test]
fn without_a_dew_point_the_humidity_gives_one() -> Result<(), FeedFault> {
    let compact = GOOD.replace("\"dew_point_temperature\":", "\"something_else\":");
    let hours = of(&compact)?.hours;
    assert!(hours.iter().all(|hour| hour.dew_point.is_some_and(|t_d| t_d.0 < hour.air_temperature.0)));
    Ok(())
}

#[test]
fn in_the_tail_the_low_between_two_steps_is_kept_where_it_is_given() -> Result<(), FeedFault> {
    let minima = of(GOOD)?.minima;
    let first =
        IntervalMinimum { from: utc("2026-01-16T06:00:00Z"), to: utc("2026-01-16T12:00:00Z"), low: Celsius(-5.9) };
    assert_eq!((minima.len(), minima[0]), (4, first));
    Ok(())
}

#[test]
fn a_document_recorded_under_data_is_the_same_document() {
    let wrapped = format!(r#"{{"status_code": "200", "headers": "{{}}", "data": {GOOD}}}"#);
    assert_eq!(of(&wrapped), of(GOOD));
}

#[test]
fn an_unknown_or_missing_unit_is_a_fault() {
    for (from, to, quantity) in [
        ("\"air_temperature\": \"celsius\"", "\"air_temperature\": \"K\"", "air temperature"),
        ("\"wind_speed\": \"m/s\"", "\"wind_speed\": \"knots\"", "wind"),
        ("\"relative_humidity\": \"%\",", "", "relative humidity"),
        ("\"cloud_area_fraction\": \"%\"", "\"cloud_area_fraction\": \"1\"", "cloud cover"),
        ("\"air_temperature_min\": \"celsius\"", "\"air_temperature_min\": \"F\"", "minimum temperature"),
    ] {
        assert!(GOOD.contains(from), "{from}");
        let Err(FeedFault::UnknownUnit { quantity: named, .. }) = of(&GOOD.replace(from, to)) else {
            panic!("{quantity} in another unit was accepted")
        };
        assert_eq!(named, quantity);
    }
}

#[test]
fn a_null_temperature_is_a_missing_hour_and_no_issue_time_a_fault() -> Result<(), FeedFault> {
    let null = GOOD.replace("\"air_temperature\": -3.0,", "\"air_temperature\": null,");
    let forecast = of(&null)?;
    assert_eq!(forecast.hours.len(), 14);
    assert!(forecast.hours.iter().all(|hour| hour.time != utc("2026-01-16T03:00:00Z")));
    assert!(matches!(of(&GOOD.replace("updated_at", "made")), Err(FeedFault::NotTheFormat { .. })));
    Ok(())
}
