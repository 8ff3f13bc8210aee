//! A season of an invented garden through the program itself: its page and its tables, and what is refused.

mod support;

use std::fs;
use std::path::Path;
use support::golden;
use support::installation::{GARDEN, Installation, Ran, files, service};

const NOW: &str = "2027-07-05T13:00:00-04:00";

fn garden() -> Installation {
    Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), GARDEN)
}

fn ran(garden: &Installation, arguments: &[&str]) -> Ran {
    garden.ran(&[arguments, &["--now", NOW]].concat())
}

/// Forty nights from 1 December 2026, every half hour: coldest at seven by the sun, and each night
/// another low, from -7 to 6 °C, less what a bed is colder.
fn log(colder: f64) -> String {
    let mut text = "time_utc,air_c\n".to_string();
    let start: chrono::DateTime<chrono::Utc> = "2026-12-01T17:30:00Z".parse().expect("an instant");
    for step in 0..40 * 48 {
        let at = start + chrono::Duration::minutes(30 * step);
        let day = step / 48;
        let low = -7.0 + ((day * 5) % 14) as f64 - colder;
        // From noon down to the low at seven, and up to the next noon.
        let hour = (step % 48) as f64 / 2.0;
        let share = if hour < 19.0 { 1.0 - hour / 19.0 } else { (hour - 19.0) / 5.0 };
        text.push_str(&format!("{},{:.2}\n", at.format("%Y-%m-%d %H:%M"), low + (9.0 + colder) * share));
    }
    text
}

/// What the service itself would have kept: forecasts of the first thirty nights, half a kelvin too warm, and lists that ask
/// for A1 below -1 °C and for A2 below -4 °C, while P1 is left open.
const KEPT: &str = "
    WITH RECURSIVE days (n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM days WHERE n < 29),
    nights AS (SELECT n, date('2026-12-01', n || ' days') AS night, -6.5 + (n * 5) % 14 AS low FROM days)
    INSERT INTO forecast_at_round SELECT 'orchard-lane', night, unixepoch(night) + 72000, 'afternoon', 'nws', NULL, low, 1.5,
        low, 16, 0.2, 1, 0.9, 'clear', 0 FROM nights;
    WITH nights AS (SELECT night, low FROM forecast_at_round WHERE low < -1)
    INSERT INTO said SELECT 'orchard-lane', night, 1,
        json_object('at', strftime('%Y-%m-%dT20:00:00Z', night), 'beds', json_array(
            json_object('bed', 'A1', 'measure', 'cover', 'cover', 'heavy row cover', 'chance', 0.6, 'remaining', 0.05),
            json_object('bed', 'A2', 'measure', iif(low < -4, 'cover', 'fine'),
                'cover', iif(low < -4, 'two layers of heavy row cover', NULL), 'chance', iif(low < -4, 0.5, 0.02),
                'remaining', 0.02),
            json_object('bed', 'P1', 'measure', 'leave', 'cover', NULL, 'chance', 0.7, 'remaining', 0.7,
                'reason', 'no-cover-left'))),
        unixepoch(night) + 72000 FROM nights;";

fn written() -> Installation {
    let garden = garden();
    garden.write("screen.csv", &log(0.0));
    garden.write("a1.csv", &log(1.5));
    ran(&garden, &["journal", "--import", "screen.csv"]).ended_with(0);
    ran(&garden, &["journal", "--import", "a1.csv", "--bed", "A1"]).ended_with(0);
    garden.tampered(KEPT);
    for arguments in [
        &["covered", "A1", "--with", "heavy", "--at", "2026-12-01 16:40"][..],
        &["covered", "A2", "--with", "heavy", "--layers", "2", "--at", "2026-12-01 16:50"],
        &["covered", "A1", "--with", "heavy", "--at", "2026-12-04 16:40"],
        &["covered", "A1", "--uncovered", "--at", "2026-12-05 09:00"],
        &["damage", "A1", "lettuce_leaf", "0", "--night", "2026-12-01", "--at", "2026-12-03 10:00"],
        &[
            "damage",
            "A2",
            "broccoli",
            "2",
            "--night",
            "2026-12-01",
            "--at",
            "2026-12-03 10:00",
            "--note",
            "<b>&\"tips\"",
        ],
        &["damage", "P1", "rosemary", "1", "--night", "2026-12-01", "--at", "2026-12-03 10:00"],
        &["damage", "P1", "rosemary", "0", "--night", "2026-12-15", "--at", "2026-12-17 10:00"],
        &["damage", "A3", "garlic", "1", "--night", "2026-12-08", "--at", "2026-12-10 10:00"],
        &["harvested", "A2", "broccoli", "3lb", "--at", "2026-12-20 15:00"],
        &["lost", "A1", "lettuce_leaf", "--at", "2027-01-08 15:00"],
        &["resown", "A1", "spinach", "--at", "2027-02-20 15:00"],
    ] {
        ran(&garden, arguments).ended_with(0);
    }
    garden
}

/// `GOLDEN=write cargo test --test season` writes the files anew: read the difference as a garden manager would.
#[test]
fn the_season_of_an_invented_garden_is_as_it_was_read() {
    let garden = written();
    let out = ran(&garden, &["season", "2026-27", "--out", "report"]).ended_with(0).out;
    assert_eq!(out, "Written to report: season.html, nights.csv, beds.csv, crops.csv, covers.csv, next_winter.csv.\n");
    let found = files(&garden.path("report"));
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/season");
    for (name, text) in &found {
        assert!(!golden::differs(&kept.join(name), text), "{name} differs from tests/season/{name}:\n{text}");
    }
    assert_eq!(files(&kept), found);
    assert_eq!(found.len(), 6);
    // A second time the same, in place of the first.
    ran(&garden, &["season", "2026-2027", "--out", "report"]).ended_with(0);
    assert_eq!(files(&garden.path("report")), found);
    page_is_sound(&found.iter().find(|(name, _)| name == "season.html").expect("a page").1);
}

/// What a page must be that stands alone and can be read by everybody.
fn page_is_sound(page: &str) {
    for word in ["<script", "http://", "https://", "src=", "<link", "@import", "<b>", "NaN", "inf "] {
        let found = page.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
        assert!(!found.contains(word), "{word}");
    }
    // Whatever is fetched by address stands in the page itself.
    assert!(page.match_indices("url(").all(|(at, _)| page[at + 4..].starts_with('#')));
    assert!(page.starts_with("<!DOCTYPE html>") && page.contains("<html lang=\"en\">"));
    let charts: Vec<&str> = page.split("<svg").skip(1).map(|svg| svg.split("</svg>").next().expect("an end")).collect();
    assert_eq!(charts.len(), 3);
    for chart in charts {
        let text = |tag: &str| chart.split(&format!("</{tag}>")).next().and_then(|text| text.rsplit('>').next());
        assert!(text("title").is_some_and(|title| title.len() > 3), "{chart}");
        assert!(text("desc").is_some_and(|words| words.len() > 40), "{chart}");
        assert!(chart.contains("role=\"img\""));
    }
    let mut ids: Vec<&str> = page.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id stands twice");
    every_tag_ends(page);
}

/// Each tag that begins ends, in order.
fn every_tag_ends(page: &str) {
    let mut open: Vec<&str> = Vec::new();
    let body = page.split_once("</style>").expect("a style").1;
    for tag in body.split('<').skip(1) {
        let (tag, _) = tag.split_once('>').expect("an end of a tag");
        let name = tag.split([' ', '\n', '/']).find(|part| !part.is_empty()).unwrap_or_default();
        if tag.starts_with('/') {
            let last = open.pop();
            // The head was begun before the style.
            assert!(last == Some(name) || (last.is_none() && ["head", "html"].contains(&name)), "{last:?} </{name}>");
        } else if !tag.ends_with('/') && name != "br" {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn tables_read_back_and_say_what_the_journal_says() {
    let garden = written();
    ran(&garden, &["season", "2026-27", "--out", "report"]).ended_with(0);
    let rows = |name: &str| -> Vec<std::collections::BTreeMap<String, String>> {
        let mut reader = csv::Reader::from_path(garden.path("report").join(name)).expect("a table");
        reader.deserialize().map(|row| row.expect("sound")).collect()
    };
    let nights = rows("nights.csv");
    let first = &nights[0];
    for (column, value) in [
        ("night", "2026-12-01"),
        ("foretold_c", "-6.50"),
        ("measured_c", "-7.00"),
        ("measured_at", "screen"),
        ("beds_asked", "2"),
        ("beds_covered", "2"),
        ("reports", "3"),
        ("worst_class", "2"),
        ("verdict", "hit"),
    ] {
        assert_eq!(first[column], value, "{column}");
    }
    // Garlic was harmed on a night on which nothing was asked of it, and of a mild one nobody asked anything.
    assert_eq!(nights.len(), 40);
    let of = |night: &str| nights.iter().find(|row| row["night"] == night).expect("a night");
    assert_eq!(of("2026-12-04")["beds_covered"], "1");
    assert_eq!(of("2026-12-05")["beds_covered"], "", "nobody wrote it down");
    assert_eq!(of("2027-01-05")["verdict"], "not known", "nobody looked ahead");
    let beds = rows("beds.csv");
    let a1 = beds.iter().find(|row| row["bed"] == "A1").expect("a bed");
    assert_eq!((a1["lowest_c"].as_str(), a1["against_screen_c"].as_str()), ("-8.50", "-1.50"));
    assert_eq!(beds.iter().find(|row| row["bed"] == "S1").expect("a bed")["lowest_c"], "");
    let crops = rows("crops.csv");
    let broccoli = crops.iter().find(|row| row["crop"] == "broccoli").expect("a crop");
    assert_eq!((broccoli["picked_grams"].as_str(), broccoli["worst_class"].as_str()), ("1361", "2"));
}

/// The caution's figures from the garden's own loggers: out of the store, and out of its own export, the same.
#[test]
fn a_garden_is_replayed_from_its_own_loggers() {
    let garden = garden();
    let ran = |arguments: &[&str]| garden.ran(&[&["replay", "--out", "foretold.csv"], arguments].concat());
    assert_eq!(ran(&["--garden", "orchard-lane"]).code, Some(2), "there is no store");
    // Of a winter that is over: a record has no rows of times to come.
    let log = |colder: f64| log(colder).replace("2026-12", "2025-12").replace("2027-01", "2026-01");
    garden.write("a1.csv", &log(1.5));
    garden.ran(&["journal", "--import", "a1.csv", "--bed", "A1", "--now", NOW]).ended_with(0);
    refused(&ran(&["--garden", "orchard-lane"]), "No logger at the screen of Orchard Lane has written anything");
    garden.write("screen.csv", &log(0.0));
    garden.ran(&["journal", "--import", "screen.csv", "--now", NOW]).ended_with(0);
    garden.ran(&["journal", "--export", "exported", "--now", NOW]).ended_with(0);
    let own = ran(&["--garden", "orchard-lane"]).ended_with(0).out;
    let said = "From loggers at the garden's own screen, one row an hour: 960 hours, 40 nights.\n\n";
    let rest = own.strip_prefix(said).unwrap_or_else(|| panic!("{own}"));
    assert!(rest.contains("\"even\" (as it is set): covers needed on"), "{own}");
    assert!(rest.contains(", of which "), "{own}");
    let exported = ran(&["--garden", "orchard-lane", "--observations", "exported/logged.csv"]).ended_with(0).out;
    assert_eq!(exported, rest);
    // A place belongs to a record of elsewhere.
    assert_eq!(ran(&["--garden", "orchard-lane", "--latitude", "52"]).code, Some(2));
}

#[track_caller]
fn refused(ran: &Ran, text: &str) {
    assert_eq!(ran.code, Some(2), "{}\n{}", ran.out, ran.err);
    assert!(ran.err.contains(text) && ran.err.contains("Nothing was written."), "{text}\nis not in\n{}", ran.err);
}

#[test]
fn what_cannot_be_is_refused_and_nothing_is_left_half() {
    let garden = written();
    for (season, answer) in [
        ("2027", "\"2027\" is no season; write the winter's two years, such as 2026-27"),
        ("2026-28", "\"2026-28\" is no season"),
        ("2027-28", "Nothing is known of the season 2027-28 of Orchard Lane"),
        ("2024-25", "Nothing is known of the season 2024-25 of Orchard Lane"),
        ("2028-29", "The season 2028-29 has not begun"),
    ] {
        refused(&ran(&garden, &["season", season, "--out", "report"]), answer);
        assert!(!garden.path("report").exists(), "{season}");
    }
    garden.write("file", "mine");
    refused(&ran(&garden, &["season", "2026-27", "--out", "file"]), "file is a file; name a folder with --out");
    refused(&ran(&garden, &["season", "2026-27", "--out", "file/below"]), "file/below cannot be written");
    assert_eq!(fs::read_to_string(garden.path("file")).ok().as_deref(), Some("mine"));
    // Where one file has no place none is changed, and nothing is left beside.
    fs::create_dir_all(garden.path("report/covers.csv")).expect("a folder");
    garden.write("report/season.html", "of last year");
    refused(&ran(&garden, &["season", "2026-27", "--out", "report"]), "covers.csv is a folder; move it away");
    let mut left: Vec<_> = fs::read_dir(garden.path("report"))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    left.sort();
    assert_eq!(left, ["covers.csv", "season.html"]);
    assert_eq!(fs::read_to_string(garden.path("report/season.html")).ok().as_deref(), Some("of last year"));
    // Without a store there is nothing to report on.
    let bare = Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), GARDEN);
    refused(&ran(&bare, &["season", "2026-27", "--out", "report"]), "Nothing is written yet: there is no ");
}

#[test]
fn south_of_the_equator_a_season_is_a_year() {
    let south = GARDEN.replace("latitude = 36.0", "latitude = -36.0").replace("America/New_York", "America/Santiago");
    let garden = Installation::with(&service(&[("grid", "nws", "http://127.0.0.1:9")], "folder = \"mail\""), &south);
    garden.ran(&["reading", "30F", "--min", "--at", "2026-07-01 09:30", "--now", NOW]).ended_with(0);
    refused(&ran(&garden, &["season", "2026-27", "--out", "report"]), "write its year, such as 2027");
    ran(&garden, &["season", "2026", "--out", "report"]).ended_with(0);
    let page = fs::read_to_string(garden.path("report/season.html")).expect("a page");
    assert!(page.contains("Nights of 1 January 2026 to 31 December 2026."), "{page}");
    assert!(page.contains("<dt>First frost measured</dt><dd>30 Jun 2026</dd>"), "{page}");
    assert!(page.contains("<dt>Hits</dt><dd>not known</dd>"), "{page}");
}
