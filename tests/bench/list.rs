//! How long the pure path takes, from a forecast document to a letter, for a garden of forty beds:
//! `cargo bench --bench list`.
//!
//! `cargo bench --bench list -- --write DIR [LATITUDE LONGITUDE TIME_ZONE]` leaves the garden and the document in a
//! folder instead, as settings that the program can be pointed at; `cold_start.sh` uses that.

mod sample;

use chrono::{DateTime, Utc};
use counterpane::beds::Role;
use counterpane::message::{Context, Reader, evening_letter, html, plain_text};
use counterpane::plan::said::SayReason;
use counterpane::rounds::night_at;
use counterpane::service::feed::decode;
use counterpane::service::{files, look};
use counterpane::settings::{File, Files, Settings, list as faults, settings};
use counterpane::weather::Provider;
use sample::Place;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    match arguments.as_slice() {
        [] => measure(),
        [write, folder] if write == "--write" => write_settings(Path::new(folder), &Place::default()),
        [write, folder, latitude, longitude, time_zone] if write == "--write" => {
            let place =
                Place { latitude: latitude.clone(), longitude: longitude.clone(), time_zone: time_zone.clone() };
            write_settings(Path::new(folder), &place);
        }
        _ => panic!("either nothing, or --write DIR [LATITUDE LONGITUDE TIME_ZONE]"),
    }
}

fn write_settings(folder: &Path, place: &Place) {
    std::fs::create_dir_all(folder.join("gardens")).expect("a folder");
    std::fs::write(folder.join("counterpane.toml"), sample::SERVICE).expect("a file");
    std::fs::write(folder.join("gardens/forty.toml"), sample::garden(place)).expect("a file");
    std::fs::write(folder.join("forecast.json"), sample::forecast_document()).expect("a file");
}

fn read() -> Settings {
    let file = |name: &str, text: String| -> File { (name.into(), text) };
    let read = settings(&Files {
        service: file("counterpane.toml", sample::SERVICE.into()),
        gardens: vec![file("gardens/forty.toml", sample::garden(&Place::default()))],
        crops: files::demo().crops,
    });
    read.unwrap_or_else(|found| panic!("{}", faults(&found)))
}

fn measure() {
    let now: DateTime<Utc> = sample::NOW.parse().expect("a time");
    let document = sample::forecast_document();
    println!("a document of {} bytes, a garden of 40 beds; milliseconds", document.len());
    report("settings", read);
    let settings = read();
    let garden = &settings.gardens[0].garden;
    let of = night_at(&garden.site, &garden.zone, now);

    let decoded = || decode(&Provider::NationalWeatherService, document.as_bytes(), now).expect("a forecast");
    report("decode", decoded);
    let forecasts = [decoded()];

    let listed = || look::list(garden, &settings.catalogue, of, &forecasts, &[], now);
    report("list", listed);
    let plan = listed();
    assert!(plan.has_work() && plan.beds.len() == 40, "the night of the bench asks for work");

    report("letter", || {
        let context = Context::new(SayReason::First);
        let letter = evening_letter(&plan, &context, Reader { role: Role::Manager });
        (plain_text(&letter), html(&letter))
    });
}

/// The middle one and the ninth tenth of many runs.
fn report<T>(what: &str, work: impl Fn() -> T) {
    const RUNS: usize = 300;
    for _ in 0..20 {
        black_box(work());
    }
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    println!("{what:<9} median {:8.3}   nine in ten under {:8.3}", times[RUNS / 2], times[RUNS * 9 / 10]);
}
