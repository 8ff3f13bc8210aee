//! Which measure for which bed: the least sum of expected loss and work, both in person-minutes, while covers last.

use super::harvest;
use super::{BedPlan, CoverUse, Measure, Reason};
use crate::beds::{BedKind, Garden};
use crate::crops::Life;
use crate::night::cover::{Cover, Layers};
use crate::risk::{BedRisk, PlantingRisk, pieces_for};
use crate::units::{MetresPerSecond, Minutes, Probability};

/// Below this chance a bed stands the night (assumed: one in ten such nights would show some damage).
pub const FINE_CHANCE: f64 = 0.10;
/// Person-minutes for a bed of 1.2 by 2.4 m with hoops and cloth ready, and for uncovering and folding (assumed; no
/// published figure was found, a garden's own times should replace them).
const COVER_PER_SQUARE_METRE: f64 = 4.0 / 2.88;
const UNCOVER_PER_BED: f64 = 3.0;
const WIND_FACTOR: f64 = 1.5;
/// Person-minutes to carry one pot (common practice).
const CARRY_PER_POT: f64 = 1.5;
/// Part of the loss that remains for pots under a roof (assumed: a porch is not a heated room).
const LEFT_UNDER_A_ROOF: f64 = 0.05;
/// Wind at which laying covers takes longer, and mean wind of a night in which none is laid, m/s (assumed; flapping
/// covers harm the crop).
const HARD_TO_HANDLE: f64 = 5.0;
const TOO_WINDY: f64 = 12.0;
/// A measure that averts less than this part of the expected loss is no help (assumed).
const SOME_HELP: f64 = 0.25;

/// One way to treat a bed.
#[derive(Clone)]
struct Way {
    measure: Measure,
    cover: Option<Laid>,
    /// Expected loss that remains.
    loss: f64,
    work: f64,
    /// Of the work, what would be done within days without any frost.
    anyhow: f64,
}

/// A cover from a stock, and its pieces of all layers.
#[derive(Clone, Copy)]
struct Laid {
    stock: usize,
    cover: Cover,
    pieces: u32,
}

impl Way {
    fn total(&self) -> f64 {
        self.loss + self.work - self.anyhow
    }
}

/// What all beds of one list have in common.
struct Means<'g> {
    garden: &'g Garden,
    /// Times by which wind stretches the work with covers.
    wind_factor: f64,
    is_storm: bool,
}

/// A measure for every bed, in the order given. Scarce covers go first to the bed that gains most from one.
pub(super) fn choose<'a>(garden: &Garden, wind: MetresPerSecond, risks: Vec<BedRisk<'a>>) -> Vec<BedPlan<'a>> {
    let wind_factor = if wind.0 > HARD_TO_HANDLE { WIND_FACTOR } else { 1.0 };
    let means = Means { garden, wind_factor, is_storm: wind.0 > TOO_WINDY };
    let mut left: Vec<u32> = garden.covers.iter().map(|stock| stock.count).collect();
    let plenty: Vec<u32> = left.iter().map(|count| if *count > 0 { u32::MAX } else { 0 }).collect();
    let without: Vec<Way> = risks.iter().map(|risk| means.best_way(risk, &[], Layers::One)).collect();
    let mut ways: Vec<Option<Way>> = risks.iter().map(|_| None).collect();
    // A bed that stands the night anyhow takes no cover from one that does not, whatever it is worth.
    let in_danger: Vec<bool> = risks.iter().map(|risk| chance(risk) >= FINE_CHANCE).collect();
    // Each turn serves the bed for which a cover matters most among those still open, with what is still in the shed.
    loop {
        let open = risks.iter().enumerate().filter(|(index, _)| in_danger[*index] && ways[*index].is_none());
        let gains = open.filter_map(|(index, risk)| {
            let way = means.best_way(risk, &left, Layers::One);
            let gain = without[index].total() - way.total();
            (way.cover.is_some() && gain > 0.0).then_some((index, gain, way))
        });
        let best = gains.reduce(|best, next| if next.1 > best.1 { next } else { best });
        let Some((index, _, way)) = best else { break };
        if let Some(laid) = way.cover {
            left[laid.stock] -= laid.pieces;
        }
        ways[index] = Some(way);
    }
    means.second_layers(&risks, &in_danger, &without, &mut ways, left);
    let chosen = ways.into_iter().zip(without).map(|(way, without)| way.unwrap_or(without));
    let plan = |(risk, way): (BedRisk<'a>, Way)| {
        let mut measures = means.measures(&risk, &plenty, Layers::One);
        measures.extend(means.measures(&risk, &plenty, Layers::Two));
        means.bed_plan(risk, &way, &measures)
    };
    risks.into_iter().zip(chosen).map(plan).collect()
}

impl Means<'_> {
    /// The cheapest way with the covers that are left; doing nothing is a way too, and of equals the first is taken.
    fn best_way(&self, risk: &BedRisk<'_>, left: &[u32], layers: Layers) -> Way {
        let cheaper = |best: Way, way: Way| if way.total() < best.total() - 1e-9 { way } else { best };
        self.measures(risk, left, layers).into_iter().fold(leave(risk), cheaper)
    }

    /// What is left in the shed when every bed has been served goes over the beds that gain most from a second layer.
    fn second_layers(
        &self,
        risks: &[BedRisk<'_>],
        in_danger: &[bool],
        without: &[Way],
        ways: &mut [Option<Way>],
        mut left: Vec<u32>,
    ) {
        loop {
            let beds = risks.iter().enumerate().filter(|(index, _)| in_danger[*index]);
            let gains = beds.filter_map(|(index, risk)| {
                let now = ways[index].as_ref().unwrap_or(&without[index]);
                let mut at_hand = left.clone();
                if let Some(laid) = now.cover {
                    at_hand[laid.stock] += laid.pieces;
                }
                let way = self.best_way(risk, &at_hand, Layers::Two);
                let gain = now.total() - way.total();
                let doubled = now.cover.is_some_and(|laid| laid.cover.layers == Layers::Two);
                (way.cover.is_some() && !doubled && gain > 1e-9 && helps(now.loss, way.loss))
                    .then_some((index, gain, way))
            });
            let best = gains.reduce(|best, next| if next.1 > best.1 { next } else { best });
            let Some((index, _, way)) = best else { break };
            if let Some(laid) = ways[index].as_ref().and_then(|way| way.cover) {
                left[laid.stock] += laid.pieces;
            }
            if let Some(laid) = way.cover {
                left[laid.stock] -= laid.pieces;
            }
            ways[index] = Some(way);
        }
    }

    /// Every way to do something that helps, with the covers that are left.
    fn measures(&self, risk: &BedRisk<'_>, left: &[u32], layers: Layers) -> Vec<Way> {
        let open_loss = leave(risk).loss;
        let mut ways = Vec::new();
        let covers = self.covers(risk, left, layers);
        for laid in &covers {
            ways.push(Way {
                measure: Measure::Cover,
                cover: Some(*laid),
                loss: risk.expected_loss(Some(laid.cover)).0,
                work: self.cover_work(risk, laid),
                anyhow: 0.0,
            });
        }
        let work = harvest::work(risk).0;
        if work > 0.0 {
            let (picked, anyhow) = (loss_after_picking(risk, None), work * harvest::PICKED_ANYHOW);
            ways.push(Way { measure: Measure::Harvest, cover: None, loss: picked, work, anyhow });
            for laid in &covers {
                let loss = loss_after_picking(risk, Some(laid.cover));
                // A cover over what is left must itself be worth laying.
                if helps(picked, loss) {
                    let work = work + self.cover_work(risk, laid);
                    ways.push(Way { measure: Measure::Harvest, cover: Some(*laid), loss, work, anyhow });
                }
            }
        }
        if let BedKind::Containers { count, movable: true, .. } = risk.bed.kind {
            ways.push(Way {
                measure: Measure::BringIn,
                cover: None,
                loss: open_loss * LEFT_UNDER_A_ROOF,
                // In, and out again.
                work: 2.0 * CARRY_PER_POT * f64::from(count),
                anyhow: 0.0,
            });
        }
        // What is ripe is picked wherever that pays, however small a part of the bed it is: it would be picked anyhow. A few
        // sprigs of a bush that lives for years are no such harvest.
        let ripe = harvest::picks(risk).iter().any(|pick| {
            let of = |planting: &&PlantingRisk<'_>| planting.crop.name == pick.crop;
            risk.plantings.iter().find(of).is_some_and(|planting| planting.crop.growing.life != Life::Perennial)
        });
        let is_ripe = |way: &Way| ripe && way.measure == Measure::Harvest && way.cover.is_none();
        ways.retain(|way| is_ripe(way) || helps(open_loss, way.loss));
        ways
    }

    /// The covers of which enough pieces are left for a bed, in this many layers.
    fn covers(&self, risk: &BedRisk<'_>, left: &[u32], layers: Layers) -> Vec<Laid> {
        if self.is_storm {
            return Vec::new();
        }
        let stocks = self.garden.covers.iter().zip(left).enumerate();
        let fits = stocks.filter(|(_, (stock, _))| layers == Layers::One || stock.kind.can_be_doubled());
        let laid = fits.filter_map(|(index, (stock, left))| {
            let pieces = pieces_for(risk.bed, stock).saturating_mul(layers.times());
            (*left >= pieces).then(|| Laid { stock: index, cover: stock.cover(layers), pieces })
        });
        laid.collect()
    }

    /// A second layer is laid like the first; both come off together.
    fn cover_work(&self, risk: &BedRisk<'_>, laid: &Laid) -> f64 {
        let more_pieces = f64::from(laid.pieces.saturating_sub(1));
        let lay = COVER_PER_SQUARE_METRE * risk.bed.area() * f64::from(laid.cover.layers.times());
        (lay + UNCOVER_PER_BED + more_pieces) * self.wind_factor
    }

    /// `measures` are the ways there would be with covers in plenty.
    fn bed_plan<'a>(&self, risk: BedRisk<'a>, way: &Way, measures: &[Way]) -> BedPlan<'a> {
        let too_cold = harvest::soil_too_cold(&risk);
        let (measure, reason) = if let Some(reason) = too_cold {
            (Measure::Harvest, reason)
        } else if chance(&risk) < FINE_CHANCE {
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
                    harvest::soil_keeps(&risk).unwrap_or_else(|| why_left(way, measures))
                }
            };
            (way.measure, reason)
        };
        let cover = way.cover.filter(|_| measure.is_work()).map(|laid| CoverUse {
            name: self.garden.covers[laid.stock].name.clone(),
            stock: laid.stock,
            pieces: laid.pieces,
            layers: laid.cover.layers,
        });
        let picks = if measure == Measure::Harvest { harvest::picks(&risk) } else { Vec::new() };
        let work = match (measure, way.measure) {
            // Dug for its cold soil, whatever the night's own way would have been.
            (Measure::Harvest, Measure::Cover) => harvest::work(&risk) + Minutes(way.work),
            (Measure::Harvest, other) if other != Measure::Harvest => harvest::work(&risk),
            _ => Minutes(if measure.is_work() { way.work } else { 0.0 }),
        };
        BedPlan { risk, measure, cover, picks, reason, do_by: None, work }
    }
}

/// What is done if nothing is.
fn leave(risk: &BedRisk<'_>) -> Way {
    Way { measure: Measure::Leave, cover: None, loss: risk.expected_loss(None).0, work: 0.0, anyhow: 0.0 }
}

/// Whether a measure averts enough of a loss to be asked for.
fn helps(loss: f64, with_measure: f64) -> bool {
    loss - with_measure >= SOME_HELP * loss
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

/// Why a bed in danger is left as it is.
fn why_left(way: &Way, measures: &[Way]) -> Reason {
    let cheapest = measures.iter().min_by(|a, b| a.total().total_cmp(&b.total()));
    let surest = measures.iter().min_by(|a, b| a.loss.total_cmp(&b.loss));
    match (cheapest, surest) {
        (Some(cheapest), _) if cheapest.total() < way.total() => Reason::NoCoverLeft,
        (_, Some(surest)) => Reason::WorthLessThanWork {
            saved: Minutes(way.loss - surest.loss),
            work: Minutes(surest.work - surest.anyhow),
        },
        (_, None) => Reason::NothingHelps,
    }
}

/// What is still lost when everything that can be picked and is in danger has been: the growth it would have made,
/// and the damage to what stays.
fn loss_after_picking(risk: &BedRisk<'_>, cover: Option<Cover>) -> f64 {
    let organs = risk.plantings.iter().flat_map(|planting| planting.organs.iter().map(move |organ| (planting, organ)));
    organs
        .map(|(planting, organ)| {
            let chance = organ.under(cover).chance.0;
            let part = if harvest::is_due(organ) {
                let harvest = harvest::yield_of(risk.bed, planting);
                harvest.taken * harvest.growth_forgone + (1.0 - harvest.taken) * chance
            } else {
                chance
            };
            planting.worth.0 * organ.tolerance.share * part
        })
        .sum()
}

#[cfg(test)]
mod tests;
