//! Soil: it follows the air, later and less, and gives the roots their temperature. Raised beds lose heat through their
//! sides too; mulch keeps it in.

use crate::units::Celsius;
use std::f64::consts::TAU;

/// Seconds of a day, the period of the wave.
const DAY: f64 = 86_400.0;

/// Depth at which the daily wave of temperature has shrunk to 37 % (1/e).
///
/// ```text
/// D = sqrt(2 alpha / omega),   omega = 2 pi / 86400 s        D in m, alpha in m²/s
/// ```
///
/// | symbol  | meaning             | unit | accepted range                                       |
/// |---------|---------------------|------|------------------------------------------------------|
/// | `alpha` | thermal diffusivity | m²/s | 1e-7 (peat, potting mix) to 1e-6 (wet sand, gravel)  |
/// | result  | damping depth       | m    | 0.05 to 0.17                                         |
///
/// **Method error.** None known for an even soil; diffusivity itself is known to a factor of two.
/// **Refuses.** Nothing.
/// **Source.** H. S. Carslaw and J. C. Jaeger, 1959, Conduction of Heat in Solids, 2nd ed., § 2.6; Campbell and Norman
/// 1998, ch. 8; both from memory.
/// **Check.** Moist sand of 0.74e-6 m²/s has a daily damping depth of 0.14 m (Oke 1987, table 2.1, and Monteith and
/// Unsworth, table 15.1; both from memory):
///
/// ```
/// assert!((counterpane::night::soil::damping_depth(0.74e-6) - 0.14).abs() < 0.005);
/// ```
pub fn damping_depth(diffusivity: f64) -> f64 {
    (2.0 * diffusivity * DAY / TAU).sqrt()
}

/// Share of the daily wave of the air that reaches a depth under bare ground, and how much of it lies in the sides of a
/// raised bed.
///
/// ```text
/// top    a = exp(-z / D) m
/// side   b = sqrt((cosh 2y + cos 2y) / (cosh 2Y + cos 2Y)),   y = (w/2 - s) / D,   Y = w / (2 D)
/// both   1 - (1 - a) (1 - b (1 - exp(-h / D)))
/// ```
///
/// | symbol | meaning                                          | unit | accepted range |
/// |--------|--------------------------------------------------|------|----------------|
/// | `z`    | depth                                            | m    | 0 to 0.5       |
/// | `m`    | [`through_mulch`], 1 without                     | -    | 0 to 1         |
/// | `w`    | width of the raised bed                          | m    | 0.05 to 200    |
/// | `s`    | distance of the roots from the nearer side       | m    | 0 to w/2       |
/// | `h`    | height of its soil over the ground; 0 has no sides | m  | 0 to 2         |
/// | `D`    | [`damping_depth`]                                | m    |                |
///
/// Two directions of heat are joined as in the product of two solutions, which is exact for a sudden step and, for a
/// wave, a little on the cold side. A side that is as high as the wave goes deep counts in full. Boards count for nothing:
/// thin metal is as common, and wood would make the bed warmer.
///
/// **Method error.** Of the amplitude at 5 cm in beds 0.4 to 1.2 m wide and 0.15 to 0.5 m high, 15 cm from the side or in
/// the middle: 0 to 0.05 more than by stepwise conduction in two directions (`the_sides_agree_with_stepwise_conduction`).
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** Carslaw and Jaeger 1959, § 2.6 (half-space), § 3.6 (slab whose faces follow a wave), § 1.15 (products of
/// solutions); all from memory.
/// **Check.** The middle of a thick slab of half-width pi damping depths gets two waves of exp(-pi) each, 0.0864:
///
/// ```
/// # use counterpane::night::soil::{damping_depth, share_of_the_wave, Sides};
/// let half = std::f64::consts::PI * damping_depth(5e-7);
/// let sides = Sides { width: 2.0 * half, from_side: half, height: 100.0 };
/// let share = share_of_the_wave(100.0, 1.0, sides, 5e-7);
/// assert!((share - 0.0864).abs() < 0.0005);
/// ```
pub fn share_of_the_wave(depth_m: f64, through_mulch: f64, sides: Sides, diffusivity: f64) -> f64 {
    let damping = damping_depth(diffusivity);
    let top = (-depth_m / damping).exp() * through_mulch;
    // Beyond twenty damping depths the far side is not felt, and cosh would leave the numbers.
    let half = (0.5 * sides.width / damping).min(20.0);
    let from_middle = (half - sides.from_side / damping).max(0.0);
    let both_faces = |y: f64| (2.0 * y).cosh() + (2.0 * y).cos();
    let side = (both_faces(from_middle) / both_faces(half)).sqrt() * (1.0 - (-sides.height / damping).exp());
    1.0 - (1.0 - top) * (1.0 - side.clamp(0.0, 1.0))
}

/// The sides of a raised bed, m. Flat ground has a height of 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sides {
    pub width: f64,
    /// Of the roots, from the nearer side.
    pub from_side: f64,
    pub height: f64,
}

impl Sides {
    /// Flat ground.
    pub const NONE: Sides = Sides { width: 1.0, from_side: 0.5, height: 0.0 };
}

/// What a layer of straw or leaves lets through of the daily wave: the amplitude of the soil under it over that above it.
///
/// ```text
/// m = 1 / sqrt(1 + 2 n + 2 n^2),   n = (d / 0.12) k / D      d, D in m, k in W/m/K
/// ```
///
/// | symbol | meaning                       | unit  | accepted range or value                         |
/// |--------|-------------------------------|-------|-------------------------------------------------|
/// | `d`    | thickness of the layer        | m     | 0 to 0.5                                        |
/// | 0.12   | its conductivity              | W/m/K | damp straw or leaves; handbooks 0.05 dry to 0.2 |
/// | `k`    | conductivity of moist soil    | W/m/K | 1.0, from 5e-7 m²/s and 2e6 J/m³/K              |
/// | `D`    | [`damping_depth`] of the soil | m     |                                                 |
///
/// **Method error.** Under 0.01 of the amplitude against stepwise conduction (`the_mulch_agrees_with_stepwise_conduction`);
/// the layer is taken to hold no heat itself. Its conductivity is known to a factor of two: wind blows through loose straw.
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** Carslaw and Jaeger 1959, § 2.8, a wave behind a surface resistance; conductivities of handbooks; from memory.
/// **Check.** With n = 1, 1/sqrt(5) is left:
///
/// ```
/// # use counterpane::night::soil::{damping_depth, through_mulch};
/// assert!((through_mulch(0.12 * damping_depth(5e-7), 5e-7) - 0.4472).abs() < 1e-3);
/// assert_eq!(through_mulch(0.0, 5e-7), 1.0);
/// ```
pub fn through_mulch(thickness_m: f64, diffusivity: f64) -> f64 {
    let n = thickness_m / MULCH_CONDUCTIVITY * SOIL_CONDUCTIVITY / damping_depth(diffusivity);
    1.0 / (1.0 + 2.0 * n + 2.0 * n * n).sqrt()
}

const MULCH_CONDUCTIVITY: f64 = 0.12;
const SOIL_CONDUCTIVITY: f64 = 1.0;

/// Lowest temperature of the day where a share of the air's wave arrives.
///
/// ```text
/// T = T_mean - (T_mean - T_min) a                            °C
/// ```
///
/// | symbol   | meaning                               | unit | accepted range |
/// |----------|---------------------------------------|------|----------------|
/// | `T_mean` | mean of the air over the day          | °C   | -30 to 35      |
/// | `T_min`  | minimum of the air, at most the mean  | °C   | -45 to 35      |
/// | `a`      | [`share_of_the_wave`]                 | -    | 0 to 1         |
///
/// **Method error.** For a steady daily wave under 0.5 % of its amplitude against a stepwise solution of the equation
/// of heat (`the_wave_agrees_with_stepwise_conduction`). Real soil is not in a steady wave: in autumn its store of
/// summer heat keeps it warmer than this, as do snow and the freezing of its water; a sudden spell of cold lowers
/// the mean of days, which belongs in `T_mean`. Cold by design.
/// **Refuses.** Nothing; a minimum above the mean is taken as the mean, and NaN comes back as NaN.
/// **Source.** As [`damping_depth`].
/// **Check.** At pi damping depths the wave has shrunk to 4.3 % (exp(-pi), Carslaw and Jaeger, from memory):
///
/// ```
/// # use counterpane::{night::soil::{Sides, damping_depth, share_of_the_wave, soil_minimum}, units::Celsius};
/// let share = share_of_the_wave(std::f64::consts::PI * damping_depth(5e-7), 1.0, Sides::NONE, 5e-7);
/// let Celsius(soil) = soil_minimum(Celsius(5.0), Celsius(-5.0), share);
/// assert!((soil - 4.57).abs() < 0.005);
/// ```
pub fn soil_minimum(mean_air: Celsius, air_minimum: Celsius, share: f64) -> Celsius {
    let below_mean = mean_air.0 - air_minimum.0;
    let amplitude = if below_mean < 0.0 { 0.0 } else { below_mean };
    Celsius(mean_air.0 - amplitude * share)
}

/// Frost that is left in the ground after a stretch of air, in freezing degree-hours: what [`frost_depth`] takes.
///
/// ```text
/// F <- max(0, F - T h)                                       F in °C h, T in °C, h in hours
/// ```
///
/// | symbol | meaning                        | unit | accepted range |
/// |--------|--------------------------------|------|----------------|
/// | `F`    | frost left before and after    | °C h | 0 to 2000      |
/// | `T`    | mean air of the stretch        | °C   | -45 to 50      |
/// | `h`    | its length                     | h    | 0 to 240       |
///
/// A degree-hour of thaw takes a degree-hour of frost. By Stefan's solution thaw needs fewer, about three quarters (`k` of
/// moist for that of frozen soil, and an n-factor of 1 for one of 0.5), and it comes from below as well.
///
/// **Method error.** On the cold side: after five days of frost, 6 to 48 h of thaw leave at least as much frozen soil as
/// stepwise conduction with freezing and thawing (`a_thaw_leaves_no_less_frost_than_stepwise_thawing`). Snow, which keeps
/// frost out, is not modelled.
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** Freezing and thawing index as in the engineering of frozen ground (Andersland and Ladanyi 2004, ch. 3; from
/// memory).
/// **Check.** Nine days of -3.5 °C are 756 °C h, and freeze sqrt(2 * 1.5 * 0.5 * 756 * 3600 / 8.35e7) = 0.221 m:
///
/// ```
/// # use counterpane::{night::soil::{frost_depth, frost_left}, units::Celsius};
/// let frost = (0..9).fold(0.0, |left, _| frost_left(left, 24.0, Celsius(-3.5)));
/// assert!((frost - 756.0).abs() < 1e-9 && (frost_depth(frost, 0.0) - 0.221).abs() < 5e-4);
/// assert_eq!(frost_left(frost, 9.0 * 24.0, Celsius(3.5)), 0.0);
/// ```
pub fn frost_left(left: f64, hours: f64, mean_air: Celsius) -> f64 {
    let then = left - mean_air.0 * hours;
    if then < 0.0 { 0.0 } else { then }
}

/// Depth to which moist soil has frozen after some freezing degree-hours of the air over it.
///
/// ```text
/// X = sqrt((k R)^2 + 2 k n F 3600 / L) - k R              X in m, F in °C h, k in W/m/K, L in J/m³
/// ```
///
/// | symbol | meaning                                                | unit  | accepted range or value        |
/// |--------|--------------------------------------------------------|-------|--------------------------------|
/// | `F`    | hours below 0 °C, each times its degrees below         | °C h  | 0 to 2000                      |
/// | `k`    | conductivity of frozen moist soil                      | W/m/K | 1.5, middle of handbook values |
/// | `n`    | degree-hours at the surface per degree-hour of the air | -     | 0.5, ground with plants        |
/// | `L`    | heat freed by freezing the water of the soil           | J/m³  | 8.35e7, a quarter water        |
/// | `R`    | resistance of mulch, its thickness over 0.12 W/m/K     | m²K/W | 0 to 4                         |
/// | result | depth of the frost, from the surface of the soil       | m     | 0 to 0.5                       |
///
/// Water gives off so much heat as it freezes that soil stays at 0 °C until the frost has passed: one frosty night
/// reaches a few centimetres.
///
/// **Method error.** The depth of soil that starts at 0 °C, without the heat it still holds and gets from below: up to
/// 5 % too deep against stepwise conduction with freezing, 1 to 6 K below zero and 6 to 48 h (swept by
/// `the_frost_agrees_with_stepwise_freezing`); soil that starts warmer freezes later and less, so it errs on the cold
/// side. `n` and `L` are known to a factor of two.
/// **Refuses.** Nothing; no or negative degree-hours give no frost.
/// **Source.** Stefan's solution, Carslaw and Jaeger 1959, § 11.2, with a resistance in front as in its use for roads; n-factor of turf after Lunardini 1978; all from
/// memory.
/// **Check.** The degree-hours that freeze the top 5 cm, by the heat that this frees: half of it, on average, passes
/// the whole depth:
///
/// ```
/// # use counterpane::night::soil::frost_depth;
/// let (k, n, latent) = (1.5, 0.5, 0.25 * 1000.0 * 334e3);
/// let degree_hours = latent * 0.05 * 0.05 / (2.0 * k * n * 3600.0);
/// assert!((frost_depth(degree_hours, 0.0) - 0.05).abs() < 1e-4);
/// assert!(frost_depth(0.0, 0.0) == 0.0 && frost_depth(degree_hours, 0.05) < 0.01);
/// ```
pub fn frost_depth(freezing_degree_hours: f64, mulch_m: f64) -> f64 {
    let degree_hours = if freezing_degree_hours > 0.0 { freezing_degree_hours } else { 0.0 };
    // As much frozen soil as resists the heat like the mulch.
    let like_mulch = FROZEN_CONDUCTIVITY * mulch_m / MULCH_CONDUCTIVITY;
    let bare = 2.0 * FROZEN_CONDUCTIVITY * SURFACE_FACTOR * degree_hours * 3600.0 / LATENT_HEAT_OF_SOIL;
    (like_mulch * like_mulch + bare).sqrt() - like_mulch
}

const FROZEN_CONDUCTIVITY: f64 = 1.5;
const SURFACE_FACTOR: f64 = 0.5;
const LATENT_HEAT_OF_SOIL: f64 = 0.25 * 1000.0 * 334e3;

#[cfg(test)]
mod tests;
