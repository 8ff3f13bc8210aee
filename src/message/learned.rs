//! What nights have taught, in words: published, learned and in use side by side, and what is asked about.

use super::sentences::capped;
use crate::beds::{self, Garden};
use crate::crops::Frame;
use crate::learn::Figure;
use crate::learn::doubt::Doubt;
use crate::learn::forecast::Sky;
use crate::learn::tolerance;
use crate::lessons::Confirmed;
use crate::lessons::figures::{InUse, Kind, Row, asked};
use crate::lessons::tolerances::{Aside, Part, Why};
use crate::units::{Celsius, Scale};
use crate::zone::NightOf;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;

/// The list of `counterpane learned`: figures, and reports of harm that taught nothing.
pub fn list(
    rows: &[Row],
    aside: &[Aside],
    left_on: &BTreeMap<String, NightOf>,
    sure: &Confirmed,
    garden: &Garden,
) -> String {
    let scale = garden.shown;
    let mut text = String::new();
    // Writing to a text in memory cannot fail.
    let mut line = |content: &str| writeln!(text, "{content}").unwrap_or_default();
    if rows.is_empty() && aside.is_empty() {
        line(&format!("Nothing has been learned in {} yet: published figures are used.", garden.name));
        line("A night teaches once a thermometer at the garden's screen has seen the whole of it:");
        line("a minimum that was read in the morning (counterpane reading 27F --min), or a logger's rows.");
        return text;
    }
    line(&format!("What the nights of {} have taught", garden.name));
    if rows.is_empty() {
        line("   Nothing yet: published figures are used.");
    }
    for row in rows {
        line("");
        line(&format!("{}  {}", row.name, what(&row.kind)));
        let figure = |shift: Figure| figure(&row.kind, shift, scale);
        line(&format!("   published {}", figure(row.learned.published)));
        match row.learned.nights.as_slice() {
            [] => match row.pooled {
                Some(nights) => line(&format!(
                    "   learned   {}, from {nights} nights of other beds; nothing of its own yet",
                    figure(row.learned.learned)
                )),
                None => line("   learned   nothing of its own yet"),
            },
            [only] => line(&format!("   learned   {}, from 1 night: {only}", figure(row.learned.learned))),
            [first, .., last] => line(&format!(
                "   learned   {}, from {} nights: {first} to {last}",
                figure(row.learned.learned),
                row.learned.nights.len()
            )),
        }
        line(&match row.in_use {
            InUse::Published => "   in use    as published".into(),
            InUse::AtOnce(used) if used.mean != row.learned.learned.mean => {
                let capped = capped(row.learned.learned.mean, used.mean, scale);
                format!("   in use    {}, at once; {capped}", figure(used))
            }
            InUse::AtOnce(used) => format!("   in use    {}, at once", figure(used)),
            InUse::Accepted(used) => format!("   in use    {}, as accepted", figure(used)),
            InUse::File => "   in use    as the garden's file has it, which goes before".into(),
        });
        if let Kind::Forecast { factor: (learned, used), .. } = row.kind {
            line(&format!("   spread    published times 1.00, learned times {learned:.2}, used times {used:.2}"));
        }
        if let Kind::Tolerance(part) = &row.kind
            && !row.learned.nights.is_empty()
            && tolerance::used(part.published, row.learned.learned).mean.0 > row.learned.learned.mean.0
        {
            let most = figure(tolerance::used(part.published, row.learned.learned));
            line(&format!("   would act {most}: hardier than that is not believed; was it covered?"));
        }
        if waits(row) {
            line(&format!("   to use it: counterpane learned accept {}", row.name));
        }
    }
    if rows.iter().any(|row| matches!(row.kind, Kind::Tolerance(_))) {
        line("");
        line("Of what crops stand: a bed counts as covered where the journal says so, else as open. Look through its");
        line("nights before you accept: a cover that nobody wrote down makes a crop look hardier than it is.");
    }
    if !aside.is_empty() {
        line("");
        line("Reports of harm that teach nothing");
        for Aside { night, bed, crop, sowing, why } in aside {
            let crop = beds::named(crop.as_deref().unwrap_or("the whole bed"), sowing.as_ref());
            line(&format!("   {night}, bed {bed}, {crop}: {}", why_not(*why)));
        }
    }
    if !left_on.is_empty() {
        line("");
        line(
            "Covers that nobody wrote off: until it is written down, no night from then on teaches anything of the bed",
        );
        line("(counterpane covered BED --uncovered --at TIME)");
        for (bed, since) in left_on {
            line(&format!("   bed {bed}: not known since {since}"));
        }
    }
    let questions = asked(rows, garden);
    if !questions.is_empty() {
        line("");
        line("Set aside until somebody says that it is right");
        for question in &questions {
            line(&format!("   {}, {}: {}", question.night, named(&question.of), doubted(question.doubt, scale)));
            if question.doubt.can_be_confirmed() {
                line(&format!("      if it is right: counterpane learned accept {}", question.name()));
            }
        }
        line("   If it was a slip, strike the entry (counterpane journal, then counterpane correct NUMBER).");
    }
    if !sure.is_empty() {
        line("");
        line("Counted by the word of whoever read it (--sure), however doubtful");
        for (night, of) in sure {
            line(&format!("   {night}, {}", named(of)));
        }
    }
    text
}

/// A thermometer or a report in a sentence.
fn named(of: &str) -> String {
    match of.split_once(':') {
        None => "the garden's screen".into(),
        Some(("bed", bed)) => format!("bed {bed}"),
        Some(("under-cover", bed)) => format!("under the cover of bed {bed}"),
        Some(("harm", of)) => {
            of.rsplit_once(':').map_or(of.into(), |(bed, crop)| format!("harm to {crop} in bed {bed}"))
        }
        Some(_) => of.into(),
    }
}

/// Whether there is something to accept: learned, and not what acts already.
fn waits(row: &Row) -> bool {
    let news = !row.learned.nights.is_empty() || row.pooled.is_some();
    let would_act = match &row.kind {
        Kind::Tolerance(part) => tolerance::used(part.published, row.learned.learned),
        Kind::Forecast { .. } | Kind::Bed { .. } | Kind::Cover(_) => row.learned.learned,
    };
    match row.in_use {
        InUse::Published => news,
        InUse::Accepted(used) => news && used != would_act,
        InUse::AtOnce(_) | InUse::File => false,
    }
}

fn what(kind: &Kind) -> String {
    match kind {
        Kind::Forecast { provider, lead_day, sky, .. } => {
            let sky = match sky {
                Sky::ClearCalm => "clear, calm nights",
                Sky::Other => "other nights",
            };
            format!("added to lows of {provider}, lead day {lead_day}, {sky}")
        }
        Kind::Bed { bed } => format!("air at bed {bed} against the garden's screen on a clear, calm night"),
        Kind::Cover(cover) => format!("gain of {} on a still night after a sunny day", cover.name()),
        Kind::Tolerance(Part { crop_name, stage, organ, .. }) => {
            format!("where frost begins to harm {crop_name}, {stage}, by its {}, and where it is severe", organ.word())
        }
    }
}

fn why_not(why: Why) -> String {
    match why {
        Why::NotThere => "the garden's file has no such bed or crop, or not yet on that night".into(),
        Why::Several => {
            "several crops or stages stand there; a report of one of them teaches (damage BED CROP CLASS --sowing)"
                .into()
        }
        Why::OtherFrame(Frame::Soil) => {
            "what harms it is reckoned by the temperature of the soil, and no minimum of that was read that night"
                .into()
        }
        Why::OtherFrame(_) => {
            "what harms it is reckoned by the temperature of the plant itself, which no thermometer here shows: such \
             figures do not learn"
                .into()
        }
        Why::NoSuchPart => "frost harms nothing of weight in that stage".into(),
        Why::NoLow => "no thermometer at the bed or the garden's screen saw that night through".into(),
        Why::NoRound => "no round foretold that night, so its sky and wind are not known".into(),
        Why::UnknownCover => "something lay on the bed, or may have, and what it gained is not known".into(),
    }
}

/// Of a tolerance the thresholds themselves, of all else the difference.
fn figure(kind: &Kind, figure: Figure, scale: Scale) -> String {
    if let Kind::Tolerance(Part { published, .. }) = kind {
        let at = |threshold: Celsius| (threshold + figure.mean).tenths(scale);
        let (begins, severe) = (at(published.damage_begins), at(published.severe));
        return format!("{begins} / {severe} (spread {})", figure.spread.size(scale));
    }
    format!("{} (spread {})", figure.mean.signed(scale), figure.spread.size(scale))
}

fn doubted(doubt: Doubt, scale: Scale) -> String {
    match doubt {
        Doubt::Unusable => "no number, or one that cannot be".into(),
        Doubt::SensorError => "a value that a sensor shows when it has not measured".into(),
        Doubt::LooksLikeFahrenheit { would_be } => {
            format!("looks like degrees Fahrenheit taken for Celsius; it would be {}", would_be.tenths(scale))
        }
        Doubt::LooksLikeCelsius { would_be } => {
            format!("looks like degrees Celsius taken for Fahrenheit; it would be {}", would_be.tenths(scale))
        }
        Doubt::FarOff { spreads } => format!("{spreads:.0} standard deviations from what was to be expected"),
    }
}

/// The same for other programs. Differences are in kelvins, whatever the garden is shown; of a tolerance they are what both
/// thresholds are moved by, and the catalogue's stand beside them.
pub fn document(rows: &[Row], aside: &[Aside], left_on: &BTreeMap<String, NightOf>, garden: &Garden) -> Value {
    let figure = |figure: Figure| json!({ "mean_k": figure.mean.0, "spread_k": figure.spread.0 });
    let rows: Vec<Value> = rows
        .iter()
        .map(|row| {
            let (in_use, used) = match row.in_use {
                InUse::Published => ("published", row.learned.published),
                InUse::AtOnce(used) => ("at-once", used),
                InUse::Accepted(used) => ("accepted", used),
                InUse::File => ("garden-file", row.learned.published),
            };
            let asked = row.questions(garden).into_iter().map(|question| {
                json!({
                    "name": question.name(),
                    "night": question.night.to_string(),
                    "doubt": doubted(question.doubt, Scale::Celsius),
                    "can_be_confirmed": question.doubt.can_be_confirmed(),
                })
            });
            let factor = match row.kind {
                Kind::Forecast { factor: (learned, used), .. } => json!({ "learned": learned, "used": used }),
                Kind::Bed { .. } | Kind::Cover(_) | Kind::Tolerance(_) => Value::Null,
            };
            let thresholds = match &row.kind {
                Kind::Tolerance(Part { published, .. }) => {
                    json!({ "damage_begins": published.damage_begins.0, "severe": published.severe.0 })
                }
                Kind::Forecast { .. } | Kind::Bed { .. } | Kind::Cover(_) => Value::Null,
            };
            json!({
                "figure": row.name,
                "published": figure(row.learned.published),
                "learned": figure(row.learned.learned),
                "used": figure(used),
                "in_use": in_use,
                "spread_factor": factor,
                "published_c": thresholds,
                "nights": row.learned.nights.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "asked": asked.collect::<Vec<_>>(),
                "nights_of_other_beds": row.pooled,
                "waits": waits(row),
            })
        })
        .collect();
    let aside: Vec<Value> = aside
        .iter()
        .map(|Aside { night, bed, crop, sowing, why }| {
            json!({ "night": night.to_string(), "bed": bed, "crop": crop, "sowing": sowing, "why": why_not(*why) })
        })
        .collect();
    let left_on: Vec<Value> =
        left_on.iter().map(|(bed, since)| json!({ "bed": bed, "not_known_since": since.to_string() })).collect();
    json!({ "garden": garden.id, "figures": rows, "teach_nothing": aside, "covers_not_written_off": left_on })
}
