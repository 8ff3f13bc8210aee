//! Rows and letters for tests that do not care what they say.

use chrono::{DateTime, Duration, NaiveDate, Utc};
use counterpane::service::mail::{Correspondent, Letter, render};
use counterpane::service::store::{OutboxRow, RoundRow, RoundState};
use counterpane::zone::NightOf;

pub const GARDEN: &str = "north-garden";

/// 15 January 2026, 18:00 UTC.
pub fn evening() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + Duration::seconds(1_768_500_000)
}

pub fn night() -> NightOf {
    NightOf(NaiveDate::from_ymd_opt(2026, 1, 15).expect("a date"))
}

pub fn letter(recipient: &str, revision: u32) -> Letter {
    let person = |name: &str, address: &str| Correspondent { name: name.into(), address: address.into() };
    Letter {
        garden_id: GARDEN.into(),
        night: night(),
        kind: "first",
        revision,
        to: person("", recipient),
        from: person("North Garden", "frost@garden.example"),
        reply_to: None,
        subject: format!("Cover 4 beds by 16:40, list {revision}"),
        plain: ".a line that begins with a dot\n".into(),
        html: "<p>Cover 4 beds</p>".into(),
        date: evening(),
        thread_start: None,
        enclosed: Vec::new(),
    }
}

/// A row that is due in the evening and of use for two hours.
pub fn row(recipient: &str, revision: u32) -> OutboxRow {
    let letter = letter(recipient, revision);
    let rendered = render(&letter).expect("a sound letter");
    OutboxRow {
        recipient: rendered.recipient,
        garden: GARDEN.into(),
        night: night(),
        kind: "first".into(),
        revision,
        replaceable: true,
        message_id: rendered.message_id,
        envelope_from: rendered.envelope_from,
        bytes: rendered.bytes,
        subject: letter.subject,
        plain: letter.plain,
        due: evening(),
        expires: evening() + Duration::hours(2),
        others_due: None,
        told: None,
        quotes: None,
    }
}

pub fn round() -> RoundRow {
    RoundRow {
        garden: GARDEN.into(),
        kind: "morning".into(),
        due: evening(),
        night: night(),
        state: RoundState::Done,
        finished_at: evening() + Duration::seconds(3),
        late_seconds: 3,
    }
}
