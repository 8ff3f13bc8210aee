//! Whether what an entry speaks of is in the garden: its bed, and what grew there that day.

use super::event::Written;
use super::{Damage, Entry, What};
use crate::beds::{Bed, Garden, Planting, named};
use crate::crops::Catalogue;
use crate::rounds::night_hours;
use chrono::{Duration, NaiveDate};

/// The bed of a label, or which there are.
pub fn bed_of<'g>(garden: &'g Garden, id: &str) -> Result<&'g Bed, String> {
    garden.beds.iter().find(|bed| bed.id == id).ok_or_else(|| {
        let ids: Vec<&str> = garden.beds.iter().map(|bed| bed.id.as_str()).collect();
        format!("No bed is labelled \"{id}\". There are: {}", ids.join(", "))
    })
}

/// The identifier of a crop that grew in a bed on a day; it may be named as growers call it.
pub fn crop_in(bed: &Bed, catalogue: &Catalogue, named: &str, on: NaiveDate) -> Result<String, String> {
    let crop = catalogue
        .crops
        .values()
        .find(|crop| [&crop.id, &crop.name, &crop.listed_as].into_iter().any(|name| name.eq_ignore_ascii_case(named)));
    let crop =
        crop.ok_or_else(|| format!("No crop is called \"{named}\". Bed {} has: {}", bed.id, crops_of(bed, catalogue)))?;
    let mut plantings = bed.plantings.iter().filter(|planting| planting.crop == crop.id).peekable();
    if plantings.peek().is_none() {
        return Err(format!("Bed {} has no {}. It has: {}", bed.id, crop.name, crops_of(bed, catalogue)));
    }
    let planted = plantings.map(|planting| planting.planted).collect::<Option<Vec<NaiveDate>>>();
    match planted.and_then(|dates| dates.into_iter().min()) {
        Some(first) if first > on => {
            Err(format!("The {} in bed {} was planted on {first}, and was not there on {on}", crop.name, bed.id))
        }
        _ => Ok(crop.id.clone()),
    }
}

fn crops_of(bed: &Bed, catalogue: &Catalogue) -> String {
    let name = |planting: &Planting| {
        let crop = catalogue.crops.get(&planting.crop);
        named(&planting.crop, crop.and_then(|crop| bed.told_apart(planting, crop)))
    };
    let mut crops: Vec<String> = Vec::new();
    for name in bed.plantings.iter().map(name) {
        if !crops.contains(&name) {
            crops.push(name);
        }
    }
    if crops.is_empty() { "nothing".into() } else { crops.join(", ") }
}

/// Which of several sowings of a crop in a bed is meant, as entries keep it: by what somebody typed, or asking where they
/// did not say. `None`: all that stand there, because there is but one, because they are alike, or because `all` was typed.
pub fn sowing_in(
    bed: &Bed,
    catalogue: &Catalogue,
    crop: &str,
    typed: Option<&str>,
    on: NaiveDate,
) -> Result<Option<String>, String> {
    let there: Vec<&Planting> =
        bed.plantings_of(crop).filter(|planting| planting.planted.is_none_or(|planted| planted <= on)).collect();
    let which = |planting: &&Planting| {
        let crop = catalogue.crops.get(&planting.crop)?;
        bed.told_apart(planting, crop)
    };
    let choices = || {
        let alike = || "one without a cultivar or date of its own".to_string();
        there.iter().map(|planting| which(planting).unwrap_or_else(alike)).collect::<Vec<_>>().join(", ")
    };
    let Some(typed) = typed.map(str::trim) else {
        if there.len() < 2 {
            return Ok(None);
        }
        return match there.iter().find_map(which) {
            None => Ok(None),
            Some(example) => Err(format!(
                "Bed {} has {crop} {} times: {}. Which is meant? Add it, such as --sowing \"{example}\", or --sowing all",
                bed.id,
                there.len(),
                choices()
            )),
        };
    };
    if typed.eq_ignore_ascii_case(ALL) {
        return Ok(None);
    }
    let answers = |whole: bool| there.iter().filter(|planting| planting.answers_to(typed, whole)).collect::<Vec<_>>();
    let found = match answers(true) {
        found if found.is_empty() => answers(false),
        found => found,
    };
    match found.as_slice() {
        [only] => {
            let date = only.planted.map(|planted| planted.to_string());
            Ok(bed.sowing_of(only).or_else(|| only.cultivar.clone()).or(date))
        }
        [] => Err(format!("No {crop} in bed {} is of the sowing \"{typed}\". There is: {}", bed.id, choices())),
        _ => Err(format!("Several {crop} in bed {} are of the sowing \"{typed}\": {}", bed.id, choices())),
    }
}

/// What means every sowing.
const ALL: &str = "all";

/// Whether two entries may speak of the same, where none means all.
pub fn overlap(one: &Option<String>, other: &Option<String>) -> bool {
    one.is_none() || other.is_none() || one == other
}

/// The entry by which a planting was gone before a night: it cannot have been harmed in it, unless it was sown again since.
/// Of a whole bed nothing is said. `entries` are in order of time.
pub fn lost_before<'e>(damage: &Damage, garden: &Garden, entries: &'e [Written]) -> Option<&'e Written> {
    let crop = damage.crop.as_ref()?;
    let (sunset, _) = night_hours(&garden.site, &garden.zone, damage.night);
    let of_planting = |written: &&Written| match &written.entry.what {
        // One sowing that is lost takes no other with it.
        What::Lost(gone) | What::Resown(gone) => {
            gone.bed == damage.bed && gone.crop == *crop && (gone.sowing.is_none() || gone.sowing == damage.sowing)
        }
        _ => false,
    };
    let mut before = entries.iter().filter(|written| written.stands() && written.entry.at <= sunset);
    let last = before.rfind(of_planting).filter(|last| matches!(last.entry.what, What::Lost(_)))?;
    let gone_on = garden.zone.local(last.entry.at).date_naive();
    let plantings = garden.beds.iter().filter(|bed| bed.id == damage.bed).flat_map(|bed| &bed.plantings);
    let meant = |planting: &&Planting| damage.sowing.as_ref().is_none_or(|sowing| planting.is_sowing(sowing));
    let mut set_out =
        plantings.filter(|planting| planting.crop == *crop).filter(meant).filter_map(|planting| planting.planted);
    let is_new = set_out.any(|planted| planted > gone_on && planted <= damage.night.0);
    (!is_new).then_some(last)
}

/// Whether an entry speaks of a bed of the garden, and of what grew there that day.
pub fn belongs(entry: &Entry, garden: &Garden, catalogue: &Catalogue) -> Result<(), String> {
    let Some(bed) = entry.what.bed() else { return Ok(()) };
    let bed = bed_of(garden, bed)?;
    let day = garden.zone.local(entry.at).date_naive();
    let grew = |crop: &str, on: NaiveDate| {
        let id = crop_in(bed, catalogue, crop, on)?;
        let Some(sowing) = entry.what.sowing() else { return Ok(()) };
        if bed.plantings_of(&id).any(|planting| planting.is_sowing(sowing)) {
            return Ok(());
        }
        Err(match sowing_in(bed, catalogue, &id, Some(sowing), on)? {
            Some(kept) => format!("The sowing \"{sowing}\" is kept as \"{kept}\"; write it so"),
            None => "Where every sowing is meant, leave the sowing blank".into(),
        })
    };
    match &entry.what {
        What::Damage(damage) => {
            let (sunset, _) = night_hours(&garden.site, &garden.zone, damage.night);
            if sunset > entry.at {
                let before = day.min(damage.night.0) - Duration::days(1);
                return Err(format!(
                    "The night of {} began only after somebody had looked; was it that of {before}?",
                    damage.night
                ));
            }
            match &damage.crop {
                Some(crop) => grew(crop, damage.night.0),
                None if bed.plantings.is_empty() => Err(format!("Nothing grows in bed {}", bed.id)),
                None if bed.plantings.iter().all(|planting| planting.planted > Some(damage.night.0)) => {
                    Err(format!("What grows in bed {} was planted after the night of {}", bed.id, damage.night))
                }
                None => Ok(()),
            }
        }
        What::Harvested(harvested) => grew(&harvested.crop, day),
        What::Lost(gone) => grew(&gone.crop, day),
        // What is sown anew need not stand in the settings yet.
        What::Resown(gone) if catalogue.crops.contains_key(&gone.crop) => Ok(()),
        What::Resown(gone) => Err(format!("No crop is called \"{}\"", gone.crop)),
        What::Reading(_) | What::Covered(_) | What::Uncovered(_) | What::Imported(_) | What::Struck(_) => Ok(()),
    }
}
