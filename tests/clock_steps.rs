//! The real program under a clock that is moved while it runs, and in a machine that sleeps: no round is skipped and no
//! list comes twice.
//!
//! The clock that a test moves is in builds with debug assertions only, and so is this test.
#![cfg(debug_assertions)]

mod support;

use std::time::Duration;
use support::feed::{Answer, Feed};
use support::installation::{
    GARDEN, Installation, MANAGER, Running, TUESDAY, WEEKEND, at, service, to, to_relay, within,
};
use support::smtp_sink::{Fault, SmtpSink};
use support::weather_documents::Weather;

/// A step is noticed within twenty seconds, a feed is given as long, and the rest is a busy machine.
const SOON: Duration = Duration::from_secs(240);
const FROST: f64 = -4.0;
const MILD: f64 = 7.0;

/// A garden in January to whose people a mild day was told, and by the rounds of that day's clock a milder one before.
struct Place {
    feed: Feed,
    relay: SmtpSink,
    garden: Installation,
    /// How much mail there was before the service ran.
    before: usize,
}

impl Place {
    fn new() -> Place {
        let (feed, relay) = (Feed::with(Weather::of_low(MILD, at("2027-01-15T10:00:00Z"))), SmtpSink::start(&[]));
        let text = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
        let garden = Installation::with(&text, GARDEN);
        for now in ["15T06:30:10", "15T13:00:10", "15T19:45:00"] {
            garden.once(&format!("2027-01-{now}-05:00"));
        }
        feed.set_weather(Weather::of_low(MILD, at("2027-01-16T10:00:00Z")));
        for now in ["16T06:30:10", "16T08:40:00"] {
            garden.once(&format!("2027-01-{now}-05:00"));
        }
        let before = relay.arrived().len();
        Place { feed, relay, garden, before }
    }

    fn start(&self, now: &str) -> Running {
        let running = self.garden.start_by_clock(now);
        let asked = self.feed.requests();
        // It looks at the clock for the first time, asks, and then sleeps until the next tick.
        within(SOON, "its first question", || self.feed.requests() > asked);
        running
    }

    /// Sets the clock where no round is near, and waits for it to have been seen: somebody who looks asks the feed.
    fn set_far_from_rounds(&self, now: &str) {
        let asked = self.feed.requests();
        self.garden.set_clock(now);
        within(SOON, now, || self.feed.requests() > asked);
    }

    fn frost(&self, issued: &str) {
        self.feed.set_weather(Weather::of_low(FROST, at(issued)));
    }

    fn new_mails(&self) -> Vec<String> {
        self.relay.arrived()[self.before..].iter().map(|mail| format!("{:?} {}", mail.to, mail.subject())).collect()
    }

    #[track_caller]
    fn has_new_mails(&self, count: usize) {
        within(SOON, &format!("{count} mails: {:?}", self.new_mails()), || self.new_mails().len() >= count);
        assert_eq!(self.new_mails().len(), count, "{:?}", self.new_mails());
    }

    fn last_to(&self, person: &str) -> String {
        to(&self.relay, person).last().map(|mail| mail.text()).unwrap_or_default()
    }
}

#[test]
fn a_machine_that_slept_over_rounds_makes_those_of_use_on_waking_and_says_how_late() {
    let place = Place::new();
    let running = place.start("2027-01-16T12:30:00-05:00");
    // Asleep from half past twelve on, over the round of 13:00, and then for a whole day.
    for (wakes, issued, count) in [("16T16:31:00", "16T15:00:00", 3), ("17T16:31:00", "17T15:00:00", 6)] {
        running.signal("-STOP");
        place.frost(&format!("2027-01-{issued}Z"));
        place.garden.set_clock(&format!("2027-01-{wakes}-05:00"));
        running.signal("-CONT");
        place.has_new_mails(count);
        for person in [MANAGER, TUESDAY, WEEKEND] {
            let text = place.last_to(person);
            let late = "This message is 4 hours late: the service could not look earlier.";
            assert!(text.contains("harvest 1, cover 2 by 17:0") && text.contains(late), "{text}");
        }
    }
    let missed =
        "Missed, because the service was not running: the look at dusk, the morning after of Saturday 16 January.";
    assert!(place.last_to(MANAGER).contains(missed), "{}", place.last_to(MANAGER));
    running.stop().0.ended_with(0);
    let rounds = "SELECT night || ' ' || kind || ' ' || state || ' ' || (late_seconds / 3600) FROM rounds
                  WHERE due >= unixepoch('2027-01-16 17:00') ORDER BY due";
    assert_eq!(
        place.garden.asked(rounds),
        [
            "2027-01-16 afternoon done 3",
            "2027-01-16 dusk missed 21",
            "2027-01-17 morning merged 10",
            "2027-01-16 uncover missed 8",
            "2027-01-17 afternoon done 3",
        ]
    );
}

#[test]
fn a_clock_set_back_over_a_round_and_mended_doubles_no_list() {
    let place = Place::new();
    place.frost("2027-01-16T15:00:00Z");
    let running = place.start("2027-01-16T12:56:00-05:00");
    // Made ten minutes late, the round is still to come for a clock that is set back.
    place.garden.set_clock("2027-01-16T13:10:00-05:00");
    place.has_new_mails(3);
    // By less than an hour, so that it comes by again; by a day; and mended.
    let silent = || running.count_logged("nothing to say");
    place.set_far_from_rounds("2027-01-16T12:30:00-05:00");
    let before = silent();
    place.garden.set_clock("2027-01-16T12:59:50-05:00");
    within(SOON, "the round a second time", || silent() > before);
    place.set_far_from_rounds("2027-01-15T12:30:00-05:00");
    place.set_far_from_rounds("2027-01-16T13:30:00-05:00");
    running.stop().0.ended_with(0);
    place.has_new_mails(3);
    // Of the rounds since the first that was made.
    let left = "SELECT kind FROM rounds WHERE state IN ('due', 'missed') AND due > unixepoch('2027-01-15 11:30')";
    assert_eq!(place.garden.asked(left), [""; 0]);
}

#[test]
fn mail_that_waits_when_the_clock_is_set_back_a_day_goes_out_all_the_same() {
    let place = Place::new();
    place.frost("2027-01-16T15:00:00Z");
    let running = place.start("2027-01-16T12:56:00-05:00");
    place.relay.next(Fault::NotNow);
    place.garden.set_clock("2027-01-16T12:59:50-05:00");
    within(SOON, "a first try", || running.has_logged("mail cannot be handed over"));
    place.garden.set_clock("2027-01-15T12:30:00-05:00");
    place.has_new_mails(3);
    running.stop().0.ended_with(0);
}

#[test]
fn a_machine_that_falls_asleep_while_it_looks_looks_anew() {
    let place = Place::new();
    let running = place.start("2027-01-16T12:30:00-05:00");
    place.feed.set(Answer::Silence);
    let asked = place.feed.requests();
    place.garden.set_clock("2027-01-16T12:59:50-05:00");
    within(SOON, "the look's question", || place.feed.requests() > asked);
    running.signal("-STOP");
    place.frost("2027-01-16T15:00:00Z");
    place.garden.set_clock("2027-01-16T16:31:00-05:00");
    running.signal("-CONT");
    place.has_new_mails(3);
    let text = place.last_to(TUESDAY);
    let late = "This message is 4 hours late: the service could not look earlier.";
    assert!(text.contains("harvest 1, cover 2 by 17:00") && text.contains(late), "{text}");
    running.stop().0.ended_with(0);
}
