//! What past nights hold for the learners: lows that are sure to be lows, beside what was foretold and at the beds; and
//! the learned figures by name, with what was accepted of them.
//!
//! ```text
//! rounds, thermometers -> forecasts    how each feed lies against the garden's screen
//!                      -> beds         how each bed lies against it
//!                      -> covers       what each cover gains
//! reports of harm      -> tolerances   what each crop stands
//!                      -> figures      each by its name, as published, learned and in use
//! ```

pub mod beds;
pub mod covers;
pub mod figures;
pub mod forecasts;
pub mod lows;
pub mod tolerances;

use crate::beds::Garden;
use crate::journal::event::{ForecastAtRound, Written, night_of};
use crate::journal::{Covered, Place, What};
use crate::night::cover::{Cover, Layers};
use crate::night::screen::Span;
use crate::rounds::night_hours;
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::Duration;
use lows::NightLow;
use std::collections::{BTreeMap, BTreeSet};

/// All that is known of past nights, as far as something can be learned from it.
#[derive(Clone, Debug, Default)]
pub struct Lessons {
    /// In order of night and time.
    pub foretold: Vec<ForecastAtRound>,
    pub lows: Vec<NightLow>,
    /// Nights of which somebody said that what was read is right, though it was asked about.
    pub confirmed: BTreeSet<NightOf>,
    /// Beds on which something lay in a night, and what, where that is known.
    pub covered: BTreeMap<(NightOf, String), Option<Cover>>,
    /// Reports of harm, in order of time.
    pub damage: Vec<Written>,
}

/// A cover that nobody wrote down as taken off counts for no more nights than this (assumed).
const FORGOTTEN: i64 = 14;

/// Which beds were covered in which nights: from the evening a cover was laid until it was taken
/// off.
pub fn covered(garden: &Garden, entries: &[Written]) -> BTreeMap<(NightOf, String), Option<Cover>> {
    let longitude = garden.site.longitude;
    let mut covered = BTreeMap::new();
    for laid in entries.iter().filter(|written| written.stands()) {
        let What::Covered(cover) = &laid.entry.what else { continue };
        let off = off_after(entries, laid, &cover.bed);
        let first = night_of(laid.entry.at, longitude);
        let nights =
            off.map_or(FORGOTTEN, |off| (night_of(off.entry.at, longitude).0 - first.0).num_days().clamp(0, FORGOTTEN));
        let what = what_lay(garden, cover);
        covered.extend((0..=nights).map(|day| ((NightOf(first.0 + Duration::days(day)), cover.bed.clone()), what)));
    }
    covered
}

/// The same for nights of which somebody reports harm: what lay longer than 14 nights, or was never written down as
/// taken off, may still have been on, and nobody knows how it lay.
pub fn perhaps_covered(
    garden: &Garden,
    entries: &[Written],
    nights: &BTreeSet<NightOf>,
) -> BTreeMap<(NightOf, String), Option<Cover>> {
    let mut covered = covered(garden, entries);
    let longitude = garden.site.longitude;
    for laid in entries.iter().filter(|written| written.stands()) {
        let What::Covered(Covered { bed, .. }) = &laid.entry.what else { continue };
        let first = night_of(laid.entry.at, longitude);
        let off = off_after(entries, laid, bed).map(|off| night_of(off.entry.at, longitude));
        for night in nights.iter().filter(|night| **night >= first && off.is_none_or(|off| **night <= off)) {
            covered.entry((*night, bed.clone())).or_insert(None);
        }
    }
    covered
}

/// When a cover was taken off again.
fn off_after<'e>(entries: &'e [Written], laid: &Written, bed: &str) -> Option<&'e Written> {
    let mut later = entries.iter().filter(|written| written.stands() && written.entry.at > laid.entry.at);
    later.find(|written| matches!(&written.entry.what, What::Uncovered(off) if off.bed == bed))
}

/// The cover of the shelf that an entry names; where it names none, the only one that there is.
fn what_lay(garden: &Garden, entry: &Covered) -> Option<Cover> {
    let stock = match &entry.cover {
        Some(name) => garden.covers.iter().find(|stock| stock.name == *name)?,
        None => match garden.covers.as_slice() {
            [only] => only,
            _ => return None,
        },
    };
    Some(stock.cover(if entry.layers >= 2 { Layers::Two } else { Layers::One }))
}

/// The stretch of a night at a garden.
pub fn span_of(garden: &Garden, of: NightOf) -> Span {
    let (sunset, sunrise) = night_hours(&garden.site, &garden.zone, of);
    Span { of, sunset, sunrise }
}

impl Lessons {
    /// The low of a night at a place, where a thermometer has seen the whole of it.
    fn low(&self, night: NightOf, place: &Place) -> Option<Celsius> {
        self.lows.iter().find(|low| low.night == night && low.place == *place).map(|low| low.low)
    }

    /// The last thing foretold of a night before its sun rose.
    fn last_foretold(&self, garden: &Garden, of: NightOf) -> Option<&ForecastAtRound> {
        let sunrise = span_of(garden, of).sunrise;
        self.foretold.iter().rev().find(|round| round.night == of && round.made_at <= sunrise)
    }
}

#[cfg(test)]
mod tests;
