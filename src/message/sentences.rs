//! Sentences that several messages share: the night, where a forecast comes from, the words for organs and places.

use crate::beds::{Applied, Caution, OwnFigure};
use crate::crops::{Frame, Organ, Tolerance};
use crate::night::dose::Z_90;
use crate::night::{Estimate, FrostKind, Knowledge, Night, Remark};
use crate::plan::Plan;
use crate::units::{Celsius, Kelvins, Scale};
use crate::weather::Provider;
use crate::zone::Zone;
use chrono::{DateTime, Utc};

/// The range that holds the value four times in five.
pub(super) fn four_in_five(estimate: Estimate, scale: Scale) -> String {
    let reach = Kelvins(estimate.spread.0 * Z_90);
    format!("{} and {}", (estimate.mean - reach).whole(scale), (estimate.mean + reach).whole(scale))
}

/// When silence means trouble.
pub(super) fn next_word(zone: &Zone, by: DateTime<Utc>) -> String {
    format!(
        "The next message comes by {} {}. No message by then means: look yourself.",
        zone.local(by).format("%A %-d %B, %H:%M"),
        zone.abbreviation(by)
    )
}

/// From such a low on, how the cold comes is of no interest.
const NOT_WORTH_WORDS: Celsius = Celsius(8.0);

/// The night in a few lines.
pub(super) fn night(plan: &Plan<'_>, night: &Night, scale: Scale) -> Vec<String> {
    let zone = &plan.garden.zone;
    let at = zone.local(night.coldest_at());
    if night.minimum.mean > NOT_WORTH_WORDS && night.knowledge == Knowledge::Complete {
        let mut lines = vec![format!("Low {} near {}.", night.minimum.mean.whole(scale), at.format("%H:%M"))];
        lines.extend(night.remarks.iter().map(|remark| self::remark(*remark, zone, scale)));
        return lines;
    }
    let kind = match night.kind {
        FrostKind::Radiation => "A clear, still night: plants grow colder than the air, hollows coldest.",
        FrostKind::Advection => "A windy night: covers keep little heat and want heavy weights.",
        FrostKind::Mixed => {
            "Neither clear and still nor windy all night: plants may grow somewhat colder than the air."
        }
    };
    let mut lines = vec![format!(
        "Low {} near {} in the air at head height; four such nights in five end between {}.",
        night.minimum.mean.whole(scale),
        at.format("%H:%M"),
        four_in_five(night.minimum, scale)
    )];
    if !plan.is_quiet() {
        lines.push(kind.into());
    }
    let coldest = plan.beds.iter().filter_map(|bed| Some((bed, bed.risk.night.as_ref()?.tissue.mean)));
    let coldest = coldest.min_by(|(_, a), (_, b)| a.0.total_cmp(&b.0));
    // Where nothing is in danger, or leaves are about as warm as the air, the low has said it.
    let tells = |tissue: Celsius| !plan.is_quiet() && tissue < night.minimum.mean - Kelvins(1.0);
    if let Some((bed, tissue)) = coldest.filter(|(_, tissue)| tells(*tissue)) {
        let place = bed.risk.bed.title();
        lines.push(format!("Uncovered leaves fall to about {} in the coldest bed, {place}.", tissue.whole(scale)));
    }
    if let Knowledge::Incomplete { longest_hole_hours, .. } = night.knowledge {
        lines.push(format!(
            "The forecast lacks hours of this night (up to {:.0} hours between two of them): no bed can be called safe.",
            longest_hole_hours + 1.0
        ));
    }
    lines.extend(night.remarks.iter().map(|remark| self::remark(*remark, zone, scale)));
    lines
}

/// A learned shift that is warmer than is believed.
pub(super) fn capped(learned: Kelvins, used: Kelvins, scale: Scale) -> String {
    format!(
        "learned {}, used {}: warmer than that is not believed; check the thermometer",
        learned.signed(scale),
        used.signed(scale)
    )
}

/// A reading that differs by less is as the forecast had it (a garden's thermometer shows no more, assumed).
const AS_FORECAST: Kelvins = Kelvins(0.5);

fn remark(remark: Remark, zone: &Zone, scale: Scale) -> String {
    match remark {
        Remark::WindAssumed => "The forecast has no wind; a still night is assumed.".into(),
        Remark::SkyAssumed => "The forecast has no cloud; a clear sky is assumed.".into(),
        Remark::DewPointAssumed => "The forecast has no humidity; dry air is assumed.".into(),
        Remark::IssueUnknown => "The forecast does not say when it was made; it is trusted less.".into(),
        Remark::Old { hours } => format!("The forecast is {hours:.0} hours old; it is trusted less."),
        Remark::ReadingMoved { at, air, by, from, to } => {
            let against = if by.0.abs() < AS_FORECAST.0 {
                "about as the forecast of that hour".to_string()
            } else {
                let side = if by.0 < 0.0 { "below" } else { "above" };
                let size = match scale {
                    Scale::Celsius => by.size(scale),
                    Scale::Fahrenheit => format!("{:.0} F", by.0.abs() * 1.8),
                };
                format!("about {size} {side} the forecast of that hour")
            };
            let (from, to) = (fine(from, scale), fine(to, scale));
            let moved = if from == to { String::new() } else { format!(": readings move the low from {from} to {to}") };
            let at = zone.local(at).format("%H:%M");
            format!("The garden's thermometer showed {} at {at}, {against}{moved}.", air.whole(scale))
        }
        Remark::ReadingLeftOut { at, air, by, more } => {
            let others = match more {
                0 => String::new(),
                1 => ", nor was one more like it".into(),
                more => format!(", nor were {more} more like it"),
            };
            format!(
                "The reading {} at {} was not used{others}: {} warmer than the forecast. If it is right, the night is \
                 milder than this says; if it is a slip, correct it, for nothing warns of frost by it.",
                air.whole(scale),
                zone.local(at).format("%H:%M"),
                by.size(scale)
            )
        }
        Remark::ReadingSure { at, air, by } => format!(
            "The reading {} at {} counts although it is {} warmer than the forecast: whoever read it said that it is right.",
            air.whole(scale),
            zone.local(at).format("%H:%M"),
            by.size(scale)
        ),
        Remark::LearnedShift { by, nights } => format!(
            "{} of this garden {} taught that its lows come {} {} than the forecast says, and that is counted in.",
            if nights == 1 { "1 night".into() } else { format!("{nights} nights") },
            if nights == 1 { "has" } else { "have" },
            by.size(scale),
            if by.0 < 0.0 { "colder" } else { "warmer" }
        ),
        Remark::LearnedCapped { learned, used } => {
            format!("What past nights have taught of this forecast: {}.", capped(learned, used, scale))
        }
        Remark::FeedsDisagree { by } => {
            format!("Another feed expects a night {} warmer; the colder one is taken.", by.size(scale))
        }
        Remark::ColderByDay { low, at } => format!(
            "It gets colder by day than in this night: {} on {}. Covers and pots stay as they are until that is over.",
            low.whole(scale),
            zone.local(at).format("%A at %H:%M")
        ),
        Remark::ReadingOnly => "There is no usable forecast: this rests on the evening's thermometer alone.".into(),
        Remark::HandGiven => "This rests on one low given by hand; a clear, still night is assumed.".into(),
    }
}

/// "even: work is asked from a chance of damage of 10 % on, and a minute of worth lost counts as much as one of work".
pub fn caution(caution: Caution) -> String {
    let counts = match caution {
        Caution::Sparing => "half as much as",
        Caution::Even => "as much as",
        Caution::Careful => "twice as much as",
    };
    let from = caution.fine_below().percent();
    let word = caution.word();
    format!(
        "{word}: work is asked from a chance of damage of {from} on, and a minute of worth lost counts {counts} one of work"
    )
}

pub(super) fn minutes(count: f64) -> String {
    match count.round() {
        1.0 => "a minute".into(),
        count => format!("{count:.0} minutes"),
    }
}

/// Two temperatures that are compared want steps of about half a kelvin; a whole degree Celsius is too coarse.
pub(super) fn fine(temperature: Celsius, scale: Scale) -> String {
    match scale {
        Scale::Celsius => temperature.tenths(scale),
        Scale::Fahrenheit => temperature.whole(scale),
    }
}

/// The organs of many plants, as growers say it.
pub(super) fn parts(organ: Organ) -> &'static str {
    match organ {
        Organ::Leaf => "leaves",
        Organ::Head => "heads",
        Organ::Curd => "curds",
        Organ::Pod => "pods",
        Organ::Flower => "blossom",
        Organ::Fruit => "fruit",
        Organ::Bulb => "bulbs",
        Organ::Root => "roots",
        Organ::Tuber => "tubers",
        Organ::Crown => "crowns",
    }
}

/// Where a threshold is felt, as a grower says it.
pub(super) fn frame(frame: Frame) -> &'static str {
    match frame {
        Frame::ScreenAir => "air",
        Frame::Tissue => "plant",
        Frame::Soil => "soil",
    }
}

/// Source and age.
pub(super) fn provenance(plan: &Plan<'_>, night: &Night) -> String {
    let zone = &plan.garden.zone;
    let provider = match &night.provider {
        None => return "Source: the garden's own thermometer.".into(),
        Some(Provider::HandGivenLow) => return "Source: a low given by hand.".into(),
        Some(provider) => provider,
    };
    let issued = match (night.issued, night.fetched) {
        (Some(issued), _) => {
            let age = (plan.made_at - issued).num_minutes().max(0);
            let at = zone.local(issued).format("%A %H:%M");
            format!("issued {at} {}, {} old", zone.abbreviation(issued), age_in_words(age))
        }
        (None, Some(fetched)) => {
            let age = (plan.made_at - fetched).num_minutes().max(0);
            format!("fetched {} ago", age_in_words(age))
        }
        (None, None) => "age unknown".into(),
    };
    format!("Forecast: {provider}, {issued}.")
}

fn age_in_words(minutes: i64) -> String {
    match minutes {
        ..=1 => "a minute".into(),
        2..=119 => format!("{minutes} minutes"),
        _ => format!("{} hours", (minutes + 30) / 60),
    }
}

/// Evidence of a threshold, as one clause.
pub(super) fn evidence(tolerance: &Tolerance, applied: &Applied) -> String {
    let mark = |figure, word| match applied.learned {
        _ if applied.is_own(figure) => "your figure",
        Some(_) => "learned here",
        None => word,
    };
    format!(
        "{} / {}, {}",
        mark(OwnFigure::DamageBegins, tolerance.evidence.damage_begins.word()),
        mark(OwnFigure::Severe, tolerance.evidence.severe.word()),
        tolerance.sources.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_that_moved_the_low_is_named_with_the_forecast_of_its_hour() {
        let zone = Zone::bundled(chrono_tz::America::New_York).expect("a zone");
        let at = "2027-01-17T00:30:00Z".parse().expect("an instant");
        let say = |by: f64, to: f64| {
            let remark =
                Remark::ReadingMoved { at, air: Celsius(-1.0), by: Kelvins(by), from: Celsius(-6.0), to: Celsius(to) };
            super::remark(remark, &zone, Scale::Fahrenheit)
        };
        assert_eq!(
            say(-2.8, -8.3),
            "The garden's thermometer showed 30 F at 19:30, about 5 F below the forecast of that hour: readings move the \
             low from 21 F to 17 F."
        );
        assert!(say(0.2, -8.3).contains("about as the forecast of that hour: readings move"));
        assert!(say(4.0, -6.0).ends_with("about 7 F above the forecast of that hour."), "{}", say(4.0, -6.0));
    }
}
