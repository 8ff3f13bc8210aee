//! From dusk to dawn: the minimum to expect from what the dusk shows, and the way there.

use crate::units::{Celsius, Kelvins};
use thiserror::Error;

/// One past night: two hours after sunset, and the minimum that followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DuskNight {
    pub dusk_air: Celsius,
    /// Over water.
    pub dusk_dew_point: Celsius,
    pub minimum: Celsius,
}

/// A straight relation between dusk and the night's minimum, with how far nights stray from it.
///
/// ```text
/// T_p = a T_0 + b T_d0 + c                                   °C, at dusk: two hours after sunset
/// ```
///
/// | symbol | meaning                       | unit | accepted range |
/// |--------|-------------------------------|------|----------------|
/// | `T_0`  | air at dusk                   | °C   | -45 to 40      |
/// | `T_d0` | dew point at dusk, over water | °C   | -45 to `T_0`   |
/// | result | minimum of the night to come  | °C   |                |
///
/// **Method error.** `standard_deviation` of the residuals, on the nights fitted. A fit on all nights is too warm on
/// clear calm ones by 2 to 3 °C, and at a new site biased by up to 2.5 °C either way (seven US stations, 1395 nights).
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** R. L. Snyder and J. P. de Melo-Abreu, 2005, Frost Protection: Fundamentals, Practice and Economics,
/// vol. 1, FAO Environment and Natural Resources Series 10, ch. 5 (the form; fitted there in two steps, here jointly).
/// **Check.** Their ten nights, fitted by statsmodels 0.15.0: see [`DuskRegression::fit`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DuskRegression {
    pub a: f64,
    pub b: f64,
    /// °C.
    pub c: f64,
    /// Of the residuals, with n - 3 degrees of freedom.
    pub standard_deviation: Kelvins,
}

/// Why nights do not give a regression.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum FitRefused {
    #[error("{0} nights are too few for a fit; it takes {FEWEST_NIGHTS}")]
    TooFewNights(usize),
    #[error("a night holds a value that is not a number")]
    NotANumber,
    #[error("air and dew point at dusk were too much alike over these nights to tell them apart")]
    Degenerate,
}

/// A fit of three coefficients on fewer nights says little. A choice, that of the FAO example.
pub const FEWEST_NIGHTS: usize = 10;

impl DuskRegression {
    /// For a garden without nights of its own: joint fit on 1395 nights, October to April, of seven US stations (Newark,
    /// New York Kennedy and LaGuardia, Greensboro, Chicago O'Hare, Washington Dulles, Golden); airports, not gardens.
    /// Computed for this project. On stations left out its mean absolute error was 2.5 °C.
    pub const IMPORTED: DuskRegression =
        DuskRegression { a: 0.7138, b: 0.2059, c: -2.4557, standard_deviation: Kelvins(2.806) };

    /// The minimum to expect after this dusk; the card stands at the type.
    pub fn predict(&self, dusk_air: Celsius, dusk_dew_point: Celsius) -> Celsius {
        Celsius(self.a * dusk_air.0 + self.b * dusk_dew_point.0 + self.c)
    }

    /// Joint least squares over past nights.
    ///
    /// ```text
    /// a, b, c minimise the sum of (T_n - a T_0 - b T_d0 - c)^2,   s^2 = sum / (n - 3)
    /// ```
    ///
    /// **Method error.** That of double precision (`a_known_relation_is_found_again`).
    /// **Refuses.** [`FitRefused`]: fewer than [`FEWEST_NIGHTS`], NaN, or nights all alike. Ask for
    /// [`DuskRegression::IMPORTED`] instead.
    /// **Source.** Ordinary least squares. The FAO text fits in two steps, which gives other coefficients on the same
    /// nights.
    /// **Check.** statsmodels 0.15.0 on the ten nights of the FAO example:
    ///
    /// ```
    /// # use counterpane::{night::cooling::{DuskNight, DuskRegression, FitRefused}, units::Celsius};
    /// let nights = [
    ///     (3.2, -4.2, -3.1), (0.8, -8.8, -5.0), (0.2, -6.5, -6.3), (2.6, -6.2, -5.4), (4.4, -6.1, -4.0),
    ///     (5.2, 2.6, -2.5), (2.7, -0.7, -4.8), (1.2, -1.7, -5.0), (4.5, -1.2, -4.4), (5.6, 0.1, -3.3),
    /// ].map(|(air, dew_point, minimum)| DuskNight {
    ///     dusk_air: Celsius(air), dusk_dew_point: Celsius(dew_point), minimum: Celsius(minimum),
    /// });
    /// let fit = DuskRegression::fit(&nights)?;
    /// assert!((fit.a - 0.44730).abs() < 1e-5 && (fit.b - 0.04507).abs() < 1e-5 && (fit.c - -5.59240).abs() < 1e-5);
    /// assert!((fit.standard_deviation.0 - 0.74875).abs() < 1e-5);
    /// # Ok::<(), FitRefused>(())
    /// ```
    pub fn fit(nights: &[DuskNight]) -> Result<DuskRegression, FitRefused> {
        if nights.len() < FEWEST_NIGHTS {
            return Err(FitRefused::TooFewNights(nights.len()));
        }
        let n = nights.len() as f64;
        let mean = |of: fn(&DuskNight) -> f64| nights.iter().map(of).sum::<f64>() / n;
        let (mean_air, mean_dew) = (mean(|night| night.dusk_air.0), mean(|night| night.dusk_dew_point.0));
        let mean_minimum = mean(|night| night.minimum.0);
        if !(mean_air + mean_dew + mean_minimum).is_finite() {
            return Err(FitRefused::NotANumber);
        }
        // About their means, so that the two normal equations left are well conditioned.
        let [mut xx, mut xz, mut zz, mut xy, mut zy] = [0.0; 5];
        for night in nights {
            let (x, z, y) =
                (night.dusk_air.0 - mean_air, night.dusk_dew_point.0 - mean_dew, night.minimum.0 - mean_minimum);
            xx += x * x;
            xz += x * z;
            zz += z * z;
            xy += x * y;
            zy += z * y;
        }
        // 1 minus the squared correlation of air and dew point; an instrument's tenth of a degree leaves far more.
        let determinant = xx * zz - xz * xz;
        let is_solvable = determinant > 1e-6 * xx * zz;
        if !is_solvable {
            return Err(FitRefused::Degenerate);
        }
        let a = (xy * zz - zy * xz) / determinant;
        let b = (zy * xx - xy * xz) / determinant;
        let c = mean_minimum - a * mean_air - b * mean_dew;
        let fit = DuskRegression { a, b, c, standard_deviation: Kelvins(0.0) };
        let residuals: f64 = nights
            .iter()
            .map(|night| (night.minimum - fit.predict(night.dusk_air, night.dusk_dew_point)).0.powi(2))
            .sum();
        Ok(DuskRegression { standard_deviation: Kelvins((residuals / (n - 3.0)).sqrt()), ..fit })
    }
}

/// The way of the temperature from dusk to the minimum at sunrise: fast at first, as the square root of time.
///
/// ```text
/// T(t) = T_0 + (T_n - T_0) sqrt(t / h)                       °C; t, h in hours from dusk
/// t_c  = h ((T_0 - T_c) / (T_0 - T_n))^2                     when T_c is reached
/// ```
///
/// | symbol | meaning                                    | unit | accepted range |
/// |--------|--------------------------------------------|------|----------------|
/// | `T_0`  | air at dusk, two hours after sunset        | °C   | -45 to 40      |
/// | `T_n`  | minimum, below `T_0`                       | °C   |                |
/// | `h`    | from dusk to sunrise                       | h    | above 0 to 22  |
///
/// **Method error.** Large on any one night: of 3198 observed nights 56 % had their minimum between 3 hours before and
/// one hour after sunrise; the rest did not cool like this at all. Use it where no hourly forecast is at hand.
/// **Refuses.** [`CoolingCurve::new`] gives `None` where it does not cool, for a night without length, and for NaN.
/// **Source.** J. C. Allen's form as used in FAO Frost Protection (2005), vol. 1, ch. 5; from memory.
/// **Check.** Dusk at 3.2 °C, minimum -4.0 °C after 10 h; values computed apart from this code:
///
/// ```
/// # use counterpane::{night::cooling::CoolingCurve, units::Celsius};
/// let curve = CoolingCurve::new(Celsius(3.2), Celsius(-4.0), 10.0).ok_or("no cooling")?;
/// assert!((curve.at(3.0).0 - -0.744).abs() < 0.001);
/// assert!((curve.hours_below(Celsius(0.0)) - 8.025).abs() < 0.001);
/// # Ok::<(), &str>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoolingCurve {
    dusk: Celsius,
    minimum: Celsius,
    hours: f64,
}

impl CoolingCurve {
    /// The curve, or `None` unless the minimum lies below the dusk and the night has a length.
    pub fn new(dusk: Celsius, minimum: Celsius, hours: f64) -> Option<CoolingCurve> {
        let cools = minimum < dusk && hours > 0.0 && (dusk.0 - minimum.0).is_finite() && hours.is_finite();
        cools.then_some(CoolingCurve { dusk, minimum, hours })
    }

    /// Temperature some hours after dusk; before dusk that of dusk, after sunrise the minimum.
    pub fn at(&self, hours_after_dusk: f64) -> Celsius {
        let share = (hours_after_dusk / self.hours).clamp(0.0, 1.0);
        Celsius(self.dusk.0 + (self.minimum.0 - self.dusk.0) * share.sqrt())
    }

    /// Hours from dusk until a temperature is reached: 0 where dusk is there already, `None` where the night never is.
    pub fn hours_until(&self, threshold: Celsius) -> Option<f64> {
        let share = (self.dusk - threshold).0 / (self.dusk - self.minimum).0;
        // A threshold that is not a number counts as reached at once, the careful answer.
        if share > 1.0 { None } else { Some(self.hours * share.max(0.0).powi(2)) }
    }

    /// Hours at or below a temperature, up to sunrise.
    pub fn hours_below(&self, threshold: Celsius) -> f64 {
        self.hours_until(threshold).map_or(0.0, |reached| self.hours - reached)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn night(air: f64, dew_point: f64, minimum: f64) -> DuskNight {
        DuskNight { dusk_air: Celsius(air), dusk_dew_point: Celsius(dew_point), minimum: Celsius(minimum) }
    }

    #[test]
    fn nights_that_say_nothing_give_no_fit() {
        let varied: Vec<DuskNight> =
            (0..12).map(|n| night(f64::from(n), f64::from(n * n % 7) - 5.0, f64::from(n) - 6.0)).collect();
        assert!(DuskRegression::fit(&varied).is_ok());
        assert_eq!(DuskRegression::fit(&varied[..9]), Err(FitRefused::TooFewNights(9)));
        assert_eq!(DuskRegression::fit(&[]), Err(FitRefused::TooFewNights(0)));
        assert_eq!(DuskRegression::fit(&[night(3.0, -2.0, -1.0); 12]), Err(FitRefused::Degenerate));
        let saturated: Vec<DuskNight> = (0..12).map(|n| night(f64::from(n), f64::from(n), -1.0)).collect();
        assert_eq!(DuskRegression::fit(&saturated), Err(FitRefused::Degenerate));
        for bad in [f64::NAN, f64::INFINITY] {
            let mut spoilt = varied.clone();
            spoilt[3].dusk_dew_point = Celsius(bad);
            assert_eq!(DuskRegression::fit(&spoilt), Err(FitRefused::NotANumber));
        }
    }

    #[test]
    fn what_does_not_cool_has_no_curve() {
        for (dusk, minimum, hours) in [
            (1.0, 1.0, 10.0),
            (1.0, 2.0, 10.0),
            (1.0, 0.0, 0.0),
            (f64::NAN, 0.0, 10.0),
            (1.0, f64::NAN, 10.0),
            (1.0, 0.0, f64::NAN),
        ] {
            assert_eq!(CoolingCurve::new(Celsius(dusk), Celsius(minimum), hours), None);
        }
    }

    proptest! {
        #[test]
        fn a_known_relation_is_found_again(
            a in 0.2f64..1.2, b in -0.3f64..0.6, c in -8.0f64..3.0,
            dusks in proptest::collection::vec((-10.0f64..15.0, 0.0f64..12.0), 10..60),
        ) {
            let known = DuskRegression { a, b, c, standard_deviation: Kelvins(0.0) };
            let nights: Vec<DuskNight> = dusks.iter().map(|(air, spread)| {
                let (air, dew_point) = (Celsius(*air), Celsius(air - spread));
                DuskNight { dusk_air: air, dusk_dew_point: dew_point, minimum: known.predict(air, dew_point) }
            }).collect();
            let fit = DuskRegression::fit(&nights).map_err(|refused| TestCaseError::fail(refused.to_string()))?;
            prop_assert!((fit.a - a).abs() < 1e-6 && (fit.b - b).abs() < 1e-6 && (fit.c - c).abs() < 1e-5);
            prop_assert!(fit.standard_deviation.0 < 1e-6);
        }

        #[test]
        fn the_curve_and_its_inverse_agree(dusk in -5.0f64..15.0, drop in 0.1f64..15.0, hours in 1.0f64..20.0, share in 0.0f64..1.0) {
            let Some(curve) = CoolingCurve::new(Celsius(dusk), Celsius(dusk - drop), hours) else {
                return Err(TestCaseError::fail("no curve"));
            };
            let reached = curve.hours_until(curve.at(share * hours));
            prop_assert!(reached.is_some_and(|reached| (reached - share * hours).abs() < 1e-6));
            prop_assert_eq!(curve.hours_until(Celsius(dusk + 1.0)), Some(0.0));
            prop_assert_eq!(curve.hours_below(Celsius(dusk - drop - 0.1)), 0.0);
        }
    }
}
