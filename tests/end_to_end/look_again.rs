//! Days after a frost: who is asked what it did, when, and how often.

use crate::support::feed::Feed;
use crate::support::installation::{Installation, MANAGER, TUESDAY, at, to};
use crate::support::smtp_sink::{Arrived, SmtpSink};
use crate::support::weather_documents::Weather;

const MILD: f64 = 8.0;
const FROST: f64 = -5.0;

/// Mornings and afternoons of January 2027, with frost in the nights named; the questions that a person got, each with
/// the day on which it came.
fn asked(days: std::ops::RangeInclusive<u32>, frosts: &[u32], person: &str) -> Vec<(u32, Arrived)> {
    let (feed, relay) = (Feed::with(Weather::of_low(MILD, at("2027-01-10T10:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    let mut questions = Vec::new();
    for day in days {
        let low = if frosts.contains(&day) { FROST } else { MILD };
        for (issued, now) in [("10:00:00Z", "06:30:10-05:00"), ("17:00:00Z", "13:00:10-05:00")] {
            feed.set_weather(Weather::of_low(low, at(&format!("2027-01-{day:02}T{issued}"))));
            garden.once(&format!("2027-01-{day:02}T{now}")).ended_with(0);
        }
        let all = to(&relay, person).into_iter().filter(|mail| mail.subject().starts_with("What did the frost do?"));
        questions.extend(all.skip(questions.len()).map(|mail| (day, mail)).collect::<Vec<_>>());
    }
    questions
}

#[test]
fn a_frost_is_asked_about_three_days_after_it_and_again_after_ten() {
    let questions = asked(16..=28, &[16], MANAGER);
    let days: Vec<u32> = questions.iter().map(|(day, _)| *day).collect();
    assert_eq!(days, [20, 27]);
    let (_, first) = &questions[0];
    assert_eq!(first.subject(), "What did the frost do? Look at 3 beds (Orchard Lane)");
    let text = first.text();
    assert!(text.contains("It is some days after the night of Saturday 16 January."), "{text}");
    // A1 and S1 were covered, A2 picked; the pots were inside, and A3 stands it.
    for bed in ["A1", "A2", "S1"] {
        let command = format!("counterpane damage --garden orchard-lane {bed} <0 to 5> --night 2027-01-16");
        assert!(text.contains(&command), "{text}");
    }
    assert!(!text.contains("P1") && !text.contains("A3"), "{text}");
}

#[test]
fn nights_in_a_row_are_asked_about_together_and_volunteers_need_no_command() {
    let questions = asked(16..=23, &[16, 17], TUESDAY);
    let days: Vec<u32> = questions.iter().map(|(day, _)| *day).collect();
    assert_eq!(days, [21]);
    let text = questions[0].1.text();
    assert!(text.contains("after the nights from Saturday 16 January to Sunday 17 January."), "{text}");
    assert!(text.contains("Tell whoever keeps the log") && !text.contains("counterpane damage"), "{text}");
}
