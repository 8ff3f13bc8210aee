//! In which nights a cover lay on a bed, as far as it was written down. There is this one rule, for what a night has
//! taught, for its story and for its season.
//!
//! A cover lies in a night when it is on the bed at the night's low, an hour before sunrise (assumed: nights are mostly
//! coldest then).
//!
//! ```text
//! written off (`uncovered`)        it lay in every night between, however many
//! never written off:               it lay in the night that it was laid for, and
//!   a morning's word left it on    in the next one too
//!   a morning's word took it off   in none after that
//!   another was laid on the bed    in none from then on; between the two nobody knows
//!   nothing of all this            nobody knows
//! taken off in the dark            of that night nobody knows: it was neither covered nor open
//! ```
//!
//! A night of which nobody knows counts as covered nowhere, and teaches neither of the open bed nor of the cover.

use super::event::{Written, night_of};
use super::{Covered, What};
use crate::beds::{Bed, CoverStock, Garden};
use crate::plan::said::Said;
use crate::risk::pieces_for;
use crate::rounds::night_hours;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::collections::BTreeMap;

/// One cover on one bed, from its laying to its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Stay {
    pub laid: Covered,
    /// The first night at whose low it lay, unless it came off before.
    pub first: NightOf,
    /// The last night in which it surely lay; before `first` where there is none.
    pub last: NightOf,
    /// Nights in which it may have lain, both included; without an end where nothing ended it.
    pub perhaps: Option<(NightOf, Option<NightOf>)>,
}

impl Stay {
    /// Whether it surely lay in a night.
    pub fn is_sure(&self, night: NightOf) -> bool {
        (self.first..=self.last).contains(&night)
    }

    /// Whether it may have lain in a night, surely or as far as anybody knows.
    pub fn may_lie(&self, night: NightOf) -> bool {
        let perhaps = |(first, end): (NightOf, Option<NightOf>)| first <= night && end.is_none_or(|end| night <= end);
        self.is_sure(night) || self.perhaps.is_some_and(perhaps)
    }

    /// The nights in which it surely lay.
    pub fn nights(&self) -> impl Iterator<Item = NightOf> {
        self.first.0.iter_days().take_while(|date| *date <= self.last.0).map(NightOf)
    }

    /// The first night from which on nobody has written what became of it; `None` where something ended it.
    pub fn left_on_since(&self) -> Option<NightOf> {
        self.perhaps.and_then(|(first, end)| end.is_none().then_some(first))
    }
}

/// A night is mostly coldest so long before sunrise, and covers come off after it (assumed).
const LOW_BEFORE_SUNRISE: Duration = Duration::hours(1);

fn after(night: NightOf) -> NightOf {
    NightOf(night.0 + Duration::days(1))
}

fn before(night: NightOf) -> NightOf {
    NightOf(night.0 - Duration::days(1))
}

/// When something was laid on a bed, or, without a cover, taken off.
type Event<'e> = (DateTime<Utc>, Option<&'e Covered>);

/// Every cover that was laid, by beds and in order of time. `entries` are in order of time, and those before the nights in
/// question among them; `mornings` are what was said in mornings, each with the night that was over.
pub fn stays(garden: &Garden, entries: &[Written], mornings: &[(NightOf, Said)]) -> Vec<Stay> {
    let mut beds: BTreeMap<&str, Vec<Event<'_>>> = BTreeMap::new();
    for written in entries.iter().filter(|written| written.stands()) {
        let (bed, laid) = match &written.entry.what {
            What::Covered(laid) => (laid.bed.as_str(), Some(laid)),
            What::Uncovered(off) => (off.bed.as_str(), None),
            _ => continue,
        };
        beds.entry(bed).or_default().push((written.entry.at, laid));
    }
    if beds.is_empty() {
        return Vec::new();
    }
    let mornings: BTreeMap<NightOf, &Said> = mornings.iter().map(|(night, said)| (*night, said)).collect();
    let mut stays = Vec::new();
    for (bed, events) in beds {
        for (index, (at, laid)) in events.iter().enumerate() {
            let Some(laid) = laid else { continue };
            let first = first_of(garden, *at);
            let (last, perhaps) = match events.get(index + 1) {
                Some((off, None)) => written_off(garden, first, *off),
                next => {
                    let last = next.map(|(next, _)| before(first_of(garden, *next)));
                    not_written_off(&mornings, bed, first, last)
                }
            };
            stays.push(Stay { laid: (*laid).clone(), first, last, perhaps });
        }
    }
    stays
}

/// More pieces of a cover than there are, by what is written.
#[derive(Clone, Debug, PartialEq)]
pub struct TooMany {
    /// As the shelf calls it.
    pub cover: String,
    pub pieces: u32,
    pub shelf: u32,
    /// The beds on which they lie, or may lie.
    pub beds: Vec<String>,
}

/// Covers of which by these stays more pieces lie in a night than the garden has: one that came off was not written off.
/// Where nobody said which cover it was and the garden has no choice, it is that one. Of two neighbours under the same cover
/// the bed that takes more pieces counts, for they may lie under one.
pub fn too_many(garden: &Garden, stays: &[Stay], night: NightOf) -> Vec<TooMany> {
    let is_only = garden.covers.len() == 1;
    let of_stock = |stock: &CoverStock| {
        let is_of = |laid: &Covered| laid.cover.as_ref().map_or(is_only, |cover| *cover == stock.name);
        let mut pieces: BTreeMap<&str, (&Bed, u32)> = BTreeMap::new();
        for stay in stays.iter().filter(|stay| is_of(&stay.laid) && stay.may_lie(night)) {
            let Some(bed) = garden.beds.iter().find(|bed| bed.id == stay.laid.bed) else { continue };
            pieces.insert(&bed.id, (bed, pieces_for(bed, stock).saturating_mul(stay.laid.layers.into())));
        }
        let with_a_neighbour = |bed: &Bed, own: u32| {
            let neighbour = pieces
                .values()
                .find(|(other, _)| bed.beside.as_ref() == Some(&other.id) || other.beside.as_ref() == Some(&bed.id));
            // The one that takes more counts, of equals the first.
            neighbour.is_some_and(|(other, pieces)| (*pieces, &bed.id) > (own, &other.id))
        };
        let counted = pieces.values().filter(|(bed, own)| !with_a_neighbour(bed, *own));
        let sum = counted.fold(0_u32, |sum, (_, own)| sum.saturating_add(*own));
        let beds = pieces.keys().map(|bed| (*bed).to_string()).collect();
        (sum > stock.count).then(|| TooMany { cover: stock.name.clone(), pieces: sum, shelf: stock.count, beds })
    };
    garden.covers.iter().filter_map(of_stock).collect()
}

/// Its night by noon and noon, and whether that night's low is still to come.
fn before_low(garden: &Garden, at: DateTime<Utc>) -> (NightOf, bool) {
    let of = night_of(at, garden.site.longitude);
    let (_, sunrise) = night_hours(&garden.site, &garden.zone, of);
    (of, at <= sunrise - LOW_BEFORE_SUNRISE)
}

/// The first night whose low a cover that was laid then has seen.
fn first_of(garden: &Garden, laid: DateTime<Utc>) -> NightOf {
    let (of, is_before) = before_low(garden, laid);
    if is_before { of } else { after(of) }
}

type Nights = (NightOf, Option<(NightOf, Option<NightOf>)>);

fn written_off(garden: &Garden, first: NightOf, off: DateTime<Utc>) -> Nights {
    let (of, is_before) = before_low(garden, off);
    if !is_before {
        return (of, None);
    }
    let (sunset, _) = night_hours(&garden.site, &garden.zone, of);
    (before(of), (off > sunset && of >= first).then_some((of, Some(of))))
}

/// `end` is the last night before another cover was laid on the bed.
fn not_written_off(mornings: &BTreeMap<NightOf, &Said>, bed: &str, first: NightOf, end: Option<NightOf>) -> Nights {
    if end.is_some_and(|end| end < first) {
        return (before(first), None);
    }
    // Of a bed that the word of a morning does not speak of it leaves nothing and takes nothing.
    let left_on = |said: &Said| match said.kept.iter().flatten().any(|kept| kept == bed) {
        true => Some(true),
        false => said.beds.iter().any(|said| said.bed == bed && said.cover.is_some()).then_some(false),
    };
    let word = |night: NightOf| mornings.get(&night).and_then(|said| left_on(said));
    let mut last = first;
    while end.is_none_or(|end| last < end) {
        match word(last) {
            Some(true) => last = after(last),
            Some(false) => return (last, None),
            None => {
                let taken_off = mornings.range(after(last)..).find(|(_, said)| left_on(said) == Some(false));
                let end = taken_off.map(|(night, _)| *night).into_iter().chain(end).min();
                return (last, Some((after(last), end)));
            }
        }
    }
    (last, None)
}

#[cfg(test)]
mod tests;
