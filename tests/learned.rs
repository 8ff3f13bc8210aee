//! What nights have taught, from the thermometer to the list: it acts, is shown, asked about, accepted and taken back.

mod support;

use serde_json::Value;
use std::path::Path;
use support::feed::Feed;
use support::installation::{GARDEN, Installation, Ran, at, service};
use support::weather_documents::Weather;

/// Twelve nights decide over bed P1 at this low.
const LOW: f64 = 1.0;
const NOW: &str = "2027-01-16T13:00:00-05:00";

/// The lows of twelve clear, calm nights up to 15 January, all foretold as -1 °C by the day before's forecast.
const FORETOLD: &str = "
    WITH RECURSIVE days(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM days WHERE n < 12)
    INSERT INTO forecast_at_round (garden, night, made_at, round, provider, issued, low, spread, feed_low, lead_hours,
        cloud, wind_10m, clear_calm, sky, readings)
    SELECT 'orchard-lane', date('2027-01-16', '-' || n || ' days'),
           unixepoch('2027-01-16T18:00:00', '-' || n || ' days'), 'afternoon', 'nws',
           unixepoch('2027-01-16T16:00:00', '-' || n || ' days'), -2.0, 2.0, -1.0, 20.5, 0.1, 1.0, 1.0, 'clear', 0
    FROM days";

fn ran(garden: &Installation, arguments: &[&str]) -> Ran {
    garden.ran(&[arguments, &["--now", NOW]].concat())
}

/// A minimum, read at eight in the morning after a night of January.
fn minimum(garden: &Installation, night: u32, value: &str, at: &[&str]) {
    let when = format!("2027-01-{:02} 08:00", night + 1);
    ran(garden, &[&["reading", value, "--min", "--at", &when], at].concat()).ended_with(0);
}

fn garden() -> Installation {
    let garden = Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), GARDEN);
    // The store comes into being with its first entry.
    ran(&garden, &["reading", "40F", "--bed", "A1", "--soil", "--at", "2027-01-02 12:00"]).ended_with(0);
    garden
}

/// After twelve nights that were 2 K colder than foretold, and at bed A1 another 1.5 K.
fn taught() -> Installation {
    let garden = garden();
    garden.tampered(FORETOLD);
    for night in 4..16 {
        minimum(&garden, night, "-3C", &[]);
        minimum(&garden, night, "-4.5C", &["--bed", "A1"]);
    }
    garden
}

fn feed() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo/forecast.json").display().to_string()
}

fn tonight(garden: &Installation) -> Value {
    let ran = ran(garden, &["tonight", "--json", "--feed", &feed()]).ended_with(0);
    serde_json::from_str(&ran.out).unwrap_or_else(|fault| panic!("{fault}: {}", ran.out))
}

fn explained(garden: &Installation) -> String {
    explained_of(garden, "A1")
}

fn explained_of(garden: &Installation, bed: &str) -> String {
    ran(garden, &["explain", "--bed", bed, "--feed", &feed()]).ended_with(0).out
}

/// The low of the air at a bed.
fn low(list: &Value, bed: &str) -> f64 {
    let beds = list["beds"].as_array().expect("beds");
    let bed = beds.iter().find(|one| one["bed"] == bed).expect("the bed");
    bed["screen_minimum_c"].as_f64().expect("a low")
}

#[track_caller]
fn has(text: &str, part: &str) {
    // `explain` breaks lines.
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words(text).contains(&words(part)), "{part}\nis not in\n{text}");
}

#[test]
fn what_nights_say_of_a_forecast_acts_at_once_and_is_shown_beside_what_was_published() {
    let garden = garden();
    let before = tonight(&garden);
    garden.tampered(FORETOLD);
    // What was foretold teaches nothing by itself.
    assert_eq!(tonight(&garden), before);
    for night in 4..16 {
        minimum(&garden, night, "-3C", &[]);
    }
    let after = tonight(&garden);
    let colder = low(&before, "A3") - low(&after, "A3");
    assert!((0.5..1.5).contains(&colder), "colder by {colder} K");
    let text = explained(&garden);
    has(
        &text,
        "forecast against this garden's screen, published (not used): clear, calm night and the garden's offset",
    );
    has(&text, "forecast against this garden's screen, learned and used: 12 nights, 2027-01-04 to 2027-01-15");
    has(&text, "used times 0.75");
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "forecast:nws/day-1/clear-calm added to lows of nws, lead day 1, clear, calm nights published -0.9 F");
    has(&list, "from 12 nights: 2027-01-04 to 2027-01-15");
    has(&list, "at once");
}

#[test]
fn a_thermometer_that_shows_every_night_too_warm_makes_no_hard_frost_fine() {
    let garden = garden();
    let before = tonight(&garden);
    garden.tampered(FORETOLD);
    for night in 4..16 {
        minimum(&garden, night, "7C", &[]);
    }
    let warmer = low(&tonight(&garden), "A3") - low(&before, "A3");
    assert!((0.0..1.26).contains(&warmer), "warmer by {warmer} K");
    has(&explained(&garden), "used: warmer than that is not believed");
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "used +1.4 F: warmer than that is not believed; check the thermometer");
    let letters = ran(&garden, &["tonight", "--feed", &feed()]).ended_with(0).out;
    has(&letters, "used +1.4 F: warmer than that is not believed; check the thermometer");
}

#[test]
fn a_minimum_teaches_though_nobody_says_when_it_was_read() {
    let garden = garden();
    garden.tampered(FORETOLD);
    for morning in 5..17 {
        let now = format!("2027-01-{morning:02}T08:30:00-05:00");
        garden.ran(&["reading", "-3C", "--min", "--now", &now]).ended_with(0);
    }
    has(&ran(&garden, &["learned"]).ended_with(0).out, "from 12 nights: 2027-01-04 to 2027-01-15");
}

#[test]
fn what_is_no_low_of_a_night_teaches_nothing() {
    let garden = garden();
    garden.tampered(FORETOLD);
    let before = tonight(&garden);
    for night in 4..16 {
        // A look at dusk, a minimum read before the sun rose, and one that was set back late in the night: all warmer than
        // the night may have been.
        let at = |day: u32, hour: &str| format!("2027-01-{day:02} {hour}");
        ran(&garden, &["reading", "6C", "--at", &at(night, "20:00")]).ended_with(0);
        ran(&garden, &["reading", "5C", "--min", "--at", &at(night + 1, "03:00")]).ended_with(0);
    }
    assert_eq!(tonight(&garden), before);
}

/// The sun rises at 07:30 and some seconds, a day later at 07:29.
#[test]
fn a_minimum_read_before_sunrise_counts_or_says_that_it_does_not() {
    let garden = garden();
    garden.tampered(FORETOLD);
    let read = |arguments: &[&str]| ran(&garden, &[&["reading", "-3C"], arguments].concat()).ended_with(0).out;
    let nothing = |sunrise: &str| {
        format!("It teaches nothing: the night was not over until {sunrise}; read it again after that with --min.")
    };
    has(&read(&["--min", "--at", "2027-01-14 03:00"]), &nothing("07:30"));
    has(&read(&["--at", "2027-01-14 07:00"]), "It teaches nothing: a single look is no low of the night.");
    has(&read(&["--min", "--at", "2027-01-14 20:00"]), &nothing("07:29"));
    has(
        &read(&["--min", "--at", "2027-01-14 12:40"]),
        "It teaches nothing: a lowest is read between sunrise and noon.",
    );
    assert!(ran(&garden, &["learned"]).ended_with(0).out.contains("Nothing has been learned"));
    has(&read(&["--min", "--at", "2027-01-14 07:00"]), "the night was not over until 07:30. Read again after that");
    has(&ran(&garden, &["learned"]).ended_with(0).out, "from 1 night: 2027-01-13");
    // Whole nights, places without a night, and looks by day say nothing of it.
    for whole in [&["--min", "--at", "2027-01-15 07:45"][..], &["--at", "2027-01-15 14:00"], &["--max"]] {
        assert!(!read(whole).contains("teaches"), "{whole:?}");
    }
}

#[test]
fn a_beds_offset_acts_once_it_is_accepted_and_not_after_it_was_taken_back() {
    let garden = taught();
    let before = tonight(&garden);
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "to use it: counterpane learned accept bed:A1");
    let echo = ran(&garden, &["learned", "accept", "bed:A1"]).ended_with(0).out;
    assert_eq!(echo, "bed:A1 is accepted and acts from the next list on.\n");
    let after = tonight(&garden);
    let colder = low(&before, "A1") - low(&after, "A1");
    assert!(colder > 0.5, "colder by {colder} K");
    assert_eq!(low(&before, "A3"), low(&after, "A3"), "others stay");
    let text = explained(&garden);
    has(&text, "bed against the garden's screen (open), published (not used)");
    has(&text, "bed against the garden's screen (open), learned from 12 nights and used");
    // What is learned later waits.
    minimum(&garden, 15, "-6C", &["--bed", "A1"]);
    assert_eq!(tonight(&garden), after);
    has(&ran(&garden, &["learned"]).ended_with(0).out, "as accepted to use it: counterpane learned accept bed:A1");
    let document = ran(&garden, &["learned", "--json"]).ended_with(0).out;
    let document: Value = serde_json::from_str(&document).expect("JSON");
    let figures = document["figures"].as_array().expect("figures");
    let bed = figures.iter().find(|figure| figure["figure"] == "bed:A1").expect("the bed");
    assert_eq!((&bed["in_use"], &bed["waits"]), (&Value::from("accepted"), &Value::from(true)));
    ran(&garden, &["learned", "take-back", "all"]).ended_with(0);
    assert_eq!(tonight(&garden), before);
}

/// A bed that nobody measured moves with the others, once somebody lets it.
#[test]
fn what_other_beds_say_of_one_acts_once_it_is_accepted_by_name() {
    let garden = taught();
    let before = tonight(&garden);
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "from 12 nights of other beds; nothing of its own yet");
    has(&list, "to use it: counterpane learned accept bed:A3");
    ran(&garden, &["learned", "accept", "all"]).ended_with(0);
    assert_eq!(low(&before, "A3"), low(&tonight(&garden), "A3"), "all is what beds show by themselves");
    ran(&garden, &["learned", "accept", "bed:A3"]).ended_with(0);
    let colder = low(&before, "A3") - low(&tonight(&garden), "A3");
    assert!((0.05..0.6).contains(&colder), "colder by {colder} K");
    has(&explained_of(&garden, "A3"), "learned from 12 nights and used");
    assert!(!ran(&garden, &["learned"]).ended_with(0).out.contains("learned accept bed:A3"));
}

/// The daemon's own list, of the same forecast, with and without twelve nights that were colder than foretold.
#[test]
fn the_daemons_list_shifts_by_what_nights_have_taught() {
    let said = |low: f64, is_taught: bool| {
        let feed = Feed::with(Weather::of_low(low, at("2027-01-16T16:00:00Z")));
        let service = service(&[("grid", "nws", feed.base.as_str())], "folder = \"mail\"");
        let garden = Installation::with(&service, GARDEN);
        ran(&garden, &["reading", "40F", "--bed", "A1", "--soil", "--at", "2027-01-02 12:00"]).ended_with(0);
        garden.tampered(FORETOLD);
        for night in if is_taught { 4..16 } else { 0..0 } {
            minimum(&garden, night, "-3C", &[]);
        }
        garden.once("2027-01-16T13:00:10-05:00").ended_with(0);
        let beds = garden.asked(
            "SELECT json_extract(value, '$.bed') || ' ' || json_extract(value, '$.measure')
             FROM said, json_each(said.document, '$.beds') WHERE night = '2027-01-16' ORDER BY 1",
        );
        let low = garden.asked("SELECT printf('%.2f', low) FROM forecast_at_round WHERE night = '2027-01-16'");
        let mails = std::fs::read_dir(garden.path("mail")).into_iter().flatten();
        let mail: String = mails.filter_map(|mail| std::fs::read_to_string(mail.ok()?.path()).ok()).collect();
        (beds, low, mail)
    };
    let (plain, low, mail) = said(LOW, false);
    assert!(plain.is_empty(), "every bed is fine, and no list is said: {plain:?}");
    assert!(!mail.contains("have taught"), "{mail}");
    assert_eq!(low, ["0.50"]);
    let (taught, low, mail) = said(LOW, true);
    assert!(taught.contains(&"P1 cover".to_string()), "{taught:?}");
    let low: f64 = low[0].parse().expect("a low");
    assert!((-1.5..-0.5).contains(&low), "{low}");
    has(&mail, "12 nights of this garden have taught that its lows come 2.6 F colder than the forecast says");
}

#[test]
fn accepting_all_keeps_what_rests_on_more_nights() {
    let garden = taught();
    ran(&garden, &["learned", "accept", "bed:A1"]).ended_with(0);
    garden.tampered(
        "UPDATE accepted SET document = json_set(document, '$.nights', 40, '$.mean', -3.5) WHERE figure = 'bed:A1'",
    );
    let before = tonight(&garden);
    has(
        &ran(&garden, &["learned", "accept", "all"]).ended_with(0).out,
        "bed:A1 stays as accepted, for that rests on more nights; to replace it, name it: counterpane learned accept bed:A1.",
    );
    assert_eq!(tonight(&garden), before);
    let echo = ran(&garden, &["learned", "accept", "bed:A1"]).ended_with(0).out;
    assert_eq!(echo, "bed:A1 is accepted and acts from the next list on.\n");
    assert!(low(&tonight(&garden), "A1") > low(&before, "A1"));
}

#[test]
fn a_covers_gain_acts_once_it_is_accepted_and_is_shown_beside_what_was_published() {
    let garden = taught();
    for night in 4..16 {
        let laid = format!("2027-01-{night:02} 16:00");
        ran(&garden, &["covered", "A1", "--at", &laid]).ended_with(0);
        let off = format!("2027-01-{:02} 09:00", night + 1);
        ran(&garden, &["covered", "A1", "--uncovered", "--at", &off]).ended_with(0);
        minimum(&garden, night, "-4C", &["--bed", "A1", "--under-cover", "heavy row cover"]);
    }
    let before = explained(&garden);
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "cover:heavy-row-cover gain of heavy row cover on a still night after a sunny day");
    ran(&garden, &["learned", "accept", "cover:heavy-row-cover"]).ended_with(0);
    let after = explained(&garden);
    has(&after, "learned from 12 nights and used");
    ran(&garden, &["learned", "take-back", "cover:heavy-row-cover"]).ended_with(0);
    assert_eq!(explained(&garden), before);
}

/// Nights in which A1 was covered, as the list of cold nights counts them and as the season's table does.
fn covered_nights(garden: &Installation) -> (Vec<u32>, Vec<u32>) {
    let day = |date: &str| date.strip_prefix("2027-01-").and_then(|day| day.parse::<u32>().ok());
    let list = ran(garden, &["event", "--from", "2027-01-04", "--to", "2027-01-15"]).ended_with(0).out;
    let has_one = |line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let at = words.iter().position(|word| *word == "no")?;
        (words[at - 1] == "1").then(|| day(words[0])).flatten()
    };
    let of_event = list.lines().filter_map(has_one).collect();
    let out = garden.path("season");
    ran(garden, &["season", "2026-27", "--out", &out.display().to_string()]).ended_with(0);
    let mut table = csv::Reader::from_path(out.join("nights.csv")).expect("a table");
    let headers = table.headers().expect("a header").clone();
    let column = |name: &str| headers.iter().position(|header| header == name).expect("the column");
    let (night, covered) = (column("night"), column("beds_covered"));
    let rows = table.records().map(|row| row.expect("a row"));
    let of_season = rows.filter(|row| row[covered] == *"1").filter_map(|row| day(&row[night])).collect();
    (of_event, of_season)
}

/// The cover of 4 January, which nobody took off, counts in its night; of later ones nobody knows, and they teach nothing.
#[test]
fn a_cover_that_was_not_written_off_counts_and_teaches_the_same_everywhere() {
    let garden = taught();
    let figure = "bed:A1 air at bed A1";
    has(&ran(&garden, &["learned"]).ended_with(0).out, "from 12 nights: 2027-01-04 to 2027-01-15");
    ran(&garden, &["covered", "A1", "--at", "2027-01-08 16:00"]).ended_with(0);
    assert_eq!(covered_nights(&garden), (vec![8], vec![8]));
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, figure);
    has(&list, "from 4 nights: 2027-01-04 to 2027-01-07");
    has(&list, "bed A1: not known since 2027-01-09");
    ran(&garden, &["covered", "A1", "--uncovered", "--at", "2027-01-11 09:00"]).ended_with(0);
    assert_eq!(covered_nights(&garden), (vec![8, 9, 10], vec![8, 9, 10]));
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "from 9 nights: 2027-01-04 to 2027-01-15");
    assert!(!list.contains("not known since"), "{list}");
}

/// Degrees left at bed A2 before frost begins to harm.
fn margin(list: &Value) -> f64 {
    let beds = list["beds"].as_array().expect("beds");
    beds.iter().find(|one| one["bed"] == "A2").expect("the bed")["margin_c"].as_f64().expect("a margin")
}

#[test]
fn what_a_crop_stands_acts_once_it_is_accepted_and_not_after_it_was_taken_back() {
    let garden = garden();
    garden.tampered(FORETOLD);
    for night in [5, 8, 11] {
        minimum(&garden, night, "-3C", &["--bed", "A2"]);
    }
    let before = (tonight(&garden), explained_of(&garden, "A2"));
    // Air of -3 C killed heads that should have stood it half; a night without a thermometer says nothing.
    for (night, class) in [(5, "4"), (8, "4"), (11, "4"), (13, "4")] {
        let (of, seen) = (format!("2027-01-{night:02}"), format!("2027-01-{:02} 10:00", night + 2));
        let words = ["damage", "A2", "broccoli", class, "--usable", "yes", "--night", &of, "--at", &seen];
        ran(&garden, &words).ended_with(0);
    }
    // Reports alone change nothing.
    assert_eq!((tonight(&garden), explained_of(&garden, "A2")), before);
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "tolerance:broccoli:heading:head where frost begins to harm broccoli, heading, by its head");
    has(&list, "published 28.4 F / 25.0 F (spread 1.8 F)");
    has(&list, "from 3 nights: 2027-01-05 to 2027-01-11 in use as published");
    has(&list, "to use it: counterpane learned accept tolerance:broccoli:heading:head");
    has(&list, "Reports of harm that teach nothing 2027-01-13, bed A2, broccoli: no thermometer");
    let document = |garden: &Installation| -> Value {
        serde_json::from_str(&ran(garden, &["learned", "--json"]).ended_with(0).out).expect("JSON")
    };
    let learned = document(&garden);
    assert_eq!(learned["teach_nothing"].as_array().map(Vec::len), Some(1));
    assert_eq!(learned["figures"][0]["published_c"]["damage_begins"], -2.0);
    let shift = learned["figures"][0]["learned"]["mean_k"].as_f64().expect("a shift");
    assert!(shift > 0.3, "{shift}");
    ran(&garden, &["learned", "accept", "tolerance:broccoli:heading:head"]).ended_with(0);
    let after = tonight(&garden);
    let lost = margin(&before.0) - margin(&after);
    assert!((lost - shift).abs() < 0.011, "margin less by {lost}, shift {shift}");
    let text = explained_of(&garden, "A2");
    has(
        &text,
        "(before hardening: published 28.4 F / 25.0 F, known to 1.8 F, not used; learned from 3 nights and used",
    );
    has(&text, "learned here / learned here");
    assert_eq!(document(&garden)["figures"][0]["in_use"], "accepted");
    ran(&garden, &["learned", "take-back", "tolerance:broccoli:heading:head"]).ended_with(0);
    assert_eq!((tonight(&garden), explained_of(&garden, "A2")), before);
}

/// A hard frost that was reported after three days, and looked at again when ten had passed and nights were mild: harm of one
/// night, told by the worse report.
#[test]
fn a_second_look_teaches_of_the_night_that_did_it_and_is_no_harm_of_another() {
    let garden = garden();
    garden.tampered(FORETOLD);
    for (night, low) in [(5, "-6C"), (13, "2C"), (15, "3C")] {
        minimum(&garden, night, low, &[]);
        minimum(&garden, night, low, &["--bed", "A2"]);
    }
    let first = ["damage", "A2", "broccoli", "3", "--night", "2027-01-05", "--at", "2027-01-08 10:00"];
    ran(&garden, &first).ended_with(0);
    let learned = |garden: &Installation| ran(garden, &["learned"]).ended_with(0).out;
    let of_one = learned(&garden);
    has(&of_one, "from 1 night: 2027-01-05");
    // Without a night.
    let echo = ran(&garden, &["damage", "A2", "broccoli", "5"]).ended_with(0).out;
    has(&echo, "by the night of Tuesday 5 January 2027");
    let worst = learned(&garden);
    has(&worst, "from 1 night: 2027-01-05");
    assert_ne!(worst, of_one, "the worse report counts");
    let echo = ran(&garden, &["damage", "A2", "1", "--at", "2027-01-14 10:00"]).ended_with(0).out;
    has(&echo, "by the night of Tuesday 5 January 2027");
    assert_eq!(learned(&garden), worst);
    let story = |night: &str| ran(&garden, &["event", night]).ended_with(0).out;
    has(&story("2027-01-05"), "dead: nothing will grow again");
    has(&story("2027-01-15"), "Found afterwards nothing is written");
    let out = garden.path("season");
    ran(&garden, &["season", "2026-27", "--out", &out.display().to_string()]).ended_with(0);
    let mut table = csv::Reader::from_path(out.join("nights.csv")).expect("a table");
    let headers = table.headers().expect("a header").clone();
    let column = |name: &str| headers.iter().position(|header| header == name).expect("the column");
    let (night, reports, worst) = (column("night"), column("reports"), column("worst_class"));
    let harmed: Vec<_> =
        table.records().map(|row| row.expect("a row")).filter(|row| !["", "0"].contains(&&row[reports])).collect();
    assert_eq!(harmed.len(), 1, "{harmed:?}");
    assert_eq!((&harmed[0][night], &harmed[0][reports], &harmed[0][worst]), ("2027-01-05", "1", "5"));
    // A night that somebody names is believed.
    ran(&garden, &["damage", "A2", "broccoli", "4", "--night", "2027-01-15"]).ended_with(0);
    has(&story("2027-01-15"), "damage to broccoli in bed A2");
    assert_eq!(story("2027-01-05").matches("damage to").count(), 3);
}

#[test]
fn a_slip_is_asked_about_and_teaches_once_it_is_confirmed() {
    let garden = garden();
    // Before anything was known of the night: so nobody asked.
    minimum(&garden, 14, "28C", &[]);
    garden.tampered(FORETOLD);
    // Two rounds foretold it.
    garden.tampered(
        "INSERT INTO forecast_at_round SELECT garden, night, made_at - 86400, round, provider, issued - 86400, low, spread,
             feed_low, lead_hours + 24, cloud, wind_10m, clear_calm, sky, readings
         FROM forecast_at_round WHERE night = '2027-01-14'",
    );
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    has(&list, "2027-01-14, the garden's screen: looks like degrees Fahrenheit taken for Celsius; it would be 28.0 F");
    assert_eq!(list.matches("2027-01-14, ").count(), 1, "one line of one thermometer: {list}");
    has(&list, "if it is right: counterpane learned accept night:2027-01-14:screen");
    // Nobody else counts it either, and what was read at a bed beside it is no slip for that.
    minimum(&garden, 14, "-4C", &["--bed", "A1"]);
    assert_eq!(ran(&garden, &["learned"]).ended_with(0).out.matches("2027-01-14, ").count(), 1);
    let event = || ran(&garden, &["event", "2027-01-14"]).ended_with(0).out;
    let folder = garden.folder().join("season");
    let nights = || {
        ran(&garden, &["season", "2026-27", "--out", &folder.display().to_string()]).ended_with(0);
        std::fs::read_to_string(folder.join("nights.csv")).expect("the nights of the season")
    };
    let left_out = "lowest of the night 82.4 F at the garden's screen is left out: it looks like a slip";
    has(&event(), left_out);
    has(&event(), "lowest of the night 24.8 F at bed A1\n");
    let of_night = |nights: String| nights.lines().find(|line| line.starts_with("2027-01-14")).map(str::to_string);
    let doubted = of_night(nights());
    let before = tonight(&garden);
    let echo = ran(&garden, &["learned", "accept", "night:2027-01-14"]).ended_with(0).out;
    has(&echo, "night:2027-01-14:screen is accepted");
    assert!(!ran(&garden, &["learned"]).ended_with(0).out.contains("2027-01-14, the garden's screen"));
    let after = tonight(&garden);
    assert!(!event().contains(left_out) && of_night(nights()) != doubted, "{doubted:?}");
    assert!(low(&after, "A3") > low(&before, "A3"));
    ran(&garden, &["learned", "take-back", "night:2027-01-14:screen"]).ended_with(0);
    assert_eq!(tonight(&garden), before);
}

/// Two thermometers of one night are doubtful, and one of them is right.
#[test]
fn a_word_for_one_thermometer_is_none_for_another() {
    let garden = garden();
    minimum(&garden, 14, "-3C", &[]);
    minimum(&garden, 14, "-22C", &["--bed", "A1", "--sure"]);
    minimum(&garden, 14, "-23C", &["--bed", "A2", "--sure"]);
    garden.tampered(FORETOLD);
    garden.tampered("UPDATE journal SET document = json_remove(document, '$.sure')");
    let list = || ran(&garden, &["learned"]).ended_with(0).out;
    for name in ["bed:A1", "bed:A2"] {
        has(&list(), &format!("if it is right: counterpane learned accept night:2027-01-14:{name}"));
    }
    has(
        &ran(&garden, &["learned", "accept", "night:2027-01-14"]).ended_with(2).err,
        "Several things are asked about that night; name one: night:2027-01-14:bed:A1, night:2027-01-14:bed:A2.",
    );
    has(
        &ran(&garden, &["learned", "accept", "night:2027-01-14:bed:A3"]).ended_with(2).err,
        "Nothing is asked about night:2027-01-14:bed:A3.",
    );
    ran(&garden, &["learned", "accept", "night:2027-01-14:bed:A1"]).ended_with(0);
    let list = list();
    assert!(!list.contains("night:2027-01-14:bed:A1"), "{list}");
    has(&list, "night:2027-01-14:bed:A2");
}

/// A warm low and a warm evening that were looked at again: both count, and are named.
#[test]
fn what_somebody_was_sure_of_counts_in_lists_and_teaches() {
    let garden = garden();
    garden.tampered(FORETOLD);
    let before = tonight(&garden);
    minimum(&garden, 14, "28C", &["--sure"]);
    let list = ran(&garden, &["learned"]).ended_with(0).out;
    assert!(!list.contains("Set aside"), "{list}");
    has(&list, "Counted by the word of whoever read it (--sure), however doubtful 2027-01-14, the garden's screen");
    assert!(low(&tonight(&garden), "A3") > low(&before, "A3"));
    // In the evening, with the same feed.
    let evening = |sure: &[&str]| {
        let garden = self::garden();
        let at = ["--at", "2027-01-16 19:30", "--now", "2027-01-16T19:40:00-05:00"];
        garden.ran(&[&["reading", "61F"], sure, &at].concat()).ended_with(0);
        let list = ["tonight", "--feed", &feed(), "--now", "2027-01-16T19:40:00-05:00"];
        garden.ran(&list).ended_with(0).out
    };
    has(&evening(&[]), "was not used");
    let sure = evening(&["--sure"]);
    has(&sure, "counts although it is");
    has(&sure, "whoever read it said that it is right");
}

#[test]
fn what_cannot_be_accepted_is_refused_with_the_way_to_say_it() {
    let empty = garden();
    has(&ran(&empty, &["learned"]).ended_with(0).out, "Nothing has been learned in Orchard Lane yet");
    for (arguments, text) in [
        (&["accept", "all"][..], "Nothing has been learned that waits to be accepted. Nothing was written."),
        (&["accept", "bed:A1"], "Nothing has been learned yet, so there is no figure \"bed:A1\"."),
        (&["take-back", "all"], "Nothing is accepted. Nothing was written."),
    ] {
        has(&ran(&empty, &[&["learned"], arguments].concat()).ended_with(2).err, text);
    }
    let garden = taught();
    for (arguments, text) in [
        (
            &["accept", "bed:Z9"][..],
            "No learned figure is called \"bed:Z9\". There are: forecast:nws/day-1/clear-calm, forecast:nws/day-1/other, bed:A1,",
        ),
        (&["accept", "forecast:nws/day-1/clear-calm"], "acts already"),
        (&["accept", "night:2027-01-14"], "Nothing that can be confirmed is asked about the night of 2027-01-14."),
        (&["accept", "night:yesterday"], "names no night; write night:2027-01-15."),
        (&["take-back", "bed:A1"], "Nothing is accepted."),
    ] {
        has(&ran(&garden, &[&["learned"], arguments].concat()).ended_with(2).err, text);
    }
    ran(&garden, &["learned", "accept", "all"]).ended_with(0);
    has(
        &ran(&garden, &["learned", "take-back", "bed:A3"]).ended_with(2).err,
        "\"bed:A3\" is not accepted. What is: bed:A1.",
    );
}
