//! From a letter to the bytes that are sent: one person, plain text first, then HTML, then what is enclosed. The same
//! letter gives the same bytes, so a repeat is the same mail to whoever receives it.

use super::identity::{label, message_id};
use crate::hash::hash_of;
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use lettre::message::header::{ContentDisposition, ContentTransferEncoding, ContentType, HeaderName, HeaderValue};
use lettre::message::{Body, Mailbox, Message, MultiPart, SinglePart, SinglePartBuilder};
use lettre::{Address, address::Envelope};
use std::time::SystemTime;
use thiserror::Error;

/// A person or a garden with an address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Correspondent {
    /// May be empty.
    pub name: String,
    pub address: String,
}

/// One mail to one person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letter {
    pub garden_id: String,
    pub night: NightOf,
    /// What sort of mail it is, such as `first` or `called-off`.
    pub kind: &'static str,
    pub revision: u32,
    pub to: Correspondent,
    pub from: Correspondent,
    /// A human who reads the answers.
    pub reply_to: Option<Correspondent>,
    pub subject: String,
    pub plain: String,
    pub html: String,
    pub date: DateTime<Utc>,
    /// The Message-ID, in angle brackets, of the first mail to this person about this night.
    pub thread_start: Option<String>,
    /// Mostly none.
    pub enclosed: Vec<Enclosure>,
}

/// A file that goes with a mail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Enclosure {
    pub file_name: String,
    /// With its parameters, such as `text/html; charset=utf-8`.
    pub content_type: &'static str,
    pub text: String,
}

/// A letter ready to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rendered {
    /// With its angle brackets.
    pub message_id: String,
    pub envelope_from: String,
    /// As the relay is told it, so that the outbox and the message agree.
    pub recipient: String,
    /// A complete message (RFC 5322) with lines ending in CR LF, ASCII throughout.
    pub bytes: Vec<u8>,
}

/// Why a letter cannot be sent as it is.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum MailFault {
    #[error("the {what} of a mail holds the control character {code}, which could forge a header")]
    ControlCharacter { what: &'static str, code: String },
    #[error("\"{address}\" is not a mail address ({what} of a mail): write name@example.org, in plain ASCII letters")]
    Address { what: &'static str, address: String },
    #[error("the {what} of a mail is empty")]
    Empty { what: &'static str },
    #[error("the {what} of a mail is longer than {limit} bytes")]
    TooLong { what: &'static str, limit: usize },
    #[error("\"{0}\" is not the identity of a mail that can be answered: it looks like <something@example.org>")]
    ThreadStart(String),
    #[error("a mail cannot be dated {0}")]
    Date(DateTime<Utc>),
    #[error("the mail cannot be built: {0}")]
    Build(String),
}

/// Bytes that one header may hold; a line of a mail ends at 998 (RFC 5322 section 2.1.1).
const HEADER_LIMIT: usize = 600;

/// The longest line that is sent as it is (RFC 5322 section 2.1.1).
const LINE_LIMIT: usize = 998;

/// Builds the message.
///
/// Refuses control characters and line separators in whatever becomes a header, addresses that are not plain ASCII
/// `local@domain`, an empty subject or text, and dates that a mail cannot carry.
pub fn render(letter: &Letter) -> Result<Rendered, MailFault> {
    let from = mailbox("sender", &letter.from)?;
    let to = mailbox("recipient", &letter.to)?;
    header_text("subject", &letter.subject)?;
    header_text("garden's name", &letter.garden_id)?;
    header_text("kind", letter.kind)?;
    for (what, text) in [("subject", &letter.subject), ("plain text", &letter.plain), ("HTML", &letter.html)] {
        if text.trim().is_empty() {
            return Err(MailFault::Empty { what });
        }
    }
    let domain = from.email.domain().to_string();
    let recipient = to.email.to_string();
    let night = letter.night.to_string();
    let revision = letter.revision.to_string();
    let id =
        message_id(&letter.garden_id, letter.night, letter.kind, letter.revision, &recipient, &letter.plain, &domain);
    let boundary = hash_of(&["boundary", &letter.garden_id, &night, letter.kind, &revision, &recipient]);

    let answers = match &letter.reply_to {
        Some(reply_to) => mailbox("reply address", reply_to)?,
        None => from.clone(),
    };
    let envelope = Envelope::new(Some(from.email.clone()), vec![to.email.clone()])
        .map_err(|error| MailFault::Build(error.to_string()))?;
    let envelope_from = from.email.to_string();

    let mut message = Message::builder()
        .envelope(envelope)
        .date(date(letter.date)?)
        .from(from)
        .to(to)
        .subject(letter.subject.trim())
        .message_id(Some(id.clone()));
    if letter.reply_to.is_some() {
        message = message.reply_to(answers.clone());
    }
    if let Some(start) = &letter.thread_start
        && *start != id
    {
        check_message_id(start)?;
        message = message.in_reply_to(start.clone()).references(start.clone());
    }
    let body = MultiPart::alternative()
        .boundary(format!("{boundary:032x}"))
        .singlepart(part(ContentType::TEXT_PLAIN, &letter.plain))
        .singlepart(part(ContentType::TEXT_HTML, &letter.html));
    let outer = hash_of(&["enclosing", &format!("{boundary:032x}")]);
    let message = message
        .raw_header(raw("Auto-Submitted", "auto-generated".into()))
        .raw_header(raw("List-Id", format!("<{}.{domain}>", label_or(&letter.garden_id, "garden"))))
        .raw_header(raw("List-Unsubscribe", unsubscribe(&answers.email, &letter.garden_id)))
        .multipart(enclosing(body, &letter.enclosed, outer)?)
        .map_err(|error| MailFault::Build(error.to_string()))?;
    Ok(Rendered { message_id: id, envelope_from, recipient, bytes: message.formatted() })
}

/// What is read, and beside it what is enclosed (RFC 2046 section 5.1.3).
fn enclosing(body: MultiPart, enclosed: &[Enclosure], boundary: u128) -> Result<MultiPart, MailFault> {
    if enclosed.is_empty() {
        return Ok(body);
    }
    let mut mixed = MultiPart::mixed().boundary(format!("{boundary:032x}")).multipart(body);
    for file in enclosed {
        header_text("file's name", &file.file_name)?;
        let kind = ContentType::parse(file.content_type).map_err(|error| MailFault::Build(error.to_string()))?;
        let header = ContentDisposition::attachment(&file.file_name);
        mixed = mixed.singlepart(encoded(SinglePart::builder().header(header).content_type(kind), &file.text));
    }
    Ok(mixed)
}

fn raw(name: &'static str, value: String) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value)
}

/// An address as an address of the web.
pub fn mailto(address: &str) -> String {
    format!("mailto:{}", percent_encoded(address))
}

/// A form that works without a public page: a mail to a human.
fn unsubscribe(address: &Address, garden: &str) -> String {
    format!("<{}?subject=stop%20{}>", mailto(address.as_ref()), percent_encoded(garden))
}

fn percent_encoded(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'@' => char::from(byte).to_string(),
            _ => format!("%{byte:02X}"),
        })
        .collect()
}

fn label_or(text: &str, otherwise: &str) -> String {
    match label(text) {
        empty if empty.is_empty() => otherwise.to_string(),
        label => label,
    }
}

/// Text that becomes part of a header must not be able to begin another one.
fn header_text(what: &'static str, text: &str) -> Result<(), MailFault> {
    if let Some(c) = text.chars().find(|c| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}')) {
        return Err(MailFault::ControlCharacter { what, code: format!("U+{:04X}", u32::from(c)) });
    }
    if text.len() > HEADER_LIMIT {
        return Err(MailFault::TooLong { what, limit: HEADER_LIMIT });
    }
    Ok(())
}

fn mailbox(what: &'static str, correspondent: &Correspondent) -> Result<Mailbox, MailFault> {
    header_text(what, &correspondent.name)?;
    header_text(what, &correspondent.address)?;
    let name = Some(correspondent.name.trim().to_string()).filter(|name| !name.is_empty());
    Ok(Mailbox::new(name, parse_address(what, &correspondent.address)?))
}

/// An address that any relay takes: lettre also accepts quoted local parts and letters beyond ASCII, which need
/// extensions that relays may lack.
pub(super) fn parse_address(what: &'static str, text: &str) -> Result<Address, MailFault> {
    let fault = || MailFault::Address { what, address: text.chars().filter(|c| !c.is_control()).collect() };
    let plain = |c: char| c.is_ascii_graphic() && !matches!(c, '<' | '>' | '"' | '(' | ')' | ',' | ';' | '\\');
    let address: Address = text.trim().parse().map_err(|_| fault())?;
    if address.to_string().chars().all(plain) { Ok(address) } else { Err(fault()) }
}

fn check_message_id(text: &str) -> Result<(), MailFault> {
    let inner = text.strip_prefix('<').and_then(|rest| rest.strip_suffix('>')).unwrap_or_default();
    let is_one = inner.len() <= HEADER_LIMIT
        && inner.matches('@').count() == 1
        && inner.chars().all(|c| c.is_ascii_graphic() && c != '<' && c != '>');
    if is_one { Ok(()) } else { Err(MailFault::ThreadStart(text.chars().filter(|c| !c.is_control()).collect())) }
}

/// The library's date panics before 1970 and after 9999.
fn date(at: DateTime<Utc>) -> Result<SystemTime, MailFault> {
    if (0..253_402_300_800).contains(&at.timestamp()) { Ok(at.into()) } else { Err(MailFault::Date(at)) }
}

/// ASCII with lines of lawful length goes as it is, so that a list of 78 columns can be read in the raw message too;
/// anything else is quoted-printable. (The library's own choice would break lines from 76 columns.)
fn part(kind: ContentType, text: &str) -> SinglePart {
    encoded(SinglePart::builder().content_type(kind), text.trim_end_matches(['\r', '\n']))
}

fn encoded(part: SinglePartBuilder, text: &str) -> SinglePart {
    let text = text.replace("\r\n", "\n");
    let is_plain = text.lines().all(|line| line.len() <= LINE_LIMIT)
        && text.bytes().all(|byte| matches!(byte, b'\n' | b'\t' | b' '..=b'~'));
    let crlf = text.replace('\n', "\r\n");
    let body = if is_plain {
        Body::dangerous_pre_encoded(crlf.into_bytes(), ContentTransferEncoding::SevenBit)
    } else {
        match Body::new_with_encoding(crlf, ContentTransferEncoding::QuotedPrintable) {
            Ok(body) => body,
            // Never so for quoted-printable, which can carry anything; base64 can too.
            Err(bytes) => Body::new(bytes),
        }
    };
    part.body(body)
}

#[cfg(test)]
mod tests;
