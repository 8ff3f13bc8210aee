//! What to pick before a night: which parts, in which order, how much, how long it takes, and what stays.

use super::Reason;
use crate::beds::{Bed, BedKind, Caution, Planting};
use crate::crops::{Crop, Frame, Harm, HarvestHabit, Life, Organ};
use crate::night::bed::BedNight;
use crate::risk::{BedRisk, OrganRisk, PlantingRisk};
use crate::units::{Celsius, Minutes, Probability};
use crate::words::words;
use chrono::{DateTime, Utc};

/// Something to pick.
#[derive(Clone, Debug, PartialEq)]
pub struct Pick {
    pub crop: String,
    /// Which of several sowings of it, as people say it; empty: all that stand in the bed.
    pub sowings: Vec<String>,
    /// What is taken.
    pub organ: Organ,
    /// The catalogue's instruction.
    pub instruction: String,
    /// About how many plants there are, where each is cut by itself.
    pub plants: Option<u32>,
    /// Person-minutes.
    pub work: Minutes,
    pub keeps: Keeps,
}

impl Pick {
    /// Whether something is picked of a planting of its bed.
    pub fn is_of(&self, planting: &PlantingRisk<'_>) -> bool {
        let is_named = || planting.told_apart.as_ref().is_some_and(|sowing| self.sowings.contains(sowing));
        self.crop == planting.crop.name && (self.sowings.is_empty() || is_named())
    }
}

/// What of a plant stays of use after picking.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeps {
    /// It goes on growing and bears again.
    Plant,
    /// It comes again from its crown.
    Crown,
    /// It is taken whole, or dies with the frost.
    Nothing,
}

words!(Keeps { Plant = "plant", Crown = "crown", Nothing = "nothing" });

/// Person-minutes to cut one head or bulb with its knife work (assumed, as all times here: no published figure was
/// found, and a garden's own should replace them).
const CUT_PER_PLANT: f64 = 0.5;
/// Person-minutes for a square metre: leaves cut by the handful, pods looked for, fruit picked, roots forked up, and
/// small plants that stand close pulled by the bunch (assumed).
const LEAVES_PER_SQUARE_METRE: f64 = 3.0;
const PODS_PER_SQUARE_METRE: f64 = 5.0;
const FRUIT_PER_SQUARE_METRE: f64 = 4.0;
const DIG_PER_SQUARE_METRE: f64 = 6.0;
const PULL_PER_SQUARE_METRE: f64 = 4.0;
/// Person-minutes for what one pot holds, at least (assumed).
const PER_POT: f64 = 1.0;
/// Part of the picking that would be done within days anyhow, so that tonight it costs no more than its haste (assumed).
pub(super) const PICKED_ANYHOW: f64 = 0.5;
/// From such a chance of damage on a part is picked, where people go out for its bed at all (assumed). A garden's caution
/// does not move it: what is picked too early is a loss of its own.
const DUE: f64 = 0.10;
/// Less than this part of a picking is not asked for (assumed).
const WORTH_ASKING: f64 = 0.1;
/// Plants with less room than this are handled by the bunch, and nobody counts them, m (assumed).
const COUNTED_FROM_SPREAD: f64 = 0.25;

/// What to pick in a bed, in order: pods, buds and fruit, then heads and curds, then leaves, and last what the soil
/// keeps longest. Of one kind the likeliest to be harmed comes first; each instruction stands once.
pub(super) fn picks(risk: &BedRisk<'_>) -> Vec<Pick> {
    let mut due: Vec<(usize, &PlantingRisk<'_>, &OrganRisk<'_>)> = Vec::new();
    for (index, planting) in risk.plantings.iter().enumerate() {
        due.extend(
            planting.organs.iter().filter(|organ| is_due(planting, organ)).map(|organ| (index, planting, organ)),
        );
    }
    let organ_of = |(_, planting, organ): &(usize, &PlantingRisk<'_>, &OrganRisk<'_>)| {
        taken(planting.crop.growing.harvested, organ.tolerance.organ)
    };
    due.sort_by(|a, b| turn(organ_of(a)).cmp(&turn(organ_of(b))).then_with(|| b.2.likelier(a.2)));
    let mut picks: Vec<Pick> = Vec::new();
    let mut seen: Vec<(usize, &str)> = Vec::new();
    for entry in due {
        let (index, planting, organ) = entry;
        let Some(instruction) = &organ.tolerance.pick else { continue };
        // A second part of one plant comes with the first; a second planting of a crop is more to pick.
        if seen.contains(&(index, instruction)) {
            continue;
        }
        seen.push((index, instruction));
        let organ = organ_of(&entry);
        let (plants, work) = size(risk.bed, planting, organ);
        let same = |pick: &&mut Pick| pick.crop == planting.crop.name && pick.instruction == *instruction;
        match picks.iter_mut().find(same) {
            Some(pick) => {
                pick.sowings.extend(planting.told_apart.clone());
                pick.plants = pick.plants.zip(plants).map(|(a, b)| a.saturating_add(b));
                pick.work = pick.work + work;
            }
            None => picks.push(Pick {
                crop: planting.crop.name.clone(),
                sowings: planting.told_apart.clone().into_iter().collect(),
                organ,
                instruction: instruction.clone(),
                plants,
                work,
                keeps: keeps(planting.crop, planting.stage.name, organ),
            }),
        }
    }
    for pick in &mut picks {
        let is_picked = |index: usize| seen.contains(&(index, pick.instruction.as_str()));
        let of_crop = || risk.plantings.iter().enumerate().filter(|(_, one)| one.crop.name == pick.crop);
        // One that nothing tells from the others cannot be named beside them.
        let unnamed = of_crop().any(|(index, one)| is_picked(index) && one.told_apart.is_none());
        if unnamed || of_crop().all(|(index, _)| is_picked(index)) {
            pick.sowings.clear();
        }
    }
    picks
}

/// Plantings in danger, from such a chance on, of which nothing is due, with the part that decides.
pub(super) fn in_danger_beside<'r, 'a>(
    risk: &'r BedRisk<'a>,
    from: Probability,
) -> impl Iterator<Item = (&'r PlantingRisk<'a>, &'r OrganRisk<'a>)> {
    let beside = risk.plantings.iter().filter(|one| !one.organs.iter().any(|organ| is_due(one, organ)));
    let deciding = beside.filter_map(|planting| Some((planting, planting.deciding()?)));
    deciding.filter(move |(_, organ)| organ.open.chance >= from && organ.tolerance.frame != Frame::Soil)
}

/// Of the worth of a bed, what is given up by picking all that is due: no cover brings it back.
pub(super) fn growth_forgone(risk: &BedRisk<'_>) -> Minutes {
    let due = risk.plantings.iter().flat_map(|one| one.organs.iter().map(move |organ| (one, organ)));
    let forgone = due.filter(|(planting, organ)| is_due(planting, organ)).map(|(planting, organ)| {
        let yields = yield_of(risk.bed, planting);
        planting.worth.0 * organ.tolerance.share * yields.taken * planting.left.to_pick * yields.growth_forgone
    });
    Minutes(forgone.sum())
}

/// All picking of a bed.
pub(super) fn work(risk: &BedRisk<'_>) -> Minutes {
    picks(risk).iter().fold(Minutes(0.0), |sum, pick| sum + pick.work)
}

/// A leaf that has been as cold as this is taken for frozen until it is warmer than 0 °C (assumed: the sap of most leaves
/// freezes between -0.5 and -2 °C).
const FREEZES: Celsius = Celsius(-1.0);

/// Marks what is expected to be frozen by now: it is not to be touched before it has thawed.
pub(super) fn freeze(risks: &mut [BedRisk<'_>], now: DateTime<Utc>) {
    for planting in risks.iter_mut().flat_map(|risk| &mut risk.plantings) {
        planting.is_frozen = planting.night.as_ref().is_some_and(|night| is_frozen_at(night, now));
    }
}

fn is_frozen_at(night: &BedNight, now: DateTime<Utc>) -> bool {
    let past = night.hours.iter().take_while(|hour| hour.time <= now);
    past.fold(false, |is_frozen, hour| hour.tissue <= FREEZES || (is_frozen && hour.tissue <= Celsius(0.0)))
}

/// When the first of what is due in a bed is expected to freeze: after that it must not be touched.
pub(super) fn freezes_at(risk: &BedRisk<'_>) -> Option<DateTime<Utc>> {
    let is_above_ground = |planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>| {
        is_due(planting, organ) && organ.tolerance.frame != Frame::Soil
    };
    let due = risk.plantings.iter().filter(|one| one.organs.iter().any(|organ| is_above_ground(one, organ)));
    let frozen = due.filter_map(|one| one.night.as_ref()?.hours.iter().find(|hour| hour.tissue <= FREEZES));
    frozen.map(|hour| hour.time).min()
}

/// Whether a part cannot be picked before it has thawed: of what grows in the soil, where the soil freezes too. Of soil the
/// low of the night alone is known; it counts once the tops are frozen.
fn waits_for_thaw(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>) -> bool {
    let soil_freezes = || planting.night.as_ref().is_some_and(|night| night.soil.mean < Celsius(0.0));
    planting.is_frozen && (organ.tolerance.frame != Frame::Soil || soil_freezes())
}

/// Whether something in a bed would be picked, were it not frozen by now.
pub(super) fn is_frozen(risk: &BedRisk<'_>) -> bool {
    let mut organs = risk.plantings.iter().flat_map(|one| one.organs.iter().map(move |organ| (one, organ)));
    organs.any(|(planting, organ)| is_wanted(planting, organ) && waits_for_thaw(planting, organ))
}

/// Whether a part is to be picked before this night: it can be, and it is in danger.
pub(super) fn is_due(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>) -> bool {
    is_wanted(planting, organ) && !waits_for_thaw(planting, organ)
}

/// The same, frozen or not. What grows in the soil waits until the soil itself is heading below its threshold; that its
/// freezing point is badly known is no reason to dig.
fn is_wanted(planting: &PlantingRisk<'_>, organ: &OrganRisk<'_>) -> bool {
    let tolerance = organ.tolerance;
    if planting.left.to_pick < WORTH_ASKING {
        return false;
    }
    let in_danger = match tolerance.frame {
        Frame::Soil => organ.open.minimum.mean <= organ.damage_begins,
        Frame::ScreenAir | Frame::Tissue => organ.open.chance.0 >= DUE,
    };
    tolerance.pick.is_some() && in_danger
}

/// Soil that is too cold for what ripens in it: one night is only a part of such a chill, but soil that has cooled in
/// autumn does not warm again. The soil expected, and where harm begins. What is worth nothing is left.
pub(super) fn soil_too_cold(risk: &BedRisk<'_>) -> Option<Reason> {
    let plantings = risk.plantings.iter().filter(|planting| planting.worth > Minutes(0.0));
    let organs = plantings.flat_map(|planting| planting.organs.iter().filter(move |organ| is_due(planting, organ)));
    let chilled = organs.filter(|organ| organ.tolerance.frame == Frame::Soil && organ.tolerance.harm == Harm::Chilling);
    let coldest = chilled.max_by(|a, b| b.open.margin.0.total_cmp(&a.open.margin.0))?;
    Some(Reason::SoilTooCold { soil: coldest.open.minimum.mean, begins: coldest.damage_begins })
}

/// Whether all that is in danger in a bed are roots and tubers that the soil keeps through this night.
pub(super) fn soil_keeps(risk: &BedRisk<'_>, caution: Caution) -> Option<Reason> {
    let organs = risk.plantings.iter().filter_map(|planting| Some((planting, planting.deciding()?)));
    let in_danger: Vec<_> = organs.filter(|(_, organ)| organ.open.chance >= caution.fine_below()).collect();
    // What was lifted is not in the soil any more.
    let kept = |(planting, organ): &(&PlantingRisk<'_>, &OrganRisk<'_>)| {
        organ.tolerance.frame == Frame::Soil && !is_wanted(planting, organ)
    };
    if in_danger.is_empty() || !in_danger.iter().all(kept) {
        return None;
    }
    let tenderest =
        in_danger.into_iter().map(|(_, organ)| organ).max_by(|a, b| a.damage_begins.0.total_cmp(&b.damage_begins.0))?;
    Some(Reason::SoilKeepsRoots { soil: tenderest.open.minimum.mean, begins: tenderest.damage_begins })
}

/// Crops of a bed that a frost of this night makes better, each with what it does for them.
pub fn better_for_frost<'a>(risk: &BedRisk<'a>) -> Vec<(&'a str, &'a str)> {
    let freezes = risk.night.as_ref().is_some_and(|night| night.tissue.mean < Celsius(0.0));
    let mut better = Vec::new();
    for planting in risk.plantings.iter().filter(|_| freezes) {
        let Some(what) = &planting.crop.harvest.better_after_frost else { continue };
        // A part that frost would spoil comes before any gain in flavour, and young plants have none.
        let spoilt = planting.deciding().is_none_or(|organ| organ.open.chance.0 >= DUE);
        let pair = (planting.crop.name.as_str(), what.as_str());
        if !spoilt && is_harvest_stage(planting.crop, planting.stage.name) && !better.contains(&pair) {
            better.push(pair);
        }
    }
    better
}

/// Whether a crop has something to pick in a stage, though it may still be small. Where the catalogue names nothing to
/// pick at all, its last stage.
pub(super) fn is_harvest_stage(crop: &Crop, stage: &str) -> bool {
    let has_picks = crop.tolerances.iter().any(|tolerance| tolerance.pick.is_some());
    if has_picks {
        crop.at_stage(stage).any(|tolerance| tolerance.pick.is_some())
    } else {
        crop.stages.last().is_some_and(|last| last == stage)
    }
}

/// What is taken, of a part at risk: of beans and tomatoes the plant is at risk and the pods and fruit are taken.
pub(super) fn taken(habit: HarvestHabit, at_risk: Organ) -> Organ {
    match (habit, at_risk) {
        (HarvestHabit::Pods, Organ::Leaf) => Organ::Pod,
        (HarvestHabit::Fruit, Organ::Leaf) => Organ::Fruit,
        (_, organ) => organ,
    }
}

/// Order within a bed (common practice).
fn turn(organ: Organ) -> u8 {
    match organ {
        Organ::Pod | Organ::Flower => 0,
        Organ::Fruit => 1,
        Organ::Head | Organ::Curd => 2,
        Organ::Leaf | Organ::Crown => 3,
        Organ::Bulb => 4,
        Organ::Root | Organ::Tuber => 5,
    }
}

/// How many plants a planting has: as the garden says, else as many as have room.
pub(super) fn plants(bed: &Bed, planting: &Planting, crop: &Crop) -> f64 {
    match (planting.plants, bed.kind) {
        (Some(plants), _) => f64::from(plants),
        (None, BedKind::Containers { count, .. }) => (f64::from(count) * planting.part_of_bed).max(1.0),
        (None, BedKind::InGround | BedKind::Raised) => {
            (bed.area() * planting.part_of_bed / crop.growing.spread.powi(2)).round().max(1.0)
        }
    }
}

/// Whether a part is cut plant by plant, and whether somebody would count the plants.
pub(super) fn by_plant(crop: &Crop, organ: Organ) -> (bool, bool) {
    let by_plant = matches!(organ, Organ::Head | Organ::Curd | Organ::Bulb)
        || (organ == Organ::Leaf && crop.growing.harvested == HarvestHabit::Whole);
    (by_plant, by_plant && crop.growing.spread >= COUNTED_FROM_SPREAD)
}

/// How many plants are cut one by one, and how long it takes: of what is still there to pick.
fn size(bed: &Bed, risk: &PlantingRisk<'_>, organ: Organ) -> (Option<u32>, Minutes) {
    let (planting, crop) = (risk.planting, risk.crop);
    let left = risk.left.stands * risk.left.to_pick;
    let area = bed.area() * planting.part_of_bed * left;
    let plants = (plants(bed, planting, crop) * left).round().max(1.0);
    let (by_plant, counted) = by_plant(crop, organ);
    let minutes = match organ {
        _ if counted => CUT_PER_PLANT * plants,
        _ if by_plant => PULL_PER_SQUARE_METRE * area,
        Organ::Pod => PODS_PER_SQUARE_METRE * area,
        Organ::Fruit | Organ::Flower => FRUIT_PER_SQUARE_METRE * area,
        Organ::Root | Organ::Tuber => DIG_PER_SQUARE_METRE * area,
        Organ::Leaf | Organ::Crown | Organ::Head | Organ::Curd | Organ::Bulb => LEAVES_PER_SQUARE_METRE * area,
    };
    let least = match bed.kind {
        BedKind::Containers { count, .. } => PER_POT * f64::from(count) * planting.part_of_bed * left,
        BedKind::InGround | BedKind::Raised => 0.0,
    };
    // Beds are bounded by the limits of settings, and plants with them.
    (counted.then_some(plants as u32), Minutes(minutes.max(least)))
}

/// Whether what is picked tonight leaves nothing of a planting to wait for: it goes with its plants, or the part for which it is
/// grown is picked. Of beets whose leaves are cut the roots stay. And whether what is picked comes again.
pub(super) fn goes_with_picking(planting: &PlantingRisk<'_>) -> (bool, bool) {
    let habit = planting.crop.growing.harvested;
    let due = planting.organs.iter().filter(|organ| is_due(planting, organ));
    let due: Vec<Organ> = due.map(|organ| taken(habit, organ.tolerance.organ)).collect();
    let keeps = |organ: &Organ| keeps(planting.crop, planting.stage.name, *organ);
    let takes_all = due.iter().any(|organ| keeps(organ) == Keeps::Nothing);
    let goes = takes_all || main_part(planting).is_some_and(|main| due.contains(&main));
    (goes, !due.is_empty() && !takes_all)
}

/// The part of a planting that is picked first and foremost.
pub(super) fn main_part(planting: &PlantingRisk<'_>) -> Option<Organ> {
    let parts = planting.parts.iter().map(|(tolerance, _)| tolerance).filter(|tolerance| tolerance.pick.is_some());
    let most = parts.max_by(|a, b| a.share.total_cmp(&b.share))?;
    Some(taken(planting.crop.growing.harvested, most.organ))
}

/// What stays after picking.
pub(super) fn keeps(crop: &Crop, stage: &str, organ: Organ) -> Keeps {
    match (crop.growing.harvested, crop.growing.life) {
        _ if matches!(organ, Organ::Root | Organ::Tuber) => Keeps::Nothing,
        (HarvestHabit::CentralThenSideShoots, _) => Keeps::Plant,
        (HarvestHabit::CutAndComeAgain, _) => Keeps::Crown,
        (HarvestHabit::Snip | HarvestHabit::Fruit | HarvestHabit::Pods, Life::Perennial) => Keeps::Plant,
        (HarvestHabit::Pods | HarvestHabit::Fruit, _) if outlives(crop, stage, organ) => Keeps::Plant,
        (HarvestHabit::RootAsWanted, _) => Keeps::Plant,
        _ => Keeps::Nothing,
    }
}

/// Whether the leaves of a plant stand more cold than what is picked from it.
fn outlives(crop: &Crop, stage: &str, picked: Organ) -> bool {
    let freezing = |organ: Organ| {
        let mut at = crop.at_stage(stage).filter(move |one| one.organ == organ && one.harm == Harm::Freezing);
        at.next().map(|one| one.damage_begins)
    };
    matches!((freezing(Organ::Leaf), freezing(picked)), (Some(leaf), Some(picked)) if leaf < picked)
}

/// What a picking takes of an organ's worth, and what of that is given up by taking it early.
pub(super) struct Yield {
    pub taken: f64,
    pub growth_forgone: f64,
}

/// Assumed throughout: a ripe head is taken whole and gives up little; of leaves that would have been cut all winter
/// the half that is usable now is taken and the crown stays; a few sprigs do not save a perennial, but spears, stalks
/// and buds are taken whole from a crown that has its own row. A tender herb is near its end on such a night, unless
/// its pot can go inside.
pub(super) fn yield_of(bed: &Bed, planting: &PlantingRisk<'_>) -> Yield {
    let crop = planting.crop;
    let has_crown = crop.at_stage(planting.stage.name).any(|tolerance| tolerance.organ == Organ::Crown);
    let can_go_inside = matches!(bed.kind, BedKind::Containers { movable: true, .. });
    let (taken, growth_forgone) = match (crop.growing.harvested, crop.growing.life) {
        (HarvestHabit::CentralThenSideShoots, _) => (1.0, 0.05),
        (HarvestHabit::Whole, _) => (1.0, 0.1),
        (HarvestHabit::Pods | HarvestHabit::Fruit, _) => (0.8, 0.1),
        (HarvestHabit::RootAsWanted, _) => (1.0, 0.25),
        (HarvestHabit::CutAndComeAgain, Life::Perennial) if has_crown => (0.8, 0.1),
        (HarvestHabit::Snip | HarvestHabit::CutAndComeAgain, Life::Perennial) => (0.2, 0.3),
        (HarvestHabit::Snip, _) if can_go_inside => (0.8, 0.3),
        (HarvestHabit::Snip, _) => (0.9, 0.1),
        (HarvestHabit::CutAndComeAgain, _) => (0.5, 0.3),
    };
    Yield { taken, growth_forgone }
}

#[cfg(test)]
mod tests;
