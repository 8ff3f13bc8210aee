//! What the mails of the morning ask for, typed as they say it, teaches.

use crate::support::feed::Feed;
use crate::support::installation::{Installation, MANAGER, at, to};
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
    let garden = Installation::new(&feed.base, &relay);
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
