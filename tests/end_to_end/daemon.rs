//! The service while it runs: in time, stopped, killed, and with a store that fails under it.

use crate::support::feed::{Answer, Feed};
use crate::support::installation::{
    GARDEN, Installation, MANAGER, TUESDAY, WEEKEND, at, service, to, to_relay, within,
};
use crate::support::smtp_sink::{Fault, SmtpSink};
use crate::support::weather_documents::Weather;
use std::collections::BTreeSet;
use std::time::Duration;

/// A second before the afternoon's round.
const JUST_BEFORE: &str = "2027-01-16T12:59:59-05:00";
const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
/// Long enough for a loaded machine, and far below any timeout of the program.
const SOON: Duration = Duration::from_secs(15);

fn frost() -> Weather {
    Weather::of_low(-4.0, at("2027-01-16T15:00:00Z"))
}

/// A store in which the morning's round, quiet, lies behind: the next one due is the afternoon's.
fn after_the_morning(garden: &Installation, feed: &Feed) {
    feed.set_weather(Weather { low: 7.0, issued: at("2027-01-16T10:00:00Z"), ..frost() });
    garden.once("2027-01-16T06:30:10-05:00").ended_with(0);
    feed.set_weather(frost());
}

fn lists(relay: &SmtpSink) -> Vec<String> {
    let lists = relay.arrived().into_iter().filter(|mail| mail.subject().contains(" by 17:00: low "));
    lists.filter_map(|mail| Some(mail.header("Message-ID")?.to_string())).collect()
}

#[test]
fn a_round_is_made_when_it_is_due_and_a_stop_is_heard() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    let running = garden.start(JUST_BEFORE);
    within(SOON, "three lists", || lists(&relay).len() == 3);
    let (ran, took) = running.stop();
    let ran = ran.ended_with(0);
    assert!(took < Duration::from_secs(5), "{took:?}");
    assert!(ran.err.contains("asked to stop"), "{}", ran.err);
    let late = garden.asked("SELECT CAST(late_seconds AS TEXT) FROM rounds WHERE kind = 'afternoon'");
    assert!(late[0].parse::<u32>().is_ok_and(|late| late < 10), "{late:?}");
    // Started again, it has nothing to add.
    let running = garden.start(AFTERNOON);
    let asked = feed.requests();
    within(SOON, "a poll", || feed.requests() > asked);
    running.stop().0.ended_with(0);
    assert_eq!(lists(&relay).len(), 3);
}

#[test]
fn a_stop_does_not_wait_for_a_silent_service_and_the_round_is_made_up_afterwards() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    feed.set(Answer::Silence);
    let asked = feed.requests();
    let running = garden.start(JUST_BEFORE);
    within(SOON, "a request", || feed.requests() > asked);
    let (ran, took) = running.stop();
    ran.ended_with(0);
    assert!(took < Duration::from_secs(5), "{took:?}");
    assert_eq!(garden.asked("SELECT state FROM rounds WHERE kind = 'afternoon'"), ["due"]);
    feed.set_weather(frost());
    garden.once("2027-01-16T13:40:00-05:00").ended_with(0);
    assert_eq!(lists(&relay).len(), 3);
    let text = to(&relay, TUESDAY)[0].text();
    assert!(text.contains("This message is 40 minutes late: the service could not look earlier."), "{text}");
}

#[test]
fn a_stop_finishes_and_records_the_mail_in_hand() {
    let slow = Duration::from_millis(1500);
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[Fault::None, Fault::StallAfterDot(slow)]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    let running = garden.start(JUST_BEFORE);
    within(SOON, "a list that the relay is slow to take", || lists(&relay).len() == 1);
    running.stop().0.ended_with(0);
    assert_eq!(
        garden.asked("SELECT state FROM outbox WHERE kind = 'list' ORDER BY state"),
        ["sent", "waiting", "waiting"]
    );
    garden.once("2027-01-16T13:01:00-05:00").ended_with(0);
    let unique: BTreeSet<String> = lists(&relay).into_iter().collect();
    assert_eq!((lists(&relay).len(), unique.len()), (3, 3));
}

#[test]
fn a_second_stop_does_not_wait_for_a_relay_that_says_nothing() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    relay.next(Fault::StallAfterDot(Duration::from_secs(60)));
    let running = garden.start(JUST_BEFORE);
    within(SOON, "a list", || lists(&relay).len() == 1);
    running.ask_to_stop();
    within(SOON, "the first stop is heard", || running.has_logged("asked to stop"));
    let (ran, took) = running.stop();
    assert!(ran.ended_with(1).err.contains("asked again") && took < Duration::from_secs(5), "{took:?}");
}

#[test]
fn asking_between_rounds_never_holds_up_a_round() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    feed.set(Answer::Silence);
    let asked = feed.requests();
    // Time enough before the round for a loaded machine to start the program.
    let running = garden.start("2027-01-16T12:59:50-05:00");
    within(SOON, "a start", || running.has_logged("is looking after its gardens"));
    // What would be asked is asked at the start.
    std::thread::sleep(Duration::from_millis(500));
    assert_eq!(feed.requests(), asked, "the service was asked shortly before a round");
    feed.set_weather(frost());
    within(SOON, "three lists", || lists(&relay).len() == 3);
}

#[test]
fn a_power_cut_loses_no_mail_and_doubles_only_the_one_in_hand() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    // Cut while the relay has the first mail and has not said so.
    relay.next(Fault::StallAfterDot(Duration::from_secs(20)));
    let running = garden.start(JUST_BEFORE);
    within(SOON, "a list", || lists(&relay).len() == 1);
    running.kill();
    assert_eq!(
        garden.asked("SELECT state FROM outbox WHERE kind = 'list' ORDER BY state"),
        ["leased", "waiting", "waiting"]
    );
    let running = garden.start(AFTERNOON);
    within(SOON, "all lists, one of them twice", || lists(&relay).len() == 4);
    within(SOON, "all of them recorded", || garden.asked("SELECT key FROM outbox WHERE state <> 'sent'").is_empty());
    // Cut after everything was said: nothing is said again.
    running.kill();
    let running = garden.start("2027-01-16T13:00:40-05:00");
    let asked = feed.requests();
    within(SOON, "a poll", || feed.requests() > asked);
    running.stop().0.ended_with(0);
    let unique: BTreeSet<String> = lists(&relay).into_iter().collect();
    assert_eq!((lists(&relay).len(), unique.len()), (4, 3));
    assert_eq!([MANAGER, TUESDAY, WEEKEND].map(|person| to(&relay, person).is_empty()), [false; 3]);
}

#[test]
fn a_power_cut_within_a_look_leaves_the_round_due() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    feed.set(Answer::Silence);
    let asked = feed.requests();
    let running = garden.start(JUST_BEFORE);
    within(SOON, "a request", || feed.requests() > asked);
    running.kill();
    feed.set_weather(frost());
    garden.once(AFTERNOON).ended_with(0);
    assert_eq!(lists(&relay).len(), 3);
}

#[test]
fn one_gardens_silent_service_does_not_hold_up_anothers_list() {
    let (silent, good, relay) = (Feed::start(Answer::Silence), Feed::with(frost()), SmtpSink::start(&[]));
    let feeds = [("mute", "nws", silent.base.as_str()), ("grid", "nws", good.base.as_str())];
    let garden = Installation::with(&service(&feeds, &to_relay(relay.port)), GARDEN);
    // By name the first that would be served.
    garden.write("gardens/a-garden.toml", &GARDEN.replace("[\"grid\"]", "[\"mute\"]").replace("Orchard", "Silent"));
    let running = garden.start(AFTERNOON);
    within(SOON, "three lists", || lists(&relay).len() == 3);
    assert!(silent.requests() > 0, "the other garden's service was not asked");
    assert!(to(&relay, MANAGER).iter().all(|mail| mail.subject().ends_with("(Orchard Lane)")));
    running.stop().0.ended_with(0);
}

#[test]
fn a_store_that_fails_between_look_and_decision_leaves_the_round_due_and_whole() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    let outbox = "SELECT key FROM outbox WHERE kind = 'list'";
    for fails in [
        "CREATE TRIGGER fails BEFORE INSERT ON outbox WHEN NEW.recipient LIKE 'weekend%'
             BEGIN SELECT RAISE(ABORT, 'the disk is on fire'); END",
        // Another process says its own list just then: ours comes second and is refused.
        "CREATE TRIGGER fails BEFORE INSERT ON said
             BEGIN INSERT INTO said VALUES (NEW.garden, NEW.night, NEW.revision, '{}', 0); END",
    ] {
        garden.tampered(fails);
        let ran = garden.once(AFTERNOON).ended_with(4);
        assert!(ran.err.contains("a round stays due"), "{}", ran.err);
        assert_eq!(garden.asked(outbox), Vec::<String>::new());
        assert_eq!(garden.asked("SELECT state FROM rounds WHERE kind = 'afternoon'"), ["due"]);
        garden.tampered("DROP TRIGGER fails");
    }
    // Another process was first indeed: what it said is read, and ours answers it.
    garden.tampered("INSERT INTO said VALUES ('orchard-lane', '2027-01-16', 9, '{\"at\": \"2027-01-16T17:59:00Z\", \"beds\": []}', 0)");
    garden.once(AFTERNOON).ended_with(0);
    assert_eq!(lists(&relay).len(), 3);
    assert!(lists(&relay).iter().all(|id| id.starts_with("<2027-01-16.list.10.")), "{:?}", lists(&relay));
}

#[test]
fn what_was_said_and_cannot_be_read_back_is_said_again() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    after_the_morning(&garden, &feed);
    garden.tampered("UPDATE said SET document = '{\"of another release\": true}'");
    let ran = garden.once(AFTERNOON).ended_with(0);
    assert!(ran.err.contains("what was said cannot be read back"), "{}", ran.err);
    assert_eq!(lists(&relay).len(), 3);
}
