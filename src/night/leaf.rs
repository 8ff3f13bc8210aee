//! How cold a leaf gets: colder than the air around it under a clear sky, for it radiates more than it is given.
//!
//! Everything is per unit of TOTAL leaf surface: the upper face sees sky and walls, the lower one the ground.

use crate::units::{Celsius, Kelvins, MetresPerSecond, Pascals, WattsPerSquareMetre, ZERO_CELSIUS_IN_KELVIN};
use crate::weather::humidity::{OVER_ICE, OVER_WATER, saturation_over_water};
use crate::weather::radiation::{STEFAN_BOLTZMANN, black_body, sky_longwave};

/// What surrounds a leaf at night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeafSurroundings {
    /// Of the air at the leaf.
    pub air: Celsius,
    /// Over water.
    pub dew_point: Celsius,
    /// At the leaf, see [`wind_at_height`]; 0 to 20 m/s.
    pub wind_at_leaf: MetresPerSecond,
    /// Width of the leaf across the wind, m; 0.002 to 0.5.
    pub leaf_width: f64,
    /// Fraction of the sky, 0 to 1.
    pub cloud_cover: f64,
    /// Share of the upper half-space that is sky, 0 to 1 (1 = open); walls and trees in the rest are as warm as the air.
    pub sky_view: f64,
    /// Surface of the ground below the leaf.
    pub ground: Celsius,
    pub pressure: Pascals,
}

/// The terms of a leaf's energy balance that do not depend on the leaf's temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeafBalance {
    /// Long-wave radiation absorbed, mean of both faces.
    pub absorbed: WattsPerSquareMetre,
    pub air: Celsius,
    pub wind_at_leaf: MetresPerSecond,
    /// Characteristic dimension of the leaf, m: 0.7 of its width.
    pub dimension: f64,
    /// Of the air; 0 leaves dew and frost out of the balance.
    pub vapour_pressure: Pascals,
    pub pressure: Pascals,
}

/// Characteristic dimension of a leaf over its width (Campbell and Norman 1998, ch. 7, from memory).
pub const DIMENSION_PER_WIDTH: f64 = 0.7;
/// Emissivity of a leaf in the long-wave range (the same, ch. 11, from memory).
pub const LEAF_EMISSIVITY: f64 = 0.97;
/// Below this wind the air still drifts, by the cooling itself. A choice: 0.1 to 0.2 m/s are in use.
pub const CALM: MetresPerSecond = MetresPerSecond(0.2);

/// Molar specific heat of air, J/mol/K.
const AIR_HEAT: f64 = 29.3;
/// Boundary layers outdoors carry more than in a wind tunnel (the factor is stated for forced convection; using it for
/// free convection too is a choice).
const OUTDOORS: f64 = 1.4;
/// Conductance for vapour over that for heat.
const VAPOUR_PER_HEAT: f64 = 0.147 / 0.135;
/// Latent heat, J/mol: of condensation, and of deposition as frost.
const CONDENSATION: f64 = 45_000.0;
const DEPOSITION: f64 = 51_000.0;

/// Temperature of a leaf at night, in the steady state that a thin leaf reaches within a minute.
///
/// ```text
/// R - H - lambda E = 0                                       W/m² of total leaf surface
/// R        = 0.97 [(v L + (1-v) sigma T_a^4 + sigma T_g^4) / 2 - sigma T_l^4]
/// H        = 29.3 g (T_l - T_a)
/// lambda E = lambda (0.147/0.135) g (e_s(T_l) - e) / p       only where negative: dew or frost forming
/// g        = 1.4 max(0.135 sqrt(u/d), 0.05 (|T_l-T_a|/d)^(1/4))     mol/m²/s
/// ```
///
/// | symbol | meaning                                            | unit  | accepted range    |
/// |--------|----------------------------------------------------|-------|-------------------|
/// | `T_a`  | air at the leaf                                    | °C    | -45 to 40         |
/// | `e`    | vapour pressure of the air, from the dew point     | Pa    |                   |
/// | `u`    | wind at the leaf                                   | m/s   | 0 to 20           |
/// | `d`    | dimension, 0.7 of the width                        | m     | 0.001 to 0.35     |
/// | `v`    | sky view                                           | -     | 0 to 1            |
/// | `L`    | [`sky_longwave`]                                   | W/m²  |                   |
/// | `T_g`  | ground                                             | °C    | -45 to 40         |
/// | `p`    | air pressure                                       | Pa    | 50 000 to 105 000 |
/// | `e_s`  | saturation over ice below 0 °C, over water above   | Pa    |                   |
/// | `lambda` | 51.0 kJ/mol below 0 °C, 45.0 above               | J/mol |                   |
///
/// A leaf at exactly 0 °C is the answer where dew would hold it above and frost below: both are on it then.
///
/// Not modelled: a leaf that is wet, which goes towards the wet bulb in dry wind, about 2 °C below air of 2 °C with its dew point
/// at -4 °C (`weather::humidity::wet_bulb`: -0.2 °C), and so colder than this answers on a windy or overcast night after rain;
/// and snow, which holds leaves near 0 °C under it and makes the air over it colder. No feed's precipitation is read.
///
/// **Method error.** Solved to 1e-5 °C (`the_balance_closes`). The sky model alone is worth 0.5 to 1 °C, the wind at
/// the leaf as much; against a table computed apart from this code under 0.01 °C (`tests/published/leaf.rs`).
/// **Refuses.** Nothing; NaN and infinities come back as NaN.
/// **Source.** Campbell and Norman 1998, An Introduction to Environmental Biophysics, ch. 7 and 14; coefficients from
/// memory.
/// **Check.** Leuning and Cremer (1988, Agric. For. Meteorol. 42, 121, abstract) measured leaves open to a clear sky 1
/// to 3 °C below the air:
///
/// ```
/// # use counterpane::{night::leaf::{LeafSurroundings, leaf_temperature}, units::{Celsius, MetresPerSecond, Pascals}};
/// let at = |wind| leaf_temperature(&LeafSurroundings {
///     air: Celsius(2.0), dew_point: Celsius(-3.0), wind_at_leaf: MetresPerSecond(wind), leaf_width: 0.07,
///     cloud_cover: 0.0, sky_view: 1.0, ground: Celsius(2.0), pressure: Pascals(101_300.0),
/// });
/// assert!(at(2.0) < Celsius(2.0 - 1.0) && at(0.25) > Celsius(2.0 - 3.0));
/// ```
pub fn leaf_temperature(surroundings: &LeafSurroundings) -> Celsius {
    surroundings.balance().leaf_temperature()
}

impl LeafSurroundings {
    /// The balance of a leaf in these surroundings.
    pub fn balance(&self) -> LeafBalance {
        let sky = sky_longwave(self.air, self.dew_point, self.cloud_cover).0;
        let above = self.sky_view * sky + (1.0 - self.sky_view) * black_body(self.air).0;
        LeafBalance {
            absorbed: WattsPerSquareMetre(LEAF_EMISSIVITY * 0.5 * (above + black_body(self.ground).0)),
            air: self.air,
            wind_at_leaf: self.wind_at_leaf,
            dimension: DIMENSION_PER_WIDTH * self.leaf_width,
            vapour_pressure: saturation_over_water(self.dew_point),
            pressure: self.pressure,
        }
    }
}

/// What a leaf may be covered with: decides saturation curve and latent heat.
#[derive(Clone, Copy)]
enum Deposit {
    Dew,
    Frost,
}

impl LeafBalance {
    /// The temperature at which the leaf's gains and losses are equal; formula and ranges at [`leaf_temperature`].
    pub fn leaf_temperature(&self) -> Celsius {
        if !self.is_known() {
            return Celsius(f64::NAN);
        }
        let air = self.air.0;
        let radiative = (self.absorbed.0 / (LEAF_EMISSIVITY * STEFAN_BOLTZMANN)).sqrt().sqrt() - ZERO_CELSIUS_IN_KELVIN;
        // Without deposit the leaf lies between air and radiative equilibrium. Deposit warms it, in air saturated over
        // ice to above the air, by less than 5 °C even at -45 °C.
        let (low, high) = (radiative.min(air), radiative.max(air) + 5.0);
        // The gain falls as the leaf warms, with one jump where frost turns to dew; on either side it is continuous.
        Celsius(if low >= 0.0 || self.gain(0.0, Deposit::Dew).0 > 0.0 {
            self.root(low.max(0.0), high.max(0.0), Deposit::Dew)
        } else if high <= 0.0 || self.gain(0.0, Deposit::Frost).0 < 0.0 {
            self.root(low, high.min(0.0), Deposit::Frost)
        } else {
            0.0
        })
    }

    /// Whether the leaf is colder than a temperature: a fraction of the work of solving for it, so that the coldest of
    /// many leaves can be sought among the few that may be it. True of a balance that holds no number, the colder answer.
    pub fn is_colder_than(&self, temperature: Celsius) -> bool {
        let deposit = if temperature.0 <= 0.0 { Deposit::Frost } else { Deposit::Dew };
        let gain = self.gain(temperature.0, deposit).0;
        gain < 0.0 || gain.is_nan() || !self.is_known()
    }

    /// What the leaf is below the air at most: as if without dew, frost and free convection, which only warm it.
    ///
    /// ```text
    /// D = (0.97 sigma T_a^4 - A) / (29.3 * 1.4 * 0.135 sqrt(u/d) + 4 * 0.97 sigma (T_a - D)^3)      A absorbed
    /// ```
    ///
    /// Emission falls at least as fast as its slope at a colder temperature, so any `D` that is deep enough gives one
    /// that is too, and a closer one; the deepest is the balance of radiation alone. With vapour the same, warmer air has
    /// the larger limit.
    ///
    /// **Method error.** On the safe side by construction; above the true depression of a dry windy leaf by less than
    /// 0.1 K (`no_leaf_is_deeper_than_its_limit`).
    /// **Refuses.** Nothing; NaN comes back as NaN. 0 where the leaf gains more than it emits.
    /// **Source.** The balance of [`leaf_temperature`].
    /// **Check.** None of another author: it is held against the solved balance.
    pub fn depression_limit(&self) -> Kelvins {
        let air = self.air.kelvin();
        let loss = LEAF_EMISSIVITY * STEFAN_BOLTZMANN * air.powi(4) - self.absorbed.0;
        if !self.is_known() {
            return Kelvins(f64::NAN);
        }
        if loss <= 0.0 {
            return Kelvins(0.0);
        }
        let sensible = AIR_HEAT * self.forced_conductance();
        let deeper = air - (self.absorbed.0 / (LEAF_EMISSIVITY * STEFAN_BOLTZMANN)).sqrt().sqrt();
        let closer = |limit: f64| loss / (sensible + 4.0 * LEAF_EMISSIVITY * STEFAN_BOLTZMANN * (air - limit).powi(3));
        Kelvins(closer(closer(deeper)))
    }

    /// Conductance for heat by wind alone, mol/m²/s.
    fn forced_conductance(&self) -> f64 {
        OUTDOORS * 0.135 * (self.wind_at_leaf.0 / self.dimension).sqrt()
    }

    /// Whether every term is a number: `f64::min` and `max` would make one of NaN again, and a mild one.
    fn is_known(&self) -> bool {
        let terms = [self.absorbed.0, self.wind_at_leaf.0, self.dimension, self.vapour_pressure.0, self.pressure.0];
        self.air.0.is_finite() && terms.iter().all(|term| term.is_finite())
    }

    /// What a leaf of this temperature gains, W/m², and its derivative, W/m²/K: negative throughout.
    fn gain(&self, leaf: f64, deposit: Deposit) -> (f64, f64) {
        let kelvin = leaf + ZERO_CELSIUS_IN_KELVIN;
        let emitted = LEAF_EMISSIVITY * STEFAN_BOLTZMANN * kelvin.powi(4);

        let excess = leaf - self.air.0;
        let forced = self.forced_conductance();
        let free = OUTDOORS * 0.05 * (excess.abs() / self.dimension).sqrt().sqrt();
        let conductance = forced.max(free);
        // Of free convection the conductance itself grows with the difference, to the power 1/4.
        let growth = if free > forced { 0.25 * conductance / excess } else { 0.0 };
        let sensible = AIR_HEAT * conductance * excess;
        let sensible_slope = AIR_HEAT * (conductance + growth * excess);

        let (curve, heat) = match deposit {
            Deposit::Dew => (OVER_WATER, CONDENSATION),
            Deposit::Frost => (OVER_ICE, DEPOSITION),
        };
        let (saturation, saturation_slope) = curve.at(leaf);
        let deficit = (saturation - self.vapour_pressure.0).min(0.0);
        let per_deficit = heat * VAPOUR_PER_HEAT / self.pressure.0;
        let latent = per_deficit * conductance * deficit;
        let latent_slope =
            if deficit < 0.0 { per_deficit * (conductance * saturation_slope + growth * deficit) } else { 0.0 };

        (self.absorbed.0 - emitted - sensible - latent, -4.0 * emitted / kelvin - sensible_slope - latent_slope)
    }

    /// The leaf temperature between two bounds: Newton's steps, halving the bracket where one would leave it.
    fn root(&self, mut low: f64, mut high: f64, deposit: Deposit) -> f64 {
        // Of a dry leaf in wind this is the answer but for a tenth of a degree.
        let mut leaf = (self.air - self.depression_limit()).0.max(low).min(high);
        for _ in 0..60 {
            let (gain, slope) = self.gain(leaf, deposit);
            if gain > 0.0 {
                low = leaf;
            } else {
                high = leaf;
            }
            let newton = leaf - gain / slope;
            let next = if (low..=high).contains(&newton) { newton } else { 0.5 * (low + high) };
            if (next - leaf).abs() < 1e-6 {
                return next;
            }
            leaf = next;
        }
        leaf
    }
}

/// Wind at a height, from the wind at 10 m that weather services report.
///
/// ```text
/// z >= 2   u = u_10 ln(67.8 z - 5.42) / ln(67.8 * 10 - 5.42)
/// z <  2   u = u_2 ln(z / 0.02) / ln(2 / 0.02)
/// ```
///
/// | symbol | meaning                    | unit | accepted range |
/// |--------|----------------------------|------|----------------|
/// | `u_10` | wind at 10 m               | m/s  | 0 to 75        |
/// | `z`    | height                     | m    | 0 to 10        |
/// | result | wind, never below [`CALM`] | m/s  | 0.2 to 75      |
///
/// **Method error.** Unknown, and large on the nights that matter: the profile holds for open ground in neutral air;
/// in still clear nights and behind hedges the wind near the ground is less. The roughness of 0.02 m is assumed for
/// low beds. The two profiles meet within 0.01 % at 2 m (`the_wind_profile_is_continuous_and_rises`).
/// **Refuses.** Nothing; NaN counts as calm, the colder answer.
/// **Source.** FAO-56 (Allen et al. 1998), eq. 47, from memory; below 2 m the logarithmic law.
/// **Check.** FAO-56, example 14, prints 2.4 m/s at 2 m for 3.2 m/s at 10 m (from memory):
///
/// ```
/// # use counterpane::{night::leaf::wind_at_height, units::MetresPerSecond};
/// let MetresPerSecond(wind) = wind_at_height(MetresPerSecond(3.2), 2.0);
/// assert!((wind - 2.4).abs() < 0.05);
/// ```
pub fn wind_at_height(wind_10m: MetresPerSecond, height: f64) -> MetresPerSecond {
    let fao = |z: f64| (67.8 * z - 5.42).ln();
    let share = if height >= 2.0 {
        fao(height) / fao(10.0)
    } else {
        fao(2.0) / fao(10.0) * (height / 0.02).ln() / (2.0_f64 / 0.02).ln()
    };
    MetresPerSecond((wind_10m.0 * share).max(CALM.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::humidity::frost_point_from_vapour_pressure;
    use proptest::prelude::*;

    fn open_ground(air: f64, dew_point: f64, wind: f64) -> LeafSurroundings {
        LeafSurroundings {
            air: Celsius(air),
            dew_point: Celsius(dew_point),
            wind_at_leaf: MetresPerSecond(wind),
            leaf_width: 0.07,
            cloud_cover: 0.0,
            sky_view: 1.0,
            ground: Celsius(air),
            pressure: Pascals(101_300.0),
        }
    }

    /// Surroundings of garden nights; air that would leave frost on a leaf warmer than itself is left out on request.
    fn nights() -> impl Strategy<Value = LeafSurroundings> {
        (
            (-25.0f64..20.0, 0.0f64..15.0, 0.0f64..8.0),
            (0.005f64..0.3, 0.0f64..=1.0, 0.0f64..=1.0, -10.0f64..10.0, 70_000.0f64..103_000.0),
        )
            .prop_map(|((air, spread, wind), (leaf_width, cloud_cover, sky_view, ground, pressure))| {
                LeafSurroundings {
                    leaf_width,
                    cloud_cover,
                    sky_view,
                    ground: Celsius(air + ground),
                    pressure: Pascals(pressure),
                    ..open_ground(air, air - spread, wind)
                }
            })
    }

    fn is_below_ice_saturation(night: &LeafSurroundings) -> bool {
        match frost_point_from_vapour_pressure(saturation_over_water(night.dew_point)) {
            Ok(frost_point) => frost_point <= night.air,
            Err(_) => true,
        }
    }

    #[test]
    fn nothing_unknown_comes_back_as_a_temperature() {
        for spoilt in [
            LeafSurroundings { air: Celsius(f64::NAN), ..open_ground(2.0, -3.0, 0.5) },
            LeafSurroundings { dew_point: Celsius(f64::NAN), ..open_ground(2.0, -3.0, 0.5) },
            LeafSurroundings { cloud_cover: f64::NAN, ..open_ground(2.0, -3.0, 0.5) },
            LeafSurroundings { ground: Celsius(f64::NAN), ..open_ground(2.0, -3.0, 0.5) },
            LeafSurroundings { leaf_width: f64::NAN, ..open_ground(2.0, -3.0, 0.5) },
            LeafSurroundings { pressure: Pascals(f64::NAN), ..open_ground(2.0, -3.0, 0.5) },
            open_ground(2.0, -3.0, f64::NAN),
        ] {
            assert!(leaf_temperature(&spoilt).0.is_nan(), "{spoilt:?}");
        }
    }

    #[test]
    fn a_leaf_where_dew_freezes_stays_at_zero() {
        let leaf = |wind| leaf_temperature(&open_ground(2.0, 1.0, wind));
        assert!(leaf(0.1) < Celsius(0.0) && leaf(0.5) > Celsius(0.0));
        let held = (100..500).filter(|step| leaf(f64::from(*step) / 1000.0) == Celsius(0.0)).count();
        assert!(held > 10, "dew and frost held the leaf at 0 C in {held} of 400 winds only");
    }

    #[test]
    fn the_wind_profile_is_continuous_and_rises() {
        let at = |height| wind_at_height(MetresPerSecond(10.0), height).0;
        assert!((at(2.0) / at(2.0 - 1e-9) - 1.0).abs() < 1e-4);
        assert!((at(10.0) - 10.0).abs() < 1e-9);
        assert!((at(0.2) / at(2.0) - 0.5).abs() < 1e-3 && (at(0.3) / at(2.0) - 0.588).abs() < 1e-3);
        for centimetres in 1..1000 {
            assert!(at(f64::from(centimetres + 1) / 100.0) >= at(f64::from(centimetres) / 100.0));
        }
        for calm in [at(0.0), at(-1.0), wind_at_height(MetresPerSecond(f64::NAN), 1.0).0] {
            assert_eq!(calm, CALM.0);
        }
    }

    proptest! {
        #[test]
        fn any_numbers_are_answered_without_a_panic(
            air in -300.0f64..300.0, dew_point in -200.0f64..200.0, wind in -5.0f64..100.0, leaf_width in -0.1f64..1.0,
        ) {
            let leaf = leaf_temperature(&LeafSurroundings { leaf_width, ..open_ground(air, dew_point, wind) });
            prop_assert!(leaf.0.is_nan() || leaf.0.is_finite());
        }

        #[test]
        fn the_balance_closes(night in nights()) {
            let (balance, Celsius(leaf)) = (night.balance(), leaf_temperature(&night));
            // Gain is positive on the colder side and negative on the warmer one, also across the jump at 0 °C.
            let gain = |leaf: f64| balance.gain(leaf, if leaf < 0.0 { Deposit::Frost } else { Deposit::Dew }).0;
            prop_assert!(gain(leaf - 1e-5) > 0.0 && gain(leaf + 1e-5) < 0.0, "{leaf}");
        }

        #[test]
        fn a_leaf_is_colder_than_what_lies_above_it(night in nights(), away in 1e-5f64..10.0) {
            let (balance, Celsius(leaf)) = (night.balance(), leaf_temperature(&night));
            prop_assert!(balance.is_colder_than(Celsius(leaf + away)) && !balance.is_colder_than(Celsius(leaf - away)));
            let unknown = LeafBalance { wind_at_leaf: MetresPerSecond(f64::NAN), ..balance };
            prop_assert!(unknown.is_colder_than(Celsius(-99.0)));
        }

        #[test]
        fn no_leaf_is_deeper_than_its_limit(night in nights(), warmer in 0.0f64..8.0) {
            let night = LeafSurroundings { ground: night.air, ..night };
            let (balance, Celsius(leaf)) = (night.balance(), leaf_temperature(&night));
            let Kelvins(limit) = balance.depression_limit();
            prop_assert!(night.air.0 - leaf <= limit + 1e-5, "{leaf} {limit}");
            let air = night.air + Kelvins(warmer);
            let warmer = LeafSurroundings { air, ground: air, ..night }.balance();
            prop_assert!(warmer.depression_limit().0 >= limit - 1e-9);
            // A dry leaf in wind that carries more than the leaf's own drift.
            let wind_at_leaf = MetresPerSecond(night.wind_at_leaf.0 + 1.5);
            let windy = LeafSurroundings { wind_at_leaf, leaf_width: 0.07, ..night };
            let dry = LeafBalance { vapour_pressure: Pascals(0.0), ..windy.balance() };
            let depression = night.air.0 - dry.leaf_temperature().0;
            let Kelvins(limit) = dry.depression_limit();
            prop_assert!(limit <= depression.max(0.0) + 0.1, "{depression} {limit}");
        }

        #[test]
        fn more_wind_brings_the_leaf_nearer_to_the_air(night in nights(), more in 0.1f64..5.0) {
            let night = LeafSurroundings { ground: night.air, ..night };
            prop_assume!(is_below_ice_saturation(&night));
            let windier = LeafSurroundings { wind_at_leaf: MetresPerSecond(night.wind_at_leaf.0 + more), ..night };
            prop_assert!(leaf_temperature(&night).0 <= leaf_temperature(&windier).0 + 1e-5);
            prop_assert!(leaf_temperature(&windier).0 <= night.air.0 + 1e-5);
        }

        #[test]
        fn more_cloud_is_never_colder(night in nights(), more in 0.0f64..=1.0) {
            let cloudier = LeafSurroundings { cloud_cover: (night.cloud_cover + more).min(1.0), ..night };
            prop_assert!(leaf_temperature(&night).0 <= leaf_temperature(&cloudier).0 + 1e-5);
        }

        #[test]
        fn drier_air_is_never_warmer(night in nights(), drier in 0.0f64..10.0) {
            let drier = LeafSurroundings { dew_point: Celsius(night.dew_point.0 - drier), ..night };
            prop_assert!(leaf_temperature(&drier).0 <= leaf_temperature(&night).0 + 1e-5);
        }

        #[test]
        fn less_sky_is_never_colder(night in nights(), share in 0.0f64..=1.0) {
            let sheltered = LeafSurroundings { sky_view: night.sky_view * share, ..night };
            prop_assert!(leaf_temperature(&night).0 <= leaf_temperature(&sheltered).0 + 1e-5);
        }

        #[test]
        fn over_ground_as_warm_as_the_air_no_leaf_is_warmer_than_the_air(night in nights()) {
            let night = LeafSurroundings { ground: night.air, ..night };
            prop_assume!(is_below_ice_saturation(&night));
            prop_assert!(leaf_temperature(&night).0 <= night.air.0 + 1e-5);
        }
    }
}
