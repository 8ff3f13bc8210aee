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
    asked_after(days, |day| if frosts.contains(&day) { [FROST; 2] } else { [MILD; 2] }, person, |_, _| {})
}

/// The same with the lows that a morning and an afternoon expect, and what is done after the two.
fn asked_after(
    days: std::ops::RangeInclusive<u32>,
    lows: impl Fn(u32) -> [f64; 2],
    person: &str,
    done: impl Fn(&Installation, u32),
) -> Vec<(u32, Arrived)> {
    let (feed, relay) = (Feed::with(Weather::of_low(MILD, at("2027-01-10T10:00:00Z"))), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    let mut questions = Vec::new();
    for day in days {
        for (low, (issued, now)) in
            lows(day).into_iter().zip([("10:00:00Z", "06:30:10-05:00"), ("17:00:00Z", "13:00:10-05:00")])
        {
            feed.set_weather(Weather::of_low(low, at(&format!("2027-01-{day:02}T{issued}"))));
            garden.once(&format!("2027-01-{day:02}T{now}")).ended_with(0);
        }
        done(&garden, day);
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
    for planting in ["A1 lettuce_leaf", "A2 broccoli", "S1 strawberry"] {
        let command = format!("counterpane damage {planting} 0-5 --night 2027-01-16 --garden orchard-lane");
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

/// The morning asked for covers and the afternoon called them off: nothing was at risk.
#[test]
fn a_mild_night_that_was_called_off_is_not_asked_about() {
    let called_off = |day: u32| if day == 16 { [FROST, MILD] } else { [MILD; 2] };
    let questions = asked_after(16..=21, called_off, MANAGER, |_, _| {});
    assert!(questions.is_empty(), "{questions:?}");
}

/// Of a frost that nobody foretold most is learned, and a thermometer has seen it.
#[test]
fn a_frost_that_was_only_measured_is_asked_about() {
    let read = |garden: &Installation, day: u32| {
        if day == 17 {
            garden.ran(&["reading", "-4C", "--min", "--sure", "--now", "2027-01-17T13:10:00-05:00"]).ended_with(0);
        }
    };
    let questions = asked_after(16..=21, |_| [MILD; 2], MANAGER, read);
    let [(day, mail)] = &questions[..] else { panic!("{questions:?}") };
    assert_eq!(*day, 20);
    assert!(mail.text().contains("counterpane damage A1 lettuce_leaf 0-5 --night 2027-01-16"), "{}", mail.text());
    assert!(!mail.text().contains(" A3"), "{}", mail.text());
}
