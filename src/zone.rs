//! Wall clocks: the time growers read, from the newest rules at hand, and the date a night belongs to.
//!
//! `chrono-tz` names the zone and is what settings are checked against, but its newest release carries rules of 2025
//! and is an hour wrong in places that changed since. So the rules come from the set bundled with `jiff`
//! ([`Zone::bundled`]), named explicitly because jiff's default prefers the operating system's, which may be older.

mod difference;

pub use difference::Difference;

use chrono::{DateTime, Duration, FixedOffset, NaiveDate, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;
use jiff::tz::{TimeZone as Rules, TimeZoneDatabase};
use serde::{Deserialize, Serialize};
use std::fmt;

/// The date of the evening a night begins on: the night from 15 to 16 January is the night of the 15th.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct NightOf(pub NaiveDate);

impl NightOf {
    /// The morning's date.
    pub fn morning(self) -> NaiveDate {
        self.0 + Duration::days(1)
    }
}

impl fmt::Display for NightOf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A time zone: its name and its rules.
#[derive(Clone, Debug)]
pub struct Zone {
    name: Tz,
    rules: Rules,
}

impl Zone {
    /// The zone with the rules bundled in this program, or `None` where they do not know its name.
    pub fn bundled(name: Tz) -> Option<Zone> {
        let rules = TimeZoneDatabase::bundled().get(name.name()).ok()?;
        Some(Zone { name, rules })
    }

    /// The name, as it is known to settings.
    pub fn tz(&self) -> Tz {
        self.name
    }

    /// The name, such as `America/New_York`.
    pub fn name(&self) -> &'static str {
        self.name.name()
    }

    /// The local time of an instant, with its offset.
    pub fn local(&self, instant: DateTime<Utc>) -> DateTime<FixedOffset> {
        instant.with_timezone(&self.offset(instant))
    }

    /// The short name of the local time in force, such as `EST`.
    pub fn abbreviation(&self, instant: DateTime<Utc>) -> String {
        match jiff::Timestamp::from_second(instant.timestamp()) {
            Ok(at) => self.rules.to_offset_info(at).abbreviation().to_string(),
            Err(_) => self.name().to_string(),
        }
    }

    /// The instant of a wall time. Of an hour that comes twice, the first; in an hour that is left out, the first
    /// minute that exists again, even where a whole day is missing.
    pub fn instant(&self, wall: NaiveDateTime) -> DateTime<Utc> {
        self.instants(wall).first().copied().unwrap_or_else(|| self.end_of_gap(wall))
    }

    /// All instants at which the clock shows a wall time, the earliest first: none in an hour that is left out, two in
    /// one that comes twice.
    pub fn instants(&self, wall: NaiveDateTime) -> Vec<DateTime<Utc>> {
        // An offset is at most 14 hours. Around any wall time the rules know at most a few offsets; each is a
        // candidate, right where the clock then shows the wall time asked for.
        let around = |hours: i64| self.offset(Utc.from_utc_datetime(&wall) + Duration::hours(hours)).local_minus_utc();
        let mut offsets = [-26, -14, 0, 14, 26].map(around);
        offsets.sort_unstable_by(|one, other| other.cmp(one));
        // Far from a change of clock they are all the same. The farther ahead a clock is, the earlier it shows a time.
        let mut instants: Vec<DateTime<Utc>> = Vec::with_capacity(2);
        for (number, offset) in offsets.iter().enumerate() {
            let instant = Utc.from_utc_datetime(&(wall - Duration::seconds((*offset).into())));
            if !offsets[..number].contains(offset) && self.local(instant).naive_local() == wall {
                instants.push(instant);
            }
        }
        instants
    }

    /// The first instant whose wall time is at or after `wall`, for a wall time that no clock shows.
    fn end_of_gap(&self, wall: NaiveDateTime) -> DateTime<Utc> {
        let start = Utc.from_utc_datetime(&wall) - Duration::hours(27);
        (0..=54 * 60)
            .map(|minutes| start + Duration::minutes(minutes))
            .find(|instant| self.local(*instant).naive_local() >= wall)
            .unwrap_or_else(|| Utc.from_utc_datetime(&wall))
    }

    fn offset(&self, instant: DateTime<Utc>) -> FixedOffset {
        let seconds = jiff::Timestamp::from_second(instant.timestamp())
            .map(|at| self.rules.to_offset(at).seconds())
            .unwrap_or_default();
        FixedOffset::east_opt(seconds).unwrap_or_else(|| chrono::Offset::fix(&Utc))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone(name: &str) -> Zone {
        let Ok(name) = name.parse::<Tz>() else { panic!("no zone {name}") };
        let Some(zone) = Zone::bundled(name) else { panic!("no rules for {name}") };
        zone
    }

    fn wall(text: &str) -> NaiveDateTime {
        let Ok(wall) = NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M") else { panic!("bad time {text}") };
        wall
    }

    /// Changes of clock of 2026 and the day that Samoa left out, as published in the IANA time-zone database.
    #[test]
    fn wall_times_in_gaps_and_overlaps_are_placed_once() {
        for (name, asked, expected) in [
            ("America/New_York", "2026-01-15 06:30", "2026-01-15T06:30:00-05:00"),
            ("America/New_York", "2026-03-08 02:30", "2026-03-08T03:00:00-04:00"),
            ("America/New_York", "2026-11-01 01:30", "2026-11-01T01:30:00-04:00"),
            ("America/Havana", "2026-03-08 00:00", "2026-03-08T01:00:00-04:00"),
            ("Australia/Lord_Howe", "2026-10-04 02:15", "2026-10-04T02:30:00+11:00"),
            ("Pacific/Apia", "2011-12-30 12:00", "2011-12-31T00:00:00+14:00"),
        ] {
            let zone = zone(name);
            let local = zone.local(zone.instant(wall(asked)));
            assert_eq!(local.to_rfc3339(), expected, "{name} {asked}");
        }
    }

    #[test]
    fn every_name_that_settings_accept_has_rules() {
        for name in chrono_tz::TZ_VARIANTS {
            assert!(Zone::bundled(name).is_some(), "{name} is a name without rules");
        }
    }

    #[test]
    fn the_short_name_follows_the_season() {
        let zone = zone("America/New_York");
        assert_eq!(zone.abbreviation(zone.instant(wall("2026-01-15 06:30"))), "EST");
        assert_eq!(zone.abbreviation(zone.instant(wall("2026-07-15 06:30"))), "EDT");
    }
}
