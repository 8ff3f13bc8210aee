//! A bed that is sown to one crop twice: what names a planting says which, and what is written down teaches of that one.

mod support;

use support::installation::{GARDEN, Installation, Ran, service};

const NOW: &str = "2027-01-16T13:00:10-05:00";

/// In A1 two cabbages that a cultivar and a date tell apart, and in A2 two that nothing does.
fn garden() -> Installation {
    let two = r#"{ crop = "cabbage", cultivar = "January King", planted = 2026-07-20 }, { crop = "cabbage", planted = 2026-09-12 }"#;
    let alike = r#"{ crop = "carrot", stage = "rooting" }, { crop = "carrot", stage = "rooting" }"#;
    let garden = GARDEN
        .replace(r#"{ crop = "lettuce_leaf", stage = "leafy", hardened = "partly" }"#, two)
        .replace(r#"{ crop = "broccoli", stage = "heading", hardened = "partly" }"#, alike);
    Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), &garden)
}

fn ran(garden: &Installation, arguments: &[&str]) -> Ran {
    garden.ran(&[arguments, &["--now", NOW]].concat())
}

#[track_caller]
fn has(text: &str, parts: &[&str]) {
    for part in parts {
        assert!(text.contains(part), "{part}\nis not in\n{text}");
    }
}

#[test]
fn each_sowing_is_written_of_by_itself() {
    let garden = garden();
    for (typed, echo) in [
        (&["damage", "A1", "cabbage", "3", "--sowing", "january king"][..], "to cabbage (January King) in bed A1"),
        (&["damage", "A1", "cabbage", "1", "--sowing", "12 Sep"], "to cabbage (set out 12 September) in bed A1"),
        (&["harvested", "A1", "cabbage", "3", "--sowing", "Jan"], "3 of cabbage (January King) from bed A1"),
        (&["lost", "A1", "cabbage", "--sowing", "2026-09-12"], "cabbage (set out 12 September) in bed A1 is lost"),
        (&["resown", "A1", "cabbage", "--sowing", "all"], "cabbage in bed A1 was sown or set out again"),
        // What is not said again is as it was.
        (&["damage", "A1", "cabbage", "4", "--replaces", "1"], "to cabbage (January King) in bed A1"),
        // Nothing tells these apart, and nobody is asked what cannot be answered.
        (&["lost", "A2", "carrot"], "carrot in bed A2 is lost"),
    ] {
        has(&ran(&garden, typed).ended_with(0).out, &[echo]);
    }
    let list = ran(&garden, &["journal"]).ended_with(0).out;
    has(&list, &["damage to cabbage (January King) in bed A1", "cabbage (2026-09-12) in bed A1 lost"]);
    ran(&garden, &["journal", "--export", "copy"]).ended_with(0);
    let copy = std::fs::read_to_string(garden.path("copy/lost.csv")).expect("a table");
    has(&copy, &["bed,crop,note,sowing", ",A1,cabbage,,2026-09-12"]);
}

#[test]
fn where_it_is_not_clear_which_is_meant_the_choices_are_named() {
    let garden = garden();
    let which = "Bed A1 has cabbage 2 times: January King, set out 12 September. Which is meant? Add it, such as --sowing \
                 \"January King\", or --sowing all. Nothing was written.";
    for (typed, why) in [
        (&["damage", "A1", "cabbage", "3"][..], which),
        (&["harvested", "A1", "cabbage", "3"], which),
        (&["lost", "A1", "cabbage"], which),
        (&["resown", "A1", "cabbage"], which),
        (
            &["lost", "A1", "cabbage", "--sowing", "Savoy"],
            "No cabbage in bed A1 is of the sowing \"Savoy\". There is: January King, set out 12 September.",
        ),
        (
            &["lost", "A1", "kale"],
            "Bed A1 has no kale. It has: cabbage (January King), cabbage (set out 12 September).",
        ),
        (&["lost", "A2", "kale"], "Bed A2 has no kale. It has: carrot."),
        (&["damage", "A1", "3", "--sowing", "Jan"], "Name the crop whose sowing it is"),
    ] {
        has(&ran(&garden, typed).ended_with(2).err, &[why]);
    }
    // On a day on which but one stood there is no question.
    ran(&garden, &["harvested", "A1", "cabbage", "1", "--at", "2026-09-01 10:00"]).ended_with(0);
}

/// A row that somebody made by hand names its sowing as entries keep it.
#[test]
fn a_row_of_an_unknown_sowing_is_refused() {
    let garden = garden();
    let row = |sowing: &str| {
        let header = "kind,key,at_utc,entered_at_utc,by,as_typed,replaces,bed,crop,note,sowing";
        garden.write("lost.csv", &format!("{header}\nlost,,2027-01-16T15:00:00Z,,,,,A1,cabbage,,{sowing}\n"));
        ran(&garden, &["journal", "--import", "lost.csv"])
    };
    has(&row("12 September").ended_with(2).err, &["is kept as \"2026-09-12\""]);
    has(&row("Savoy").ended_with(2).err, &["No cabbage in bed A1 is of the sowing \"Savoy\""]);
    row("2026-09-12").ended_with(0);
}

#[test]
fn settings_are_told_with_what_tells_sowings_apart() {
    let told = garden().ran(&["check"]).ended_with(0).out;
    has(&told, &["A1: cabbage (January King) ", "A1: cabbage (set out 12 September) "]);
}

#[test]
fn a_sowing_that_is_lost_takes_no_other_with_it() {
    let garden = garden();
    ran(&garden, &["lost", "A1", "cabbage", "--sowing", "12 Sep", "--at", "2027-01-12 10:00"]).ended_with(0);
    let damage =
        |sowing: &str| ran(&garden, &["damage", "A1", "cabbage", "2", "--sowing", sowing, "--night", "2027-01-14"]);
    damage("Jan").ended_with(0);
    has(&damage("12 Sep").ended_with(2).err, &["cabbage (set out 12 September) in bed A1 was lost on 2027-01-12"]);
}

/// Two people look at one planting on one day: nothing is refused, and the second is told of the first.
#[test]
fn reports_that_contradict_each_other_are_told_of() {
    let garden = garden();
    let damage = |class: &str, more: &[&str]| {
        let arguments = ["damage", "A1", "cabbage", class, "--sowing", "Jan", "--night", "2027-01-14"];
        ran(&garden, &[&arguments, more].concat()).ended_with(0).out
    };
    assert!(!damage("2", &["--by", "Ada", "--at", "08:00"]).contains("says class"));
    let told = "It is entry 2.\nEntry 1 (Ada) says class 2 of it; both count, the worse decides. If one is a slip: \
                --replaces 1.\n";
    has(&damage("4", &["--at", "11:00"]), &[told]);
    // Of the same class, of another sowing, on another day, and in place of the slip nothing is said but what still differs.
    assert!(!damage("2", &["--at", "yesterday 12:00"]).contains("says class"));
    assert!(!damage("3", &["--at", "yesterday 12:00", "--replaces", "3"]).contains("says class"));
    let of_other = ["damage", "A1", "cabbage", "5", "--sowing", "12 Sep", "--night", "2027-01-14"];
    assert!(!ran(&garden, &of_other).ended_with(0).out.contains("says class"));
    assert!(!damage("2", &["--at", "11:00", "--replaces", "2"]).contains("says class"));
}
