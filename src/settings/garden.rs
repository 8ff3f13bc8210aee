//! `gardens/<id>.toml`: one garden's place, people, covers, beds and plantings.

use super::bed::{BEDS, neighbours, read_bed, same_bed_twice};
use super::own_figures;
use super::reader::{Listed, Table};
use super::service::{FeedChoice, address};
use super::shared;
use super::suggest::suggestion;
use super::value::Value;
use super::{Fault, File, GardenSettings, Known, KnownFeed, read_document};
use crate::beds::{Bed, Caution, CoverStock, Crew, Garden, InUse, Person, Role};
use crate::night::cover::CoverKind;
use crate::units::{
    COVER_COUNT, ELEVATION, LATITUDE, LENGTH, LONGITUDE, Limits, MINUTES, Minutes, Scale, TEMPERATURE_DIFFERENCE,
};
use crate::weather::Site;
use crate::zone::Zone;
use chrono::{DateTime, Duration};
use chrono_tz::Tz;

const MARGIN: Limits = Limits {
    what: "time before sunset",
    low: 0.0,
    high: 240.0,
    unit: "minutes",
    why: "the work is that of one afternoon",
};
const CREW: Limits =
    Limits { what: "people", low: 0.0, high: 500.0, unit: "people", why: "that many would stand in each other's way" };
const AFTERNOON: Limits = Limits {
    what: "minutes of each",
    low: 0.0,
    high: 480.0,
    unit: "minutes",
    why: "the work is that of one afternoon",
};
/// Person-minutes that saving a square metre is worth, where a garden does not say (assumed; a bed of 1.2 by 2.4 m is
/// then worth about an hour of one person's work).
const WORTH_PER_SQUARE_METRE: f64 = 20.0;
/// Work ends this long before sunset, where a garden does not say: the soil still gives heat and people see their way.
const FINISH_BEFORE_SUNSET: f64 = 30.0;

const PEOPLE: Listed = Listed { key: "people", one: "person", told_by: Some("name") };
pub(super) const COVERS: Listed = Listed { key: "covers", one: "cover", told_by: Some("name") };

/// Reads one garden.
pub(super) fn read(file: &File, known: &Known<'_>) -> Result<GardenSettings, Vec<Fault>> {
    read_document(file, |document| {
        let root = document.root();
        let id = id_of(&file.0);
        let name = root.required("name", "name = \"...\" at the top").and_then(|value| value.name());
        let place = root.required("place", "a table [place] with latitude, longitude, elevation_m and time_zone");
        let place = place.and_then(|value| value.table()).and_then(read_place);
        let shown = root.optional("shown_in").map_or(Some(Scale::Fahrenheit), |value| {
            value.word(&[Scale::Celsius, Scale::Fahrenheit], |scale| match scale {
                Scale::Celsius => "C",
                Scale::Fahrenheit => "F",
            })
        });
        let offset = root.optional("offset").and_then(|value| value.difference(&TEMPERATURE_DIFFERENCE));
        let finish = root.optional("finish_minutes_before_sunset").and_then(|value| value.number(&MARGIN));
        let worth = root.optional("worth_minutes_per_square_metre").and_then(|value| value.number(&MINUTES));
        let caution =
            root.optional("caution").map_or(Some(Caution::default()), |value| value.word(Caution::ALL, Caution::word));
        let chosen =
            root.required("feeds", "feeds = [\"nws\"] at the top: names of feeds in counterpane.toml, best first");
        let chosen = chosen.map(|value| choose_feeds(&value, known.feeds)).unwrap_or_default();
        let people = read_people(&root);
        let crew = match root.optional("crew") {
            None => Some(None),
            Some(value) => value.table().and_then(read_crew).map(Some),
        };
        let covers: Vec<CoverStock> = root.tables(COVERS).into_iter().filter_map(read_cover).collect();
        same_cover_twice(&root);
        let tables = root.tables(BEDS);
        if root.optional("beds").is_none_or(|value| value.is_empty()) {
            let mend = "add [[beds]] with id, kind, length_m and width_m, and [[beds.plantings]] below it";
            root.fault("this garden has no bed", "There would be nothing to warn about.", mend);
        }
        let zone = place.as_ref().map(|(_, zone)| zone);
        let today = known.now.zip(zone).map(|(now, zone)| zone.local(now).date_naive());
        let beds: Vec<Bed> = tables.into_iter().filter_map(|bed| read_bed(bed, known.crops, today)).collect();
        let own_figures = own_figures::read(&root, &beds, known.crops);
        same_bed_twice(&root);
        neighbours(&root);
        if let Some(value) = root.refused("plantings") {
            let why = "Which bed it grows in is not said.";
            value.fault_at_key(
                "a planting belongs to a bed",
                why,
                "write [[beds.plantings]], below the [[beds]] it grows in",
            );
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
            caution: caution?,
            people,
            crew: crew?,
            covers,
            beds,
            own_figures,
            learned: InUse::default(),
        };
        Some(GardenSettings { garden, feeds: chosen })
    })
}

/// The garden's name on the command line is the name of its file.
pub(super) fn id_of(file: &str) -> String {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    name.strip_suffix(".toml").unwrap_or(name).to_string()
}

/// The name goes into the log and into every message's own number, where a blank or a line break would forge others.
pub(super) fn name_fault(file: &str) -> Option<Fault> {
    let known = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    let id = id_of(file);
    let what = "the name of this file cannot be the name of a garden";
    let why = "It stands in the log and in the number of every message.";
    let mend = "rename it, with letters without accents, digits, - and _ only, like our-place.toml";
    (id.is_empty() || !id.chars().all(known)).then(|| Fault::of_file(file, what, why, mend))
}

fn read_place(table: Table<'_>) -> Option<(Site, Zone)> {
    let latitude = table.required("latitude", "latitude = 36.1").and_then(|value| value.number(&LATITUDE));
    let longitude = table.required("longitude", "longitude = -79.9 (west is negative)");
    let longitude = longitude.and_then(|value| value.number(&LONGITUDE));
    let elevation = table.required("elevation_m", "elevation_m = 270").and_then(|value| value.number(&ELEVATION));
    let zone = table.required("time_zone", "time_zone = \"America/New_York\"").and_then(|value| read_zone(&value));
    if let (Some(longitude), Some(zone)) = (longitude, &zone) {
        same_side_of_the_earth(&table, longitude, zone);
    }
    table.finish();
    Some((Site { latitude: latitude?, longitude: longitude?, elevation: elevation? }, zone?))
}

/// No clock of the world is further from its sun than this, h (assumed: the west of China, on Beijing's clock, is about
/// three hours off; summer time adds one).
const FURTHEST_FROM_THE_SUN: f64 = 4.5;

/// A longitude without its minus sign is a garden in Asia: its clock shows it.
fn same_side_of_the_earth(table: &Table<'_>, longitude: f64, zone: &Zone) {
    // Who keeps universal time or a bare offset does so on purpose, wherever the garden is.
    let by_the_sun = zone.name().contains('/') && !zone.name().starts_with("Etc/");
    if !by_the_sun {
        return;
    }
    // Any day will do whose clocks are those of today: the first of 2026.
    let day = DateTime::from_timestamp(1_767_225_600, 0).unwrap_or_default();
    let clock = f64::from(zone.local(day).offset().local_minus_utc()) / 3600.0;
    let apart = (clock - longitude / 15.0).rem_euclid(24.0);
    if apart.min(24.0 - apart) > FURTHEST_FROM_THE_SUN
        && let Some(value) = table.optional("longitude")
    {
        let why = "The forecast would be of another part of the world.";
        let mend = match longitude {
            east if east > 0.0 => {
                "west of Greenwich, as all over America, a longitude is negative; or correct time_zone"
            }
            _ => "east of Greenwich a longitude is positive; or correct time_zone",
        };
        value.fault(format!("longitude {longitude} is far from the time zone {}", zone.name()), why, mend);
    }
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

fn choose_feeds(value: &Value<'_>, known: Option<&[KnownFeed]>) -> Vec<FeedChoice> {
    let Some(items) = value.list("[\"nws\"]") else { return Vec::new() };
    if items.is_empty() {
        value.fault("no feed is named", "There would be no forecast.", "write feeds = [\"nws\"]");
    }
    let names: Vec<(&Value<'_>, &str)> = items.iter().filter_map(|item| Some((item, item.text()?))).collect();
    let named = names.iter().map(|(item, name)| ((*name).to_string(), (*item).clone()));
    each_once(
        named,
        "one feed stands twice in the list:",
        "The second is asked when the first is silent.",
        "name each once",
    );
    // Where the feeds could not be read, their own file says why.
    let Some(known) = known else { return Vec::new() };
    let found = names.into_iter().filter_map(|(item, name)| {
        let feed = known.iter().find(|feed| feed.name == name);
        if feed.is_none() && !known.is_empty() {
            let all: Vec<&str> = known.iter().map(|feed| feed.name.as_str()).collect();
            let mend = suggestion(name, all.iter().copied())
                .unwrap_or_else(|| format!("counterpane.toml has: {}", all.join(", ")));
            item.fault(format!("no feed is called \"{name}\""), "There would be no forecast.", mend);
        }
        feed?.choice.clone()
    });
    found.collect()
}

fn read_people(root: &Table<'_>) -> Vec<Person> {
    let tables = root.tables(PEOPLE);
    let written = tables.len();
    let people: Vec<Person> = tables
        .into_iter()
        .filter_map(|table| {
            let name = table.required("name", "name = \"Tuesday crew\"").and_then(|value| value.name());
            let address = table
                .required("address", "address = \"name@place.example\"")
                .and_then(|value| address(&value, "Nobody would be told."));
            let role = table.required("role", "role = \"manager\" (or \"volunteer\")");
            let role = role.and_then(|value| value.word(Role::ALL, Role::word));
            let calendar = table.optional("calendar").map_or(Some(true), |value| value.flag());
            table.finish();
            Some(Person { name: name?.to_string(), address: address?, role: role?, calendar: calendar? })
        })
        .collect();
    let addresses = root.tables(PEOPLE).into_iter().filter_map(|person| person.optional("address"));
    let addressed = addresses.filter_map(|value| Some((value.text_if_sound()?.to_string(), value)));
    let mend = "keep one of them, the manager if either is one, or give each an address of their own";
    each_once(addressed, "two people have the address", "They would get every message twice.", mend);
    // Someone at fault may be the manager.
    if people.len() == written && !people.iter().any(|person| person.role == Role::Manager) {
        let mend = "add a table [[people]] with name, address and role = \"manager\"";
        root.fault("this garden has no manager with an address", "Nobody would be warned.", mend);
    }
    people
}

fn read_crew(table: Table<'_>) -> Option<Crew> {
    let people = table.required("people", "people = 3").and_then(|value| value.count(&CREW));
    let minutes = table.required("minutes", "minutes = 30 (what each of them has before dusk)");
    let minutes = minutes.and_then(|value| value.number(&AFTERNOON));
    table.finish();
    Some(Crew { people: people?, minutes: Minutes(minutes?) })
}

fn read_cover(table: Table<'_>) -> Option<CoverStock> {
    let kind = table.required("kind", "kind = \"medium-row-cover\"");
    let kind = kind.and_then(|value| value.word(CoverKind::ALL, CoverKind::word));
    let name = table.optional("name").and_then(|value| value.name()).map(str::to_string);
    let count = table.required("count", "count = 5").and_then(|value| value.count(&COVER_COUNT));
    let length = table.required("length_m", "length_m = 3.0").and_then(|value| value.number(&LENGTH));
    let width = table.required("width_m", "width_m = 2.0").and_then(|value| value.number(&LENGTH));
    let rests = table.optional("rests_on_plants").map_or(Some(None), |value| value.flag().map(Some));
    let shared_with = table.optional("shared_with").map_or(Some(Vec::new()), |value| shared::names(&value));
    table.finish();
    let kind = kind?;
    let rests_on_plants = rests?.unwrap_or(kind.rests_as_a_rule());
    let name = name.unwrap_or_else(|| kind.name().to_string());
    Some(CoverStock {
        name,
        kind,
        count: count?,
        length: length?,
        width: width?,
        rests_on_plants,
        shared_with: shared_with?,
    })
}

/// Covers are told apart by what the shelf says; without a name, by their kind.
fn same_cover_twice(root: &Table<'_>) {
    let covers = root.tables(COVERS).into_iter().filter_map(|cover| {
        let kind = cover.optional("kind")?;
        match cover.optional("name") {
            Some(name) => Some((name.text_if_sound()?.to_string(), name)),
            None => {
                let known = CoverKind::ALL.iter().find(|known| Some(known.word()) == kind.text_if_sound());
                Some((known?.name().to_string(), kind))
            }
        }
    });
    each_once(
        covers,
        "two covers are called",
        NOT_TOLD_APART,
        "give each size a name = \"...\" of its own, as on the shelf",
    );
}

pub(super) const NOT_TOLD_APART: &str = "Nobody could tell the two apart on a list.";

/// Reports every name that came before. Capital letters tell nothing apart for somebody who reads aloud.
pub(super) fn each_once<'a>(named: impl Iterator<Item = (String, Value<'a>)>, what: &str, why: &str, mend: &str) {
    let mut seen: Vec<String> = Vec::new();
    for (name, value) in named {
        let same = |earlier: &&String| earlier.to_lowercase() == name.to_lowercase();
        if let Some(earlier) = seen.iter().find(same) {
            let both = match *earlier == name {
                true => format!("{what} \"{name}\""),
                false => format!("{what} \"{earlier}\" and \"{name}\""),
            };
            value.fault(both, why, mend);
        }
        seen.push(name);
    }
}
