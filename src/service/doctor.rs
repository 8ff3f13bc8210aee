//! Asks after everything that the service rests on, while it runs or not, and changes nothing. One file per question.

mod clock;
mod feeds;
mod gardens;
mod mail;
mod page;
mod rounds;
mod store;
mod zones;

use super::feed::Fetcher;
use super::mail::Mailer;
use super::store::Store;
use crate::settings::Settings;
use chrono::{DateTime, Utc};
use std::path::Path;
use std::time::Duration;

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    Ok,
    /// Worth knowing; the service works all the same.
    Note,
    Wrong,
}

/// What was found out about one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    pub mark: Mark,
    /// Such as `mail`.
    pub about: String,
    /// In a sentence.
    pub text: String,
    /// How to mend it, in a sentence; empty where there is nothing to mend.
    pub mend: String,
}

impl Finding {
    fn ok(about: impl Into<String>, text: impl Into<String>) -> Finding {
        Finding { mark: Mark::Ok, about: about.into(), text: text.into(), mend: String::new() }
    }

    fn note(about: impl Into<String>, text: impl Into<String>, mend: impl Into<String>) -> Finding {
        Finding { mark: Mark::Note, about: about.into(), text: text.into(), mend: mend.into() }
    }

    fn wrong(about: impl Into<String>, text: impl Into<String>, mend: impl Into<String>) -> Finding {
        Finding { mark: Mark::Wrong, about: about.into(), text: text.into(), mend: mend.into() }
    }

    /// A fault that says itself how to mend it, behind "Mend:" or a semicolon.
    fn of_fault(about: impl Into<String>, fault: &str) -> Finding {
        let (text, mend) = fault.split_once(" Mend: ").or_else(|| fault.rsplit_once("; ")).unwrap_or((fault, ""));
        Finding::wrong(about, text, mend)
    }

    /// One line, and one below it where there is something to mend.
    pub fn shown(&self) -> String {
        let mark = match self.mark {
            Mark::Ok => "ok   ",
            Mark::Note => "note ",
            Mark::Wrong => "WRONG",
        };
        let end = |text: &str| if text.ends_with('.') { "" } else { "." };
        let mut shown = format!("{mark}  {}: {}{}\n", self.about, self.text, end(&self.text));
        if !self.mend.is_empty() {
            shown.push_str(&format!("       Mend: {}{}\n", self.mend, end(&self.mend)));
        }
        shown
    }
}

/// What there is to ask with.
pub struct Doctor<'a> {
    pub settings: &'a Settings,
    /// The folder of the settings.
    pub folder: &'a Path,
    pub store_path: &'a Path,
    /// Where mail goes, or why that cannot be asked from here.
    pub mailer: Result<Mailer, Finding>,
    pub fetcher: &'a Fetcher,
    /// Of zone data.
    pub system_zones: &'a Path,
    pub patience: Duration,
    pub now: DateTime<Utc>,
    /// Whether `now` is the world's present.
    pub clock_is_real: bool,
}

impl Doctor<'_> {
    /// All findings, those first that others rest on.
    pub async fn findings(&self) -> Vec<Finding> {
        let (store, mut findings) = self.store().await;
        findings.splice(0..0, self.clock(store.as_ref()).await);
        findings.extend(self.zones());
        findings.extend(self.cautions());
        findings.extend(self.feeds().await);
        findings.push(self.mail().await);
        if let Some(store) = &store {
            findings.extend(self.rounds(store).await);
            findings.extend(self.told(store).await);
            store.close().await;
        }
        findings.extend(self.page().await);
        findings
    }

    fn of_store<T>(&self, asked: Result<T, super::store::StoreFault>) -> Result<T, Finding> {
        asked.map_err(|fault| Finding::of_fault("store", &fault.to_string()))
    }
}

/// Finds, or says why nothing could be found.
fn found(findings: Result<Vec<Finding>, Finding>) -> Vec<Finding> {
    findings.unwrap_or_else(|fault| vec![fault])
}

type MaybeStore = Option<Store>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finding_is_one_line_and_how_to_mend_it_another() {
        assert_eq!(Finding::ok("mail", "it answers").shown(), "ok     mail: it answers.\n");
        let wrong = Finding::of_fault("store", "the store x is locked. Mend: try again");
        assert_eq!(wrong.shown(), "WRONG  store: the store x is locked.\n       Mend: try again.\n");
        let feed = Finding::of_fault("feed", "it cannot be reached (no route); check the network");
        assert_eq!((feed.text.as_str(), feed.mend.as_str()), ("it cannot be reached (no route)", "check the network"));
    }
}
