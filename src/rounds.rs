//! When to look: the rounds of a garden, by the clock in its own zone and by the sun, each at one instant.
//!
//! A cron expression is evaluated on the bare wall clock and each hit is then placed in real time by the garden's own
//! zone rules. Given a zone directly, the `cron` crate skips daily firings in the hour that spring leaves out and
//! repeats or reorders them in the hour that autumn repeats.

use crate::weather::Site;
use crate::weather::sun::{SunEvents, night_between};
use crate::words::words;
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Duration, SubsecRound, Utc};
use cron::Schedule;
use std::str::FromStr;
use thiserror::Error;

/// Why a garden is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum RoundKind {
    /// By the clock: what tonight may bring.
    Morning,
    /// By the clock: the work list.
    Afternoon,
    /// Two hours after sunset: has it become worse?
    Dusk,
    /// One hour after sunrise: uncover, and note what the night did.
    Uncover,
}

words!(RoundKind { Morning = "morning", Afternoon = "afternoon", Dusk = "dusk", Uncover = "uncover" });

/// One look at one garden.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Round {
    pub kind: RoundKind,
    pub due: DateTime<Utc>,
    /// The night it is about: for [`RoundKind::Uncover`] the one just over.
    pub night: NightOf,
}

/// The rounds that go by the clock.
#[derive(Clone, Debug)]
pub struct Timetable {
    pub morning: Schedule,
    pub afternoon: Schedule,
    /// How often a message says that there is nothing to do.
    pub all_quiet: AllQuiet,
}

/// How often silence is broken to show that the service lives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AllQuiet {
    Daily,
    Weekly,
}

words!(AllQuiet { Daily = "daily", Weekly = "weekly" });

impl AllQuiet {
    pub fn days(self) -> i64 {
        match self {
            AllQuiet::Daily => 1,
            AllQuiet::Weekly => 7,
        }
    }
}

/// Why a line is no timetable, and how to mend it.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{what}; {mend}")]
pub struct ScheduleFault {
    pub what: String,
    pub mend: String,
}

/// Reads `06:30` (every day at that time) or a cron expression of six or seven fields, seconds first.
pub fn parse_schedule(text: &str) -> Result<Schedule, ScheduleFault> {
    let fault = |what: &str, mend: &str| Err(ScheduleFault { what: what.into(), mend: mend.into() });
    if let Ok(time) = chrono::NaiveTime::parse_from_str(text, "%H:%M") {
        let expression = time.format("0 %-M %-H * * *").to_string();
        return Schedule::from_str(&expression).or_else(|_| fault("this time cannot be used", "write it like 06:30"));
    }
    let fields: Vec<&str> = text.split_whitespace().collect();
    match fields.len() {
        6 | 7 => {}
        5 => {
            let mend = format!("seconds come first: write \"0 {text}\", or simply a time like \"06:30\"");
            return fault("a cron expression has six fields and this has five", &mend);
        }
        _ => {
            let mend = "write a time like \"06:30\", or second minute hour day month weekday like \"0 30 6 * * *\"";
            return fault("this is neither a time nor a cron expression", mend);
        }
    }
    let any = |field: &str| field == "*" || field == "?";
    if !any(fields[3]) && !any(fields[5]) {
        let mend = "give the day of the month or the weekday and leave the other *: both would have to match at once";
        return fault("this asks for a day of the month and a weekday together", mend);
    }
    if fields[5].chars().any(|c| c.is_ascii_digit()) {
        let mend = "write weekdays by name, like Mon-Fri: as numbers they mean other days than you may expect";
        return fault("the weekday is a number", mend);
    }
    let Ok(schedule) = Schedule::from_str(text) else {
        let mend = "allowed are numbers, names like Mon or Jan, *, ranges 1-5, lists 1,3 and steps */2";
        return fault("the cron expression cannot be read", mend);
    };
    let firings: Vec<DateTime<Utc>> = schedule.after(&DateTime::from_timestamp_nanos(A_YEAR)).take(50).collect();
    if firings.is_empty() {
        return fault("this time never comes", "check day and month: 31 February is never reached");
    }
    if firings.windows(2).any(|pair| pair[1] - pair[0] < Duration::minutes(15)) {
        return fault("this fires more often than every quarter of an hour", "a round or two a day is enough");
    }
    let (start, end) = the_year();
    let firings: Vec<DateTime<Utc>> =
        std::iter::once(start).chain(of_the_year(&schedule)).chain(std::iter::once(end)).collect();
    let other_years = fields.get(6).is_some_and(|year| !any(year));
    if other_years || firings.windows(2).any(|pair| pair[1] - pair[0] > LONGEST_SILENCE) {
        return fault(
            "this leaves more than a week without a round",
            "give weekdays if any, and leave day, month and year *",
        );
    }
    Ok(schedule)
}

/// Without a sign of life for longer than this, nobody could tell a quiet garden from a dead service (assumed).
const LONGEST_SILENCE: Duration = Duration::days(7);
/// On the night that spring shortens, what is closer can fall together.
const CLOSEST: Duration = Duration::hours(1);
/// Any year will do for looking at the gaps between firings; this one, 2028, has a leap day. Nanoseconds since 1970.
const A_YEAR: i64 = 1_830_297_600_000_000_000;

fn the_year() -> (DateTime<Utc>, DateTime<Utc>) {
    let start = DateTime::from_timestamp_nanos(A_YEAR);
    (start, start + Duration::days(400))
}

fn of_the_year(schedule: &Schedule) -> impl Iterator<Item = DateTime<Utc>> {
    let (start, end) = the_year();
    schedule.after(&start).take_while(move |firing| *firing < end)
}

/// Whether two schedules of [`parse_schedule`] ever fire within an hour of each other. Of two rounds at one instant
/// only one is made.
pub fn collide(one: &Schedule, other: &Schedule) -> bool {
    let of = |schedule, which| of_the_year(schedule).map(move |firing| (firing, which));
    let mut firings: Vec<(DateTime<Utc>, u8)> = of(one, 1).chain(of(other, 2)).collect();
    firings.sort_unstable();
    firings.windows(2).any(|pair| pair[0].1 != pair[1].1 && pair[1].0 - pair[0].0 <= CLOSEST)
}

/// The first instant after `last` at which the wall clock of `zone` meets `schedule`.
pub fn next_firing(schedule: &Schedule, zone: &Zone, last: DateTime<Utc>) -> Option<DateTime<Utc>> {
    // A whole day can be missing from a zone's calendar, so the scan starts more than a day back.
    let wall = zone.local(last).naive_local() - Duration::hours(26);
    schedule
        .after(&wall.and_utc())
        .take(10_000)
        .map(|hit| zone.instant(hit.naive_utc()))
        .find(|instant| *instant > last)
}

/// The first round of a garden after an instant.
pub fn next_round(timetable: &Timetable, site: &Site, zone: &Zone, after: DateTime<Utc>) -> Option<Round> {
    let by_clock = [(RoundKind::Morning, &timetable.morning), (RoundKind::Afternoon, &timetable.afternoon)];
    let by_clock = by_clock.into_iter().filter_map(|(kind, schedule)| {
        let due = next_firing(schedule, zone, after)?;
        Some(Round { kind, due, night: NightOf(zone.local(due).date_naive()) })
    });
    by_clock.chain(rounds_by_sun(site, zone, after)).min_by_key(|round| (round.due, round.kind))
}

fn rounds_by_sun(site: &Site, zone: &Zone, after: DateTime<Utc>) -> impl Iterator<Item = Round> {
    let today = zone.local(after).date_naive();
    let nights: Vec<NightOf> = (-2..=2).map(|days| NightOf(today + Duration::days(days))).collect();
    let rounds = nights.into_iter().flat_map(|night| {
        let (sunset, sunrise) = night_hours(site, zone, night);
        [
            // To the second, as they are written down: read back, a round must not seem to be still to come.
            Round { kind: RoundKind::Dusk, due: (sunset + DUSK).trunc_subsecs(0), night },
            Round { kind: RoundKind::Uncover, due: (sunrise + MORNING_AFTER).trunc_subsecs(0), night },
        ]
    });
    rounds.collect::<Vec<_>>().into_iter().filter(move |round| round.due > after)
}

/// The evening's readings settle about two hours after sunset.
pub const DUSK: Duration = Duration::hours(2);
/// The lowest temperature can come up to an hour after sunrise.
pub const MORNING_AFTER: Duration = Duration::hours(1);

/// Sunset of the evening and sunrise of the morning after. Where the sun does not set or does not rise, the clock's
/// night from 18:00 to 06:00 is used.
pub fn night_hours(site: &Site, zone: &Zone, night: NightOf) -> (DateTime<Utc>, DateTime<Utc>) {
    match night_between(site, zone, night) {
        SunEvents::Night { sunset, sunrise } => (sunset, sunrise),
        SunEvents::NeverSets | SunEvents::NeverRises => {
            let at = |date: chrono::NaiveDate, hour: i64| {
                zone.instant(date.and_time(chrono::NaiveTime::MIN) + Duration::hours(hour))
            };
            (at(night.0, 18), at(night.morning(), 6))
        }
    }
}

/// Why a night has no sunset of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoSunset {
    /// The sun stays up.
    NeverSets,
    /// It stays down, by day too.
    NeverRises,
}

/// Where the sun does not set, or has not risen, [`night_hours`] goes by the clock; `None` where it sets.
pub fn no_sunset(site: &Site, zone: &Zone, night: NightOf) -> Option<NoSunset> {
    match night_between(site, zone, night) {
        SunEvents::Night { .. } => None,
        SunEvents::NeverSets => Some(NoSunset::NeverSets),
        SunEvents::NeverRises => Some(NoSunset::NeverRises),
    }
}

/// In the last hours before sunrise nothing can be done for the night any more, and people ask of the next.
const OVER_FOR_WORK: Duration = Duration::hours(2);

/// The night that matters at an instant: the one still going on until two hours before sunrise, else the coming one.
pub fn night_at(site: &Site, zone: &Zone, now: DateTime<Utc>) -> NightOf {
    let today = zone.local(now).date_naive();
    let last = NightOf(today - Duration::days(1));
    let (_, sunrise) = night_hours(site, zone, last);
    if now <= sunrise - OVER_FOR_WORK { last } else { NightOf(today) }
}

#[cfg(test)]
mod tests;
