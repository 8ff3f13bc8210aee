//! From the garden's screen to one bed: the air there, the plants, the soil or the potting mix.
//!
//! A threshold is compared with the temperature of its own frame; this is where the three come from, once.

use super::cover::CoverGain;
use super::deposit::deposit;
use super::exposure::{Exposure, LearnedOffset};
use super::leaf::{CALM, LeafSurroundings, leaf_temperature, wind_at_height};
pub use super::roots::RootZone;
use super::roots::{SOIL_DIFFUSIVITY, at_roots};
use super::soil::through_mulch;
use super::{Estimate, Night, ReadAt, Step, hours_below, roots};
use crate::crops::{Frame, Stature};
use crate::units::{Celsius, Kelvins, MetresPerSecond, Pascals};
use chrono::{DateTime, Utc};

/// What of a bed matters to its night. Beds alike in it share a night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    pub exposure: Exposure,
    /// Measured by the garden; else the exposure's own.
    pub offset: Option<Kelvins>,
    /// Learned and accepted; acts where the garden has measured none.
    pub learned: Option<LearnedOffset>,
    pub root_zone: RootZone,
    /// Thickness of straw or leaves on the soil, m; 0 without.
    pub mulch: f64,
    /// Of what grows there.
    pub stature: Stature,
    /// Where the night was read at this very bed.
    pub read: Option<ReadAt>,
}

/// One instant at a bed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BedHour {
    pub time: DateTime<Utc>,
    /// Air at shelter height, were there a screen at the bed.
    pub screen: Celsius,
    /// A leaf open to the sky.
    pub tissue: Celsius,
}

/// One night at one bed, uncovered.
#[derive(Clone, Debug, PartialEq)]
pub struct BedNight {
    pub hours: Vec<BedHour>,
    pub screen: Estimate,
    pub tissue: Estimate,
    pub soil: Estimate,
    /// When the plants are coldest.
    pub coldest_at: DateTime<Utc>,
    /// How the screen here came about, after the steps of the night itself.
    pub steps: Vec<Step>,
    /// How the soil came about.
    pub soil_step: Step,
    /// How the tissue came about.
    pub leaf_steps: Vec<Step>,
}

/// No leaf is taken to be colder than this below the air beside it: the 90th percentile of surface below air on
/// nights of strongest loss, vegetated surface, Payerne (BSRN, June 2016), agreeing with 1 to 3 K observed on leaves
/// under a clear sky (Leuning and Cremer 1988).
const DEEPEST_DEPRESSION: f64 = 3.3;
/// Spread of that depression where the sky is clear and calm, and where it is not, K: a 2.563rd of its central 80 %
/// at Payerne for net long-wave loss of 60 to 80 and of 10 to 20 W/m².
const DEPRESSION_SPREAD: (f64, f64) = (0.92, 0.44);
/// How far the surface of thick mulch lies below the air on a clear, calm night, K: it holds no heat and gets little from
/// the soil below (that mulch cools the air above it: FAO Frost Protection, ch. 6, from memory; the figure is assumed).
const MULCH_BELOW_AIR: f64 = 2.0;

/// What an unheated roof against a wall gains, and how well that is known, K (assumed; see [`BedNight::under_a_roof`]).
const ROOF_GAIN: (Kelvins, Kelvins) = (Kelvins(6.0), Kelvins(2.0));

/// How well an offset is known that the garden has measured on a few nights, K (assumed).
pub const MEASURED_OFFSET_SPREAD: Kelvins = Kelvins(0.4);

/// How far the air at a bed lies from its offset on one night, K: what two thermometers of 0.5 K each leave of the 0.9 K by
/// which such pairs differ from night to night ([`NIGHTLY_SPREAD`](crate::learn::bed_offset::NIGHTLY_SPREAD); assumed).
const AIR_OF_A_NIGHT: f64 = 0.56;

/// How well the air of one night at a bed is known from an offset that was measured or learned: more nights make the offset
/// sure and no night like the others. What is published of an exposure is the scatter of its nights already.
pub fn on_a_night(offset_spread: Kelvins) -> Kelvins {
    Kelvins(offset_spread.0.hypot(AIR_OF_A_NIGHT))
}

/// The air at a place against the garden's screen on a clear, calm night, and how well that is known: as measured, else as
/// learned, else as of its exposure.
pub fn offset_at(place: &Place) -> (Kelvins, Kelvins) {
    let effect = place.exposure.effect();
    match (place.offset, place.learned) {
        (Some(offset), _) => (offset, on_a_night(MEASURED_OFFSET_SPREAD)),
        (None, Some(learned)) => (learned.mean, on_a_night(learned.spread)),
        (None, None) => (effect.offset, effect.offset_spread),
    }
}

/// The night at one bed. `pressure` is the garden's air pressure.
pub fn at_bed(night: &Night, place: &Place, pressure: Pascals) -> BedNight {
    let effect = place.exposure.effect();
    let (offset, offset_spread) = offset_at(place);
    let weight = night.clear_calm;
    let (whole_offset, offset) = (offset, Kelvins(offset.0 * weight));
    let mulch_below_air = Kelvins(MULCH_BELOW_AIR * weight * (1.0 - through_mulch(place.mulch, SOIL_DIFFUSIVITY)));
    let hours: Vec<BedHour> = night
        .hours
        .iter()
        .map(|hour| {
            let screen = hour.air + offset;
            let wind = wind_at_height(hour.wind_10m, place.stature.height);
            let leaf = leaf_temperature(&LeafSurroundings {
                air: screen,
                dew_point: hour.dew_point.min(screen),
                wind_at_leaf: MetresPerSecond((wind.0 * effect.wind).max(CALM.0)),
                leaf_width: place.stature.leaf_width,
                cloud_cover: hour.cloud_cover,
                sky_view: effect.sky_view,
                ground: screen - mulch_below_air,
                pressure,
            });
            BedHour { time: hour.time, screen, tissue: leaf.max(screen - Kelvins(DEEPEST_DEPRESSION)).min(screen) }
        })
        .collect();
    let coldest = hours.iter().min_by(|a, b| a.tissue.0.total_cmp(&b.tissue.0));
    let coldest_at = coldest.map_or(night.sunrise, |hour| hour.time);
    let lowest_tissue = coldest.map_or(night.minimum.mean + offset, |hour| hour.tissue);

    let offset_spread = Kelvins(offset_spread.0 * weight);
    let (minimum, offset_spread) = match place.read {
        Some(read) => (Estimate { spread: read.spread, ..night.minimum }, Kelvins(offset_spread.0 * read.open)),
        None => (night.minimum, offset_spread),
    };
    let screen = minimum.moved(offset, offset_spread);
    let leaf_spread = Kelvins(DEPRESSION_SPREAD.1 + (DEPRESSION_SPREAD.0 - DEPRESSION_SPREAD.1) * weight);
    let tissue = screen.moved(lowest_tissue - screen.mean, leaf_spread);
    let soil = at_roots(night, place, whole_offset, &hours);

    let (offset_source, learned) = match (place.offset, place.learned) {
        (Some(_), _) => ("the garden's settings", None),
        (None, Some(learned)) => ("this garden's nights, accepted", Some(learned)),
        (None, None) => ("exposure of the bed, common practice", None),
    };
    let whose = learned.map_or(String::new(), |learned| format!(", learned from {} nights and used", learned.nights));
    let published = learned.map(|_| Step {
        what: format!("bed against the garden's screen ({}), published (not used)", place.exposure.word()),
        value: None,
        effect: Some(Kelvins(effect.offset.0 * weight)),
        spread: None,
        source: "exposure of the bed, common practice",
    });
    let used = Step {
        what: format!(
            "bed against the garden's screen ({}){whose}, {:.0} % of it tonight",
            place.exposure.word(),
            weight * 100.0
        ),
        value: Some(screen.mean),
        effect: Some(offset),
        spread: Some(offset_spread),
        source: offset_source,
    };
    let directly = place.read.map(|_| Step {
        what: format!(
            "read at this bed: what is not known of its offset is no doubt here, spread {:.1} K in all",
            screen.spread.0
        ),
        value: Some(screen.mean),
        effect: None,
        spread: None,
        source: "the garden's reading",
    });
    let steps = published.into_iter().chain([used]).chain(directly).collect();
    let Stature { height, leaf_width } = place.stature;
    let dew_points = night.hours.iter().map(|hour| hour.dew_point);
    let on_the_leaf =
        deposit(hours.iter().zip(dew_points).map(|(bed, dew_point)| (bed.tissue, dew_point.min(bed.screen))));
    let leaf = Step {
        what: format!(
            "leaf below the air beside it ({:.0} cm over the soil, {:.0} cm wide)",
            height * 100.0,
            leaf_width * 100.0
        ),
        value: Some(tissue.mean),
        effect: Some(tissue.mean - screen.mean),
        spread: Some(leaf_spread),
        source: "leaf energy balance, Campbell and Norman 1998; limited to what was observed at Payerne (BSRN)",
    };
    let morning = Step {
        what: on_the_leaf.sentence().into(),
        value: None,
        effect: None,
        spread: None,
        source: "leaf against dew point and frost point",
    };
    let mulch = (mulch_below_air.0 > 0.0).then(|| Step {
        what: "surface of the mulch below the air; the leaves over it feel part of that".into(),
        value: None,
        effect: Some(Kelvins(-mulch_below_air.0)),
        spread: None,
        source: "FAO Frost Protection, from memory; figure assumed",
    });
    let leaf_steps = mulch.into_iter().chain([leaf, morning]).collect();
    BedNight { hours, screen, tissue, soil, coldest_at, steps, soil_step: roots::step(place, soil), leaf_steps }
}

impl BedNight {
    /// The lowest temperature in a frame, uncovered or under a cover. A cover keeps air and plants warmer; the soil
    /// below it hardly changes in one night.
    pub fn minimum(&self, frame: Frame, cover: Option<CoverGain>) -> Estimate {
        let open = match frame {
            Frame::ScreenAir => self.screen,
            Frame::Tissue => self.tissue,
            Frame::Soil => return self.soil,
        };
        match cover {
            Some(gain) => open.moved(gain.mean, gain.spread),
            None => open,
        }
    }

    /// The same for pots that are carried under a roof against a wall, or into a shed: so much warmer, and no leaf open to the
    /// sky. Pots gain like the air round them.
    ///
    /// **Method error.** A roof keeps what the walls and the floor give; how much that is was never measured here. Unheated
    /// sheds and garages are given as -9 to 4 °C in winter (popular gardening pages), so that they do not stay above freezing
    /// whatever the night. The gain is assumed from that, as of nights of -15 to -2 °C outside, and so is its spread.
    pub fn under_a_roof(&self) -> BedNight {
        let (gain, spread) = ROOF_GAIN;
        let hours = self.hours.iter().map(|hour| {
            let screen = hour.screen + gain;
            BedHour { screen, tissue: screen, ..*hour }
        });
        let screen = self.screen.moved(gain, spread);
        let hours = hours.collect();
        BedNight { hours, screen, tissue: screen, soil: self.soil.moved(gain, spread), ..self.clone() }
    }

    /// Hours below a temperature in a frame, h. Soil moves slowly: it is below all night or not at all.
    pub fn hours_below(&self, frame: Frame, cover: Option<CoverGain>, threshold: Celsius) -> f64 {
        let gain = cover.map_or(Kelvins(0.0), |gain| gain.mean);
        let below = |value: fn(&BedHour) -> Celsius| {
            hours_below(self.hours.iter().map(|hour| (hour.time, value(hour) + gain)), threshold)
        };
        match frame {
            Frame::ScreenAir => below(|hour| hour.screen),
            Frame::Tissue => below(|hour| hour.tissue),
            Frame::Soil if self.soil.mean < threshold => below(|_| Celsius(f64::NEG_INFINITY)),
            Frame::Soil => 0.0,
        }
    }
}

#[cfg(test)]
mod tests;
