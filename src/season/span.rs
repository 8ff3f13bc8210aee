//! From when to when a season goes.

use crate::zone::NightOf;
use chrono::{Datelike, NaiveDate};

/// The nights of one season, both included. Its ends lie in summer, so that a winter is whole: north of the equator from
/// 1 July to 30 June, south of it from 1 January to 31 December.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    pub first: NightOf,
    pub last: NightOf,
}

/// Years that a season may begin in.
const YEARS: std::ops::RangeInclusive<i32> = 1970..=2199;

impl Span {
    /// Reads `2026-27` or `2026-2027` north of the equator, `2027` south of it, or says how it is written.
    ///
    /// ```
    /// # use counterpane::season::Span;
    /// let north = Span::parse("2026-27", 36.0);
    /// assert_eq!(north.as_ref().map(|span| span.last.to_string()), Ok("2027-06-30".into()));
    /// let south = Span::parse("2027", -36.0);
    /// assert_eq!(south.map(|span| span.first.to_string()), Ok("2027-01-01".into()));
    /// assert!(Span::parse("2026-28", 36.0).is_err());
    /// ```
    pub fn parse(text: &str, latitude: f64) -> Result<Span, String> {
        let is_north = latitude >= 0.0;
        let unknown = || {
            let how = if is_north {
                "write the winter's two years, such as 2026-27: a season goes from 1 July to 30 June"
            } else {
                "write its year, such as 2027: south of the equator a season goes from 1 January to 31 December"
            };
            format!("\"{text}\" is no season; {how}")
        };
        let year = |text: &str| {
            let is_year = text.len() == 4 && text.bytes().all(|digit| digit.is_ascii_digit());
            text.parse().ok().filter(|year| is_year && YEARS.contains(year))
        };
        let span = if is_north {
            text.split_once('-').and_then(|(from, to)| {
                let from = year(from)?;
                let next = (from + 1).to_string();
                let matches = to == next || next.get(2..) == Some(to);
                matches.then(|| Span::between((from, 7, 1), (from + 1, 6, 30))).flatten()
            })
        } else {
            year(text).and_then(|year| Span::between((year, 1, 1), (year, 12, 31)))
        };
        span.ok_or_else(unknown)
    }

    fn between(first: (i32, u32, u32), last: (i32, u32, u32)) -> Option<Span> {
        let date = |(year, month, day)| NaiveDate::from_ymd_opt(year, month, day).map(NightOf);
        Some(Span { first: date(first)?, last: date(last)? })
    }

    /// As it is written on the command line.
    pub fn name(&self) -> String {
        let (from, to) = (self.first.0.year(), self.last.0.year());
        if from == to { from.to_string() } else { format!("{from}-{:02}", to % 100) }
    }

    /// Its nights, the first first.
    pub fn nights(&self) -> impl Iterator<Item = NightOf> {
        self.first.0.iter_days().take_while(|date| *date <= self.last.0).map(NightOf)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_season_is_read_as_it_is_named() {
        for (text, latitude, nights) in [
            ("2026-27", 36.0, 365),
            ("2027-2028", 36.0, 366),
            ("1999-00", 0.0, 366),
            ("2027", -0.1, 365),
            ("2028", -36.0, 366),
        ] {
            let span = Span::parse(text, latitude).expect(text);
            assert_eq!(span.nights().count(), nights, "{text}");
            assert_eq!(Span::parse(&span.name(), latitude), Ok(span), "{text}");
        }
    }

    #[test]
    fn what_is_no_season_is_answered_with_how_one_is_written() {
        for text in [
            "",
            "2027",
            "2026-28",
            "2026/27",
            "26-27",
            "2026-",
            "2026-1927",
            " 2026-27",
            "1969-70",
            "2200-01",
            "+026-27",
        ] {
            let answer = Span::parse(text, 36.0).expect_err(text);
            assert!(answer.ends_with("such as 2026-27: a season goes from 1 July to 30 June"), "{answer}");
        }
        for text in ["2026-27", "27", "x"] {
            let answer = Span::parse(text, -36.0).expect_err(text);
            assert!(answer.contains("such as 2027"), "{answer}");
        }
    }
}
