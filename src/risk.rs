//! Bed and night to expected damage: each organ at risk, in its own frame, uncovered and under each cover at hand.

use crate::beds::{Bed, BedKind, CoverStock, Garden, Planting};
use crate::crops::{Catalogue, Crop, Frame, Harm, Tolerance};
use crate::night::bed::{BedNight, Place, RootZone, at_bed};
use crate::night::cover::{CoverGain, CoverKind};
use crate::night::dose::DamageCurve;
use crate::night::{Estimate, Night};
use crate::units::{Celsius, Kelvins, Minutes, Probability};
use crate::weather::humidity::air_pressure;

/// One bed on one night.
#[derive(Clone, Debug)]
pub struct BedRisk<'a> {
    pub bed: &'a Bed,
    /// `None` where nothing is known of the night; then its plantings list no organ.
    pub night: Option<BedNight>,
    pub plantings: Vec<PlantingRisk<'a>>,
}

/// One planting on one night.
#[derive(Clone, Debug)]
pub struct PlantingRisk<'a> {
    pub planting: &'a Planting,
    pub crop: &'a Crop,
    pub worth: Minutes,
    pub organs: Vec<OrganRisk<'a>>,
}

/// One organ of a planting on one night.
#[derive(Clone, Debug)]
pub struct OrganRisk<'a> {
    pub tolerance: &'a Tolerance,
    /// Thresholds of this planting, hardening taken off.
    pub damage_begins: Celsius,
    pub severe: Celsius,
    pub open: Outcome,
    /// The same under each kind of cover in stock.
    pub covered: Vec<(CoverKind, Outcome)>,
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
}

/// An organ that carries less of its planting's worth than this does not decide over a bed (assumed).
pub const DECIDING_SHARE: f64 = 0.2;

/// Of the hours that chilling takes, a night counts that has this part of them (assumed).
const GOOD_PART_OF_A_CHILL: f64 = 0.5;

/// All beds of a garden on one night, in the garden's order. Without a night, only what grows there is said.
pub fn assess<'a>(garden: &'a Garden, night: Option<&Night>, catalogue: &'a Catalogue) -> Vec<BedRisk<'a>> {
    let Some(night) = night else {
        let blank = |bed: &'a Bed| BedRisk {
            bed,
            night: None,
            plantings: plantings(garden, bed, catalogue, |_, _| Vec::new()),
        };
        return garden.beds.iter().map(blank).collect();
    };
    let pressure = air_pressure(garden.site.elevation);
    let mut kinds: Vec<CoverKind> =
        garden.covers.iter().filter(|stock| stock.count > 0).map(|stock| stock.kind).collect();
    kinds.sort();
    kinds.dedup();
    let gains: Vec<(CoverKind, CoverGain)> =
        kinds.into_iter().map(|kind| (kind, kind.gain(night.cover_conditions))).collect();
    // Beds alike in all that matters to the night share it: a garden has few kinds of places.
    let mut nights: Vec<(Place, BedNight)> = Vec::new();
    let mut beds = Vec::with_capacity(garden.beds.len());
    for bed in &garden.beds {
        let place = place_of(bed);
        let bed_night = match nights.iter().find(|(known, _)| *known == place) {
            Some((_, bed_night)) => bed_night.clone(),
            None => {
                let bed_night = at_bed(night, &place, pressure);
                nights.push((place, bed_night.clone()));
                bed_night
            }
        };
        let plantings = plantings(garden, bed, catalogue, |planting, crop| organs(planting, crop, &bed_night, &gains));
        beds.push(BedRisk { bed, night: Some(bed_night), plantings });
    }
    beds
}

fn plantings<'a>(
    garden: &Garden,
    bed: &'a Bed,
    catalogue: &'a Catalogue,
    organs: impl Fn(&'a Planting, &'a Crop) -> Vec<OrganRisk<'a>>,
) -> Vec<PlantingRisk<'a>> {
    bed.plantings
        .iter()
        // Settings refuse an unknown crop, so nothing is lost here.
        .filter_map(|planting| Some((planting, catalogue.crops.get(&planting.crop)?)))
        .map(|(planting, crop)| PlantingRisk {
            planting,
            crop,
            worth: garden.worth(bed, planting),
            organs: organs(planting, crop),
        })
        .collect()
}

/// What of a bed matters to its night.
pub fn place_of(bed: &Bed) -> Place {
    let root_zone = match bed.kind {
        BedKind::InGround | BedKind::Raised => RootZone::Ground,
        BedKind::Containers { diameter, .. } => RootZone::Pot { radius: diameter / 2.0 },
    };
    Place { exposure: bed.exposure, offset: bed.offset, root_zone }
}

fn organs<'a>(
    planting: &'a Planting,
    crop: &'a Crop,
    night: &BedNight,
    gains: &[(CoverKind, CoverGain)],
) -> Vec<OrganRisk<'a>> {
    let at_risk = crop.at_stage(&planting.stage);
    let organs = at_risk.map(|tolerance| {
        let (damage_begins, severe) = tolerance.hardened(planting.hardened.degree());
        let outcome = |cover| outcome(tolerance, damage_begins, severe, night, cover);
        OrganRisk {
            tolerance,
            damage_begins,
            severe,
            open: outcome(None),
            covered: gains.iter().map(|(kind, gain)| (*kind, outcome(Some(*gain)))).collect(),
        }
    });
    organs.collect()
}

/// Expected damage with everything that is uncertain folded in: the night, the cover, and the threshold itself.
fn outcome(
    tolerance: &Tolerance,
    damage_begins: Celsius,
    severe: Celsius,
    night: &BedNight,
    cover: Option<CoverGain>,
) -> Outcome {
    let minimum = night.minimum(tolerance.frame, cover);
    let hours_below = night.hours_below(tolerance.frame, cover, damage_begins);
    let known = minimum.moved(Kelvins(0.0), tolerance.spread);
    // Not to know what a cover gains is no gain: the open night's spread counts where it is the less kind.
    let open_spread = night.minimum(tolerance.frame, None).moved(Kelvins(0.0), tolerance.spread).spread;
    // Settings refuse thresholds that make no curve; were one to come through, it would count as lost, not as safe.
    let curve = DamageCurve::new(damage_begins, severe);
    let chance = curve.map_or(Probability(1.0), |curve| {
        let (wide, narrow) = (curve.expected(known.mean, known.spread), curve.expected(known.mean, open_spread));
        Probability(wide.0.max(narrow.0))
    });
    // Chilling needs its time; ice does its harm within the hour, and where a source states longer the figure is left
    // on the cold side.
    let chance = match (tolerance.harm, tolerance.exposure_hours) {
        (Harm::Chilling, Some(needed)) => {
            // A night is one part of a chill; unless it is a good part, the night is not what does it.
            let part = (hours_below / needed).min(1.0);
            Probability(if part >= GOOD_PART_OF_A_CHILL { chance.0 * part } else { 0.0 })
        }
        _ => chance,
    };
    Outcome { minimum, margin: minimum.mean - damage_begins, chance, hours_below }
}

impl OrganRisk<'_> {
    /// Open or under a cover; a kind that is not in stock counts as open.
    pub fn under(&self, cover: Option<CoverKind>) -> &Outcome {
        let covered = self.covered.iter().find(|(kind, _)| Some(*kind) == cover);
        covered.map_or(&self.open, |(_, outcome)| outcome)
    }

    /// Orders by chance of damage; of equals, the one with less margin is the likelier.
    pub fn likelier(&self, other: &OrganRisk<'_>) -> std::cmp::Ordering {
        let by_margin = other.open.margin.0.total_cmp(&self.open.margin.0);
        self.open.chance.0.total_cmp(&other.open.chance.0).then(by_margin)
    }
}

impl<'a> PlantingRisk<'a> {
    /// Expected loss in minutes of worth.
    pub fn expected_loss(&self, cover: Option<CoverKind>) -> Minutes {
        let part: f64 = self.organs.iter().map(|organ| organ.tolerance.share * organ.under(cover).chance.0).sum();
        Minutes(self.worth.0 * part)
    }

    /// The warmest threshold of an organ that carries weight: what to go by when nothing is known of the night. Roots
    /// count only where nothing stands above them: the soil keeps them through one night.
    pub fn tenderest(&self) -> Option<(&'a Tolerance, Celsius)> {
        let degree = self.planting.hardened.degree();
        let thresholds = self
            .crop
            .at_stage(&self.planting.stage)
            .filter(|tolerance| tolerance.share >= DECIDING_SHARE && tolerance.harm == Harm::Freezing)
            .map(|tolerance| (tolerance, tolerance.hardened(degree).0));
        let above_ground = |tolerance: &Tolerance| tolerance.frame != Frame::Soil;
        thresholds.max_by(|(a, a_begins), (b, b_begins)| {
            above_ground(a).cmp(&above_ground(b)).then(a_begins.0.total_cmp(&b_begins.0))
        })
    }

    /// The organ that decides: of those that carry weight, the one most likely damaged; ties go to the smaller margin.
    pub fn deciding(&self) -> Option<&OrganRisk<'a>> {
        let weighty: Vec<&OrganRisk<'a>> =
            self.organs.iter().filter(|organ| organ.tolerance.share >= DECIDING_SHARE).collect();
        let candidates = if weighty.is_empty() { self.organs.iter().collect() } else { weighty };
        candidates.into_iter().max_by(|a, b| a.likelier(b))
    }
}

impl BedRisk<'_> {
    /// Expected loss of the whole bed, in minutes of worth.
    pub fn expected_loss(&self, cover: Option<CoverKind>) -> Minutes {
        Minutes(self.plantings.iter().map(|planting| planting.expected_loss(cover).0).sum())
    }

    /// What the whole bed is worth.
    pub fn worth(&self) -> Minutes {
        Minutes(self.plantings.iter().map(|planting| planting.worth.0).sum())
    }
}

/// How many pieces of a stock make one cover for a bed: as few as possible, lengthwise or across.
pub fn pieces_for(bed: &Bed, stock: &CoverStock) -> u32 {
    let pieces = |length: f64, width: f64| {
        // A bed is not wider than its cover by a rounding error.
        let ceil = |ratio: f64| (ratio - 1e-9).ceil().max(1.0);
        ceil(bed.length / length) * ceil(bed.width / width)
    };
    let fewest = pieces(stock.length, stock.width).min(pieces(stock.width, stock.length));
    // Lengths are within the limits of settings: at most 4,000 by 4,000 pieces.
    fewest as u32
}
