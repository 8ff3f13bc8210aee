//! What a cover gains at the plant, as low, typical and high, and what takes from it.
//!
//! The figures are a spread, not a promise: measured trials found heavier cloth no warmer, and single clear nights on
//! which a cover was no warmer than open ground. "Low" cells without a source are cautious settings from memory.

use super::dose::Z_90;
use crate::units::{Celsius, Kelvins};
use crate::words::words;

/// A kind of cover. Cloth is sorted by its weight per area.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CoverKind {
    /// Spun-bonded cloth up to 19 g/m².
    LightRowCover,
    /// Spun-bonded cloth of 20 to 50 g/m².
    MediumRowCover,
    /// Spun-bonded cloth of 51 to 75 g/m².
    HeavyRowCover,
    /// A bed sheet or blanket held off the plants.
    Sheet,
    /// Clear polyethylene alone.
    ClearPlastic,
    /// Row cover with polyethylene over it on hoops.
    LowTunnel,
    /// A box with a transparent lid.
    ColdFrame,
}

words!(CoverKind {
    LightRowCover = "light-row-cover",
    MediumRowCover = "medium-row-cover",
    HeavyRowCover = "heavy-row-cover",
    Sheet = "sheet",
    ClearPlastic = "clear-plastic",
    LowTunnel = "low-tunnel",
    ColdFrame = "cold-frame",
});

/// Degrees gained at the plant by a cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoverGain {
    /// Expected gain.
    pub mean: Kelvins,
    /// One standard deviation of the whole.
    pub spread: Kelvins,
    /// The standard deviations below and above its middle.
    pub sides: (Kelvins, Kelvins),
}

/// What of a night and the day before it takes from a cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoverConditions {
    /// Mean wind at 10 m of the hours around the low, m/s.
    pub wind_10m: f64,
    /// What the day before has left for a cover to keep, as a share of its gain: 1 after a sunny or mild day, down to
    /// [`CoverConditions::LEAST_LEFT`] after an overcast day near 10 °C.
    pub left_by_the_day: f64,
}

/// Mean cloud of a day that counts as sunny, and of one that counts as overcast.
const SUNNY: f64 = 0.6;
const OVERCAST: f64 = 0.9;
/// The warmest hour of a day that warms the soil whatever the sky, and of a cold one, °C.
const MILD: f64 = 15.0;
const COLD: f64 = 10.5;

impl CoverConditions {
    /// Half of a cover's gain is lost after an overcast, cold day (Poling 2011: damaging frost under the cover after an
    /// overcast day near 10 °C; the half, and the ways to it from a sunny and from a mild day, are assumed).
    pub const LEAST_LEFT: f64 = 0.5;

    /// The share of a gain that a day of this mean cloud (0 to 1) and this warmest hour leaves. What is not known counts
    /// as half dull, half cold.
    pub fn left_by(cloud_cover: Option<f64>, warmest: Option<Celsius>) -> f64 {
        let dull = cloud_cover.map_or(0.5, |cloud| ((cloud - SUNNY) / (OVERCAST - SUNNY)).clamp(0.0, 1.0));
        let cold = warmest.map_or(0.5, |warmest| ((MILD - warmest.0) / (MILD - COLD)).clamp(0.0, 1.0));
        1.0 - (1.0 - Self::LEAST_LEFT) * dull * cold
    }

    /// How far wind brings a gain down to its low figure: not at all up to 4 m/s, wholly from 6 (cut near 5 m/s, memory).
    pub fn carried_off(self) -> f64 {
        ((self.wind_10m - 4.0) / 2.0).clamp(0.0, 1.0)
    }
}

/// A cover as it lies on a bed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Cover {
    pub kind: CoverKind,
    /// Whether leaves touch it: they are as cold as the cloth there.
    pub rests_on_plants: bool,
    pub layers: Layers,
}

/// How many covers of one kind lie on each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Layers {
    One,
    Two,
}

impl Layers {
    /// Of pieces for one layer, how many times.
    pub fn times(self) -> u32 {
        match self {
            Layers::One => 1,
            Layers::Two => 2,
        }
    }
}

/// What leaves lose that touch the cover, K (assumed: a quarter of the 3 to 4 F by which cloth a few inches off the grass
/// kept it warmer than the same cloth in contact, Wells 1814, in a reprint; only the tops of a crop touch).
const CONTACT: f64 = 0.5;
/// Share of the first layer's gain that a second adds: of two thin screens against radiation the first takes a half of
/// the loss and the second another sixth (n screens leave 1/(n+1), handbooks of heat transfer, from memory). No trial of
/// two cloths was found.
const SECOND_LAYER: f64 = 1.0 / 3.0;
/// Gauss's points and weights over one half of the standard normal distribution, exact for polynomials of degree five
/// (computed from its moments; `the_points_have_the_moments_of_a_half_normal_distribution`).
const HALF_NORMAL: [(f64, f64); 3] =
    [(0.269_484_26, 0.503_290_70), (1.199_609_30, 0.447_366_53), (2.545_268_45, 0.049_342_77)];

impl CoverGain {
    /// What a temperature does, on average over what the cover may gain; `at` takes the gain less its mean.
    ///
    /// The distribution is kept as it is, lopsided, by three points on either side. Damage is that of the whole
    /// distribution within 0.2 percentage points for cloth and 0.7 for tunnels
    /// (`damage_under_a_cover_is_that_of_its_lopsided_gain`).
    pub fn average(&self, at: impl Fn(Kelvins) -> f64) -> f64 {
        let (Kelvins(below), Kelvins(above)) = self.sides;
        let middle = (below - above) / std::f64::consts::TAU.sqrt();
        let side = |deviation: f64| -> f64 {
            HALF_NORMAL.iter().map(|(z, weight)| weight * at(Kelvins(middle + z * deviation))).sum()
        };
        0.5 * (side(-below) + side(above))
    }
}

impl CoverKind {
    /// Low, typical and high gain, K.
    ///
    /// Sources. Spun-bonded: trial of North Carolina State University with cloth of 0.75, 1.0 and 1.25 oz per square
    /// yard (+2.4, +3.0, +2.1 K; reported in Country Folks Grower), and nominal ratings of the trade for the typical
    /// column; Oregon State University, row-cover trials of 1983 to 1988, for gains near zero on clear nights. Row
    /// cover with polyethylene and cold frame: popular gardening pages. Sheet and clear polyethylene: memory.
    pub fn low_typical_high(self) -> (f64, f64, f64) {
        match self {
            CoverKind::LightRowCover => (0.0, 1.1, 2.4),
            CoverKind::MediumRowCover => (0.0, 2.2, 3.3),
            CoverKind::HeavyRowCover => (1.0, 2.8, 4.4),
            CoverKind::Sheet => (0.0, 2.0, 3.0),
            CoverKind::ClearPlastic => (-1.0, 0.5, 2.0),
            CoverKind::LowTunnel => (2.0, 5.0, 7.0),
            CoverKind::ColdFrame => (1.0, 3.5, 5.5),
        }
    }

    /// As a volunteer says it.
    pub fn name(self) -> &'static str {
        match self {
            CoverKind::LightRowCover => "light row cover",
            CoverKind::MediumRowCover => "medium row cover",
            CoverKind::HeavyRowCover => "heavy row cover",
            CoverKind::Sheet => "sheet",
            CoverKind::ClearPlastic => "clear plastic",
            CoverKind::LowTunnel => "low tunnel",
            CoverKind::ColdFrame => "cold frame",
        }
    }

    /// Whether it rests on the plants where a garden does not say: film is thrown over; a sheet is held off, a tunnel has
    /// hoops, and the figures of row cover are those of cloth as it is laid, loosely over the crop.
    pub fn rests_as_a_rule(self) -> bool {
        self == CoverKind::ClearPlastic
    }

    /// Whether a second one can go over the first: cloth can; film keeps little, a tunnel or frame is one of its own.
    pub fn can_be_doubled(self) -> bool {
        match self {
            CoverKind::LightRowCover | CoverKind::MediumRowCover | CoverKind::HeavyRowCover | CoverKind::Sheet => true,
            CoverKind::ClearPlastic | CoverKind::LowTunnel | CoverKind::ColdFrame => false,
        }
    }

    /// Whether one piece can lie over two beds and the path between them: a frame or a tunnel is built for one.
    pub fn can_span_beds(self) -> bool {
        !matches!(self, CoverKind::LowTunnel | CoverKind::ColdFrame)
    }
}

impl Cover {
    /// Where the figures of its gain come from, in short.
    pub const SOURCE: &str = "trials of North Carolina and Oregon State, nominal ratings, memory";

    /// One layer, held as its kind is as a rule.
    pub fn one(kind: CoverKind) -> Cover {
        Cover { kind, rests_on_plants: kind.rests_as_a_rule(), layers: Layers::One }
    }

    /// As a volunteer says it.
    pub fn name(self) -> String {
        match self.layers {
            Layers::One => self.kind.name().into(),
            Layers::Two => format!("two layers of {}", self.kind.name()),
        }
    }

    /// Low, typical and high gain, K, of this many layers and as they lie.
    ///
    /// A second layer makes nothing sure: low stays. Two layers of cloth never count for more than cloth and polyethylene on
    /// hoops, the best double cover that was reported.
    pub fn low_typical_high(self) -> (f64, f64, f64) {
        let (low, typical, high) = self.kind.low_typical_high();
        let (typical, high) = match self.layers {
            Layers::Two if self.kind.can_be_doubled() => {
                let (_, best_typical, best_high) = CoverKind::LowTunnel.low_typical_high();
                let more = 1.0 + SECOND_LAYER;
                ((typical * more).min(best_typical), (high * more).min(best_high))
            }
            Layers::One | Layers::Two => (typical, high),
        };
        let contact = if self.rests_on_plants { CONTACT } else { 0.0 };
        (low - contact, typical - contact, high - contact)
    }

    /// The gain on a night like this.
    ///
    /// Its middle is the typical figure and its 10th and 90th percentiles are low and high, on either side normal; mean and
    /// spread are those of that distribution. Wind carries the kept heat away: from 4 to 6 m/s the expected gain falls
    /// to low (cut near 5 m/s, memory), never below nothing. After a dull cold day the soil has little to give and the gain
    /// is halved (Poling 2011: damaging frost under the cover after an overcast day near 10 C; the factor is assumed).
    pub fn gain(self, conditions: CoverConditions) -> CoverGain {
        let (low, typical, high) = self.low_typical_high();
        let (below, above) = ((typical - low) / Z_90, (high - typical) / Z_90);
        let lopsided = above - below;
        let mean = typical + lopsided / std::f64::consts::TAU.sqrt();
        let variance = (below * below + above * above) / 2.0 - lopsided * lopsided / std::f64::consts::TAU;
        let mean = (mean + (low - mean) * conditions.carried_off()).max(0.0) * conditions.left_by_the_day;
        let sides = (Kelvins(below), Kelvins(above));
        CoverGain { mean: Kelvins(mean), spread: Kelvins(variance.sqrt()), sides }
    }
}

#[cfg(test)]
mod tests;
