//! The walls between the rooms of `src/`: which room may use which, and that only the service knows there is a world.
//!
//! The sources are read as words, not understood: somebody who wants to get round this can. It is there to remind.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The one source of who may use whom: the table under "Map" in `DEVELOPERS.md`.
const MAP: &str = include_str!("../DEVELOPERS.md");

/// One row of that table: a room and what it may use of others. `night::cover` permits that part of `night` alone.
#[derive(Debug)]
struct Row {
    line: usize,
    room: String,
    uses: Vec<String>,
}

/// The rooms of `src/`, and those of `src/service/`, which may use each other as their rows say and every pure room. In
/// reading order: every room stands after those it uses.
#[derive(Debug)]
struct Rooms {
    pure: Vec<Row>,
    service: Vec<Row>,
}

impl Rooms {
    /// Every line of the table under "Map", or all lines that cannot be read, each with its number.
    fn read(text: &str) -> Result<Rooms, Vec<String>> {
        let (mut rooms, mut faults) = (Rooms { pure: Vec::new(), service: Vec::new() }, Vec::new());
        let lines = text.lines().enumerate().map(|(index, line)| (index + 1, line));
        let map =
            lines.skip_while(|(_, line)| *line != "## Map").skip(1).take_while(|(_, line)| !line.starts_with("## "));
        // A table starts with a line of titles and one of dashes.
        for (line, row) in map.filter(|(_, line)| line.contains('|')).skip(2) {
            match cells(row) {
                Some((module, uses)) if module.split("::").next() == Some("service") && module.contains("::") => {
                    let room = module.trim_start_matches("service::").to_string();
                    rooms.service.push(Row { line, room, uses });
                }
                Some((room, uses)) if !room.contains("::") => rooms.pure.push(Row { line, room, uses }),
                _ => faults.push(format!("DEVELOPERS.md:{line}: this row cannot be read: {row}")),
            }
        }
        if rooms.pure.is_empty() || rooms.service.is_empty() {
            faults.push("DEVELOPERS.md: there is no table of rooms under \"## Map\"".into());
        }
        if faults.is_empty() { Ok(rooms) } else { Err(faults) }
    }

    /// What is wrong with one of the two tables, given the rooms that there are.
    fn faults(rows: &[Row], folder: &str, found: &BTreeSet<String>) -> Vec<String> {
        let mut faults = Vec::new();
        for (index, Row { line, room, uses }) in rows.iter().enumerate() {
            let mut fault = |what: String| faults.push(format!("DEVELOPERS.md:{line}: {what}"));
            if !found.contains(room) {
                fault(format!("there is no `{folder}{room}`"));
            }
            let stands_before = |name: &str| rows[..index].iter().any(|before| before.room == name);
            if stands_before(room) {
                fault(format!("`{room}` has two rows"));
            }
            for used in uses.iter().filter_map(|used| used.split("::").next()).filter(|used| !stands_before(used)) {
                fault(format!("`{room}` uses `{used}`, which does not stand before it"));
            }
        }
        let has_row = |room: &&String| rows.iter().any(|row| row.room == **room);
        let end = rows.last().map_or(0, |row| row.line);
        let missing = found.iter().filter(|room| !has_row(room));
        faults
            .extend(missing.map(|room| format!("DEVELOPERS.md:{end}: no row up to here is that of `{folder}{room}`")));
        faults
    }
}

/// The room of a row and what it may use: the first cell has one name, the last a dash or names, with the parts of one
/// room in braces.
fn cells(row: &str) -> Option<(String, Vec<String>)> {
    let cells: Vec<&str> = row.strip_prefix('|')?.strip_suffix('|')?.split('|').map(str::trim).collect();
    let [module, what, uses] = cells.as_slice() else { return None };
    let module = module.strip_prefix('`')?.strip_suffix('`')?;
    let uses = if *uses == "-" { Vec::new() } else { names(&uses.replace('`', ""))? };
    (is_name(module) && !what.is_empty()).then(|| (module.to_string(), uses))
}

fn is_name(text: &str) -> bool {
    let is_word = |word: &str| !word.is_empty() && word.chars().all(|c| c.is_alphanumeric() || c == '_');
    text.split("::").all(is_word)
}

/// `a, b::{c, d}` as `a`, `b::c` and `b::d`; nothing where a part is no name.
fn names(text: &str) -> Option<Vec<String>> {
    let mut names = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let (name, after) = rest.split_at(rest.find([',', '{']).unwrap_or(rest.len()));
        if let Some(after) = after.strip_prefix('{') {
            let (parts, after) = after.split_once('}')?;
            names.extend(parts.split(',').map(|part| format!("{name}{}", part.trim())));
            rest = after;
        } else {
            names.push(name.to_string());
            rest = after;
        }
        rest = rest.strip_prefix(',').map_or(rest, str::trim_start);
    }
    names.iter().all(|name| is_name(name)).then_some(names)
}

fn rooms() -> Rooms {
    Rooms::read(MAP).unwrap_or_else(|faults| panic!("{} faults:\n{}\n", faults.len(), faults.join("\n")))
}

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
    files.retain(|path| path.extension().is_some_and(|extension| extension == "rs"));
    files.sort();
    assert!(files.len() > 30, "only {} files under src/", files.len());
    let rooms = rooms();
    let faults: Vec<String> = files
        .iter()
        .flat_map(|path| {
            let name = path.strip_prefix(&sources).expect("under src/").to_string_lossy().replace('\\', "/");
            faults(&rooms, &name, &std::fs::read_to_string(path).expect("text in UTF-8"))
        })
        .collect();
    assert!(faults.is_empty(), "{} faults:\n{}\n", faults.len(), faults.join("\n"));
}

#[test]
fn every_room_has_a_row_and_stands_after_those_it_uses() {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let rooms = rooms();
    let mut faults = Vec::new();
    for (folder, rows, exempt) in
        [("", &rooms.pure, vec!["lib", "main", "service"]), ("service/", &rooms.service, vec![])]
    {
        let found: BTreeSet<String> = std::fs::read_dir(sources.join(folder))
            .expect("readable")
            .map(|entry| entry.expect("readable").path())
            .filter_map(|path| Some(path.file_stem()?.to_str()?.to_string()))
            .filter(|room| !exempt.contains(&room.as_str()))
            .collect();
        faults.extend(Rooms::faults(rows, folder, &found));
    }
    assert!(faults.is_empty(), "{} faults:\n{}\n", faults.len(), faults.join("\n"));
}

/// One row per way to get the table wrong: its rows after the titles, and the line at which a fault must be found, counted
/// from the heading.
#[test]
fn a_fault_of_the_table_is_found() {
    let found = ["units", "zone", "night"].map(String::from).into();
    for (rows, line, says) in [
        ("| `units` | x | - |\n| `zone` | x | everything at all |", 5, "cannot be read"),
        ("| `units` | x | - |\n| `zone`, `night` | x | units |", 5, "cannot be read"),
        ("| `units` | x | - |\n| zone | x | units |", 5, "cannot be read"),
        ("| `units` | x | - |\n| `zone` | x | units | y |", 5, "cannot be read"),
        ("| `units` | x | - |\n| `zone` | x | `units::{A, B` |", 5, "cannot be read"),
        ("| `units` | x | - |\n`zone` | x | units |", 5, "cannot be read"),
        (
            "| `units` | x | - |\n| `zone` | x | night |\n| `night` | x | - |",
            5,
            "uses `night`, which does not stand before",
        ),
        ("| `units` | x | - |\n| `zone` | x | everything |\n| `night` | x | - |", 5, "uses `everything`"),
        ("| `units` | x | - |\n| `zone` | x | units |", 5, "no row up to here is that of `night`"),
        ("| `units` | x | - |\n| `zone` | x | - |\n| `night` | x | - |\n| `shed` | x | - |", 7, "there is no `shed`"),
        ("| `units` | x | - |\n| `zone` | x | - |\n| `night` | x | - |\n| `zone` | x | - |", 7, "has two rows"),
    ] {
        let service = "| `service::clock` | x | - |";
        let text = format!("## Map\n| module | what | may use |\n|---|---|---|\n{rows}\n{service}\n## Next\n| a | b |");
        let faults = match Rooms::read(&text) {
            Ok(rooms) => Rooms::faults(&rooms.pure, "", &found),
            Err(faults) => faults,
        };
        let start = format!("DEVELOPERS.md:{line}: ");
        let [fault] = faults.as_slice() else { panic!("{rows} gave {faults:?}") };
        assert!(fault.starts_with(&start) && fault.contains(says), "{rows} gave {fault}");
    }
    assert!(Rooms::read("## Map\n\nWords.").is_err());
    assert_eq!(
        names("units, crops::{Frame, Stature}, zone").unwrap_or_default().join(" "),
        "units crops::Frame crops::Stature zone"
    );
}

/// A file moves more often than the words about it.
#[test]
fn the_documents_name_no_file_that_is_not_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for folder in ["src", "tests", "crops", "config", "deploy", ".cargo", ".ci"] {
        collect(&root.join(folder), &mut files);
    }
    let files: Vec<String> =
        files.iter().map(|path| path.strip_prefix(root).expect("under the root").to_string_lossy().into()).collect();
    let is_there = |name: &str| {
        let (whole, end) = (root.join(name).exists(), format!("/{name}"));
        whole || files.iter().any(|file| file.ends_with(&end) || (name.ends_with('/') && file.contains(&end)))
    };
    let mut faults = Vec::new();
    for (index, line) in MAP.lines().enumerate() {
        let named = line.split('`').skip(1).step_by(2).filter(|name| !name.contains(['<', ' ']));
        let is_file = |name: &&str| [".rs", ".toml", ".sh", ".html", ".md", "/"].iter().any(|end| name.ends_with(end));
        let missing = named.filter(is_file).filter(|name| !is_there(name));
        faults.extend(missing.map(|name| format!("DEVELOPERS.md:{}: there is no `{name}`", index + 1)));
    }
    for document in ["README.md", "DEVELOPERS.md", "deploy/README.md", "deploy/FORMATS.md", "crops/README.md"] {
        let text = std::fs::read_to_string(root.join(document)).expect("text in UTF-8");
        let folder = root.join(document);
        for (index, line) in text.lines().enumerate() {
            for target in line.split("](").skip(1).filter_map(|rest| rest.split([')', '#']).next()) {
                let is_ours = !target.is_empty() && !target.contains("://");
                if is_ours && !folder.with_file_name(target).exists() {
                    faults.push(format!("{document}:{}: the link to {target} leads nowhere", index + 1));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{} faults:\n{}\n", faults.len(), faults.join("\n"));
}

/// One row per way to climb over a wall: the file, its text, and the line at which a fault must be found.
#[test]
fn a_planted_fault_is_found() {
    let rooms = rooms();
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
        let found = faults(&rooms, file, text);
        let start = format!("src/{file}:{line}: ");
        assert!(found.len() == 1 && found[0].starts_with(&start), "{file}: {text:?} gave {found:?}");
    }
}

#[test]
fn what_is_allowed_is_no_fault() {
    let rooms = rooms();
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
        assert_eq!(faults(&rooms, file, text), Vec::<String>::new(), "{file}: {text:?}");
    }
}

/// All faults of one file, each with its place.
fn faults(rooms: &Rooms, file: &str, text: &str) -> Vec<String> {
    let module: Vec<&str> = file.trim_end_matches(".rs").split('/').collect();
    let (is_service, is_frame) = (module[0] == "service", matches!(module[0], "lib" | "main"));
    let mut faults = Vec::new();
    let mut fault = |line: usize, what: String| faults.push(format!("src/{file}:{line}: {what}"));
    if !is_service && !is_frame && permitted(&rooms.pure, module[0]).is_none() {
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
                (module.get(1).copied(), &rooms.service, rest.to_vec())
            }
            _ if is_service || is_frame => continue,
            _ => (Some(module[0]), &rooms.pure, target.clone()),
        };
        let (Some(from), Some(room)) = (from, used.first()) else { continue };
        let is_room = room == "service" || table.iter().any(|known| known.room == *room);
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

fn permitted<'t>(rows: &'t [Row], room: &str) -> Option<&'t [String]> {
    rows.iter().find(|row| row.room == room).map(|row| row.uses.as_slice())
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
        } else {
            files.push(path);
        }
    }
}
