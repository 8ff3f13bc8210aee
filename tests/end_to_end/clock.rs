//! Clocks that change, stop, and are wrong.

use crate::support::feed::Feed;
use crate::support::installation::{Installation, MANAGER, TUESDAY, at, to};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;

const FROST: f64 = -4.0;
const MILD: f64 = 7.0;

fn subjects(relay: &SmtpSink, person: &str) -> Vec<String> {
    to(relay, person).iter().map(|mail| mail.subject()).collect()
}

#[test]
fn after_two_days_down_the_missed_rounds_are_recorded_and_tonights_list_says_it_is_late() {
    let (feed, relay) = (Feed::with(Weather::of_low(MILD, at("2027-01-14T10:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-14T06:30:10-05:00").ended_with(0);
    feed.set_weather(Weather::of_low(FROST, at("2027-01-16T15:00:00Z")));
    let ran = garden.once("2027-01-16T15:30:00-05:00").ended_with(0);
    assert!(ran.err.contains("a round was missed: the service was not running"), "{}", ran.err);
    let rounds = "SELECT night || ' ' || kind || ' ' || state FROM rounds WHERE due >= unixepoch('2027-01-14 11:00') ORDER BY due";
    assert_eq!(
        garden.asked(rounds),
        [
            "2027-01-14 morning done",
            "2027-01-13 uncover missed",
            "2027-01-14 afternoon missed",
            "2027-01-14 dusk missed",
            "2027-01-15 morning missed",
            "2027-01-14 uncover missed",
            "2027-01-15 afternoon missed",
            "2027-01-15 dusk missed",
            "2027-01-16 morning merged",
            "2027-01-15 uncover done",
            "2027-01-16 afternoon done",
        ]
    );
    let [mail] = &to(&relay, TUESDAY)[..] else { panic!("{:?}", subjects(&relay, TUESDAY)) };
    assert!(mail.subject().contains(" by 17:00: low "), "{}", mail.subject());
    let late = "This message is 3 hours late: the service could not look earlier.";
    assert!(mail.text().contains(late), "{}", mail.text());
}

#[test]
fn a_list_that_is_in_time_does_not_say_it_is_late() {
    let (feed, relay) = (Feed::with(Weather::of_low(FROST, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    // The first start of all, long after the afternoon's round: nobody was promised one.
    garden.once("2027-01-16T15:30:00-05:00").ended_with(0);
    let [mail] = &to(&relay, TUESDAY)[..] else { panic!("{:?}", subjects(&relay, TUESDAY)) };
    assert!(!mail.text().contains("late: the service"), "{}", mail.text());
}

/// The rounds around a change of clocks, as a service that is called every now and then makes them, and the mails of
/// the night. Each text stands in one of them.
fn around_a_change(evening: &str, nows: &[&str], rounds: &[&str], texts: &[&str]) {
    let (feed, relay) = (Feed::with(Weather::of_low(FROST, at(nows[0]))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    for now in nows {
        feed.set_weather(Weather::of_low(FROST, at(now)));
        garden.once(now).ended_with(0);
    }
    let done = "SELECT night || ' ' || kind || ' ' || datetime(due, 'unixepoch') FROM rounds WHERE state = 'done'
                ORDER BY due";
    assert_eq!(garden.asked(done), rounds);
    let of_night = |id: Option<&str>| id.is_some_and(|id| id.starts_with(&format!("<{evening}.")));
    let mails = to(&relay, MANAGER).into_iter().filter(|mail| of_night(mail.header("Message-ID")));
    let mails: Vec<String> = mails.map(|mail| mail.text()).collect();
    assert_eq!(mails.len(), 2, "a list and the morning after: {mails:?}");
    for text in texts {
        assert!(mails.iter().any(|mail| mail.contains(text)), "{text}: {mails:?}");
    }
}

#[test]
fn the_hour_that_comes_twice_moves_no_round_and_doubles_none() {
    around_a_change(
        "2026-10-31",
        &[
            "2026-10-31T16:50:00Z",
            "2026-10-31T17:00:10Z",
            "2026-11-01T00:26:00Z",
            // Half past one, and half past one again.
            "2026-11-01T05:30:00Z",
            "2026-11-01T06:30:00Z",
            "2026-11-01T10:31:00Z",
            "2026-11-01T11:30:10Z",
            "2026-11-01T12:45:00Z",
            "2026-11-01T17:01:00Z",
            "2026-11-01T18:00:10Z",
        ],
        &[
            "2026-10-31 morning 2026-10-31 10:30:00",
            "2026-10-30 uncover 2026-10-31 12:41:39",
            "2026-10-31 afternoon 2026-10-31 17:00:00",
            "2026-10-31 dusk 2026-11-01 00:25:05",
            "2026-11-01 morning 2026-11-01 11:30:00",
            "2026-10-31 uncover 2026-11-01 12:42:38",
            "2026-11-01 afternoon 2026-11-01 18:00:00",
        ],
        &[
            "Night of Saturday 31 October: ",
            " by 17:55 EDT",
            " near 07:00",
            "The next message comes by Sunday 1 November, 08:27 EST.",
            "The night of Saturday 31 October is over.",
        ],
    );
}

#[test]
fn the_hour_that_is_left_out_moves_no_round_and_loses_none() {
    around_a_change(
        "2027-03-13",
        &[
            "2027-03-13T17:50:00Z",
            "2027-03-13T18:00:10Z",
            "2027-03-14T01:30:00Z",
            "2027-03-14T07:30:00Z",
            "2027-03-14T10:31:00Z",
            "2027-03-14T12:45:00Z",
            "2027-03-14T17:00:10Z",
        ],
        &[
            "2027-03-13 morning 2027-03-13 11:30:00",
            "2027-03-12 uncover 2027-03-13 12:33:52",
            "2027-03-13 afternoon 2027-03-13 18:00:00",
            "2027-03-13 dusk 2027-03-14 01:25:36",
            "2027-03-14 morning 2027-03-14 10:30:00",
            "2027-03-13 uncover 2027-03-14 12:32:27",
            "2027-03-14 afternoon 2027-03-14 17:00:00",
        ],
        &[
            "Night of Saturday 13 March: ",
            " by 17:55 EST",
            " near 08:00",
            "The next message comes by Sunday 14 March, 09:17 EDT.",
            "The night of Saturday 13 March is over.",
        ],
    );
}

#[test]
fn a_clock_set_back_two_hours_repeats_nothing() {
    let (feed, relay) = (Feed::with(Weather::of_low(FROST, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-16T13:00:10-05:00").ended_with(0);
    for now in ["2027-01-16T11:00:00-05:00", "2027-01-16T12:59:00-05:00", "2027-01-16T13:00:10-05:00"] {
        garden.once(now).ended_with(0);
    }
    assert_eq!(subjects(&relay, TUESDAY).len(), 1, "{:?}", subjects(&relay, TUESDAY));
    // The morning after comes twice by this clock and is told once.
    feed.set_weather(Weather::of_low(MILD, at("2027-01-17T10:00:00Z")));
    for time in ["06:30:10", "08:40:00", "06:40:00", "08:40:00"] {
        garden.once(&format!("2027-01-17T{time}-05:00")).ended_with(0);
    }
    let subjects = subjects(&relay, TUESDAY);
    assert!(subjects.len() == 2 && subjects[1].starts_with("Uncover "), "{subjects:?}");
}

#[test]
fn a_clock_that_ran_days_ahead_and_was_mended_leaves_no_night_unmentioned() {
    let (feed, relay) = (Feed::with(Weather::of_low(FROST, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-16T06:30:10-05:00").ended_with(0);
    let ahead = "2027-01-19T13:00:10-05:00";
    garden.once(ahead).ended_with(0);
    let told = subjects(&relay, TUESDAY);
    assert!(told.last().is_some_and(|subject| subject.starts_with("No usable forecast for tonight")), "{told:?}");
    // Mended: this evening, the next, and the one that the wrong clock spoke of have their lists.
    for day in [16, 17, 18, 19] {
        feed.set_weather(Weather::of_low(FROST, at(&format!("2027-01-{day}T15:00:00Z"))));
        garden.once(&format!("2027-01-{day}T13:00:05-05:00")).ended_with(0);
        let subjects = subjects(&relay, TUESDAY);
        let lists = subjects.iter().filter(|subject| subject.contains(", cover ")).count();
        assert_eq!(lists, day - 15, "on the {day}th: {subjects:?}");
    }
}
