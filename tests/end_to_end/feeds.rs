//! What a weather service can do to a garden: each ends in a mail that says so, and never in "fine".

use crate::support::feed::{Answer, Feed};
use crate::support::installation::{GARDEN, Installation, MANAGER, TUESDAY, at, service, to, to_relay};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;

const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const DUSK: &str = "2027-01-16T19:45:00-05:00";

fn frost() -> Weather {
    Weather::of_low(-4.0, at("2027-01-16T15:00:00Z"))
}

/// The same night from a service that cannot be used, and what the garden is told of it.
fn unusable() -> Vec<(&'static str, Answer, &'static str)> {
    let half = frost().nws().split_at(2500).0.to_string();
    let json = |body: String| Answer::Bytes("Content-Type: application/json\r\n", body.into_bytes());
    let page = b"<!DOCTYPE html><html><title>Sign in to the wireless network</title></html>".to_vec();
    let mut bomb = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut bomb, &vec![b' '; 3_000_000]).expect("packed");
    let bomb = bomb.finish().expect("packed");
    vec![
        ("out of order", Answer::Status("503 Service Unavailable", "{}".into()), "is out of order at the moment"),
        ("refusing", Answer::Status("403 Forbidden", "{}".into()), "refused to answer us"),
        ("elsewhere", Answer::Status("404 Not Found", "{}".into()), "has moved this garden's forecast"),
        ("a page", Answer::Bytes("Content-Type: text/html\r\n", page.clone()), "refused to answer us"),
        ("a page that says it is none", json(String::from_utf8_lossy(&page).into()), "refused to answer us"),
        ("cut off", json(half), "sent something we could not read"),
        ("empty", json(String::new()), "sent a forecast without temperatures"),
        ("in kelvins", Answer::Weather(Weather { unit: "wmoUnit:K", ..frost() }), "in a unit we do not know"),
        ("too long", json(" ".repeat(3_000_000)), "sent something that is not a forecast"),
        ("a bomb", Answer::Bytes("Content-Encoding: gzip\r\n", bomb), "sent something that is not a forecast"),
        (
            "forty hours old",
            Answer::Weather(Weather { issued: at("2027-01-15T02:00:00Z"), ..frost() }),
            "the forecast was issued 40 hours ago, too long for tonight",
        ),
        ("silent", Answer::Silence, "could not be reached"),
    ]
}

#[test]
fn a_service_that_cannot_be_used_is_named_and_nothing_is_called_safe() {
    let relay = SmtpSink::start(&[]);
    for (case, answer, told) in unusable() {
        let before = to(&relay, TUESDAY).len();
        let feed = Feed::start(answer);
        Installation::new(&feed.base, &relay).once(AFTERNOON).ended_with(0);
        let mails = to(&relay, TUESDAY).split_off(before);
        let [mail] = &mails[..] else { panic!("{case}: {mails:?}") };
        let text = mail.text();
        assert_eq!(mail.subject(), "No usable forecast for tonight: decide by hand by 17:00 (Orchard Lane)", "{case}");
        assert!(text.contains("there is no usable forecast. This is not an all-clear."), "{case}: {text}");
        assert!(text.contains(told), "{case}: {text}");
        assert!(text.contains("HOW TO DECIDE BY HAND"), "{case}: {text}");
        assert!(!text.to_lowercase().contains("fine"), "{case}: {text}");
    }
}

#[test]
fn a_service_that_is_not_there_is_named() {
    let (mut feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    feed.close();
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    let [mail] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    assert!(mail.text().contains("The weather service could not be reached."), "{}", mail.text());
    assert!(!mail.text().to_lowercase().contains("fine"), "{}", mail.text());
    // The next round has nothing new to say, and the morning after asks for the low.
    garden.once(DUSK).ended_with(0);
    assert_eq!(to(&relay, MANAGER).len(), 1);
    garden.once("2027-01-17T08:40:00-05:00").ended_with(0);
    assert!(to(&relay, MANAGER).iter().any(|mail| mail.subject().contains("write down the low")));
}

#[test]
fn hours_that_are_missing_make_the_night_incomplete_and_never_fine() {
    let hole = frost().without(at("2027-01-17T08:00:00Z"), 3);
    // Nothing in the hours that are there is cold.
    let mild = Weather { low: 7.0, ..hole };
    let relay = SmtpSink::start(&[]);
    for (weather, all_unknown) in [(hole, false), (mild, true)] {
        let before = to(&relay, TUESDAY).len();
        let feed = Feed::with(weather);
        Installation::new(&feed.base, &relay).once(AFTERNOON).ended_with(0);
        let mails = to(&relay, TUESDAY).split_off(before);
        let [mail] = &mails[..] else { panic!("{mails:?}") };
        let text = mail.text();
        assert!(text.contains("The forecast lacks hours of this night (up to 4 hours between two of them)"), "{text}");
        assert!(text.contains("NOT KNOWN TO BE SAFE: ") && !text.to_lowercase().contains("fine:"), "{text}");
        assert_eq!(!text.contains("COVER: "), all_unknown, "{text}");
    }
}

#[test]
fn the_last_good_forecast_is_used_and_its_age_named() {
    let (mut feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-16T10:20:00-05:00").ended_with(0);
    // As if nothing had been said of it yet.
    garden.tampered("DELETE FROM said; DELETE FROM outbox");
    feed.close();
    garden.once(AFTERNOON).ended_with(0);
    let [_, mail] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    let text = mail.text();
    assert!(text.contains("Feed grid: The weather service could not be reached."), "{text}");
    assert!(text.contains("issued Saturday 10:00 EST, 3 hours old."), "{text}");
    assert!(text.contains("COVER: "), "{text}");
    // The next day it is too old to be used.
    garden.once("2027-01-17T13:00:10-05:00").ended_with(0);
    let mails = to(&relay, MANAGER);
    let text = mails.last().map(|mail| mail.text()).unwrap_or_default();
    assert!(text.contains("the forecast was issued 27 hours ago"), "{text}");
}

#[test]
fn an_older_answer_does_not_replace_a_newer_one() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(Weather { issued: at("2027-01-14T10:00:00Z"), low: 9.0, ..frost() });
    garden.once(DUSK).ended_with(0);
    // Unchanged, hence silent; the copy of two days before would have called the list off or called it unknown.
    assert_eq!(to(&relay, MANAGER).len(), 1);
    assert_eq!(garden.asked("SELECT datetime(issued, 'unixepoch') FROM forecasts"), ["2027-01-16 15:00:00"]);
}

#[test]
fn a_second_service_stands_in_for_the_first_and_says_whose_forecast_it_is() {
    let (first, second, relay) = (Feed::with(frost()), Feed::with(frost()), SmtpSink::start(&[]));
    let feeds = [("grid", "nws", first.base.as_str()), ("norway", "met-norway", second.base.as_str())];
    let two = GARDEN.replace("feeds = [\"grid\"]", "feeds = [\"grid\", \"norway\"]");
    let cases = ["out of order", "a page", "cut off", "forty hours old"];
    for (case, answer, _) in unusable().into_iter().filter(|(case, ..)| cases.contains(case)) {
        first.set(answer);
        let before = to(&relay, MANAGER).len();
        Installation::with(&service(&feeds, &to_relay(relay.port)), &two).once(AFTERNOON).ended_with(0);
        let mails = to(&relay, MANAGER).split_off(before);
        let [mail] = &mails[..] else { panic!("{case}: {mails:?}") };
        let text = mail.text();
        assert!(text.contains("MET Norway") && text.contains("COVER: "), "{case}: {text}");
        assert!(text.contains("Feed grid: "), "{case}: {text}");
    }
}

#[test]
fn a_second_service_is_asked_when_the_firsts_last_word_is_old() {
    let (mut first, second, relay) = (Feed::with(frost()), Feed::with(frost()), SmtpSink::start(&[]));
    let feeds = [("grid", "nws", first.base.as_str()), ("norway", "met-norway", second.base.as_str())];
    let two = GARDEN.replace("feeds = [\"grid\"]", "feeds = [\"grid\", \"norway\"]");
    let garden = Installation::with(&service(&feeds, &to_relay(relay.port)), &two);
    first.set_weather(Weather { issued: at("2027-01-16T00:00:00Z"), ..frost() });
    garden.once("2027-01-16T06:30:10-05:00").ended_with(0);
    first.close();
    second.set_weather(Weather { low: -10.0, issued: at("2027-01-16T15:00:00Z"), ..frost() });
    garden.once(AFTERNOON).ended_with(0);
    let mails = to(&relay, MANAGER);
    let text = mails.last().map(|mail| mail.text()).unwrap_or_default();
    assert!(text.contains("MET Norway"), "{text}");
}
