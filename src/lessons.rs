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
pub mod rows;
pub mod tolerances;

use crate::beds::Garden;
use crate::journal::event::ForecastAtRound;
use crate::journal::lying::Stay;
use crate::journal::{Covered, Place};
use crate::night::cover::{Cover, Layers};
use crate::night::screen::Span;
use crate::rounds::night_hours;
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::NaiveDate;
use lows::NightLow;
use rows::LoggedRows;
use std::collections::{BTreeMap, BTreeSet};
use tolerances::Harmed;

/// What is right by somebody's word: of a night a thermometer by [`of_low`], or a report by [`of_harm`].
pub type Confirmed = BTreeSet<(NightOf, String)>;

/// The name of a night's low at a place: `screen`, `bed:A1`, `under-cover:A1`.
pub fn of_low(place: &Place) -> String {
    place.bed().map_or(place.word().into(), |bed| format!("{}:{bed}", place.word()))
}

/// The name of a night's harm to a crop in a bed: `harm:A1:kale`.
pub fn of_harm(bed: &str, crop: &str) -> String {
    format!("harm:{bed}:{crop}")
}

/// All that is known of past nights, as far as something can be learned from it.
#[derive(Clone, Debug, Default)]
pub struct Lessons {
    /// In order of night and time.
    pub foretold: Vec<ForecastAtRound>,
    /// In order of nights.
    pub lows: Vec<NightLow>,
    /// What somebody said is right, though it was asked about.
    pub confirmed: Confirmed,
    /// Beds on which something lay in a night, and what, where that is known.
    pub covered: BTreeMap<(NightOf, String), Option<Cover>>,
    /// Beds with a cover that was never written off, and since which night nobody knows whether it lies there.
    pub left_on: BTreeMap<String, NightOf>,
    /// Reports of harm, in order of time.
    pub damage: Vec<Harmed>,
    /// What loggers wrote about the nights of these reports.
    pub rows: Vec<LoggedRows>,
}

/// Beds on which something lay in a night, by [`crate::journal::lying`]: what it was, or `None` where it may not have lain
/// or nobody knows which it was.
pub fn covered(
    garden: &Garden,
    stays: &[Stay],
    nights: &BTreeSet<NightOf>,
) -> BTreeMap<(NightOf, String), Option<Cover>> {
    let mut covered = BTreeMap::new();
    let within = |first: NightOf, last: NightOf| nights.iter().filter(move |night| (first..=last).contains(night));
    for stay in stays {
        let what = what_lay(garden, &stay.laid);
        covered.extend(within(stay.first, stay.last).map(|night| ((*night, stay.laid.bed.clone()), what)));
        if let Some((first, last)) = stay.perhaps {
            for night in within(first, last.unwrap_or(NightOf(NaiveDate::MAX))) {
                covered.entry((*night, stay.laid.bed.clone())).or_insert(None);
            }
        }
    }
    covered
}

/// Beds with a cover of which nobody has written what became of it, each with the first night of which nobody knows.
pub fn left_on(stays: &[Stay]) -> BTreeMap<String, NightOf> {
    stays.iter().filter_map(|stay| Some((stay.laid.bed.clone(), stay.left_on_since()?))).collect()
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
    /// Whether somebody said that a night's low at a place is right.
    fn is_sure(&self, night: NightOf, place: &Place) -> bool {
        self.confirmed.contains(&(night, of_low(place)))
    }

    /// The low of a night at a place, where a thermometer has seen the whole of it.
    fn low(&self, night: NightOf, place: &Place) -> Option<Celsius> {
        let first = self.lows.partition_point(|low| low.night < night);
        let mut of_night = self.lows.iter().skip(first).take_while(|low| low.night == night);
        of_night.find(|low| low.place == *place).map(|low| low.low)
    }

    /// The last thing foretold of a night before its sun rose.
    fn last_foretold(&self, garden: &Garden, of: NightOf) -> Option<&ForecastAtRound> {
        let first = self.foretold.partition_point(|round| round.night < of);
        let end = self.foretold.partition_point(|round| round.night <= of);
        let mut rounds = self.foretold.get(first..end)?.iter().rev().peekable();
        rounds.peek()?;
        let sunrise = span_of(garden, of).sunrise;
        rounds.find(|round| round.made_at <= sunrise)
    }
}

#[cfg(test)]
mod tests;
