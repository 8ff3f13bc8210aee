//! The walls between the rooms of `src/`: which room may use which, and that only the service knows there is a world.
//!
//! The sources are read as words, not understood: somebody who wants to get round this can. It is there to remind.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Each room of `src/` and what it may use of the others, in reading order: every room stands after those it uses.
/// `night::cover` permits that part of `night` alone.
const ROOMS: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("words", &[]),
    ("hash", &[]),
    ("zone", &[]),
    ("weather", &["units", "zone"]),
    ("crops", &["units", "words"]),
    ("night", &["units", "words", "zone", "weather", "crops::Frame", "crops::Stature"]),
    ("learn", &["units", "zone", "crops::Figures", "crops::damage", "night"]),
    (
        "beds",
        &[
            "units",
            "words",
            "zone",
            "weather::Site",
            "crops",
            "night::corrections",
            "night::cover",
            "night::exposure",
            "learn",
        ],
    ),
    ("risk", &["units", "zone", "weather::humidity", "crops", "night", "beds"]),
    ("rounds", &["words", "zone", "weather"]),
    ("plan", &["units", "words", "zone", "crops", "night", "beds", "risk", "rounds"]),
    ("journal", &["units", "words", "hash", "zone", "weather", "crops", "night", "beds", "risk", "rounds", "plan"]),
    (
        "lessons",
        &["units", "zone", "weather::Provider", "crops", "night", "beds", "risk", "rounds", "journal", "learn"],
    ),
    ("score", &["units", "zone", "night"]),
    ("replay", &["units", "zone", "weather", "crops", "night", "beds", "risk", "plan", "score"]),
    ("chart", &["units"]),
    ("season", &["units", "words", "zone", "crops", "night", "beds", "risk", "rounds", "plan", "journal", "score"]),
    (
        "message",
        &[
            "units",
            "zone",
            "weather::Provider",
            "crops",
            "night",
            "beds",
            "risk",
            "rounds",
            "plan",
            "journal",
            "score",
            "learn",
            "lessons",
            "chart",
            "season",
        ],
    ),
    ("settings", &["units", "words", "zone", "weather", "crops", "night::cover", "night::exposure", "beds", "rounds"]),
];

/// The rooms of `src/service/` and what each may use of the other ones; all may use every pure room.
const SERVICE_ROOMS: &[(&str, &[&str])] = &[
    ("clock", &[]),
    ("failpoint", &[]),
    ("files", &[]),
    ("feed", &[]),
    ("store", &["failpoint"]),
    ("mail", &["failpoint"]),
    ("notify", &[]),
    ("turns", &[]),
    ("zones", &[]),
    ("outbox", &["clock", "failpoint", "store", "mail"]),
    ("health", &["store", "turns"]),
    ("healthz", &["health", "store"]),
    // Only these join parts.
    ("look", &["feed", "store"]),
    ("daemon", &["clock", "failpoint", "feed", "store", "mail", "turns", "outbox", "look"]),
    ("signs", &["clock", "feed", "store", "notify", "turns", "health", "healthz"]),
    ("lives", &["clock", "feed", "store", "mail", "notify", "daemon", "signs"]),
    ("doctor", &["feed", "store", "mail", "zones", "health", "look"]),
    (
        "cli",
        &[
            "clock", "files", "feed", "store", "mail", "notify", "zones", "outbox", "health", "healthz", "look",
            "daemon", "lives", "doctor",
        ],
    ),
];

/// What only the service may mention: the world, and whatever reads its clock.
const WORLDLY: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::thread",
    "SystemTime::now",
    "Instant::now",
    "Utc::now",
    "Local::now",
    "Zoned::now",
    "Timestamp::now",
    "tokio",
    "reqwest",
    "sqlx",
    "tracing",
    "lettre",
    "println!",
    "eprintln!",
    "print!",
    "eprint!",
    "dbg!",
];

/// Worldly by their crate and arithmetic all the same: what a mail address looks like is a question of letters.
const NOT_WORLDLY: &[(&str, &str)] = &[("settings", "lettre::Address"), ("settings", "lettre::message::Mailbox")];

#[test]
fn no_room_uses_another_that_it_may_not_and_only_the_service_knows_the_world() {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    collect(&sources, &mut files);
    files.sort();
    assert!(files.len() > 30, "only {} files under src/", files.len());
    let faults: Vec<String> = files
        .iter()
        .flat_map(|path| {
            let name = path.strip_prefix(&sources).expect("under src/").to_string_lossy().replace('\\', "/");
            faults(&name, &std::fs::read_to_string(path).expect("text in UTF-8"))
        })
        .collect();
    assert!(faults.is_empty(), "{} faults:\n{}\n", faults.len(), faults.join("\n"));
}

#[test]
fn every_room_has_a_row_and_stands_after_those_it_uses() {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for (folder, table, exempt) in
        [(sources.clone(), ROOMS, vec!["lib", "main", "service"]), (sources.join("service"), SERVICE_ROOMS, vec![])]
    {
        let found: BTreeSet<String> = std::fs::read_dir(&folder)
            .expect("readable")
            .map(|entry| entry.expect("readable").path())
            .filter_map(|path| Some(path.file_stem()?.to_str()?.to_string()))
            .filter(|room| !exempt.contains(&room.as_str()))
            .collect();
        let listed: BTreeSet<String> = table.iter().map(|(room, _)| room.to_string()).collect();
        assert_eq!(found, listed, "rooms of {} and rows of the table", folder.display());
        for (index, (room, uses)) in table.iter().enumerate() {
            for used in *uses {
                let used = used.split("::").next().unwrap_or(used);
                let stands_before = table[..index].iter().any(|(before, _)| before == &used);
                assert!(stands_before, "`{room}` uses `{used}`, which does not stand before it");
            }
        }
    }
}

/// One row per way to climb over a wall: the file, its text, and the line at which a fault must be found.
#[test]
fn a_planted_fault_is_found() {
    for (file, text, line) in [
        ("night/bed.rs", "use crate::risk::BedRisk;", 1),
        ("night/bed.rs", "use crate::{\n    units::Celsius,\n    plan,\n};", 3),
        ("night/bed.rs", "// fine\nfn f() { crate::plan::decide() } // crate::units", 2),
        ("night/bed.rs", "use crate::crops::{Frame, Crop};", 1),
        ("night/bed.rs", "use super::super::risk;", 1),
        ("night.rs", "use super::risk::assess;", 1),
        ("units.rs", "use crate::zone::Zone;", 1),
        ("beds.rs", "use crate::night::screen::expect;", 1),
        ("message/letter.rs", "let now = Utc::now();", 1),
        ("message/letter.rs", "use chrono::{DateTime, Utc as Z};\n\nuse std::{fmt, fs::read};", 3),
        ("rounds.rs", "fn f() {\n    println!(\"{}\", 1);\n}", 2),
        ("weather/sun.rs", "use std::time::SystemTime;\nfn f() { SystemTime::now(); }", 2),
        ("settings.rs", "use lettre::Transport;", 1),
        ("plan.rs", "fn f() { sqlx::query(\"\") }", 1),
        ("plan.rs", "use crate::service::store::Store;", 1),
        ("service/mail.rs", "use super::store::Store;", 1),
        ("service/mail/smtp.rs", "use super::super::store::Store;", 1),
        ("service/feed/nws.rs", "use crate::service::{files};", 1),
        ("service/outbox.rs", "use super::daemon::Daemon;", 1),
        ("garden.rs", "fn f() {}", 1),
    ] {
        let found = faults(file, text);
        let start = format!("src/{file}:{line}: ");
        assert!(found.len() == 1 && found[0].starts_with(&start), "{file}: {text:?} gave {found:?}");
    }
}

#[test]
fn what_is_allowed_is_no_fault() {
    for (file, text) in [
        ("night/bed.rs", "use super::cover::CoverGain;\nuse crate::{units::Celsius, crops::Frame};"),
        ("night/bed.rs", "/// See `crate::risk` and [`Utc::now`].\n// crate::plan, std::fs\nfn f() {}"),
        ("night/bed.rs", "/* crate::plan\n std::fs */ const A: &str = \"std::fs println!() crate::plan\";"),
        ("night/bed.rs", "const A: &str = r#\"a \"crate::plan\" b\"#; const B: char = '\"'; fn f<'a>(x: &'a str) {}"),
        ("night/bed.rs", "mod tests { use super::*; use super::Place; }"),
        ("settings/service.rs", "use lettre::Address;"),
        ("service/feed/nws.rs", "use super::plausible::Row; use crate::weather::Forecast; use tokio::fs;"),
        ("service/feed/nws/tests.rs", "use super::super::FeedFault;"),
        ("service/cli.rs", "use super::files; println!(\"x\");"),
        ("service.rs", "pub mod clock;"),
        ("plan.rs", "if fine != bad && fs::Kind == x {}"),
    ] {
        assert_eq!(faults(file, text), Vec::<String>::new(), "{file}: {text:?}");
    }
}

/// All faults of one file, each with its place.
fn faults(file: &str, text: &str) -> Vec<String> {
    let module: Vec<&str> = file.trim_end_matches(".rs").split('/').collect();
    let (is_service, is_frame) = (module[0] == "service", matches!(module[0], "lib" | "main"));
    let mut faults = Vec::new();
    let mut fault = |line: usize, what: String| faults.push(format!("src/{file}:{line}: {what}"));
    if !is_service && !is_frame && permitted(ROOMS, module[0]).is_none() {
        fault(1, format!("`{}` has no row in the table of rooms", module[0]));
    }
    for Mention { line, segments } in paths(&code_only(text)) {
        let worldly = !is_service && file != "main.rs";
        if let Some(word) = WORLDLY.iter().find(|word| worldly && mentions(&segments, word)) {
            let allowed = |(room, path): &&(&str, &str)| *room == module[0] && mentions(&segments, path);
            if NOT_WORLDLY.iter().find(allowed).is_none() {
                fault(line, format!("`{}` is pure but mentions `{word}`", module[0]));
            }
        }
        let Some(target) = resolve(&module, &segments) else { continue };
        let (from, table, used) = match target.as_slice() {
            [service, rest @ ..] if service == "service" && is_service => {
                (module.get(1).copied(), SERVICE_ROOMS, rest.to_vec())
            }
            _ if is_service || is_frame => continue,
            _ => (Some(module[0]), ROOMS, target.clone()),
        };
        let (Some(from), Some(room)) = (from, used.first()) else { continue };
        let is_room = room == "service" || table.iter().any(|(known, _)| known == room);
        let may = permitted(table, from).is_none_or(|uses| {
            uses.iter().any(|permission| permission.split("::").zip(&used).all(|(want, have)| want == have))
        });
        if is_room && room != from && !may {
            fault(
                line,
                format!("`{from}` may not use `{}`", used.iter().take(2).cloned().collect::<Vec<_>>().join("::")),
            );
        }
    }
    faults
}

fn permitted<'t>(table: &[(&str, &'t [&'t str])], room: &str) -> Option<&'t [&'t str]> {
    table.iter().find(|(known, _)| *known == room).map(|(_, uses)| *uses)
}

fn mentions(segments: &[String], word: &str) -> bool {
    let word: Vec<&str> = word.split("::").collect();
    segments.windows(word.len()).any(|window| window == word.as_slice())
}

/// The path from the root of the crate, of a path that starts with `crate` or climbs with `super`.
fn resolve(module: &[&str], segments: &[String]) -> Option<Vec<String>> {
    let first = segments.first()?;
    if first == "crate" || first == "counterpane" {
        return Some(segments[1..].to_vec());
    }
    let climbed = segments.iter().take_while(|segment| *segment == "super").count();
    if climbed == 0 || climbed > module.len() {
        return None;
    }
    // From within the tests of a file `super` is the file itself; then the next word names no other room.
    let base = module[..module.len() - climbed].iter().map(|part| part.to_string());
    Some(base.chain(segments[climbed..].iter().cloned()).collect())
}

/// A path such as `crate::units::Celsius` and where it stands.
struct Mention {
    line: usize,
    segments: Vec<String>,
}

/// All paths in code, those in braces each written out.
fn paths(code: &str) -> Vec<Mention> {
    let mut words: Vec<(usize, String)> = Vec::new();
    for (index, line) in code.lines().enumerate() {
        let mut rest = line;
        while let Some(first) = rest.chars().next() {
            let is_word = |c: char| c.is_alphanumeric() || c == '_';
            let length = match first {
                c if is_word(c) => {
                    let word = rest.find(|c| !is_word(c)).unwrap_or(rest.len());
                    let is_macro = rest[word..].starts_with('!') && !rest[word..].starts_with("!=");
                    if is_macro { word + 1 } else { word }
                }
                ':' if rest.starts_with("::") => 2,
                c => c.len_utf8(),
            };
            if !first.is_whitespace() {
                words.push((index + 1, rest[..length].to_string()));
            }
            rest = &rest[length..];
        }
    }
    let mut found = Vec::new();
    let mut at = 0;
    while at < words.len() {
        at = path(&words, at, &[], &mut found).max(at + 1);
    }
    found
}

/// Reads one path, its braces included, and gives the place after it.
fn path(words: &[(usize, String)], start: usize, prefix: &[String], found: &mut Vec<Mention>) -> usize {
    let word = |at: usize| words.get(at).map_or("", |(_, word)| word.as_str());
    let is_name = |at: usize| word(at).starts_with(|c: char| c.is_alphanumeric() || c == '_');
    let mut segments = prefix.to_vec();
    let mut at = start;
    while is_name(at) {
        segments.push(word(at).to_string());
        at += 1;
        if word(at) != "::" {
            break;
        }
        at += 1;
    }
    if word(at) == "{" && at > start && word(at - 1) == "::" {
        at += 1;
        while at < words.len() && word(at) != "}" {
            at = path(words, at, &segments, found).max(at + 1);
        }
        return at + 1;
    }
    if at > start {
        found.push(Mention { line: words[start].0, segments });
    }
    at
}

/// The text without comments and without what stands in quotes; lines stay where they are.
fn code_only(text: &str) -> String {
    let mut code = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let raw = rest.strip_prefix('r').map(|after| after.len() - after.trim_start_matches('#').len());
        let skipped = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            rest.find("*/").map_or(rest.len(), |end| end + 2)
        } else if let Some(hashes) = raw.filter(|hashes| rest[1 + hashes..].starts_with('"'))
            && !code.ends_with(|c: char| c.is_alphanumeric() || c == '_')
        {
            let close = format!("\"{}", "#".repeat(hashes));
            let open = 1 + hashes + 1;
            rest[open..].find(&close).map_or(rest.len(), |end| open + end + close.len())
        } else if first == '"' {
            quoted(rest, '"')
        } else if first == '\'' && is_letter_in_quotes(rest) {
            quoted(rest, '\'')
        } else {
            code.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        };
        code.extend(rest[..skipped].chars().filter(|c| *c == '\n'));
        code.push(' ');
        rest = &rest[skipped..];
    }
    code
}

/// Length of a text in quotes that starts here.
fn quoted(text: &str, quote: char) -> usize {
    let mut escaped = false;
    for (at, letter) in text.char_indices().skip(1) {
        match letter {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            c if c == quote => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// `'a'` and `'\n'` are letters, `'a` alone is a lifetime.
fn is_letter_in_quotes(text: &str) -> bool {
    let mut letters = text.chars().skip(1);
    matches!((letters.next(), letters.next()), (Some('\\'), _) | (Some(_), Some('\'')))
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}
