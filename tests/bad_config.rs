//! Every way to get the settings wrong that we know of, and the exact answer to it.
//!
//! `bad_config/<case>.toml` stands for one file among sound ones, chosen by the first word of its name: `service`,
//! `garden`, `crop`, `frost` (after_frost.toml) or `sources`. Where several files matter the case is a folder with files of those names.
//! `bad_config/<case>.expected` is what the reader is shown, word for word. `GOLDEN=write cargo test --test bad_config`
//! writes the answers anew: read the difference as a garden manager would.

#[path = "support/golden.rs"]
mod golden;

use counterpane::settings::{Fault, File, Files, list, settings, settings_at};
use proptest::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

const SERVICE: &str = include_str!("../config/counterpane.toml");
const DEMO_GARDEN: &str = include_str!("../config/gardens/tansyford.toml");
/// A crop as good as any for mutations.
const CROP: &str = include_str!("../crops/broccoli.toml");
/// The crops that the cases name, and the bibliography: the whole catalogue would be read once per case.
const CROPS: [&str; 5] = ["broccoli.toml", "carrot.toml", "kale.toml", "thyme.toml", "sources.toml"];
/// A small garden without fault.
const GARDEN: &str = r#"
name = "Ladywell School Garden"
feeds = ["nws"]
place = { latitude = 36.0, longitude = -80.0, elevation_m = 250, time_zone = "America/New_York" }
people = [{ name = "Garden manager", address = "manager@ladywell.example", role = "manager" }]

[[covers]]
kind = "sheet"
count = 3
length_m = 2.0
width_m = 1.5

[[beds]]
id = "A1"
kind = "raised"
length_m = 2.4
width_m = 1.2

[[beds.plantings]]
crop = "broccoli"
stage = "heading"
planted = 2026-09-12
part_of_bed = 0.5

[[beds.plantings]]
crop = "carrot"
stage = "rooting"

[[beds]]
id = "P1"
kind = "containers"
diameter_m = 0.3
offset = "-1F"

[[beds.plantings]]
crop = "kale"
stage = "leafy"
"#;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Names and paths of a folder's entries, in order of name.
fn entries(folder: &Path) -> Vec<(String, PathBuf)> {
    let read = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut entries: Vec<(String, PathBuf)> = read
        .map(|entry| entry.expect("readable").path())
        .map(|path| (path.file_name().expect("a name").to_string_lossy().into_owned(), path))
        .collect();
    entries.sort();
    entries
}

fn text(path: &Path) -> String {
    let bytes = std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Settings without fault, for one file to be replaced in.
fn sound() -> Files {
    static CROP_FILES: OnceLock<Vec<File>> = OnceLock::new();
    let crops = CROP_FILES
        .get_or_init(|| CROPS.map(|name| (format!("crops/{name}"), text(&folder("crops").join(name)))).to_vec());
    Files {
        service: ("counterpane.toml".into(), SERVICE.into()),
        gardens: vec![("gardens/ladywell.toml".into(), GARDEN.into())],
        crops: crops.clone(),
    }
}

/// Puts one file among the sound ones.
fn put(files: &mut Files, name: &str, text: String) {
    let stem = name.trim_end_matches(".toml");
    match stem.split('-').next().unwrap_or_default() {
        "service" => files.service.1 = text,
        "garden" => files.gardens[0].1 = text,
        // A second garden, under a name of its own.
        "another" => files.gardens.push((format!("gardens/{}.toml", stem.trim_start_matches("another-")), text)),
        "frost" => files.crops.push(("crops/after_frost.toml".into(), text)),
        "crop" => files.crops.push(("crops/new_crop.toml".into(), text)),
        "sources" => {
            files.crops.retain(|file| file.0 != "crops/sources.toml");
            // An empty text stands for a file that is not there.
            if !text.is_empty() {
                files.crops.push(("crops/sources.toml".into(), text));
            }
        }
        _ => panic!("{name}: the name must begin with service, garden, another, crop, frost or sources"),
    }
}

/// All cases: the name, and where its answer stands.
fn cases() -> Vec<(String, Files, PathBuf)> {
    let all = entries(&folder("tests/bad_config"));
    let cases = all.into_iter().filter(|(name, _)| !name.ends_with(".expected")).map(|(name, path)| {
        let mut files = sound();
        if path.is_dir() {
            entries(&path).into_iter().for_each(|(name, path)| put(&mut files, &name, text(&path)));
        } else {
            put(&mut files, &name, text(&path));
        }
        let answer = path.with_extension("expected");
        (name, files, answer)
    });
    cases.collect()
}

fn answer(files: &Files) -> String {
    match settings_at(files, "2026-12-01T12:00:00Z".parse().ok()) {
        Ok(_) => "no fault".into(),
        Err(faults) => list(&faults),
    }
}

#[test]
fn every_bad_setting_has_its_answer() {
    let mut wrong = Vec::new();
    for (name, files, path) in cases() {
        let answer = answer(&files);
        if golden::differs(&path, &answer) {
            wrong.push(format!("{name} is answered with:\n\n{answer}"));
        }
    }
    assert!(wrong.is_empty(), "{}\nGOLDEN=write takes these answers over.", wrong.join("\n"));
}

#[test]
fn the_files_that_stand_beside_a_case_are_sound() {
    assert_eq!(answer(&sound()), "no fault");
}

#[test]
fn no_case_is_answered_with_no_fault_and_no_answer_is_left_over() {
    for (name, _, path) in cases() {
        assert!(text(&path).contains("Mend: "), "{name} is no bad setting");
    }
    let names: Vec<String> = entries(&folder("tests/bad_config")).into_iter().map(|(name, _)| name).collect();
    for name in names.iter().filter_map(|name| name.strip_suffix(".expected")) {
        assert!(
            names.contains(&format!("{name}.toml")) || names.iter().any(|other| other == name),
            "{name} has no case"
        );
    }
}

#[test]
fn no_answer_shows_the_password() {
    let mut with_password = 0;
    for (name, files, path) in cases() {
        if files.service.1.contains("hunter2-correct-horse") {
            with_password += 1;
            assert!(!text(&path).contains("hunter2"), "{name}");
        }
    }
    assert!(with_password >= 4);
}

/// Sentences that no file can bring about, each with its reason.
const NEVER_SEEN: [(&str, &str); 4] = [
    (
        "this file could not be understood",
        "stands in for a fault of our own: nothing was found wrong, nothing was read",
    ),
    ("report this as a fault of the program, with the file", "the same"),
    ("this time cannot be used", "every time that the clock shows makes a schedule"),
    ("write it like 06:30", "the same"),
];

/// A rule without a case fails here: every sentence in the sources of the reader is in some answer.
#[test]
fn every_sentence_that_a_reader_can_be_shown_has_a_case() {
    let answers: Vec<String> = cases().iter().map(|(_, _, path)| text(path)).collect();
    let lines: Vec<&str> = answers.iter().flat_map(|answer| answer.lines()).collect();
    let (folders, mut sources): (Vec<_>, Vec<_>) =
        entries(&folder("src/settings")).into_iter().partition(|(_, path)| path.is_dir());
    sources.extend(folders.iter().flat_map(|(_, path)| entries(path)));
    sources.push(("rounds.rs".into(), folder("src/rounds.rs")));
    let mut unseen = Vec::new();
    let mut sentences = 0;
    for (file, path) in sources {
        for sentence in sentences_of(&text(&path)) {
            sentences += 1;
            let never = NEVER_SEEN.iter().any(|(never, _)| *never == sentence);
            if !never && !lines.iter().any(|line| is_shown_in(&sentence, line)) {
                unseen.push(format!("{file}: {sentence}"));
            }
        }
    }
    assert!(sentences > 150, "only {sentences} sentences were found: has the wording of the sources changed?");
    assert!(unseen.is_empty(), "no case in tests/bad_config shows:\n\n{}\n", unseen.join("\n"));
}

/// What stands before a text that is compared with the parser's, or names a quantity, and is not shown.
const NOT_SHOWN: [&str; 2] = ["says(", "what: "];

/// The texts of three words and more in a Rust source, line by line, without its comments and tests.
fn sentences_of(source: &str) -> Vec<String> {
    let code = source.split("#[cfg(test)]").next().unwrap_or_default();
    let lines = code.lines().filter(|line| !line.trim_start().starts_with("//"));
    let code: String = lines.flat_map(|line| [line, "\n"]).collect();
    let mut texts = Vec::new();
    let mut before = String::new();
    let mut characters = code.chars().peekable();
    while let Some(character) = characters.next() {
        before.push(character);
        match character {
            // A character in single quotes may be a double quote.
            '\'' if characters.peek() == Some(&'"') => drop(characters.next()),
            '"' => {
                let mut text = String::new();
                while let Some(character) = characters.next().filter(|character| *character != '"') {
                    match (character, characters.peek()) {
                        ('\\', Some('\n')) => while characters.next_if(|next| next.is_whitespace()).is_some() {},
                        ('\\', Some('n')) => {
                            characters.next();
                            text.push('\n');
                        }
                        ('\\', _) => text.extend(characters.next()),
                        _ => text.push(character),
                    }
                }
                before.pop();
                if !NOT_SHOWN.iter().any(|start| before.ends_with(start)) {
                    texts.extend(text.lines().map(str::to_string));
                }
            }
            _ => {}
        }
    }
    let words = |text: &str| text.split(' ').filter(|word| word.chars().any(char::is_alphabetic)).count();
    texts.retain(|text| words(text) >= 3);
    texts
}

/// Whether a line shows a sentence, whatever stands for its `{placeholders}`.
fn is_shown_in(sentence: &str, line: &str) -> bool {
    let plain = sentence.replace("{{", "(").replace("}}", ")");
    let line = line.replace('{', "(").replace('}', ")");
    let mut rest = line.as_str();
    plain.split('{').enumerate().all(|(number, part)| {
        let part = if number == 0 { part } else { part.split_once('}').map_or(part, |(_, part)| part) };
        match rest.find(part) {
            Some(at) => {
                rest = &rest[at + part.len()..];
                true
            }
            None => false,
        }
    })
}

/// What a slip of the hand, a bad merge or a broken disk does to a text.
#[derive(Clone, Debug)]
enum Slip {
    DeleteLine(usize),
    RepeatLine(usize),
    SwapLines(usize, usize),
    DeleteCharacter(usize),
    ReplaceCharacter(usize, char),
    InsertText(usize, String),
    CutOff(usize),
}

impl Slip {
    fn done_to(&self, text: &str) -> String {
        let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
        let mut characters: Vec<char> = text.chars().collect();
        let (line_count, character_count) = (lines.len().max(1), characters.len().max(1));
        let (line, character) = (|at: &usize| at % line_count, |at: &usize| at % character_count);
        if text.is_empty() {
            return String::new();
        }
        match self {
            Slip::DeleteLine(at) => drop(lines.remove(line(at))),
            Slip::RepeatLine(at) => lines.insert(line(at), lines[line(at)]),
            Slip::SwapLines(one, other) => lines.swap(line(one), line(other)),
            Slip::DeleteCharacter(at) => {
                characters.remove(character(at));
                return characters.into_iter().collect();
            }
            Slip::ReplaceCharacter(at, with) => {
                let at = character(at);
                characters[at] = *with;
                return characters.into_iter().collect();
            }
            Slip::InsertText(at, new) => {
                let at = character(at);
                characters.splice(at..at, new.chars());
                return characters.into_iter().collect();
            }
            Slip::CutOff(at) => return characters.into_iter().take(at % text.len()).collect(),
        }
        lines.concat()
    }
}

fn slip() -> impl Strategy<Value = Slip> {
    let typed = prop_oneof![
        any::<char>(),
        proptest::sample::select(vec![
            '"', '=', '[', ']', '{', '}', ',', '.', '-', '#', '\n', '\\', '9', 'F', '\u{301}'
        ])
    ];
    prop_oneof![
        any::<usize>().prop_map(Slip::DeleteLine),
        any::<usize>().prop_map(Slip::RepeatLine),
        (any::<usize>(), any::<usize>()).prop_map(|(one, other)| Slip::SwapLines(one, other)),
        any::<usize>().prop_map(Slip::DeleteCharacter),
        (any::<usize>(), typed).prop_map(|(at, with)| Slip::ReplaceCharacter(at, with)),
        (any::<usize>(), "\\PC{0,12}").prop_map(|(at, new)| Slip::InsertText(at, new)),
        any::<usize>().prop_map(Slip::CutOff),
    ]
}

/// Settings, or at least one fault that can be shown and that is not laid at our own door.
fn answered(files: &Files) -> Result<(), proptest::test_runner::TestCaseError> {
    if let Err(faults) = settings(files) {
        prop_assert!(!faults.is_empty(), "refused without a fault");
        for fault in &faults {
            let Fault { what, mend, .. } = fault;
            prop_assert!(!what.is_empty() && !mend.is_empty(), "{fault}");
            prop_assert!(!what.contains("could not be understood"), "{fault}");
        }
        prop_assert!(list(&faults).ends_with("Nothing was started, nothing was sent.\n"));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn any_text_in_place_of_a_file_is_answered(text in "(\\PC|\n|\t){0,200}", which in 0usize..4) {
        let mut files = sound();
        put(&mut files, ["service", "garden", "crop", "sources"][which], text);
        answered(&files)?;
    }

    #[test]
    fn any_slip_in_a_sound_file_is_answered(slips in proptest::collection::vec(slip(), 1..6), which in 0usize..5) {
        let (name, sound_text) = [
            ("service", SERVICE),
            ("garden", GARDEN),
            ("garden", DEMO_GARDEN),
            ("crop", CROP),
            ("sources", "[MEMORY]\nauthor = \"a\"\nyear = \"2026\"\ntitle = \"t\"\npublisher = \"p\"\nplace = \"p\"\nread = \"all\"\n"),
        ][which];
        let text = slips.iter().fold(sound_text.to_string(), |text, slip| slip.done_to(&text));
        let mut files = sound();
        put(&mut files, name, text);
        answered(&files)?;
    }
}
