//! An invented garden of forty beds, and an invented forecast document as long as a real one.

use std::fmt::Write;

/// When the forecast was issued.
pub const ISSUED: &str = "2027-01-16T15:00:00Z";
/// When the list is made.
pub const NOW: &str = "2027-01-16T18:00:00Z";

/// Where the garden lies, as settings want it.
pub struct Place {
    pub latitude: String,
    pub longitude: String,
    pub time_zone: String,
}

impl Default for Place {
    fn default() -> Place {
        Place { latitude: "36.0".into(), longitude: "-80.0".into(), time_zone: "America/New_York".into() }
    }
}

/// `counterpane.toml`: one feed that is a file beside it, and mail into a folder.
pub const SERVICE: &str = r#"
operator = "office@garden.example"
[mail]
from = "Frost watch <frost-watch@garden.example>"
folder = "mail"
[feeds.file]
provider = "nws"
address = "forecast.json"
"#;

const CROPS: [(&str, &str, &str); 14] = [
    ("broccoli", "heading", "partly"),
    ("broccoli", "transplant", "no"),
    ("lettuce_leaf", "leafy", "partly"),
    ("spinach", "leafy", "fully"),
    ("carrot", "rooting", "fully"),
    ("radish", "rooting", "partly"),
    ("mustard_greens", "leafy", "partly"),
    ("pea", "podding", "partly"),
    ("beet", "rooting", "fully"),
    ("cabbage", "heading", "fully"),
    ("swiss_chard", "leafy", "fully"),
    ("kale", "leafy", "fully"),
    ("parsley", "leafy", "fully"),
    ("strawberry", "dormant", "fully"),
];
const EXPOSURES: [&str; 5] = ["open", "wall", "under-trees", "hollow", "slope"];

/// A garden of forty beds with two plantings each: in the ground, raised and in pots, in all exposures, every eighth
/// with its own measured offset.
pub fn garden(place: &Place) -> String {
    let Place { latitude, longitude, time_zone } = place;
    let mut text = format!(
        r#"
name = "Forty Beds"
feeds = ["file"]
[place]
latitude = {latitude}
longitude = {longitude}
elevation_m = 250
time_zone = "{time_zone}"
[[people]]
name = "Manager"
address = "manager@garden.example"
role = "manager"
[[people]]
name = "Crew"
address = "crew@garden.example"
role = "volunteer"
[[covers]]
kind = "medium-row-cover"
count = 6
length_m = 3.6
width_m = 2.4
[[covers]]
kind = "heavy-row-cover"
count = 3
length_m = 7.5
width_m = 1.6
[[covers]]
kind = "sheet"
count = 4
length_m = 2.0
width_m = 1.5
"#
    );
    for number in 0..40 {
        let size = match number % 3 {
            0 => "kind = \"raised\"\nlength_m = 2.4\nwidth_m = 1.2".to_string(),
            1 => format!("kind = \"in-ground\"\nlength_m = {}\nwidth_m = 1.0", 3 + number % 5),
            _ => format!("kind = \"containers\"\ndiameter_m = 0.{}\npots = {}", 3 + number % 4, 1 + number % 6),
        };
        let exposure = EXPOSURES[number % EXPOSURES.len()];
        let offset = if number % 8 == 0 { "offset = \"-1.2C\"\n" } else { "" };
        // Writing to a text in memory cannot fail.
        let _ = writeln!(text, "[[beds]]\nid = \"B{number}\"\n{size}\nexposure = \"{exposure}\"\n{offset}");
        for (crop, stage, hardened) in [CROPS[number % CROPS.len()], CROPS[(number * 5 + 3) % CROPS.len()]] {
            let _ = writeln!(
                text,
                "[[beds.plantings]]\ncrop = \"{crop}\"\nstage = \"{stage}\"\nhardened = \"{hardened}\"\npart_of_bed = 0.5"
            );
        }
    }
    text
}

/// Layers that nobody asks for, and how many hours each of their runs lasts.
const OTHER_LAYERS: [(&str, &str, i64); 14] = [
    ("apparentTemperature", "wmoUnit:degC", 1),
    ("windChill", "wmoUnit:degC", 2),
    ("windGust", "wmoUnit:km_h-1", 3),
    ("windDirection", "wmoUnit:degree_(angle)", 3),
    ("probabilityOfPrecipitation", "wmoUnit:percent", 6),
    ("quantitativePrecipitation", "wmoUnit:mm", 6),
    ("snowfallAmount", "wmoUnit:mm", 6),
    ("ceilingHeight", "wmoUnit:m", 6),
    ("visibility", "wmoUnit:m", 6),
    ("transportWindSpeed", "wmoUnit:km_h-1", 4),
    ("mixingHeight", "wmoUnit:m", 2),
    ("dispersionIndex", "wmoUnit:percent", 3),
    ("lowVisibilityOccurrenceRiskIndex", "wmoUnit:percent", 8),
    ("maxTemperature", "wmoUnit:degC", 24),
];

/// A raw grid of the shape of the US National Weather Service's: seven and a half days, about 130 KB, the first night
/// clear, calm and near -3.3 °C.
pub fn forecast_document() -> String {
    const HOURS: i64 = 182;
    // Cold at 12 UTC, which is an hour before sunrise; each night after the first a little milder.
    let temperature = |hour: i64| {
        let angle = (hour - 21) as f64 / 24.0 * std::f64::consts::TAU;
        2.7 - 6.0 * angle.cos() + 0.02 * hour as f64
    };
    let mut layers = vec![
        layer("temperature", "wmoUnit:degC", 1, HOURS, temperature),
        layer("dewpoint", "wmoUnit:degC", 2, HOURS - 1, |hour| temperature(hour).min(0.0) - 4.0),
        layer("minTemperature", "wmoUnit:degC", 24, HOURS, |_| -3.3),
        layer("relativeHumidity", "wmoUnit:percent", 1, HOURS - 1, |hour| (60 + hour % 30) as f64),
        layer("skyCover", "wmoUnit:percent", 1, HOURS - 1, |hour| (5 + hour % 20) as f64),
        layer("windSpeed", "wmoUnit:km_h-1", 3, HOURS - 1, |hour| (3 + hour % 4) as f64),
    ];
    layers.extend(OTHER_LAYERS.map(|(name, unit, run)| layer(name, unit, run, HOURS, temperature)));
    format!(
        "{{\n\t\"type\": \"Feature\",\n\t\"properties\": {{\n\t\t\"updateTime\": \"{ISSUED}\",\n\t\t\"elevation\": \
         {{\n\t\t\t\"unitCode\": \"wmoUnit:m\",\n\t\t\t\"value\": 243.84\n\t\t}},\n{}\n\t}}\n}}\n",
        layers.join(",\n")
    )
}

/// One layer, indented and with as many digits as the real service writes.
fn layer(name: &str, unit: &str, run: i64, hours: i64, value: impl Fn(i64) -> f64) -> String {
    let start: chrono::DateTime<chrono::Utc> = ISSUED.parse().expect("a time");
    let runs: Vec<String> = (0..hours)
        .step_by(usize::try_from(run).expect("a length"))
        .map(|hour| {
            let from = (start + chrono::Duration::hours(hour)).format("%Y-%m-%dT%H:%M:%S+00:00");
            let value = value(hour);
            format!(
                "\t\t\t\t{{\n\t\t\t\t\t\"validTime\": \"{from}/PT{run}H\",\n\t\t\t\t\t\"value\": {value}\n\t\t\t\t}}"
            )
        })
        .collect();
    format!(
        "\t\t\"{name}\": {{\n\t\t\t\"uom\": \"{unit}\",\n\t\t\t\"values\": [\n{}\n\t\t\t]\n\t\t}}",
        runs.join(",\n")
    )
}
