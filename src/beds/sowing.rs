//! Sowings of one crop in one bed, and what tells them apart.
//!
//! A bed may be sown to one crop twice. Wherever such a planting is named, what tells it from the others is named with it:
//! its cultivar where no other has the same, else the date on which it was planted.

use super::{Bed, Planting};
use crate::crops::{CountedFrom, Crop};
use chrono::Datelike;

impl Bed {
    /// All plantings of a crop, in the order of the garden's file.
    pub fn plantings_of<'b>(&'b self, crop: &'b str) -> impl Iterator<Item = &'b Planting> {
        self.plantings.iter().filter(move |planting| planting.crop == crop)
    }

    /// What tells a planting from every other of its crop in this bed, as entries of the journal keep it: its cultivar, else
    /// its date such as `2026-09-12`. `None` where the bed has its crop but once, and where the garden's file has nothing
    /// that tells them apart.
    pub fn sowing_of(&self, planting: &Planting) -> Option<String> {
        let alike = || self.plantings_of(&planting.crop);
        if alike().count() < 2 {
            return None;
        }
        let only = |sowing: &String| alike().filter(|other| other.is_sowing(sowing)).count() == 1;
        let date = planting.planted.map(|planted| planted.to_string());
        planting.cultivar.clone().filter(only).or(date.filter(only))
    }

    /// [`Bed::sowing_of`] as people say it: "Boltardy", or "sown 12 September".
    pub fn told_apart(&self, planting: &Planting, crop: &Crop) -> Option<String> {
        let sowing = self.sowing_of(planting)?;
        let Some(planted) = planting.planted.filter(|planted| planted.to_string() == sowing) else {
            return Some(sowing);
        };
        let how = match planting.start.unwrap_or(crop.growing.counted_from) {
            CountedFrom::Seed => "sown",
            CountedFrom::Transplant => "set out",
            CountedFrom::Division => "planted",
        };
        // A year is said where there are several.
        let mut dates = self.plantings_of(&planting.crop).filter_map(|other| other.planted);
        let of_one_year = dates.all(|other| other.year() == planted.year());
        Some(format!("{how} {}", planted.format(if of_one_year { "%-d %B" } else { "%-d %B %Y" })))
    }

    /// A planting's name within its bed: "beet", and where the bed has beet twice "beet (Boltardy)" or "beet (sown 12
    /// September)".
    pub fn name_of(&self, planting: &Planting, crop: &Crop) -> String {
        named(&crop.name, self.told_apart(planting, crop))
    }
}

/// A crop with what tells a planting of it from the others.
pub fn named(crop: &str, told_apart: Option<impl std::fmt::Display>) -> String {
    told_apart.map_or_else(|| crop.to_string(), |told_apart| format!("{crop} ({told_apart})"))
}

impl Planting {
    /// Whether an entry that names this sowing speaks of it: by its cultivar, or its date such as `2026-09-12`.
    pub fn is_sowing(&self, sowing: &str) -> bool {
        self.cultivar.as_ref().is_some_and(|cultivar| cultivar.eq_ignore_ascii_case(sowing))
            || self.planted.is_some_and(|planted| planted.to_string() == sowing)
    }

    /// Whether words that somebody typed are those of this sowing, or their beginning: a cultivar, 2026-09-12, 12
    /// September, September 12, each also after "sown", "set out" or "planted". The whole words go before a beginning.
    pub fn answers_to(&self, typed: &str, whole: bool) -> bool {
        let typed = typed.trim().to_lowercase();
        let typed = ["sown ", "set out ", "planted "].iter().find_map(|how| typed.strip_prefix(how)).unwrap_or(&typed);
        let dates = self.planted.into_iter().flat_map(|planted| {
            ["%Y-%m-%d", "%-d %B", "%-d %B %Y", "%B %-d", "%B %-d %Y"]
                .map(|format| planted.format(format).to_string().to_lowercase())
        });
        let mut names = self.cultivar.iter().map(|cultivar| cultivar.to_lowercase()).chain(dates);
        names.any(|name| if whole { name == typed } else { !typed.is_empty() && name.starts_with(typed) })
    }
}

#[cfg(test)]
mod tests;
