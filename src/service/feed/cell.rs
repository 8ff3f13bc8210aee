//! One request for all gardens of a cell, and none before its time.
//!
//! What is fetched belongs to a cell of the provider's grid and not to a garden: gardens that ask for one address share
//! its answer, a failure too where they waited for it together. A provider that asks for silence is left alone by all of
//! them.

use super::nws::Area;
use super::{Conditions, FeedFault, Fetched, Fetcher, Location, decode, with_retries};
use crate::weather::{Forecast, Provider};
use chrono::{DateTime, Utc};
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::Instant;

/// A cell is not asked more often than this, whatever its last answer said: no provider makes forecasts faster (a first
/// choice).
const SHORTEST: chrono::Duration = chrono::Duration::minutes(5);
/// Of answers that nobody has asked for since, none is kept longer.
const FORGOTTEN: chrono::Duration = chrono::Duration::hours(24);

/// The forecast of a cell.
#[derive(Clone, Debug)]
pub struct CellForecast {
    pub forecast: Forecast,
    /// What the server said about asking again.
    pub conditions: Conditions,
    /// The ground it holds for, where the document says so.
    pub area: Option<Area>,
}

/// A question to a cell.
#[derive(Clone, Copy, Debug)]
pub struct Question<'a> {
    pub provider: &'a Provider,
    pub location: &'a Location,
    /// The document at hand and what came with it: kept if it has not changed.
    pub kept: Option<(&'a Forecast, &'a Conditions)>,
    pub now: DateTime<Utc>,
    /// No answer is waited for beyond this.
    pub deadline: Instant,
    /// A request to another machine is held back by up to this, each cell by its own part of it: the gardens of the
    /// world look at full and half hours, and providers ask not to be asked all at once.
    pub spread: Duration,
}

/// What the cells answered last.
#[derive(Debug, Default)]
pub(super) struct Cells {
    cells: Mutex<HashMap<String, Arc<tokio::sync::Mutex<Option<Held>>>>>,
    /// Until when a provider, by its origin, wants to be left alone.
    silences: Mutex<HashMap<String, DateTime<Utc>>>,
}

#[derive(Debug)]
struct Held {
    /// When it was asked for, by the service's clock.
    at: DateTime<Utc>,
    came: Instant,
    answer: Result<CellForecast, FeedFault>,
}

impl Held {
    /// Whether this is an answer to a question of `now` that was put at `put`, too.
    fn speaks_for(&self, put: Instant, now: DateTime<Utc>) -> bool {
        let wait = match &self.answer {
            Ok(answer) => answer.conditions.expires.map_or(SHORTEST, |expires| (expires - self.at).max(SHORTEST)),
            Err(fault) => fault.retry_after().map_or(chrono::Duration::zero(), most_of_a_silence),
        };
        // Of two that waited at the door one has asked. A clock that was set back makes nothing fresh.
        self.came >= put || (self.at..self.at + wait).contains(&now)
    }
}

impl Cells {
    fn cell(&self, key: String, now: DateTime<Utc>) -> Arc<tokio::sync::Mutex<Option<Held>>> {
        let mut cells = self.cells.lock().unwrap_or_else(PoisonError::into_inner);
        // Cells move; what is in use cannot be locked and stays.
        cells.retain(|_, cell| {
            let Ok(held) = cell.try_lock() else { return true };
            held.as_ref().is_none_or(|held| (now - held.at).abs() < FORGOTTEN)
        });
        Arc::clone(cells.entry(key).or_default())
    }

    /// How much longer the provider at this origin wants to be left alone.
    pub(super) fn silence(&self, origin: &str, now: DateTime<Utc>) -> Option<Duration> {
        let silences = self.silences.lock().unwrap_or_else(PoisonError::into_inner);
        let left = *silences.get(origin)? - now;
        // After a clock was set back far, this would be a silence that nobody asked for.
        left.to_std().ok().filter(|left| !left.is_zero() && most_of_a_silence(*left) == chrono_of(*left))
    }

    fn silences(&self, now: DateTime<Utc>) -> Vec<(String, DateTime<Utc>)> {
        let silences = self.silences.lock().unwrap_or_else(PoisonError::into_inner);
        silences.iter().filter(|(_, until)| **until > now).map(|(origin, until)| (origin.clone(), *until)).collect()
    }

    pub(super) fn be_silent(&self, origin: String, now: DateTime<Utc>, wait: Duration) {
        let mut silences = self.silences.lock().unwrap_or_else(PoisonError::into_inner);
        silences.retain(|_, until| *until > now);
        silences.insert(origin, now + most_of_a_silence(wait));
    }
}

fn chrono_of(wait: Duration) -> chrono::Duration {
    chrono::Duration::from_std(wait).unwrap_or(chrono::Duration::MAX)
}

/// A provider that asks for more would make us miss the evening.
fn most_of_a_silence(wait: Duration) -> chrono::Duration {
    chrono_of(wait).min(super::fetch::MOST_PATIENCE)
}

impl Fetcher {
    /// Which providers, by their origin, want to be left alone until when.
    pub fn silences(&self, now: DateTime<Utc>) -> Vec<(String, DateTime<Utc>)> {
        self.cells.silences(now)
    }

    /// Leaves a provider alone that has asked for it before this fetcher was made.
    pub fn leave_alone(&self, origin: &str, now: DateTime<Utc>, until: DateTime<Utc>) {
        if let Ok(wait) = (until - now).to_std() {
            self.cells.be_silent(origin.into(), now, wait);
        }
    }

    /// The forecast of a cell: asked for, unchanged since the last time, or what the cell has just told another garden.
    pub async fn forecast(&self, question: &Question<'_>) -> Result<CellForecast, FeedFault> {
        // A file costs nobody anything, and its owner may write it anew at any time.
        if let Location::File(_) = question.location {
            return self.asked(question).await;
        }
        let put = Instant::now();
        let key = format!("{} {}", question.provider.key(), question.location);
        let cell = self.cells.cell(key.clone(), question.now);
        let Ok(mut held) = tokio::time::timeout_at(question.deadline, cell.lock()).await else {
            let reason = "another garden of this cell has waited for it as long".into();
            return Err(FeedFault::Unreachable { reason });
        };
        if let Some(held) = held.as_ref().filter(|held| held.speaks_for(put, question.now)) {
            return held.answer.clone();
        }
        if let Location::Https(_) = question.location {
            // Who has little time must not lose it at the door.
            let most = question.deadline.saturating_duration_since(Instant::now()) / 4;
            tokio::time::sleep(part_of(question.spread.min(most), &key)).await;
        }
        let answer = self.asked(question).await;
        *held = Some(Held { at: question.now, came: Instant::now(), answer: answer.clone() });
        answer
    }

    async fn asked(&self, question: &Question<'_>) -> Result<CellForecast, FeedFault> {
        let Question { provider, location, kept, now, deadline, .. } = *question;
        let first = Conditions::default();
        let conditions = kept.map_or(&first, |(_, conditions)| conditions);
        let start = Instant::now();
        let left = deadline.saturating_duration_since(start);
        let fetched = with_retries(left, || self.fetch(location, conditions, now + chrono_of(start.elapsed()))).await?;
        match (fetched, kept) {
            (Fetched::Fresh { body, conditions }, _) => {
                let forecast = decode(provider, &body, now)?;
                let area = (*provider == Provider::NationalWeatherService).then(|| Area::of_document(&body)).flatten();
                Ok(CellForecast { forecast, conditions, area })
            }
            (Fetched::NotModified { conditions }, Some((forecast, _))) => {
                Ok(CellForecast { forecast: forecast.clone(), conditions, area: None })
            }
            (Fetched::NotModified { .. }, None) => {
                Err(FeedFault::not_the_format("an answer \"not modified\" to a first question"))
            }
        }
    }
}

/// A part of a time that is always the same for one key, and another for others.
pub fn part_of(whole: Duration, key: &str) -> Duration {
    let mut hasher = DefaultHasher::new();
    key.hash(&mut hasher);
    whole.mul_f64((hasher.finish() % 1000) as f64 / 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(answer: Result<CellForecast, FeedFault>, came: Instant) -> Held {
        Held { at: DateTime::UNIX_EPOCH, came, answer }
    }

    fn forecast(expires: Option<chrono::Duration>) -> Result<CellForecast, FeedFault> {
        let body = include_bytes!("../../../tests/feeds/table_frost_night.csv");
        let forecast = decode(&Provider::Csv, body, DateTime::UNIX_EPOCH)?;
        let expires = expires.map(|wait| DateTime::UNIX_EPOCH + wait);
        Ok(CellForecast { forecast, conditions: Conditions { expires, ..Conditions::default() }, area: None })
    }

    #[test]
    fn an_answer_speaks_until_it_expires_and_never_for_less_than_five_minutes() {
        let came = Instant::now();
        let later = came + Duration::from_secs(1);
        let throttled = |wait| Err(FeedFault::Throttled { retry_after: wait });
        for (answer, minutes) in [
            (forecast(None), 5),
            (forecast(Some(chrono::Duration::minutes(1))), 5),
            (forecast(Some(chrono::Duration::minutes(30))), 30),
            (throttled(Some(Duration::from_secs(600))), 10),
            (throttled(Some(Duration::from_secs(1_000_000))), 360),
            (throttled(None), 0),
            (Err(FeedFault::Empty), 0),
        ] {
            let held = held(answer, came);
            let at = |minute| DateTime::UNIX_EPOCH + chrono::Duration::minutes(minute);
            assert_eq!(held.speaks_for(later, at(minutes - 1)), minutes > 0, "{held:?}");
            assert!(!held.speaks_for(later, at(minutes)) && !held.speaks_for(later, at(-1)), "{held:?}");
            // Who was waiting when it came hears it, a failure too.
            assert!(held.speaks_for(came, at(1_000)), "{held:?}");
        }
    }

    #[test]
    fn a_silence_ends_by_itself_and_with_a_clock_that_is_set_back() {
        let (cells, start) = (Cells::default(), DateTime::UNIX_EPOCH);
        cells.be_silent("a".into(), start, Duration::from_secs(100));
        assert_eq!(cells.silence("a", start + chrono::Duration::seconds(40)), Some(Duration::from_secs(60)));
        assert_eq!(cells.silence("a", start + chrono::Duration::seconds(100)), None);
        assert_eq!(cells.silence("a", start - chrono::Duration::days(1)), None);
        assert_eq!(cells.silence("b", start), None);
    }

    #[test]
    fn cells_are_held_back_by_different_parts_of_a_time() {
        let whole = Duration::from_secs(20);
        let parts: Vec<Duration> = (0..100).map(|cell| part_of(whole, &format!("cell {cell}"))).collect();
        assert!(parts.iter().all(|part| *part < whole));
        let early = parts.iter().filter(|part| **part < whole / 2).count();
        assert!((25..=75).contains(&early), "{early} of 100 in the first half");
        assert_eq!(part_of(whole, "cell 1"), parts[1]);
    }

    #[test]
    fn cells_that_nobody_asks_any_more_are_forgotten() {
        let (cells, start) = (Cells::default(), DateTime::UNIX_EPOCH);
        let cell = cells.cell("old".into(), start);
        if let Ok(mut held_now) = cell.try_lock() {
            *held_now = Some(held(Err(FeedFault::Empty), Instant::now()));
        }
        cells.cell("new".into(), start + chrono::Duration::hours(25));
        let known = cells.cells.lock().map(|cells| cells.keys().cloned().collect::<Vec<_>>());
        assert_eq!(known.unwrap_or_default(), ["new"]);
    }
}
