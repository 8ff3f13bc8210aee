//! Times as people say them: "06:10", "last night", "yesterday 18:30", "6:10 am"; and the sentence that gives them
//! back.

use crate::rounds::night_hours;
use crate::weather::Site;
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveDateTime, NaiveTime, SubsecRound, Timelike, Utc, Weekday};
use thiserror::Error;

/// Where and when somebody speaks.
#[derive(Clone, Copy, Debug)]
pub struct Speaker<'a> {
    pub zone: &'a Zone,
    pub site: &'a Site,
    pub now: DateTime<Utc>,
}

/// What was understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The instant; of a stretch its end.
    pub at: DateTime<Utc>,
    /// When a stretch such as "last night" began.
    pub since: Option<DateTime<Utc>>,
    /// The clock showed this time twice, and one of them is taken: of a date the first, else the last before now.
    pub twice: bool,
}

/// Why a text is no time of the past.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum TimeFault {
    #[error(
        "\"{0}\" is no time; write 06:10, \"yesterday 18:30\", \"last night\", \"this morning 6:10\" or \
         \"2027-01-16 06:10\""
    )]
    NotATime(String),
    #[error(
        "\"{0}\" is no night; write \"last night\", yesterday, friday, or the date of its evening such as 2027-01-15"
    )]
    NotANight(String),
    #[error("which hour of \"{0}\"? Write one behind it, such as \"{0} 18:30\"")]
    NoHour(String),
    #[error("{0} has not come yet")]
    NotYet(String),
    #[error("the night of {night} has not begun yet; the last one was that of {before}")]
    NotBegun { night: String, before: String },
    #[error("the clock never showed {shown}: it was put forward past it; the next time that it showed is {next}")]
    NeverShown { shown: String, next: String },
}

/// A clock that runs a little ahead of ours is no liar.
const AHEAD: Duration = Duration::minutes(5);

impl Speaker<'_> {
    /// The instant or stretch that a text means. A clock time alone is the last one before now.
    pub fn moment(&self, text: &str) -> Result<Moment, TimeFault> {
        let mut moment = self.understood(text)?;
        // A leap second counts as the one before it: it is given back as a time that nobody would understand.
        let nanosecond = moment.at.nanosecond() % 1_000_000_000;
        moment.at = moment.at.with_nanosecond(nanosecond).unwrap_or(moment.at);
        if moment.at > self.now + AHEAD {
            return Err(TimeFault::NotYet(self.echo(moment.at)));
        }
        Ok(moment)
    }

    fn understood(&self, text: &str) -> Result<Moment, TimeFault> {
        let text = text.trim();
        let no_time = || TimeFault::NotATime(text.into());
        if let Ok(instant) = DateTime::parse_from_rfc3339(text) {
            let is_of_this_age = (1970..=2200).contains(&instant.year());
            return if is_of_this_age { Ok(at(instant.with_timezone(&Utc))) } else { Err(no_time()) };
        }
        if let Some((wall, abbreviation)) = given_back(text) {
            return self.placed(wall, abbreviation);
        }
        for format in ["%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M"] {
            if let Ok(wall) = NaiveDateTime::parse_from_str(text, format) {
                return self.placed(wall, None);
            }
        }
        let lower = text.to_lowercase();
        let mut words: Vec<&str> = lower.split_whitespace().filter(|word| *word != "at").collect();
        // "6:10 am" is one word here.
        if let [.., hour, half @ ("am" | "pm")] = words.as_slice() {
            let joined = format!("{hour}{half}");
            let before = words.len() - 2;
            words.truncate(before);
            return self.of_words(&words, Some(&joined), text);
        }
        match words.split_last() {
            Some((last, before)) if last.starts_with(|c: char| c.is_ascii_digit()) => {
                self.of_words(before, Some(last), text)
            }
            _ => self.of_words(&words, None, text),
        }
    }

    /// A day in words and, mostly, a clock time behind it.
    fn of_words(&self, day: &[&str], clock: Option<&str>, text: &str) -> Result<Moment, TimeFault> {
        let no_time = || TimeFault::NotATime(text.into());
        let clock = clock.map(|clock| clock_time(clock).ok_or_else(no_time)).transpose()?;
        let today = self.zone.local(self.now).date_naive();
        let last_night = NightOf(today - Duration::days(1));
        match (day, clock) {
            ([], Some(clock)) => self.last_shown(clock, today),
            (["now"], None) => Ok(at(self.now)),
            (["last", "night"], None) => {
                let (sunset, sunrise) = self.sun(last_night);
                // Before sunrise the night is still going on.
                Ok(Moment { at: sunrise.min(self.now), since: Some(sunset), twice: false })
            }
            (["last", "night"], Some(clock)) => {
                let evening = clock >= NaiveTime::MIN + Duration::hours(12);
                let date = if evening { last_night.0 } else { last_night.morning() };
                self.placed(date.and_time(clock), None)
            }
            (["this", "morning"], None) => Ok(at(self.sun(last_night).1)),
            (["this", "morning"], Some(clock)) if clock.hour() < 12 => self.placed(today.and_time(clock), None),
            (["today"], Some(clock)) => self.placed(today.and_time(clock), None),
            (["yesterday"], Some(clock)) => self.placed((today - Duration::days(1)).and_time(clock), None),
            (["today" | "yesterday"], None) => Err(TimeFault::NoHour(day.join(" "))),
            ([word], clock) => {
                let Some(date) = self.last_of(word, today) else { return Err(no_time()) };
                let Some(clock) = clock else { return Err(TimeFault::NoHour((*word).into())) };
                self.placed(date.and_time(clock), None)
            }
            _ => Err(no_time()),
        }
    }

    /// The last time before now that the clock showed this, or shows it within a few minutes.
    fn last_shown(&self, clock: NaiveTime, today: NaiveDate) -> Result<Moment, TimeFault> {
        let latest = self.now + AHEAD;
        // Shortly before midnight a few minutes ahead are tomorrow's.
        for date in [today + Duration::days(1), today, today - Duration::days(1)] {
            let wall = date.and_time(clock);
            let instants = self.zone.instants(wall);
            if instants.is_empty() && self.zone.instant(wall) <= latest {
                return self.placed(wall, None);
            }
            if let Some(instant) = instants.iter().rfind(|instant| **instant <= latest) {
                return Ok(Moment { twice: instants.len() > 1, ..at(*instant) });
            }
        }
        self.placed(today.and_time(clock), None)
    }

    /// Sunset and sunrise of a night, to the minute.
    fn sun(&self, night: NightOf) -> (DateTime<Utc>, DateTime<Utc>) {
        let (sunset, sunrise) = night_hours(self.site, self.zone, night);
        let to_minutes = |at: DateTime<Utc>| at.trunc_subsecs(0) - Duration::seconds(i64::from(at.second()));
        (to_minutes(sunset), to_minutes(sunrise))
    }

    /// The date of "monday": the last one before today; or of "2027-01-15".
    fn last_of(&self, word: &str, today: NaiveDate) -> Option<NaiveDate> {
        if let Ok(date) = word.parse::<NaiveDate>() {
            return Some(date);
        }
        let weekday: Weekday = word.parse().ok()?;
        (1..=7).map(|days| today - Duration::days(days)).find(|date| date.weekday() == weekday)
    }

    /// The instant of a wall time; where the clock showed it twice, the one of that short name, or the first.
    fn placed(&self, wall: NaiveDateTime, abbreviation: Option<&str>) -> Result<Moment, TimeFault> {
        let shown = || wall.format("%A %-d %B %Y, %H:%M").to_string();
        if !(1970..=2200).contains(&wall.year()) {
            return Err(TimeFault::NotATime(shown()));
        }
        let instants = self.zone.instants(wall);
        let named = |instant: &&DateTime<Utc>| {
            abbreviation.is_none_or(|name| self.zone.abbreviation(**instant).eq_ignore_ascii_case(name))
        };
        match (instants.iter().find(named), abbreviation) {
            (Some(instant), None) => Ok(Moment { twice: instants.len() > 1, ..at(*instant) }),
            (Some(instant), Some(_)) => Ok(at(*instant)),
            (None, Some(name)) if !instants.is_empty() => Err(TimeFault::NotATime(format!("{} {name}", shown()))),
            (None, _) => Err(TimeFault::NeverShown { shown: shown(), next: self.echo(self.zone.instant(wall)) }),
        }
    }

    /// An instant as it is said back: `Saturday 16 January 2027, 06:10 EST`. [`Speaker::moment`] understands it.
    pub fn echo(&self, instant: DateTime<Utc>) -> String {
        let local = self.zone.local(instant);
        let seconds = if local.second() == 0 { String::new() } else { local.format(":%S").to_string() };
        format!("{}{seconds} {}", local.format("%A %-d %B %Y, %H:%M"), self.zone.abbreviation(instant))
    }

    /// The night that a text means: "last night", "friday", "friday night", or the date of its evening. One whose sun has not
    /// set is refused.
    pub fn night(&self, text: &str) -> Result<NightOf, TimeFault> {
        let today = self.zone.local(self.now).date_naive();
        let lower = text.trim().to_lowercase();
        let date = match lower.as_str() {
            "last night" => today - Duration::days(1),
            "tonight" => today,
            "yesterday" | "yesterday night" | "yesterday evening" => today - Duration::days(1),
            day => self
                .last_of(day.strip_suffix(" night").unwrap_or(day), today)
                .filter(|date| (1970..=2200).contains(&date.year()))
                .ok_or_else(|| TimeFault::NotANight(text.into()))?,
        };
        if night_hours(self.site, self.zone, NightOf(date)).0 > self.now {
            let named = |date: NaiveDate| date.format("%A %-d %B %Y").to_string();
            let begun = night_hours(self.site, self.zone, NightOf(today)).0 <= self.now;
            let last = if begun { today } else { today - Duration::days(1) };
            return Err(TimeFault::NotBegun { night: named(date), before: named(last) });
        }
        Ok(NightOf(date))
    }
}

fn at(instant: DateTime<Utc>) -> Moment {
    Moment { at: instant, since: None, twice: false }
}

/// What [`Speaker::echo`] says: the wall time and the short name of its zone.
fn given_back(text: &str) -> Option<(NaiveDateTime, Option<&str>)> {
    let (day, clock) = text.split_once(", ")?;
    let (clock, abbreviation) = clock.split_once(' ').map_or((clock, None), |(clock, name)| (clock, Some(name.trim())));
    let clock = clock_time(clock)?;
    NaiveDate::parse_from_str(day, "%A %d %B %Y").ok().map(|date| (date.and_time(clock), abbreviation))
}

/// `06:10`, `6:10am`, `6pm`.
fn clock_time(text: &str) -> Option<NaiveTime> {
    let (digits, half) = match (text.strip_suffix("am"), text.strip_suffix("pm")) {
        (Some(digits), _) => (digits, Some(0)),
        (None, Some(digits)) => (digits, Some(12)),
        (None, None) => (text, None),
    };
    let mut parts = digits.split(':');
    let number = |part: Option<&str>| -> Option<u32> {
        let part = part?;
        (1..=2)
            .contains(&part.len())
            .then(|| part.bytes().all(|byte| byte.is_ascii_digit()))?
            .then(|| part.parse().ok())?
    };
    let hour = number(parts.next())?;
    let minute = match parts.next() {
        None if half.is_some() => 0,
        part => number(part)?,
    };
    let second = match parts.next() {
        None => 0,
        part => number(part)?,
    };
    if parts.next().is_some() {
        return None;
    }
    let hour = match half {
        None => hour,
        Some(half) if (1..=12).contains(&hour) => hour % 12 + half,
        Some(_) => return None,
    };
    NaiveTime::from_hms_opt(hour, minute, second)
}

#[cfg(test)]
mod tests;
