//! Rows of loggers about the nights of which harm was reported: how long it was cold, and the days before.

use crate::journal::Place;
use crate::night::past::{DAYS, PastDay};
use crate::night::screen::Span;
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// Rows of one logger about one night, in order of time: of the garden's screen those of the days before it too.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedRows {
    pub night: NightOf,
    /// Whatever a cover is called.
    pub place: Place,
    pub rows: Vec<(DateTime<Utc>, Celsius)>,
}

/// Rows further apart than this leave a hole (assumed): an hour of frost may lie in it.
const LONGEST_GAP: Duration = Duration::minutes(75);

impl LoggedRows {
    /// From when rows about a night are asked for.
    pub fn since(place: &Place, span: &Span) -> DateTime<Utc> {
        span.sunset - if *place == Place::Screen { Duration::days(DAYS) } else { Duration::zero() }
    }

    fn between(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> &[(DateTime<Utc>, Celsius)] {
        let first = self.rows.partition_point(|(at, _)| *at < from);
        let end = self.rows.partition_point(|(at, _)| *at <= to);
        self.rows.get(first..end).unwrap_or_default()
    }

    /// The night's rows, where they have no hole and their lowest is the low that counts.
    pub(super) fn whole_night(&self, span: &Span, low: Celsius) -> Option<&[(DateTime<Utc>, Celsius)]> {
        let rows = self.between(span.sunset, span.end());
        let lowest = rows.iter().map(|(_, air)| *air).reduce(Celsius::min)?;
        let ends = [span.sunset].into_iter().chain(rows.iter().map(|(at, _)| *at)).chain([span.end()]);
        let times: Vec<DateTime<Utc>> = ends.collect();
        let has_hole = times.windows(2).any(|pair| pair[1] - pair[0] > LONGEST_GAP);
        (!has_hole && (lowest - low).0.abs() < 1e-6).then_some(rows)
    }

    /// The days before the night as a forecast would have them, a temperature for each hour; the oldest first. Nobody kept
    /// how clear and calm they were.
    pub(super) fn days_before(&self, span: &Span) -> Vec<PastDay> {
        let day = |back: i64| {
            let (sunset, night_ends) = (span.sunset - Duration::days(back), span.end() - Duration::days(back));
            let hour = |hour: i64| {
                let from = sunset + Duration::hours(hour);
                self.between(from, from + Duration::minutes(59)).first().copied()
            };
            PastDay {
                of: NightOf(span.of.0 - Duration::days(back)),
                night_ends,
                hours: (0..24).filter_map(hour).collect(),
                clear_calm: None,
            }
        };
        (1..=DAYS).rev().map(day).collect()
    }
}

/// Whether each of some days before a night is known: its low and its mean.
pub(super) fn are_known(days: &[PastDay]) -> bool {
    !days.is_empty() && days.iter().all(|day| day.low(Kelvins(0.0)).is_some() && day.mean().is_some())
}
