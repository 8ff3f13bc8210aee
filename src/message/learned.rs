//! What nights have taught, in words: published, learned and in use side by side, and what is asked about.

use super::sentences::capped;
use crate::beds::Garden;
use crate::learn::doubt::Doubt;
use crate::learn::forecast::Sky;
use crate::learn::{Asked, Figure};
use crate::lessons::figures::{InUse, Kind, Row, asked};
use crate::units::Scale;
use crate::zone::NightOf;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;

/// The list of `counterpane learned`.
pub fn list(rows: &[Row], garden: &Garden) -> String {
    let scale = garden.shown;
    let mut text = String::new();
    // Writing to a text in memory cannot fail.
    let mut line = |content: &str| writeln!(text, "{content}").unwrap_or_default();
    if rows.is_empty() {
        line(&format!("Nothing has been learned in {} yet: published figures are used.", garden.name));
        line("A night teaches once a thermometer at the garden's screen has seen the whole of it:");
        line("a minimum that was read in the morning (counterpane reading 27F --min), or a logger's rows.");
        return text;
    }
    line(&format!("What the nights of {} have taught", garden.name));
    for row in rows {
        line("");
        line(&format!("{}  {}", row.name, what(&row.kind)));
        line(&format!("   published {}", figure(row.learned.published, scale)));
        match row.learned.nights.as_slice() {
            [] => line("   learned   nothing of its own yet"),
            [only] => line(&format!("   learned   {}, from 1 night: {only}", figure(row.learned.learned, scale))),
            [first, .., last] => line(&format!(
                "   learned   {}, from {} nights: {first} to {last}",
                figure(row.learned.learned, scale),
                row.learned.nights.len()
            )),
        }
        line(&match row.in_use {
            InUse::Published => "   in use    as published".into(),
            InUse::AtOnce(used) if used.mean != row.learned.learned.mean => {
                let capped = capped(row.learned.learned.mean, used.mean, scale);
                format!("   in use    {}, at once; {capped}", figure(used, scale))
            }
            InUse::AtOnce(used) => format!("   in use    {}, at once", figure(used, scale)),
            InUse::Accepted(used) => format!("   in use    {}, as accepted", figure(used, scale)),
            InUse::File => "   in use    as the garden's file has it, which goes before".into(),
        });
        if let Kind::Forecast { factor: (learned, used), .. } = row.kind {
            line(&format!("   spread    published times 1.00, learned times {learned:.2}, used times {used:.2}"));
        }
        if waits(row) {
            line(&format!("   to use it: counterpane learned accept {}", row.name));
        }
    }
    if asked(rows).next().is_some() {
        line("");
        line("Set aside until somebody says that it is right");
        for ((night, thermometer), doubt) in by_thermometer(rows) {
            line(&format!("   {night}, {thermometer}: {}", doubted(doubt, scale)));
        }
        line("   If it was a slip, strike the entry (counterpane journal, then counterpane correct NUMBER).");
        line("   If it is right: counterpane learned accept night:DATE");
    }
    text
}

/// What is asked, once for each night and thermometer: a night at the screen is doubted beside every forecast of it.
fn by_thermometer(rows: &[Row]) -> BTreeMap<(NightOf, String), Doubt> {
    let mut questions = BTreeMap::new();
    for (row, Asked { night, doubt }) in asked(rows) {
        let thermometer = match &row.kind {
            Kind::Forecast { .. } => "the garden's screen".into(),
            Kind::Bed { bed } => format!("bed {bed}"),
            Kind::Cover(cover) => format!("under {}", cover.name()),
        };
        questions.entry((*night, thermometer)).or_insert(*doubt);
    }
    questions
}

/// Whether there is something to accept: learned, and not what acts already.
fn waits(row: &Row) -> bool {
    let news = !row.learned.nights.is_empty();
    match row.in_use {
        InUse::Published => news,
        InUse::Accepted(used) => news && used != row.learned.learned,
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
    }
}

fn figure(figure: Figure, scale: Scale) -> String {
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

/// The same for other programs. Differences are in kelvins, whatever the garden is shown.
pub fn document(rows: &[Row], garden: &Garden) -> Value {
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
            let asked = row.learned.asked.iter().map(|asked| {
                json!({
                    "night": asked.night.to_string(),
                    "doubt": doubted(asked.doubt, Scale::Celsius),
                    "can_be_confirmed": asked.doubt.can_be_confirmed(),
                })
            });
            let factor = match row.kind {
                Kind::Forecast { factor: (learned, used), .. } => json!({ "learned": learned, "used": used }),
                Kind::Bed { .. } | Kind::Cover(_) => Value::Null,
            };
            json!({
                "figure": row.name,
                "published": figure(row.learned.published),
                "learned": figure(row.learned.learned),
                "used": figure(used),
                "in_use": in_use,
                "spread_factor": factor,
                "nights": row.learned.nights.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "asked": asked.collect::<Vec<_>>(),
                "waits": waits(row),
            })
        })
        .collect();
    json!({ "garden": garden.id, "figures": rows })
}
