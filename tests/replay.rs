//! `counterpane replay` as a person runs it: on an invented winter, and on records with something the matter.

mod support;

use std::fmt::Write as _;
use std::path::PathBuf;
use support::installation::{Ran, program};
use tempfile::TempDir;

const HEADER: &str = "utc_time,temp_c,dew_point_c,wind_ms,cloud_fraction";

/// A folder to work in; the command needs no settings.
struct Bench(TempDir);

impl Bench {
    fn new() -> Bench {
        Bench(tempfile::tempdir().expect("a folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("written");
    }

    fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).expect("a file")
    }

    fn ran(&self, arguments: &[&str]) -> Ran {
        program().args(arguments).current_dir(self.0.path()).output().expect("the program starts").into()
    }
}

/// Hours from noon of 1 November 2025 (UTC), each day and each night a little different; every seventh wind and every
/// eleventh cloud is blank.
fn winter(days: u32) -> Vec<String> {
    let start: chrono::DateTime<chrono::Utc> = "2025-11-01T12:00:00Z".parse().expect("a time");
    let hours = (0..days * 24).map(|hour| {
        let day = f64::from(hour) / 24.0;
        let air = 3.0 + 4.0 * (day * 0.7).sin() + 4.0 * ((day - 0.1) * std::f64::consts::TAU).cos();
        let wind = if hour % 7 == 0 { String::new() } else { format!("{:.1}", 2.5 + 2.0 * (day * 1.3).sin()) };
        let cloud = if hour % 11 == 0 { String::new() } else { format!("{:.1}", 0.5 + 0.5 * (day * 0.9).cos()) };
        let time = (start + chrono::Duration::hours(hour.into())).format("%Y-%m-%dT%H:%M:%SZ");
        format!("{time},{air:.1},{:.1},{wind},{cloud}", air - 3.0)
    });
    hours.collect()
}

fn record(lines: &[String]) -> String {
    lines.iter().fold(format!("{HEADER}\n"), |mut text, line| {
        let _ = writeln!(text, "{line}");
        text
    })
}

fn replay(bench: &Bench, more: &[&str]) -> Ran {
    let place = ["--latitude", "52.1", "--longitude", "5.2", "--elevation", "3", "--time-zone", "Europe/Amsterdam"];
    let fixed = ["replay", "--observations", "record.csv", "--out", "nights.csv"];
    bench.ran(&[&fixed[..], &place, more].concat())
}

#[test]
fn a_winter_gives_a_line_a_night_a_score_and_a_picture() {
    let bench = Bench::new();
    bench.write("record.csv", &record(&winter(70)));
    for more in [&["--chart", "chart.svg"][..], &["--chart", "chart.svg", "--as-feed"]] {
        let ran = replay(&bench, more);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        assert!(ran.out.contains("Score of 70 nights, from 2025-11-01 to 2026-01-09"), "{}", ran.out);
        assert!(ran.out.contains("fitted anew each night"), "{}", ran.out);
        assert!(ran.out.lines().all(|line| line.chars().count() <= 79), "{}", ran.out);
        // No bar is drawn where nobody watches.
        assert_eq!(ran.err, "");
        let table = bench.read("nights.csv");
        let mut lines = table.lines();
        assert_eq!(
            lines.next(),
            Some(
                "night,predicted_minimum_c,spread_c,observed_minimum_c,chance_below_0c,chance_below_minus2c,\
                 chance_below_minus4c"
            )
        );
        assert_eq!(lines.count(), 70);
        assert!(bench.read("chart.svg").starts_with("<svg"));
    }
}

/// The garden's own place and lists: more caution, more nights with covers, and less lost.
#[test]
fn a_garden_is_told_what_each_caution_would_have_asked() {
    let bench = Bench::new();
    bench.write("record.csv", &record(&winter(70)));
    let config = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let arguments =
        ["replay", "--observations", "record.csv", "--out", "nights.csv", "--garden", "tansyford", "--config"];
    let ran = bench.ran(&[&arguments[..], &[config.to_str().expect("a path")]].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 79), "{}", ran.out);
    let told = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let figures = |caution: &str| -> Vec<f64> {
        let from = told.find(&format!("\"{caution}\"")).unwrap_or_else(|| panic!("no {caution} in {told}"));
        let line = told[from..].split(" minutes of worth").next().expect("a sentence");
        let number = |word: &str| word.trim_matches(|letter: char| !letter.is_ascii_digit()).parse().ok();
        line.split_whitespace().filter_map(number).collect()
    };
    // Nights with covers and all nights, those that mattered, work, worth lost: ten weeks are no winter.
    let [sparing, even, careful] = ["sparing", "even", "careful"].map(figures);
    for all in [&sparing, &even, &careful] {
        assert!(all.len() == 5 && all[0] <= all[1] && all[2] <= all[0] && all[2] > 0.0, "{told}");
    }
    for (less, more) in [(&sparing, &even), (&even, &careful)] {
        assert!(more[0] >= less[0] && more[3] > less[3] && more[4] < less[4], "{told}");
    }
    let counted = ": October 0, November 30, December 31, January ";
    assert!(
        told.contains(counted) && told.contains(" nights of this record") && !told.contains(" nights a winter"),
        "{told}"
    );
    assert!(told.contains("\"even\" (as it is set)"), "{told}");
    let ran = bench.ran(&[
        "replay",
        "--observations",
        "record.csv",
        "--out",
        "nights.csv",
        "--garden",
        "tansyfort",
        "--config",
        config.to_str().expect("a path"),
    ]);
    assert!(ran.code == Some(2) && ran.err.contains("No garden is called"), "{}", ran.err);
    // A place is whole or is not given.
    let ran = bench.ran(&["replay", "--observations", "record.csv", "--out", "nights.csv", "--latitude", "52"]);
    assert_eq!(ran.code, Some(2), "{}", ran.err);
}

/// Whatever the record holds after a night is nothing to what is foretold of it.
#[test]
fn a_shorter_record_foretells_the_same_nights_the_same() {
    let bench = Bench::new();
    let hours = winter(40);
    bench.write("record.csv", &record(&hours));
    replay(&bench, &[]);
    let whole = bench.read("nights.csv");
    bench.write("record.csv", &record(&hours[..25 * 24]));
    replay(&bench, &[]);
    let part = bench.read("nights.csv");
    assert!(part.lines().count() > 20 && whole.starts_with(&part), "{part}");
}

#[test]
fn what_is_wrong_with_a_record_is_named_and_nothing_is_written() {
    let bench = Bench::new();
    let hours = winter(4);
    let with = |line: usize, text: &str| {
        let mut hours = hours.clone();
        hours[line - 2] = text.to_string();
        record(&hours)
    };
    for (body, text) in [
        (String::new(), "no row of it has a temperature"),
        ("utc_time,dew_point_c\n".into(), "no column temp_c in the header"),
        (record(&hours).replace("wind_ms", "gusts"), "unknown column \"gusts\" in the header"),
        (with(9, "2025-11-01T19:00:00Z,mild,1.0,2.0,0.5"), "line 9: \"mild\" is not a number"),
        (with(9, "2025-11-01T19:00:00Z,3.0,1.0,2.0"), "line 9: 4 fields for 5 columns"),
        (with(9, "1 Nov 2025 19:00,3.0,1.0,2.0,0.5"), "line 9: \"1 Nov 2025 19:00\" is not a UTC time"),
        (with(9, "2025-11-01T18:00:00Z,3.0,1.0,2.0,0.5"), "line 9: the same time twice"),
        (with(9, "2025-10-01T18:00:00Z,3.0,1.0,2.0,0.5"), "line 9: earlier than the line before"),
        (record(&hours).replace(",6.", ",86."), "temperatures cannot be true, such as 86"),
        (record(&hours[..10]), "it has no night"),
    ] {
        bench.write("record.csv", &body);
        let ran = replay(&bench, &[]);
        assert_eq!(ran.code, Some(2), "{text}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(text) && ran.err.contains("record.csv"), "{text}\nis not in\n{}", ran.err);
        assert!(!bench.path("nights.csv").exists(), "{text}");
    }
}

#[test]
fn a_place_that_cannot_be_is_refused() {
    let bench = Bench::new();
    bench.write("record.csv", &record(&winter(4)));
    let place = |latitude: &str, zone: &str| {
        bench.ran(&[
            "replay",
            "--observations",
            "record.csv",
            "--out",
            "nights.csv",
            "--latitude",
            latitude,
            "--longitude",
            "5",
            "--elevation",
            "3",
            "--time-zone",
            zone,
        ])
    };
    for (latitude, zone, text) in [
        ("91", "Europe/Amsterdam", "--latitude 91 cannot be: it lies between -90 and 90 degrees"),
        ("NaN", "Europe/Amsterdam", "--latitude NaN cannot be"),
        ("52", "Europe/Amsterdan", "this is no zone of the time-zone database"),
    ] {
        let ran = place(latitude, zone);
        assert!(ran.code == Some(2) && ran.err.contains(text), "{:?} {}", ran.code, ran.err);
    }
    // Midnight sun all winter long is no night; a pole has one night, and no evening in it.
    assert_eq!(place("90", "UTC").code, Some(2));
    let ran = bench.ran(&[
        "replay",
        "--observations",
        "none.csv",
        "--out",
        "nights.csv",
        "--latitude",
        "52",
        "--longitude",
        "5",
        "--elevation",
        "3",
        "--time-zone",
        "UTC",
    ]);
    assert!(ran.code == Some(2) && ran.err.contains("none.csv: it cannot be read (No such file"), "{}", ran.err);
}
