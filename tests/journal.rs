//! The journal from the command line: what is typed, listed, corrected, copied into tables and taken in again.

mod support;

use std::fs;
use support::installation::{GARDEN, Installation, Ran, files, service};

const NOW: &str = "2027-01-16T13:00:10-05:00";

fn garden() -> Installation {
    Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), GARDEN)
}

fn ran(garden: &Installation, arguments: &[&str]) -> Ran {
    garden.ran(&[arguments, &["--now", NOW]].concat())
}

#[track_caller]
fn refused(ran: &Ran, text: &str) {
    assert_eq!(ran.code, Some(2), "{}\n{}", ran.out, ran.err);
    assert!(ran.err.contains(text) && ran.err.contains("Nothing was written."), "{text}\nis not in\n{}", ran.err);
}

/// One entry of each kind, one corrected and one struck.
fn written() -> Installation {
    let garden = garden();
    for (arguments, echo) in [
        (
            &["reading", "27F", "--min", "--thermometer", "min-max", "--by", "Ada"][..],
            "Written: the lowest, 27.0 F (-2.8 C) at the garden's screen of Orchard Lane, from Friday 15 January 2027, 17:29 EST to ",
        ),
        (
            &["reading", "33F", "--bed", "A1", "--under-cover", "heavy", "--at", "last night 23:00", "--height", "0.2"],
            "33.0 F (0.6 C) under heavy row cover on bed A1 of Orchard Lane, Friday 15 January 2027, 23:00 EST. It teaches \
             nothing: a single look is no low of the night. Write down the lowest after 07:29 with --min. It is entry 2.",
        ),
        (&["reading", "40F", "--bed", "A1", "--soil", "--at", "yesterday 18:30"], "in the soil of bed A1"),
        (
            &["covered", "A1", "A2", "--with", "heavy", "--layers", "2", "--at", "yesterday 16:40"],
            "Written: bed A2 covered with two layers of heavy row cover, Friday 15 January 2027, 16:40 EST. It is entry 5.",
        ),
        (&["covered", "A1", "--uncovered", "--at", "this morning 9:00"], "bed A1 uncovered"),
        (
            &["harvested", "A2", "broccoli", "3lb", "--at", "yesterday 15:00"],
            "Written: 3 lb (1361 g) of broccoli from bed A2",
        ),
        (
            &["damage", "A2", "broccoli", "2", "--usable", "partly", "--note", "outer leaves, \"glassy\""],
            "Written: damage class 2 (slight: some leaves on some plants) to broccoli in bed A2 by the night of Friday 15 \
             January 2027, usable: partly, seen Saturday 16 January 2027, 13:00:10 EST. It is entry 8.",
        ),
        (&["lost", "A1", "lettuce_leaf"], "lettuce_leaf in bed A1 is lost"),
        (&["resown", "A1", "spinach"], "spinach in bed A1 was sown or set out again"),
        (&["reading", "72F", "--at", "06:10", "--sure"], "It is entry 11."),
        (&["reading", "27F", "--at", "06:10", "--replaces", "11"], "It stands for entry 11, which is kept and shown"),
        (&["correct", "10", "--because", "wrong bed"], "entry 10 was a slip and does not count."),
    ] {
        let ran = ran(&garden, arguments).ended_with(0);
        assert!(ran.out.contains(echo), "{echo}\nis not in\n{}", ran.out);
    }
    garden
}

#[test]
fn last_night_is_understood_of_covers_harvests_and_damage() {
    let garden = garden();
    let words = "Friday 15 January 2027, 16:59 EST (\"last night\": by that hour the evening's work is to be done).";
    for (arguments, echo) in [
        (&["covered", "A1", "--with", "heavy", "--at", "last night"][..], words),
        (&["harvested", "A2", "broccoli", "3", "lb", "--at", "last night"], words),
        (&["harvested", "A2", "broccoli", "3", "lb"], "Written: 3 lb (1361 g) of broccoli from bed A2"),
        (&["harvested", "A1", "leaf", "lettuce", "14"], "Written: 14 of lettuce_leaf from bed A1"),
        (&["harvested", "A1", "leaf", "lettuce", "1.5", "kg"], "Written: 1.50 kg of lettuce_leaf from bed A1"),
        (
            &["damage", "A1", "lettuce_leaf", "2", "--at", "last night"],
            "by the night of Friday 15 January 2027, seen Saturday 16 January 2027, 13:00:10 EST.",
        ),
        (&["damage", "A1", "2", "--night", "yesterday"], "by the night of Friday 15 January 2027"),
        (&["damage", "A1", "2", "--night", "friday"], "by the night of Friday 15 January 2027"),
    ] {
        let ran = ran(&garden, arguments).ended_with(0);
        assert!(ran.out.contains(echo), "{echo}\nis not in\n{}", ran.out);
    }
    for (arguments, why) in [
        (&["covered", "A1", "--uncovered", "--at", "last night"][..], "Say the hour at which it was done"),
        (&["harvested", "A2", "broccoli", "lots"], "\"lots\" is no amount"),
        (&["harvested", "A2", "broccoli", "3", "bushels"], "is no amount; write a weight like 1.2kg"),
        (&["damage", "A1", "2", "--night", "then"], "\"then\" is no night; write \"last night\", yesterday, friday"),
    ] {
        let ran = ran(&garden, arguments);
        assert!(ran.code == Some(2) && ran.err.contains(why), "{why}\nis not in\n{}{}", ran.out, ran.err);
    }
}

/// What is written for one minute stands in the order in which it was written.
#[test]
fn entries_of_one_minute_are_listed_by_their_numbers() {
    let garden = garden();
    for degrees in 20..34 {
        let reading = format!("{degrees}F");
        garden.ran(&["reading", &reading, "--at", "06:10", "--now", "2026-11-20T08:00:00-05:00"]).ended_with(0);
    }
    let list = garden.ran(&["journal", "--now", "2026-11-20T12:00:00-05:00"]).ended_with(0).out;
    let shown: Vec<usize> = (20..34).map(|degrees| list.find(&format!(" {degrees}.0 F")).expect("listed")).collect();
    assert!(shown.is_sorted(), "{list}");
}

/// The clock of the first of November shows 01:30 twice, and the list says which is meant.
#[test]
fn an_hour_that_comes_twice_is_listed_with_its_zone() {
    let garden = garden();
    for (now, shown) in
        [("2026-11-01T01:31:00-04:00", "EDT, the first"), ("2026-11-01T01:31:00-05:00", "EST, the last")]
    {
        let ran = garden.ran(&["reading", "31F", "--at", "01:30", "--now", now]).ended_with(0);
        assert!(ran.out.contains(&format!("01:30 {shown} of the two times")), "{}", ran.out);
    }
    garden.ran(&["reading", "31F", "--at", "03:30", "--now", "2026-11-01T03:31:00-05:00"]).ended_with(0);
    let list = garden.ran(&["journal", "--now", "2026-11-02T12:00:00-05:00"]).ended_with(0).out;
    for line in ["2026-11-01 01:30 EDT  31.0 F", "2026-11-01 01:30 EST  31.0 F", "2026-11-01 03:30  31.0 F"] {
        assert!(list.contains(line), "{list}");
    }
}

#[test]
fn what_was_struck_is_written_anew_and_not_corrected() {
    let garden = garden();
    ran(&garden, &["reading", "31F"]).ended_with(0);
    ran(&garden, &["correct", "1"]).ended_with(0);
    let again = ran(&garden, &["reading", "30F", "--replaces", "1"]);
    refused(&again, "Entry 1 was struck by entry 2 and counts no more; write what is right anew, without --replaces");
    refused(&ran(&garden, &["correct", "1"]), "Entry 1 was struck by entry 2");
}

/// Whoever corrects a figure types that figure, and means everything else to stay: the night, the place, the note.
#[test]
fn what_is_not_said_again_stays_as_the_corrected_entry_has_it() {
    let garden = garden();
    for arguments in [
        &["reading", "33F", "--bed", "A1", "--under-cover", "heavy", "--at", "last night 23:00", "--height", "0.2"][..],
        &["reading", "25F", "--min", "--thermometer", "min-max", "--at", "yesterday 08:30"],
        &["damage", "A2", "broccoli", "2", "--usable", "partly", "--note", "two limp", "--night", "2027-01-12"],
        &["harvested", "A2", "broccoli", "3lb", "--at", "yesterday 15:00", "--note", "heads"],
        &["covered", "A2", "--with", "heavy", "--layers", "2", "--at", "yesterday 16:40"],
    ] {
        ran(&garden, arguments).ended_with(0);
    }
    for (arguments, echo) in [
        (
            &["reading", "31F", "--replaces", "1"][..],
            "Written: 31.0 F (-0.6 C) under heavy row cover on bed A1 of Orchard Lane, Friday 15 January 2027, 23:00 EST.",
        ),
        (
            &["reading", "27F", "--min", "--replaces", "2"],
            "Written: the lowest, 27.0 F (-2.8 C) at the garden's screen of Orchard Lane, Friday 15 January 2027, 08:30 EST.",
        ),
        (
            &["damage", "A2", "3", "--replaces", "3"],
            "to broccoli in bed A2 by the night of Tuesday 12 January 2027, usable: partly, seen Saturday 16 January",
        ),
        (&["harvested", "A2", "broccoli", "2lb", "--replaces", "4"], "from bed A2, Friday 15 January 2027, 15:00 EST."),
        (
            &["covered", "A1", "--replaces", "5"],
            "bed A1 covered with two layers of heavy row cover, Friday 15 January 2027, 16:40 EST.",
        ),
    ] {
        let ran = ran(&garden, arguments).ended_with(0);
        assert!(ran.out.contains(echo), "{echo}\nis not in\n{}", ran.out);
    }
    for (arguments, echo) in [
        // Another bed, and still under its cover; and a dew point that nobody has typed now.
        (&["reading", "31F", "--bed", "A2", "--replaces", "6"][..], "under heavy row cover on bed A2 of Orchard Lane"),
        (&["reading", "41F", "--dew-point", "35F", "--at", "yesterday 16:00"], "It is entry 12."),
    ] {
        let ran = ran(&garden, arguments).ended_with(0);
        assert!(ran.out.contains(echo), "{echo}\nis not in\n{}", ran.out);
    }
    refused(&ran(&garden, &["reading", "31F", "--replaces", "12"]), "The corrected entry has a dew point of 35.0 F");
    let documents = garden.asked("SELECT document FROM journal ORDER BY id");
    for (old, new) in documents.iter().zip(&documents[5..10]) {
        let parsed = |text: &str| serde_json::from_str::<serde_json::Value>(text).expect("JSON");
        let (old, new) = (parsed(old), parsed(new));
        let fields = |value: &serde_json::Value| value.as_object().expect("an object").clone();
        let changed: Vec<String> =
            fields(&old).into_iter().filter(|(key, value)| new[key] != *value).map(|(key, _)| key).collect();
        assert_eq!(changed.len(), 1, "{changed:?} of {old} became {new}");
    }
}

#[test]
fn dates_beyond_the_calendar_are_refused() {
    let garden = written();
    for arguments in
        [&["journal", "--to"][..], &["journal", "--from"], &["event"], &["event", "--from"], &["event", "--to"]]
    {
        for date in ["+262142-12-31", "-262143-01-01", "1969-12-31", "2201-01-01", "then"] {
            let joined = match arguments {
                [command, option] => vec![command.to_string(), format!("{option}={date}")],
                _ if date.starts_with('-') => continue,
                _ => vec!["event".into(), date.into()],
            };
            let ran = garden.ran(&joined.iter().map(String::as_str).collect::<Vec<_>>()).ended_with(2);
            assert!(ran.err.contains("1970 to 2200") || ran.err.contains("write a date like"), "{}", ran.err);
        }
        let last = [arguments, &["2200-12-31"]].concat();
        garden.ran(&last).ended_with(0);
    }
}

/// A minimum that is read by day, or stamped with the evening on which a logger was read, is that of the night before.
#[test]
fn a_minimum_read_by_day_is_that_of_the_night_before() {
    let garden = garden();
    ran(&garden, &["reading", "24F", "--min", "--at", "12:55"]).ended_with(0);
    garden.write("daily.csv", "time_local,min_c\n2027-01-14 18:30,-5.5\n2027-01-15 18:30,-6.5\n");
    garden
        .ran(&["journal", "--import", "daily.csv", "--zone", "America/New_York", "--bed", "A1", "--now", NOW])
        .ended_with(0);
    let story = |night: &str| ran(&garden, &["event", night]).ended_with(0).out;
    let (thirteenth, fifteenth) = (story("2027-01-13"), story("2027-01-15"));
    assert!(thirteenth.contains("coldest look 22.1 F at bed A1"), "{thirteenth}");
    assert!(story("2027-01-14").contains("coldest look 20.3 F"), "{}", story("2027-01-14"));
    assert!(fifteenth.contains("coldest look 24.0 F at the garden's screen"), "{fifteenth}");
    assert!(fifteenth.contains("lowest 24.0 F") && !fifteenth.contains("20.3"), "{fifteenth}");
    assert!(story("2027-01-16").contains("Measured\n  nothing is written"), "{}", story("2027-01-16"));
}

/// What a frost did is often written down long after it, and what is gone is gone the next morning.
#[test]
fn the_story_of_a_night_tells_what_was_found_whenever_it_was_written() {
    let garden = garden();
    ran(&garden, &["lost", "A1", "lettuce_leaf", "--at", "this morning 8:00"]).ended_with(0);
    let late = ["damage", "A2", "broccoli", "3", "--night", "2027-01-15", "--now", "2027-04-20T12:00:00-04:00"];
    garden.ran(&late).ended_with(0);
    let story = ran(&garden, &["event", "2027-01-15"]).ended_with(0).out;
    for found in ["2027-01-16  lettuce_leaf in bed A1 lost", "2027-04-20  damage to broccoli in bed A2"] {
        assert!(story.contains(found), "{story}");
    }
    let other = ran(&garden, &["event", "2027-01-16"]).ended_with(0).out;
    assert!(!other.contains("lost") && !other.contains("broccoli"), "{other}");
}

/// What is gone cannot be harmed again, unless it stands there again.
#[test]
fn damage_to_what_was_lost_before_that_night_is_asked_about() {
    let garden = garden();
    ran(&garden, &["lost", "A1", "lettuce_leaf", "--at", "2027-01-12 10:00"]).ended_with(0);
    let damage = |night: &str, more: &[&str]| {
        ran(&garden, &[&["damage", "A1", "lettuce_leaf", "4", "--night", night], more].concat())
    };
    refused(
        &damage("2027-01-14", &[]),
        "lettuce_leaf in bed A1 was lost on 2027-01-12, before the night of 2027-01-14, by entry 1",
    );
    damage("2027-01-11", &[]).ended_with(0);
    damage("2027-01-14", &["--anyway"]).ended_with(0);
    ran(&garden, &["resown", "A1", "lettuce_leaf", "--at", "2027-01-13 10:00"]).ended_with(0);
    damage("2027-01-14", &["--usable", "no"]).ended_with(0);
}

/// Without a forecast the lows of the week before say what can hardly be.
#[test]
fn a_reading_far_from_the_lows_of_the_week_is_asked_about() {
    let garden = garden();
    ran(&garden, &["reading", "27F", "--min"]).ended_with(0);
    refused(&ran(&garden, &["reading", "28C"]), "Is it 28.0 F (-2.2 C)? Write it anew, or add --sure");
    refused(&ran(&garden, &["reading", "-3F", "--bed", "A1"]), "Is it -3.0 C (26.6 F)?");
    for arguments in
        [&["reading", "46F"][..], &["reading", "28C", "--sure"], &["reading", "28C", "--bed", "A1", "--soil"]]
    {
        ran(&garden, arguments).ended_with(0);
    }
}

/// No cover makes it colder: by the thermometer at the bed, else by the garden's own with room for the bed's exposure.
#[test]
fn a_reading_under_a_cover_that_is_colder_than_the_night_outside_is_asked_about() {
    let garden = garden();
    ran(&garden, &["reading", "30F", "--min"]).ended_with(0);
    let under = |shown: &str, more: &[&str]| {
        ran(&garden, &[&["reading", shown, "--min", "--bed", "A1", "--under-cover"], more].concat())
    };
    refused(
        &under("22F", &[]),
        "22.0 F (-5.6 C) under the cover of bed A1 is 8.0 F colder than the night's low at the garden's screen, 30.0 F \
         (-1.1 C), and no cover makes it colder.",
    );
    for (shown, more) in [("34F", &[][..]), ("29F", &[]), ("22F", &["--sure"]), ("60F", &[])] {
        under(shown, more).ended_with(0);
    }
    ran(&garden, &["reading", "31F", "--min", "--bed", "A1"]).ended_with(0);
    under("30F", &[]).ended_with(0);
    refused(&under("29F", &[]), "2.0 F colder than the night's low at bed A1, 31.0 F");
}

/// A cover that nobody wrote off lies in two places.
#[test]
fn more_covers_than_there_are_on_the_shelf_are_told_of() {
    let garden = garden();
    let covered = |arguments: &[&str]| ran(&garden, &[&["covered"], arguments].concat()).ended_with(0).out;
    let first = covered(&["A1", "A2", "--with", "heavy", "--at", "2027-01-14 16:00"]);
    assert!(!first.contains("By the journal"), "{first}");
    let told = "By the journal 4 pieces of heavy row cover lie or may lie on A1, A2, A3, and there are 3. Where one came \
                off, write it off: covered A1 --uncovered --at TIME.\n";
    let too_many = covered(&["A3", "--with", "heavy", "--layers", "2", "--at", "2027-01-15 16:00"]);
    assert!(too_many.ends_with(told), "{too_many}\n{told}");
    covered(&["A1", "A2", "--uncovered", "--at", "2027-01-15 09:00"]);
    let again = covered(&["A2", "--with", "heavy", "--at", "2027-01-15 16:30"]);
    assert!(!again.contains("By the journal"), "{again}");
}

#[test]
fn what_is_written_is_listed_with_its_corrections() {
    let garden = written();
    let list = ran(&garden, &["journal"]).ended_with(0).out;
    for line in [
        "11  2027-01-16 06:10  72.0 F at the garden's screen [corrected: see 12]",
        "12  2027-01-16 06:10  27.0 F at the garden's screen [stands for 11]",
        "10  2027-01-16 13:00  spinach in bed A1 sown again [corrected: see 13]",
        "13  2027-01-16 13:00  another entry struck (wrong bed) [stands for 10]",
        "lowest 27.0 F at the garden's screen, min-max thermometer, by Ada",
    ] {
        assert!(list.contains(line), "{line}\nis not in\n{list}");
    }
    assert_eq!(list.lines().count(), 13);
    let day = ran(&garden, &["journal", "--from", "2027-01-15", "--to", "2027-01-15"]).ended_with(0).out;
    assert_eq!(day.lines().count(), 5, "{day}");
    // A forecast is corrected with what stands.
    assert_eq!(garden.asked("SELECT as_typed FROM readings"), ["27F at 06:10"]);
    // The same again, to the second, is the same entry.
    let again = ran(&garden, &["lost", "A1", "lettuce_leaf"]).ended_with(0).out;
    assert!(again.starts_with("Nothing new: ") && again.contains("already as entry 9."), "{again}");
}

#[test]
fn what_cannot_be_is_refused_with_how_to_say_it() {
    let garden = written();
    for (arguments, text) in [
        (&["damage", "A1", "lettuce_leaf", "7"][..], "There is no class 7. The classes are:\n  0 none: nothing to see"),
        (&["damage", "A1", "lettuce_leaf", "bad"], "\"bad\" is no class from 0 to 5"),
        (&["damage", "Z9", "2"], "No bed is labelled \"Z9\". There are: A1, A2, A3, P1, S1."),
        (&["damage", "A1", "broccoli", "2"], "Bed A1 has no broccoli. It has: lettuce_leaf."),
        (
            &["damage", "A1", "2", "--night", "2027-01-16"],
            "the night of Saturday 16 January 2027 has not begun yet; the last one was that of Friday 15 January 2027",
        ),
        (
            &["damage", "A1", "2", "--night", "2027-01-15", "--at", "2027-01-15 12:00"],
            "The night of 2027-01-15 began only after somebody had looked; was it that of 2027-01-14?",
        ),
        (&["damage", "A1", "2", "--photo", "../../etc/passwd"], "is no place for a photograph"),
        (&["damage", "A1", "2", "--at", "tomorrow"], "\"tomorrow\" is no time"),
        (&["harvested", "A2", "broccoli", "lots"], "\"lots\" is no amount"),
        (&["covered", "A1", "--with", "tent"], "No cover is called \"tent\". There are: heavy row cover."),
        (
            &["reading", "31F", "--bed", "A1", "--under-cover", "tent"],
            "No cover is called \"tent\". There are: heavy row",
        ),
        (&["covered", "A1", "Z9"], "No bed is labelled \"Z9\""),
        (&["reading", "31F", "--at", "last night"], "\"last night\" is a stretch of time; add --min or --max"),
        (&["reading", "31F", "--replaces", "99"], "There is no entry 99 in the journal of Orchard Lane."),
        (
            &["reading", "31F", "--replaces", "11"],
            "Entry 11 was corrected already; correct entry 12, which stands for it.",
        ),
        (&["reading", "31F", "--replaces", "4"], "Entry 4 is of another kind (covered)"),
        (&["correct", "13"], "Entry 13 strikes another"),
        (&["lost", "A1", "garlic"], "Bed A1 has no garlic."),
    ] {
        let ran = ran(&garden, arguments);
        refused(&ran, text);
        assert!(ran.out.is_empty(), "{}", ran.out);
    }
    assert_eq!(garden.asked("SELECT count(*) || '' FROM journal"), ["13"]);
}

/// Ten days of an invented garden, every ten minutes, from 1 January 2027.
fn log(header: &str, days: u32) -> String {
    let mut text = format!("{header}\n");
    for day in 1..=days {
        for minute in (0..24 * 60).step_by(10) {
            // Coldest at seven and warmest at three, by a clock five hours behind UTC.
            let hours = (f64::from(minute) / 60.0 - 5.0).rem_euclid(24.0);
            let share = if (7.0..15.0).contains(&hours) {
                (hours - 7.0) / 8.0
            } else {
                1.0 - (hours - 15.0).rem_euclid(24.0) / 16.0
            };
            let air = -4.0 + 12.0 * share;
            text.push_str(&format!("2027-01-{day:02} {:02}:{:02},{air:.2}\n", minute / 60, minute % 60));
        }
    }
    text
}

#[test]
fn an_export_taken_in_elsewhere_is_exported_to_the_same_bytes() {
    let garden = written();
    garden.write("week.csv", &log("time_utc,air_f", 3));
    ran(&garden, &["journal", "--import", "week.csv", "--bed", "A1", "--height", "0.3"]).ended_with(0);
    garden.write("screen.csv", &log("time_utc,air_c", 2));
    ran(&garden, &["journal", "--import", "screen.csv"]).ended_with(0);
    let export = |from: &Installation, name: &str| {
        ran(from, &["journal", "--export", name]).ended_with(0);
        files(&from.path(name))
    };
    let first = export(&garden, "first");
    assert_eq!(first.len(), 11);
    assert_eq!(
        first.iter().find(|(name, _)| name == "logged.csv").map(|(_, text)| text.lines().count()),
        Some(1 + 5 * 144)
    );
    refused(&ran(&garden, &["journal", "--export", "first"]), "first: it is not empty; name a new folder");

    let other = Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), GARDEN);
    let folder = garden.path("first").display().to_string();
    let taken = ran(&other, &["journal", "--import", &folder]).ended_with(0).out;
    assert_eq!(taken, "Taken in: 15 new entries; 0 were there already.\nTaken in: 720 new rows of logs, of 720.\n");
    assert_eq!(export(&other, "second"), first);
    let again = ran(&other, &["journal", "--import", &folder]).ended_with(0).out;
    assert_eq!(again, "Taken in: 0 new entries; 15 were there already.\nTaken in: 0 new rows of logs, of 720.\n");
    assert_eq!(export(&other, "third"), first);

    // A log that was struck and came again with other values, overlapping a third: into its own store, another, and back.
    ran(&garden, &["correct", "15"]).ended_with(0);
    garden.write("mended.csv", &log("time_utc,air_c", 2).replace(",4.", ",3."));
    ran(&garden, &["journal", "--import", "mended.csv"]).ended_with(0);
    garden.write("longer.csv", &log("time_utc,air_c", 3).replace(",4.", ",3."));
    ran(&garden, &["journal", "--import", "longer.csv"]).ended_with(0);
    let struck = export(&garden, "struck");
    let folder = garden.path("struck").display().to_string();
    let nothing = "Taken in: 0 new entries; 18 were there already.\nTaken in: 0 new rows of logs, of 1440.\n";
    assert_eq!(ran(&garden, &["journal", "--import", &folder]).ended_with(0).out, nothing);
    assert_eq!(export(&garden, "struck-again"), struck);
    for name in ["on top of the first", "into an empty store"] {
        let third = if name == "on top of the first" { &other } else { &self::garden() };
        ran(third, &["journal", "--import", &folder]).ended_with(0);
        assert_eq!(export(third, "struck"), struck, "{name}");
        assert_eq!(ran(third, &["journal", "--import", &folder]).ended_with(0).out, nothing, "{name}");
        let back = third.path("struck").display().to_string();
        assert_eq!(ran(&garden, &["journal", "--import", &back]).ended_with(0).out, nothing, "{name}");
    }
    // A row of a log that was changed in the table.
    let logged = struck.iter().find(|(name, _)| name == "logged.csv").expect("a table").1.clone();
    let (head, first_row) = logged.split_once('\n').expect("rows");
    let (row, _) = first_row.split_once('\n').expect("a row");
    let celsius = row.split(',').nth(1).expect("a temperature");
    garden.write("logged.csv", &format!("{head}\n{}\n", row.replacen(celsius, "-11.5", 1)));
    refused(&ran(&garden, &["journal", "--import", "logged.csv"]), "and this says -11.50 C");

    // A row that was changed, and rows of an import that is not there.
    let damage = first.iter().find(|(name, _)| name == "damage.csv").map(|(_, text)| text.replace(",2,", ",4,"));
    other.write("changed.csv", &damage.expect("a table"));
    refused(&ran(&other, &["journal", "--import", "changed.csv"]), "changed.csv:2: the key ");
    let bare = garden_with_logged_alone(&first);
    refused(&ran(&bare, &["journal", "--import", "logged.csv"]), "is no entry; take in imported.csv with it");
}

#[test]
fn whatever_was_taken_down_can_be_taken_in_elsewhere() {
    let garden = garden();
    ran(&garden, &["reading", "31F", "--at", "06:10\r"]).ended_with(0);
    for bed in ["B\t1", "", " B1"] {
        let lost = ran(&garden, &["harvested", bed, "kale", "1kg", "--anyway"]);
        refused(&lost, "is no label of a bed; write it as one line of plain text");
    }
    ran(&garden, &["harvested", "B1", "kale", "1kg\t", "--anyway"]).ended_with(0);
    garden.write("log.csv", &log("time_utc,\"air\t_c\"", 1));
    ran(&garden, &["journal", "--import", "log.csv"]).ended_with(0);
    ran(&garden, &["journal", "--export", "out"]).ended_with(0);
    let other = self::garden();
    let taken = ran(&other, &["journal", "--import", &garden.path("out").display().to_string()]).ended_with(0).out;
    assert!(taken.starts_with("Taken in: 3 new entries;"), "{taken}");
}

#[test]
fn the_journal_of_another_garden_is_asked_about_and_beds_that_are_not_there_are_counted() {
    let garden = written();
    ran(&garden, &["journal", "--export", "out"]).ended_with(0);
    let folder = garden.path("out").display().to_string();
    let other = self::garden();
    let beds = GARDEN.replace("\"A2\"", "\"Z2\"");
    fs::remove_file(other.path("gardens/orchard-lane.toml")).expect("a garden");
    other.write("gardens/mill-field.toml", &beds);
    refused(
        &ran(&other, &["journal", "--import", &folder]),
        "garden.csv: this is the journal of garden \"orchard-lane\" (Orchard Lane), and it would go into that of \
         \"mill-field\"; add --other-garden if that is meant",
    );
    let taken = ran(&other, &["journal", "--import", &folder, "--other-garden"]).ended_with(0).out;
    assert_eq!(
        taken,
        "Taken in: 13 new entries; 0 were there already.\nTaken in: 0 new rows of logs, of 0.\n\
         Of these, 3 are about beds that are not in the settings: A2.\n"
    );
    fs::write(garden.path("out/garden.csv"), "garden\n").expect("a file");
    refused(&ran(&garden, &["journal", "--import", "out"]), "garden.csv: it does not say whose journal this is");
}

/// A table by hand goes by the rules of the command line.
#[test]
fn a_table_by_hand_corrects_an_entry_once_and_with_one_of_its_kind() {
    let garden = written();
    let keys = garden.asked("SELECT key FROM journal ORDER BY id");
    let key = |id: usize| keys[id - 1].clone();
    let head = "kind,key,at_utc,entered_at_utc,by,as_typed,replaces,place,bed,cover,temperature_c,dew_point_c,of,\
                since_utc,thermometer,height_m,shielded\n";
    let row = |at: &str, entered: &str, replaces: &str, celsius: &str, of: &str, since: &str| {
        format!("reading,,{at},{entered},,,{replaces},screen,,,{celsius},,{of},{since},,,\n")
    };
    let at = "2027-01-16T11:10:00Z";
    let right = row(at, at, &key(12), "-2.5", "instant", "");
    for (rows, why) in [
        (row(at, at, &key(11), "-2", "instant", ""), "was corrected already; correct entry 12, which stands for it"),
        (format!("{right}{}", row(at, at, &key(12), "-2", "instant", "")), " was corrected already; correct entry "),
        (row(at, at, &key(4), "-2", "instant", ""), " is of another kind (covered); strike it"),
        (row(at, at, &key(13), "-2", "instant", ""), " strikes another; write the other anew instead"),
        (row(at, at, "0123456789ab", "-2", "instant", ""), "it replaces 0123456789ab, and no entry has that key"),
        (row(at, "2027-01-17T11:10:00Z", "", "-2", "instant", ""), "2027-01-17T11:10:00Z has not come yet"),
        (
            row(at, at, "", "-2", "minimum", "2027-01-16T12:10:00Z"),
            "since_utc 2027-01-16T12:10:00Z comes after at_utc 2027-01-16T11:10:00Z",
        ),
    ] {
        garden.write("hand.csv", &format!("{head}{rows}"));
        refused(&ran(&garden, &["journal", "--import", "hand.csv"]), why);
    }
    // Right, and a second time.
    garden.write("hand.csv", &format!("{head}{right}"));
    for taken in ["Taken in: 1 new entries; 0 were", "Taken in: 0 new entries; 1 were"] {
        assert!(ran(&garden, &["journal", "--import", "hand.csv"]).ended_with(0).out.starts_with(taken));
    }
}

fn garden_with_logged_alone(files: &[(String, String)]) -> Installation {
    let bare = garden();
    let logged = files.iter().find(|(name, _)| name == "logged.csv").expect("a table");
    bare.write("logged.csv", &logged.1);
    bare
}

#[test]
fn logs_that_overlap_count_once_and_a_struck_one_takes_nothing_of_the_other() {
    let garden = garden();
    garden.write("three.csv", &log("time_utc,air_c", 3));
    garden.write("five.csv", &log("time_utc,air_c", 5));
    let take = |name: &str| ran(&garden, &["journal", "--import", name]).ended_with(0).out;
    assert!(take("three.csv").ends_with("432 rows, of which 432 are new. It is entry 1.\n"));
    assert!(take("five.csv").ends_with("720 rows, of which 288 are new. It is entry 2.\n"));
    assert!(take("five.csv").starts_with("Nothing new: air_c at the garden's screen"));
    // Of three days each import has its own, and what a forecast is corrected with has them once.
    let count = || garden.asked("SELECT count(*) || '' FROM logged");
    assert_eq!(count(), ["1152"]);
    let lowest = |day: &str| {
        let story = ran(&garden, &["event", day]).ended_with(0).out;
        story.lines().filter(|line| line.contains("lowest of the night")).map(str::to_string).collect::<Vec<_>>()
    };
    let before = lowest("2027-01-01");
    assert_eq!(before.len(), 1);
    assert_eq!(garden.asked("SELECT count(*) || '' FROM journal"), ["2"]);
    // Another temperature at the same time is no repetition.
    garden.write("other.csv", &log("time_utc,air_c", 1).replacen(",4.", ",3.", 1));
    let other = ran(&garden, &["journal", "--import", "other.csv"]);
    refused(&other, "UTC is there already with ");
    assert_eq!(other.err.matches("other.csv:").count(), 1, "{}", other.err);
    ran(&garden, &["correct", "1"]).ended_with(0);
    assert_eq!(lowest("2027-01-01"), before, "the second import held that night too");
    assert!(take("three.csv").starts_with("Nothing new: air_c at the garden's screen"));
    ran(&garden, &["correct", "2"]).ended_with(0);
    assert_eq!(lowest("2027-01-01"), [""; 0]);
    assert!(take("three.csv").ends_with("432 rows, of which 432 are new. It is entry 5.\n"));
    assert_eq!(count(), ["1584"], "struck imports are kept");
}

/// As a power cut leaves it: the entry, and a part of its rows.
#[test]
fn an_import_that_was_interrupted_is_seen_and_its_rest_comes_with_the_next() {
    let garden = garden();
    garden.write("three.csv", &log("time_utc,air_c", 3));
    let take = || ran(&garden, &["journal", "--import", "three.csv"]).ended_with(0).out;
    take();
    let list = || ran(&garden, &["journal"]).ended_with(0).out;
    assert!(!list().contains("interrupted"), "{}", list());
    let whole = || garden.asked("SELECT at || ' ' || import || ' ' || celsius FROM logged ORDER BY at");
    let before = whole();
    garden.tampered("DELETE FROM logged WHERE at > (SELECT min(at) + 86400 FROM logged)");
    let seen = "\nEntry 1 was interrupted: 145 of 432 rows of three.csv are there. Take it in again, and the others are added.\n";
    assert!(list().ends_with(seen), "{}", list());
    assert!(take().ends_with("287 rows that entry 1 had been without.\n"));
    assert_eq!(whole(), before);
    assert!(!list().contains("interrupted"));
    assert_eq!(garden.asked("SELECT count(*) || '' FROM journal"), ["1"]);
    assert!(take().starts_with("Nothing new"));
}

/// What befalls a log: the whole of it refused with its line, or the good rows kept where somebody wants that.
#[test]
fn bad_logs_are_answered_by_row_and_all_or_the_bad_rows_are_left_out() {
    let sound = log("time_utc,air_c", 10);
    let with = |line: usize, text: &str| {
        let mut lines: Vec<&str> = sound.lines().collect();
        lines[line - 1] = text;
        lines.join("\n") + "\n"
    };
    for (text, answer, kept) in [
        (with(50, "2027-01-01 08:00,85.0"), "log.csv:50: air_c 85.0: a digital sensor says 85 C", "1439"),
        (
            with(50, "2027-01-01 08:00,61"),
            "log.csv:50: air_c 61 is no temperature of a garden in C; is the column in F?",
            "1439",
        ),
        (with(50, "2027-03-01 08:00,1.00"), "log.csv:50: 2027-03-01 08:00 UTC has not come yet", "1439"),
        (with(50, "2027-01-01 07:50,9.99"), "log.csv:50: the same time as line 49, and another temperature", "1439"),
        (with(50, "yesterday,1.00"), "log.csv:50: \"yesterday\" is no time such as", "1439"),
        (sound[..sound.len() - 3].to_string(), "log.csv:1441: the file ends within this line", "1439"),
    ] {
        let garden = garden();
        garden.write("log.csv", &text);
        let all = ran(&garden, &["journal", "--import", "log.csv"]);
        refused(&all, answer);
        assert!(all.err.contains("\n1 rows are at fault."), "{}", all.err);
        assert!(!garden.path("counterpane.sqlite").exists(), "something was written");
        let good = ran(&garden, &["journal", "--import", "log.csv", "--keep-good"]).ended_with(0);
        assert!(good.out.contains(answer) && good.out.contains("Left out: 1 rows."), "{}", good.out);
        assert_eq!(garden.asked("SELECT count(*) || '' FROM logged"), [kept], "{answer}");
    }
    for (text, answer) in [
        (sound.replace("air_c", "temperature"), "column \"temperature\" does not say whether it is in C or F"),
        (sound.replace("air_c", "soil_c"), "of which bed is soil_c? Add --bed"),
        (sound.replace("time_utc", "time_local"), "its times are local; say of which zone with --zone"),
        (sound.replace("time_utc", "when"), "nobody knows what column \"when\" is"),
        ("time_utc,air_c\n".to_string(), "it has no row with a temperature"),
        (String::new(), "it has no column time_utc"),
    ] {
        let garden = garden();
        garden.write("log.csv", &text);
        refused(&ran(&garden, &["journal", "--import", "log.csv"]), answer);
        assert!(!garden.path("counterpane.sqlite").exists(), "something was written");
    }
}

#[test]
fn a_bad_cell_costs_its_row_nothing_else_and_a_sheet_saved_otherwise_says_so() {
    let garden = garden();
    garden.write("two.csv", "time_utc,air_c,soil_c\n2027-01-10 06:00,-5,3\n2027-01-10 06:10,-5,85\n");
    refused(
        &ran(&garden, &["journal", "--import", "two.csv", "--bed", "A1"]),
        "two.csv:3: soil_c 85: a digital sensor",
    );
    let taken = ran(&garden, &["journal", "--import", "two.csv", "--bed", "A1", "--keep-good"]).ended_with(0).out;
    assert!(taken.contains("Left out: 1 rows.") && taken.contains("the rest of the row is sound"), "{taken}");
    assert_eq!(garden.asked("SELECT count(*) || ' ' || sum(celsius) FROM logged"), ["3 -7.0"]);
    for (text, why) in [
        ("time_utc;air_c\n2027-01-16 06:10;-2,5\n", "log.csv: its columns are separated by semicolons; save it with"),
        ("kind;key;at_utc\nreading;;\n", "log.csv: its columns are separated by semicolons; save it with commas"),
        ("time_utc,air_c,\n2027-01-16 06:10,-2.5,\n", "log.csv: its column 3 has no name"),
        ("\"kind\",\"key\"\n", "log.csv: it has no column \"at_utc\""),
    ] {
        garden.write("log.csv", text);
        refused(&ran(&garden, &["journal", "--import", "log.csv"]), why);
    }
}

#[test]
fn what_is_doubtful_of_a_whole_log_is_asked_and_not_mended() {
    let garden = garden();
    // Local times that are called UTC.
    let shifted = log("time_local,air_c", 10);
    garden.write("log.csv", &shifted);
    let asked = ran(&garden, &["journal", "--import", "log.csv", "--zone", "Asia/Tokyo"]);
    refused(&asked, "the coldest and the warmest hour come about 9 hours too early");
    assert!(asked.err.contains("Add --sure"), "{}", asked.err);
    ran(&garden, &["journal", "--import", "log.csv", "--zone", "Asia/Tokyo", "--sure"]).ended_with(0);
    // As it stands: midnight in Tokyo.
    assert_eq!(garden.asked("SELECT datetime(min(at), 'unixepoch') FROM logged"), ["2026-12-31 15:00:00"]);
    garden.write("spring.csv", "time_local,air_c\n2026-03-08 01:50,1.0\n2026-03-08 02:10,1.1\n");
    refused(
        &ran(&garden, &["journal", "--import", "spring.csv", "--zone", "America/New_York"]),
        "spring.csv:3: the clocks of America/New_York never showed 2026-03-08 02:10",
    );
    ran(&garden, &["journal", "--import", "spring.csv", "--zone", "-05:00", "--source", "other"]).ended_with(0);
    // A cover as the shelf calls it, or a beginning of its name.
    let under = |cover: &str| {
        let of = ["journal", "--import", "spring.csv", "--zone", "-05:00", "--bed", "A1", "--under-cover", cover];
        ran(&garden, &of)
    };
    refused(&under("tent"), "No cover is called \"tent\". There are: heavy row cover.");
    let taken = under("heavy").ended_with(0).out;
    assert!(taken.contains("under heavy row cover on bed A1"), "{taken}");
}

#[test]
fn a_cold_night_has_its_story_and_stands_in_the_list() {
    let garden = written();
    let story = ran(&garden, &["event", "2027-01-15"]).ended_with(0).out;
    for text in [
        "The night of Friday 15 January 2027 at Orchard Lane\nA cold night: below ",
        "Fri 16:40  bed A1 covered with two layers of heavy row cover",
        "Sat 09:00  bed A1 uncovered",
        "Sat 06:10  27.0 F at the garden's screen\n",
        "lowest of the night 27.0 F at the garden's screen",
        "coldest look 33.0 F under heavy row cover on bed A1",
        "counterpane damage A1 lettuce_leaf 0-5 --night 2027-01-15 --garden orchard-lane",
        "2027-01-16  damage to broccoli in bed A2 by the night of 2027-01-15: class 2, slight",
    ] {
        assert!(story.contains(text), "{text}\nis not in\n{story}");
    }
    assert!(!story.contains("damage A2 broccoli 0-5"), "it was answered: {story}");
    assert!(!story.contains("72.0 F") && !story.contains("spinach"), "what was corrected counts: {story}");
    let list = ran(&garden, &["event"]).ended_with(0).out;
    let line = list.lines().find(|line| line.starts_with("2027-01-15 ")).expect("the night");
    assert!(
        line.contains("27.0 F at the garden's screen") && line.ends_with("1 report, worst class 2 at bed A2"),
        "{line}"
    );
    assert_eq!(list.lines().count(), 4, "{list}");
}
