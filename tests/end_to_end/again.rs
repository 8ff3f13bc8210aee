//! What was said and did not arrive is said again, and what is old does not speak for tonight.

use crate::support::feed::Feed;
use crate::support::installation::{GARDEN, Installation, MANAGER, TUESDAY, WEEKEND, at, service, to, to_relay};
use crate::support::smtp_sink::{Fault, SmtpSink};
use crate::support::weather_documents::Weather;

const MORNING: &str = "2027-01-16T06:30:10-05:00";
const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";

fn weather(low: f64, issued: &str) -> Weather {
    Weather::of_low(low, at(issued))
}

fn frost() -> Weather {
    weather(-4.0, "2027-01-16T10:00:00Z")
}

fn counts(relay: &SmtpSink) -> [usize; 3] {
    [MANAGER, TUESDAY, WEEKEND].map(|person| to(relay, person).len())
}

#[test]
fn a_list_that_was_refused_for_everybody_is_sent_again_at_the_next_round() {
    let refusing = SmtpSink::start(&[Fault::RefuseMessage, Fault::RefuseMessage, Fault::RefuseMessage]);
    let feed = Feed::with(frost());
    let grid = [("grid", "nws", feed.base.as_str())];
    let garden = Installation::with(&service(&grid, &to_relay(refusing.port)), GARDEN);
    garden.once(MORNING).ended_with(5);
    assert_eq!(counts(&refusing), [0, 0, 0]);
    assert_eq!(garden.asked("SELECT DISTINCT state FROM outbox"), ["refused"]);
    let relay = SmtpSink::start(&[]);
    garden.write("counterpane.toml", &service(&grid, &to_relay(relay.port)));
    garden.once(AFTERNOON).ended_with(0);
    assert_eq!(counts(&relay), [1, 1, 1]);
    // Heard now: the evening has nothing new to say.
    garden.once("2027-01-16T19:35:00-05:00").ended_with(0);
    assert_eq!(counts(&relay), [1, 1, 1]);
}

#[test]
fn a_word_that_all_is_quiet_does_not_arrive_behind_the_list_of_the_same_night() {
    let (feed, away) = (Feed::with(weather(14.0, "2027-01-16T10:00:00Z")), SmtpSink::start(&[Fault::Greylist]));
    let grid = [("grid", "nws", feed.base.as_str())];
    let garden = Installation::with(&service(&grid, &to_relay(away.port)), GARDEN);
    garden.once(MORNING);
    assert_eq!(garden.asked("SELECT kind || ' ' || state FROM outbox"), ["all-quiet waiting"]);
    feed.set_weather(frost());
    let relay = SmtpSink::start(&[]);
    garden.write("counterpane.toml", &service(&grid, &to_relay(relay.port)));
    garden.once(AFTERNOON).ended_with(0);
    assert_eq!(counts(&relay), [1, 1, 1]);
    assert!(!to(&relay, MANAGER)[0].subject().contains("quiet"), "{}", to(&relay, MANAGER)[0].subject());
    assert_eq!(garden.asked("SELECT state FROM outbox WHERE kind = 'all-quiet'"), ["superseded"]);
}

#[test]
fn somebody_new_gets_the_standing_list_at_the_next_round_and_nobody_gets_it_twice() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(0);
    let person = "\n[[people]]\nname = \"Night watch\"\naddress = \"night@orchard.example\"\nrole = \"volunteer\"\n";
    garden.write("gardens/orchard-lane.toml", &format!("{GARDEN}{person}"));
    garden.once(AFTERNOON).ended_with(0);
    assert_eq!((counts(&relay), to(&relay, "night@orchard.example").len()), ([1, 1, 1], 1));
}

#[test]
fn a_rehearsal_with_another_clock_does_not_silence_the_real_night() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    garden.once(MORNING).ended_with(0);
    assert_eq!(counts(&relay), [2, 2, 2]);
}

#[test]
fn a_garden_that_moves_asks_for_its_new_place() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(0);
    let before = feed.requests();
    garden.write("gardens/orchard-lane.toml", &GARDEN.replace("latitude = 36", "latitude = 44"));
    garden.once(AFTERNOON).ended_with(0);
    assert!(feed.requests() >= before + 2, "neither the place nor its forecast was asked for");
}

#[test]
fn an_old_copy_does_not_speak_for_hours_that_the_new_forecast_leaves_out() {
    let (feed, relay) = (Feed::with(weather(14.0, "2027-01-15T17:30:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-15T13:00:10-05:00");
    // Tonight is missing, and the morning after it is very cold.
    feed.set_weather(weather(-15.0, "2027-01-16T17:30:00Z").without(at("2027-01-16T17:00:00Z"), 21));
    garden.once(AFTERNOON).ended_with(0);
    let mails = to(&relay, MANAGER);
    let Some(last) = mails.last() else { panic!("no mail at all") };
    assert!(last.subject().starts_with("No usable forecast"), "{}", last.subject());
}
