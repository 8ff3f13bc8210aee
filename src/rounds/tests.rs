use super::*;
use chrono::{Datelike, NaiveDate, NaiveDateTime, Timelike};
use chrono_tz::Tz;

fn zone(name: &str) -> Zone {
    name.parse::<Tz>().ok().and_then(Zone::bundled).unwrap_or_else(|| panic!("no zone {name}"))
}

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap_or_else(|_| panic!("bad time {text}"))
}

fn schedule(text: &str) -> Schedule {
    parse_schedule(text).unwrap_or_else(|fault| panic!("{text}: {fault}"))
}

fn site(latitude: f64, longitude: f64) -> Site {
    Site { latitude, longitude, elevation: 10.0 }
}

const NEW_YORK: (&str, f64, f64) = ("America/New_York", 40.7, -74.0);
const TROMSO: (&str, f64, f64) = ("Europe/Oslo", 69.65, 18.96);

/// What a daily schedule does where clocks change: the firings after an instant, in local time. Changes of 2026 and the
/// day that Samoa left out as published in the IANA time-zone database.
#[test]
fn a_daily_schedule_fires_once_in_a_gap_in_a_missing_day_and_in_an_overlap() {
    for (case, at, name, after, expected) in [
        (
            "the hour that spring leaves out",
            "02:30",
            "America/New_York",
            "2026-03-07T12:00:00Z",
            ["2026-03-08T03:00:00-04:00", "2026-03-09T02:30:00-04:00"],
        ),
        (
            "a midnight that is left out",
            "00:00",
            "America/Havana",
            "2026-03-07T12:00:00Z",
            ["2026-03-08T01:00:00-04:00", "2026-03-09T00:00:00-04:00"],
        ),
        (
            "half an hour that is left out",
            "02:15",
            "Australia/Lord_Howe",
            "2026-10-03T12:00:00Z",
            ["2026-10-04T02:30:00+11:00", "2026-10-05T02:15:00+11:00"],
        ),
        (
            "a day that is left out",
            "12:00",
            "Pacific/Apia",
            "2011-12-29T23:00:00Z",
            ["2011-12-31T00:00:00+14:00", "2011-12-31T12:00:00+14:00"],
        ),
        (
            "an hour that autumn repeats",
            "01:30",
            "America/New_York",
            "2026-10-31T12:00:00Z",
            ["2026-11-01T01:30:00-04:00", "2026-11-02T01:30:00-05:00"],
        ),
        (
            "within the repeated hour, its first half long past",
            "01:45",
            "America/New_York",
            "2026-11-01T06:30:00Z",
            ["2026-11-02T01:45:00-05:00", "2026-11-03T01:45:00-05:00"],
        ),
    ] {
        let (schedule, zone) = (schedule(at), zone(name));
        let mut last = utc(after);
        for expected in expected {
            last = next_firing(&schedule, &zone, last).expect("it fires");
            assert_eq!(zone.local(last).to_rfc3339(), expected, "{case}");
        }
    }
}

/// Zones with every kind of rule: none, north, south, half hours, odd offsets, two hours (Troll), changes at midnight,
/// summer time that pauses for Ramadan.
const ZONES: [&str; 30] = [
    "UTC",
    "America/New_York",
    "America/Los_Angeles",
    "America/Havana",
    "America/St_Johns",
    "America/Asuncion",
    "America/Santiago",
    "America/Nuuk",
    "America/Phoenix",
    "Atlantic/Azores",
    "Europe/London",
    "Europe/Dublin",
    "Europe/Oslo",
    "Europe/Chisinau",
    "Africa/Cairo",
    "Africa/Casablanca",
    "Asia/Beirut",
    "Asia/Gaza",
    "Asia/Jerusalem",
    "Asia/Kathmandu",
    "Asia/Kolkata",
    "Australia/Adelaide",
    "Australia/Lord_Howe",
    "Australia/Sydney",
    "Antarctica/Troll",
    "Pacific/Auckland",
    "Pacific/Chatham",
    "Pacific/Easter",
    "Pacific/Kiritimati",
    "Pacific/Norfolk",
];

/// 800 days from January 2026, thinned out: of each zone the days on which its clock changes and the days beside them,
/// and one more a month.
#[test]
fn looped_firings_move_on_and_come_once_on_every_local_day() {
    let start = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");
    let schedules = ["00:00", "02:30", "06:30"].map(schedule);
    for name in ZONES {
        let zone = zone(name);
        let noon = |day: NaiveDate| zone.instant(day.and_hms_opt(12, 0, 0).expect("noon"));
        let offset = |day: NaiveDate| zone.local(noon(day)).offset().local_minus_utc();
        for day in start.iter_days().take(800) {
            let changes = (-1..=1).any(|by| offset(day + Duration::days(by)) != offset(day + Duration::days(by + 1)));
            if !changes && day.ordinal0() % 31 != 0 {
                continue;
            }
            for schedule in &schedules {
                let last = next_firing(schedule, &zone, noon(day)).expect("it fires");
                let next = next_firing(schedule, &zone, last).expect("it fires");
                let date = |instant| zone.local(instant).date_naive();
                assert_eq!((date(last), date(next)), (day + Duration::days(1), day + Duration::days(2)), "{name}");
                let apart = next - last;
                assert!((22..=26).contains(&apart.num_hours()), "{name}: {} to {}", zone.local(last), zone.local(next));
            }
        }
    }
}

fn timetable() -> Timetable {
    Timetable { morning: schedule("06:30"), afternoon: schedule("14:00"), all_quiet: AllQuiet::Weekly }
}

/// The rounds of some days, each asked for with the instant of the one before.
fn rounds((name, latitude, longitude): (&str, f64, f64), from: &str, days: i64) -> Vec<Round> {
    let (timetable, site, zone) = (timetable(), site(latitude, longitude), zone(name));
    let (mut now, end) = (utc(from), utc(from) + Duration::days(days));
    let mut rounds = Vec::new();
    loop {
        let round = next_round(&timetable, &site, &zone, now).expect("there is always a next round");
        assert!(round.due > now, "{name}: {round:?} is not after {now}");
        if round.due > end {
            return rounds;
        }
        now = round.due;
        rounds.push(round);
    }
}

#[test]
fn four_rounds_a_day_each_once_also_in_the_polar_night_and_in_the_polar_day() {
    for (case, place, from, days) in [
        ("a New York winter", NEW_YORK, "2027-01-02T17:00:00Z", 10),
        ("a New York spring with its change of clocks", NEW_YORK, "2027-03-12T17:00:00Z", 4),
        ("a New York autumn with its change of clocks", NEW_YORK, "2026-10-30T16:00:00Z", 4),
        ("into the polar night", TROMSO, "2026-11-22T12:00:00Z", 8),
        ("out of the polar night", TROMSO, "2027-01-10T12:00:00Z", 8),
        ("into the polar day", TROMSO, "2027-05-14T11:00:00Z", 8),
        ("out of the polar day", TROMSO, "2027-07-22T11:00:00Z", 8),
    ] {
        let rounds = rounds(place, from, days);
        for kind in RoundKind::ALL {
            let nights: Vec<NightOf> =
                rounds.iter().filter(|round| round.kind == *kind).map(|round| round.night).collect();
            let count = i64::try_from(nights.len()).expect("few");
            assert!((days - 1..=days + 1).contains(&count), "{case}: {count} rounds of {}", kind.word());
            let follow = nights.windows(2).all(|pair| pair[1] == NightOf(pair[0].morning()));
            assert!(follow, "{case}: {} rounds skip or repeat a night", kind.word());
        }
    }
}

/// Sun of New York on 16 and 17 January 2027: sets about 16:54, rises about 7:17 (US Naval Observatory's tables, from
/// memory to a few minutes).
#[test]
fn the_rounds_of_a_winter_day_follow_clock_and_sun() {
    let zone = zone(NEW_YORK.0);
    let found: Vec<_> = rounds(NEW_YORK, "2027-01-16T10:00:00Z", 1)
        .into_iter()
        .map(|round| {
            let local = zone.local(round.due);
            (round.kind, local.hour(), round.night.to_string())
        })
        .collect();
    let (last, tonight) = ("2027-01-15".to_string(), "2027-01-16".to_string());
    let expected = [
        (RoundKind::Morning, 6, tonight.clone()),
        (RoundKind::Uncover, 8, last),
        (RoundKind::Afternoon, 14, tonight.clone()),
        (RoundKind::Dusk, 18, tonight),
    ];
    assert_eq!(found, expected);
}

#[test]
fn where_the_sun_does_not_set_or_rise_the_clocks_night_is_used() {
    let (site, zone) = (site(TROMSO.1, TROMSO.2), zone(TROMSO.0));
    for date in ["2026-12-15", "2027-06-15"] {
        let night = NightOf(date.parse().expect("a date"));
        let (sunset, sunrise) = night_hours(&site, &zone, night);
        let wall = |instant| zone.local(instant).naive_local();
        let at = |date: NaiveDate, hour| date.and_hms_opt(hour, 0, 0).expect("an hour");
        let expected: (NaiveDateTime, NaiveDateTime) = (at(night.0, 18), at(night.morning(), 6));
        assert_eq!((wall(sunset), wall(sunrise)), expected, "{date}");
    }
}

#[test]
fn two_hours_before_sunrise_people_ask_of_the_next_night() {
    let (site, zone) = (site(NEW_YORK.1, NEW_YORK.2), zone(NEW_YORK.0));
    let last = NightOf(NaiveDate::from_ymd_opt(2027, 1, 16).expect("a date"));
    let (_, sunrise) = night_hours(&site, &zone, last);
    let next = NightOf(last.morning());
    for (minutes_before_sunrise, expected) in [
        (12 * 60, last),
        // Midnight is not where a night ends.
        (7 * 60, last),
        (121, last),
        (119, next),
        (0, next),
        (-60, next),
        (-8 * 60, next),
    ] {
        let now = sunrise - Duration::minutes(minutes_before_sunrise);
        assert_eq!(night_at(&site, &zone, now), expected, "{minutes_before_sunrise} minutes before sunrise");
    }
}

#[test]
fn lines_that_give_a_timetable() {
    let zone = zone("UTC");
    for (line, after, expected) in [
        ("06:30", "2027-01-16T00:00:00Z", "2027-01-16T06:30:00Z"),
        ("6:30", "2027-01-16T00:00:00Z", "2027-01-16T06:30:00Z"),
        ("00:00", "2027-01-16T00:00:00Z", "2027-01-17T00:00:00Z"),
        ("0 30 6 * * *", "2027-01-16T00:00:00Z", "2027-01-16T06:30:00Z"),
        ("0 30 6 * * ? *", "2027-01-16T00:00:00Z", "2027-01-16T06:30:00Z"),
        // 16 January 2027 is a Saturday.
        ("0 30 6 * * Mon-Fri", "2027-01-16T00:00:00Z", "2027-01-18T06:30:00Z"),
        ("0 30 6 * * Tue", "2027-01-16T00:00:00Z", "2027-01-19T06:30:00Z"),
    ] {
        let next = next_firing(&schedule(line), &zone, utc(after)).expect("it fires");
        assert_eq!(next, utc(expected), "{line}");
    }
}

#[test]
fn rounds_that_come_within_an_hour_of_each_other_on_any_day_collide() {
    for (one, other, expected) in [
        ("06:30", "06:30", true),
        ("06:30", "0 30 6 * * Sat", true),
        ("0 0 13 * * Sun", "13:30", true),
        // Spring can bring them together.
        ("02:15", "03:15", true),
        ("23:45", "00:15", true),
        ("06:30", "13:00", false),
        ("0 30 6 * * Mon-Fri", "0 30 6 * * Sat,Sun", false),
    ] {
        assert_eq!(collide(&schedule(one), &schedule(other)), expected, "{one} {other}");
        assert_eq!(collide(&schedule(other), &schedule(one)), expected, "{other} {one}");
    }
}

/// What is wrong, and a part of how to mend it.
#[test]
fn lines_that_give_none_say_how_to_mend_them() {
    for (line, what, mend) in [
        ("30 6 * * *", "five", "seconds come first: write \"0 30 6 * * *\""),
        ("0 30 6 * * 1-5", "weekday is a number", "Mon-Fri"),
        ("0 30 6 * * 0", "weekday is a number", "Mon-Fri"),
        ("0 30 6 13 * Fri", "day of the month and a weekday", "leave the other *"),
        ("0 30 6 31 Feb *", "never comes", "31 February"),
        ("0 30 6 * * * 2020", "never comes", "check day and month"),
        ("0 30 6 * Jun *", "more than a week", "leave day, month and year *"),
        ("0 30 6 * Jan-Nov *", "more than a week", "leave day, month and year *"),
        ("0 30 6 1 * *", "more than a week", "leave day, month and year *"),
        ("0 30 6 29 Feb *", "more than a week", "leave day, month and year *"),
        ("0 30 6 * * ? 2028", "more than a week", "leave day, month and year *"),
        ("0 30 6 * * * 2028-2099", "more than a week", "leave day, month and year *"),
        ("0 * * * * *", "every quarter of an hour", "a round or two a day"),
        ("* * * * * *", "every quarter of an hour", "a round or two a day"),
        ("25:00", "neither a time nor", "like \"06:30\""),
        ("06:60", "neither a time nor", "like \"06:30\""),
        ("6.30", "neither a time nor", "like \"06:30\""),
        ("", "neither a time nor", "like \"06:30\""),
        ("@daily", "neither a time nor", "like \"06:30\""),
        ("0 30 25 * * *", "cannot be read", "numbers, names like Mon"),
        ("0 30 6 L * *", "cannot be read", "numbers, names like Mon"),
        ("0 30 6 * * monday-sun", "cannot be read", "numbers, names like Mon"),
    ] {
        let Err(fault) = parse_schedule(line) else { panic!("{line:?} was taken") };
        assert!(fault.what.contains(what), "{line:?}: {fault}");
        assert!(fault.mend.contains(mend), "{line:?}: {fault}");
    }
}

/// A round is written down to the second. Read back, it must lie behind: else the same round would seem due again, at
/// every look until the next one.
#[test]
fn a_round_that_was_written_down_is_not_found_again() {
    for (name, latitude, longitude) in [NEW_YORK, TROMSO] {
        let timetable =
            Timetable { morning: schedule("06:30"), afternoon: schedule("13:00"), all_quiet: AllQuiet::Weekly };
        let mut after = utc("2026-01-01T00:00:00Z");
        for _ in 0..1460 {
            let Some(round) = next_round(&timetable, &site(latitude, longitude), &zone(name), after) else { break };
            let read_back = DateTime::from_timestamp(round.due.timestamp(), 0);
            assert_eq!(read_back, Some(round.due), "{name}: {round:?}");
            after = round.due;
        }
        assert!(after > utc("2026-12-01T00:00:00Z"), "{name}: {after}");
    }
}
