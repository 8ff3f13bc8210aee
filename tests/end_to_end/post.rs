//! What a relay can do to a garden's mail.

use crate::support::feed::Feed;
use crate::support::installation::{GARDEN, Installation, MANAGER, TUESDAY, WEEKEND, at, service, to, to_relay};
use crate::support::smtp_sink::{Fault, Gone, SmtpSink};
use crate::support::weather_documents::Weather;

const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const A_LITTLE_LATER: &str = "2027-01-16T13:01:00-05:00";

fn frost() -> Feed {
    Feed::with(Weather::of_low(-4.0, at("2027-01-16T15:00:00Z")))
}

#[test]
fn mail_waits_for_a_relay_that_is_down_and_arrives_once() {
    let feed = frost();
    let gone = Gone::hold();
    let grid = [("grid", "nws", feed.base.as_str())];
    let garden = Installation::with(&service(&grid, &to_relay(gone.port)), GARDEN);
    let ran = garden.once(AFTERNOON).ended_with(5);
    assert!(
        ran.err.contains("Not everybody was told: mail waits in the outbox for another try: 127.0.0.1"),
        "{}",
        ran.err
    );
    let ids = garden.asked("SELECT message_id FROM outbox ORDER BY message_id");
    assert_eq!((ids.len(), garden.asked("SELECT DISTINCT state FROM outbox")), (3, vec!["waiting".to_string()]));

    let relay = SmtpSink::start(&[]);
    garden.write("counterpane.toml", &service(&grid, &to_relay(relay.port)));
    garden.once(A_LITTLE_LATER).ended_with(0);
    garden.once(A_LITTLE_LATER).ended_with(0);
    let mut arrived: Vec<String> =
        relay.arrived().iter().filter_map(|mail| Some(mail.header("Message-ID")?.to_string())).collect();
    arrived.sort();
    assert_eq!(arrived, ids);
}

#[test]
fn a_refused_person_does_not_keep_mail_from_the_others() {
    let (feed, relay) = (frost(), SmtpSink::start(&[Fault::RefuseRecipient(TUESDAY)]));
    let garden = Installation::new(&feed.base, &relay);
    let ran = garden.once(AFTERNOON).ended_with(5);
    assert!(ran.err.contains("Not everybody was told: 1 mail is refused for good."), "{}", ran.err);
    assert!(ran.err.contains(TUESDAY) && ran.err.contains("no such person"), "{}", ran.err);
    // The manager has the list, and the news that somebody else has not, with that list.
    assert_eq!([MANAGER, TUESDAY, WEEKEND].map(|person| to(&relay, person).len()), [2, 0, 1]);
    let news = &to(&relay, MANAGER)[1];
    assert_eq!(news.subject(), "Not reached: Tuesday crew; please call and pass this on (Orchard Lane)");
    let text = news.text();
    for part in ["the mail server refused it (127.0.0.1", "5.1.1 no such person", "COVER", "> [ ] A1"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    // It is not tried again.
    garden.once(A_LITTLE_LATER).ended_with(0);
    assert_eq!(relay.arrived().len(), 3);
    // At the next round the crew, refused again, gets the standing list again, and its manager hears of it once more.
    relay.next(Fault::RefuseRecipient(TUESDAY));
    garden.once("2027-01-16T19:35:00-05:00").ended_with(5);
    let told = garden.asked("SELECT recipient || ' ' || escalated_to FROM outbox WHERE state = 'refused'");
    assert_eq!(told, [format!("{TUESDAY} {MANAGER}"), format!("{TUESDAY} {MANAGER}")]);
}

#[test]
fn a_relay_that_asks_to_come_back_is_come_back_to() {
    let (feed, relay) = (frost(), SmtpSink::start(&[Fault::Greylist]));
    let garden = Installation::new(&feed.base, &relay);
    let ran = garden.once(AFTERNOON).ended_with(5);
    assert!(ran.err.contains("1 mail is waiting in the outbox for another try"), "{}", ran.err);
    garden.once(A_LITTLE_LATER).ended_with(0);
    assert_eq!([MANAGER, TUESDAY, WEEKEND].map(|person| to(&relay, person).len()), [1, 1, 1]);
}

#[test]
fn advice_that_could_not_be_sent_in_time_is_not_sent_as_if_it_were_fresh() {
    let feed = frost();
    let gone = Gone::hold();
    let grid = [("grid", "nws", feed.base.as_str())];
    let garden = Installation::with(&service(&grid, &to_relay(gone.port)), GARDEN);
    garden.once(AFTERNOON).ended_with(5);
    let relay = SmtpSink::start(&[]);
    garden.write("counterpane.toml", &service(&grid, &to_relay(relay.port)));
    feed.set_weather(Weather::of_low(7.0, at("2027-01-17T10:00:00Z")));
    // After the coldest hour.
    let ran = garden.once("2027-01-17T07:30:00-05:00").ended_with(5);
    assert!(ran.err.contains("3 mails are not sent in time and now of no use"), "{}", ran.err);
    // What arrives is the news that nobody was told, and it does not look like a list.
    let arrived: Vec<String> = relay.arrived().iter().map(|mail| mail.subject()).collect();
    assert_eq!(arrived, ["Not reached: Manager and 2 more; ask what was done (Orchard Lane)"]);
}
