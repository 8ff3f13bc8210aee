use super::*;
use crate::units::Celsius;

fn of(text: &str) -> Result<Forecast, FeedFault> {
    decode(text.as_bytes(), DateTime::UNIX_EPOCH)
}

fn fault(text: &str) -> String {
    match of(text) {
        Ok(_) => panic!("accepted: {text:?}"),
        Err(fault) => fault.to_string(),
    }
}

#[test]
fn a_whole_table_is_read() -> Result<(), FeedFault> {
    let forecast = of(include_str!("../../../../tests/feeds/table_frost_night.csv"))?;
    assert_eq!((forecast.hours.len(), forecast.issued), (24, None));
    assert_eq!(forecast.hours[8].air_temperature, Celsius(-2.8));
    assert_eq!(forecast.hours[23].dew_point, None);
    Ok(())
}

#[test]
fn columns_may_stand_in_any_order_and_times_may_carry_an_offset() -> Result<(), FeedFault> {
    let forecast = of(
        "\u{feff}\r\ntemp_c , wind_ms,utc_time\r\n-1.5, 2 ,2026-01-16T05:00:00Z\r\n\r\n,1,2026-01-16 06:00\r\n-2,,2026-01-16T02:00:00-05:00\r\n",
    )?;
    let read: Vec<_> = forecast.hours.iter().map(|hour| (hour.time.to_rfc3339(), hour.air_temperature.0)).collect();
    assert_eq!(read, [("2026-01-16T05:00:00+00:00".into(), -1.5), ("2026-01-16T07:00:00+00:00".into(), -2.0)]);
    Ok(())
}

#[test]
fn each_fault_is_named_with_its_line() {
    let table = |lines: &str| format!("utc_time,temp_c,wind_ms\n2026-01-16 05:00,1,1\n{lines}\n");
    for (text, expected) in [
        (table("2026-01-16 06:00,cold,1"), "line 3: \"cold\" is not a number"),
        (table("2026-01-16 06:00,inf,1"), "line 3: \"inf\" is not a number"),
        (table("2026-01-16 06:00,28F,1"), "line 3: \"28F\" is not a number"),
        (table("16.01.2026 06:00,1,1"), "line 3: \"16.01.2026 06:00\" is not a UTC time"),
        (table("2026-01-16 06:00,1"), "line 3: 2 fields for 3 columns"),
        (table("\n2026-01-16 04:00,1,1"), "line 4: earlier than the line before"),
        (table("2026-01-16 05:00,0,1"), "line 3: the same time twice"),
        ("utc_time,temp_f\n".into(), "unknown column \"temp_f\""),
        ("utc_time,wind_ms\n".into(), "no column temp_c"),
        ("utc_time,temp_c,temp_c\n".into(), "column \"temp_c\" twice"),
    ] {
        let fault = fault(&text);
        assert!(fault.contains(expected), "{fault}");
    }
    let nan = fault(include_str!("../../../../tests/feeds/table_with_nan.csv"));
    assert!(nan.contains("line 10: \"NaN\" is not a number"), "{nan}");
}

#[test]
fn a_table_without_rows_or_without_anything_is_empty() {
    assert_eq!(of("utc_time,temp_c\n"), Err(FeedFault::Empty));
    assert_eq!(of("utc_time,temp_c\n2026-01-16 05:00,\n"), Err(FeedFault::Empty));
    assert_eq!(of("\n\n"), Err(FeedFault::Empty));
}
