//! Gardens and forecasts that several test files share.
#![allow(dead_code, reason = "each test file uses its own part of this")]

use chrono::{DateTime, Duration, Utc};
use counterpane::beds::{Bed, BedKind, Caution, CoverStock, Garden, Hardened, Planting};
use counterpane::crops::Catalogue;
use counterpane::night::cover::CoverKind;
use counterpane::night::exposure::Exposure;
use counterpane::settings::{File, Files, Settings, catalogue, list, settings};
use counterpane::units::{Celsius, MetresPerSecond, Minutes, Scale};
use counterpane::weather::{Forecast, Hour, Provider, Site};
use counterpane::zone::{NightOf, Zone};
use std::path::Path;

pub fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap_or_else(|_| panic!("bad time {text}"))
}

pub fn night_of(text: &str) -> NightOf {
    NightOf(text.parse().unwrap_or_else(|_| panic!("bad date {text}")))
}

pub fn zone(name: &str) -> Zone {
    name.parse().ok().and_then(Zone::bundled).unwrap_or_else(|| panic!("no zone {name}"))
}

/// The files of `crops/`, by name.
pub fn crop_files() -> Vec<File> {
    let mut files: Vec<File> = std::fs::read_dir(project().join("crops"))
        .expect("the folder crops/ is there")
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| (path.display().to_string(), std::fs::read_to_string(&path).expect("text in UTF-8")))
        .collect();
    files.sort();
    files
}

pub fn crops() -> Catalogue {
    catalogue(&crop_files()).unwrap_or_else(|faults| panic!("{}", list(&faults)))
}

/// The demo's service with one garden, from its file.
pub fn garden_file(path: &Path) -> Settings {
    let text =
        |path: &Path| std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let name = path.file_name().expect("a file").to_string_lossy().into_owned();
    let files = Files {
        service: ("counterpane.toml".into(), text(&project().join("config/counterpane.toml"))),
        gardens: vec![(name, text(path))],
        crops: crop_files(),
    };
    settings(&files).unwrap_or_else(|faults| panic!("{}", list(&faults)))
}

/// The demo garden.
pub fn demo() -> Garden {
    garden_file(&project().join("config/gardens/tansyford.toml")).gardens.remove(0).garden
}

/// A garden without beds and covers, in the place of the demo garden.
pub fn empty_garden() -> Garden {
    Garden {
        id: "plot".into(),
        name: "The plot".into(),
        site: Site { latitude: 36.0, longitude: -80.0, elevation: 250.0 },
        zone: zone("America/New_York"),
        shown: Scale::Celsius,
        offset: None,
        finish_before_sunset: Duration::minutes(30),
        worth_per_square_metre: Minutes(20.0),
        caution: Caution::Even,
        people: Vec::new(),
        covers: Vec::new(),
        beds: Vec::new(),
        crew: None,
        own_figures: Vec::new(),
        learned: Default::default(),
    }
}

/// A raised bed of 2.4 by 1.2 m in the open with one planting, unhardened.
pub fn bed(id: &str, crop: &str, stage: &str) -> Bed {
    Bed {
        id: id.into(),
        name: None,
        kind: BedKind::Raised,
        length: 2.4,
        width: 1.2,
        height: Bed::RAISED,
        mulch: 0.0,
        exposure: Exposure::Open,
        soil_depth: None,
        beside: None,
        path: Bed::PATH,
        offset: None,
        learned_offset: None,
        plantings: vec![planting(crop, stage)],
    }
}

pub fn planting(crop: &str, stage: &str) -> Planting {
    Planting {
        crop: crop.into(),
        cultivar: None,
        stage: Some(stage.into()),
        hardened: Some(Hardened::No),
        planted: None,
        start: None,
        raised: None,
        part_of_bed: 1.0,
        plants: None,
        worth: None,
    }
}

pub fn cover(name: &str, kind: CoverKind, count: u32, length: f64, width: f64) -> CoverStock {
    CoverStock {
        name: name.into(),
        kind,
        count,
        length,
        width,
        rests_on_plants: kind.rests_as_a_rule(),
        shared_with: Vec::new(),
    }
}

/// Every crop of the catalogue in every stage, a bed each; places, kinds and hardening go round, so that most
/// combinations occur.
pub fn garden_of_everything(catalogue: &Catalogue) -> Garden {
    let mut garden = empty_garden();
    for crop in catalogue.crops.values() {
        for stage in &crop.stages {
            let index = garden.beds.len();
            let mut bed = bed(&format!("B{index}"), &crop.id, stage);
            bed.exposure = Exposure::ALL[index % 5];
            bed.kind = match index % 7 {
                0 => BedKind::InGround,
                1 => BedKind::Containers { diameter: 0.2, count: 4, movable: true },
                2 => BedKind::Containers { diameter: 0.5, count: 1, movable: false },
                _ => BedKind::Raised,
            };
            bed.plantings[0].hardened = Some(Hardened::ALL[index % 3]);
            garden.beds.push(bed);
        }
    }
    garden.covers = vec![
        cover("cloth", CoverKind::MediumRowCover, 3, 3.0, 2.0),
        cover("tunnel", CoverKind::LowTunnel, 2, 2.5, 1.3),
        cover("plastic", CoverKind::ClearPlastic, 5, 2.0, 2.0),
    ];
    garden
}

/// A forecast of whole hours, issued and fetched an hour before `now`.
pub fn forecast(hours: Vec<Hour>, now: DateTime<Utc>) -> Forecast {
    Forecast {
        provider: Provider::NationalWeatherService,
        issued: Some(now - Duration::hours(1)),
        fetched: now - Duration::hours(1),
        hours,
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    }
}

/// One hour with everything.
pub fn hour(time: DateTime<Utc>, air: f64, dew_point: f64, wind: f64, cloud: f64) -> Hour {
    Hour {
        time,
        air_temperature: Celsius(air),
        dew_point: Some(Celsius(dew_point)),
        wind_10m: Some(MetresPerSecond(wind)),
        cloud_cover: Some(cloud),
    }
}
