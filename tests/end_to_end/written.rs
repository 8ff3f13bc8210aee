//! What somebody wrote down beats what the lists asked for.

use crate::support::feed::Feed;
use crate::support::installation::{Installation, MANAGER, TUESDAY, at, to};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;

const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const AT_WORK: &str = "2027-01-16T17:05:00-05:00";
const DUSK: &str = "2027-01-16T19:45:00-05:00";
const NEXT_AFTERNOON: &str = "2027-01-17T13:00:10-05:00";

fn of_low(low: f64, issued: &str) -> Weather {
    Weather::of_low(low, at(issued))
}

/// What the list now says, bed by bed: measure, reason, and what of its work is done before the night.
fn listed(garden: &Installation, now: &str) -> Vec<String> {
    let ran = garden.ran(&["tonight", "--json", "--now", now]);
    let document: serde_json::Value = serde_json::from_str(&ran.out).unwrap_or_else(|_| panic!("{ran:?}"));
    let beds = document["beds"].as_array().expect("beds").iter();
    let text = |value: &serde_json::Value| value.as_str().unwrap_or("-").to_string();
    beds.map(|bed| format!("{} {} {}", text(&bed["bed"]), text(&bed["measure"]), text(&bed["reason"]))).collect()
}

fn written(garden: &Installation, arguments: &[&str], now: &str) {
    garden.ran(&[arguments, &["--now", now]].concat()).ended_with(0);
}

#[test]
fn a_head_that_was_cut_is_not_asked_for_again() {
    let (feed, relay) = (Feed::with(of_low(-5.0, "2027-01-16T15:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    assert!(to(&relay, TUESDAY)[0].text().contains("cut the central head"), "{}", to(&relay, TUESDAY)[0].text());
    // A few florets for supper are no harvest.
    written(&garden, &["harvested", "A2", "broccoli", "200g"], AT_WORK);
    assert!(listed(&garden, AT_WORK).contains(&"A2 harvest pick-before-frost".into()));
    written(&garden, &["harvested", "A2", "broccoli", "8"], AT_WORK);
    // On the same evening it is no news that it was done.
    garden.once(DUSK).ended_with(0);
    assert_eq!(to(&relay, TUESDAY).len(), 1, "{}", to(&relay, TUESDAY)[1].subject());
    feed.set_weather(of_low(-5.0, "2027-01-17T15:00:00Z"));
    // The next night as cold: the plant stands, and what is left of its worth counts.
    let listed = listed(&garden, NEXT_AFTERNOON);
    assert!(
        listed.iter().any(|bed| bed.starts_with("A2 ")) && !listed.iter().any(|bed| bed.contains("A2 harvest")),
        "{listed:?}"
    );
    garden.once(NEXT_AFTERNOON).ended_with(0);
    let mails = to(&relay, MANAGER);
    let last = mails.last().expect("a mail");
    assert!(last.text().contains("A1: leaf lettuce") && !last.text().contains("central head"), "{}", last.text());
}

#[test]
fn a_planting_that_was_lost_is_not_protected() {
    let (feed, relay) = (Feed::with(of_low(-5.0, "2027-01-16T15:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    assert!(!listed(&garden, AFTERNOON).contains(&"A1 fine picked-before".into()));
    garden.once(AFTERNOON).ended_with(0);
    written(&garden, &["lost", "A1", "lettuce_leaf"], AT_WORK);
    assert!(listed(&garden, AT_WORK).contains(&"A1 fine picked-before".into()));
    written(&garden, &["resown", "A1", "lettuce_leaf"], AT_WORK);
    assert!(!listed(&garden, AT_WORK).contains(&"A1 fine picked-before".into()));
}
