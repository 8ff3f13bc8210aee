//! What the headers of an answer say about asking again.

use super::{Conditions, MOST_PATIENCE};
use chrono::{DateTime, Utc};
use reqwest::header::{self, HeaderMap, HeaderName};
use std::time::{Duration, SystemTime};

pub(super) fn text_of(headers: &HeaderMap, name: HeaderName) -> Option<String> {
    headers.get(name)?.to_str().ok().map(String::from)
}

fn date_of(headers: &HeaderMap, name: HeaderName) -> Option<DateTime<Utc>> {
    let date: SystemTime = httpdate::parse_http_date(&text_of(headers, name)?).ok()?;
    Some(date.into())
}

/// How far ahead of the answer a date in it lies. Measured on the provider's own clock where it sends its time.
fn ahead(headers: &HeaderMap, date: DateTime<Utc>, now: DateTime<Utc>) -> chrono::Duration {
    date - date_of(headers, header::DATE).unwrap_or(now)
}

pub(super) fn read_conditions(headers: &HeaderMap, now: DateTime<Utc>) -> Conditions {
    Conditions {
        etag: text_of(headers, header::ETAG),
        last_modified: text_of(headers, header::LAST_MODIFIED),
        expires: freshness(headers, now)
            .filter(|wait| *wait > chrono::Duration::zero())
            .map(|wait| now + wait.min(MOST_PATIENCE)),
    }
}

/// How long an answer holds: `max-age` less the time it lay in caches, else `Expires` (RFC 9111, section 4.2.1).
fn freshness(headers: &HeaderMap, now: DateTime<Utc>) -> Option<chrono::Duration> {
    let directives: Vec<String> = headers
        .get_all(header::CACHE_CONTROL)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .map(|directive| directive.trim().to_ascii_lowercase())
        .collect();
    if directives.iter().any(|directive| directive == "no-cache" || directive == "no-store") {
        return None;
    }
    let seconds = |text: &str| text.trim().trim_matches('"').parse::<u32>().ok().map(i64::from);
    if let Some(max_age) = directives.iter().find_map(|directive| directive.strip_prefix("max-age=")) {
        let lain = text_of(headers, header::AGE).as_deref().and_then(seconds).unwrap_or(0);
        return seconds(max_age).map(|max_age| chrono::Duration::seconds(max_age - lain));
    }
    date_of(headers, header::EXPIRES).map(|date| ahead(headers, date, now))
}

/// `Retry-After`, in seconds or as a date (RFC 9110, section 10.2.3).
pub(super) fn retry_after(headers: &HeaderMap, now: DateTime<Utc>) -> Option<Duration> {
    let text = text_of(headers, header::RETRY_AFTER)?;
    match text.trim().parse::<u32>() {
        Ok(seconds) => Some(Duration::from_secs(seconds.into())),
        Err(_) => {
            date_of(headers, header::RETRY_AFTER).map(|date| ahead(headers, date, now).to_std().unwrap_or_default())
        }
    }
}
