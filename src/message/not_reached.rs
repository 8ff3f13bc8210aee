//! What somebody else must be told: who was not reached and why, with the list; and what was missed.

use super::letter::Letter;
use crate::beds::Garden;
use crate::rounds::RoundKind;
use crate::zone::NightOf;

/// A mail that did not arrive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreached {
    pub night: NightOf,
    /// The person's name, or the address where the name is not known any more.
    pub person: String,
    pub address: String,
    /// Not taken by anybody in time, rather than refused for good.
    pub expired: bool,
    /// A try ended so that it may have arrived all the same.
    pub may_have_arrived: bool,
    /// The mail server's last words.
    pub answer: Option<String>,
}

/// A round that nobody made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MissedRound {
    pub night: NightOf,
    pub kind: RoundKind,
}

/// A mail that is passed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quoted<'a> {
    pub subject: &'a str,
    pub plain: &'a str,
    /// Its useful life is over.
    pub is_past: bool,
}

/// More of these in one letter would bury the list.
const MOST: usize = 6;
/// Of a mail server's words.
const LONGEST_ANSWER: usize = 200;

/// A sentence for each mail that did not arrive and each night with missed rounds, the newest last, for a manager.
pub fn untold(unreached: &[Unreached], missed: &[MissedRound]) -> Vec<String> {
    let mut lines: Vec<String> =
        unreached.iter().map(|one| format!("Since the last message: {}", sentence(one))).collect();
    let mut nights: Vec<NightOf> = missed.iter().map(|round| round.night).collect();
    nights.dedup();
    lines.extend(nights.into_iter().map(|night| {
        let kinds: Vec<&str> =
            missed.iter().filter(|round| round.night == night).map(|round| look(round.kind)).collect();
        format!("Missed, because the service was not running: {} of {}.", kinds.join(", "), long_date(night))
    }));
    let left_out = lines.len().saturating_sub(MOST);
    if left_out > 0 {
        lines.drain(..left_out);
        lines.insert(0, format!("{left_out} earlier troubles of this kind are in the log."));
    }
    lines
}

/// The letter to somebody else: call them, here is what they were to be told.
pub fn not_reached_letter(garden: &Garden, unreached: &[Unreached], quoted: Quoted<'_>) -> Letter {
    let mut names: Vec<&str> = unreached.iter().map(|one| one.person.as_str()).collect();
    names.dedup();
    let who = match names.as_slice() {
        [only] => (*only).to_string(),
        [first, others @ ..] => format!("{first} and {} more", others.len()),
        [] => "Somebody".to_string(),
    };
    let ask = if quoted.is_past { "ask what was done" } else { "please call and pass this on" };
    let mut lead = vec![format!("{} could not be told by mail.", names.join(", "))];
    lead.extend(unreached.iter().map(sentence));
    lead.push(if quoted.is_past {
        "The hours of the message below have passed: it is here so that you know what was not said. Look at the plants, \
         and ask whether anybody acted without it."
            .into()
    } else {
        "Please call them, or see to it yourself: the message below is what they were to be told.".into()
    });
    Letter {
        subject: format!("Not reached: {who}; {ask} ({})", garden.name),
        lead,
        quoted: std::iter::once(quoted.subject).chain([""]).chain(quoted.plain.lines()).map(str::to_string).collect(),
        closing: vec!["If an address is wrong, whoever keeps the settings can correct it.".into()],
        ..Letter::default()
    }
}

fn sentence(one: &Unreached) -> String {
    let why = if one.expired { "no mail server took it in time" } else { "the mail server refused it" };
    let answer = match &one.answer {
        Some(answer) => format!(" ({})", shortened(answer)),
        None => String::new(),
    };
    let perhaps = if one.may_have_arrived { " It may have arrived all the same." } else { "" };
    let night = long_date(one.night);
    format!("{} <{}> was not reached about the night of {night}: {why}{answer}.{perhaps}", one.person, one.address)
}

/// A server's words are somebody else's: one line, no control characters, not too many.
fn shortened(answer: &str) -> String {
    let clean: String = answer.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
    let words = clean.split_whitespace().collect::<Vec<_>>().join(" ");
    match words.char_indices().nth(LONGEST_ANSWER) {
        Some((end, _)) => format!("{}...", words.get(..end).unwrap_or_default()),
        None => words.trim_end_matches('.').to_string(),
    }
}

fn look(kind: RoundKind) -> &'static str {
    match kind {
        RoundKind::Morning => "the look of the morning",
        RoundKind::Afternoon => "the look of the afternoon",
        RoundKind::Dusk => "the look at dusk",
        RoundKind::Uncover => "the morning after",
    }
}

fn long_date(night: NightOf) -> String {
    night.0.format("%A %-d %B").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn night(day: i64) -> NightOf {
        NightOf(NaiveDate::default() + chrono::Duration::days(day))
    }

    fn unreached(answer: &str) -> Unreached {
        Unreached {
            night: night(0),
            person: "Tuesday crew".into(),
            address: "tuesday@orchard.example".into(),
            expired: false,
            may_have_arrived: true,
            answer: Some(answer.into()),
        }
    }

    #[test]
    fn a_servers_words_are_one_short_line() {
        let told = untold(&[unreached(&format!("550 no\r\nSubject: forged {}", "x".repeat(900)))], &[]);
        assert_eq!(told.len(), 1);
        let plain = "Tuesday crew <tuesday@orchard.example> was not reached about the night of Thursday 1 January";
        assert!(told[0].contains(plain) && told[0].contains("(550 no Subject: forged "), "{told:?}");
        assert!(told[0].ends_with(" It may have arrived all the same.") && told[0].len() < 450, "{told:?}");
        assert!(!told[0].contains(char::is_control), "{told:?}");
    }

    #[test]
    fn missed_rounds_are_told_night_by_night_and_many_are_cut_short() {
        let missed = |day, kind| MissedRound { night: night(day), kind };
        let rounds = [missed(0, RoundKind::Afternoon), missed(0, RoundKind::Dusk), missed(1, RoundKind::Morning)];
        let told = untold(&[], &rounds);
        let first = "Missed, because the service was not running: the look of the afternoon, the look at dusk of \
                     Thursday 1 January.";
        assert_eq!((told.len(), told[0].as_str()), (2, first));
        let many: Vec<_> = (0..30).map(|day| missed(day, RoundKind::Dusk)).collect();
        let told = untold(&[], &many);
        assert_eq!((told.len(), told[0].as_str()), (7, "24 earlier troubles of this kind are in the log."));
    }
}
