//! Bed and night to expected damage: each organ at risk, in its own frame, uncovered and under each cover at hand.

mod dose;
mod growth;
mod worth;

pub use dose::relief;
pub use growth::{HardenedBy, HardeningState, days_to_maturity, hardening_of, is_past_its_best, stage_of};
pub use worth::{GROUND_OF_A_POT, Grown, LETTUCE_DAYS, Worth, WorthFrom, worth};

use crate::beds::{Applied, Bed, BedKind, CoverStock, Garden, Planting, named};
use crate::crops::age::Stage;
use crate::crops::{Catalogue, Crop, Frame, Harm, Stature, Tolerance};
use crate::night::bed::{BedNight, Place, RootZone, at_bed};
use crate::night::cover::{Cover, CoverGain, Layers};
use crate::night::dose::DamageCurve;
use crate::night::past::PastDay;
use crate::night::{Estimate, Knowledge, Night};
use crate::units::{Celsius, Kelvins, Minutes, Probability};
use crate::weather::humidity::air_pressure;
use crate::zone::NightOf;
use std::sync::Arc;

/// One bed on one night.
#[derive(Clone, Debug)]
pub struct BedRisk<'a> {
    pub bed: &'a Bed,
    /// At those of its plants that get coldest; `None` where nothing is known of the night.
    pub night: Option<Arc<BedNight>>,
    pub plantings: Vec<PlantingRisk<'a>>,
    /// What stands in the settings and is gone by what somebody wrote down.
    pub gone: Vec<&'a Crop>,
}

/// One planting on one night.
#[derive(Clone, Debug)]
pub struct PlantingRisk<'a> {
    pub planting: &'a Planting,
    pub crop: &'a Crop,
    /// What tells it from other plantings of its crop in its bed, as people say it.
    pub told_apart: Option<String>,
    /// Of all that still stands.
    pub worth: Minutes,
    /// What it was before anything was picked or lost, and why so much.
    pub whole_worth: Worth,
    /// Its stage on this night.
    pub stage: Stage<'a>,
    pub hardening: HardeningState,
    /// What is at risk in that stage, with the figures that hold for this planting.
    pub parts: Vec<(&'a Tolerance, Applied)>,
    /// The night at plants of this stature; `None` where nothing is known of it, and then no organ is listed.
    pub night: Option<Arc<BedNight>>,
    /// The parts with what the night does to each; empty where nothing is known of it.
    pub organs: Vec<OrganRisk<'a>>,
    /// What of it was picked or lost before.
    pub left: Left,
    /// Whether it is expected to be frozen while the list is made; the list says so, nothing else.
    pub is_frozen: bool,
}

/// What of a planting is left after what was picked or lost before, 0 to 1 each.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// Of the plants; its worth goes with them.
    pub stands: f64,
    /// Of what they had to pick, what can still be picked.
    pub to_pick: f64,
    /// Of the worth of the parts that are picked, what is still there.
    pub of_picked: f64,
}

impl Left {
    /// Where nothing was picked or lost.
    pub const ALL: Left = Left { stands: 1.0, to_pick: 1.0, of_picked: 1.0 };

    /// What is left of a part's share of the worth.
    pub fn of(&self, part: &Tolerance) -> f64 {
        if part.pick.is_some() { self.of_picked } else { 1.0 }
    }
}

/// One organ of a planting on one night.
#[derive(Clone, Debug)]
pub struct OrganRisk<'a> {
    /// As the catalogue has it.
    pub tolerance: &'a Tolerance,
    /// Its figures in this garden.
    pub applied: Applied,
    /// Thresholds of this planting, hardening taken off.
    pub damage_begins: Celsius,
    pub severe: Celsius,
    pub open: Outcome,
    /// The same under each cover in stock, cloth of which there are two also in two layers.
    pub covered: Vec<(Cover, Outcome)>,
    /// The same carried under a roof; only of pots that can be carried.
    pub roofed: Option<Outcome>,
}

/// What a night does to an organ, open or under one cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outcome {
    /// The lowest temperature in the organ's frame.
    pub minimum: Estimate,
    /// Lowest temperature less the threshold: degrees left before damage begins, negative when below it.
    pub margin: Kelvins,
    /// The expected part of such plants that is damaged.
    pub chance: Probability,
    /// Time below the threshold, h.
    pub hours_below: f64,
    /// Hours of chill on the nights in a row before this one.
    pub hours_before: f64,
    /// By how much the frost counts as milder because it is short.
    pub relief: Kelvins,
}

/// An organ that carries less of its planting's worth than this does not decide over a bed (assumed).
pub const DECIDING_SHARE: f64 = 0.2;

/// All beds of a garden on the night of a date, in the garden's order. Where nothing is known of the night, only what
/// grows there is said.
pub fn assess<'a>(
    garden: &'a Garden,
    of: NightOf,
    night: Option<&Night>,
    catalogue: &'a Catalogue,
) -> Vec<BedRisk<'a>> {
    let past = night.map_or(&[][..], |night| &night.past);
    let plantings = |bed: &'a Bed| -> Vec<PlantingRisk<'a>> {
        // Settings refuse an unknown crop, so nothing is lost here.
        let known = bed.plantings.iter().filter_map(|planting| Some((planting, catalogue.crops.get(&planting.crop)?)));
        known.map(|(planting, crop)| describe(garden, bed, planting, crop, of, past)).collect()
    };
    let Some(night) = night else {
        return garden
            .beds
            .iter()
            .map(|bed| BedRisk { bed, night: None, plantings: plantings(bed), gone: Vec::new() })
            .collect();
    };
    let pressure = air_pressure(garden.site.elevation);
    let gains = gains(garden, night);
    // Plantings alike in all that matters to the night share it: a garden has few kinds of places and statures.
    let mut nights: Vec<(Place, Arc<BedNight>)> = Vec::new();
    let mut at = |place: Place| match nights.iter().find(|(known, _)| *known == place) {
        Some((_, bed_night)) => Arc::clone(bed_night),
        None => {
            let bed_night = Arc::new(at_bed(night, &place, pressure));
            nights.push((place, Arc::clone(&bed_night)));
            bed_night
        }
    };
    let mut beds = Vec::with_capacity(garden.beds.len());
    for (index, bed) in garden.beds.iter().enumerate() {
        let read = night.read_at.filter(|read| read.bed == index);
        let mut plantings = plantings(bed);
        for planting in &mut plantings {
            let bed_night = at(Place { read, ..place_of(bed, planting.crop.stature_at(planting.stage.name)) });
            planting.organs = organs(bed, planting, &bed_night, night, &gains);
            planting.night = Some(bed_night);
        }
        let nights = plantings.iter().filter_map(|planting| planting.night.as_ref());
        let coldest = nights.min_by(|a, b| a.tissue.mean.0.total_cmp(&b.tissue.mean.0));
        // Settings refuse a bed without a planting; were one to come through, it would still have a night.
        let coldest = coldest.map_or_else(|| at(Place { read, ..place_of(bed, Stature::LOW_BED) }), Arc::clone);
        beds.push(BedRisk { bed, night: Some(coldest), plantings, gone: Vec::new() });
    }
    beds
}

/// What grows there, before anything is said of the night.
fn describe<'a>(
    garden: &Garden,
    bed: &Bed,
    planting: &'a Planting,
    crop: &'a Crop,
    of: NightOf,
    past: &[PastDay],
) -> PlantingRisk<'a> {
    let stage = stage_of(garden, planting, crop, of);
    let hardening = growth::hardening_of(bed, planting, crop, &stage, past, of);
    let parts = crop.at_stage(stage.name).map(|part| (part, garden.figures(planting, stage.name, part))).collect();
    let whole_worth = worth::of_stage(garden, bed, planting, crop, &stage, of);
    PlantingRisk {
        planting,
        crop,
        told_apart: bed.told_apart(planting, crop),
        worth: whole_worth.minutes,
        whole_worth,
        stage,
        hardening,
        parts,
        night: None,
        organs: Vec::new(),
        left: Left::ALL,
        is_frozen: false,
    }
}

/// What each cover in stock gains tonight.
fn gains(garden: &Garden, night: &Night) -> Vec<(Cover, CoverGain)> {
    let stocks = garden.covers.iter().filter(|stock| stock.count > 0);
    let mut covers: Vec<Cover> = stocks
        .flat_map(|stock| {
            let two = (stock.count > 1 && stock.kind.can_be_doubled()).then(|| stock.cover(Layers::Two));
            [stock.cover(Layers::One)].into_iter().chain(two)
        })
        .collect();
    covers.sort();
    covers.dedup();
    covers.into_iter().map(|cover| (cover, garden.learned.gain(cover, night.cover_conditions))).collect()
}

/// What of a bed, and of what grows there, matters to its night.
pub fn place_of(bed: &Bed, stature: Stature) -> Place {
    let root_zone = match bed.kind {
        BedKind::InGround => RootZone::Ground,
        BedKind::Raised => RootZone::Raised { width: bed.width.min(bed.length), height: bed.height },
        BedKind::Containers { diameter, .. } => RootZone::Pot { radius: diameter / 2.0 },
    };
    let (exposure, offset, learned, mulch) = (bed.exposure, bed.offset, bed.learned_offset, bed.mulch);
    Place { exposure, offset, learned, root_zone, mulch, stature, read: None }
}

fn organs<'a>(
    bed: &Bed,
    planting: &PlantingRisk<'a>,
    bed_night: &BedNight,
    night: &Night,
    gains: &[(Cover, CoverGain)],
) -> Vec<OrganRisk<'a>> {
    let roofed = matches!(bed.kind, BedKind::Containers { movable: true, .. }).then(|| bed_night.under_a_roof());
    let organs = planting.parts.iter().map(|(tolerance, applied)| {
        let (damage_begins, severe) = applied.figures.hardened(planting.hardening.degree);
        let (harm, frame) = (tolerance.harm, tolerance.frame);
        let hours_before =
            dose::chilled_before(bed, planting.planting, harm, frame, damage_begins, bed_night, &night.past);
        // Of a night with holes nobody can say that it is short.
        let can_be_short = night.knowledge == Knowledge::Complete;
        let part = Part { tolerance, applied, damage_begins, severe, hours_before, can_be_short };
        OrganRisk {
            tolerance,
            applied: applied.clone(),
            damage_begins,
            severe,
            open: outcome(&part, bed_night, None),
            roofed: roofed.as_ref().map(|roofed| outcome(&part, roofed, None)),
            covered: gains.iter().map(|(cover, gain)| (*cover, outcome(&part, bed_night, Some(*gain)))).collect(),
        }
    });
    organs.collect()
}

/// One part of a planting before one night.
struct Part<'p> {
    tolerance: &'p Tolerance,
    applied: &'p Applied,
    /// Hardening taken off.
    damage_begins: Celsius,
    severe: Celsius,
    hours_before: f64,
    can_be_short: bool,
}

/// Expected damage with everything that is uncertain folded in: the night, the cover, and the threshold itself.
fn outcome(part: &Part<'_>, night: &BedNight, cover: Option<CoverGain>) -> Outcome {
    let Part { tolerance, applied, damage_begins, severe, hours_before, can_be_short } = *part;
    let frame = tolerance.frame;
    let minimum = night.minimum(frame, cover);
    let hours_below = night.hours_below(frame, cover, damage_begins);
    // Not to know what a cover gains is no gain: the open night's spread counts where it is the less kind.
    let open = night.minimum(frame, None);
    let open_spread = open.moved(Kelvins(0.0), applied.figures.spread).spread;
    let relief = match (tolerance.harm, applied.figures.exposure_hours) {
        (Harm::Freezing, Some(needed)) if can_be_short => {
            let colder = night.hours_below(frame, cover, damage_begins + open.spread);
            dose::relief(damage_begins, severe, colder, needed)
        }
        _ => Kelvins(0.0),
    };
    // Settings refuse thresholds that make no curve; were one to come through, it would count as lost, not as safe.
    let curve = DamageCurve::new(damage_begins, severe);
    let chance = curve.map_or(Probability(1.0), |curve| {
        let mean = minimum.mean + relief;
        let narrow = curve.expected(mean, open_spread).0;
        let under = match cover.filter(|_| frame != Frame::Soil) {
            // What a cover gains is lopsided, and is kept so.
            Some(gain) => gain.average(|gained| curve.expected(mean + gained, open_spread).0),
            None => narrow,
        };
        Probability(under.max(narrow))
    });
    let chance = match (tolerance.harm, applied.figures.exposure_hours) {
        (Harm::Chilling, Some(needed)) => dose::chilled(chance, hours_below, hours_before, needed),
        _ => chance,
    };
    Outcome { minimum, margin: minimum.mean - damage_begins, chance, hours_below, hours_before, relief }
}

impl OrganRisk<'_> {
    /// Open or under a cover; one that is not in stock counts as open.
    pub fn under(&self, cover: Option<Cover>) -> &Outcome {
        let covered = self.covered.iter().find(|(known, _)| Some(*known) == cover);
        covered.map_or(&self.open, |(_, outcome)| outcome)
    }

    /// Orders by chance of damage; of equals, the one with less margin is the likelier.
    pub fn likelier(&self, other: &OrganRisk<'_>) -> std::cmp::Ordering {
        let by_margin = other.open.margin.0.total_cmp(&self.open.margin.0);
        self.open.chance.0.total_cmp(&other.open.chance.0).then(by_margin)
    }
}

impl<'a> PlantingRisk<'a> {
    /// Its name within its bed, by [`Bed::name_of`].
    pub fn name(&self) -> String {
        named(&self.crop.name, self.told_apart.as_ref())
    }

    /// Expected loss in minutes of worth.
    pub fn expected_loss(&self, cover: Option<Cover>) -> Minutes {
        let part: f64 = self.organs.iter().map(|organ| self.share(organ) * organ.under(cover).chance.0).sum();
        Minutes(self.worth.0 * part)
    }

    /// Part of its worth that goes with one of its organs, less what was picked of that before.
    fn share(&self, organ: &OrganRisk<'_>) -> f64 {
        organ.tolerance.share * self.left.of(organ.tolerance)
    }

    /// The warmest threshold of an organ that carries weight: what to go by when nothing is known of the night. Roots
    /// count only where nothing stands above them: the soil keeps them through one night.
    pub fn tenderest(&self) -> Option<(&'a Tolerance, Celsius)> {
        let thresholds = self
            .parts
            .iter()
            .filter(|(tolerance, _)| tolerance.share * self.left.of(tolerance) >= DECIDING_SHARE)
            .filter(|(tolerance, _)| tolerance.harm == Harm::Freezing)
            .map(|(tolerance, applied)| (*tolerance, applied.figures.hardened(self.hardening.degree).0));
        let above_ground = |tolerance: &Tolerance| tolerance.frame != Frame::Soil;
        thresholds.max_by(|(a, a_begins), (b, b_begins)| {
            above_ground(a).cmp(&above_ground(b)).then(a_begins.0.total_cmp(&b_begins.0))
        })
    }

    /// The organ that decides: of those that carry weight, the one most likely damaged; ties go to the smaller margin.
    pub fn deciding(&self) -> Option<&OrganRisk<'a>> {
        let weighty: Vec<&OrganRisk<'a>> =
            self.organs.iter().filter(|organ| self.share(organ) >= DECIDING_SHARE).collect();
        let candidates = if weighty.is_empty() { self.organs.iter().collect() } else { weighty };
        candidates.into_iter().max_by(|a, b| a.likelier(b))
    }
}

impl BedRisk<'_> {
    /// Expected loss of the whole bed under a roof, in minutes of worth; of what cannot be carried, as it stands. What is
    /// unsure of the roof makes nothing worse than it is outside.
    pub fn loss_under_a_roof(&self) -> Minutes {
        let of = |planting: &PlantingRisk<'_>| -> f64 {
            let chance = |organ: &OrganRisk<'_>| {
                organ.roofed.map_or(organ.open.chance.0, |roofed| roofed.chance.0.min(organ.open.chance.0))
            };
            let part: f64 = planting.organs.iter().map(|organ| organ.tolerance.share * chance(organ)).sum();
            planting.worth.0 * part
        };
        Minutes(self.plantings.iter().map(of).sum())
    }

    /// Expected loss of the whole bed, in minutes of worth.
    pub fn expected_loss(&self, cover: Option<Cover>) -> Minutes {
        self.plantings.iter().fold(Minutes(0.0), |sum, planting| sum + planting.expected_loss(cover))
    }

    /// What the whole bed is worth.
    pub fn worth(&self) -> Minutes {
        self.plantings.iter().fold(Minutes(0.0), |sum, planting| sum + planting.worth)
    }
}

/// How many pieces of a stock make one cover for a bed: as few as possible, lengthwise or across.
pub fn pieces_for(bed: &Bed, stock: &CoverStock) -> u32 {
    pieces_over(bed.length, bed.width, stock)
}

/// The same for any rectangle, m.
pub fn pieces_over(length: f64, width: f64, stock: &CoverStock) -> u32 {
    let pieces = |of_length: f64, of_width: f64| {
        // A bed is not wider than its cover by a rounding error.
        let ceil = |ratio: f64| (ratio - 1e-9).ceil().max(1.0);
        ceil(length / of_length) * ceil(width / of_width)
    };
    let fewest = pieces(stock.length, stock.width).min(pieces(stock.width, stock.length));
    // Lengths are within the limits of settings: at most 4,000 by 4,000 pieces.
    fewest as u32
}
