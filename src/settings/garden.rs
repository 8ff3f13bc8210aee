//! `gardens/<id>.toml`: one garden's place, people, covers, beds and plantings.

use super::reader::{Table, Value, nearest, suggestion};
use super::service::{FeedChoice, address};
use super::{Fault, File, GardenSettings, read_document};
use crate::beds::{Bed, BedKind, CoverStock, Garden, Hardened, Person, Planting, Role};
use crate::crops::{Catalogue, Crop};
use crate::night::cover::CoverKind;
use crate::night::exposure::Exposure;
use crate::units::{
    COVER_COUNT, ELEVATION, LATITUDE, LENGTH, LONGITUDE, Limits, MINUTES, Minutes, Scale, TEMPERATURE_DIFFERENCE,
};
use crate::weather::Site;
use crate::zone::Zone;
use chrono::Duration;
use chrono_tz::Tz;

const PART: Limits = Limits { what: "part", low: 0.01, high: 1.0, unit: "of the bed", why: "a bed is filled once" };
const POTS: Limits =
    Limits { what: "number of pots", low: 1.0, high: 500.0, unit: "pots", why: "no group is so large" };
const MARGIN: Limits = Limits {
    what: "time before sunset",
    low: 0.0,
    high: 240.0,
    unit: "minutes",
    why: "it is minutes of one afternoon",
};
/// Person-minutes that saving a square metre is worth, where a garden does not say (assumed; a bed of 1.2 by 2.4 m is
/// then worth about an hour of one person's work).
const WORTH_PER_SQUARE_METRE: f64 = 20.0;
/// Work ends this long before sunset, where a garden does not say: the soil still gives heat and people see their way.
const FINISH_BEFORE_SUNSET: f64 = 30.0;

/// Reads one garden. `feeds` and `catalogue` are `None` when their own files are at fault: then nothing is said here
/// about names that cannot be looked up.
pub(super) fn read(
    file: &File,
    feeds: Option<&[FeedChoice]>,
    catalogue: Option<&Catalogue>,
    crops: &Catalogue,
) -> Result<GardenSettings, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let id = id_of(&file.0);
        let name = root.required("name", "name = \"...\"").and_then(|value| value.text());
        let place = root.required("place", "a table [place] with latitude, longitude, elevation_m and time_zone");
        let place = place.and_then(|value| value.as_table()).and_then(read_place);
        let shown = root.optional("shown_in").map_or(Some(Scale::Fahrenheit), |value| {
            value.word(&[Scale::Celsius, Scale::Fahrenheit], |scale| match scale {
                Scale::Celsius => "C",
                Scale::Fahrenheit => "F",
            })
        });
        let offset = root.optional("offset").and_then(|value| value.difference(&TEMPERATURE_DIFFERENCE));
        let finish = root.optional("finish_minutes_before_sunset").and_then(|value| value.number(&MARGIN));
        let worth = root.optional("worth_minutes_per_square_metre").and_then(|value| value.number(&MINUTES));
        let chosen = root.required("feeds", "feeds = [\"nws\"]: names of feeds in counterpane.toml, best first");
        let chosen = chosen.map(|value| choose_feeds(&value, feeds)).unwrap_or_default();
        let people = read_people(&root);
        let covers: Vec<CoverStock> = root.tables("covers").into_iter().filter_map(read_cover).collect();
        let known = catalogue.map(|_| crops);
        let beds: Vec<Bed> = root.tables("beds").into_iter().filter_map(|bed| read_bed(bed, known)).collect();
        same_id_twice(&root);
        if beds.is_empty() {
            root.fault("this garden has no bed", "There would be nothing to warn about.", "add a table [[beds]]");
        }
        root.finish();
        let (site, zone) = place?;
        let garden = Garden {
            id,
            name: name?.to_string(),
            site,
            zone,
            shown: shown?,
            offset,
            // Within the limits above, so that neither part is lost.
            finish_before_sunset: Duration::seconds((finish.unwrap_or(FINISH_BEFORE_SUNSET) * 60.0) as i64),
            worth_per_square_metre: Minutes(worth.unwrap_or(WORTH_PER_SQUARE_METRE)),
            people,
            covers,
            beds,
        };
        Some(GardenSettings { garden, feeds: chosen })
    })
}

/// The garden's name on the command line is the name of its file.
fn id_of(file: &str) -> String {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    name.strip_suffix(".toml").unwrap_or(name).to_string()
}

fn read_place(table: Table<'_>) -> Option<(Site, Zone)> {
    let latitude = table.required("latitude", "latitude = 36.1").and_then(|value| value.number(&LATITUDE));
    let longitude = table.required("longitude", "longitude = -79.9 (west is negative)");
    let longitude = longitude.and_then(|value| value.number(&LONGITUDE));
    let elevation = table.required("elevation_m", "elevation_m = 270").and_then(|value| value.number(&ELEVATION));
    let zone = table.required("time_zone", "time_zone = \"America/New_York\"").and_then(|value| read_zone(&value));
    table.finish();
    Some((Site { latitude: latitude?, longitude: longitude?, elevation: elevation? }, zone?))
}

fn read_zone(value: &Value<'_>) -> Option<Zone> {
    let text = value.text()?;
    let zone = text.parse::<Tz>().ok().and_then(Zone::bundled);
    if zone.is_none() {
        let names = chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name());
        let mend = suggestion(text, names).unwrap_or_else(|| "write a name like \"America/New_York\"".into());
        let why = "Every time in every message would be wrong.";
        value.fault(format!("no time zone is called \"{text}\""), why, mend);
    }
    zone
}

fn choose_feeds(value: &Value<'_>, known: Option<&[FeedChoice]>) -> Vec<FeedChoice> {
    let items = value.list();
    if items.is_empty() {
        value.fault("no feed is named", "There would be no forecast.", "write feeds = [\"nws\"]");
    }
    let Some(known) = known else { return Vec::new() };
    let found = items.iter().filter_map(|item| {
        let name = item.text()?;
        let feed = known.iter().find(|feed| feed.name == name).cloned();
        if feed.is_none() {
            let names: Vec<&str> = known.iter().map(|feed| feed.name.as_str()).collect();
            let mend = suggestion(name, names.iter().copied())
                .unwrap_or_else(|| format!("counterpane.toml has: {}", names.join(", ")));
            item.fault(format!("no feed is called \"{name}\""), "", mend);
        }
        feed
    });
    found.collect()
}

fn read_people(root: &Table<'_>) -> Vec<Person> {
    let people: Vec<Person> = root
        .tables("people")
        .into_iter()
        .filter_map(|table| {
            let name = table.required("name", "name = \"Tuesday crew\"").and_then(|value| value.text());
            let address = table.required("address", "address = \"name@place.example\"").and_then(|v| address(&v));
            let role = table.required("role", "role = \"manager\" or \"volunteer\"");
            let role = role.and_then(|value| value.word(Role::ALL, Role::word));
            table.finish();
            Some(Person { name: name?.to_string(), address: address?, role: role? })
        })
        .collect();
    if !people.iter().any(|person| person.role == Role::Manager) {
        let mend = "add a table [[people]] with name, address and role = \"manager\"";
        root.fault("this garden has no manager with an address", "Nobody would be warned.", mend);
    }
    people
}

fn read_cover(table: Table<'_>) -> Option<CoverStock> {
    let kind = table.required("kind", "kind = \"medium-row-cover\"");
    let kind = kind.and_then(|value| value.word(CoverKind::ALL, CoverKind::word));
    let name = table.optional("name").and_then(|value| value.text()).map(str::to_string);
    let count = table.required("count", "count = 5").and_then(|value| value.count(&COVER_COUNT));
    let length = table.required("length_m", "length_m = 3.0").and_then(|value| value.number(&LENGTH));
    let width = table.required("width_m", "width_m = 2.0").and_then(|value| value.number(&LENGTH));
    table.finish();
    let kind = kind?;
    let name = name.unwrap_or_else(|| kind.name().to_string());
    Some(CoverStock { name, kind, count: count?, length: length?, width: width? })
}

fn read_bed(table: Table<'_>, crops: Option<&Catalogue>) -> Option<Bed> {
    let id = table.required("id", "id = \"A1\": what its label says").and_then(|value| value.text());
    let name = table.optional("name").and_then(|value| value.text()).map(str::to_string);
    let kind = read_kind(&table);
    let size = |key: &'static str| table.required(key, &format!("{key} = 1.2")).and_then(|value| value.number(&LENGTH));
    let (length, width) = match kind {
        // Pots stand together: their room is their number of squares.
        Some(BedKind::Containers { diameter, count, .. }) => (Some(diameter * f64::from(count)), Some(diameter)),
        _ => (size("length_m"), size("width_m")),
    };
    let exposure = match table.optional("exposure") {
        Some(value) => value.word(Exposure::ALL, Exposure::word),
        None => Some(Exposure::Open),
    };
    let offset = table.optional("offset").and_then(|value| value.difference(&TEMPERATURE_DIFFERENCE));
    let plantings = table.tables("plantings");
    if plantings.is_empty() {
        table.fault(
            "this bed has no planting",
            "A bed without a crop could not be warned about.",
            "add a table [[beds.plantings]] with crop and stage, or remove the bed while it rests",
        );
    }
    let plantings: Vec<Planting> =
        plantings.into_iter().filter_map(|planting| read_planting(planting, crops)).collect();
    table.finish();
    Some(Bed {
        id: id?.to_string(),
        name,
        kind: kind?,
        length: length?,
        width: width?,
        exposure: exposure?,
        offset,
        plantings,
    })
}

fn read_kind(table: &Table<'_>) -> Option<BedKind> {
    let value = table.required("kind", "kind = \"raised\", \"in-ground\" or \"containers\"")?;
    let word = value.word(&["raised", "in-ground", "containers"], |word| word)?;
    match word {
        "raised" => Some(BedKind::Raised),
        "in-ground" => Some(BedKind::InGround),
        _ => {
            let diameter = table.required("diameter_m", "diameter_m = 0.3");
            let diameter = diameter.and_then(|value| value.number(&LENGTH));
            let count = table.optional("pots").map_or(Some(1), |value| value.count(&POTS));
            let movable = table.optional("movable").map_or(Some(true), |value| value.flag());
            Some(BedKind::Containers { diameter: diameter?, count: count?, movable: movable? })
        }
    }
}

fn read_planting(table: Table<'_>, crops: Option<&Catalogue>) -> Option<Planting> {
    let crop = table.required("crop", "crop = \"carrot\": a name from crops/");
    let crop = crop.and_then(|value| read_crop(&value, crops));
    let stage = table.required("stage", "stage = \"leafy\": a stage of that crop");
    let stage = stage.and_then(|value| {
        let text = value.text()?;
        let stages = match &crop {
            Some((_, Some(crop))) => &crop.stages,
            _ => return Some(text.to_string()),
        };
        if !stages.iter().any(|stage| stage == text) {
            let mend = suggestion(text, stages.iter().map(String::as_str))
                .unwrap_or_else(|| format!("its stages are: {}", stages.join(", ")));
            value.fault(format!("this crop has no stage \"{text}\""), "", mend);
            return None;
        }
        Some(text.to_string())
    });
    let hardened = match table.optional("hardened") {
        Some(value) => value.word(Hardened::ALL, Hardened::word),
        // The tender side: raised under cover until someone says otherwise.
        None => Some(Hardened::No),
    };
    let cultivar = table.optional("cultivar").and_then(|value| value.text()).map(str::to_string);
    let planted = table.optional("planted").and_then(|value| value.date());
    let part_of_bed = table.optional("part_of_bed").map_or(Some(1.0), |value| value.number(&PART));
    let worth = table.optional("worth_minutes").and_then(|value| value.number(&MINUTES)).map(Minutes);
    table.finish();
    let (crop, _) = crop?;
    Some(Planting { crop, cultivar, stage: stage?, hardened: hardened?, planted, part_of_bed: part_of_bed?, worth })
}

fn read_crop<'c>(value: &Value<'_>, crops: Option<&'c Catalogue>) -> Option<(String, Option<&'c Crop>)> {
    let text = value.text()?;
    let Some(catalogue) = crops else { return Some((text.to_string(), None)) };
    if let Some(crop) = catalogue.crops.get(text) {
        return Some((crop.id.clone(), Some(crop)));
    }
    // A grower may well write the crop's own name instead of the name of its file.
    if let Some(crop) = catalogue.crops.values().find(|crop| crop.name.eq_ignore_ascii_case(text)) {
        return Some((crop.id.clone(), Some(crop)));
    }
    let names = catalogue.crops.keys().map(String::as_str);
    let mend = match nearest(text, names) {
        Some(near) => format!("did you mean \"{near}\"? `counterpane check --crops` lists all names"),
        None => "`counterpane check --crops` lists all names".to_string(),
    };
    value.fault(format!("no crop is called \"{text}\""), "A bed without a known crop could not be warned about.", mend);
    None
}

/// Beds are told apart by their labels, in the list and in the journal.
fn same_id_twice(root: &Table<'_>) {
    let mut seen = Vec::new();
    for bed in root.tables("beds") {
        let Some(value) = bed.optional("id") else { continue };
        let Some(id) = value.text_if_sound() else { continue };
        if seen.contains(&id) {
            let why = "Nobody could tell the two apart on a list.";
            value.fault(format!("two beds are labelled \"{id}\""), why, "give each bed its own label");
        }
        seen.push(id);
    }
}
