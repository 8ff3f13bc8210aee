//! What the night leaves on a leaf: dew, frost that can be seen in the morning, or nothing to see.

use crate::units::Celsius;
use crate::weather::humidity::{saturation_over_ice, saturation_over_water};

/// What is on a leaf at the end of a night.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deposit {
    /// Nothing, and the leaf stays above freezing.
    Dry,
    /// Dew that does not freeze.
    Dew,
    /// White frost: vapour frozen on the leaf, or dew that froze.
    White,
    /// Below freezing without frost: the air is too dry to leave any.
    Black,
}

/// What a night leaves on a leaf.
///
/// ```text
/// dew forms    where T_l >= 0 and e_w(T_d) > e_w(T_l)
/// frost forms  where T_l <  0 and e_w(T_d) > e_i(T_l)        °C
/// ```
///
/// | symbol     | meaning                            | unit | accepted range |
/// |------------|------------------------------------|------|----------------|
/// | `T_l`      | leaf                               | °C   | -45 to 40      |
/// | `T_d`      | dew point of the air, over water   | °C   | -60 to 40      |
/// | `e_w, e_i` | saturation over water and over ice | Pa   |                |
///
/// `hours` are leaf and dew point, in order of time. Dew that meets freezing later in the night turns white too.
///
/// **Method error.** That of the leaf and of the humidity forecast, 1 K and more each; near the frost point either answer
/// is possible.
/// **Refuses.** Nothing; an hour of NaN leaves nothing.
/// **Source.** Glossary of Meteorology, American Meteorological Society: frost, and dry freeze or black frost.
/// **Check.** Air of 2 °C and 70 % has its dew point at -2.9 °C and its frost point at -2.6 °C (psychrolib 2.5.0): a leaf of
/// -2.7 °C turns white, one of -2.4 °C black:
///
/// ```
/// # use counterpane::{night::deposit::{Deposit, deposit}, units::Celsius};
/// let on = |leaf| deposit([(Celsius(leaf), Celsius(-2.905))].into_iter());
/// assert_eq!((on(-2.7), on(-2.4)), (Deposit::White, Deposit::Black));
/// ```
pub fn deposit(hours: impl Iterator<Item = (Celsius, Celsius)>) -> Deposit {
    let (mut dew, mut white, mut frozen) = (false, false, false);
    for (leaf, dew_point) in hours {
        let vapour = saturation_over_water(dew_point);
        if leaf < Celsius(0.0) {
            frozen = true;
            white |= dew || vapour.0 > saturation_over_ice(leaf).0;
        } else if vapour.0 > saturation_over_water(leaf).0 {
            dew = true;
        }
    }
    match (frozen, white, dew) {
        (true, true, _) => Deposit::White,
        (true, false, _) => Deposit::Black,
        (false, _, true) => Deposit::Dew,
        (false, _, false) => Deposit::Dry,
    }
}

impl Deposit {
    /// For whoever takes a number apart.
    pub fn sentence(self) -> &'static str {
        match self {
            Deposit::Dry => "no dew or frost forms: the leaf stays above the dew point",
            Deposit::Dew => "dew forms on the leaf and warms it a little as it does",
            Deposit::White => {
                "white frost on the leaf: it gets below freezing and below the frost point, or its dew freezes"
            }
            Deposit::Black => {
                "black frost: the leaf gets below freezing but not below the frost point, so nothing white shows in the \
                 morning; look at the leaves all the same"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn night(hours: &[(f64, f64)]) -> Deposit {
        deposit(hours.iter().map(|(leaf, dew_point)| (Celsius(*leaf), Celsius(*dew_point))))
    }

    #[test]
    fn each_kind_of_night_leaves_its_own() {
        assert_eq!(night(&[(5.0, 2.0), (3.0, 2.0)]), Deposit::Dry);
        assert_eq!(night(&[(5.0, 2.0), (1.5, 2.0)]), Deposit::Dew);
        assert_eq!(night(&[(2.0, -4.0), (-3.0, -4.0)]), Deposit::Black);
        assert_eq!(night(&[(2.0, -4.0), (-4.0, -4.0)]), Deposit::White);
        // Between dew point and frost point only ice can form.
        assert_eq!(night(&[(-3.7, -4.0)]), Deposit::White);
        // Dew of the evening freezes though the air has dried since.
        assert_eq!(night(&[(1.5, 2.0), (-1.0, -9.0)]), Deposit::White);
        assert_eq!(night(&[(f64::NAN, 2.0)]), Deposit::Dry);
    }
}
