//! The evenings of `tests/evenings.toml`: what a careful grower would do, against what the program asks for.

#[path = "support/garden.rs"]
mod support;

use chrono::Duration;
use counterpane::beds::{BedKind, Garden, Hardened};
use counterpane::crops::Catalogue;
use counterpane::night::cover::{CoverConditions, CoverKind};
use counterpane::night::past::Remembered;
use counterpane::night::screen::{Evidence, expect};
use counterpane::night::{Estimate, Night};
use counterpane::plan::{BedPlan, Before, Plan, decide};
use counterpane::risk::assess;
use counterpane::service::look::span_of;
use counterpane::units::{Celsius, Kelvins, parse_temperature};
use std::collections::{BTreeMap, BTreeSet};
use support::{bed, cover, crops, empty_garden, forecast, hour, night_of, project};
use toml::de::{DeTable, DeValue};

/// One row: its keys, with lists joined by commas.
type Evening = BTreeMap<String, String>;

fn evenings() -> Vec<Evening> {
    let text = std::fs::read_to_string(project().join("tests/evenings.toml")).expect("the table is there");
    let table = DeTable::parse(&text).expect("sound TOML");
    let (_, rows) = table.get_ref().iter().find(|(key, _)| key.get_ref() == "evening").expect("evenings");
    let DeValue::Array(rows) = rows.get_ref() else { panic!("[[evening]] is a list") };
    let row = |row: &toml::Spanned<DeValue<'_>>| {
        let DeValue::Table(row) = row.get_ref() else { panic!("an evening is a table") };
        row.iter().map(|(key, value)| (key.get_ref().to_string(), words(value.get_ref()))).collect()
    };
    rows.iter().map(row).collect()
}

fn words(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Integer(number) => number.to_string(),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Array(items) => items.iter().map(|item| words(item.get_ref())).collect::<Vec<_>>().join(", "),
        _ => panic!("no value of an evening: {value:?}"),
    }
}

fn celsius(evening: &Evening, key: &str) -> Celsius {
    let text = evening.get(key).unwrap_or_else(|| panic!("no {key} in {evening:?}"));
    parse_temperature(text).unwrap_or_else(|fault| panic!("{key}: {fault}"))
}

fn garden(evening: &Evening) -> Garden {
    let mut bed = bed("E1", &evening["crop"], &evening["stage"]);
    let hardened = Hardened::ALL.iter().find(|one| one.word() == evening["hardened"]);
    bed.plantings[0].hardened = Some(*hardened.expect("a word"));
    if evening.contains_key("pots") {
        bed.kind = BedKind::Containers { diameter: 0.3, count: 4, movable: true };
        (bed.length, bed.width) = (1.2, 0.3);
    }
    let mut garden = empty_garden();
    garden.beds = vec![bed];
    if let Some(word) = evening.get("cover") {
        let kind = *CoverKind::ALL.iter().find(|kind| kind.word() == word).expect("a kind of cover");
        garden.covers = vec![cover("cover", kind, 2, 3.6, 2.4)];
    }
    garden
}

/// A night made up for one row: so cold for so long, under such a sky, over such a soil, and well known.
fn night(evening: &Evening, garden: &Garden, catalogue: &Catalogue) -> Night {
    let span = span_of(garden, night_of("2026-11-14"));
    let now = span.sunset - Duration::hours(3);
    let low = celsius(evening, "screen");
    let clear = evening.get("sky").is_some_and(|sky| sky == "clear");
    let (wind, cloud) = if clear { (1.0, 0.0) } else { (4.0, 1.0) };
    let held: f64 = evening["hours"].parse().expect("hours");
    let start = now - Duration::hours(24);
    let hours = (0..54).map(|index| {
        let time = start + Duration::hours(index);
        // So long at the low, ending at sunrise; a kelvin an hour, up to eight, on either side of it.
        let end = span.sunrise;
        let begin = end - Duration::minutes((held * 60.0) as i64);
        let away = (begin - time).max(time - end).num_minutes() as f64 / 60.0;
        hour(time, low.0 + away.clamp(0.0, 8.0), low.0 - 4.0, wind, cloud)
    });
    let forecast = forecast(hours.collect(), now);
    let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, learned: None, now };
    let mut night = expect(&evidence, &span).expect("a night");
    // The forecast's own doubt is none of the row's business.
    night.minimum = Estimate { mean: low, spread: Kelvins(0.3) };
    for hour in &mut night.hours {
        hour.air = hour.air.max(low);
    }
    night.cover_conditions = CoverConditions { wind_10m: 1.0, left_by_the_day: 1.0 };
    // The soil follows from the air of the days before: from the mean that gives what the row says, whatever the one day
    // was that the forecast knows.
    let soil = celsius(evening, "soil");
    let (mut cold, mut warm) = (-60.0, 120.0);
    for _ in 0..60 {
        let middle = (cold + warm) / 2.0;
        night.mean_air = Celsius(middle);
        night.before = (1..=240)
            .rev()
            .map(|hour| Remembered {
                time: night.sunset - Duration::hours(hour),
                air: Celsius(middle),
                clear_calm: 0.0,
            })
            .collect();
        let is_colder = soil_at(garden, &night, catalogue) < soil;
        (cold, warm) = if is_colder { (middle, warm) } else { (cold, middle) };
    }
    night
}

fn soil_at(garden: &Garden, night: &Night, catalogue: &Catalogue) -> Celsius {
    assess(garden, night.of, Some(night), catalogue)[0].night.as_ref().expect("a night at the bed").soil.mean
}

fn found(bed: &BedPlan<'_>) -> BTreeMap<&'static str, String> {
    let taken: Vec<&str> = bed.picks.iter().map(|pick| pick.organ.word()).collect();
    let keeps = match bed.picks.last() {
        Some(pick) => pick.keeps.word(),
        None if bed.reason.word() == "soil-keeps-roots" => "ground",
        None => "",
    };
    BTreeMap::from([
        ("measure", bed.measure.word().to_string()),
        ("take", taken.join(", ")),
        ("keeps", keeps.to_string()),
        ("then_cover", (bed.picks.is_empty() || bed.cover.is_some()).to_string()),
    ])
}

fn check(evening: &Evening, catalogue: &Catalogue, faults: &mut Vec<String>) {
    let garden = garden(evening);
    let night = night(evening, &garden, catalogue);
    let (of, sunset) = (night.of, night.sunset);
    let risks = assess(&garden, night.of, Some(&night), catalogue);
    let plan: Plan<'_> = decide(&garden, of, sunset, Ok(night), risks, Before::default(), sunset - Duration::hours(3));
    let bed = &plan.beds[0];
    let name = format!("{} {} at {}", evening["crop"], evening["stage"], evening["screen"]);
    // The night is the one that the row describes.
    let made = bed.risk.night.as_ref().expect("a night at the bed");
    let near = |what: &str, made: Celsius, within: f64| {
        let wanted = celsius(evening, what);
        assert!((made - wanted).0.abs() <= within, "{name}: {what} came out as {made:?}, not {wanted:?}");
    };
    near("screen", made.screen.mean, 0.05);
    if !evening.contains_key("pots") {
        near("soil", made.soil.mean, 0.1);
    }
    match evening.get("plant") {
        Some(_) => near("plant", made.tissue.mean, 1.0),
        None => near("screen", made.tissue.mean, 0.5),
    }
    let found = found(bed);
    for (key, found) in &found {
        if let Some(wanted) = evening.get(*key).filter(|wanted| *wanted != found) {
            let chance = bed.deciding().map_or(String::new(), |(_, organ)| {
                format!("{} {}", organ.tolerance.organ.word(), organ.open.chance.percent())
            });
            let (reason, why) = (bed.reason.word(), &evening["why"]);
            faults.push(format!("{name}: {key} is {found:?}, wanted {wanted:?} ({reason}, {chance}): {why}"));
        }
    }
    if found["take"].is_empty() == (found["measure"] == "harvest") {
        faults.push(format!("{name}: {} takes {:?}", found["measure"], found["take"]));
    }
}

#[test]
fn every_evening_ends_as_a_careful_grower_would_have_it() {
    let (evenings, catalogue) = (evenings(), crops());
    assert!(evenings.len() >= 40, "{} evenings", evenings.len());
    let mut faults = Vec::new();
    for evening in &evenings {
        check(evening, &catalogue, &mut faults);
    }
    let (wrong, all) = (faults.len(), evenings.len());
    assert!(faults.is_empty(), "\n{}\n\n{wrong} differences in {all} evenings", faults.join("\n"));
}

#[test]
fn every_row_says_why_and_knows_no_other_keys() {
    let required = ["crop", "stage", "hardened", "screen", "soil", "hours", "measure", "why", "source"];
    let optional = ["sky", "plant", "pots", "cover", "take", "keeps", "then_cover", "mended"];
    let catalogue = crops();
    let mut rows = BTreeSet::new();
    for evening in evenings() {
        let name = format!("{evening:?}");
        for key in required {
            assert!(evening.get(key).is_some_and(|value| !value.is_empty()), "{name}: no {key}");
        }
        for key in evening.keys() {
            assert!(required.contains(&key.as_str()) || optional.contains(&key.as_str()), "{name}: {key}");
        }
        let keys = evening["source"].split([';', ' ', '(', ')', ',']).filter(|word| word.contains('_'));
        for key in keys {
            assert!(catalogue.sources.contains_key(key), "{name}: sources.toml has no {key}");
        }
        let same: Vec<&String> = ["crop", "stage", "hardened", "screen", "soil", "cover"]
            .iter()
            .filter_map(|key| evening.get(*key))
            .collect();
        assert!(rows.insert(format!("{same:?}")), "{name} stands twice");
    }
}
