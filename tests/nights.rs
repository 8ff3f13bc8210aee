//! Whole messages of whole nights: a forecast goes in, the mail comes out, compared with the text kept beside it.
//!
//! A night is a folder of `tests/nights/`, see its README. `GOLDEN=write` writes the texts anew: read the difference as
//! the garden's manager at breakfast, and as a volunteer in a cold wind.

#[path = "support/golden.rs"]
mod golden;

use chrono::{DateTime, Utc};
use counterpane::beds::{Garden, Role};
use counterpane::journal::at_risk::{NightBehind, at_risk};
use counterpane::journal::event::ForecastAtRound;
use counterpane::message::{
    Context, Letter, NightOver, Reader, evening_letter, html, morning_after_letter, plain_text,
};
use counterpane::plan::said::{Said, changes, whether};
use counterpane::plan::spell::Kept;
use counterpane::plan::{Before, Plan, turning};
use counterpane::rounds::{AllQuiet, RoundKind};
use counterpane::service::{feed, files, look};
use counterpane::settings::{Settings, list, settings};
use counterpane::weather::Forecast;
use counterpane::zone::NightOf;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// One folder.
struct Night {
    folder: PathBuf,
    settings: Settings,
    lines: BTreeMap<String, String>,
}

impl Night {
    fn read(folder: &Path) -> Night {
        let text = |name: &str| std::fs::read_to_string(folder.join(name));
        let mut files = files::demo();
        if let Ok(garden) = text("garden.toml") {
            files.gardens = vec![("garden.toml".into(), garden)];
        }
        let settings = settings(&files).unwrap_or_else(|faults| panic!("{}: {}", folder.display(), list(&faults)));
        let lines = text("night.txt").unwrap_or_else(|fault| panic!("{}/night.txt: {fault}", folder.display()));
        let lines = lines.lines().filter(|line| !line.starts_with('#') && !line.is_empty());
        let pair = |line: &str| {
            let (key, value) = line.split_once(": ").unwrap_or_else(|| panic!("no \"key: value\": {line}"));
            (key.to_string(), value.to_string())
        };
        Night { folder: folder.into(), settings, lines: lines.map(pair).collect() }
    }

    fn line(&self, key: &str) -> &str {
        self.lines.get(key).unwrap_or_else(|| panic!("{}: no line {key:?}", self.folder.display()))
    }

    fn instant(&self, key: &str) -> DateTime<Utc> {
        self.line(key).parse().unwrap_or_else(|fault| panic!("{key}: {fault}"))
    }

    fn garden(&self) -> &Garden {
        &self.settings.gardens[0].garden
    }

    fn forecast(&self, forecast: &str, now: DateTime<Utc>) -> Forecast {
        let body = std::fs::read(self.folder.join(forecast)).unwrap_or_else(|fault| panic!("{forecast}: {fault}"));
        let provider = feed::recognise(&body).unwrap_or_else(|| panic!("{forecast}: nobody's format"));
        feed::decode(&provider, &body, now).unwrap_or_else(|fault| panic!("{forecast}: {fault}"))
    }

    fn plan(&self, forecast: Forecast, of: NightOf, last: Option<&Said>, now: DateTime<Utc>) -> Plan<'_> {
        let catalogue = &self.settings.catalogue;
        let mut plan = look::list_after(self.garden(), catalogue, of, &[forecast], &[], Before::said(last), now);
        turning::find(&mut plan, catalogue, Before::said(last));
        plan
    }

    fn letter(&self, role: Role) -> Letter {
        let round = RoundKind::from_word(self.line("round")).expect("a round");
        let of = NightOf(self.line("night").parse().expect("a date"));
        let now = self.instant("now");
        let next_word_by = Some(self.instant("next word by"));
        let earlier = self.lines.get("before").map(|name| self.forecast(name, self.instant("before now")));
        let plan_before = earlier.clone().map(|earlier| self.plan(earlier, of, None, self.instant("before now")));
        let before = plan_before.as_ref().map(Said::of);
        let reader = Reader { role };
        if round == RoundKind::Uncover {
            let said = before.expect("a morning after needs what was said before");
            whether(round, &said, Some(&said), None, AllQuiet::Weekly).expect("something to say");
            let catalogue = &self.settings.catalogue;
            let lists = [said];
            let foretold = ForecastAtRound::of(&plan_before.expect("a plan"), RoundKind::Afternoon, &[], 0);
            let night = NightBehind { of, said: &lists, foretold: foretold.as_ref(), taken: &[], lows: &[] };
            let (said, at_risk) = (&lists[0], at_risk(self.garden(), catalogue, night));
            let over = NightOver { of, said, kept: &Kept::default(), at_risk: &at_risk };
            return morning_after_letter(self.garden(), catalogue, over, next_word_by, None, reader);
        }
        let newest = self.forecast(self.line("forecast"), now);
        // As the service keeps them: what the earlier document knew of days past is not forgotten.
        let newest = match &earlier {
            Some(earlier) => newest.with_past_of(earlier),
            None => newest,
        };
        let plan = self.plan(newest, of, before.as_ref(), now);
        let next = Said::of(&plan);
        let reason = whether(round, &next, before.as_ref(), None, AllQuiet::Weekly).expect("something to say");
        assert_eq!(format!("{reason:?}"), self.line("reason"), "{}", self.folder.display());
        let changed = before.map(|said| (changes(&said, &next), said.at));
        let troubles: Vec<String> = self.lines.get("trouble").cloned().into_iter().collect();
        let context = Context {
            since: changed.as_ref().map(|(changes, at)| (changes, *at)),
            next_word_by,
            troubles: &troubles,
            ..Context::new(reason)
        };
        evening_letter(&plan, &context, reader)
    }
}

fn nights() -> Vec<Night> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/nights");
    let entries = std::fs::read_dir(folder).expect("tests/nights is there");
    let mut folders: Vec<PathBuf> = entries.map(|entry| entry.expect("readable").path()).collect();
    folders.retain(|path| path.is_dir());
    folders.sort();
    assert!(folders.len() >= 9, "nights are missing");
    folders.iter().map(|folder| Night::read(folder)).collect()
}

/// One night's letter to one role.
struct Made {
    /// Folder and role.
    name: String,
    garden: String,
    /// Whether its HTML is kept.
    has_page: bool,
    letter: Letter,
}

/// All letters, made once for all tests.
fn letters() -> &'static [Made] {
    static LETTERS: OnceLock<Vec<Made>> = OnceLock::new();
    LETTERS.get_or_init(|| {
        let made = |night: Night| {
            [Role::Manager, Role::Volunteer].map(|role| Made {
                name: format!("{}/{}", night.folder.display(), role.word()),
                garden: night.garden().name.clone(),
                has_page: role == Role::Manager && night.lines.contains_key("page"),
                letter: night.letter(role),
            })
        };
        nights().into_iter().flat_map(made).collect()
    })
}

fn mail(letter: &Letter) -> String {
    format!("Subject: {}\n\n{}", letter.subject, plain_text(letter))
}

/// Every text of a letter.
fn texts(letter: &Letter) -> Vec<&str> {
    let plain = [&letter.lead, &letter.changes, &letter.by_hand, &letter.ready, &letter.closing].into_iter().flatten();
    let mut texts: Vec<&str> = plain.map(String::as_str).chain(letter.cautions.iter().copied()).collect();
    for group in &letter.groups {
        texts.extend([group.heading.as_str(), group.note.as_str()]);
        for entry in group.entries() {
            texts.push(&entry.title);
            texts.extend(entry.lines.iter().map(String::as_str));
        }
    }
    texts
}

/// What a reader of the page sees, in one line.
fn visible(page: &str) -> String {
    let mut seen = String::new();
    for part in page.split('<') {
        seen.push_str(part.split_once('>').map_or(part, |(_, text)| text));
        seen.push(' ');
    }
    let entities = [("&#60;", "<"), ("&lt;", "<"), ("&#62;", ">"), ("&gt;", ">"), ("&#34;", "\""), ("&quot;", "\"")];
    for (entity, character) in entities.into_iter().chain([("&#39;", "'"), ("&#38;", "&"), ("&amp;", "&")]) {
        seen = seen.replace(entity, character);
    }
    one_line(&seen)
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_night_has_the_mail_that_was_read_and_found_good() {
    let mut changed = Vec::new();
    let mut compare = |path: PathBuf, text: String| {
        if golden::differs(&path, &text) {
            changed.push(format!("--- {} is now:\n{text}", path.display()));
        }
    };
    for Made { name, has_page, letter, .. } in letters() {
        if *has_page {
            compare(PathBuf::from(format!("{name}.html")), html(letter));
        }
        compare(PathBuf::from(format!("{name}.txt")), mail(letter));
    }
    assert!(changed.is_empty(), "{}\nGOLDEN=write cargo test --test nights writes them; read them", changed.join("\n"));
}

#[test]
fn every_mail_is_narrow_plain_and_free_of_odd_numbers() {
    for Made { name, garden, letter, .. } in letters() {
        let mail = mail(letter);
        assert!(mail.is_ascii(), "{name}: {mail}");
        for line in plain_text(letter).lines() {
            // A command is pasted, and stays whole.
            let is_command = line.trim_start().starts_with("counterpane ");
            assert!(line.len() <= 78 || is_command, "{name}: {line}");
            assert!(line.trim_end() == line, "{name}: space at the end of {line:?}");
        }
        for odd in ["NaN", "inf ", "inf.", "-0 ", "-0.0 "] {
            assert!(!mail.contains(odd), "{name}: {odd:?} in {mail}");
        }
        assert!(letter.subject.len() < 110, "{name}: {}", letter.subject);
        assert!(letter.subject.contains(garden), "{name}: {}", letter.subject);
    }
}

#[test]
fn the_page_says_all_that_the_text_says_and_fetches_nothing() {
    for Made { name, letter, .. } in letters() {
        let (page, text) = (html(letter), plain_text(letter));
        for foreign in ["<img", "<script", "<style", "url(", "http"] {
            assert!(!page.to_lowercase().contains(foreign), "{name}: {foreign}");
        }
        let (seen, text) = (visible(&page), one_line(&text).to_lowercase());
        for said in texts(letter) {
            let said = one_line(said);
            assert!(seen.contains(&said), "{name}: the page lacks {said:?}");
            assert!(text.contains(&said.to_lowercase()), "{name}: the text lacks {said:?}");
        }
    }
}

#[test]
fn a_bed_with_a_wicked_name_is_only_a_name() {
    let made = letters().iter().find(|made| made.name.ends_with("small_garden/manager")).expect("the night");
    let (text, page) = (plain_text(&made.letter), html(&made.letter));
    assert!(text.contains("<b>&\"x"), "{text}");
    assert!(!page.contains("<b>") && !page.contains("&\"x"), "{page}");
    assert!(visible(&page).contains("<b>&\"x"));
}
