//! Entries as a list takes them: what was picked, spoilt, lost or sown again.
//!
//! Harm counts by its night, however late somebody writes it down: what was sown or set out since has not been harmed.

use super::event::Written;
use super::{Amount, What};
use crate::beds::Garden;
use crate::crops::damage::{DamageClass, Usable};
use crate::plan::said::Said;
use crate::plan::taken::{How, Picked, Taken};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// From such a class of damage on it counts whether what was harmed is of use: less is trimmed off.
const MARKED: u8 = 3;
/// A list is answered by what was picked within so long of it (assumed: its night, and two days to write it down).
const ANSWERED_WITHIN: Duration = Duration::days(3);

/// What entries say of the plants of a garden before a night, in order of time; `said` are its lists of about the same days.
/// What that night does, or a later one, is not done yet.
pub fn taken(garden: &Garden, entries: &[Written], said: &[Said], of: NightOf) -> Vec<Taken> {
    let standing = entries.iter().filter(|written| written.stands());
    let taken = standing.filter_map(|Written { entry, .. }| {
        let mut on = garden.zone.local(entry.at).date_naive();
        // What is lifted or lost has stood there the evening before; what is sown on a day stands from then on.
        let mut stood_on = on.pred_opt().unwrap_or(on);
        let (bed, crop, how) = match &entry.what {
            What::Harvested(harvested) => {
                let amount = match harvested.amount {
                    Amount::Count(pieces) => Picked::Pieces(pieces),
                    Amount::Grams(grams) => Picked::Weight(grams),
                };
                let asked = was_asked(said, &harvested.bed, &harvested.crop, entry.at);
                (&harvested.bed, Some(&harvested.crop), How::Picked { amount, asked })
            }
            What::Damage(damage) if damage.night < of => {
                (on, stood_on) = (damage.night.0, damage.night.0);
                (&damage.bed, damage.crop.as_ref(), spoilt(damage.class, damage.usable)?)
            }
            What::Lost(gone) => (&gone.bed, Some(&gone.crop), How::Gone),
            What::Resown(gone) => {
                stood_on = on;
                (&gone.bed, Some(&gone.crop), How::Resown)
            }
            What::Damage(_)
            | What::Reading(_)
            | What::Covered(_)
            | What::Uncovered(_)
            | What::Imported(_)
            | What::Struck(_) => return None,
        };
        let sowing = entry.what.sowing().map(str::to_string);
        Some(Taken { bed: bed.clone(), crop: crop.cloned(), sowing, on, stood_on, how })
    });
    taken.collect()
}

/// Nothing grows again of what is dead; of what is marked and of no use nothing is left to pick, and of what is partly of
/// use half (assumed).
fn spoilt(class: DamageClass, usable: Option<Usable>) -> Option<How> {
    let is_dead = DamageClass::all().last() == Some(class);
    match usable {
        _ if is_dead => Some(How::Gone),
        Some(Usable::No) if class.number() >= MARKED => Some(How::Spoilt(1.0)),
        Some(Usable::Partly) if class.number() >= MARKED => Some(How::Spoilt(0.5)),
        _ => None,
    }
}

/// Whether the list that stood had asked to pick this shortly before: one that was called off asks for nothing.
fn was_asked(said: &[Said], bed: &str, crop: &str, at: DateTime<Utc>) -> bool {
    let lists = said.iter().filter(|said| said.kept.is_none() && said.at <= at);
    let last = lists.max_by_key(|said| said.at).filter(|said| at - said.at <= ANSWERED_WITHIN);
    let mut beds = last.iter().flat_map(|said| &said.beds);
    beds.any(|said| said.bed == bed && said.picks.iter().any(|pick| pick == crop))
}

#[cfg(test)]
mod tests;
