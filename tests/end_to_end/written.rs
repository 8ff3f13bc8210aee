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
    let text = garden.ran(&["tonight", "--now", NEXT_AFTERNOON]).out;
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("By the journal, some or all there was to pick is picked or spoilt: broccoli."), "{text}");
    garden.once(NEXT_AFTERNOON).ended_with(0);
    let mails = to(&relay, MANAGER);
    let last = mails.last().expect("a mail");
    assert!(last.text().contains("A1: leaf lettuce") && !last.text().contains("central head"), "{}", last.text());
}

/// A row of the journal that cannot be read back keeps no list from anybody, and the list says what it does not count.
#[test]
fn a_row_that_cannot_be_read_back_keeps_no_list_back() {
    let (feed, relay) = (Feed::with(of_low(-5.0, "2027-01-16T15:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    written(&garden, &["lost", "A2", "broccoli"], "2027-01-15T13:00:10-05:00");
    garden.tampered("UPDATE journal SET document = '{}'");
    let ran = garden.once(AFTERNOON);
    let mails = to(&relay, TUESDAY);
    assert_eq!(mails.len(), 1, "{ran:?}");
    assert!(mails[0].text().contains("cut the central head"), "{}", mails[0].text());
    let text = to(&relay, MANAGER)[0].text().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains(
            "Some of the journal could not be read: what it says was picked, lost or covered is not counted."
        ),
        "{text}"
    );
    let printed = garden.ran(&["tonight", "--now", AFTERNOON]).out;
    assert!(printed.contains("Some of the journal could not be read"), "{printed}");
}

#[test]
fn a_planting_that_was_lost_is_not_protected() {
    let (feed, relay) = (Feed::with(of_low(-5.0, "2027-01-16T15:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    assert!(!listed(&garden, AFTERNOON).contains(&"A1 fine picked-before".into()));
    garden.once(AFTERNOON).ended_with(0);
    written(&garden, &["lost", "A1", "lettuce_leaf"], AT_WORK);
    assert!(listed(&garden, AT_WORK).contains(&"A1 fine picked-before".into()));
    // A wrong entry must be seen to have taken it.
    let text = garden.ran(&["tonight", "--now", AT_WORK]).out;
    assert!(text.contains("nothing left (gone by the journal: leaf lettuce)"), "{text}");
    written(&garden, &["resown", "A1", "lettuce_leaf"], AT_WORK);
    assert!(!listed(&garden, AT_WORK).contains(&"A1 fine picked-before".into()));
}

#[test]
fn an_answer_about_an_old_night_takes_nothing_that_was_sown_since() {
    let (feed, relay) = (Feed::with(of_low(-5.0, "2027-01-16T15:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    written(&garden, &["resown", "A1", "lettuce_leaf", "--at", "2027-01-08 10:00"], AT_WORK);
    written(&garden, &["damage", "A1", "lettuce_leaf", "5", "--night", "2027-01-05"], AT_WORK);
    assert!(!listed(&garden, AT_WORK).contains(&"A1 fine picked-before".into()));
    let text = garden.ran(&["tonight", "--now", AT_WORK]).out;
    assert!(!text.contains("gone by the journal"), "{text}");
    written(&garden, &["damage", "A1", "lettuce_leaf", "5", "--night", "2027-01-12"], AT_WORK);
    let text = garden.ran(&["tonight", "--now", AT_WORK]).out;
    assert!(text.contains("nothing left (gone by the journal: leaf lettuce)"), "{text}");
}

/// A frost, and a day after it that stays below freezing: what lies on the bed of herbs in the ground stays there.
fn kept_through_the_day() -> (Feed, SmtpSink, Installation) {
    let (feed, relay) = (Feed::with(of_low(-6.0, "2027-01-16T10:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    feed.set_weather(of_low(-13.0, "2027-01-17T10:00:00Z"));
    garden.once("2027-01-17T08:40:00-05:00").ended_with(0);
    (feed, relay, garden)
}

/// The lines of one bed of the printed list.
fn lines_of(garden: &Installation, bed: &str, now: &str) -> String {
    let out = garden.ran(&["tonight", "--now", now]).out;
    let text = out.split_once(&format!("] {bed}")).map(|(_, rest)| rest.split("\n\n").next().unwrap_or(rest));
    text.map_or_else(String::new, |text| text.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn a_cover_that_somebody_took_off_is_work_again_and_one_that_somebody_laid_is_none() {
    let (_feed, relay, garden) = kept_through_the_day();
    let mails = to(&relay, TUESDAY);
    let morning = mails.iter().find(|mail| mail.subject().contains("write down the low")).expect("a word").text();
    assert!(morning.contains("LEAVE COVERED") && morning.contains("[ ] S1 (heavy row cover)"), "{morning}");
    assert!(
        lines_of(&garden, "S1", NEXT_AFTERNOON).contains("It lies there already"),
        "{}",
        lines_of(&garden, "S1", NEXT_AFTERNOON)
    );
    written(&garden, &["covered", "S1", "--uncovered", "--at", "11:00"], "2027-01-17T11:30:00-05:00");
    let lines = lines_of(&garden, "S1", NEXT_AFTERNOON);
    assert!(
        lines.contains("Cover with: 2 pieces of heavy row cover") && !lines.contains("It lies there already"),
        "{lines}"
    );
    garden.once(NEXT_AFTERNOON).ended_with(0);
    let text = to(&relay, TUESDAY).last().expect("a mail").text();
    assert!(text.contains("S1: its cover is off since; lay it again."), "{text}");
    written(&garden, &["covered", "S1", "--with", "heavy", "--at", "12:00"], "2027-01-17T12:30:00-05:00");
    assert!(lines_of(&garden, "S1", NEXT_AFTERNOON).contains("It lies there already"));
}

#[test]
fn the_word_of_the_morning_names_what_was_laid_unasked_and_not_what_came_off_in_the_night() {
    let (feed, relay) = (Feed::with(of_low(-6.0, "2027-01-16T10:00:00Z")), SmtpSink::start(&[]));
    let garden = Installation::new(&feed.base, &relay);
    garden.once(AFTERNOON).ended_with(0);
    written(&garden, &["covered", "A3", "--with", "heavy"], "2027-01-16T17:30:00-05:00");
    written(&garden, &["covered", "A1", "--uncovered"], "2027-01-16T23:30:00-05:00");
    feed.set_weather(of_low(7.0, "2027-01-17T10:00:00Z"));
    garden.once("2027-01-17T08:40:00-05:00").ended_with(0);
    let text = to(&relay, TUESDAY).last().expect("a mail").text();
    assert!(text.contains("[ ] A3 (heavy row cover)") && !text.contains("[ ] A1 (heavy row cover)"), "{text}");
}

#[test]
fn a_day_that_turns_hot_over_covers_that_were_to_stay_is_told_at_once() {
    let (feed, relay, garden) = kept_through_the_day();
    // By noon the day is known to be another one, and so is the night.
    feed.set_weather(of_low(-6.0, "2027-01-17T15:00:00Z").then(at("2027-01-17T22:00:00Z"), -13.0));
    garden.once(NEXT_AFTERNOON).ended_with(0);
    let hot = |person: &str| {
        let mails = to(&relay, person).into_iter().filter(|mail| mail.subject().contains("Too hot"));
        mails.collect::<Vec<_>>()
    };
    // Six degrees do no harm under cloth.
    assert!(hot(TUESDAY).is_empty());
    feed.set_weather(of_low(6.0, "2027-01-17T15:30:00Z").then(at("2027-01-17T22:00:00Z"), -13.0));
    garden.once("2027-01-17T13:30:00-05:00").ended_with(0);
    assert!(hot(TUESDAY).is_empty(), "no round, no look");
    garden.tampered("DELETE FROM rounds WHERE kind = 'afternoon' AND night = '2027-01-17'");
    garden.once("2027-01-17T13:31:00-05:00").ended_with(0);
    for person in [MANAGER, TUESDAY] {
        let [mail] = &hot(person)[..] else { panic!("{:?}", to(&relay, person)) };
        assert!(mail.subject().starts_with("Too hot under covers, now: uncover S1"), "{}", mail.subject());
        let text = mail.text();
        assert!(text.contains("TAKE OFF NOW") && text.contains("[ ] S1 (heavy row cover)"), "{text}");
    }
    // The list of the same round asks to lay it again, and a second look says neither again.
    assert!(!lines_of(&garden, "S1", "2027-01-17T13:32:00-05:00").contains("It lies there already"));
    let mails = relay.arrived().len();
    garden.tampered("DELETE FROM rounds WHERE kind = 'afternoon' AND night = '2027-01-17'");
    garden.once("2027-01-17T13:33:00-05:00").ended_with(0);
    assert_eq!(relay.arrived().len(), mails);
}
