//! Who is told in another's place, what is said again, and what a manager hears of it.

use crate::support::feed::Feed;
use crate::support::installation::{
    GARDEN, Installation, MANAGER, TUESDAY, WEEKEND, at, service, to, to_relay, within,
};
use crate::support::smtp_sink::{Fault, Gone, SmtpSink};
use crate::support::weather_documents::Weather;
use std::time::Duration;

const MORNING: &str = "2027-01-16T06:30:10-05:00";
const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const DUSK: &str = "2027-01-16T19:35:00-05:00";

fn weather(low: f64, issued: &str) -> Weather {
    Weather::of_low(low, at(issued))
}

fn frost() -> Weather {
    weather(-4.0, "2027-01-16T10:00:00Z")
}

fn mild() -> Weather {
    weather(7.0, "2027-01-16T10:00:00Z")
}

fn subjects(relay: &SmtpSink, person: &str) -> Vec<String> {
    to(relay, person).iter().map(|mail| mail.subject()).collect()
}

/// One entry of the script is one connection, and each pass makes one.
fn refusals(person: &'static str) -> Fault {
    Fault::RefuseRecipient(person)
}

#[test]
fn where_the_manager_is_refused_everybody_else_is_told_with_the_list() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[refusals(MANAGER)]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(5);
    assert_eq!(to(&relay, MANAGER).len(), 0);
    for crew in [TUESDAY, WEEKEND] {
        let subjects = subjects(&relay, crew);
        assert_eq!(subjects.len(), 2, "{subjects:?}");
        assert_eq!(subjects[1], "Not reached: Manager; please call and pass this on (Orchard Lane)");
    }
}

#[test]
fn a_mail_in_anothers_place_does_not_quote_an_old_list_behind_a_newer_one() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[refusals(TUESDAY), Fault::NotNow]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(5);
    let instead = "SELECT state FROM outbox WHERE kind = 'not-reached' ORDER BY revision";
    assert_eq!(garden.asked(instead), ["waiting"], "the relay was away just then");
    feed.set_weather(weather(-9.0, "2027-01-16T20:00:00Z"));
    garden.once(DUSK).ended_with(0);
    assert_eq!(garden.asked(instead), ["superseded"]);
    let told = subjects(&relay, MANAGER);
    assert!(told.len() == 2 && told[1].starts_with("Worse"), "{told:?}");
    let text = to(&relay, MANAGER).pop().expect("a list").text();
    assert!(text.contains("Since the last message: Tuesday crew"), "{text}");
}

#[test]
fn a_second_manager_is_told_before_anybody_else() {
    let feed = Feed::with(frost());
    let relay = SmtpSink::start(&[refusals(MANAGER)]);
    let second = "\n[[people]]\nname = \"Second\"\naddress = \"second@orchard-lane.example\"\nrole = \"manager\"\n";
    let service = service(&[("grid", "nws", feed.base.as_str())], &to_relay(relay.port));
    let garden = Installation::with(&service, &format!("{GARDEN}{second}"));
    garden.once(AFTERNOON).ended_with(5);
    assert_eq!([TUESDAY, WEEKEND, "second@orchard-lane.example"].map(|who| to(&relay, who).len()), [1, 1, 2]);
}

#[test]
fn what_nobody_was_told_the_manager_is_told_when_the_relay_is_back() {
    let (feed, gone) = (Feed::with(frost()), Gone::hold());
    let grid = [("grid", "nws", feed.base.as_str())];
    let garden = Installation::with(&service(&grid, &to_relay(gone.port)), GARDEN);
    garden.once(AFTERNOON).ended_with(5);
    feed.set_weather(weather(7.0, "2027-01-17T10:00:00Z"));
    // The coldest hour is past; the relay is still away.
    garden.once("2027-01-17T08:00:00-05:00").ended_with(5);
    let relay = SmtpSink::start(&[]);
    garden.write("counterpane.toml", &service(&grid, &to_relay(relay.port)));
    garden.once("2027-01-17T09:00:00-05:00");
    let subjects = subjects(&relay, MANAGER);
    assert!(
        subjects.iter().any(|s| s.starts_with("Not reached: Manager and 2 more; ask what was done")),
        "{subjects:?}"
    );
    let mails = to(&relay, MANAGER);
    let mail = mails.iter().find(|mail| mail.subject().starts_with("Not reached")).expect("there it is");
    assert!(mail.text().contains("no mail server took it in time"), "{}", mail.text());
    // And once more in the next letter of any kind, the morning after or a sign of life; then never again.
    garden.once("2027-01-17T13:00:10-05:00");
    let told = |mails: Vec<_>| {
        let told = mails.iter().filter(|mail: &&crate::support::smtp_sink::Arrived| {
            mail.text().contains("Since the last message: Tuesday crew")
        });
        told.count()
    };
    assert_eq!(told(to(&relay, MANAGER)), 1, "{:?}", self::subjects(&relay, MANAGER));
    assert_eq!(told(to(&relay, TUESDAY)), 0, "volunteers hear of the work");
}

#[test]
fn missed_rounds_stand_in_the_next_letter_to_a_manager() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once("2027-01-14T06:30:10-05:00").ended_with(0);
    feed.set_weather(frost());
    garden.once(AFTERNOON).ended_with(0);
    let text = to(&relay, MANAGER).last().expect("a list").text();
    let missed = "Missed, because the service was not running: the look of the afternoon, the look at dusk, the morning \
                  after of Thursday 14 January.";
    assert!(text.contains(missed), "{text}");
    assert!(!to(&relay, TUESDAY).last().expect("a list").text().contains("Missed"));
    feed.set_weather(weather(-9.0, "2027-01-16T20:00:00Z"));
    garden.once(DUSK).ended_with(0);
    let text = to(&relay, MANAGER).last().expect("a list").text();
    assert!(!text.contains("Missed"), "told twice: {text}");
}

#[test]
fn a_refused_called_off_is_called_off_again() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(0);
    feed.set_weather(weather(7.0, "2027-01-16T17:00:00Z"));
    relay.next(refusals(TUESDAY));
    garden.once(AFTERNOON).ended_with(5);
    assert_eq!(subjects(&relay, TUESDAY).len(), 1);
    garden.once(DUSK).ended_with(0);
    let tuesday = subjects(&relay, TUESDAY);
    assert!(tuesday.len() == 2 && tuesday[1].starts_with("Called off"), "{tuesday:?}");
    let weekend = subjects(&relay, WEEKEND);
    assert!(weekend.len() == 2 && weekend[1].starts_with("Called off"), "nobody is told twice: {weekend:?}");
}

#[test]
fn a_refused_sign_of_life_is_given_again() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[refusals(MANAGER)]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(MORNING).ended_with(5);
    assert_eq!(to(&relay, MANAGER).len(), 0);
    garden.once(AFTERNOON).ended_with(0);
    let told = subjects(&relay, MANAGER);
    assert!(told.len() == 1 && told[0].starts_with("All quiet tonight"), "{told:?}");
    garden.once(DUSK).ended_with(0);
    assert_eq!(to(&relay, MANAGER).len(), 1);
    // The week is counted from the word that was heard.
    feed.set_weather(weather(7.0, "2027-01-17T10:00:00Z"));
    garden.once("2027-01-17T06:30:10-05:00").ended_with(0);
    assert_eq!(to(&relay, MANAGER).len(), 1);
}

#[test]
fn a_refused_word_of_the_morning_is_said_again_at_the_next_round() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(weather(7.0, "2027-01-17T10:00:00Z"));
    relay.next(refusals(TUESDAY));
    garden.once("2027-01-17T08:40:00-05:00").ended_with(5);
    assert_eq!(subjects(&relay, TUESDAY).len(), 1);
    garden.once("2027-01-17T13:00:10-05:00").ended_with(0);
    let mornings = |person| subjects(&relay, person).iter().filter(|subject| subject.starts_with("Uncover ")).count();
    assert_eq!([MANAGER, TUESDAY, WEEKEND].map(mornings), [1, 1, 1]);
}

#[test]
fn a_second_daemon_on_the_same_store_is_refused_in_clear_words() {
    let (feed, relay) = (Feed::with(mild()), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    let running = garden.start(AFTERNOON);
    within(Duration::from_secs(15), "a start", || running.has_logged("is looking after its gardens"));
    for arguments in [&["run", "--once"][..], &["run"]] {
        let ran = garden.ran(arguments).ended_with(4);
        assert!(
            ran.err.contains("another `counterpane run` is at work on ") && ran.err.contains("(process "),
            "{}",
            ran.err
        );
    }
    running.kill();
    // Whoever dies holds nothing.
    garden.once("2027-01-16T13:01:00-05:00").ended_with(0);
}

#[test]
fn where_the_sun_does_not_rise_the_rounds_go_by_the_clock() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[]));
    let service = service(&[("grid", "nws", feed.base.as_str())], &to_relay(relay.port));
    let north = GARDEN.replace("latitude = 36.0", "latitude = 78.2").replace("longitude = -80.0", "longitude = 15.6");
    let garden = Installation::with(&service, &north.replace("America/New_York", "Arctic/Longyearbyen"));
    for now in ["2027-01-16T13:00:10+01:00", "2027-01-16T20:00:10+01:00", "2027-01-17T07:00:10+01:00"] {
        feed.set_weather(weather(-4.0, &at(now).format("%Y-%m-%dT%H:00:00Z").to_string()));
        garden.once(now).ended_with(0);
    }
    let rounds = "SELECT night || ' ' || kind FROM rounds WHERE state = 'done' AND night = '2027-01-16' ORDER BY due";
    assert_eq!(
        garden.asked(rounds),
        ["2027-01-16 afternoon", "2027-01-16 dusk", "2027-01-16 uncover"],
        "{:?}",
        garden.asked(
            "SELECT night || ' ' || kind || ' ' || state || ' ' || datetime(due, 'unixepoch') FROM rounds ORDER BY due"
        )
    );
}

#[test]
fn a_list_that_nobody_takes_is_told_to_others_while_the_work_can_still_be_done() {
    let (feed, relay) = (Feed::with(frost()), SmtpSink::start(&[Fault::Greylist]));
    let garden = Installation::new(&feed.base, &relay);
    // The work ends at 17:00: half of the time for it is over at 15:00.
    garden.once(AFTERNOON).ended_with(5);
    let counts = || [MANAGER, TUESDAY, WEEKEND].map(|who| to(&relay, who).len());
    assert_eq!(counts(), [0, 1, 1]);
    relay.next(Fault::Greylist);
    garden.once("2027-01-16T14:50:00-05:00").ended_with(5);
    assert_eq!(counts(), [0, 1, 1]);
    for (time, expected) in [("2027-01-16T15:05:00-05:00", [0, 2, 2]), ("2027-01-16T15:30:00-05:00", [0, 2, 2])] {
        relay.next(Fault::Greylist);
        garden.once(time).ended_with(5);
        assert_eq!(counts(), expected, "at {time}");
    }
    let word = to(&relay, TUESDAY).pop().expect("a word");
    assert_eq!(word.subject(), "Not reached: Manager; please call and pass this on (Orchard Lane)");
    let text = word.text();
    assert!(text.contains("could not be told by mail so far") && text.contains("has taken it yet"), "{text}");
    garden.once("2027-01-16T15:50:00-05:00").ended_with(0);
    assert_eq!(counts(), [1, 2, 2]);
}

#[test]
fn where_the_relay_takes_nothing_nobody_is_written_to_about_it() {
    let (feed, gone) = (Feed::with(frost()), Gone::hold());
    let grid = [("grid", "nws", feed.base.as_str())];
    let garden = Installation::with(&service(&grid, &to_relay(gone.port)), GARDEN);
    garden.once(AFTERNOON).ended_with(5);
    garden.once("2027-01-16T16:30:00-05:00").ended_with(5);
    assert_eq!(garden.asked("SELECT DISTINCT kind FROM outbox"), ["list"]);
}
