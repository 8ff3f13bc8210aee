//! Cold nights in words: the list of them with figures, and the whole story of one.

use super::journal_list::said as said_by;
use super::look_again::command;
use crate::beds::Garden;
use crate::journal::at_risk::AtRisk;
use crate::journal::event::{ColdNight, ForecastAtRound, Known, PlaceLow, Written, night_of, night_of_sample};
use crate::journal::{Damage, Place, What};
use crate::night::Estimate;
use crate::plan::Measure;
use crate::plan::said::{Said, SaidBed};
use crate::rounds::night_hours;
use crate::units::{Kelvins, Scale};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::fmt::Write as _;

fn estimate(estimate: &Estimate, shown: Scale) -> String {
    format!("{} +/- {}", estimate.mean.tenths(shown), estimate.spread.size(shown))
}

/// What was measured, and where.
fn measured(night: &ColdNight, shown: Scale) -> String {
    let look = if night.seen_through { "" } else { "look " };
    night.measured.as_ref().map_or("-".into(), |(low, place)| format!("{look}{} {place}", low.tenths(shown)))
}

/// A line for each cold night, the oldest first.
pub fn list_of_cold_nights(nights: &[ColdNight], known: &Known, garden: &Garden) -> String {
    if nights.is_empty() && known.foretold.is_empty() && known.whole.is_empty() {
        return format!(
            "Nothing is known of these nights of {}: no forecast is kept, and no low of a whole night.\n",
            garden.name
        );
    }
    if nights.is_empty() {
        return format!("No night of {} came below its most tender threshold, as far as it is known.\n", garden.name);
    }
    // A bed may have any name.
    let wide = nights.iter().map(|night| measured(night, garden.shown).chars().count()).fold(26, usize::max);
    let mut text = format!(
        "{:<11} {:<10} {:<18} {:<wide$} {:>5} {:>7}  damage found\n",
        "night", "harm from", "foretold", "measured", "asked", "covered"
    );
    for night in nights {
        let foretold = night.foretold.as_ref().map_or("-".into(), |low| estimate(low, garden.shown));
        let measured = measured(night, garden.shown);
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
            "{:<11} {begins:<10} {foretold:<18} {measured:<wide$} {:>5} {:>7}  {damage}",
            night.of.to_string(),
            night.asked,
            night.covered
        );
    }
    text.push_str("\nThe story of one: counterpane event DATE\n");
    text
}

/// The whole story of a night: what was foretold at each round, said, asked, done, measured and found. `cold` where it
/// came below the garden's most tender threshold, `at_risk` what it may have harmed; `now` tells a night to come from one of
/// which nothing is known.
pub fn story(
    of: NightOf,
    cold: Option<&ColdNight>,
    known: &Known,
    at_risk: &[AtRisk],
    garden: &Garden,
    now: DateTime<Utc>,
) -> String {
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
        None => text.push_str(not_cold(of, known, garden, now)),
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
    let whole: Vec<&PlaceLow> = known.whole.iter().filter(|low| low.night == of).collect();
    let is_seen = |low: &&PlaceLow| {
        let same = |whole: &&&PlaceLow| (whole.place.word(), whole.place.bed()) == (low.place.word(), low.place.bed());
        low.night == of && !whole.iter().any(|whole| same(&whole))
    };
    let looks = known.lows.iter().filter(is_seen).map(|low| a_low("coldest look", low, shown));
    let lows = whole.iter().map(|low| a_low("lowest of the night", low, shown));
    let doubted = known.doubted.iter().filter(|low| low.night == of).map(|low| {
        let low = a_low("lowest of the night", low, shown);
        format!("{low} is left out: it looks like a slip (counterpane learned asks about it)")
    });
    part("Measured", readings.chain(lows).chain(looks).chain(doubted).collect());
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
    let harm = known.reports().into_iter().filter(|report| report.damage.night == of).map(|report| report.written);
    let mut found: Vec<&Written> = gone.chain(harm).collect();
    found.sort_by_key(|written| written.entry.at);
    let dated = |written: &Written| {
        let day = garden.zone.local(written.entry.at).format("%Y-%m-%d");
        format!("{day}  {}", said_by(&written.entry.what, shown))
    };
    part("Found afterwards", found.into_iter().map(dated).collect());
    let reports = known.reports();
    let is_answered = |planting: &AtRisk| {
        let of_it = |damage: &Damage| damage.crop.as_ref().is_none_or(|crop| *crop == planting.crop);
        reports
            .iter()
            .any(|report| report.damage.night == of && report.damage.bed == planting.bed && of_it(report.damage))
    };
    let open: Vec<String> = at_risk
        .iter()
        .filter(|planting| !is_answered(planting))
        .map(|planting| command(garden, of, planting))
        .collect();
    if !open.is_empty() {
        part("At risk, and nobody has said what became of it (a number in place of 0-5)", open);
    }
    text
}

/// What can be said of a night that no forecast and no thermometer shows cold: a single look proves nothing.
fn not_cold(of: NightOf, known: &Known, garden: &Garden, now: DateTime<Utc>) -> &'static str {
    let (sunset, sunrise) = night_hours(&garden.site, &garden.zone, of);
    // As in the list of cold nights, what was foretold days before is no knowledge.
    let is_of_it = |round: &ForecastAtRound| round.night == of && round.is_of_its_day(garden.site.longitude);
    let is_foretold = known.foretold.iter().any(is_of_it);
    let is_air = |low: &PlaceLow| matches!(low.place, Place::Screen | Place::Bed { .. });
    let is_measured = known.whole.iter().any(|low| low.night == of && is_air(low));
    match (now < sunset, now < sunrise) {
        (true, _) if is_foretold => {
            "It has not begun; the last forecast has it above the garden's most tender threshold.\n"
        }
        (true, _) => {
            "It has not begun, and no forecast of its own day is kept: that does not mean that it stays mild.\n"
        }
        (_, true) if is_foretold => {
            "It is not over; as far as it is known it stays above the garden's most tender threshold.\n"
        }
        _ if !is_foretold && !is_measured => {
            "Nothing is known of how cold it came: no forecast of its day is kept, and no low of the whole night.\n"
        }
        _ => "As far as it is known it did not come below the garden's most tender threshold.\n",
    }
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

/// What the word of a morning asked.
fn a_morning(said: &Said, kept: &[String]) -> String {
    let beds = |of: &dyn Fn(&SaidBed) -> bool| -> Option<String> {
        let ids: Vec<&str> = said.beds.iter().filter(|bed| of(bed)).map(|bed| bed.bed.as_str()).collect();
        (!ids.is_empty()).then(|| ids.join(", "))
    };
    let stays = |bed: &SaidBed| kept.contains(&bed.bed);
    let off = beds(&|bed| bed.cover.is_some() && !stays(bed)).map(|beds| format!("uncover {beds}"));
    let out = beds(&|bed| bed.measure == Measure::BringIn && !stays(bed)).map(|beds| format!("carry {beds} back out"));
    let left = beds(&stays).map(|beds| format!("leave {beds} as it was"));
    let asked: Vec<String> = [off, out, left].into_iter().flatten().collect();
    if asked.is_empty() { "write down the low".into() } else { asked.join("; ") }
}

/// What a list asked, bed by bed, those with nothing to do left out.
fn a_list(said: &Said) -> String {
    if let Some(kept) = &said.kept {
        return a_morning(said, kept);
    }
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

fn a_low(what: &str, low: &PlaceLow, shown: Scale) -> String {
    format!("{what} {} {}", low.low.tenths(shown), low.place)
}

/// The last forecast without the evening's readings against the garden's screen.
fn errors(of: NightOf, known: &Known) -> Option<(String, Kelvins)> {
    let screen = known.whole.iter().find(|low| low.night == of && low.place == Place::Screen)?;
    let last = known.foretold.iter().rfind(|round| round.night == of && round.readings == 0)?;
    Some((format!("{} round", last.round.word()), screen.low - last.low.mean))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beds::sample::garden;
    use crate::journal::event::MostTender;
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
            lows: vec![PlaceLow { night: of, place: Place::Screen, low: Celsius(-5.0) }],
            whole: vec![PlaceLow { night: of, place: Place::Screen, low: Celsius(-4.0) }],
            ..Known::default()
        };
        let (first, error) = errors(of, &known).expect("an error");
        assert_eq!((first, error), (format!("{} round", RoundKind::Afternoon.word()), Kelvins(-3.0)));
    }

    fn round_of(of: NightOf, made_at: &str) -> ForecastAtRound {
        ForecastAtRound {
            night: of,
            made_at: made_at.parse().expect("an instant"),
            round: RoundKind::Afternoon,
            provider: None,
            issued: None,
            low: Estimate { mean: Celsius(9.0), spread: Kelvins(1.5) },
            feed_low: None,
            lead_hours: 12.0,
            cloud: 0.0,
            wind_10m: MetresPerSecond(1.0),
            clear_calm: 1.0,
            readings: 0,
        }
    }

    /// The sample garden lies at 78 W: its evening of 16 January begins after 22 UTC and ends before 13 UTC.
    #[test]
    fn a_night_of_which_nothing_is_known_does_not_read_as_mild() {
        let garden = garden(Vec::new(), Vec::new());
        let of = NightOf("2027-01-16".parse().expect("a date"));
        let foretold = |made_at| Known { foretold: vec![round_of(of, made_at)], ..Known::default() };
        let low = |place| PlaceLow { night: of, place, low: Celsius(9.0) };
        let a_look = Known { lows: vec![low(Place::Screen)], ..Known::default() };
        let whole = |place| Known { whole: vec![low(place)], ..Known::default() };
        let (before, during, after) = ("2027-01-16T20:00:00Z", "2027-01-17T03:00:00Z", "2027-01-17T18:00:00Z");
        for (known, now, says) in [
            (Known::default(), before, "It has not begun, and no forecast of its own day is kept"),
            (foretold("2027-01-13T18:00:00Z"), before, "It has not begun, and no forecast of its own day is kept"),
            (foretold("2027-01-16T18:00:00Z"), before, "It has not begun; the last forecast has it above"),
            (Known::default(), during, "Nothing is known of how cold it came"),
            (foretold("2027-01-16T18:00:00Z"), during, "It is not over; as far as it is known it stays above"),
            (Known::default(), after, "Nothing is known of how cold it came"),
            (a_look, after, "Nothing is known of how cold it came"),
            (whole(Place::Soil { bed: "R1".into() }), after, "Nothing is known of how cold it came"),
            (whole(Place::Screen), after, "As far as it is known it did not come below"),
            (foretold("2027-01-16T18:00:00Z"), after, "As far as it is known it did not come below"),
        ] {
            let text = story(of, None, &known, &[], &garden, now.parse().expect("an instant"));
            assert!(text.lines().nth(1).is_some_and(|line| line.starts_with(says)), "{now}: {says}: {text}");
        }
        let none = list_of_cold_nights(&[], &Known::default(), &garden);
        assert!(none.starts_with("Nothing is known of these nights"), "{none}");
    }

    #[test]
    fn a_long_name_of_a_bed_puts_no_column_out_of_line() {
        let garden = garden(Vec::new(), Vec::new());
        let night = |place| ColdNight {
            of: NightOf("2027-01-16".parse().expect("a date")),
            tender: MostTender { begins: Celsius(0.0), plant: None },
            foretold: None,
            measured: Some((Celsius(-3.0), place)),
            seen_through: true,
            asked: 7,
            covered: 4,
            worst: None,
            reports: 0,
        };
        let bed = Place::Bed { bed: "the long south border by the wall".into() };
        let text = list_of_cold_nights(&[night(Place::Screen), night(bed)], &Known::default(), &garden);
        let ends: Vec<usize> =
            text.lines().take(3).filter_map(|line| line.find("damage").or(line.find("no rep"))).collect();
        assert!(ends.len() == 3 && ends.iter().all(|end| *end == ends[0]), "{text}");
    }
}
