//! What a garden hears in the course of an evening and the morning after.

use crate::support::feed::{Answer, Feed};
use crate::support::installation::{Installation, MANAGER, TUESDAY, WEEKEND, at, to};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;

const MORNING: &str = "2027-01-16T06:30:10-05:00";
const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
/// Two hours after sunset.
const DUSK: &str = "2027-01-16T19:45:00-05:00";

fn of_low(low: f64) -> Weather {
    Weather::of_low(low, at("2027-01-16T10:00:00Z"))
}

/// The rounds of the morning after, of a mild day: its first has nothing to say, its second follows the sun.
fn morning_after(garden: &Installation, feed: &Feed) {
    feed.set_weather(Weather::of_low(MILD, at("2027-01-17T10:00:00Z")));
    for now in ["2027-01-17T06:30:10-05:00", "2027-01-17T08:40:00-05:00"] {
        garden.once(now).ended_with(0);
    }
}

const FROST: f64 = -4.0;
const HARD_FROST: f64 = -10.0;
const MILD: f64 = 7.0;

#[test]
fn each_person_gets_one_mail_and_a_second_pass_says_nothing() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    for (person, role) in [(MANAGER, "manager"), (TUESDAY, "volunteer"), (WEEKEND, "volunteer")] {
        let [mail] = &to(&relay, person)[..] else { panic!("{person}: {:?}", to(&relay, person)) };
        assert!(mail.subject().contains(" by 17:00: low ") && mail.subject().ends_with(" (Orchard Lane)"));
        assert_eq!(mail.from, "frost@orchard-lane.example");
        let id = mail.header("Message-ID").unwrap_or_default();
        assert!(id.starts_with("<2027-01-16.list.1.") && id.ends_with("@orchard-lane.example>"), "{id}");
        assert_eq!(mail.header("In-Reply-To"), None);
        assert_eq!(mail.header("Auto-Submitted"), Some("auto-generated"));
        assert_eq!(mail.header("List-Id"), Some("<orchard-lane.orchard-lane.example>"));
        assert!(mail.header("To").is_some_and(|to| to.contains(person) && to.matches('@').count() == 1));
        assert!(mail.text().contains("Night of Saturday 16 January: "), "{}", mail.text());
        assert!(mail.text().contains("A1: leaf lettuce"), "{}", mail.text());
        assert!(mail.part("text/html").contains("<!DOCTYPE html>"));
        assert_eq!(mail.text().contains("counterpane explain"), role == "manager", "{role}");
    }
    assert_eq!(garden.asked("SELECT DISTINCT state FROM outbox"), ["sent"]);
    // What was foretold is kept for the morning after, and a second pass of the same round does not add to it.
    let foretold = "SELECT night || ' ' || round || ' ' || provider || ' ' || (low BETWEEN -6 AND -3) || ' ' ||
                    (feed_low BETWEEN -5 AND -3.9) || ' ' || round(lead_hours) || ' ' || readings FROM forecast_at_round";
    let kept = garden.asked(foretold);
    let tonight: Vec<&String> = kept.iter().filter(|row| row.starts_with("2027-01-16 ")).collect();
    assert!(tonight.len() == 1 && tonight[0].starts_with("2027-01-16 afternoon nws 1 1 "), "{kept:?}");
    let ids = |relay: &SmtpSink| -> Vec<String> {
        relay.arrived().iter().filter_map(|mail| Some(mail.header("Message-ID")?.to_string())).collect()
    };
    let first = ids(&relay);
    garden.once(AFTERNOON).ended_with(0);
    assert_eq!(ids(&relay), first);

    // The same evening of the same garden elsewhere: a mail's identity comes from what it is about alone.
    let elsewhere = SmtpSink::start(&[]);
    Installation::new(&feed.base, &elsewhere).once(AFTERNOON).ended_with(0);
    assert_eq!(ids(&elsewhere), first);
}

#[test]
fn a_colder_evening_is_told_as_worse_in_the_same_thread() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(of_low(HARD_FROST));
    garden.once(DUSK).ended_with(0);
    for person in [MANAGER, TUESDAY, WEEKEND] {
        let [first, second] = &to(&relay, person)[..] else { panic!("{:?}", to(&relay, person)) };
        assert!(second.subject().starts_with("Worse: "), "{}", second.subject());
        for name in ["In-Reply-To", "References"] {
            assert_eq!(second.header(name), first.header("Message-ID"), "{name}");
        }
        let text = second.text();
        assert!(text.contains("Since the message of 13:00: ") && text.contains("was fine, now "), "{text}");
        assert!(text.contains("The best hour has passed; late still helps"), "{text}");
    }
}

#[test]
fn a_milder_afternoon_calls_the_mornings_list_off() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(0);
    feed.set_weather(of_low(MILD));
    garden.once(AFTERNOON).ended_with(0);
    let [list, called_off] = &to(&relay, TUESDAY)[..] else { panic!("{:?}", to(&relay, TUESDAY)) };
    assert!(called_off.subject().starts_with("Called off"), "{}", called_off.subject());
    assert_eq!(called_off.header("In-Reply-To"), list.header("Message-ID"));
    assert!(called_off.text().contains("What the last list asked for is not needed"), "{}", called_off.text());
    // Nobody has covered anything, so there is nothing to uncover.
    morning_after(&garden, &feed);
    assert_eq!(relay.arrived().len(), 6);
}

#[test]
fn the_morning_after_says_what_to_uncover() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    garden.once(DUSK).ended_with(0);
    morning_after(&garden, &feed);
    for person in [MANAGER, TUESDAY, WEEKEND] {
        let [list, morning] = &to(&relay, person)[..] else { panic!("{:?}", to(&relay, person)) };
        assert!(morning.subject().starts_with("Uncover "), "{}", morning.subject());
        assert_eq!(morning.header("In-Reply-To"), list.header("Message-ID"));
        let text = morning.text();
        assert!(text.contains("The night of Saturday 16 January is over."), "{text}");
        assert!(text.contains("TAKE OFF THE COVERS When it is above freezing") && text.contains("[ ] A1"), "{text}");
        // A roof gains no more than a cover that is at hand, and a cover is less work.
        assert!(text.contains("[ ] P1"), "{text}");
    }
    morning_after(&garden, &feed);
    assert_eq!(relay.arrived().len(), 6);
}

#[test]
fn covers_laid_before_a_list_was_called_off_at_dusk_are_taken_off_in_the_morning() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(of_low(MILD));
    garden.once(DUSK).ended_with(0);
    morning_after(&garden, &feed);
    let subjects: Vec<String> = to(&relay, TUESDAY).iter().map(|mail| mail.subject()).collect();
    let [_, called_off, morning] = &subjects[..] else { panic!("{subjects:?}") };
    assert!(called_off.starts_with("Called off") && morning.starts_with("Uncover "), "{subjects:?}");
    let text = to(&relay, TUESDAY)[1].text();
    assert!(text.contains("The next message comes by Sunday 17 January, 09:14"), "{text}");
}

#[test]
fn the_word_of_the_morning_promises_the_next_one_where_the_coming_night_has_work() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(Weather::of_low(HARD_FROST, at("2027-01-17T10:00:00Z")));
    for now in ["2027-01-17T06:30:10-05:00", "2027-01-17T08:40:00-05:00"] {
        garden.once(now).ended_with(0);
    }
    for person in [MANAGER, TUESDAY] {
        let mails = to(&relay, person);
        let mail = mails.last().expect("a mail");
        assert!(mail.text().contains("The next message comes by Monday 18 January, 09:1"), "{}", mail.text());
    }
}

#[test]
fn a_list_without_work_does_not_promise_a_morning_after() {
    let hardy = "plantings = [{ crop = \"lettuce_leaf\", stage = \"leafy\", hardened = \"no\", worth_minutes = 0.5 }]";
    let (head, _) = crate::support::installation::GARDEN.split_once("[[beds]]").unwrap_or_default();
    let garden = format!("{head}\n[[beds]]\nid = \"A1\"\nkind = \"raised\"\nlength_m = 2.4\nwidth_m = 1.2\n{hardy}\n");
    let (feed, relay) = (Feed::with(of_low(HARD_FROST)), SmtpSink::start(&[]));
    let service = crate::support::installation::service(
        &[("grid", "nws", &feed.base)],
        &crate::support::installation::to_relay(relay.port),
    );
    let garden = Installation::with(&service, &garden);
    garden.once(MORNING).ended_with(0);
    let [mail] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    assert!(mail.subject().contains("at risk, left as"), "{}", mail.subject());
    // The next word is the next sign of life, a week later.
    assert!(mail.text().contains("The next message comes by Saturday 23 January, 07:15"), "{}", mail.text());
    morning_after(&garden, &feed);
    // There was nothing to ask of anybody else.
    assert_eq!(relay.arrived().len(), 1);
}

/// A volunteer hears nothing while a bed is only left at risk; the first work is no news on top of a message they never had.
#[test]
fn the_first_word_to_a_volunteer_names_no_message_that_they_never_had() {
    let (head, _) = crate::support::installation::GARDEN.split_once("[[beds]]").unwrap_or_default();
    let garden_of = |worth: &str| {
        format!(
            "{head}\n[[beds]]\nid = \"A1\"\nkind = \"raised\"\nlength_m = 2.4\nwidth_m = 1.2\nplantings = [{{ crop = \
             \"lettuce_leaf\", stage = \"leafy\", hardened = \"no\", worth_minutes = {worth} }}]\n"
        )
    };
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let service = crate::support::installation::service(
        &[("grid", "nws", &feed.base)],
        &crate::support::installation::to_relay(relay.port),
    );
    let garden = Installation::with(&service, &garden_of("0.5"));
    garden.once(MORNING).ended_with(0);
    assert_eq!((to(&relay, MANAGER).len(), to(&relay, TUESDAY).len()), (1, 0));
    garden.write("gardens/orchard-lane.toml", &garden_of("200"));
    garden.once(AFTERNOON).ended_with(0);
    let says = |person: &str| {
        let mails = to(&relay, person);
        let mail = mails.last().expect("a mail");
        (mail.subject().starts_with("Worse: "), mail.text().contains("Since the message of"))
    };
    assert_eq!(says(MANAGER), (true, true));
    assert_eq!(says(TUESDAY), (false, false));
    // Whoever was asked hears that it is called off.
    garden.write("gardens/orchard-lane.toml", &garden_of("0.5"));
    feed.set_weather(of_low(MILD));
    garden.once("2027-01-16T19:45:00-05:00").ended_with(0);
    let mails = to(&relay, TUESDAY);
    assert!(mails.last().is_some_and(|mail| mail.subject().starts_with("Called off")), "{mails:?}");
}

#[test]
fn a_mild_night_is_a_sign_of_life_for_managers_once_a_week() {
    let (feed, relay) = (Feed::with(of_low(MILD)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(0);
    garden.once(AFTERNOON).ended_with(0);
    let [mail] = &relay.arrived()[..] else { panic!("{:?}", relay.arrived()) };
    assert_eq!(mail.to, [MANAGER]);
    assert!(mail.subject().starts_with("All quiet tonight: low "), "{}", mail.subject());
    for (day, mails) in [(17, 1), (18, 1), (22, 1), (23, 2), (24, 2)] {
        feed.set_weather(Weather::of_low(MILD, at(&format!("2027-01-{day}T10:00:00Z"))));
        garden.once(&format!("2027-01-{day}T06:30:10-05:00")).ended_with(0);
        assert_eq!(relay.arrived().len(), mails, "on the {day}th");
    }
    assert!(relay.arrived().iter().all(|mail| mail.to == [MANAGER]));
}

/// 38 F written as 38 C: asked about before it is written, and where somebody insists, it takes back no frost.
#[test]
fn a_slip_of_the_unit_silences_no_frost() {
    let (feed, relay) = (Feed::with(of_low(FROST)), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    let slip = ["reading", "38C", "--at", "18:40", "--now", DUSK];
    let ran = garden.ran(&slip).ended_with(2);
    assert!(
        ran.err.contains("warmer than the forecast had it") && ran.err.contains("Is it 38.0 F (3.3 C)?"),
        "{}",
        ran.err
    );
    assert!(ran.err.contains("add --sure") && ran.err.contains("Nothing was written."), "{}", ran.err);
    assert!(garden.asked("SELECT celsius FROM readings").is_empty());
    garden.ran(&[&slip[..], &["--sure"]].concat()).ended_with(0);
    let before = relay.arrived().len();
    garden.once(DUSK).ended_with(0);
    for mail in &relay.arrived()[before..] {
        assert!(!mail.subject().contains("Called off") && !mail.subject().contains("low 9"), "{}", mail.subject());
    }
    let list = garden.ran(&["tonight", "--now", DUSK]).out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(list.contains("The reading 100 F at 18:40 was not used: ") && list.contains("COVER"), "{list}");
    let steps = garden.ran(&["explain", "--bed", "A1", "--now", DUSK]).out;
    assert!(steps.contains("reading not used: "), "{steps}");
    // What agrees with the forecast is asked about by nobody.
    garden.ran(&["reading", "35F", "--at", "18:40", "--now", DUSK]).ended_with(0);
}

#[test]
fn a_reading_at_dusk_stands_in_for_a_silent_feed() {
    let (feed, relay) = (Feed::start(Answer::Status("503 Service Unavailable", String::new())), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    let reading = ["reading", "33F", "--dew-point", "26F", "--at", "19:25", "--now", DUSK];
    let ran = garden.ran(&reading).ended_with(0);
    let echo = "Written: 33.0 F (0.6 C), dew point 26.0 F (-3.3 C) at the garden's screen of Orchard Lane, \
                Saturday 16 January 2027, 19:25 EST.";
    assert!(ran.out.starts_with(echo), "{}", ran.out);
    garden.once_in_haste(DUSK).ended_with(0);
    let [mail] = &to(&relay, MANAGER)[..] else { panic!("{:?}", to(&relay, MANAGER)) };
    let text = mail.text();
    assert!(text.contains("There is no usable forecast: this rests on the evening's thermometer alone."), "{text}");
    assert!(text.contains("The weather service is out of order at the moment."), "{text}");
    assert!(text.contains("Source: the garden's own thermometer.") && text.contains("COVER: "), "{text}");
}
