use super::*;
use crate::journal::log::{Log, LogClock, Next};

const SITE: Site = Site { latitude: 36.0, longitude: -80.0, elevation: 250.0 };

fn zone() -> Zone {
    Zone::bundled(chrono_tz::America::New_York).expect("rules")
}

/// Invented days that are coldest about sunrise and warmest at three by the sun; `hours` shifts what the log says of
/// them.
fn rows(from: &str, days: i64, late_hours: impl Fn(DateTime<Utc>) -> i64) -> Vec<LogRow> {
    let start: DateTime<Utc> = from.parse().expect("an instant");
    let row = |step: i64| {
        let at = start + Duration::minutes(step * 10);
        let solar = (at + Duration::seconds(-80 * 240)).timestamp().rem_euclid(86_400) as f64 / 3600.0;
        let date = (at + Duration::seconds(-80 * 240)).date_naive();
        let (_, sunrise) = night_hours(&SITE, &zone(), NightOf(date - Duration::days(1)));
        let rise = (sunrise.timestamp() - 80 * 240).rem_euclid(86_400) as f64 / 3600.0;
        let share = if (rise..15.0).contains(&solar) {
            (solar - rise) / (15.0 - rise)
        } else {
            1.0 - (solar - 15.0).rem_euclid(24.0) / (24.0 - 15.0 + rise)
        };
        LogRow {
            line: 2 + step as u64,
            at: at + Duration::hours(late_hours(at)),
            values: vec![Some(Celsius(-3.0 + 9.0 * share))],
        }
    };
    (0..days * 144).map(row).collect()
}

fn column(sampled: Sampled, scale: Scale) -> Column {
    Column { name: "air".into(), medium: Medium::Air, sampled, scale }
}

fn doubts_of(rows: &[LogRow], scale: Scale, known: Vec<(DateTime<Utc>, Celsius)>) -> Vec<Doubt> {
    let mut watch = Watch::new(&column(Sampled::Instant, scale), &SITE, known);
    for row in rows {
        watch.look(row, row.values[0].expect("a value"));
    }
    watch.doubts(&SITE, &zone(), &BTreeMap::new())
}

#[test]
fn an_ordinary_log_raises_no_doubt_over_either_change_of_clock() {
    for from in ["2026-02-15T00:00:00Z", "2026-10-10T00:00:00Z"] {
        assert_eq!(doubts_of(&rows(from, 50, |_| 0), Scale::Celsius, vec![]), []);
    }
}

#[test]
fn a_wrong_zone_shows_in_the_coldest_and_the_warmest_hour() {
    for hours in [-5, -4, 4, 6] {
        let doubts = doubts_of(&rows("2026-12-01T00:00:00Z", 20, |_| hours), Scale::Celsius, vec![]);
        assert!(
            doubts
                .iter()
                .any(|doubt| matches!(doubt, Doubt::OffByHours { hours: found, .. } if (found - hours).abs() <= 1)),
            "{hours}: {doubts:?}"
        );
    }
}

/// Three weeks tell two hours, towards late alone.
#[test]
fn a_log_two_hours_late_shows_after_three_weeks() {
    let doubts =
        |days: i64, hours: i64| doubts_of(&rows("2026-12-01T00:00:00Z", days, |_| hours), Scale::Celsius, vec![]);
    assert!(matches!(doubts(30, 2).as_slice(), [Doubt::OffByHours { hours: 2, .. }]), "{:?}", doubts(30, 2));
    assert_eq!(doubts(15, 2), []);
    assert_eq!(doubts(30, -1), []);
}

/// A row or ten on the other scale, in the middle of a sound log.
#[test]
fn a_leap_to_the_other_scale_names_its_row() {
    for (wrong, count) in [(100..101, 2), (100..110, 2), (0..100, 1)] {
        let mut all = rows("2026-12-01T00:00:00Z", 6, |_| 0);
        for row in &mut all[wrong.clone()] {
            row.values = row.values.iter().map(|value| value.map(|value| Celsius(value.fahrenheit()))).collect();
        }
        let doubts = doubts_of(&all, Scale::Celsius, vec![]);
        let line = 102;
        assert!(
            matches!(doubts.as_slice(), [Doubt::Leaps { count: found, line: at, .. }] if *found == count && *at == line),
            "{wrong:?}: {doubts:?}"
        );
    }
}

/// Degrees Celsius in a column of Fahrenheit lie less far off, and nearest about freezing; some logs have a row an hour.
#[test]
fn celsius_under_fahrenheit_is_a_leap_at_any_step() {
    for step in [1, 3, 6] {
        let mut all: Vec<LogRow> = rows("2026-12-01T00:00:00Z", 8, |_| 0).into_iter().step_by(step).collect();
        assert_eq!(doubts_of(&all, Scale::Fahrenheit, vec![]), [], "sound, a row in {step}");
        let from = all.len() / 2;
        for row in &mut all[from..from + 4] {
            row.values = row.values.iter().map(|value| value.map(|value| Celsius::from_fahrenheit(value.0))).collect();
        }
        let line = all[from].line;
        let doubts = doubts_of(&all, Scale::Fahrenheit, vec![]);
        assert!(
            matches!(doubts.as_slice(), [Doubt::Leaps { count: 2, line: at, .. }] if *at == line),
            "a row in {step}: {doubts:?}"
        );
    }
}

/// In a new garden nothing is known to compare with, but January has no such nights.
#[test]
fn fahrenheit_under_the_name_of_celsius_is_asked_about_in_a_new_garden_in_winter() {
    let in_fahrenheit = |from: &str| -> Vec<LogRow> {
        let mut all = rows(from, 9, |_| 0);
        for row in &mut all {
            row.values = row.values.iter().map(|value| value.map(|value| Celsius(value.fahrenheit()))).collect();
        }
        all
    };
    let says = |doubts: &[Doubt]| doubts.iter().any(|doubt| matches!(doubt, Doubt::OtherScale { .. }));
    assert!(says(&doubts_of(&in_fahrenheit("2027-01-04T00:00:00Z"), Scale::Celsius, vec![])));
    assert!(!says(&doubts_of(&rows("2027-01-04T00:00:00Z", 9, |_| 0), Scale::Celsius, vec![])));
    let daily = |sampled, value: f64| {
        let mut watch = Watch::new(&column(sampled, Scale::Celsius), &SITE, vec![]);
        for row in rows("2027-01-04T12:00:00Z", 9, |_| 0).iter().step_by(144) {
            watch.look(row, Celsius(value));
        }
        says(&watch.doubts(&SITE, &zone(), &BTreeMap::new()))
    };
    assert!(daily(Sampled::Minimum { since: None }, 25.0) && !daily(Sampled::Minimum { since: None }, 16.0));
    assert!(daily(Sampled::Maximum { since: None }, 44.0) && !daily(Sampled::Maximum { since: None }, 26.0));
}

#[test]
fn a_clock_that_was_not_changed_with_the_zones_shows_on_that_day() {
    for (from, change, hours) in
        [("2026-02-15T00:00:00Z", "2026-03-08T07:00:00Z", -1), ("2026-10-10T00:00:00Z", "2026-11-01T06:00:00Z", 1)]
    {
        let change: DateTime<Utc> = change.parse().expect("an instant");
        let all = rows(from, 50, |at| if at >= change { hours } else { 0 });
        // Rows that fall behind one another by the shift are not what is tried here.
        let ordered: Vec<LogRow> =
            all.windows(2).filter(|pair| pair[0].at < pair[1].at).map(|pair| pair[0].clone()).collect();
        let doubts = doubts_of(&ordered, Scale::Celsius, vec![]);
        let found = |doubt: &Doubt| match doubt {
            Doubt::Jump { minutes, on } => {
                (minutes - hours * 60).abs() <= 20 && *on == zone().local(change).date_naive()
            }
            _ => false,
        };
        assert!(doubts.iter().any(found), "{from}: {doubts:?}");
    }
}

#[test]
fn a_logger_that_was_not_put_back_misses_an_hour() {
    let mut text = String::from("time_local,air_c\n");
    for step in 0..60 {
        // From 22:00 the evening before to 08:00, straight on.
        let minutes = 22 * 60 + step * 10;
        let day = if minutes < 24 * 60 { "2026-10-31" } else { "2026-11-01" };
        text.push_str(&format!("{day} {:02}:{:02},1.00\n", minutes / 60 % 24, minutes % 60));
    }
    let now = "2027-01-01T00:00:00Z".parse().expect("an instant");
    let mut log = Log::new(text.as_bytes(), &[], Some(LogClock::Zone(zone())), None, now).expect("a log");
    let mut watch = Watch::new(&column(Sampled::Instant, Scale::Celsius), &SITE, vec![]);
    loop {
        match log.next_row() {
            Next::End => break,
            Next::Row(row) => watch.look(&row, row.values[0].expect("a value")),
            other => panic!("{other:?}"),
        }
    }
    let on = NaiveDate::from_ymd_opt(2026, 11, 1).expect("a date");
    // 02:00 stands on line 26.
    assert_eq!(watch.doubts(&SITE, &zone(), &BTreeMap::new()), [Doubt::NotPutBack { line: 26, on }]);
}

#[test]
fn values_of_the_other_scale_are_asked_about() {
    let as_fahrenheit: Vec<LogRow> = rows("2026-12-01T00:00:00Z", 10, |_| 0)
        .into_iter()
        .map(|row| LogRow { values: vec![row.values[0].map(|value| Celsius(value.fahrenheit()))], ..row })
        .collect();
    let known: Vec<(DateTime<Utc>, Celsius)> = rows("2026-12-01T00:00:00Z", 10, |_| 0)
        .iter()
        .step_by(100)
        .map(|row| (row.at, row.values[0].expect("a value")))
        .collect();
    let asks = |doubts: Vec<Doubt>| doubts.iter().any(|doubt| matches!(doubt, Doubt::OtherScale { .. }));
    // F in a C column, beside readings; and the sound log beside the same.
    assert!(asks(doubts_of(&as_fahrenheit, Scale::Celsius, known.clone())));
    assert!(!asks(doubts_of(&rows("2026-12-01T00:00:00Z", 10, |_| 0), Scale::Celsius, known.clone())));
    // C in an F column: what was read as F is colder than anybody knows.
    let as_celsius: Vec<LogRow> = rows("2026-12-01T00:00:00Z", 10, |_| 0)
        .into_iter()
        .map(|row| LogRow { values: vec![row.values[0].map(|value| Celsius::from_fahrenheit(value.0))], ..row })
        .collect();
    assert!(asks(doubts_of(&as_celsius, Scale::Fahrenheit, known)));
    assert!(asks(doubts_of(&as_celsius, Scale::Fahrenheit, vec![])));
    // Nothing known, and lows of 26 C: in December by no means, in July they may be.
    assert!(asks(doubts_of(&as_fahrenheit, Scale::Celsius, vec![])));
    let half_a_year = |row: LogRow| LogRow { at: row.at + Duration::days(212), ..row };
    let of_july: Vec<LogRow> = as_fahrenheit.into_iter().map(half_a_year).collect();
    assert!(!asks(doubts_of(&of_july, Scale::Celsius, vec![])));
}

/// Ten days of a column with one value a day beside the lows of their nights.
#[test]
fn what_is_no_low_of_a_night_is_not_compared_with_lows() {
    let start: DateTime<Utc> = "2027-03-10T11:00:00Z".parse().expect("an instant");
    let asks = |column: Column, value: f64, low: f64| {
        let mut watch = Watch::new(&column, &SITE, vec![]);
        let mut lows = BTreeMap::new();
        for day in 0..10 {
            let at = start + Duration::days(day);
            watch.look(&LogRow { line: 2, at, values: vec![] }, Celsius(value));
            lows.insert(NightOf(at.date_naive() - Duration::days(1)), Celsius(low));
        }
        !watch.doubts(&SITE, &zone(), &lows).is_empty()
    };
    let (minimum, maximum) = (Sampled::Minimum { since: None }, Sampled::Maximum { since: None });
    // 25 C by day and -4 C by night: an ordinary spring, and 25 F is -4 C.
    assert!(!asks(column(maximum, Scale::Celsius), 25.0, -4.0));
    assert!(!asks(Column { medium: Medium::Soil, ..column(Sampled::Instant, Scale::Celsius) }, 25.0, -4.0));
    assert!(asks(column(minimum, Scale::Celsius), 25.0, -4.0));
    assert!(asks(column(Sampled::Instant, Scale::Celsius), 25.0, -4.0));
    // Hot days and cold nights of which nothing else is known.
    assert!(!asks(column(maximum, Scale::Celsius), 33.0, 22.0));
    assert!(!asks(column(minimum, Scale::Fahrenheit), -12.0, -11.0));
    assert!(asks(column(minimum, Scale::Celsius), 33.0, 22.0));
}

#[test]
fn holes_are_told_with_the_longest_and_ask_nothing() {
    let mut all = rows("2026-12-01T00:00:00Z", 3, |_| 0);
    all.drain(200..230);
    all.drain(20..26);
    let doubts = doubts_of(&all, Scale::Celsius, vec![]);
    let [Doubt::Gaps { count: 2, longest, line: 232, .. }] = doubts.as_slice() else { panic!("{doubts:?}") };
    assert_eq!(*longest, Duration::minutes(310));
    assert!(!doubts[0].asks());
}
