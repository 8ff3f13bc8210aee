//! Files that are none, and documents made to use up the machine: refused at once, within a small memory.

mod support;

use std::fmt::Write as _;
use std::os::unix::fs::symlink;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use support::installation::{GARDEN, Installation, Ran, at, service};
use support::weather_documents::Weather;

const NOW: &str = "2027-01-16T13:00:00-05:00";

fn garden() -> Installation {
    Installation::with(&service(&[("grid", "nws", "forecast.json")], "folder = \"mail\""), GARDEN)
}

/// `check`, which must not wait for a pipe nor read a device to its end.
fn checked(garden: &Installation) -> Ran {
    let start = Instant::now();
    let ran = garden.ran(&["check"]);
    assert!(start.elapsed() < Duration::from_secs(20), "{:?}", start.elapsed());
    ran
}

#[test]
fn settings_may_be_links_to_files_and_nothing_else() {
    let (sound, elsewhere) = (garden(), tempfile::tempdir().expect("a folder"));
    sound.write("forecast.json", &Weather::of_low(-4.0, at("2027-01-16T15:00:00Z")).nws());
    let file = elsewhere.path().join("orchard-lane.toml");
    std::fs::write(&file, GARDEN).expect("written");
    let place = sound.path("gardens/orchard-lane.toml");
    std::fs::remove_file(&place).expect("removed");
    symlink(&file, &place).expect("linked");
    checked(&sound).ended_with(0);
    for target in ["/dev/zero", "/dev/stdin", elsewhere.path().to_str().expect("a path")] {
        std::fs::remove_file(&place).expect("removed");
        symlink(target, &place).expect("linked");
        let ran = checked(&sound);
        assert!(ran.code != Some(0) && (ran.out + &ran.err).contains("this is not a plain file"), "{target}");
    }
}

#[test]
fn a_password_is_a_short_plain_file() {
    let relay = "[mail.smtp]\nserver = \"127.0.0.1\"\nport = 1\ntls = \"starttls\"\nuser = \"frost\"\n";
    let service = service(&[("grid", "nws", "forecast.json")], &format!("{relay}password_file = \"secret\""));
    for (target, why) in [("/dev/zero", "not a plain file"), ("pipe", "not a plain file"), ("long", "too long")] {
        let garden = Installation::with(&service, GARDEN);
        garden.write("long", &"x".repeat(5_000));
        let pipe = Command::new("mkfifo").arg(garden.path("pipe")).status();
        assert!(pipe.expect("mkfifo is there").success());
        symlink(garden.path(target), garden.path("secret")).expect("linked");
        let start = Instant::now();
        let ran = garden.ran(&["run", "--once", "--patience", "1", "--now", NOW]);
        assert!(start.elapsed() < Duration::from_secs(20), "{target}: {:?}", start.elapsed());
        assert!(ran.code != Some(0) && ran.err.contains(why), "{target}: {}", ran.err);
    }
}

/// Documents of two million bytes, the most that is fetched, each of a kind that costs a careless reader dearly.
fn costly() -> Vec<(&'static str, String)> {
    const LENGTH: usize = 2_000_000;
    let of = |piece: &str| piece.repeat(LENGTH / piece.len());
    let mut runs = String::from(
        r#"{"properties": {"updateTime": "2027-01-16T15:00:00Z", "temperature": {"uom": "wmoUnit:degC", "values": ["#,
    );
    while runs.len() < LENGTH {
        write!(runs, r#"{{"validTime": "2027-01-16T15:00:00Z/P99999D", "value": -3}},"#).expect("written");
    }
    vec![
        ("deep lists", of("[")),
        ("deep objects", of("{\"a\":")),
        ("a deep layer", format!(r#"{{"properties": {{"temperature": {}"#, of("["))),
        ("many numbers", format!("[{}0]", of("1,"))),
        ("many numbers in a column", format!(r#"{{"hourly": {{"time": [{}0]}}}}"#, of("1,"))),
        ("many nulls in a column", format!(r#"{{"hourly": {{"time": [0], "temperature_2m": [{}0]}}}}"#, of("null,"))),
        ("many empty lists", format!("[{}[]]", of("[],"))),
        ("many keys", format!("{{{}\"a\":0}}", of("\"a\":0,"))),
        ("one long number", of("9")),
        ("one long text", format!("\"{}\"", of("\\u0041"))),
        ("long runs", runs),
        ("many columns", of("utc_time,")),
        ("many empty lines", of("\n")),
        ("many fields", format!("utc_time,temp_c\n{}", of(","))),
    ]
}

#[test]
fn a_costly_document_is_refused_in_time_and_in_a_small_memory() {
    let garden = garden();
    garden.write("forecast.json", &Weather::of_low(-4.0, at("2027-01-16T15:00:00Z")).nws());
    // Address space in KiB: what a sound document needs, and twelve times two million bytes.
    let listed = |format: &str, kib: u64| -> Ran {
        let command = format!("ulimit -v {kib} && exec \"$0\" \"$@\"");
        let program = env!("CARGO_BIN_EXE_counterpane");
        let arguments = ["tonight", "--feed", "forecast.json", "--feed-format", format, "--now", NOW];
        let mut command_line = Command::new("sh");
        command_line.args(["-c", &command, program]).args(arguments).arg("--config").arg(garden.folder());
        command_line.current_dir(garden.folder()).stdin(Stdio::null()).output().expect("sh is there").into()
    };
    listed("nws", 200_000).ended_with(0);
    for (case, document) in costly() {
        garden.write("forecast.json", &document);
        for format in ["nws", "met-norway", "hourly-arrays", "csv"] {
            let start = Instant::now();
            let ran = listed(format, 200_000);
            assert!(start.elapsed() < Duration::from_secs(20), "{case} as {format}: {:?}", start.elapsed());
            // Not by a signal, and not without words.
            let refused = matches!(ran.code, Some(1..=9)) && ran.err.contains("forecast.json");
            assert!(refused && !ran.err.contains("panicked"), "{case} as {format}: {:?}\n{}", ran.code, ran.err);
        }
    }
}
