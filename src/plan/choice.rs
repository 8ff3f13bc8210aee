//! Which measure for which bed: the least sum of expected loss and work, both in person-minutes, while covers and people
//! last.

mod reasons;
mod solve;
mod ways;

use super::harvest;
use super::said::Elsewhere;
use super::{BedPlan, Before, Measure, Reason};
use crate::beds::{Caution, Garden};
use crate::night::Winds;
use crate::night::cover::Cover;
use crate::risk::{BedRisk, Left, PlantingRisk};
use crate::units::{Minutes, Probability};
use reasons::{After, why_left};
use solve::{Offer, Question, Trip, solve, undominated};
pub use ways::{CARRY_PER_POT, HARD_TO_HANDLE, TOO_WINDY, WIND_FACTOR, cover_minutes};
use ways::{Means, TRIPS, Way, leave};
pub(super) use ways::{kinds_of, trips};

/// What bounds one list beside the covers in the shed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds<'s> {
    /// Person-minutes of all work before dusk; `None` where nothing is bounded by people.
    pub minutes: Option<Minutes>,
    /// Of these, what is left from now on for work that was not asked for before.
    pub left: Option<Minutes>,
    /// What was said and done before.
    pub before: Before<'s>,
    /// Kinds of work that other beds are served with already, a bit each.
    pub underway: u8,
    /// Whether the covers that were asked for lie on their beds by now.
    pub is_laid: bool,
}

/// What was chosen.
pub(super) struct Chosen<'a> {
    /// In the order given.
    pub beds: Vec<BedPlan<'a>>,
    /// Walking and fetching, once for each kind of work.
    pub trips: Minutes,
    /// By how much, at most, another choice could be better: 0 but for gardens beyond all measure.
    pub gap: Minutes,
}

/// One bed, or two that one piece may cover together; each choice is a way for every one of them.
struct Party {
    beds: Vec<usize>,
    choices: Vec<Vec<Way>>,
}

/// A measure for every bed: proven to be the least sum of expected loss and work, or as near to it as is said.
pub(super) fn choose<'a>(
    garden: &Garden,
    winds: impl Into<Winds>,
    risks: Vec<BedRisk<'a>>,
    bounds: &Bounds<'_>,
) -> Chosen<'a> {
    let means = Means::new(garden, winds.into(), bounds.before);
    // A bed that stands the night anyhow takes no cover from one that does not, whatever it is worth.
    let is_by_itself =
        |risk: &BedRisk<'_>| chance(risk) >= means.asks_from(risk) || harvest::soil_too_cold(risk).is_some();
    // Of two beds under one piece neither gives it up while the other needs it.
    let in_danger = |risk: &BedRisk<'_>| {
        let other = means.said_to_share_with(risk.bed);
        is_by_itself(risk)
            || other.is_some_and(|other| risks.iter().any(|one| one.bed.id == other.id && is_by_itself(one)))
    };
    // Picking that was asked for and is not written down may well be done: nothing else is asked in its place once what it
    // was to pick is frozen, and its time is spent.
    let asked = |risk: &BedRisk<'_>| {
        let said = bounds.before.said_of(&risk.bed.id)?;
        (said.measure == Measure::Harvest && harvest::is_frozen(risk)).then_some(said)
    };
    let spent: f64 =
        risks.iter().filter_map(asked).filter(|said| said.cover.is_none()).filter_map(|said| said.minutes).sum();
    let minutes = bounds.minutes.map(|minutes| Minutes((minutes.0 - spent).max(0.0)));
    let bounds = &Bounds { minutes, ..*bounds };
    let ways = |risk: &BedRisk<'_>| match asked(risk) {
        _ if !in_danger(risk) => vec![leave(risk)],
        None => means.ways(risk),
        Some(said) => means.ways_after_picking(risk, said),
    };
    let all: Vec<Vec<Way>> = risks.iter().map(ways).collect();
    let parties = parties(&means, &risks, &all);
    let stocks = garden.covers.len();
    let offer = |choice: &Vec<Way>| join(choice.iter().map(|way| way.offer(stocks, garden.caution)), stocks);
    let mut pieces = pieces_at_hand(garden, bounds.before.elsewhere);
    if bounds.is_laid {
        // Nobody is sent out in the dark to carry a cover from a bed that stands the night to another.
        for laid in risks.iter().filter(|risk| !in_danger(risk)).filter_map(|risk| means.said_cover(risk.bed)) {
            if let Some(left) = pieces.get_mut(laid.stock) {
                *left = left.saturating_sub(laid.pieces);
            }
        }
    }
    let mut limits: Vec<f64> = pieces.iter().copied().map(f64::from).collect();
    limits.extend([bounds.minutes, bounds.left].map(|minutes| minutes.map_or(f64::INFINITY, |minutes| minutes.0)));
    let is_new = bounds.before.said.is_none_or(|last| !last.has_work());
    let trip = |(bit, minutes): (usize, &f64)| {
        let minutes = if bounds.underway & (1 << bit) == 0 { *minutes } else { 0.0 };
        let mut uses = vec![0.0; stocks + 2];
        // Who is at work already has fetched what it needs.
        (uses[stocks], uses[stocks + 1]) = (minutes, if is_new { minutes } else { 0.0 });
        Trip { cost: minutes, uses }
    };
    let question = Question {
        beds: parties.iter().map(|party| party.choices.iter().map(offer).collect()).collect(),
        limits,
        trips: TRIPS.iter().enumerate().map(trip).collect(),
    };
    let answer = solve(&question);
    let mut chosen: Vec<Way> = all.iter().zip(&risks).map(|(ways, risk)| first_of(ways, risk)).collect();
    for (party, at) in parties.iter().zip(&answer.chosen) {
        for (bed, way) in party.beds.iter().zip(party.choices.get(*at).into_iter().flatten()) {
            chosen[*bed] = way.clone();
        }
    }
    let after = After::new(garden, &chosen, &all, bounds, pieces);
    let beds = risks.into_iter().zip(&chosen).zip(&all);
    let beds = beds.map(|((risk, way), ways)| bed_plan(&means, risk, way, ways, &after)).collect();
    Chosen { beds, trips: Minutes(after.trips), gap: Minutes((answer.cost - answer.bound).max(0.0)) }
}

/// Pieces of each stock that no other garden has tonight.
pub(super) fn pieces_at_hand(garden: &Garden, elsewhere: &[Elsewhere]) -> Vec<u32> {
    let mut pieces: Vec<u32> = garden.covers.iter().map(|stock| stock.count).collect();
    for away in elsewhere {
        if let Some(left) = pieces.get_mut(away.stock) {
            *left = left.saturating_sub(away.pieces);
        }
    }
    pieces
}

fn first_of(ways: &[Way], risk: &BedRisk<'_>) -> Way {
    ways.first().cloned().unwrap_or_else(|| leave(risk))
}

/// Neighbours that both are in danger are chosen for together, others by themselves.
fn parties(means: &Means<'_>, risks: &[BedRisk<'_>], all: &[Vec<Way>]) -> Vec<Party> {
    let stocks = means.garden.covers.len();
    let mut parties: Vec<Party> = Vec::new();
    let mut is_served = vec![false; risks.len()];
    for (index, risk) in risks.iter().enumerate() {
        if is_served[index] {
            continue;
        }
        let beside = |other: &BedRisk<'_>| {
            risk.bed.beside.as_ref() == Some(&other.bed.id) || other.bed.beside.as_ref() == Some(&risk.bed.id)
        };
        let neighbour = (0..risks.len()).find(|other| *other != index && !is_served[*other] && beside(&risks[*other]));
        let shared = neighbour.filter(|other| all[index].len() > 1 && all[*other].len() > 1);
        let shared = shared.map(|other| (other, means.together([(index, risk), (other, &risks[other])])));
        is_served[index] = true;
        match shared {
            Some((other, together)) if !together.is_empty() => {
                is_served[other] = true;
                let of_use = |bed: usize| {
                    let offers: Vec<Offer> =
                        all[bed].iter().map(|way| way.offer(stocks, means.garden.caution)).collect();
                    undominated(&offers).into_iter().map(move |at| &all[bed][at])
                };
                let mut choices: Vec<Vec<Way>> = Vec::new();
                for one in of_use(index) {
                    choices.extend(of_use(other).map(|two| vec![one.clone(), two.clone()]));
                }
                choices.extend(together.into_iter().map(Vec::from));
                parties.push(Party { beds: vec![index, other], choices });
            }
            _ => {
                let choices = all[index].iter().map(|way| vec![way.clone()]).collect();
                parties.push(Party { beds: vec![index], choices });
            }
        }
    }
    parties
}

fn join(offers: impl Iterator<Item = Offer>, stocks: usize) -> Offer {
    let nothing = Offer { cost: 0.0, uses: vec![0.0; stocks + 2], kinds: 0 };
    offers.fold(nothing, |mut sum, offer| {
        sum.uses.iter_mut().zip(&offer.uses).for_each(|(sum, uses)| *sum += uses);
        Offer { cost: sum.cost + offer.cost, kinds: sum.kinds | offer.kinds, ..sum }
    })
}

/// Whether a bed is out of danger only because something was picked or is gone.
fn is_fine_as_picked(risk: &BedRisk<'_>, caution: Caution) -> bool {
    let asks = caution.fine_below();
    let picked = risk.plantings.iter().filter(|planting| planting.left != Left::ALL);
    (risk.plantings.is_empty() && !risk.gone.is_empty())
        || picked.flat_map(|planting| &planting.organs).any(|organ| organ.open.chance >= asks)
}

/// `ways` are the ways there would be with covers and people in plenty.
fn bed_plan<'a>(means: &Means<'_>, risk: BedRisk<'a>, way: &Way, ways: &[Way], after: &After<'_>) -> BedPlan<'a> {
    let caution = means.garden.caution;
    let too_cold = harvest::soil_too_cold(&risk).filter(|_| way.measure == Measure::Harvest);
    let (measure, reason) = if let Some(reason) = too_cold {
        (Measure::Harvest, reason)
    } else if chance(&risk) < caution.fine_below().0
        && way.measure == Measure::Leave
        && harvest::soil_too_cold(&risk).is_none()
    {
        // Work is asked only where there is danger worth naming: a few minutes of expected loss over a large bed
        // can outweigh its work long before any plant is likely to be hurt.
        let picked = Some(Reason::PickedBefore).filter(|_| is_fine_as_picked(&risk, caution));
        (Measure::Fine, picked.unwrap_or_else(|| why_fine(&risk, caution)))
    } else {
        let reason = match way.measure {
            Measure::Cover => {
                let cover = way.cover.map(|laid| laid.cover);
                Reason::CoverSaves { covered: Probability(chance_under(&risk, cover)) }
            }
            Measure::Harvest => Reason::PickBeforeFrost,
            Measure::BringIn => Reason::RootsAndTopsInside,
            Measure::Leave | Measure::Fine | Measure::Unknown => {
                let frozen = || harvest::is_frozen(&risk).then_some(Reason::WaitForThaw);
                harvest::soil_keeps(&risk, caution).or_else(frozen).unwrap_or_else(|| why_left(risk.bed, ways, after))
            }
        };
        (way.measure, reason)
    };
    let is_picked_alone = measure == Measure::Harvest && way.cover.is_none();
    let rest =
        (is_picked_alone && harvest::in_danger_beside(&risk, caution.fine_below()).next().is_some()).then(|| {
            let then_covered = ways.iter().filter(|other| other.measure == Measure::Harvest && other.cover.is_some());
            let after_picking: Vec<Way> = std::iter::once(way).chain(then_covered).cloned().collect();
            why_left(risk.bed, &after_picking, after)
        });
    let cover = means.cover_use(way);
    let picks = if measure == Measure::Harvest { harvest::picks(&risk) } else { Vec::new() };
    let (work, tonight, loss) = (Minutes(way.work()), Minutes(way.tonight), Minutes(way.loss - way.anyhow));
    let is_out = way.is_out;
    BedPlan { risk, measure, cover, picks, reason, rest, do_by: None, work, tonight, is_out, loss, turning: None }
}

/// The chance of damage to the organs of a bed that carry weight, open.
fn chance(risk: &BedRisk<'_>) -> f64 {
    chance_under(risk, None)
}

fn chance_under(risk: &BedRisk<'_>, cover: Option<Cover>) -> f64 {
    let deciding = risk.plantings.iter().filter_map(PlantingRisk::deciding);
    deciding.map(|organ| organ.under(cover).chance.0).fold(0.0, f64::max)
}

/// A bed whose deciding organs stand the night; others may suffer.
fn why_fine(risk: &BedRisk<'_>, caution: Caution) -> Reason {
    let (chance, asks_from) = (Probability(chance(risk)), caution.fine_below());
    // A garden that spares people lets more stand than would be called safe.
    if chance >= Caution::Even.fine_below() {
        return Reason::SmallChance { chance, asks_from };
    }
    let organs = risk.plantings.iter().flat_map(|planting| &planting.organs);
    if organs.map(|organ| organ.open.chance.0).fold(0.0, f64::max) < caution.fine_below().0 {
        if harvest::better_for_frost(risk).is_empty() { Reason::WithinMargin } else { Reason::BetterForFrost }
    } else {
        Reason::MinorPart
    }
}

#[cfg(test)]
mod tests;
