//! What may be wrong with a whole log though every row of it is sound: its zone, its clock, its scale, its holes.
//!
//! Nothing is shifted or converted on a suspicion: a [`Doubt`] is told, and where it [asks](Doubt::asks) the log is
//! taken in only after somebody has answered. All limits are assumed: they are set so that ordinary logs pass in
//! silence.

use super::Sampled;
use super::log::{Column, LogRow, Medium};
use crate::rounds::night_hours;
use crate::units::{Celsius, Kelvins, Scale};
use crate::weather::Site;
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Duration, NaiveDate, Utc};
use std::collections::BTreeMap;

/// What may be wrong with a log.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// Stretches without a row.
    Gaps { count: usize, longest: Duration, from: DateTime<Utc>, line: u64 },
    /// Rows that stand there twice.
    Repeated { rows: u64 },
    /// Temperatures that nothing in a garden goes through from one row to the next.
    Leaps { column: String, count: usize, line: u64, from: Celsius, to: Celsius },
    /// The values look like the other scale than the header says.
    OtherScale { column: String, says: Scale, why: String },
    /// Mornings and afternoons come at the wrong hour: the zone is wrong.
    OffByHours { hours: i64, days: usize },
    /// From one day on everything comes earlier (negative) or later: the clock was not changed with the zone's, or was.
    Jump { minutes: i64, on: NaiveDate },
    /// The hour that the zone's clock shows twice is there once, and then an hour is missing.
    NotPutBack { line: u64, on: NaiveDate },
}

impl Doubt {
    /// Whether somebody must answer before the log is taken in.
    pub fn asks(&self) -> bool {
        !matches!(self, Doubt::Gaps { .. } | Doubt::Repeated { .. })
    }
}

/// In a sentence, with its line where it has one.
impl std::fmt::Display for Doubt {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let letter = |scale: &Scale| scale.letter();
        match self {
            Doubt::Gaps { count, longest, from, line } => write!(
                f,
                "{count} gaps; the longest lasts {:.1} hours from {} UTC on, before line {line}",
                longest.num_minutes() as f64 / 60.0,
                from.format("%Y-%m-%d %H:%M")
            ),
            Doubt::Leaps { column, count, line, from, to } => {
                let more = match count {
                    1 => String::new(),
                    count => format!(", the first of {count} such leaps"),
                };
                write!(
                    f,
                    "is line {line} right? In column {column} it leaps from {:.1} to {:.1} C{more}: some rows may be in the \
                     other scale, or the logger was carried about",
                    from.0, to.0
                )
            }
            Doubt::Repeated { rows } => write!(f, "{rows} rows repeat the one before and count once"),
            Doubt::OtherScale { column, says, why } => {
                let other = if *says == Scale::Celsius { Scale::Fahrenheit } else { Scale::Celsius };
                write!(f, "is column {column} in {} rather than in {}? {why}", letter(&other), letter(says))
            }
            Doubt::OffByHours { hours, days } => write!(
                f,
                "are its times of this zone? On {days} days the coldest and the warmest hour come about {} hours \
                 too {}",
                hours.abs(),
                if *hours > 0 { "late" } else { "early" }
            ),
            Doubt::Jump { minutes, on } => write!(
                f,
                "was its clock changed on {on}? From then on the coldest and the warmest hour come {} minutes {}",
                minutes.abs(),
                if *minutes > 0 { "later" } else { "earlier" }
            ),
            Doubt::NotPutBack { line, on } => write!(
                f,
                "was its clock put back on {on}? The hour that comes twice is there once, and an hour is missing before \
                 line {line}; a logger that is not put back needs --zone with its fixed offset"
            ),
        }
    }
}

/// One day of one column.
#[derive(Clone, Copy, Debug)]
struct Day {
    low: Celsius,
    /// Middle of the first and the last row of that value, seconds since 1970.
    low_at: (i64, i64),
    high: Celsius,
    high_at: (i64, i64),
    /// A bit for each hour with a row.
    hours: u32,
}

/// Looks at the rows of one column, in order of time.
#[derive(Debug)]
pub struct Watch {
    column: Column,
    /// Days by the mean sun, days since 1970.
    days: BTreeMap<i64, Day>,
    longitude_seconds: i64,
    known: Vec<(DateTime<Utc>, Celsius)>,
    /// What the log says beside what is known.
    pairs: Vec<(Celsius, Celsius)>,
    last: Option<(DateTime<Utc>, Celsius)>,
    /// The first leap and how many there are.
    leaps: Option<(u64, Celsius, Celsius)>,
    leap_count: usize,
    steps: BTreeMap<i64, u64>,
    holes: Vec<(u64, DateTime<Utc>, DateTime<Utc>)>,
}

/// A known temperature this far from a row in time is compared with it.
const BESIDE: Duration = Duration::minutes(10);
/// Stretches shorter than this are no gaps in anybody's log.
const SHORTEST_GAP: Duration = Duration::minutes(30);
/// A day whose warmest and coldest hour tell the time: this much between them, and this many of its hours seen.
const SWING: Kelvins = Kelvins(4.0);
const HOURS_SEEN: u32 = 20;
/// An opened tunnel in the sun falls by less from one row to the next (assumed).
const LEAP: Kelvins = Kelvins(18.0);
const LEAP_WITHIN: Duration = Duration::minutes(30);
/// Degrees Fahrenheit under Celsius lie 20 K and more from their neighbours, degrees Celsius under Fahrenheit 13 K and more, both
/// down to -10 °C: so far apart, and so close once they are read the other way, in logs of an hour a row too (assumed).
const APART: Kelvins = Kelvins(10.0);
const JOINS: Kelvins = Kelvins(3.0);
const JOINS_WITHIN: Duration = Duration::minutes(70);
/// Rows of different lengths that are told apart; a log has one step, or a few.
const MOST_STEPS: usize = 64;
const MOST_HOLES: usize = 10_000;

impl Watch {
    /// `known` are temperatures of the same garden that were read or foretold, in order of time.
    pub fn new(column: &Column, site: &Site, known: Vec<(DateTime<Utc>, Celsius)>) -> Watch {
        // Four minutes of sun for each degree.
        let longitude_seconds = (site.longitude * 240.0) as i64;
        Watch {
            column: column.clone(),
            days: BTreeMap::new(),
            longitude_seconds,
            known,
            pairs: Vec::new(),
            last: None,
            leaps: None,
            leap_count: 0,
            steps: BTreeMap::new(),
            holes: Vec::new(),
        }
    }

    /// Takes one value.
    pub fn look(&mut self, row: &LogRow, value: Celsius) {
        let at = row.at.timestamp();
        if let Some((last, before)) = self.last {
            let step = row.at - last;
            if self.column.sampled == Sampled::Instant && self.is_leap(step, before, value) {
                self.leaps.get_or_insert((row.line, before, value));
                self.leap_count += 1;
            }
            let seconds = step.num_seconds();
            if self.steps.len() < MOST_STEPS || self.steps.contains_key(&seconds) {
                *self.steps.entry(seconds).or_default() += 1;
            }
            if step > SHORTEST_GAP && self.holes.len() < MOST_HOLES {
                self.holes.push((row.line, last, row.at));
            }
        }
        self.last = Some((row.at, value));
        let solar = at + self.longitude_seconds;
        let hour = u32::try_from(solar.rem_euclid(86_400) / 3600).unwrap_or_default();
        let new = Day { low: value, low_at: (at, at), high: value, high_at: (at, at), hours: 0 };
        let day = self.days.entry(solar.div_euclid(86_400)).or_insert(new);
        day.hours |= 1 << hour;
        if value < day.low {
            (day.low, day.low_at) = (value, (at, at));
        } else if value == day.low {
            day.low_at.1 = at;
        }
        if value > day.high {
            (day.high, day.high_at) = (value, (at, at));
        } else if value == day.high {
            day.high_at.1 = at;
        }
        let from = self.known.partition_point(|(known, _)| *known < row.at - BESIDE);
        if let Some((known, temperature)) = self.known.get(from)
            && *known <= row.at + BESIDE
        {
            self.pairs.push((value, *temperature));
        }
    }

    /// Whether nothing in a garden goes from one value to the next in that time; or one of them, read on the other scale,
    /// would follow on from the other.
    fn is_leap(&self, step: Duration, before: Celsius, value: Celsius) -> bool {
        let by = |a: Celsius, b: Celsius| (a - b).0.abs();
        let joins = by(self.otherwise(value), before).min(by(value, self.otherwise(before))) <= JOINS.0;
        (step <= LEAP_WITHIN && by(value, before) >= LEAP.0)
            || (step <= JOINS_WITHIN && joins && by(value, before) >= APART.0)
    }

    /// A value whose number is read on the other scale than the header says.
    fn otherwise(&self, value: Celsius) -> Celsius {
        match self.column.scale {
            Scale::Celsius => Celsius::from_fahrenheit(value.0),
            Scale::Fahrenheit => Celsius(value.fahrenheit()),
        }
    }

    /// What is doubtful. `lows` are what was foretold or read of nights in the air.
    pub fn doubts(&self, site: &Site, zone: &Zone, lows: &BTreeMap<NightOf, Celsius>) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        doubts.extend(self.other_scale(site, zone, lows));
        if let Some((line, from, to)) = self.leaps {
            doubts.push(Doubt::Leaps { column: self.column.name.clone(), count: self.leap_count, line, from, to });
        }
        if self.column.medium != Medium::Soil && self.column.sampled == Sampled::Instant {
            let days = self.told(site, zone);
            doubts.extend(off_by_hours(&days));
            doubts.extend(jumps(&days, zone));
        }
        let step = self.steps.iter().max_by_key(|(_, count)| **count).map_or(0, |(step, _)| *step);
        let not_put_back = self.not_put_back(zone, step);
        let limit = SHORTEST_GAP.num_seconds().max(step * 5 / 2);
        let explained = |line: u64| {
            not_put_back.iter().any(|doubt| matches!(doubt, Doubt::NotPutBack { line: of, .. } if *of == line))
        };
        let gaps: Vec<_> = self
            .holes
            .iter()
            .filter(|(line, from, to)| (*to - *from).num_seconds() > limit && !explained(*line))
            .collect();
        if let Some((line, from, to)) = gaps.iter().max_by_key(|(_, from, to)| *to - *from) {
            doubts.push(Doubt::Gaps { count: gaps.len(), longest: *to - *from, from: *from, line: *line });
        }
        doubts.extend(not_put_back);
        doubts
    }

    /// Values that would be those of the garden on the other scale.
    fn other_scale(&self, site: &Site, zone: &Zone, lows: &BTreeMap<NightOf, Celsius>) -> Option<Doubt> {
        let says = self.column.scale;
        let doubt = |why: String| Some(Doubt::OtherScale { column: self.column.name.clone(), says, why });
        let (minima, maxima) = match self.column.sampled {
            Sampled::Instant => (false, false),
            Sampled::Minimum { .. } => (true, false),
            Sampled::Maximum { .. } => (false, true),
        };
        // A day's maximum, and what soil shows, is no low of a night.
        let has_lows = self.column.medium == Medium::Air && !maxima;
        let of_nights = self.days.iter().filter(|_| has_lows).filter_map(|(number, day)| {
            // The morning of a day belongs to the night of the evening before.
            let low = lows.get(&NightOf(date_of(*number)? - Duration::days(1)))?;
            Some((day.low, *low))
        });
        let pairs: Vec<(Celsius, Celsius)> = self.pairs.iter().copied().chain(of_nights).collect();
        let apart = |read: &dyn Fn(Celsius) -> Celsius| {
            median(pairs.iter().map(|(value, known)| (read(*value) - *known).0.abs()).collect())
        };
        if pairs.len() >= 3
            && let (Some(as_said), Some(other)) = (apart(&|value| value), apart(&|value| self.otherwise(value)))
            && as_said >= 8.0
            && other <= 4.0
        {
            return doubt(format!(
                "Of {} known temperatures it is {as_said:.0} C apart as it stands, and {other:.0} C read the other way",
                pairs.len()
            ));
        }
        if self.days.len() < 5 {
            return None;
        }
        let lows = median(self.days.values().map(|day| day.low.0).collect())?;
        let highs = median(self.days.values().map(|day| day.high.0).collect())?;
        // In a garden of which nothing is known yet the length of its nights says what cannot be.
        let middle = self.days.keys().nth(self.days.len() / 2).and_then(|number| date_of(*number))?;
        let (sunset, sunrise) = night_hours(site, zone, NightOf(middle));
        let is_winter = sunrise - sunset >= LONG_NIGHT;
        match says {
            Scale::Celsius if is_winter && lows >= WINTER_LOW && !maxima => {
                doubt(format!("Half of its days stay above {lows:.0} C, in long nights"))
            }
            Scale::Celsius if is_winter && highs >= WINTER_HIGH && maxima => {
                doubt(format!("Half of its days reach {highs:.0} C, in long nights"))
            }
            Scale::Celsius if lows >= 28.0 && !maxima => doubt(format!("Half of its days stay above {lows:.0} C")),
            Scale::Fahrenheit if highs < -2.0 && !minima && (0.0..45.0).contains(&self.otherwise(Celsius(highs)).0) => {
                doubt(format!("Half of its days stay below {:.0} F", Celsius(highs).fahrenheit()))
            }
            _ => None,
        }
    }

    /// Of each day that tells the time: its date, and how late its coldest and warmest hour come, minutes.
    fn told(&self, site: &Site, zone: &Zone) -> Vec<(NaiveDate, f64, f64)> {
        let told = |(number, day): (&i64, &Day)| {
            if day.high - day.low < SWING || day.hours.count_ones() < HOURS_SEEN {
                return None;
            }
            let date = date_of(*number)?;
            let (_, sunrise) = night_hours(site, zone, NightOf(date - Duration::days(1)));
            let noon = number * 86_400 + 43_200 - self.longitude_seconds;
            // A low of the evening before is an early one, not a late one: half a day on either side.
            let minutes = |(first, last): (i64, i64), of: i64| {
                let late = ((first + last) / 2 - of + 43_200).rem_euclid(86_400) - 43_200;
                late as f64 / 60.0
            };
            let warmest = noon + AFTER_NOON.num_seconds();
            Some((date, minutes(day.low_at, sunrise.timestamp()), minutes(day.high_at, warmest)))
        };
        self.days.iter().filter_map(told).collect()
    }

    fn not_put_back(&self, zone: &Zone, step: i64) -> Vec<Doubt> {
        let put_back = |(line, from, to): &(u64, DateTime<Utc>, DateTime<Utc>)| {
            let (before, after) = (zone.local(*from), zone.local(*to));
            let back = i64::from(before.offset().local_minus_utc() - after.offset().local_minus_utc());
            let is_one = back > 0 && step > 0 && ((*to - *from).num_seconds() - back - step).abs() < step;
            // The wall clocks of the log follow one another as if nothing had happened.
            is_one.then(|| Doubt::NotPutBack { line: *line, on: after.date_naive() })
        };
        self.holes.iter().filter_map(put_back).collect()
    }
}

/// Where nights are this long no garden has such nights and days (common knowledge of climates: the mildest Januaries outside
/// the tropics have lows near 18 °C and highs near 25 °C).
const LONG_NIGHT: Duration = Duration::hours(13);
const WINTER_LOW: f64 = 23.0;
const WINTER_HIGH: f64 = 36.0;

/// The warmest hour comes about this long after the sun is highest (general knowledge of the handbooks, from
/// memory; two to four hours in most places).
const AFTER_NOON: Duration = Duration::hours(3);

/// A zone that is this wrong is told from odd weather, minutes. Fronts bring many a day's low at its evening, so that honest
/// logs seem early, and hardly ever late: of seven American stations (hourly records of two to ten winters) three weeks of
/// such days came 215 minutes early at most, 53 early in the middle and 38 late at most.
const WRONG_ZONE: f64 = 150.0;
const DAYS_FOR_A_ZONE: usize = 7;
const LATE: f64 = 60.0;
const DAYS_FOR_LATE: usize = 21;

fn off_by_hours(days: &[(NaiveDate, f64, f64)]) -> Option<Doubt> {
    if days.len() < DAYS_FOR_A_ZONE {
        return None;
    }
    let lows = median(days.iter().map(|(_, low, _)| *low).collect())?;
    let highs = median(days.iter().map(|(_, _, high)| *high).collect())?;
    let late = (lows + highs) / 2.0;
    // Both must say so: a thermometer in the afternoon sun has its warmest hour late, and nothing else.
    let limit = if late > 0.0 && days.len() >= DAYS_FOR_LATE { LATE } else { WRONG_ZONE };
    let agree = lows * highs > 0.0 && lows.abs() > limit / 2.0 && highs.abs() > limit / 2.0;
    (agree && late.abs() >= limit).then(|| Doubt::OffByHours { hours: (late / 60.0).round() as i64, days: days.len() })
}

/// Days on each side of a change of clock, and how many of them must tell the time.
const DAYS_BESIDE: i64 = 21;
const DAYS_NEEDED: usize = 7;

fn jumps(days: &[(NaiveDate, f64, f64)], zone: &Zone) -> Vec<Doubt> {
    let offset =
        |date: NaiveDate| zone.local(zone.instant(date.and_time(chrono::NaiveTime::MIN))).offset().local_minus_utc();
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return Vec::new() };
    let changes = first
        .0
        .iter_days()
        .take_while(|date| *date < last.0)
        .filter(|date| offset(*date) != offset(*date + Duration::days(1)));
    changes
        .filter_map(|on| {
            let late = |from: NaiveDate, to: NaiveDate| {
                let some: Vec<_> = days.iter().filter(|(date, ..)| (from..to).contains(date)).collect();
                if some.len() < DAYS_NEEDED {
                    return None;
                }
                Some((median(some.iter().map(|day| day.1).collect())?, median(some.iter().map(|day| day.2).collect())?))
            };
            let before = late(on - Duration::days(DAYS_BESIDE), on)?;
            let after = late(on + Duration::days(1), on + Duration::days(DAYS_BESIDE + 1))?;
            let (low, high) = (after.0 - before.0, after.1 - before.1);
            let hour = f64::from((offset(on + Duration::days(1)) - offset(on)).abs()) / 60.0;
            // An hour, as far as weather lets see it; the coldest and the warmest hour agree.
            let is_one = |jump: f64| (jump.abs() - hour).abs() < 0.5 * hour;
            (low * high > 0.0 && is_one(low) && is_one(high))
                .then(|| Doubt::Jump { minutes: ((low + high) / 2.0).round() as i64, on })
        })
        .collect()
}

fn date_of(number: i64) -> Option<NaiveDate> {
    DateTime::from_timestamp(number.checked_mul(86_400)?, 0).map(|instant| instant.date_naive())
}

/// The middle value; `None` of nothing.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests;
