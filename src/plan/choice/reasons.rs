//! Why a bed in danger is left as it is.

use super::super::Reason;
use super::super::said::Said;
use super::Bounds;
use super::ways::{Way, trips};
use crate::beds::{Bed, CoverStock, Garden};
use crate::risk::pieces_for;
use crate::units::Minutes;

/// What is left when every bed has its way.
pub(super) struct After<'g> {
    garden: &'g Garden,
    /// Pieces of each stock.
    pieces: Vec<u32>,
    /// For each stock the bed that has of it and would miss it least.
    holders: Vec<Option<usize>>,
    /// Person-minutes; infinite where nothing is bounded by people.
    minutes: f64,
    /// Kinds of work that are done somewhere, a bit each.
    kinds: u8,
    /// Walking and fetching for these.
    pub trips: f64,
}

impl<'g> After<'g> {
    /// `ways` are those that each bed had, leaving it first; `pieces` those there were of each stock.
    pub fn new(
        garden: &'g Garden,
        chosen: &[Way],
        ways: &[Vec<Way>],
        bounds: &Bounds<'_>,
        mut pieces: Vec<u32>,
    ) -> After<'g> {
        let mut holders: Vec<Option<(f64, usize)>> = vec![None; pieces.len()];
        for (bed, (way, ways)) in chosen.iter().zip(ways).enumerate() {
            let Some(laid) = way.cover else { continue };
            let gain = ways.first().map_or(0.0, |leaving| leaving.total(garden.caution) - way.total(garden.caution));
            if let (Some(left), Some(holder)) = (pieces.get_mut(laid.stock), holders.get_mut(laid.stock)) {
                *left = left.saturating_sub(laid.pieces);
                *holder = holder.filter(|(least, _)| *least <= gain).or(Some((gain, bed)));
            }
        }
        let kinds = chosen.iter().fold(bounds.underway, |kinds, way| kinds | way.kinds());
        let trips = trips(kinds & !bounds.underway);
        let spent = |is_spent: fn(&&Way) -> bool| chosen.iter().filter(is_spent).map(|way| way.tonight).sum::<f64>();
        let all = bounds.minutes.map_or(f64::INFINITY, |minutes| minutes.0 - trips - spent(|_| true));
        // Who is at work already has fetched what it needs.
        let fetched = if bounds.before.said.is_some_and(Said::has_work) { 0.0 } else { trips };
        let new = bounds.left.map_or(f64::INFINITY, |left| left.0 - fetched - spent(|way| !way.is_said));
        let holders = holders.into_iter().map(|holder| holder.map(|(_, bed)| bed)).collect();
        After { garden, pieces, holders, minutes: all.min(new), kinds, trips }
    }

    /// Walking and fetching that a way would add.
    fn more_trips(&self, way: &Way) -> f64 {
        trips(way.kinds() & !self.kinds)
    }

    fn has_pieces(&self, way: &Way) -> bool {
        way.cover.is_none_or(|laid| self.pieces.get(laid.stock).is_some_and(|left| *left >= laid.pieces))
    }

    /// Whether not even all pieces of a stock make the cover.
    fn is_too_small(&self, way: &Way) -> bool {
        way.cover.is_some_and(|laid| self.garden.covers.get(laid.stock).is_none_or(|stock| stock.count < laid.pieces))
    }

    /// Why a cover that would pay is not laid, though there are pieces enough of it in the garden.
    fn no_cover_left(&self, bed: &Bed, way: &Way) -> Reason {
        let name = |stock: usize| self.garden.covers.get(stock).map(|stock| stock.name.clone());
        let wanted = way.cover.and_then(|laid| name(laid.stock)).unwrap_or_default();
        let is_at_hand = |(stock, of): &(usize, &CoverStock)| {
            *of.name != wanted && self.pieces.get(*stock).is_some_and(|left| *left >= pieces_for(bed, of).max(1))
        };
        let at_hand = self.garden.covers.iter().enumerate().find(is_at_hand).and_then(|(stock, _)| name(stock));
        Reason::NoCoverLeft { to: self.holder(way), wanted, at_hand }
    }

    /// The bed that got the cover which would have been the best here.
    fn holder(&self, way: &Way) -> Option<String> {
        let bed = (*self.holders.get(way.cover?.stock)?)?;
        Some(self.garden.beds.get(bed)?.id.clone())
    }
}

/// `ways` are those with covers and people in plenty, leaving it first.
pub(super) fn why_left(bed: &Bed, ways: &[Way], after: &After<'_>) -> Reason {
    let Some((leaving, measures)) = ways.split_first() else { return Reason::NothingHelps };
    let total = |way: &&Way| way.total(after.garden.caution) + after.more_trips(way);
    let is_worth_it = |way: &&Way| total(way) < leaving.total(after.garden.caution) - 1e-9;
    let cheapest = |ways: Vec<&'_ Way>| ways.into_iter().min_by(|a, b| total(a).total_cmp(&total(b))).cloned();
    // What would take more pieces than there are is no way at all.
    let (too_small, possible): (Vec<&Way>, Vec<&Way>) = measures.iter().partition(|way| after.is_too_small(way));
    let pays: Vec<&Way> = possible.iter().copied().filter(is_worth_it).collect();
    // People stand in the way where the pieces are there; else it is the pieces.
    let in_the_shed = cheapest(pays.iter().copied().filter(|way| after.has_pieces(way)).collect());
    if let Some(way) = in_the_shed {
        let tonight = way.tonight + after.more_trips(&way);
        if tonight > after.minutes + 1e-9 {
            let left = Minutes(after.minutes.max(0.0));
            return Reason::NoTimeLeft { work: Minutes(tonight), left, nobody: after.garden.is_left_alone() };
        }
    }
    if let Some(way) = cheapest(pays).filter(|way| !after.has_pieces(way)) {
        return after.no_cover_left(bed, &way);
    }
    if too_small.iter().any(is_worth_it) {
        return Reason::CoversTooSmall;
    }
    match possible.iter().min_by(|a, b| a.loss.total_cmp(&b.loss)) {
        Some(surest) => Reason::WorthLessThanWork {
            saved: Minutes((leaving.loss - surest.loss).max(0.0)),
            work: Minutes(surest.work() - surest.anyhow + after.more_trips(surest)),
        },
        None if too_small.is_empty() => Reason::NothingHelps,
        None => Reason::CoversTooSmall,
    }
}
