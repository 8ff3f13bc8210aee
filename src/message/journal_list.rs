//! The journal in words: a line for each entry.

use crate::beds::{Garden, named};
use crate::crops::damage::Usable;
use crate::journal::event::Written;
use crate::journal::when::Speaker;
use crate::journal::{Sampled, What};
use crate::units::Scale;
use std::fmt::Write as _;

/// What an entry says, without its time: "bed A1 covered with white cloth".
pub fn said(what: &What, shown: Scale) -> String {
    let noted = |note: &Option<String>| note.as_ref().map_or(String::new(), |note| format!(" ({note})"));
    match what {
        What::Reading(reading) => {
            let which = match reading.of {
                Sampled::Instant => "",
                Sampled::Minimum { .. } => "lowest ",
                Sampled::Maximum { .. } => "highest ",
            };
            let by = reading.thermometer.map_or(String::new(), |kind| format!(", {} thermometer", kind.word()));
            format!("{which}{} {}{by}", reading.temperature.tenths(shown), reading.place)
        }
        What::Covered(covered) => {
            let layers = if covered.layers == 2 { "two layers of " } else { "" };
            let with = covered.cover.as_ref().map_or(String::new(), |cover| format!(" with {layers}{cover}"));
            format!("bed {} covered{with}", covered.bed)
        }
        What::Uncovered(uncovered) => format!("bed {} uncovered", uncovered.bed),
        What::Harvested(harvested) => {
            format!(
                "{} of {} from bed {}{}",
                harvested.amount,
                named(&harvested.crop, harvested.sowing.as_ref()),
                harvested.bed,
                noted(&harvested.note)
            )
        }
        What::Damage(damage) => {
            let of = damage
                .crop
                .as_ref()
                .map_or(String::new(), |crop| format!("{} in ", named(crop, damage.sowing.as_ref())));
            let usable = match damage.usable {
                None => "",
                Some(Usable::Yes) => ", usable",
                Some(Usable::Partly) => ", partly usable",
                Some(Usable::No) => ", not usable",
            };
            let photo = damage.photo.as_ref().map_or(String::new(), |photo| format!(", photograph {photo}"));
            format!(
                "damage to {of}bed {} by the night of {}: class {}, {}{usable}{photo}{}",
                damage.bed,
                damage.night,
                damage.class.number(),
                damage.class.words(),
                noted(&damage.note)
            )
        }
        What::Lost(gone) => {
            format!("{} in bed {} lost{}", named(&gone.crop, gone.sowing.as_ref()), gone.bed, noted(&gone.note))
        }
        What::Resown(gone) => {
            format!("{} in bed {} sown again{}", named(&gone.crop, gone.sowing.as_ref()), gone.bed, noted(&gone.note))
        }
        What::Imported(imported) => {
            format!("log {} taken in: {} of {} rows {}", imported.file, imported.column, imported.rows, imported.place)
        }
        What::Struck(struck) => format!("another entry struck{}", noted(&struck.because)),
    }
}

/// Entries, each on its line: number, time, what it says, who wrote it, what was corrected.
pub fn journal_list(entries: &[Written], speaker: &Speaker<'_>, garden: &Garden) -> String {
    if entries.is_empty() {
        return format!("Nothing is written of {} in that time.\n", garden.name);
    }
    let mut text = String::new();
    for written in entries {
        let local = speaker.zone.local(written.entry.at);
        // Where the clock shows a time twice, the zone's short name says which it is.
        let is_twice = speaker.zone.instants(local.naive_local()).len() > 1;
        let name = if is_twice { format!(" {}", speaker.zone.abbreviation(written.entry.at)) } else { String::new() };
        let local = format!("{}{name}", local.format("%Y-%m-%d %H:%M"));
        let by = written.entry.by.as_ref().map_or(String::new(), |by| format!(", by {by}"));
        let said = said(&written.entry.what, garden.shown);
        let of = match (written.corrected_by, &written.entry.replaces) {
            (Some(later), _) => format!(" [corrected: see {later}]"),
            (None, Some(replaced)) => {
                let id = entries.iter().find(|other| other.key == *replaced).map(|other| other.id);
                id.map_or(String::new(), |id| format!(" [stands for {id}]"))
            }
            (None, None) => String::new(),
        };
        let _ = writeln!(text, "{:>6}  {local}  {said}{by}{of}", written.id);
    }
    text
}
