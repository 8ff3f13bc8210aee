//! Which measure for which bed: the least sum of expected loss and work, both in person-minutes, while covers and people
//! last.

mod reasons;
mod solve;
mod ways;

use super::harvest;
use super::said::Said;
use super::{BedPlan, Measure, Reason};
use crate::beds::Garden;
use crate::night::cover::Cover;
use crate::risk::{BedRisk, PlantingRisk};
use crate::units::{MetresPerSecond, Minutes, Probability};
use reasons::{After, why_left};
use solve::{Offer, Question, Trip, solve, undominated};
pub use ways::cover_minutes;
use ways::{Means, TRIPS, Way, leave};
pub(super) use ways::{kinds_of, trips};

/// Below this chance a bed stands the night (assumed: one in ten such nights would show some damage).
pub const FINE_CHANCE: f64 = 0.10;

/// What bounds one list beside the covers in the shed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds<'s> {
    /// Person-minutes of all work before dusk; `None` where nothing is bounded by people.
    pub minutes: Option<Minutes>,
    /// Of these, what is left from now on for work that was not asked for before.
    pub left: Option<Minutes>,
    /// What was last said of this night.
    pub last: Option<&'s Said>,
    /// Kinds of work that other beds are served with already, a bit each.
    pub underway: u8,
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
    wind: MetresPerSecond,
    risks: Vec<BedRisk<'a>>,
    bounds: &Bounds<'_>,
) -> Chosen<'a> {
    let means = Means::new(garden, wind.0, bounds.last);
    // A bed that stands the night anyhow takes no cover from one that does not, whatever it is worth.
    let in_danger = |risk: &BedRisk<'_>| chance(risk) >= FINE_CHANCE || harvest::soil_too_cold(risk).is_some();
    let ways = |risk: &BedRisk<'_>| if in_danger(risk) { means.ways(risk) } else { vec![leave(risk)] };
    let all: Vec<Vec<Way>> = risks.iter().map(ways).collect();
    let parties = parties(&means, &risks, &all);
    let stocks = garden.covers.len();
    let offer = |choice: &Vec<Way>| join(choice.iter().map(|way| way.offer(stocks)), stocks);
    let mut limits: Vec<f64> = garden.covers.iter().map(|stock| f64::from(stock.count)).collect();
    limits.extend([bounds.minutes, bounds.left].map(|minutes| minutes.map_or(f64::INFINITY, |minutes| minutes.0)));
    let is_new = bounds.last.is_none_or(|last| !last.has_work());
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
    let after = After::new(garden, &chosen, &all, bounds);
    let beds = risks.into_iter().zip(&chosen).zip(&all);
    let beds = beds.map(|((risk, way), ways)| bed_plan(&means, risk, way, ways, &after)).collect();
    Chosen { beds, trips: Minutes(after.trips), gap: Minutes((answer.cost - answer.bound).max(0.0)) }
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
                    let offers: Vec<Offer> = all[bed].iter().map(|way| way.offer(stocks)).collect();
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

/// `ways` are the ways there would be with covers and people in plenty.
fn bed_plan<'a>(means: &Means<'_>, risk: BedRisk<'a>, way: &Way, ways: &[Way], after: &After<'_>) -> BedPlan<'a> {
    let too_cold = harvest::soil_too_cold(&risk).filter(|_| way.measure == Measure::Harvest);
    let (measure, reason) = if let Some(reason) = too_cold {
        (Measure::Harvest, reason)
    } else if chance(&risk) < FINE_CHANCE && way.measure == Measure::Leave && ways.len() < 2 {
        // Work is asked only where there is danger worth naming: a few minutes of expected loss over a large bed
        // can outweigh its work long before any plant is likely to be hurt.
        (Measure::Fine, why_fine(&risk))
    } else {
        let reason = match way.measure {
            Measure::Cover => {
                let cover = way.cover.map(|laid| laid.cover);
                Reason::CoverSaves { covered: Probability(chance_under(&risk, cover)) }
            }
            Measure::Harvest => Reason::PickBeforeFrost,
            Measure::BringIn => Reason::RootsAndTopsInside,
            Measure::Leave | Measure::Fine | Measure::Unknown => {
                harvest::soil_keeps(&risk).unwrap_or_else(|| why_left(ways, after))
            }
        };
        (way.measure, reason)
    };
    let cover = means.cover_use(way);
    let picks = if measure == Measure::Harvest { harvest::picks(&risk) } else { Vec::new() };
    let (work, tonight, loss) = (Minutes(way.work()), Minutes(way.tonight), Minutes(way.loss - way.anyhow));
    BedPlan { risk, measure, cover, picks, reason, do_by: None, work, tonight, loss, turning: None }
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
fn why_fine(risk: &BedRisk<'_>) -> Reason {
    let organs = risk.plantings.iter().flat_map(|planting| &planting.organs);
    if organs.map(|organ| organ.open.chance.0).fold(0.0, f64::max) < FINE_CHANCE {
        if harvest::better_for_frost(risk).is_empty() { Reason::WithinMargin } else { Reason::BetterForFrost }
    } else {
        Reason::MinorPart
    }
}

#[cfg(test)]
mod tests;
