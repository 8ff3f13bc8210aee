//! Nights to come: who is told of them, how often, and what stays on the beds between two of them.

use crate::support::feed::{Answer, Feed};
use crate::support::installation::{Installation, MANAGER, TUESDAY, WEEKEND, at, to};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;

const MILD: f64 = 7.0;
const FROST: f64 = -6.0;

/// Mild nights, and then frost in the night of Wednesday 20 January.
fn frost_on_wednesday(issued: &str) -> Weather {
    Weather::of_low(MILD, at(issued)).then(at("2027-01-20T18:00:00Z"), FROST)
}

#[test]
fn a_night_to_come_is_told_once_in_the_morning_and_to_managers() {
    let (feed, relay) = (Feed::with(frost_on_wednesday("2027-01-17T10:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    // The first sign of life of a new installation; the frost is further off than anybody is told of.
    garden.once("2027-01-17T06:30:10-05:00").ended_with(0);
    let [quiet] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    assert!(quiet.subject().starts_with("All quiet tonight"), "{}", quiet.subject());
    assert!(quiet.text().contains("- Tuesday 19 January: low 44 F (four in five between"), "{}", quiet.text());
    assert!(!quiet.text().contains("20 January"), "{}", quiet.text());

    feed.set_weather(frost_on_wednesday("2027-01-18T10:00:00Z"));
    garden.once("2027-01-18T06:30:10-05:00").ended_with(0);
    let mails = to(&relay, MANAGER);
    let [_, ahead] = &mails[..] else { panic!("{mails:?}") };
    let subject = "Look ahead: Wednesday harvest 2, bring in 1, cover 1, low 20 F (Orchard Lane)";
    assert_eq!(ahead.subject(), subject);
    assert!(ahead.text().contains("Nothing to do tonight. Wednesday 20 January may want work"), "{}", ahead.text());
    assert!(ahead.text().contains("water it by noon on Tuesday"), "{}", ahead.text());
    assert!(ahead.text().contains("The next message comes by "), "{}", ahead.text());
    // Neither the afternoon nor the next morning says it again.
    garden.once("2027-01-18T13:00:10-05:00").ended_with(0);
    feed.set_weather(frost_on_wednesday("2027-01-19T10:00:00Z"));
    garden.once("2027-01-19T06:30:10-05:00").ended_with(0);
    assert_eq!(to(&relay, MANAGER).len(), 2);
    assert!(to(&relay, TUESDAY).is_empty() && to(&relay, WEEKEND).is_empty());

    // The night's own list is its first, not a change of what was said ahead.
    feed.set_weather(frost_on_wednesday("2027-01-20T10:00:00Z"));
    garden.once("2027-01-20T13:00:10-05:00").ended_with(0);
    for person in [MANAGER, TUESDAY, WEEKEND] {
        let mails = to(&relay, person);
        let Some(list) = mails.last() else { panic!("{person} was not told") };
        assert!(list.subject().starts_with("Harvest 2, bring in 1, cover 1 by 17:"), "{}", list.subject());
        assert!(!list.text().contains("Since the message of"), "{}", list.text());
    }
}

#[test]
fn a_night_to_come_is_told_again_when_it_asks_for_more() {
    let on_wednesday = |issued: &str, low: f64| Weather::of_low(MILD, at(issued)).then(at("2027-01-20T18:00:00Z"), low);
    let (feed, relay) = (Feed::with(on_wednesday("2027-01-18T10:00:00Z", -1.0)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-17T06:30:10-05:00").ended_with(0);
    garden.once("2027-01-18T06:30:10-05:00").ended_with(0);
    let told = || -> Vec<String> {
        let mails = to(&relay, MANAGER).into_iter().map(|mail| format!("{}\n{}", mail.subject(), mail.text()));
        mails.filter(|mail| mail.starts_with("Look ahead")).collect()
    };
    assert_eq!(told().len(), 1, "{:?}", told());
    feed.set_weather(on_wednesday("2027-01-19T10:00:00Z", FROST));
    garden.once("2027-01-19T06:30:10-05:00").ended_with(0);
    let [first, again] = &told()[..] else { panic!("{:?}", told()) };
    assert!(again.starts_with("Look ahead, worse: Wednesday harvest 2, bring in 1, cover 1, low 20 F"), "{again}");
    assert!(!first.contains("asks for more"), "{first}");
    assert!(again.contains("It asks for more than the last word about it, sent for a low of 29 F."), "{again}");
}

/// The morning after a frost, of days like it.
fn morning_after(next_low: Option<f64>) -> String {
    let (feed, relay) = (Feed::with(Weather::of_low(FROST, at("2027-01-16T10:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-16T13:00:10-05:00").ended_with(0);
    match next_low {
        Some(low) => feed.set_weather(Weather::of_low(low, at("2027-01-17T10:00:00Z"))),
        None => {
            feed.set(Answer::Status("503 Away", String::new()));
            garden.tampered("DELETE FROM forecasts");
        }
    }
    garden.once_in_haste("2027-01-17T08:40:00-05:00").ended_with(0);
    let mails = to(&relay, TUESDAY);
    let over = mails.iter().find(|mail| mail.subject().contains("write down the low"));
    over.map_or_else(|| panic!("{mails:?}"), |mail| format!("{}\n{}", mail.subject(), mail.text()))
}

#[test]
fn covers_that_the_next_night_wants_again_stay_where_the_day_allows_it() {
    // Never above freezing: heavy cloth stays where it is of use again. What lay on A1 helps no more on such a night.
    let text = morning_after(Some(-13.0));
    let (off, stays) = (text.find("TAKE OFF THE COVERS"), text.find("LEAVE COVERED"));
    let bed = |id: &str| text.find(&format!("[ ] {id} (heavy row cover)"));
    assert!(off < bed("A1") && bed("A1") < stays && stays < bed("S1"), "{text}");
    // Six degrees above it: off for the light, and on again.
    let text = morning_after(Some(FROST));
    assert!(
        text.contains("TAKE OFF THE COVERS") && text.contains("Keep at hand what tonight wants again: A1"),
        "{text}"
    );
    // Not wanted again, or nothing known: off, as ever.
    for next_low in [Some(MILD), None] {
        let text = morning_after(next_low);
        assert!(text.contains("TAKE OFF THE COVERS") && !text.contains("wants again"), "{text}");
    }
}
