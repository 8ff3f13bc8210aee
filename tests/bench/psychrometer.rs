//! The wet bulb: the temperature that a ventilated wet surface takes.

use counterpane::units::{Celsius, Pascals};
use counterpane::weather::humidity::{Curve, OVER_ICE, OVER_WATER};

/// What covers the bulb.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bulb {
    /// Liquid, supercooled below 0 °C.
    #[allow(dead_code, reason = "the gardens of a bench have ice below zero")]
    Water,
    /// Ice, where the bulb can be below 0 °C; water where it cannot.
    Ice,
}

/// ```text
/// water   e_s(t_w) - A p (t - t_w) = e          A = 0.000662 /°C
/// ice     e_i(t_w) - 0.882 A p (t - t_w) = e    only for t_w <= 0
/// ```
///
/// | symbol | meaning                                 | unit | range             |
/// |--------|-----------------------------------------|------|-------------------|
/// | `t`    | air temperature                         | °C   | -60 to 60         |
/// | `t_d`  | dew point, over water, so e = e_s(t_d)  | °C   | at most `t`       |
/// | `p`    | air pressure                            | Pa   | 40 000 to 110 000 |
///
/// 0.882 is 2501/2835, vaporisation over sublimation. The left side rises and curves upward with `t_w`, so that
/// wherever Newton's steps begin, all but the first come down to the root without passing it.
///
/// **Method error.** Solved to 1e-9 °C (`the_wet_bulb_is_the_root`). The pseudo-adiabatic wet bulb of the thermodynamic
/// diagram is another quantity, lower by up to 0.25 °C at 10 °C and by 0.45 °C at 30 °C in dry air (rows in
/// `tests/published/humidity.rs`, with the check value).
/// **Source.** FAO-56 (Allen et al. 1998), eq. 15 and 16 (aspirated psychrometer), from memory; the ice bulb by the
/// ratio of latent heats.
pub fn wet_bulb(air: Celsius, dew_point: Celsius, pressure: Pascals, bulb: Bulb) -> Celsius {
    let psychrometer = Psychrometer::new(air, dew_point, pressure, bulb);
    Celsius(if psychrometer.is_icy { psychrometer.root(OVER_ICE).min(0.0) } else { psychrometer.root(OVER_WATER) })
}

/// Whether the [`wet_bulb`] is above a temperature: a third of the work of solving for it, so that the lowest of many
/// can be sought among the few that may be it.
pub fn is_wet_bulb_above(limit: Celsius, air: Celsius, dew_point: Celsius, pressure: Pascals, bulb: Bulb) -> bool {
    let psychrometer = Psychrometer::new(air, dew_point, pressure, bulb);
    // An ice bulb is never above 0 °C, and where the bulb may carry ice and does not it is above.
    let (curve, may_be) = match bulb {
        Bulb::Ice if psychrometer.is_icy => (OVER_ICE, limit.0 < 0.0),
        _ => (OVER_WATER, true),
    };
    may_be && psychrometer.balance(curve, limit.0).0 < 0.0
}

/// The balance of a wet bulb, with what of it does not depend on the bulb's temperature.
struct Psychrometer {
    air: f64,
    dew_point: f64,
    vapour_pressure: f64,
    /// Heat that the air gives for each degree, Pa/°C.
    a_p: f64,
    is_icy: bool,
}

impl Psychrometer {
    fn new(air: Celsius, dew_point: Celsius, pressure: Pascals, bulb: Bulb) -> Psychrometer {
        let a_p = 0.000662 * pressure.0;
        let (vapour_pressure, _) = OVER_WATER.at(dew_point.0);
        // In air saturated over ice an ice bulb is warmer than the air but never above 0 °C: ice where it would be colder.
        let is_icy = bulb == Bulb::Ice && OVER_ICE.at(0.0).0 - ICE_BULB * a_p * air.0 - vapour_pressure >= 0.0;
        let a_p = if is_icy { ICE_BULB * a_p } else { a_p };
        Psychrometer { air: air.0, dew_point: dew_point.0, vapour_pressure, a_p, is_icy }
    }

    /// The left side of the equation less its right one, Pa, and its slope.
    fn balance(&self, curve: Curve, t_w: f64) -> (f64, f64) {
        let (saturation, slope) = curve.at(t_w);
        (saturation - self.a_p * (self.air - t_w) - self.vapour_pressure, slope + self.a_p)
    }

    /// The bulb's temperature: from where a parabola through the dew point puts it, by Newton's steps. From there they
    /// square the error, 0.02 of it, so the last step leaves less than 1e-11 °C.
    fn root(&self, curve: Curve) -> f64 {
        let (value, slope) = self.balance(curve, self.dew_point);
        let bend = bend(curve, self.dew_point);
        let lift = -2.0 * value / (slope + (slope * slope - 2.0 * bend * value).sqrt());
        // Air without vapour to speak of has no parabola; there the air itself is a point above the root.
        let mut t = if lift.is_finite() { self.dew_point + lift } else { self.air };
        for _ in 0..40 {
            let (value, slope) = self.balance(curve, t);
            let step = value / slope;
            t -= step;
            if step.abs() < 1e-5 {
                break;
            }
        }
        t
    }
}

/// How fast the slope of a curve rises, Pa/°C².
fn bend(curve: Curve, t: f64) -> f64 {
    let (saturation, slope) = curve.at(t);
    slope * (slope / saturation - 2.0 / (curve.b + t))
}

/// Vaporisation over sublimation, 2501/2835 kJ/kg.
pub const ICE_BULB: f64 = 2501.0 / 2835.0;
