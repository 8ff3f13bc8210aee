//! What a weather service can do to a garden: each ends in a mail that says so, and never in "fine".

use crate::support::feed::{Answer, Feed};
use crate::support::installation::{GARDEN, Installation, MANAGER, Ran, TUESDAY, at, service, to, to_relay};
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
        ("broken off", Answer::Half(frost()), "could not be reached"),
        ("asking for an hour", Answer::Headers("429 Too Many Requests", "Retry-After: 3600\r\n"), "asked us to wait"),
        (
            "sending us abroad",
            Answer::Headers("301 Moved Permanently", "Location: https://weather.example/x\r\n"),
            "has moved this garden's forecast",
        ),
        ("sending us round", Answer::Headers("302 Found", "Location: /gridpoints/XXX/12,34\r\n"), "has moved"),
        ("failing", Answer::Status("500 Internal Server Error", "<html>".into()), "is out of order at the moment"),
        ("at sea", Answer::Sea, "has no forecast for this garden's place"),
        (
            "without a temperature",
            Answer::Weather(Weather { nulls: true, ..frost() }.without(at("2027-01-15T00:00:00Z"), 200)),
            "sent a forecast without temperatures",
        ),
    ]
}

#[test]
fn a_service_that_cannot_be_used_is_named_and_nothing_is_called_safe() {
    let relay = SmtpSink::start(&[]);
    for (case, answer, told) in unusable() {
        let before = to(&relay, TUESDAY).len();
        let feed = Feed::start(answer);
        Installation::new(&feed.base, &relay).once_in_haste(AFTERNOON).ended_with(0);
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
    garden.once_in_haste(AFTERNOON).ended_with(0);
    let [mail] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    assert!(mail.text().contains("The weather service could not be reached."), "{}", mail.text());
    assert!(!mail.text().to_lowercase().contains("fine"), "{}", mail.text());
    // The next round has nothing new to say, and the morning after asks for the low.
    garden.once_in_haste(DUSK).ended_with(0);
    assert_eq!(to(&relay, MANAGER).len(), 1);
    garden.once_in_haste("2027-01-17T08:40:00-05:00").ended_with(0);
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
    garden.once_in_haste(AFTERNOON).ended_with(0);
    let [_, mail] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    let text = mail.text();
    assert!(text.contains("Feed grid: The weather service could not be reached."), "{text}");
    assert!(text.contains("issued Saturday 10:00 EST, 3 hours old."), "{text}");
    assert!(text.contains("COVER: "), "{text}");
    // The next day it is too old to be used.
    garden.once_in_haste("2027-01-17T13:00:10-05:00").ended_with(0);
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
fn after_every_fault_a_second_service_stands_in_and_its_name_is_told() {
    let (first, second, relay) = (Feed::with(frost()), Feed::with(frost()), SmtpSink::start(&[]));
    let feeds = [("grid", "nws", first.base.as_str()), ("norway", "met-norway", second.base.as_str())];
    let two = GARDEN.replace("feeds = [\"grid\"]", "feeds = [\"grid\", \"norway\"]");
    for (case, answer, _) in unusable() {
        first.set(answer);
        let before = to(&relay, MANAGER).len();
        Installation::with(&service(&feeds, &to_relay(relay.port)), &two).once_in_haste(AFTERNOON).ended_with(0);
        let mails = to(&relay, MANAGER).split_off(before);
        let [mail] = &mails[..] else { panic!("{case}: {mails:?}") };
        let text = mail.text();
        assert!(text.contains("MET Norway") && text.contains("COVER: "), "{case}: {text}");
        assert!(text.contains("Feed grid: "), "{case}: {text}");
    }
}

#[test]
fn after_every_fault_the_last_good_forecast_speaks_and_its_age_is_told() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    for (case, answer, told) in unusable() {
        feed.set_weather(frost());
        let garden = Installation::new(&feed.base, &relay);
        garden.once("2027-01-16T10:20:00-05:00").ended_with(0);
        // As if nothing had been said of it yet.
        garden.tampered("DELETE FROM said; DELETE FROM outbox");
        // A look-up that is a week old is made again.
        garden.tampered("UPDATE grid_addresses SET looked_up = 0");
        feed.set(answer);
        let before = to(&relay, MANAGER).len();
        garden.once_in_haste(AFTERNOON).ended_with(0);
        let mails = to(&relay, MANAGER).split_off(before);
        let [mail] = &mails[..] else { panic!("{case}: {mails:?}") };
        let text = mail.text();
        assert!(text.contains("issued Saturday 10:00 EST, 3 hours old.") && text.contains("COVER: "), "{case}: {text}");
        // Of an older copy nothing is told: what is at hand is newer. A place that is known needs no look-up.
        let is_told = !["forty hours old", "at sea"].contains(&case);
        assert!(!is_told || text.contains(told), "{case}: {text}");
    }
}

#[test]
fn a_fault_that_passes_is_outlasted_within_the_look() {
    let relay = SmtpSink::start(&[]);
    let half_a_day_old = Weather { issued: at("2027-01-16T02:00:00Z"), ..frost() };
    for (case, answers) in [
        ("out of order", vec![Answer::Status("503 Service Unavailable", "{}".into())]),
        ("throttled", vec![Answer::Headers("429 Too Many Requests", "Retry-After: 1\r\n")]),
        ("broken off", vec![Answer::Half(frost()), Answer::Half(frost())]),
        ("redirected at home", vec![Answer::Headers("301 Moved Permanently", "Location: /gridpoints/XXX/12,34\r\n")]),
    ] {
        let (feed, before) = (Feed::with(frost()), to(&relay, MANAGER).len());
        feed.set_script(answers);
        let garden = Installation::new(&feed.base, &relay);
        garden.ran(&["run", "--once", "--patience", "20", "--now", AFTERNOON]).ended_with(0);
        let mails = to(&relay, MANAGER).split_off(before);
        let [mail] = &mails[..] else { panic!("{case}: {mails:?}") };
        let text = mail.text();
        assert!(text.contains("COVER: ") && !text.contains("Feed grid"), "{case}: {text}");
        assert!(text.contains("issued Saturday 10:00 EST, 3 hours old."), "{case}: {text}");
    }
    // An old copy from one of the service's computers is told as old, and the next look brings the new one.
    let (feed, before) = (Feed::with(frost()), to(&relay, MANAGER).len());
    feed.set_script(vec![Answer::Weather(half_a_day_old)]);
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    let mails = to(&relay, MANAGER).split_off(before);
    let text = mails.last().map(|mail| mail.text()).unwrap_or_default();
    assert!(text.contains("The forecast is 16 hours old; it is trusted less."), "{text}");
    garden.once(DUSK).ended_with(0);
    assert_eq!(garden.asked("SELECT datetime(issued, 'unixepoch') FROM forecasts"), ["2027-01-16 15:00:00"]);
}

#[test]
fn a_cell_that_moves_is_looked_up_again_at_once() {
    let relay = SmtpSink::start(&[]);
    // The old cell is gone; or it is there and belongs to another place now, whose weather is mild.
    for (case, elsewhere) in
        [("gone", None), ("another place's", Some(Weather { cell_at: Some((-70.0, 41.0)), ..frost() }))]
    {
        let feed = Feed::with(Weather { cell_at: Some((-80.0, 36.0)), ..frost() });
        let garden = Installation::new(&feed.base, &relay);
        garden.once("2027-01-16T06:30:10-05:00").ended_with(0);
        garden.tampered("DELETE FROM said; DELETE FROM outbox");
        let before = to(&relay, MANAGER).len();
        let newer = Weather { cell_at: Some((-80.0, 36.0)), issued: at("2027-01-16T17:00:00Z"), ..frost() };
        feed.set_weather(newer);
        feed.move_cell("13,35");
        if let Some(weather) = elsewhere {
            feed.serve_old_cell(Weather { low: 15.0, issued: at("2027-01-16T17:00:00Z"), ..weather });
        }
        garden.once(AFTERNOON).ended_with(0);
        let mails = to(&relay, MANAGER).split_off(before);
        let [mail] = &mails[..] else { panic!("{case}: {mails:?}") };
        let text = mail.text();
        assert!(text.contains("issued Saturday 12:00 EST") && text.contains("COVER: "), "{case}: {text}");
        assert!(!text.contains("Feed grid"), "{case}: {text}");
    }
}

#[test]
fn out_of_order_for_a_day_ends_in_less_trust_then_in_words_and_then_in_a_good_forecast() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    let newest = || to(&relay, MANAGER).last().map(|mail| mail.text()).unwrap_or_default();
    // How far the low may be out, as the arithmetic of one bed says it.
    let trust = |now: &str| garden.ran(&["explain", "--bed", "A1", "--patience", "1", "--now", now]).ended_with(0).out;
    garden.once("2027-01-16T10:20:00-05:00").ended_with(0);
    assert!(!trust("2027-01-16T13:00:00-05:00").contains("hours ago"));
    feed.set(Answer::Status("503 Service Unavailable", "{}".into()));
    garden.tampered("DELETE FROM said; DELETE FROM outbox; DELETE FROM rounds");
    // Thirteen hours after its issue at 10:00: still used, with a wider spread.
    let late = "2027-01-16T23:30:00-05:00";
    garden.once_in_haste(late);
    assert!(newest().contains("The forecast is 14 hours old; it is trusted less."), "{}", newest());
    assert!(newest().contains("is out of order at the moment"), "{}", newest());
    let steps = trust(late);
    assert!(steps.contains("issued 14 hours ago"), "{steps}");
    // Twenty-seven hours: nothing is known, and that is said hours before sunset.
    garden.once_in_haste("2027-01-17T13:00:10-05:00").ended_with(0);
    assert!(newest().contains("the forecast was issued 27 hours ago"), "{}", newest());
    assert!(!newest().to_lowercase().contains("fine"), "{}", newest());
    feed.set_weather(Weather { issued: at("2027-01-17T23:00:00Z"), ..frost() });
    garden.once("2027-01-17T19:45:00-05:00").ended_with(0);
    assert!(newest().contains("COVER: ") && newest().contains("issued Sunday 18:00 EST"), "{}", newest());
}

#[test]
fn nulls_in_the_critical_hours_are_missing_hours() {
    let (first, second, relay) = (Feed::with(frost()), Feed::with(frost()), SmtpSink::start(&[]));
    first.set_weather(Weather { nulls: true, low: 7.0, ..frost().without(at("2027-01-17T08:00:00Z"), 3) });
    Installation::new(&first.base, &relay).once(AFTERNOON).ended_with(0);
    let text = to(&relay, MANAGER).last().map(|mail| mail.text()).unwrap_or_default();
    assert!(text.contains("NOT KNOWN TO BE SAFE: ") && !text.to_lowercase().contains("fine:"), "{text}");
    // With a second service the night is known.
    let feeds = [("grid", "nws", first.base.as_str()), ("norway", "met-norway", second.base.as_str())];
    let two = GARDEN.replace("feeds = [\"grid\"]", "feeds = [\"grid\", \"norway\"]");
    Installation::with(&service(&feeds, &to_relay(relay.port)), &two).once(AFTERNOON).ended_with(0);
    let text = to(&relay, MANAGER).last().map(|mail| mail.text()).unwrap_or_default();
    assert!(text.contains("MET Norway") && text.contains("COVER: "), "{text}");
}

#[test]
fn two_gardens_in_one_cell_share_one_fetch() {
    let fetches = |provider: &str| {
        let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
        let garden = Installation::with(&service(&[("grid", provider, &feed.base)], &to_relay(relay.port)), GARDEN);
        // 300 m apart.
        let neighbour = GARDEN.replace("latitude = 36.0", "latitude = 36.003").replace("Orchard Lane", "Quarry Lane");
        garden.write("gardens/quarry-lane.toml", &neighbour);
        // With time enough: who is in a hurry asks for itself.
        garden.ran(&["run", "--once", "--patience", "30", "--now", AFTERNOON]).ended_with(0);
        assert_eq!(to(&relay, MANAGER).len(), 2, "{provider}");
        feed.forecasts()
    };
    for provider in ["nws", "met-norway"] {
        // A busy machine can make the one fetch try again, which counts as two; gardens that asked apart always do.
        let fewest = (0..3).map(|_| fetches(provider)).min();
        assert_eq!(fewest, Some(1), "{provider}");
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
    garden.once_in_haste(AFTERNOON).ended_with(0);
    let mails = to(&relay, MANAGER);
    let text = mails.last().map(|mail| mail.text()).unwrap_or_default();
    assert!(text.contains("MET Norway"), "{text}");
}

/// `https` would be the same but for its records: what is above them writes the log.
#[test]
fn the_key_of_a_paid_plan_is_in_no_log_and_no_mail() {
    const KEY: &str = "hunter2correcthorse";
    let (mut feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let echo = format!(r#"{{"reason": "the key {KEY} is not known here"}}"#);
    let page = format!("<html>{KEY}</html>").into_bytes();
    let answers = [
        Answer::Weather(frost()),
        Answer::Status("400 Bad Request", echo),
        Answer::Headers("301 Moved Permanently", "Location: https://weather.example/x?apikey=hunter2correcthorse\r\n"),
        Answer::Headers("302 Found", "Location: /mine/x?apikey=hunter2correcthorse\r\n"),
        Answer::Bytes("Content-Type: text/html\r\n", page),
        Answer::Silence,
    ];
    let address = format!("{}/mine?apikey={KEY}", feed.base);
    let garden = Installation::with(&service(&[("own", "met-norway", &address)], &to_relay(relay.port)), &{
        GARDEN.replace("feeds = [\"grid\"]", "feeds = [\"own\"]")
    });
    let evening = |how_often: usize| {
        let now = format!("2027-01-{}T13:00:10-05:00", 16 + how_often);
        let mut command = garden.command(&["run", "--once", "--patience", "1", "--now", &now]);
        let ran: Ran = command.env("COUNTERPANE_LOG", "trace").output().expect("the program starts").into();
        assert!(!ran.err.contains(KEY) && !ran.out.contains(KEY), "{}", ran.err);
        assert!(ran.err.contains("TRACE") || ran.err.contains("DEBUG"), "nothing was logged: {}", ran.err);
    };
    let count = answers.len();
    for (number, answer) in answers.into_iter().enumerate() {
        feed.set(answer);
        evening(number);
    }
    assert!(feed.forecasts() >= count, "the key's address was not asked");
    feed.close();
    evening(count);
    assert!(relay.arrived().iter().all(|mail| !mail.body.contains(KEY)));
    // A typing slip in the address is shown without it.
    garden.write(
        "counterpane.toml",
        &service(&[("own", "met-norway", &format!("http//x?apikey={KEY}"))], "folder = \"m\""),
    );
    let ran = garden.ran(&["check"]);
    assert!(!ran.err.contains(KEY) && !ran.out.contains(KEY), "{} {}", ran.out, ran.err);
}

#[test]
fn a_provider_that_asked_for_silence_is_left_alone_by_the_next_pass_too() {
    let relay = SmtpSink::start(&[]);
    let feed = Feed::with(frost());
    let garden = Installation::new(&feed.base, &relay);
    feed.set(Answer::Headers("429 Too Many Requests", "Retry-After: 14400\r\n"));
    garden.once_in_haste("2027-01-16T17:00:00-05:00").ended_with(0);
    let asked = feed.requests();
    assert!(asked > 0);
    feed.set_weather(frost());
    garden.once(DUSK).ended_with(0);
    assert_eq!(feed.requests(), asked, "it was asked again within its four hours");
    garden.once("2027-01-17T06:30:10-05:00").ended_with(0);
    assert!(feed.requests() > asked, "it is left alone for ever");
}
