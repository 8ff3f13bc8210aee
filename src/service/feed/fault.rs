//! Why there is no forecast from a feed, in one sentence for whoever runs the service and one for the garden.
//!
//! A forecast that is old, or has holes in the night, is not judged here: that needs the night.

use std::time::Duration;
use thiserror::Error;

/// Why a feed gave no forecast. Its `Display` is for the operator: what is wrong and how to mend it.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum FeedFault {
    #[error("the feed cannot be reached ({reason}); check the network, the name server and the address")]
    Unreachable { reason: String },
    #[error("the feed asks for fewer requests{}; nothing to mend unless it persists, then fetch less often", after(.retry_after))]
    Throttled { retry_after: Option<Duration> },
    #[error(
        "the feed refuses us ({reason}); check that the operator's contact is set and true, and read the provider's terms"
    )]
    Refused { reason: String },
    #[error(
        "the feed is no longer at this address{}; look the address up again, or correct it in the settings", new_place(.to)
    )]
    Moved { to: Option<String> },
    #[error(
        "the feed has no forecast for this place ({reason}); correct the garden's latitude and longitude, or name a feed that covers the place"
    )]
    NotCovered { reason: String },
    #[error(
        "this is not the expected forecast format ({what}); check the address and the feed's format in the settings"
    )]
    NotTheFormat { what: String },
    #[error(
        "the feed gives its {quantity} in \"{unit}\", which is not a known unit; it was not guessed: use another feed until the decoder knows it"
    )]
    UnknownUnit { quantity: &'static str, unit: String },
    #[error(
        "the feed gives {values} temperatures that cannot be true, such as {example} C; use another feed until the provider has mended it"
    )]
    Implausible { values: usize, example: f64 },
    #[error("the feed answered with no temperature for any hour; use another feed if the next fetch is empty too")]
    Empty,
    #[error("the answer is longer than {limit} bytes, which no forecast is; check the address")]
    TooLarge { limit: usize },
    #[error("the feed's service is out of order (status {status}{}{})", after(.retry_after), detail_of(.detail))]
    Unavailable { status: u16, retry_after: Option<Duration>, detail: String },
}

impl FeedFault {
    /// Whether the same request may succeed within minutes.
    pub fn worth_another_try(&self) -> bool {
        match self {
            FeedFault::Unreachable { .. } | FeedFault::Throttled { .. } | FeedFault::Unavailable { .. } => true,
            FeedFault::Refused { .. }
            | FeedFault::Moved { .. }
            | FeedFault::NotCovered { .. }
            | FeedFault::NotTheFormat { .. }
            | FeedFault::UnknownUnit { .. }
            | FeedFault::Implausible { .. }
            | FeedFault::Empty
            | FeedFault::TooLarge { .. } => false,
        }
    }

    /// How long the feed itself asks us to wait.
    pub fn retry_after(&self) -> Option<Duration> {
        match self {
            FeedFault::Throttled { retry_after } | FeedFault::Unavailable { retry_after, .. } => *retry_after,
            _ => None,
        }
    }

    /// The same for growers, who can do nothing about it but must not take it for a mild night.
    pub fn for_the_garden(&self) -> &'static str {
        match self {
            FeedFault::Unreachable { .. } => "The weather service could not be reached.",
            FeedFault::Throttled { .. } => "The weather service asked us to wait.",
            FeedFault::Refused { .. } => "The weather service refused to answer us.",
            FeedFault::Moved { .. } => "The weather service has moved this garden's forecast.",
            FeedFault::NotCovered { .. } => "The weather service has no forecast for this garden's place.",
            FeedFault::NotTheFormat { .. } => "The weather service sent something we could not read.",
            FeedFault::UnknownUnit { .. } => "The weather service sent values in a unit we do not know.",
            FeedFault::Implausible { .. } => "The weather service sent temperatures that cannot be true.",
            FeedFault::Empty => "The weather service sent a forecast without temperatures.",
            FeedFault::TooLarge { .. } => "The weather service sent something that is not a forecast.",
            FeedFault::Unavailable { .. } => "The weather service is out of order at the moment.",
        }
    }

    pub(super) fn not_the_format(what: impl Into<String>) -> FeedFault {
        FeedFault::NotTheFormat { what: excerpt(&what.into()) }
    }

    /// A document that the JSON parser stopped at, with line and column.
    pub(super) fn json(error: &serde_json::Error) -> FeedFault {
        match error.is_eof() {
            true => FeedFault::not_the_format(format!("the document breaks off: {error}")),
            false => FeedFault::not_the_format(error.to_string()),
        }
    }
}

/// Text of a stranger, fit for a log line and a terminal: one line, short, nothing that moves the cursor.
pub(super) fn excerpt(text: &str) -> String {
    let mut short: String = text.trim().chars().take(200).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if text.trim().chars().nth(200).is_some() {
        short.push('…');
    }
    short
}

/// An address, fit for a log: its query, in which a key may stand, is left out.
pub(super) fn without_query(address: &str) -> String {
    match address.split_once(['?', '#']) {
        Some((place, _)) => excerpt(&format!("{place}?...")),
        None => excerpt(address),
    }
}

fn after(wait: &Option<Duration>) -> String {
    wait.map(|wait| format!(", after {} s", wait.as_secs())).unwrap_or_default()
}

fn new_place(to: &Option<String>) -> String {
    to.as_ref().map(|to| format!(" and points to {to}")).unwrap_or_default()
}

fn detail_of(detail: &str) -> String {
    if detail.is_empty() { String::new() } else { format!(": {detail}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one_of_each() -> Vec<FeedFault> {
        vec![
            FeedFault::Unreachable { reason: "no route".into() },
            FeedFault::Throttled { retry_after: Some(Duration::from_secs(5)) },
            FeedFault::Refused { reason: "status 403".into() },
            FeedFault::Moved { to: None },
            FeedFault::NotCovered { reason: "no grid".into() },
            FeedFault::not_the_format("no timeseries"),
            FeedFault::UnknownUnit { quantity: "air temperature", unit: "wmoUnit:K".into() },
            FeedFault::Implausible { values: 4, example: 4000.0 },
            FeedFault::Empty,
            FeedFault::TooLarge { limit: 10 },
            FeedFault::Unavailable { status: 503, retry_after: None, detail: String::new() },
        ]
    }

    #[test]
    fn each_fault_has_one_line_for_the_operator_and_one_for_the_garden() {
        for fault in one_of_each() {
            let operator = fault.to_string();
            assert!(operator.lines().count() == 1 && operator.len() > 40, "{operator}");
            assert!(fault.for_the_garden().ends_with('.'), "{fault:?}");
            assert!(!fault.for_the_garden().contains("fine"), "{fault:?}");
        }
    }

    #[test]
    fn a_strangers_text_cannot_write_a_second_log_line() {
        let fault = FeedFault::not_the_format(format!("a\nb\u{1b}[2J{}", "x".repeat(10_000)));
        let text = fault.to_string();
        assert!(!text.chars().any(char::is_control) && text.len() < 400, "{text}");
    }

    #[test]
    fn only_faults_that_pass_by_themselves_are_tried_again() {
        let again: Vec<bool> = one_of_each().iter().map(FeedFault::worth_another_try).collect();
        assert_eq!(again, [true, true, false, false, false, false, false, false, false, false, true]);
    }
}
