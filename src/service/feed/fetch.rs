//! Fetching a document: within limits of time, length and trust, and only if it has changed.
//!
//! Nothing that comes back is believed to be a forecast here; that is for the decoders. What surely is none, such as a
//! web page, is named.

mod headers;

use super::cell::Cells;
use super::fault::{excerpt, without_query};
use super::location::is_this_machine;
use super::{FeedFault, Location};
use chrono::{DateTime, Utc};
use headers::{read_conditions, retry_after, text_of};
use reqwest::header::{self, HeaderValue};
use reqwest::{Client, ClientBuilder, Response, StatusCode, Url, redirect};
use serde::{Deserialize, Serialize};
use std::error::Error as _;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use thiserror::Error;
use tokio::time::Instant;

/// How far a fetch may go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FetchLimits {
    pub connect: Duration,
    /// Between two pieces of the answer.
    pub read: Duration,
    /// From the first name look-up to the last byte.
    pub total: Duration,
    /// Of the document, after decompression.
    pub bytes: usize,
}

impl Default for FetchLimits {
    /// Ours; the largest recorded forecast has 132,083 bytes.
    fn default() -> FetchLimits {
        FetchLimits {
            connect: Duration::from_secs(10),
            read: Duration::from_secs(20),
            total: Duration::from_secs(45),
            bytes: 2 * 1024 * 1024,
        }
    }
}

const MOST_REDIRECTS: usize = 3;
/// A provider that asks for more patience than this would make us miss the evening, so it is not granted.
pub(super) const MOST_PATIENCE: chrono::Duration = chrono::Duration::hours(6);
/// Of the text that comes with a failure.
const PROBLEM_BYTES: usize = 16 * 1024;

/// What the last answer said about asking again. Kept by the caller beside the document.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conditions {
    pub etag: Option<String>,
    /// Sent back character by character, as MET Norway's terms ask.
    pub last_modified: Option<String>,
    /// Not to ask before.
    pub expires: Option<DateTime<Utc>>,
}

/// What a fetch brought.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fetched {
    Fresh {
        body: Vec<u8>,
        conditions: Conditions,
    },
    /// The document at hand is still the newest.
    NotModified {
        conditions: Conditions,
    },
}

/// Fetches over the network and from files. Made once and shared: it keeps connections, and what the cells answered.
#[derive(Clone, Debug)]
pub struct Fetcher {
    https: Client,
    loopback: Client,
    limits: FetchLimits,
    pub(super) cells: Arc<Cells>,
}

/// Why nothing can be fetched at all.
#[derive(Debug, Error)]
pub enum CannotFetch {
    #[error("the operator's contact {0:?} is empty or not plain ASCII; weather services ask for a mail or web address")]
    Contact(String),
    #[error("no client for the network ({0}); check that the system's root certificates are installed")]
    Client(#[from] reqwest::Error),
}

impl Fetcher {
    /// A fetcher that names `contact`, the operator's mail or web address, to each provider: two of them demand it.
    pub fn new(contact: &str) -> Result<Fetcher, CannotFetch> {
        Fetcher::with_limits(contact, FetchLimits::default())
    }

    pub fn with_limits(contact: &str, limits: FetchLimits) -> Result<Fetcher, CannotFetch> {
        let contact = contact.trim();
        let name = format!("counterpane/{} ({contact})", env!("CARGO_PKG_VERSION"));
        let name = HeaderValue::from_str(&name).ok().filter(|_| !contact.is_empty() && contact.is_ascii());
        let Some(name) = name else { return Err(CannotFetch::Contact(contact.into())) };
        let client = || -> ClientBuilder {
            Client::builder()
                .user_agent(name.clone())
                .connect_timeout(limits.connect)
                .read_timeout(limits.read)
                .timeout(limits.total)
                .redirect(redirect::Policy::custom(follow_at_home))
        };
        // An operator's proxy is for the outside; a request to this machine must not leave it.
        let (https, loopback) = (client().https_only(true).build()?, client().no_proxy().build()?);
        Ok(Fetcher { https, loopback, limits, cells: Arc::default() })
    }

    /// The document at a location, unless it has not changed since the answer that `conditions` came from. While its
    /// provider wants to be left alone nothing is asked.
    pub async fn fetch(
        &self,
        location: &Location,
        conditions: &Conditions,
        now: DateTime<Utc>,
    ) -> Result<Fetched, FeedFault> {
        match location {
            Location::Https(url) => self.request(&self.https, url, conditions, now).await,
            Location::Loopback(url) if is_this_machine(url) => self.request(&self.loopback, url, conditions, now).await,
            Location::Loopback(url) => {
                let host = url.host_str().unwrap_or_default();
                Err(FeedFault::Refused { reason: format!("the address on {host} is not encrypted") })
            }
            Location::File(path) => {
                let body = file(path.clone(), self.limits).await?;
                Ok(Fetched::Fresh { body, conditions: Conditions::default() })
            }
        }
    }

    /// A request, unless the provider has asked for silence; if it asks for it now, for everybody.
    async fn request(
        &self,
        client: &Client,
        url: &Url,
        conditions: &Conditions,
        now: DateTime<Utc>,
    ) -> Result<Fetched, FeedFault> {
        let origin = url.origin().ascii_serialization();
        if let Some(left) = self.cells.silence(&origin, now) {
            return Err(FeedFault::Throttled { retry_after: Some(left) });
        }
        let start = Instant::now();
        let answer = self.send(client, url, conditions, now).await;
        if let Err(FeedFault::Throttled { retry_after: Some(wait) }) = &answer {
            let now = now + chrono::Duration::from_std(start.elapsed()).unwrap_or_default();
            self.cells.be_silent(origin, now, *wait);
        }
        answer
    }

    async fn send(
        &self,
        client: &Client,
        url: &Url,
        conditions: &Conditions,
        now: DateTime<Utc>,
    ) -> Result<Fetched, FeedFault> {
        let mut request = client.get(url.clone());
        for (name, stored) in
            [(header::IF_NONE_MATCH, &conditions.etag), (header::IF_MODIFIED_SINCE, &conditions.last_modified)]
        {
            if let Some(value) = stored.as_deref().and_then(|text| HeaderValue::from_str(text).ok()) {
                request = request.header(name, value);
            }
        }
        let response = request.send().await.map_err(|error| self.unreachable(error))?;
        let answered = read_conditions(response.headers(), now);
        match response.status() {
            StatusCode::OK | StatusCode::NON_AUTHORITATIVE_INFORMATION => {
                if response.status() == StatusCode::NON_AUTHORITATIVE_INFORMATION {
                    tracing::warn!(
                        host = url.host_str(),
                        "the feed answers with status 203: this version of it is going away"
                    );
                }
                let body = self.document(response).await?;
                Ok(Fetched::Fresh { body, conditions: answered })
            }
            StatusCode::NOT_MODIFIED if conditions.etag.is_some() || conditions.last_modified.is_some() => {
                let Conditions { etag, last_modified, expires } = answered;
                let etag = etag.or_else(|| conditions.etag.clone());
                let last_modified = last_modified.or_else(|| conditions.last_modified.clone());
                Ok(Fetched::NotModified { conditions: Conditions { etag, last_modified, expires } })
            }
            StatusCode::NO_CONTENT => Err(FeedFault::Empty),
            _ => Err(refusal(response, now).await),
        }
    }

    /// The body of a good answer, given up as soon as it is too long: announced, or counted after decompression.
    async fn document(&self, mut response: Response) -> Result<Vec<u8>, FeedFault> {
        let limit = self.limits.bytes;
        let web_page = || FeedFault::Refused { reason: "a web page came in place of a forecast".into() };
        let content_type = text_of(response.headers(), header::CONTENT_TYPE).unwrap_or_default().to_ascii_lowercase();
        if content_type.starts_with("text/html") || content_type.starts_with("application/xhtml") {
            return Err(web_page());
        }
        if response.content_length().is_some_and(|announced| announced > limit as u64) {
            return Err(FeedFault::TooLarge { limit });
        }
        let mut body = Vec::new();
        while let Some(chunk) = response.chunk().await.map_err(|error| self.unreachable(error))? {
            if body.len() + chunk.len() > limit {
                return Err(FeedFault::TooLarge { limit });
            }
            body.extend_from_slice(&chunk);
        }
        match body.trim_ascii_start().first() {
            None => Err(FeedFault::Empty),
            Some(b'<') => Err(web_page()),
            Some(_) => Ok(body),
        }
    }

    /// Calls an address and wants nothing from it but a good status: a sign of life. The address may be a secret and
    /// stands in no answer.
    pub async fn call(&self, location: &Location) -> Result<(), String> {
        let (client, url) = match location {
            Location::Https(url) => (&self.https, url),
            Location::Loopback(url) => (&self.loopback, url),
            Location::File(_) => return Err("it is no address".into()),
        };
        let answer = client.get(url.clone()).send().await.map_err(|error| match self.unreachable(error) {
            FeedFault::Unreachable { reason } => reason,
            other => other.to_string(),
        })?;
        let status = answer.status();
        if status.is_success() { Ok(()) } else { Err(format!("it answers with status {}", status.as_u16())) }
    }

    fn unreachable(&self, error: reqwest::Error) -> FeedFault {
        if error.is_timeout() {
            let FetchLimits { connect, read, total, .. } = self.limits;
            let reason =
                format!("no answer in time: {connect:?} to connect, {read:?} between pieces, {total:?} in all");
            return FeedFault::Unreachable { reason };
        }
        // An address may carry the key of a paid plan.
        let error = error.without_url();
        // The outermost error only says that a request failed; why stands at the end of the chain.
        let mut reason = error.to_string();
        let mut source = error.source();
        while let Some(cause) = source {
            reason = cause.to_string();
            source = cause.source();
        }
        FeedFault::Unreachable { reason: excerpt(&reason) }
    }
}

/// A redirect is followed to the same scheme, host and port; any other is handed back as the answer.
fn follow_at_home(attempt: redirect::Attempt) -> redirect::Action {
    let at_home = attempt.previous().first().is_some_and(|first| first.origin() == attempt.url().origin());
    if at_home && attempt.previous().len() <= MOST_REDIRECTS { attempt.follow() } else { attempt.stop() }
}

async fn file(path: PathBuf, limits: FetchLimits) -> Result<Vec<u8>, FeedFault> {
    let read = tokio::task::spawn_blocking(move || read_file(&path, limits.bytes));
    match tokio::time::timeout(limits.total, read).await {
        Ok(Ok(answer)) => answer,
        Ok(Err(error)) => Err(FeedFault::Unreachable { reason: error.to_string() }),
        Err(_) => Err(FeedFault::Unreachable { reason: format!("the file gave nothing for {:?}", limits.total) }),
    }
}

fn read_file(path: &Path, limit: usize) -> Result<Vec<u8>, FeedFault> {
    let mut body = Vec::new();
    let read = std::fs::File::open(path).and_then(|file| file.take(limit as u64 + 1).read_to_end(&mut body));
    match read {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Err(FeedFault::Moved { to: None }),
        Err(error) => Err(FeedFault::Unreachable { reason: format!("{}: {error}", path.display()) }),
        Ok(_) if body.len() > limit => Err(FeedFault::TooLarge { limit }),
        Ok(_) if body.trim_ascii_start().is_empty() => Err(FeedFault::Empty),
        Ok(_) => Ok(body),
    }
}

/// The fault in an answer that is no document.
async fn refusal(mut response: Response, now: DateTime<Utc>) -> FeedFault {
    let status = response.status();
    let retry_after = retry_after(response.headers(), now);
    if status.is_redirection() && status != StatusCode::NOT_MODIFIED {
        let to = text_of(response.headers(), header::LOCATION).map(|to| without_query(&to));
        return FeedFault::Moved { to };
    }
    let mut text = Vec::new();
    // A failure to read why it failed changes nothing about the failure.
    while let Ok(Some(chunk)) = response.chunk().await {
        let room = PROBLEM_BYTES - text.len();
        text.extend_from_slice(&chunk[..chunk.len().min(room)]);
        if text.len() == PROBLEM_BYTES {
            break;
        }
    }
    let detail = without_keys(problem(&text), response.url());
    let status = status.as_u16();
    let code = if detail.is_empty() { format!("status {status}") } else { format!("status {status}: {detail}") };
    match status {
        404 | 410 => FeedFault::Moved { to: None },
        429 => FeedFault::Throttled { retry_after },
        408 | 500..=599 => FeedFault::Unavailable { status, retry_after, detail },
        400..=499 => FeedFault::Refused { reason: code },
        _ => FeedFault::not_the_format(code),
    }
}

/// What a problem document says, with the number under which the provider finds the case in its own logs.
fn problem(text: &[u8]) -> String {
    #[derive(Deserialize)]
    #[serde(rename_all = "camelCase")]
    struct Problem {
        correlation_id: Option<String>,
        detail: Option<String>,
        reason: Option<String>,
        title: Option<String>,
    }
    let Ok(problem) = serde_json::from_slice::<Problem>(text) else { return String::new() };
    if let Some(id) = &problem.correlation_id {
        tracing::info!(correlation_id = %excerpt(id), "the feed's service reported a problem");
    }
    excerpt(&problem.detail.or(problem.reason).or(problem.title).unwrap_or_default())
}

/// A provider that complains of a key may repeat it.
fn without_keys(text: String, url: &Url) -> String {
    let keys = url.query_pairs().filter(|(name, value)| {
        let name = name.to_lowercase();
        !value.is_empty() && ["key", "token", "appid", "secret", "pass", "auth"].iter().any(|part| name.contains(part))
    });
    keys.fold(text, |text, (_, key)| text.replace(key.as_ref(), "..."))
}

#[cfg(test)]
mod tests;
