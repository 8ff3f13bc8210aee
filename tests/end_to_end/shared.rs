//! Two gardens that share one stock of covers.

use crate::support::feed::{Answer, Feed};
use crate::support::installation::{GARDEN, Installation, MANAGER, at, service, to, to_relay, within};
use crate::support::smtp_sink::SmtpSink;
use crate::support::weather_documents::Weather;
use std::time::Duration;

const AFTERNOON: &str = "2027-01-16T13:00:10-05:00";
const DUSK: &str = "2027-01-16T19:45:00-05:00";
/// Orchard Lane lies further west, and in another zone: its rounds come later than those of Hillside.
const LATER: [(&str, &str); 2] = [("longitude = -80.0", "longitude = -85.0"), ("America/New_York", "America/Chicago")];
const MORNINGS: [&str; 2] = ["2027-01-16T06:30:10-05:00", "2027-01-16T07:30:10-05:00"];
const AFTERNOONS: [&str; 2] = [AFTERNOON, "2027-01-16T14:00:10-05:00"];
const DUSKS: [&str; 2] = [DUSK, "2027-01-16T20:05:00-05:00"];
const HILLSIDE_MANAGER: &str = "manager@hillside.example";

/// Beds of lettuce, so hardened, and two pieces of cloth that are the other garden's too.
fn garden(name: &str, manager: &str, other: &str, hardened: &str, beds: usize) -> String {
    let (place, _) = GARDEN.split_once("[[people]]").expect("a place");
    let bed = |number| {
        format!(
            "[[beds]]\nid = \"B{number}\"\nkind = \"raised\"\nlength_m = 2.4\nwidth_m = 1.2\n\
             plantings = [{{ crop = \"lettuce_leaf\", stage = \"transplant\", hardened = \"{hardened}\", worth_minutes = 200 }}]\n"
        )
    };
    let beds: String = (1..=beds).map(bed).collect();
    format!(
        "{}\n[[people]]\nname = \"Manager\"\naddress = \"{manager}\"\nrole = \"manager\"\n[[covers]]\n\
         name = \"thick cloth\"\nkind = \"heavy-row-cover\"\ncount = 2\nlength_m = 3.6\nwidth_m = 2.4\n\
         shared_with = [\"{other}\"]\n{beds}",
        place.replace("Orchard Lane", name)
    )
}

/// Hillside has two beds, hardened; Orchard Lane has one that is not. Hillside has had its list at the first hour before Orchard
/// Lane makes its own at the second: which of two gardens decides first at one hour is nobody's to say.
fn two_gardens(feed: &Feed, relay: &SmtpSink, [first, second]: [&str; 2]) -> Installation {
    let service = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
    let hillside = garden("Hillside", HILLSIDE_MANAGER, "orchard-lane", "fully", 2);
    let both = Installation::with(&service, "");
    std::fs::remove_file(both.path("gardens/orchard-lane.toml")).expect("removed");
    both.write("gardens/hillside.toml", &hillside.replace("shared_with = [\"orchard-lane\"]\n", ""));
    both.once(first).ended_with(0);
    let orchard = garden("Orchard Lane", MANAGER, "hillside", "no", 1);
    let orchard = LATER.iter().fold(orchard, |text, (here, there)| text.replace(here, there));
    both.write("gardens/orchard-lane.toml", &orchard);
    both.write("gardens/hillside.toml", &hillside);
    both.once(second).ended_with(0);
    both
}

/// Pieces of each garden's last list.
fn pieces(both: &Installation) -> Vec<String> {
    both.asked(
        "SELECT garden || ' ' || coalesce(json_extract(document, '$.covers.\"thick cloth\"'), 0) FROM said
         WHERE revision = (SELECT max(revision) FROM said AS later WHERE later.garden = said.garden) ORDER BY garden",
    )
}

/// Subject and text of the last mail to somebody.
fn last(relay: &SmtpSink, address: &str) -> (String, String) {
    let mails = to(relay, address);
    let mail = mails.last().unwrap_or_else(|| panic!("no mail to {address}"));
    (mail.subject().to_string(), mail.text())
}

#[test]
fn two_gardens_never_have_one_piece_and_after_dark_none_is_given_back() {
    let (feed, relay) = (Feed::with(Weather::of_low(-6.0, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let both = two_gardens(&feed, &relay, AFTERNOONS);
    assert_eq!(pieces(&both), ["hillside 2", "orchard-lane 0"]);
    let (subject, text) = last(&relay, MANAGER);
    assert!(subject.starts_with("1 bed at risk, left as it is: "), "{subject}");
    let away = "Both pieces of thick cloth are at Hillside tonight.";
    assert!(text.contains(away) && text.contains("none that fits is left over"), "{text}");
    let (_, text) = last(&relay, HILLSIDE_MANAGER);
    assert!(!text.contains("thick cloth are at"), "{text}");
    // A list printed beside the mail says the same, and leaves the store as it is.
    let printed = ["tonight", "--garden", "orchard-lane", "--now", "2027-01-16T14:30:00-05:00"];
    let ran = both.ran(&printed).ended_with(0);
    assert!(ran.out.split_whitespace().collect::<Vec<_>>().join(" ").contains(away), "{}", ran.out);
    let json = both.ran(&[&printed[..], &["--json"]].concat()).ended_with(0);
    let document: serde_json::Value = serde_json::from_str(&json.out).expect("a document");
    let away = serde_json::json!([{ "cover": "thick cloth", "garden": "Hillside", "pieces": 2 }]);
    assert_eq!(document["covers_elsewhere"], away);
    let explained = ["explain", "--garden", "orchard-lane", "--bed", "B1", "--now", "2027-01-16T14:30:00-05:00"];
    assert!(both.ran(&explained).ended_with(0).out.contains("Measure: leave (no-cover-left)"));
    assert_eq!(both.asked("SELECT CAST(count(*) AS TEXT) FROM said"), ["2"]);

    feed.set_weather(Weather::of_low(0.5, at("2027-01-16T23:00:00Z")));
    for now in DUSKS {
        both.once(now).ended_with(0);
    }
    assert_eq!(pieces(&both), ["hillside 0", "orchard-lane 0"]);
    let (subject, text) = last(&relay, HILLSIDE_MANAGER);
    assert!(subject.starts_with("Called off, "), "{subject}");
    assert!(text.contains("may stay so until morning") && !text.contains("to the shed"), "{text}");
}

#[test]
fn what_is_called_off_by_day_is_given_back_bed_by_bed_and_goes_to_the_other_garden() {
    let (feed, relay) = (Feed::with(Weather::of_low(-6.0, at("2027-01-16T10:00:00Z"))), SmtpSink::start(&[]));
    let both = two_gardens(&feed, &relay, MORNINGS);
    assert_eq!(pieces(&both), ["hillside 2", "orchard-lane 0"]);
    feed.set_weather(Weather::of_low(0.5, at("2027-01-16T17:00:00Z")));
    both.once(AFTERNOONS[0]).ended_with(0);
    assert_eq!(pieces(&both), ["hillside 0", "orchard-lane 0"]);
    let (subject, text) = last(&relay, HILLSIDE_MANAGER);
    assert!(subject.starts_with("Called off, "), "{subject}");
    assert!(text.contains("may want them tonight: thick cloth from B1, B2.") && !text.contains("may stay"), "{text}");
    both.once(AFTERNOONS[1]).ended_with(0);
    assert_eq!(pieces(&both), ["hillside 0", "orchard-lane 1"]);
    let (subject, text) = last(&relay, MANAGER);
    assert!(subject.starts_with("Worse: cover 1 by ") && !text.contains("thick cloth are at"), "{subject} {text}");
}

#[test]
fn what_lies_in_one_garden_since_last_night_is_not_dealt_to_another_before_it_comes_off() {
    let (feed, relay) = (Feed::with(Weather::of_low(-6.0, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let both = two_gardens(&feed, &relay, AFTERNOONS);
    feed.set_weather(Weather::of_low(7.0, at("2027-01-17T10:00:00Z")));
    let away = |now| {
        let ran = both.ran(&["tonight", "--json", "--garden", "orchard-lane", "--now", now]).ended_with(0);
        let document: serde_json::Value = serde_json::from_str(&ran.out).expect("a document");
        assert_eq!(document["night"], "2027-01-17", "{document}");
        document["covers_elsewhere"].clone()
    };
    let there = serde_json::json!([{ "cover": "thick cloth", "garden": "Hillside", "pieces": 2 }]);
    assert_eq!(away("2027-01-17T08:35:00-05:00"), there);
    both.once("2027-01-17T08:40:00-05:00").ended_with(0);
    assert!(last(&relay, HILLSIDE_MANAGER).0.starts_with("Uncover "));
    assert_eq!(away("2027-01-17T08:45:00-05:00"), serde_json::json!([]));
}

/// Whichever decides first, the two together never have more than there is.
#[test]
fn gardens_that_look_at_one_hour_have_no_piece_twice() {
    let (feed, relay) = (Feed::with(Weather::of_low(-6.0, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let service = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
    let both = Installation::with(&service, &garden("Orchard Lane", MANAGER, "hillside", "fully", 2));
    both.write("gardens/hillside.toml", &garden("Hillside", HILLSIDE_MANAGER, "orchard-lane", "fully", 2));
    both.once(AFTERNOON).ended_with(0);
    let mut pieces: Vec<String> =
        pieces(&both).iter().filter_map(|of| Some(of.rsplit_once(' ')?.1.to_string())).collect();
    pieces.sort();
    assert_eq!(pieces, ["0", "2"]);
}

#[test]
fn no_garden_waits_for_the_feeds_of_another_that_shares_its_covers() {
    let (one, two, relay) = (Feed::start(Answer::Silence), Feed::start(Answer::Silence), SmtpSink::start(&[]));
    let service = service(&[("grid", "nws", &one.base), ("other", "nws", &two.base)], &to_relay(relay.port));
    let both = Installation::with(&service, &garden("Orchard Lane", MANAGER, "hillside", "no", 1));
    let hillside = garden("Hillside", HILLSIDE_MANAGER, "orchard-lane", "fully", 2);
    both.write("gardens/hillside.toml", &hillside.replace("feeds = [\"grid\"]", "feeds = [\"other\"]"));
    let running = both.start(AFTERNOON);
    within(Duration::from_secs(20), "both feeds asked", || one.requests() > 0 && two.requests() > 0);
    running.kill();
}

/// Of three beds alike the first two have the cloth. Where the mail said otherwise, a list printed later says so too.
#[test]
fn what_is_printed_agrees_with_the_mail_that_went_out() {
    let (feed, relay) = (Feed::with(Weather::of_low(-4.0, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
    let service = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
    let plot = garden("Orchard Lane", MANAGER, "", "partly", 3).replace("shared_with = [\"\"]\n", "");
    let plot = Installation::with(&service, &plot);
    plot.once_in_haste(AFTERNOON).ended_with(0);
    let covered = || {
        let ran = plot.ran(&["tonight", "--json", "--now", "2027-01-16T13:30:00-05:00"]).ended_with(0);
        let document: serde_json::Value = serde_json::from_str(&ran.out).expect("a document");
        let beds = document["beds"].as_array().expect("beds").iter();
        beds.filter(|bed| bed["measure"] == "cover").map(|bed| bed["bed"].to_string()).collect::<Vec<String>>()
    };
    assert_eq!(covered(), ["\"B1\"", "\"B2\""]);
    plot.tampered(
        "UPDATE said SET document = replace(replace(replace(document, '\"B1\"', '\"X\"'), '\"B3\"', '\"B1\"'), '\"X\"', '\"B3\"')",
    );
    assert_eq!(covered(), ["\"B2\"", "\"B3\""]);
}

/// The colder night to come wants the one piece that Hillside has on another bed, and the second lies at Orchard Lane: it is
/// not counted on, and what lies on the first bed comes off.
#[test]
fn the_word_of_the_morning_counts_on_no_piece_that_another_garden_has() {
    for (shares, stays) in [(true, false), (false, true)] {
        let (feed, relay) = (Feed::with(Weather::of_low(0.5, at("2027-01-16T15:00:00Z"))), SmtpSink::start(&[]));
        let service = service(&[("grid", "nws", &feed.base)], &to_relay(relay.port));
        let both = Installation::with(&service, "");
        std::fs::remove_file(both.path("gardens/orchard-lane.toml")).expect("removed");
        let alone = |text: String, other: &str| match shares {
            true => text,
            false => text.replace(&format!("shared_with = [\"{other}\"]\n"), ""),
        };
        let hillside = garden("Hillside", HILLSIDE_MANAGER, "orchard-lane", "no", 2);
        let (first, second) = hillside.split_once("id = \"B2\"").expect("two beds");
        let hillside = format!(
            "{}id = \"B2\"{}",
            first.replace("worth_minutes = 200", "worth_minutes = 120"),
            second.replace("\"no\"", "\"fully\"").replace("= 200", "= 600")
        );
        both.write("gardens/hillside.toml", &alone(hillside, "orchard-lane"));
        let orchard = garden("Orchard Lane", MANAGER, "hillside", "no", 1);
        let orchard = LATER.iter().fold(orchard, |text, (here, there)| text.replace(here, there));
        both.write("gardens/orchard-lane.toml", &alone(orchard, "hillside"));
        for now in AFTERNOONS {
            both.once(now).ended_with(0);
        }
        assert_eq!(pieces(&both), ["hillside 1", "orchard-lane 1"]);
        // A day below freezing leaves cloth where it is of use again.
        let cold_day = Weather::of_low(-11.5, at("2027-01-17T10:00:00Z")).then(at("2027-01-17T23:00:00Z"), -4.0);
        feed.set_weather(cold_day);
        both.once("2027-01-17T08:40:00-05:00").ended_with(0);
        let mails = to(&relay, HILLSIDE_MANAGER);
        let word = mails.iter().find(|mail| mail.subject().contains("write down the low")).expect("a word").text();
        let (off, on) = (word.contains("TAKE OFF THE COVERS"), word.contains("LEAVE COVERED"));
        assert_eq!((off, on), (!stays, stays), "{word}");
    }
}
