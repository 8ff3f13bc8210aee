//! What goes with a list's mail: a page to print, and an entry for the calendar that is taken out again.

use crate::support::feed::Feed;
use crate::support::installation::{GARDEN, Installation, MANAGER, TUESDAY, WEEKEND, at, to};
use crate::support::smtp_sink::{Arrived, SmtpSink};
use crate::support::weather_documents::Weather;

const MORNING: &str = "2027-01-16T06:30:10-05:00";
const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const MORNING_AFTER: &str = "2027-01-17T08:40:00-05:00";
const FROST: f64 = -4.0;
const MILD: f64 = 7.0;

fn of_low(low: f64) -> Weather {
    Weather::of_low(low, at("2027-01-16T10:00:00Z"))
}

/// The lines of the calendar entry of a mail, unfolded; none where there is none.
fn entry(mail: &Arrived) -> Vec<String> {
    let Some((_, after)) = mail.body.split_once("BEGIN:VCALENDAR\r\n") else { return Vec::new() };
    let (entry, _) = after.split_once("END:VCALENDAR\r\n").expect("a whole entry");
    entry.replace("\r\n ", "").split("\r\n").map(str::to_string).collect()
}

#[track_caller]
fn line<'e>(entry: &'e [String], key: &str) -> &'e str {
    entry.iter().find_map(|line| line.strip_prefix(key)).unwrap_or_else(|| panic!("no {key} in {entry:?}"))
}

#[test]
fn a_list_brings_a_page_and_an_entry_and_its_calling_off_takes_the_entry_out() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(0);
    feed.set_weather(of_low(MILD));
    garden.once(AFTERNOON).ended_with(0);
    for person in [MANAGER, TUESDAY, WEEKEND] {
        let [list, called_off] = &to(&relay, person)[..] else { panic!("{person}: {:?}", to(&relay, person)) };
        assert!(list.header("Content-Type").is_some_and(|kind| kind.starts_with("multipart/mixed;")));
        assert!(list.body.contains("Content-Disposition: attachment; filename=\"list-2027-01-16.html\""));
        assert!(list.body.contains("Content-Disposition: attachment; filename=\"night-2027-01-16.ics\""));
        assert!(list.body.contains("Content-Type: text/calendar; charset=utf-8; method=PUBLISH"), "{}", list.body);
        assert!(list.body.len() < 100_000);
        let published = entry(list);
        assert_eq!(line(&published, "UID:"), "2027-01-16.orchard-lane@orchard-lane.example");
        assert_eq!((line(&published, "METHOD:"), line(&published, "STATUS:")), ("PUBLISH", "CONFIRMED"));
        assert_eq!((line(&published, "SEQUENCE:"), line(&published, "DTSTAMP:")), ("0", "20270116T113010Z"));
        // The deadline is 17:00 there.
        assert_eq!(line(&published, "DTEND:"), "20270116T220000Z");

        assert!(called_off.body.contains("Content-Type: text/calendar; charset=utf-8; method=CANCEL"));
        assert!(!called_off.body.contains("list-2027-01-16.html"), "there is nothing to print");
        let cancelled = entry(called_off);
        assert_eq!(line(&cancelled, "UID:"), line(&published, "UID:"));
        assert_eq!((line(&cancelled, "METHOD:"), line(&cancelled, "STATUS:")), ("CANCEL", "CANCELLED"));
        assert_eq!(line(&cancelled, "SEQUENCE:"), "1");
    }
}

#[test]
fn the_morning_after_brings_nothing_and_who_wants_no_calendar_gets_none() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let address = format!("address = \"{TUESDAY}\"\n");
    let text = GARDEN.replace(&address, &format!("{address}calendar = false\n"));
    assert_ne!(text, GARDEN);
    let garden = Installation::new(&feed.base, &relay);
    garden.write("gardens/orchard-lane.toml", &text);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(Weather::of_low(MILD, at("2027-01-17T10:00:00Z")));
    garden.once(MORNING_AFTER).ended_with(0);
    let [tuesday, morning] = &to(&relay, TUESDAY)[..] else { panic!("{:?}", to(&relay, TUESDAY)) };
    assert!(entry(tuesday).is_empty() && tuesday.body.contains("list-2027-01-16.html"), "{}", tuesday.body);
    assert!(morning.header("Content-Type").is_some_and(|kind| kind.starts_with("multipart/alternative;")));
    assert!(!entry(&to(&relay, WEEKEND)[0]).is_empty());
}
