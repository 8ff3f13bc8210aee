//! What the mails of the morning ask for, typed as they say it, teaches.

use crate::support::feed::Feed;
use crate::support::installation::{GARDEN, Installation, MANAGER, at, service, to, to_relay};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;

/// The commands of a mail, as whoever pastes them gets them: line by line.
fn commands(text: &str) -> Vec<Vec<String>> {
    let lines = text.lines().map(str::trim).filter_map(|line| line.strip_prefix("counterpane "));
    lines.map(|line| line.split_whitespace().map(str::to_string).collect()).collect()
}

/// An installation after a night of frost, and the text of the manager's mail of the morning.
fn after_a_frost() -> (Installation, String) {
    let (feed, relay) = (Feed::with(Weather::of_low(-5.0, at("2027-01-16T10:00:00Z"))), SmtpSink::start(&[]));
    // Two crops in one bed, of which one answer would say nothing.
    let one = r#"plantings = [{ crop = "broccoli", stage = "heading", hardened = "partly" }]"#;
    let two = one.replace("}]", r#"}, { crop = "spinach", stage = "leafy", hardened = "no" }]"#);
    assert!(GARDEN.contains(one));
    let service = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
    let garden = Installation::with(&service, &GARDEN.replace(one, &two));
    for now in ["2027-01-16T06:30:10-05:00", "2027-01-16T13:00:10-05:00", "2027-01-17T08:40:00-05:00"] {
        garden.once(now).ended_with(0);
    }
    let mails = to(&relay, MANAGER);
    let morning =
        mails.iter().find(|mail| mail.subject().contains("write down the low")).expect("a word of the morning");
    (garden, morning.part("text/plain").to_string())
}

#[test]
fn the_reading_that_the_morning_asks_for_sees_the_night_through() {
    let (garden, text) = after_a_frost();
    let mailed = commands(&text).into_iter().find(|words| words[0] == "reading").expect("a command");
    let typed: Vec<&str> = mailed.iter().map(String::as_str).chain(["--now", "2027-01-17T08:45:00-05:00"]).collect();
    garden.ran(&typed).ended_with(0);
    let learned = garden.ran(&["learned", "--now", "2027-01-17T09:00:00-05:00"]).ended_with(0).out;
    assert!(learned.contains("from 1 night: 2027-01-16"), "{learned}");
}

#[test]
fn each_answer_that_the_morning_asks_for_teaches() {
    let (garden, text) = after_a_frost();
    let mailed = commands(&text);
    let typed = |words: &[String], now: &str| {
        let number = |word: &String| if word == "0-5" { "2".to_string() } else { word.clone() };
        let words: Vec<String> = words.iter().map(number).chain(["--now".into(), now.into()]).collect();
        garden.ran(&words.iter().map(String::as_str).collect::<Vec<_>>())
    };
    let damage: Vec<&Vec<String>> = mailed.iter().filter(|words| words[0] == "damage").collect();
    assert_eq!(damage.len(), 4, "A1, two of A2, S1: {text}");
    let (care, asked) = (text.find("CARE"), text.find("WHAT DID THE FROST DO?"));
    assert!(text.find("LOOK AT THE PLANTS") < asked && asked < care, "{text}");
    assert!(text.contains("A 0 teaches as\r\nmuch as a 5.") || text.contains("A 0 teaches as much as a 5."), "{text}");
    // As it stands it is no answer.
    let words: Vec<&str> = damage[0].iter().map(String::as_str).collect();
    assert!(garden.ran(&words).ended_with(2).err.contains("is no class from 0 to 5"));
    for words in mailed.iter().filter(|words| ["reading", "damage"].contains(&words[0].as_str())) {
        typed(words, "2027-01-17T10:00:00-05:00").ended_with(0);
    }
    // What lay on a bed, and what was picked, is not known here: A2 was left as it was.
    let learned = garden.ran(&["learned", "--now", "2027-01-18T09:00:00-05:00"]).ended_with(0).out;
    assert!(learned.contains("tolerance:broccoli:heading:head") && !learned.contains("several crops"), "{learned}");
}

#[test]
fn the_story_of_a_night_says_what_the_morning_said_and_takes_a_look_for_a_look() {
    let (garden, _) = after_a_frost();
    let story = || garden.ran(&["event", "2027-01-16", "--now", "2027-01-17T12:00:00-05:00"]).ended_with(0).out;
    let said = story();
    let line = |clock: &str| said.lines().rfind(|line| line.contains(clock)).expect("what was said then").to_string();
    assert!(line("Sat 06:30").contains("A1 cover with heavy row cover"), "{said}");
    let morning = line("Sun 08:40");
    assert!(morning.contains("uncover ") && morning.contains("A1") && !morning.contains(" cover with"), "{said}");
    assert!(morning.contains("carry P1 back out"), "{said}");
    garden
        .ran(&["reading", "40F", "--sure", "--at", "last night 20:00", "--now", "2027-01-17T09:00:00-05:00"])
        .ended_with(0);
    let looked = story();
    assert!(looked.contains("coldest look 40.0 F at the garden's screen"), "{looked}");
    assert!(!looked.contains("lowest of the night") && !looked.contains("Forecast against thermometer"), "{looked}");
    let list = || garden.ran(&["event", "--now", "2027-01-17T12:00:00-05:00"]).ended_with(0).out;
    assert!(list().contains("look 40.0 F at the garden's screen"), "{}", list());
    garden.ran(&["reading", "24F", "--min", "--now", "2027-01-17T09:00:00-05:00"]).ended_with(0);
    let measured = story();
    assert!(measured.contains("lowest of the night 24.0 F at the garden's screen"), "{measured}");
    assert!(!measured.contains("coldest look") && measured.contains("Forecast against thermometer"), "{measured}");
    assert!(list().contains(" 24.0 F at the garden's screen") && !list().contains("look"), "{}", list());
}
