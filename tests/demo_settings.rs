//! The demo installation in `config/`: sound, and varied enough to show what the service is for.

use counterpane::beds::{BedKind, Hardened};
use counterpane::night::exposure::Exposure;
use counterpane::settings::{Delivery, File, Files, GardenSettings, Settings, list, settings};
use std::collections::BTreeSet;
use std::path::Path;

const SERVICE: &str = include_str!("../config/counterpane.toml");
const GARDEN: &str = include_str!("../config/gardens/tansyford.toml");
const FORECAST: &str = include_str!("../config/demo/forecast.json");

fn crops() -> Vec<File> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("crops");
    std::fs::read_dir(folder)
        .expect("the folder crops/ is there")
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| (path.display().to_string(), std::fs::read_to_string(&path).expect("text in UTF-8")))
        .collect()
}

#[track_caller]
fn read(service: &str, garden: &str) -> Settings {
    let files = Files {
        service: ("counterpane.toml".into(), service.into()),
        gardens: vec![("gardens/tansyford.toml".into(), garden.into())],
        crops: crops(),
    };
    settings(&files).unwrap_or_else(|faults| panic!("{}", list(&faults)))
}

fn demo() -> GardenSettings {
    read(SERVICE, GARDEN).gardens.remove(0)
}

#[test]
fn the_demo_is_a_garden_of_many_beds_and_crops_and_few_covers() {
    let GardenSettings { garden, feeds } = demo();
    assert_eq!(garden.id, "tansyford");
    assert!(garden.beds.len() >= 12, "{} beds", garden.beds.len());
    let crops: BTreeSet<&str> =
        garden.beds.iter().flat_map(|bed| &bed.plantings).map(|planting| planting.crop.as_str()).collect();
    assert!(crops.len() >= 20, "{} crops", crops.len());
    let covers: u32 = garden.covers.iter().map(|stock| stock.count).sum();
    assert!((covers as usize) < garden.beds.len(), "{covers} covers are not scarce");
    let sizes: BTreeSet<String> = garden.covers.iter().map(|c| format!("{} x {}", c.length, c.width)).collect();
    assert!(sizes.len() >= 2, "covers of one size only: {sizes:?}");
    assert_eq!(feeds.len(), 2, "a second feed for when the first is silent");
    assert!(garden.people.len() >= 2);
}

#[test]
fn the_demo_shows_every_kind_of_bed_and_both_ends_of_cold() {
    let garden = demo().garden;
    let kind = |wanted: fn(&BedKind) -> bool| garden.beds.iter().any(|bed| wanted(&bed.kind));
    assert!(kind(|kind| matches!(kind, BedKind::Raised)));
    assert!(kind(|kind| matches!(kind, BedKind::InGround)));
    assert!(kind(|kind| matches!(kind, BedKind::Containers { movable: true, .. })));
    assert!(kind(|kind| matches!(kind, BedKind::Containers { movable: false, .. })));
    for exposure in [Exposure::Wall, Exposure::Hollow] {
        assert!(garden.beds.iter().any(|bed| bed.exposure == exposure), "no bed at {exposure:?}");
    }
    for hardened in Hardened::ALL {
        let plantings = garden.beds.iter().flat_map(|bed| &bed.plantings);
        assert!(plantings.into_iter().any(|planting| planting.hardened == Some(*hardened)), "no planting {hardened:?}");
    }
    let broccoli: BTreeSet<&str> = garden
        .beds
        .iter()
        .flat_map(|bed| &bed.plantings)
        .filter(|planting| planting.crop == "broccoli")
        .filter_map(|planting| planting.stage.as_deref())
        .collect();
    assert_eq!(broccoli.len(), 2, "two successions of one crop meet two fates");
}

#[test]
fn the_demo_shows_dates_for_stages_nights_for_hardening_and_a_figure_of_its_own() {
    let garden = demo().garden;
    let plantings = || garden.beds.iter().flat_map(|bed| &bed.plantings);
    assert!(plantings().filter(|planting| planting.stage.is_none() && planting.planted.is_some()).count() >= 3);
    assert!(plantings().filter(|planting| planting.hardened.is_none()).count() >= 2);
    assert!(plantings().any(|planting| planting.start.is_some() && planting.raised.is_some()));
    assert!(garden.own_figures.iter().any(|own| own.cultivar.is_some() && own.damage_begins.is_some()));
}

#[test]
fn plantings_that_do_not_say_how_much_they_fill_share_what_is_left() {
    let garden = demo().garden;
    for bed in &garden.beds {
        let parts: f64 = bed.plantings.iter().map(|planting| planting.part_of_bed).sum();
        assert!((parts - 1.0).abs() < 1e-9, "{} is filled to {parts}", bed.id);
    }
    assert!(garden.beds.iter().any(|bed| bed.id == "G4" && bed.plantings.iter().all(|herb| herb.part_of_bed == 0.25)));
}

/// Whoever takes the "#" away from a setting must not find that it never worked.
#[test]
fn every_setting_that_is_commented_out_works_once_it_is_taken_in() {
    // Of two that exclude each other, the one that is in use goes.
    let service = taken_in(SERVICE, &["folder = ", "#password_env = ", "morning = ", "#ping_file = ", "#ping_env = "]);
    let settings = read(&service, &taken_in(GARDEN, &[]));
    let Delivery::Smtp(smtp) = &settings.service.mail.delivery else { panic!("mail still goes to a folder") };
    assert_eq!((smtp.port, smtp.user.is_some(), smtp.password.is_some()), (587, true, true));
    assert_eq!(settings.service.feeds.len(), 4, "one feed of every kind");
    assert!(settings.gardens[0].garden.offset.is_some());
    let environment = taken_in(SERVICE, &["folder = ", "#password_file = ", "morning = ", "#ping = ", "#ping_env = "]);
    read(&environment, GARDEN);
}

/// The text with every "#setting" taken in, without the lines that start with one of `left_out`.
fn taken_in(text: &str, left_out: &[&str]) -> String {
    text.lines()
        .filter(|line| !left_out.iter().any(|start| line.starts_with(start)))
        .map(|line| match line.strip_prefix('#') {
            Some(setting) if setting.starts_with(|c: char| c.is_ascii_alphabetic() || c == '[') => setting,
            _ => line,
        })
        .flat_map(|line| [line, "\n"])
        .collect()
}

#[test]
fn an_editor_of_another_system_changes_nothing() {
    let windows = |text: &str| format!("\u{feff}{}", text.replace('\n', "\r\n"));
    let settings = read(&windows(SERVICE), &windows(GARDEN));
    assert_eq!(settings.gardens[0].garden.beds, demo().garden.beds);
}

/// The forecast is invented, says so, is small enough to be carried along, and is of the demo night.
#[test]
fn the_demo_forecast_is_a_clear_calm_night_near_minus_three() {
    assert!(FORECAST.len() <= 15_000);
    let document: serde_json::Value = serde_json::from_str(FORECAST).expect("JSON");
    assert!(document["note"].as_str().is_some_and(|note| note.contains("invented")));
    let properties = &document["properties"];
    assert_eq!(properties["updateTime"], "2027-01-16T15:00:00+00:00");
    let lowest = |layer: &str| {
        let values = properties[layer]["values"].as_array().expect("a list of runs");
        let coldest = values.iter().min_by(|a, b| {
            let value = |run: &serde_json::Value| run["value"].as_f64().expect("a number");
            value(a).total_cmp(&value(b))
        });
        coldest.map(|run| (run["validTime"].to_string(), run["value"].as_f64().expect("a number"))).expect("a run")
    };
    let (when, hourly) = lowest("temperature");
    assert!(when.contains("2027-01-17T12:00:00+00:00") && (hourly + 3.33).abs() < 0.01, "{when} {hourly}");
    assert!((lowest("minTemperature").1 + 3.89).abs() < 0.01);
}
