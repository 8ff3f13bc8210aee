//! Cold nights in words: the list of them with figures, and the whole story of one.

use super::journal_list::said as said_by;
use crate::beds::Garden;
use crate::journal::event::{ColdNight, ForecastAtRound, Known, PlaceLow, Written, night_of, night_of_sample};
use crate::journal::{Place, What};
use crate::night::Estimate;
use crate::plan::Measure;
use crate::plan::said::Said;
use crate::rounds::night_hours;
use crate::units::{Kelvins, Scale};
use crate::zone::NightOf;
use chrono::Duration;
use std::fmt::Write as _;

fn estimate(estimate: &Estimate, shown: Scale) -> String {
    format!("{} +/- {}", estimate.mean.tenths(shown), estimate.spread.size(shown))
}

/// A line for each cold night, the oldest first.
pub fn list_of_cold_nights(nights: &[ColdNight], garden: &Garden) -> String {
    if nights.is_empty() {
        return format!("No night of {} came below its most tender threshold, as far as it is known.\n", garden.name);
    }
    let mut text = format!(
        "{:<11} {:<10} {:<18} {:<26} {:>5} {:>7}  damage found\n",
        "night", "harm from", "foretold", "measured", "asked", "covered"
    );
    for night in nights {
        let foretold = night.foretold.as_ref().map_or("-".into(), |low| estimate(low, garden.shown));
        let measured =
            night.measured.as_ref().map_or("-".into(), |(low, place)| format!("{} {place}", low.tenths(garden.shown)));
        let damage = match &night.worst {
            None => "no report".to_string(),
            Some(worst) => {
                let reports = if night.reports == 1 { "1 report".into() } else { format!("{} reports", night.reports) };
                format!("{reports}, worst class {} at bed {}", worst.class.number(), worst.bed)
            }
        };
        let begins = night.tender.begins.tenths(garden.shown);
        let _ = writeln!(
            text,
            "{:<11} {begins:<10} {foretold:<18} {measured:<26} {:>5} {:>7}  {damage}",
            night.of.to_string(),
            night.asked,
            night.covered
        );
    }
    text.push_str("\nThe story of one: counterpane event DATE\n");
    text
}

/// The whole story of a night: what was foretold at each round, said, asked, done, measured and found. `cold` where it
/// came below the garden's most tender threshold.
pub fn story(of: NightOf, cold: Option<&ColdNight>, known: &Known, garden: &Garden) -> String {
    let shown = garden.shown;
    let clock = |at| garden.zone.local(at).format("%a %H:%M").to_string();
    let mut text = format!("The night of {} at {}\n", of.0.format("%A %-d %B %Y"), garden.name);
    match cold {
        Some(cold) => {
            let plant = cold
                .tender
                .plant
                .as_ref()
                .map_or("where water freezes".into(), |(bed, crop)| format!("{crop} in bed {bed}, not hardened"));
            let _ = writeln!(text, "A cold night: below {} ({plant}).", cold.tender.begins.tenths(shown));
        }
        None => text.push_str("As far as it is known it did not come below the garden's most tender threshold.\n"),
    }
    let mut part = |title: &str, lines: Vec<String>| {
        let _ = writeln!(text, "\n{title}");
        if lines.is_empty() {
            text.push_str("  nothing is written\n");
        }
        for line in lines {
            let _ = writeln!(text, "  {line}");
        }
    };
    let foretold = known.foretold.iter().filter(|round| round.night == of);
    part("Foretold for the garden's screen", foretold.map(|round| a_round(round, shown, &clock)).collect());
    let said: Vec<&Said> = known.said.iter().filter(|(night, _)| *night == of).map(|(_, said)| said).collect();
    part("Said", said.iter().map(|said| format!("{}  {}", clock(said.at), a_list(said))).collect());
    let longitude = garden.site.longitude;
    let of_night = |written: &&Written| {
        let night = match &written.entry.what {
            What::Reading(reading) => night_of_sample(written.entry.at, reading.of, longitude),
            _ => night_of(written.entry.at, longitude),
        };
        written.stands() && night == of
    };
    let entries = || known.entries.iter().filter(of_night);
    let is_cover = |written: &&Written| matches!(written.entry.what, What::Covered(_) | What::Uncovered(_));
    let line = |written: &Written| format!("{}  {}", clock(written.entry.at), said_by(&written.entry.what, shown));
    part("Covers laid and taken off", entries().filter(is_cover).map(line).collect());
    let readings = entries().filter(|written| matches!(written.entry.what, What::Reading(_))).map(line);
    let lows = known.lows.iter().filter(|low| low.night == of).map(|low| a_low(low, shown));
    let doubted = known.doubted.iter().filter(|low| low.night == of).map(|low| {
        format!("{} is left out: it looks like a slip (counterpane learned asks about it)", a_low(low, shown))
    });
    part("Measured", readings.chain(lows).chain(doubted).collect());
    if let Some((first, low)) = errors(of, known) {
        let sign = low.signed(shown);
        part("Forecast against thermometer", vec![format!("{first}: measured less foretold {sign}")]);
    }
    let picked = entries().filter(|written| matches!(written.entry.what, What::Harvested(_))).map(line);
    part("Picked", picked.collect());
    let (sunset, sunrise) = night_hours(&garden.site, &garden.zone, of);
    let gone = known.entries.iter().filter(|written| {
        written.stands()
            && matches!(written.entry.what, What::Lost(_) | What::Resown(_))
            && (sunset..=sunrise + Duration::days(14)).contains(&written.entry.at)
    });
    let harm = known.reports(garden).into_iter().filter(|report| report.night == of).map(|report| {
        let moved = if report.damage.night == of { "" } else { "; by what was found before it, of this night" };
        (report.written, moved)
    });
    let mut found: Vec<(&Written, &str)> = gone.map(|written| (written, "")).chain(harm).collect();
    found.sort_by_key(|(written, _)| written.entry.at);
    let dated = |(written, moved): (&Written, &str)| {
        let day = garden.zone.local(written.entry.at).format("%Y-%m-%d");
        format!("{day}  {}{moved}", said_by(&written.entry.what, shown))
    };
    part("Found afterwards", found.into_iter().map(dated).collect());
    text
}

fn a_round(round: &ForecastAtRound, shown: Scale, clock: &dyn Fn(chrono::DateTime<chrono::Utc>) -> String) -> String {
    let from = round.provider.as_deref().unwrap_or("readings alone");
    let feed = round.feed_low.map_or(String::new(), |low| format!(", the feed itself {}", low.tenths(shown)));
    format!(
        "{}  {:<9} {}  ({from}{feed}; day {}, {} sky)",
        clock(round.made_at),
        round.round.word(),
        estimate(&round.low, shown),
        round.lead_day(),
        round.sky().word()
    )
}

/// What a list asked, bed by bed, those with nothing to do left out.
fn a_list(said: &Said) -> String {
    let asked: Vec<String> = said
        .beds
        .iter()
        .filter(|bed| bed.measure != Measure::Fine)
        .map(|bed| {
            let cover = bed.cover.as_ref().map_or(String::new(), |cover| format!(" with {cover}"));
            format!("{} {}{cover}", bed.bed, bed.measure.word())
        })
        .collect();
    if asked.is_empty() { "nothing to do".into() } else { asked.join("; ") }
}

fn a_low(low: &PlaceLow, shown: Scale) -> String {
    format!("lowest of the night {} {}", low.low.tenths(shown), low.place)
}

/// The last forecast without the evening's readings against the garden's screen.
fn errors(of: NightOf, known: &Known) -> Option<(String, Kelvins)> {
    let screen = known.lows.iter().find(|low| low.night == of && low.place == Place::Screen)?;
    let last = known.foretold.iter().rfind(|round| round.night == of && round.readings == 0)?;
    Some((format!("{} round", last.round.word()), screen.low - last.low.mean))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rounds::RoundKind;
    use crate::units::{Celsius, MetresPerSecond};

    /// What the evening's thermometer has corrected is no forecast any more.
    #[test]
    fn the_error_is_that_of_the_last_forecast_without_readings() {
        let of = NightOf(chrono::NaiveDate::default());
        let round = |round, low: f64, readings| ForecastAtRound {
            night: of,
            made_at: chrono::DateTime::UNIX_EPOCH,
            round,
            provider: None,
            issued: None,
            low: Estimate { mean: Celsius(low), spread: Kelvins(1.5) },
            feed_low: None,
            lead_hours: 12.0,
            cloud: 0.0,
            wind_10m: MetresPerSecond(1.0),
            clear_calm: 1.0,
            readings,
        };
        let rounds = [(RoundKind::Morning, 1.0, 0), (RoundKind::Afternoon, -1.0, 0), (RoundKind::Dusk, -3.0, 2)];
        let known = Known {
            foretold: rounds.map(|(kind, low, readings)| round(kind, low, readings)).into(),
            lows: vec![PlaceLow { night: of, place: Place::Screen, low: Celsius(-4.0) }],
            ..Known::default()
        };
        let (first, error) = errors(of, &known).expect("an error");
        assert_eq!((first, error), (format!("{} round", RoundKind::Afternoon.word()), Kelvins(-3.0)));
    }
}
