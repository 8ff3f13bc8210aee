//! Were the rounds made, on what forecast, and did everybody hear?

use super::{Doctor, Finding, found};
use crate::service::health::health;
use crate::service::health::spoken;
use crate::service::store::{Store, Trouble, TroubleKind};
use chrono::Duration;

/// Troubles of so many days are named, and the newest few of them.
const DAYS: i64 = 7;
const MOST: usize = 10;

impl Doctor<'_> {
    /// One line per garden.
    pub(super) async fn rounds(&self, store: &Store) -> Vec<Finding> {
        found(self.each_garden(store).await)
    }

    async fn each_garden(&self, store: &Store) -> Result<Vec<Finding>, Finding> {
        let health = self.of_store(health(self.settings, store, None, self.now).await)?;
        let seconds = |age: Option<i64>| spoken(age.map(Duration::seconds));
        let gardens = health.gardens.iter().map(|garden| {
            let about = format!("rounds of {}", garden.garden);
            let mine = |trouble: &&String| trouble.starts_with(&format!("{}: ", garden.garden));
            let troubles: Vec<&str> = health.troubles.iter().filter(mine).map(String::as_str).collect();
            let text = format!(
                "the last complete one: {}; newest forecast kept: {}",
                ago(garden.last_round_age),
                ago(garden.last_forecast_age)
            );
            match (garden.last_round_age, troubles.as_slice()) {
                (None, _) => {
                    let mend = "Is the service running? See its log; the first round is the next by the clock";
                    Finding::wrong(about, "none was ever complete", mend)
                }
                (_, []) => Finding::ok(about, text),
                (_, [..]) if garden.round_overdue.is_some() => {
                    let text = format!("one is overdue by {}; {text}", seconds(garden.round_overdue));
                    Finding::wrong(about, text, "Is the service running? See its log, which says what keeps it")
                }
                _ => Finding::wrong(about, text, "See what is said of this garden's feeds, and of the service's log"),
            }
        });
        Ok(gardens.collect())
    }

    /// Mail that waits, and what people were not told.
    pub(super) async fn told(&self, store: &Store) -> Vec<Finding> {
        found(self.untold(store).await)
    }

    async fn untold(&self, store: &Store) -> Result<Vec<Finding>, Finding> {
        let since = self.now - Duration::days(DAYS);
        let counts = self.of_store(store.mail_counts(self.now, Duration::minutes(5), since).await)?;
        let troubles = self.of_store(store.troubles(since).await)?;
        let mut findings = Vec::new();
        if counts.overdue > 0 {
            let text = format!("{} messages wait that should have gone out", counts.overdue);
            findings.push(Finding::wrong("waiting mail", text, "See what is said of mail above"));
        } else {
            findings.push(Finding::ok("waiting mail", format!("{} messages, none of them overdue", counts.open)));
        }
        findings.extend(troubles.iter().rev().take(MOST).map(of_trouble));
        if troubles.len() > MOST {
            let text = format!("{} more within {DAYS} days", troubles.len() - MOST);
            findings.push(Finding::note("not told", text, ""));
        }
        if troubles.is_empty() {
            findings.push(Finding::ok("failed mail", format!("none within {DAYS} days, and no round was missed")));
        }
        Ok(findings)
    }
}

fn ago(age: Option<i64>) -> String {
    age.map_or("never".into(), |age| format!("{} ago", spoken(Some(Duration::seconds(age)))))
}

fn of_trouble(trouble: &Trouble) -> Finding {
    let (garden, night) = (&trouble.garden, trouble.night);
    match &trouble.what {
        TroubleKind::NotReached { recipient, kind, refused, maybe_delivered, answer, told_instead, .. } => {
            let how = if *refused { "was refused" } else { "could not be sent in time" };
            let perhaps = if *maybe_delivered { ", though it may have arrived" } else { "" };
            let answer = answer.as_deref().map(|answer| format!(" ({answer})")).unwrap_or_default();
            let text = format!("the {kind} for {recipient}, {garden}, night of {night}, {how}{perhaps}{answer}");
            if told_instead.is_empty() {
                let mend = "Speak to them yourself, and correct their address or the mail server";
                Finding::wrong("failed mail", format!("{text}; nobody else was told"), mend)
            } else {
                let text = format!("{text}; told instead: {}", told_instead.join(", "));
                Finding::note("failed mail", text, "Correct their address, or the mail server")
            }
        }
        TroubleKind::Missed { kind, due } => {
            let due = due.format("%Y-%m-%d %H:%M UTC");
            let text = format!("the {kind} round of {garden} on {due} was not made in time");
            Finding::note("missed round", text, "Find out why the service did not run then")
        }
    }
}
