//! Which measure for which bed: the least sum of expected loss and work, both in person-minutes, while covers last.

use super::{BedPlan, CoverUse, Measure, Pick, Reason};
use crate::beds::{BedKind, Garden};
use crate::crops::HarvestHabit;
use crate::night::cover::CoverKind;
use crate::risk::{BedRisk, OrganRisk, PlantingRisk, pieces_for};
use crate::units::{MetresPerSecond, Minutes};

/// Below this chance a bed stands the night (assumed: one in ten such nights would show some damage).
pub const FINE_CHANCE: f64 = 0.10;
/// Person-minutes for a bed of 1.2 by 2.4 m with hoops and cloth ready, and for uncovering and folding (assumed; no
/// published figure was found, a garden's own times should replace them).
const COVER_PER_SQUARE_METRE: f64 = 4.0 / 2.88;
const UNCOVER_PER_BED: f64 = 3.0;
const WIND_FACTOR: f64 = 1.5;
/// Person-minutes to pick a square metre, and to carry one pot (the second as above, the first common practice).
const PICK_PER_SQUARE_METRE: f64 = 3.0;
const CARRY_PER_POT: f64 = 1.5;
/// Part of the loss that remains for pots under a roof (assumed: a porch is not a heated room).
const LEFT_UNDER_A_ROOF: f64 = 0.05;

/// Wind at which laying covers takes longer, m/s (as the wind in which they need weighing down; assumed).
const HARD_TO_HANDLE: f64 = 5.0;

/// One way to treat a bed.
struct Way {
    measure: Measure,
    /// Stock and pieces.
    cover: Option<(usize, u32)>,
    /// Expected loss that remains.
    loss: f64,
    work: f64,
}

impl Way {
    fn total(&self) -> f64 {
        self.loss + self.work
    }
}

/// What all beds of one list have in common.
struct Means<'g> {
    garden: &'g Garden,
    /// Times by which wind stretches the work with covers.
    wind_factor: f64,
}

/// A measure for every bed, in the order given. Scarce covers go first to the bed that gains most from one.
pub(super) fn choose<'a>(garden: &Garden, wind: MetresPerSecond, risks: Vec<BedRisk<'a>>) -> Vec<BedPlan<'a>> {
    let wind_factor = if wind.0 > HARD_TO_HANDLE { WIND_FACTOR } else { 1.0 };
    let means = Means { garden, wind_factor };
    let mut left: Vec<u32> = garden.covers.iter().map(|stock| stock.count).collect();
    let plenty: Vec<u32> = left.iter().map(|count| if *count > 0 { u32::MAX } else { 0 }).collect();
    let without: Vec<Way> = risks.iter().map(|risk| means.best_way(risk, &[])).collect();
    let mut ways: Vec<Option<Way>> = risks.iter().map(|_| None).collect();
    // Each turn serves the bed for which a cover matters most among those still open, with what is still in the shed.
    loop {
        let open = risks.iter().enumerate().filter(|(index, _)| ways[*index].is_none());
        let gains = open.filter_map(|(index, risk)| {
            let way = means.best_way(risk, &left);
            let gain = without[index].total() - way.total();
            (way.cover.is_some() && gain > 0.0).then_some((index, gain, way))
        });
        let best = gains.reduce(|best, next| if next.1 > best.1 { next } else { best });
        let Some((index, _, way)) = best else { break };
        if let Some((stock, pieces)) = way.cover {
            left[stock] -= pieces;
        }
        ways[index] = Some(way);
    }
    let chosen = ways.into_iter().zip(without).map(|(way, without)| way.unwrap_or(without));
    risks
        .into_iter()
        .zip(chosen)
        .map(|(risk, way)| {
            let measures = means.measures(&risk, &plenty);
            let alternative = measures.into_iter().min_by(|a, b| a.total().total_cmp(&b.total()));
            means.bed_plan(risk, &way, alternative.as_ref())
        })
        .collect()
}

impl Means<'_> {
    /// The cheapest way with the covers that are left; doing nothing is a way too, and of equals the first is taken.
    fn best_way(&self, risk: &BedRisk<'_>, left: &[u32]) -> Way {
        let leave = leave(risk);
        let cheaper = |best: Way, way: Way| if way.total() < best.total() - 1e-9 { way } else { best };
        self.measures(risk, left).into_iter().fold(leave, cheaper)
    }

    /// Every way to do something, with the covers that are left.
    fn measures(&self, risk: &BedRisk<'_>, left: &[u32]) -> Vec<Way> {
        let mut ways = Vec::new();
        let covers: Vec<(usize, CoverKind, u32)> = self
            .garden
            .covers
            .iter()
            .enumerate()
            .map(|(index, stock)| (index, stock.kind, pieces_for(risk.bed, stock)))
            .filter(|(index, _, pieces)| left.get(*index).is_some_and(|left| left >= pieces))
            .collect();
        for (stock, kind, pieces) in &covers {
            ways.push(Way {
                measure: Measure::Cover,
                cover: Some((*stock, *pieces)),
                loss: risk.expected_loss(Some(*kind)).0,
                work: self.cover_work(risk, *pieces),
            });
        }
        if !picks(risk).is_empty() {
            let work = PICK_PER_SQUARE_METRE * risk.bed.area();
            ways.push(Way { measure: Measure::Harvest, cover: None, loss: loss_after_picking(risk, None), work });
            for (stock, kind, pieces) in &covers {
                ways.push(Way {
                    measure: Measure::Harvest,
                    cover: Some((*stock, *pieces)),
                    loss: loss_after_picking(risk, Some(*kind)),
                    work: work + self.cover_work(risk, *pieces),
                });
            }
        }
        if let BedKind::Containers { count, movable: true, .. } = risk.bed.kind {
            ways.push(Way {
                measure: Measure::BringIn,
                cover: None,
                loss: leave(risk).loss * LEFT_UNDER_A_ROOF,
                // In, and out again.
                work: 2.0 * CARRY_PER_POT * f64::from(count),
            });
        }
        ways
    }

    fn cover_work(&self, risk: &BedRisk<'_>, pieces: u32) -> f64 {
        let more_pieces = f64::from(pieces.saturating_sub(1));
        (COVER_PER_SQUARE_METRE * risk.bed.area() + UNCOVER_PER_BED + more_pieces) * self.wind_factor
    }

    fn bed_plan<'a>(&self, risk: BedRisk<'a>, way: &Way, alternative: Option<&Way>) -> BedPlan<'a> {
        let deciding = risk.plantings.iter().filter_map(PlantingRisk::deciding);
        let chance = deciding.map(|organ| organ.open.chance.0).fold(0.0, f64::max);
        let any_chance = risk.plantings.iter().flat_map(|planting| &planting.organs).map(|organ| organ.open.chance.0);
        let any_chance = any_chance.fold(0.0, f64::max);
        let (measure, reason) = match way.measure {
            // Work is asked only where there is danger worth naming: a few minutes of expected loss over a large bed
            // can outweigh its work long before any plant is likely to be hurt.
            Measure::Leave => without_measure(chance, any_chance, way, alternative),
            measure if measure.is_work() && chance < FINE_CHANCE => stands(any_chance),
            Measure::Cover => {
                let stock = way.cover.map(|(stock, _)| self.garden.covers[stock].kind);
                let covered = risk.plantings.iter().filter_map(PlantingRisk::deciding);
                let covered = covered.map(|organ| organ.under(stock).chance.0).fold(0.0, f64::max);
                (Measure::Cover, Reason::CoverSaves { covered: crate::units::Probability(covered) })
            }
            Measure::Harvest => (Measure::Harvest, Reason::PickBeforeFrost),
            Measure::BringIn => (Measure::BringIn, Reason::RootsAndTopsInside),
            Measure::Fine | Measure::Unknown => (way.measure, Reason::WithinMargin),
        };
        let cover = way.cover.filter(|_| measure.is_work()).map(|(stock, pieces)| CoverUse {
            name: self.garden.covers[stock].name.clone(),
            stock,
            pieces,
        });
        let picks = if measure == Measure::Harvest { picks(&risk) } else { Vec::new() };
        let work = Minutes(if measure.is_work() { way.work } else { 0.0 });
        BedPlan { risk, measure, cover, picks, reason, do_by: None, work }
    }
}

/// What is done if nothing is.
fn leave(risk: &BedRisk<'_>) -> Way {
    Way { measure: Measure::Leave, cover: None, loss: risk.expected_loss(None).0, work: 0.0 }
}

/// A bed whose deciding organs stand the night; others may suffer.
fn stands(any_chance: f64) -> (Measure, Reason) {
    let reason = if any_chance < FINE_CHANCE { Reason::WithinMargin } else { Reason::MinorPart };
    (Measure::Fine, reason)
}

/// A measure that averts less than this part of the expected loss is no help (assumed).
const SOME_HELP: f64 = 0.25;

/// A bed for which nothing is done: it stands the night, or the reason says why it is left. `alternative` is the best
/// measure were there covers in plenty.
fn without_measure(chance: f64, any_chance: f64, way: &Way, alternative: Option<&Way>) -> (Measure, Reason) {
    if chance < FINE_CHANCE {
        return stands(any_chance);
    }
    let reason = match alternative {
        Some(alternative) if alternative.total() < way.total() && alternative.cover.is_some() => Reason::NoCoverLeft,
        Some(alternative) if way.loss - alternative.loss >= SOME_HELP * way.loss => {
            Reason::WorthLessThanWork { saved: Minutes(way.loss - alternative.loss), work: Minutes(alternative.work) }
        }
        _ => Reason::NothingHelps,
    };
    (Measure::Leave, reason)
}

/// What to pick in a bed: organs that can be picked and are in danger.
fn picks(risk: &BedRisk<'_>) -> Vec<Pick> {
    let organs = risk.plantings.iter().flat_map(|planting| planting.organs.iter().map(move |organ| (planting, organ)));
    organs
        .filter(|(_, organ)| in_danger(organ))
        .filter_map(|(planting, organ)| {
            Some(Pick { crop: planting.crop.name.clone(), instruction: organ.tolerance.pick.clone()? })
        })
        .collect()
}

fn in_danger(organ: &OrganRisk<'_>) -> bool {
    organ.open.chance.0 >= FINE_CHANCE
}

/// What is still lost when everything that can be picked and is in danger has been: the growth it would have made,
/// and the damage to what stays.
fn loss_after_picking(risk: &BedRisk<'_>, cover: Option<CoverKind>) -> f64 {
    let organs = risk.plantings.iter().flat_map(|planting| planting.organs.iter().map(move |organ| (planting, organ)));
    organs
        .map(|(planting, organ)| {
            let part = if organ.can_be_picked() && in_danger(organ) {
                growth_forgone(planting.crop.growing.harvested)
            } else {
                organ.under(cover).chance.0
            };
            planting.worth.0 * organ.tolerance.share * part
        })
        .sum()
}

/// Part of an organ's worth that is given up by picking it early (assumed): a ripe head gives up little, leaves that
/// would have been cut all winter give up much.
fn growth_forgone(habit: HarvestHabit) -> f64 {
    match habit {
        HarvestHabit::CentralThenSideShoots => 0.05,
        HarvestHabit::Whole | HarvestHabit::Pods | HarvestHabit::Fruit => 0.1,
        HarvestHabit::RootAsWanted => 0.25,
        HarvestHabit::CutAndComeAgain | HarvestHabit::Snip => 0.3,
    }
}
