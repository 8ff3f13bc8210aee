use super::*;
use chrono_tz::Tz;
use proptest::prelude::*;

const SITE: Site = Site { latitude: 36.0, longitude: -80.0, elevation: 250.0 };

fn zone(name: Tz) -> Zone {
    Zone::bundled(name).expect("rules")
}

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

fn understood(text: &str, now: &str) -> Result<String, String> {
    let zone = zone(chrono_tz::America::New_York);
    let speaker = Speaker { zone: &zone, site: &SITE, now: utc(now) };
    speaker
        .moment(text)
        .map(|moment| moment.at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true))
        .map_err(|e| e.to_string())
}

#[test]
fn times_as_people_say_them() {
    // Saturday 16 January 2027, 13:00 EST.
    let now = "2027-01-16T18:00:00Z";
    for (text, expected) in [
        ("now", "2027-01-16T18:00:00Z"),
        ("06:10", "2027-01-16T11:10:00Z"),
        ("6:10", "2027-01-16T11:10:00Z"),
        ("6:10 am", "2027-01-16T11:10:00Z"),
        ("6:10AM", "2027-01-16T11:10:00Z"),
        ("12am", "2027-01-16T05:00:00Z"),
        ("22:10", "2027-01-16T03:10:00Z"),
        ("10:10 pm", "2027-01-16T03:10:00Z"),
        ("today 6:10", "2027-01-16T11:10:00Z"),
        ("this morning 6:10", "2027-01-16T11:10:00Z"),
        ("This Morning at 6:10", "2027-01-16T11:10:00Z"),
        ("yesterday 18:30", "2027-01-15T23:30:00Z"),
        ("last night 22:10", "2027-01-16T03:10:00Z"),
        ("last night 3:00", "2027-01-16T08:00:00Z"),
        ("saturday 06:10", "2027-01-09T11:10:00Z"),
        ("friday 06:10", "2027-01-15T11:10:00Z"),
        ("2027-01-16 06:10", "2027-01-16T11:10:00Z"),
        ("2027-01-16T06:10", "2027-01-16T11:10:00Z"),
        ("2027-01-16T06:10:00-08:00", "2027-01-16T14:10:00Z"),
        // The clock showed it twice: the first, and each by its name.
        ("2026-11-01 01:30", "2026-11-01T05:30:00Z"),
        ("Sunday 1 November 2026, 01:30 EDT", "2026-11-01T05:30:00Z"),
        ("Sunday 1 November 2026, 01:30 EST", "2026-11-01T06:30:00Z"),
    ] {
        assert_eq!(understood(text, now), Ok(expected.to_string()), "{text}");
    }
    for (text, why) in [
        ("dawn", "\"dawn\" is no time; write 06:10, "),
        ("", "\"\" is no time"),
        ("25:00", "is no time"),
        ("13:00pm", "is no time"),
        ("yesterday", "which hour of \"yesterday\"?"),
        ("monday", "which hour of \"monday\"?"),
        ("14:00 tomorrow", "is no time"),
        ("today 14:00", "Saturday 16 January 2027, 14:00 EST has not come yet"),
        ("2027-01-17 06:10", "Sunday 17 January 2027, 06:10 EST has not come yet"),
        ("2026-03-08 02:30", "the clock never showed Sunday 8 March 2026, 02:30: it was put forward past it; the next"),
        ("Sunday 1 November 2026, 12:30 EDT", "is no time"),
        ("Monday 1 November 2026, 01:30 EDT", "is no time"),
        ("9999-01-01 00:00", "is no time"),
        ("this morning 14:00", "is no time"),
    ] {
        let answer = understood(text, now).expect_err(text);
        assert!(answer.contains(why), "{text}: {answer}");
    }
}

/// The change of clock is no reason to write an entry a day too early, nor is a clock that runs a little ahead.
#[test]
fn a_clock_time_alone_is_the_last_one_that_was_shown() {
    for (text, now, expected) in [
        // 03:30 EDT on the day that has no 02:30.
        ("02:30", "2027-03-14T07:30:00Z", Err("the clock never showed Sunday 14 March 2027, 02:30")),
        // Before the change it was yesterday's.
        ("02:30", "2027-03-14T06:30:00Z", Ok("2027-03-13T07:30:00Z")),
        ("02:30", "2027-03-15T05:00:00Z", Err("the clock never showed Sunday 14 March 2027, 02:30")),
        // 13:00 EST.
        ("13:02", "2027-01-16T18:00:00Z", Ok("2027-01-16T18:02:00Z")),
        ("13:06", "2027-01-16T18:00:00Z", Ok("2027-01-15T18:06:00Z")),
        // 23:58 EST.
        ("0:01", "2027-01-17T04:58:00Z", Ok("2027-01-17T05:01:00Z")),
        // 01:45 EST, after 01:45 EDT; and 01:45 EDT.
        ("01:30", "2026-11-01T06:45:00Z", Ok("2026-11-01T06:30:00Z")),
        ("01:30", "2026-11-01T05:45:00Z", Ok("2026-11-01T05:30:00Z")),
        ("01:50", "2026-11-01T06:45:00Z", Ok("2026-11-01T06:50:00Z")),
        ("01:55", "2026-11-01T06:45:00Z", Ok("2026-11-01T05:55:00Z")),
    ] {
        match (understood(text, now), expected) {
            (Ok(found), Ok(expected)) => assert_eq!(found, expected, "{text} at {now}"),
            (Err(why), Err(expected)) => assert!(why.contains(expected), "{text} at {now}: {why}"),
            (found, expected) => panic!("{text} at {now}: {found:?} and not {expected:?}"),
        }
    }
}

#[test]
fn last_night_is_a_stretch_and_ends_now_while_it_lasts() {
    let zone = zone(chrono_tz::America::New_York);
    let at = |now: &str| Speaker { zone: &zone, site: &SITE, now: utc(now) }.moment("last night").expect("a night");
    let over = at("2027-01-16T18:00:00Z");
    assert!(over.since.is_some_and(|since| since < utc("2027-01-15T23:00:00Z") && since > utc("2027-01-15T22:00:00Z")));
    assert!(over.at > utc("2027-01-16T12:00:00Z") && over.at < utc("2027-01-16T13:00:00Z"), "{over:?}");
    assert_eq!(at("2027-01-16T08:00:00Z").at, utc("2027-01-16T08:00:00Z"));
}

#[test]
fn nights_are_named_by_their_evening_and_none_is_to_come() {
    let zone = zone(chrono_tz::America::New_York);
    let speaker = Speaker { zone: &zone, site: &SITE, now: utc("2027-01-16T18:00:00Z") };
    let night = |text: &str| speaker.night(text).map(|night| night.to_string()).map_err(|fault| fault.to_string());
    assert_eq!(night("last night"), Ok("2027-01-15".into()));
    // That day is a Saturday.
    for (text, named) in [
        ("2027-01-14", "2027-01-14"),
        ("yesterday", "2027-01-15"),
        ("Friday", "2027-01-15"),
        ("thursday night", "2027-01-14"),
        ("saturday", "2027-01-09"),
    ] {
        assert_eq!(night(text), Ok(named.into()), "{text}");
    }
    for (text, named) in [("2027-01-17", "Sunday 17"), ("2027-01-16", "Saturday 16"), ("tonight", "Saturday 16")] {
        let why = format!(
            "the night of {named} January 2027 has not begun yet; the last one was that of Friday 15 January 2027"
        );
        assert_eq!(night(text), Err(why));
    }
    let evening = Speaker { now: utc("2027-01-16T23:30:00Z"), ..speaker };
    assert_eq!(evening.night("tonight").map(|night| night.to_string()), Ok("2027-01-16".into()));
    assert!(night("2027-02-30").is_err() && night("then").is_err());
}

/// Instants about both changes of clock, and anywhere else.
fn instants() -> impl Strategy<Value = i64> {
    prop_oneof![
        (-90_000_i64..90_000).prop_map(|seconds| utc("2026-03-08T07:00:00Z").timestamp() + seconds),
        (-90_000_i64..90_000).prop_map(|seconds| utc("2026-11-01T06:00:00Z").timestamp() + seconds),
        (-90_000_i64..90_000).prop_map(|seconds| utc("2026-10-03T15:30:00Z").timestamp() + seconds),
        1_000_000_000_i64..1_900_000_000,
    ]
}

proptest! {
    #[test]
    fn what_is_said_back_is_understood_as_the_same_instant(seconds in instants(), which in 0_usize..4) {
        let names = [
            chrono_tz::America::New_York,
            chrono_tz::Australia::Lord_Howe,
            chrono_tz::Europe::Berlin,
            chrono_tz::Asia::Kolkata,
        ];
        let zone = zone(names[which]);
        let at = DateTime::from_timestamp(seconds, 0).expect("an instant");
        let speaker = Speaker { zone: &zone, site: &SITE, now: utc("2035-01-01T00:00:00Z") };
        let echo = speaker.echo(at);
        prop_assert_eq!(speaker.moment(&echo).map(|moment| (moment.at, moment.twice)), Ok((at, false)), "{}", echo);
    }
}
