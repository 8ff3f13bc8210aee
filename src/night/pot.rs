//! Potting mix: it follows the air by the hour, and stays near freezing while its water turns to ice.

use crate::units::Celsius;

/// Square of the first zero of the Bessel function J0, 2.404826.
const SLOWEST_MODE: f64 = 5.7832;
/// Heat capacity of moist and of frozen mix, J/m³/K, and heat freed by freezing its water, J/m³: three tenths of its
/// volume, a mix not just watered (mid-range of handbook values, from memory).
const HEAT_CAPACITY: f64 = 1.9e6;
const HEAT_CAPACITY_FROZEN: f64 = 1.4e6;
const LATENT_HEAT: f64 = 0.3 * 1000.0 * 334e3;
/// Conductivity of moist and of frozen mix, W/m/K (the same; the first gives a diffusivity of 2.5e-7 m²/s).
const CONDUCTIVITY: f64 = 0.475;
const CONDUCTIVITY_FROZEN: f64 = 1.0;

/// Time constant of the root ball in a pot: after it, 37 % of its lead over the air is left.
///
/// ```text
/// tau = r^2 / (5.7832 alpha)                                 tau in h, r in m, alpha in m²/s
/// ```
///
/// | symbol  | meaning                              | unit | accepted range |
/// |---------|--------------------------------------|------|----------------|
/// | `r`     | radius of the pot                    | m    | 0.03 to 0.5    |
/// | `alpha` | thermal diffusivity of the mix       | m²/s | 1e-7 to 1e-6   |
///
/// 5.7832 is the square of the first zero of the Bessel function J0.
///
/// **Method error.** The mean of the ball against the whole series: up to 0.21 of a sudden step too warm, early in it
/// (swept by `the_lag_stays_near_the_whole_series`).
/// **Refuses.** Nothing.
/// **Source.** Carslaw and Jaeger 1959, § 7.6: slowest mode of a long cylinder with its wall at the air's temperature;
/// from memory.
/// **Check.** A sphere or a plate of the same half-width has pi² or pi²/4 in the place of 5.78, and the cylinder lies
/// between (Carslaw and Jaeger, from memory); for 0.15 m and 2.5e-7 m²/s it gives 4.3 h:
///
/// ```
/// # use counterpane::night::pot::pot_time_constant;
/// let square = 0.15_f64.powi(2) / 2.5e-7 / 3600.0;
/// let pi = std::f64::consts::PI;
/// let cylinder = pot_time_constant(0.15, 2.5e-7);
/// assert!(cylinder > square / pi.powi(2) && cylinder < square / (pi.powi(2) / 4.0));
/// assert!((cylinder - 4.32).abs() < 0.01);
/// ```
pub fn pot_time_constant(radius_m: f64, diffusivity: f64) -> f64 {
    radius_m.powi(2) / (SLOWEST_MODE * diffusivity) / 3600.0
}

/// Where the roots of a pot are judged: the ring that halves the ball, and in a large pot 5 cm inside the wall, the depth
/// at which roots in the ground are judged. Share of the ball that lies inside it.
fn inside_of_the_ring(radius: f64) -> f64 {
    let from_wall = (radius * (1.0 - 0.5_f64.sqrt())).min(0.05);
    (1.0 - from_wall / radius).powi(2)
}

/// A root ball by the heat it holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Ball {
    /// Mean temperature, 0 °C or above.
    Unfrozen(f64),
    /// At 0 °C inside, ice outside: the degree-hours spent of those that freeze it through, 0 to 1.
    Freezing(f64),
    /// Mean temperature, 0 °C or below, frozen through.
    Frozen(f64),
}

/// Temperature of a pot's roots at the end of each step.
///
/// ```text
/// unfrozen   T <- T_air + (T - T_air) exp(-h / tau)
/// freezing   G <- G + 4 k h 3600 (0 - T_air) / (L r^2),   G = f + (1 - f) ln(1 - f)
///            T = T_air (1 - ln s / ln(1 - f)) once the ice has passed the roots, f > 1 - s; else 0
/// frozen     as unfrozen, of frozen mix; the roots as cold as the air while it falls            °C
/// ```
///
/// | symbol  | meaning                                           | unit  | accepted range or value           |
/// |---------|---------------------------------------------------|-------|-----------------------------------|
/// | `T`     | mean of the ball, which is near that of its roots | °C    | -45 to 50                         |
/// | `h`     | length of a step, paired with its air             | h     | above 0 to 24                     |
/// | `T_air` | air of the step                                   | °C    | -45 to 50                         |
/// | `tau`   | [`pot_time_constant`]                             | h     |                                   |
/// | `f`     | part of the ball that is frozen, from outside     | -     | 0 to 1                            |
/// | `s`     | part of the ball inside the roots' ring           | -     | 0.5 to 0.81                       |
/// | `k`     | conductivity: frozen mix, or moist mix as it thaws | W/m/K | 1.0 and 0.475                     |
/// | `L`     | heat freed by freezing the mix                    | J/m³  | 1.0e8, three tenths of it water   |
///
/// `start` is the mean of the first day that is known, and below zero the ball has had one day of it.
///
/// The ice grows inward as in Plank's equation for a cylinder: the whole ball takes `L r² / (4 k)` of degree-seconds.
///
/// **Method error.** Against stepwise conduction with freezing over a cold night, a standing frost and a spell of three
/// days, the lowest temperature of the roots is at most 1.0 K too warm in pots up to 0.3 m across and 1.6 K up to 0.5 m,
/// single hours up to 3 K (`the_ball_agrees_with_stepwise_freezing`). That is for a thin wet wall in wind; still air
/// round the pot slows a real one. Roots at the wall itself are nearer to the air.
/// **Refuses.** Nothing; a step of no or negative length changes nothing, and from NaN on all is NaN.
/// **Source.** As [`pot_time_constant`]; R. Plank 1913, freezing time of a cylinder, as in handbooks of refrigeration;
/// all from memory.
/// **Check.** Newton's law of cooling, 37 % (1/e) of the lead left after one time constant; and moist mix that stays at 0
/// °C through one light frost:
///
/// ```
/// # use counterpane::{night::pot::{pot_temperature, pot_time_constant}, units::Celsius};
/// let tau = pot_time_constant(0.15, 2.5e-7);
/// let cools = pot_temperature(Celsius(10.0), [(tau, Celsius(0.0))].into_iter(), 0.15).last();
/// assert!(cools.is_some_and(|Celsius(ball)| (ball - 3.68).abs() < 0.01));
/// let frost = pot_temperature(Celsius(0.5), [(8.0, Celsius(-2.0))].into_iter(), 0.15).last();
/// assert_eq!(frost, Some(Celsius(0.0)));
/// ```
pub fn pot_temperature(
    start: Celsius,
    hourly_air: impl Iterator<Item = (f64, Celsius)>,
    radius_m: f64,
) -> impl Iterator<Item = Celsius> {
    let pot = Pot {
        unfrozen: pot_time_constant(radius_m, CONDUCTIVITY / HEAT_CAPACITY),
        frozen: pot_time_constant(radius_m, CONDUCTIVITY_FROZEN / HEAT_CAPACITY_FROZEN),
        per_degree_hour: 4.0 * CONDUCTIVITY_FROZEN * 3600.0 / (LATENT_HEAT * radius_m.powi(2)),
        inside: inside_of_the_ring(radius_m),
    };
    // A start below zero is a day's mean: the ball has had a day of it.
    let day_of_frost = -start.0 * 24.0 * pot.per_degree_hour;
    let ball = match start.0 {
        start if day_of_frost >= 1.0 => Ball::Frozen(start),
        start if start < 0.0 => Ball::Freezing(day_of_frost),
        start => Ball::Unfrozen(start),
    };
    hourly_air.scan(ball, move |ball, (hours, air)| {
        *ball = pot.after(*ball, if hours < 0.0 { 0.0 } else { hours }, air.0);
        Some(Celsius(pot.roots(*ball, air.0)))
    })
}

struct Pot {
    /// Time constants, h.
    unfrozen: f64,
    frozen: f64,
    /// Of the freezing through, by one degree below zero for one hour.
    per_degree_hour: f64,
    inside: f64,
}

impl Pot {
    fn after(&self, mut ball: Ball, mut hours: f64, air: f64) -> Ball {
        // In one step of constant air a ball passes through its three phases at most once each.
        for _ in 0..3 {
            match ball {
                Ball::Unfrozen(lead) => {
                    let then = air + (lead - air) * (-hours / self.unfrozen).exp();
                    if then >= 0.0 || !then.is_finite() {
                        return Ball::Unfrozen(then);
                    }
                    hours -= self.unfrozen * ((lead - air) / -air).ln();
                    ball = Ball::Freezing(0.0);
                }
                Ball::Freezing(part) => {
                    let speed = if air < 0.0 { 1.0 } else { CONDUCTIVITY / CONDUCTIVITY_FROZEN };
                    let rate = -air * self.per_degree_hour * speed;
                    let then = part + rate * hours;
                    if then > 1.0 {
                        hours -= (1.0 - part) / rate;
                        ball = Ball::Frozen(0.0);
                    } else if then < 0.0 {
                        hours -= part / -rate;
                        ball = Ball::Unfrozen(0.0);
                    } else {
                        return if then.is_nan() { Ball::Unfrozen(then) } else { Ball::Freezing(then) };
                    }
                }
                Ball::Frozen(lead) => {
                    let then = air + (lead - air) * (-hours / self.frozen).exp();
                    if then <= 0.0 {
                        return Ball::Frozen(then);
                    }
                    if then.is_nan() {
                        return Ball::Unfrozen(then);
                    }
                    hours -= self.frozen * ((lead - air) / -air).ln();
                    ball = Ball::Freezing(1.0);
                }
            }
        }
        ball
    }

    fn roots(&self, ball: Ball, air: f64) -> f64 {
        match ball {
            Ball::Unfrozen(mean) => mean,
            Ball::Frozen(mean) => mean.min(air),
            Ball::Freezing(part) => {
                let unfrozen = 1.0 - frozen_part(part);
                if unfrozen >= self.inside { 0.0 } else { air.min(0.0) * (1.0 - self.inside.ln() / unfrozen.ln()) }
            }
        }
    }
}

/// Inverse of `G = f + (1 - f) ln(1 - f)`, which rises from 0 to 1, by halving.
fn frozen_part(part: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle: f64 = 0.5 * (low + high);
        if middle + (1.0 - middle) * (1.0 - middle).ln() < part {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

#[cfg(test)]
mod tests;
