use super::header::column;
use super::*;

fn now() -> DateTime<Utc> {
    "2027-02-01T00:00:00Z".parse().expect("an instant")
}

fn new_york() -> LogClock {
    LogClock::Zone(Zone::bundled(chrono_tz::America::New_York).expect("rules"))
}

fn all(text: &str, clock: Option<LogClock>) -> Vec<Next> {
    let open_end = (!text.ends_with('\n')).then_some(text.len() as u64);
    let mut log = Log::new(text.as_bytes(), &[], clock, open_end, now()).expect("a log");
    std::iter::from_fn(|| Some(log.next_row()).filter(|next| *next != Next::End)).collect()
}

fn row(line: u64, at: &str, values: &[f64]) -> Next {
    let values = values.iter().map(|value| Some(Celsius(*value))).collect();
    Next::Row(LogRow { line, at: at.parse().expect("an instant"), values })
}

#[test]
fn a_header_says_what_and_on_which_scale() {
    let column = |name: &str| column(name).map(|column| (column.medium, column.sampled.word(), column.scale.letter()));
    for (name, expected) in [
        ("air_c", (Medium::Air, "instant", 'C')),
        ("Air Temperature (°F)", (Medium::Air, "instant", 'F')),
        ("soil_f", (Medium::Soil, "instant", 'F')),
        ("min_c", (Medium::Air, "minimum", 'C')),
        ("max_fahrenheit", (Medium::Air, "maximum", 'F')),
        ("under_cover_c", (Medium::UnderCover, "instant", 'C')),
    ] {
        assert_eq!(column(name), Ok(expected), "{name}");
    }
    for (names, why) in [
        (&["time_utc", "temperature"][..], "column \"temperature\" does not say whether it is in C or F"),
        (&["time_utc", "battery_v"], "nobody knows what column \"battery_v\" is"),
        (&["air_c"], "it has no column time_utc or time_local"),
        (&["time_utc"], "it has no column of temperatures"),
        (&["time_utc", "time_local", "air_c"], "\"time_local\" is a second column of times"),
        (&["time_utc;air_c"], "its columns are separated by semicolons; save it with commas"),
        (&["time_utc\tair_c"], "its columns are separated by tabs; save it with commas"),
        (
            &["time_utc", "air_c", ""],
            "its column 3 has no name; name it like air_c, or leave it out with --ignore \"\"",
        ),
        (&["time_utc", "air_c", "air_f"], "\"air_c\" and \"air_f\" are temperatures of the same thing"),
    ] {
        assert!(Header::read(names, &[]).is_err_and(|what| what.starts_with(why)), "{names:?}");
    }
    assert!(Header::read(&["time_utc", "air_c", "battery_v"], &["battery_v".into()]).is_ok());
}

#[test]
fn local_times_are_placed_by_their_zone_and_the_order_of_the_rows() {
    let rows = all(
        "time_local,air_f\n2026-11-01 00:50,32\n2026-11-01 01:50,32\n2026-11-01 01:10,32\n2026-11-01 02:10,32\n",
        Some(new_york()),
    );
    let at = ["2026-11-01T04:50:00Z", "2026-11-01T05:50:00Z", "2026-11-01T06:10:00Z", "2026-11-01T07:10:00Z"];
    let expected: Vec<Next> = (2..).zip(at).map(|(line, at)| row(line, at, &[0.0])).collect();
    assert_eq!(rows, expected);
    let fixed = LogClock::Fixed("-05:00".parse().expect("an offset"));
    let rows = all("time_local,air_c\n2026-03-08 02:30,1.5\n", Some(fixed));
    assert_eq!(rows, [row(2, "2026-03-08T07:30:00Z", &[1.5])]);
    let text = "time_local,air_c\n2026-03-08 02:30,1.5\n";
    assert!(
        Log::new(text.as_bytes(), &[], None, None, now()).is_err_and(|what| what.starts_with("its times are local"))
    );
}

#[test]
fn a_repeated_row_in_the_hour_that_comes_twice_is_no_turn_of_the_clock() {
    let at = |rows: &[Next]| -> Vec<String> {
        let at = |next: &Next| match next {
            Next::Row(row) => row.at.format("%H:%M").to_string(),
            Next::Repeated { .. } => "again".into(),
            other => panic!("{other:?}"),
        };
        rows.iter().map(at).collect()
    };
    let rows = |times: &[(&str, &str)]| {
        let lines: String = times.iter().map(|(time, value)| format!("2026-11-01 {time},{value}\n")).collect();
        at(&all(&format!("time_local,air_c\n{lines}"), Some(new_york())))
    };
    let ten_minutes =
        [("01:10", "1.0"), ("01:20", "1.0"), ("01:20", "1.0"), ("01:50", "1.3"), ("01:10", "1.5"), ("01:10", "1.5")];
    assert_eq!(rows(&ten_minutes), ["05:10", "05:20", "again", "05:50", "06:10", "again"]);
    // A row an hour: the clock shows one time twice, with two temperatures.
    assert_eq!(
        rows(&[("00:30", "1.0"), ("01:30", "1.0"), ("01:30", "0.9"), ("02:30", "0.9")]),
        ["04:30", "05:30", "06:30", "07:30"]
    );
}

#[test]
fn each_bad_row_is_named_and_the_next_is_read() {
    let good = "2027-01-16 05:00,-1.25\n";
    for (bad, why) in [
        ("2027-01-16 06:00,85.0", "air_c 85.0: a digital sensor says 85 C (185 F) before it has measured anything"),
        ("2027-01-16 06:00,-127", "air_c -127: a digital sensor says -127 C (-196.6 F) when it is not connected"),
        ("2027-01-16 06:00,68.5", "air_c 68.5 is no temperature of a garden in C; is the column in F?"),
        ("2027-01-16 06:00,999", "air_c 999 is no temperature of a garden in C"),
        ("2027-01-16 06:00,NaN", "air_c NaN is no temperature of a garden in C"),
        ("2027-01-16 06:00,-1;2", "air_c \"-1;2\" is not a number; leave it blank if it is missing"),
        ("2027-01-16 05:00,-1.50", "the same time as line 2, and another temperature"),
        ("2027-01-16 04:00,-1.50", "earlier than line 2; sort the file by its times"),
        ("2027-03-16 06:00,-1.50", "2027-03-16 06:00 UTC has not come yet"),
        ("16/01/2027 06:00,-1.50", "\"16/01/2027 06:00\" may be day before month or month before day; write it like"),
        ("noon,-1.50", "\"noon\" is no time such as 2027-01-16 06:10"),
        ("2027-01-16 06:00", "1 fields for 2 columns"),
    ] {
        let rows = all(&format!("time_utc,air_c\n{good}{bad}\n2027-01-16 07:00,-2.00\n"), None);
        let expected = Next::Fault(RowFault { line: 3, what: why.into() });
        assert_eq!(rows.first(), Some(&row(2, "2027-01-16T05:00:00Z", &[-1.25])), "{bad}");
        match &rows[1] {
            Next::Fault(fault) => {
                assert!(fault.line == 3 && fault.what.starts_with(why), "{bad}: {fault:?}, {expected:?}")
            }
            other => panic!("{bad}: {other:?}"),
        }
        assert_eq!(rows.get(2), Some(&row(4, "2027-01-16T07:00:00Z", &[-2.0])), "{bad}");
    }
    let rows = all(&format!("time_utc,air_c\n{good}{good}"), None);
    assert_eq!(rows[1], Next::Repeated { line: 3 });
}

#[test]
fn a_bad_temperature_takes_no_sound_one_of_its_row_with_it() {
    let rows = all("time_utc,air_c,soil_c\n2027-01-16 05:00,-5,85\n2027-01-16 06:00,99,85\n", None);
    let Next::Part(row, fault) = &rows[0] else { panic!("{rows:?}") };
    assert_eq!((row.line, row.values.as_slice()), (2, &[Some(Celsius(-5.0)), None][..]));
    assert!(fault.line == 2 && fault.what.starts_with("soil_c 85: a digital sensor"), "{fault:?}");
    assert!(fault.what.ends_with("; the rest of the row is sound"), "{fault:?}");
    assert!(
        matches!(&rows[1], Next::Fault(fault) if fault.what.contains("air_c 99") && fault.what.contains("soil_c 85"))
    );
}

#[test]
fn a_bad_row_is_named_by_the_line_it_stands_on() {
    let text = "time_utc,air_c\n2027-01-16 05:00,-1.25\n\n2027-01-16 06:00,85.0\n2027-01-16 07:00,-1.25\n";
    for text in [text.to_string(), text.replace('\n', "\r\n")] {
        let rows = all(&text, None);
        assert!(matches!(&rows[1], Next::Fault(fault) if fault.line == 4), "{rows:?}");
        assert_eq!(rows[2], row(5, "2027-01-16T07:00:00Z", &[-1.25]));
    }
}

#[test]
fn half_a_file_is_noticed_at_its_last_line_and_a_whole_one_is_not() {
    let start = "time_utc,air_c\n2027-01-16 05:00,-1.25\n";
    for cut in [
        "2027-01-16 06:00,-1.2",
        "2027-01-16 06:00,-1",
        "2027-01-16 06:00,-",
        "2027-01-16 06:00",
        "2027-01-16 06:00,-1.",
    ] {
        let rows = all(&format!("{start}{cut}"), None);
        assert!(matches!(&rows[1], Next::Fault(fault) if fault.line == 3), "{cut}: {rows:?}");
    }
    assert_eq!(all(&format!("{start}2027-01-16 06:00,-1.50"), None)[1], row(3, "2027-01-16T06:00:00Z", &[-1.5]));
}
