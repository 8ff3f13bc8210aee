//! Covers of a season: what lay where, what lists asked for, and when there were too few.

use super::NightFigures;
use crate::beds::{Bed, CoverStock, Garden};
use crate::journal::event::Known;
use crate::journal::lying::{Stay, stays};
use crate::plan::Measure;
use crate::plan::said::SaidBed;
use crate::risk::{pieces_for, pieces_over};
use crate::zone::NightOf;
use std::collections::{BTreeMap, BTreeSet};

/// What surely lay on the beds in each night, by [`crate::journal::lying`].
pub(super) fn lying(garden: &Garden, known: &Known) -> BTreeMap<NightOf, Vec<Stay>> {
    let mut nights: BTreeMap<NightOf, Vec<Stay>> = BTreeMap::new();
    for stay in stays(garden, &known.entries, &known.mornings) {
        stay.nights().for_each(|night| nights.entry(night).or_default().push(stay.clone()));
    }
    nights
}

/// Covers of one name over a season.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverFigures {
    /// As the shelf calls it; `None` of covers laid without saying which.
    pub name: Option<String>,
    /// Pieces in the shed today; `None` of what no longer stands in the settings.
    pub stock: Option<u32>,
    /// Nights on which a list asked for it, and beds of all such nights.
    pub asked_nights: usize,
    pub asked_beds: usize,
    /// The same of what was written down.
    pub laid_nights: usize,
    pub laid_beds: usize,
    /// Nights on which every piece that a bed in danger would have needed was asked for elsewhere.
    pub short: Vec<NightOf>,
    /// Nights on which that may have been so: lists did not keep then why they left a bed open.
    pub unexplained: usize,
}

pub(super) fn covers(garden: &Garden, known: &Known, nights: &[NightFigures]) -> Vec<CoverFigures> {
    let mut laid: BTreeMap<Option<String>, Vec<usize>> = BTreeMap::new();
    let counted: BTreeSet<NightOf> = nights.iter().map(|night| night.of).collect();
    for (_, lying) in lying(garden, known).into_iter().filter(|(night, _)| counted.contains(night)) {
        let mut of_night: BTreeMap<Option<String>, usize> = BTreeMap::new();
        for lying in lying {
            *of_night.entry(lying.laid.cover).or_default() += 1;
        }
        of_night.into_iter().for_each(|(name, beds)| laid.entry(name).or_default().push(beds));
    }
    let stocked = garden.covers.iter().map(|stock| Some(stock.name.clone()));
    let names: Vec<Option<String>> = {
        let others = laid.keys().filter(|name| !garden.covers.iter().any(|stock| Some(&stock.name) == name.as_ref()));
        let mut names: Vec<_> = stocked.chain(others.cloned()).collect();
        // Two sizes of one name are one cover to whoever wrote it down.
        let mut seen = BTreeSet::new();
        names.retain(|name| seen.insert(name.clone()));
        names
    };
    let figures = |name: Option<String>| {
        let stocks: Vec<usize> = (0..garden.covers.len())
            .filter(|index| garden.covers.get(*index).map(|stock| &stock.name) == name.as_ref())
            .collect();
        let asked = nights.iter().map(|night| {
            let of_stock = |bed: &&SaidBed| stock_of(garden, bed).is_some_and(|(stock, _)| stocks.contains(&stock));
            night.asked().chain(night.asked_late()).filter(of_stock).count()
        });
        let asked: Vec<usize> = asked.filter(|beds| *beds > 0).collect();
        let is_short = |night: &&NightFigures, reason| !left_open(garden, night, &stocks, reason).is_empty();
        let short = nights.iter().filter(|night| is_short(night, Some(NO_COVER_LEFT))).map(|night| night.of).collect();
        let unexplained = nights.iter().filter(|night| is_short(night, None)).count();
        let of_night = laid.get(&name).map(Vec::as_slice).unwrap_or_default();
        CoverFigures {
            stock: (!stocks.is_empty())
                .then(|| stocks.iter().filter_map(|index| garden.covers.get(*index)).map(|stock| stock.count).sum()),
            asked_nights: asked.len(),
            asked_beds: asked.iter().sum(),
            laid_nights: of_night.len(),
            laid_beds: of_night.iter().sum(),
            short,
            unexplained,
            name,
        }
    };
    names.into_iter().map(figures).collect()
}

/// The words of [`crate::plan::Reason`] for beds that no cover was left for, and that none is large enough for.
pub(super) const NO_COVER_LEFT: &str = "no-cover-left";
pub(super) const COVERS_TOO_SMALL: &str = "covers-too-small";

/// Whether a list left a bed open in danger for a reason.
pub(super) fn is_left(garden: &Garden, said: &SaidBed, reason: Option<&str>) -> bool {
    said.measure == Measure::Leave && said.chance >= garden.caution.fine_below().0 && said.reason.as_deref() == reason
}

/// Which stock a list asked for at a bed, by its place in the garden, and how many pieces.
fn stock_of(garden: &Garden, said: &SaidBed) -> Option<(usize, f64)> {
    let title = said.cover.as_ref()?;
    let bed = garden.beds.iter().find(|bed| bed.id == said.bed)?;
    let pieces = |stock: &CoverStock| {
        let together = title.strip_prefix(&stock.name)?.strip_prefix(", one piece together with ");
        if let Some(other) = together {
            let other = garden.beds.iter().find(|bed| bed.id == other)?;
            let (length, width, _) = bed.together_with(other)?;
            // Each of the two beds says so.
            return Some(f64::from(pieces_over(length, width, stock)) / 2.0);
        }
        (*title == stock.name).then(|| f64::from(pieces_for(bed, stock)))
    };
    let two = |stock: &CoverStock| {
        (title.strip_prefix("two layers of ") == Some(&stock.name)).then(|| 2.0 * f64::from(pieces_for(bed, stock)))
    };
    garden.covers.iter().enumerate().find_map(|(index, stock)| Some((index, pieces(stock).or_else(|| two(stock))?)))
}

/// Beds that the last list of a night left open in danger while some of these stocks had been asked for so often that not
/// enough for the bed was left; and of them those that were left for one reason, or for none that was kept.
pub(super) fn left_open<'g>(
    garden: &'g Garden,
    night: &NightFigures,
    stocks: &[usize],
    reason: Option<&str>,
) -> Vec<&'g Bed> {
    let mut used = vec![0.0; garden.covers.len()];
    for (stock, pieces) in night.asked().filter_map(|bed| stock_of(garden, bed)) {
        if let Some(used) = used.get_mut(stock) {
            *used += pieces;
        }
    }
    let is_short = |bed: &Bed| {
        stocks.iter().any(|index| {
            let (Some(stock), Some(used)) = (garden.covers.get(*index), used.get(*index)) else { return false };
            let needed = f64::from(pieces_for(bed, stock));
            let count = f64::from(stock.count);
            // What would not do with all of them in the shed is no shortage of the night.
            *used > 0.0 && needed <= count && count - used < needed
        })
    };
    let in_danger = |bed: &&Bed| night.said_of(&bed.id).is_some_and(|said| is_left(garden, said, reason));
    garden.beds.iter().filter(in_danger).filter(|bed| is_short(bed)).collect()
}
