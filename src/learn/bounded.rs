//! How far one report may pull: in proportion to its distance when it is near, and no farther when it is far.

use crate::night::dose::{normal_cdf, normal_density};

/// Beyond this many standard deviations a report pulls no harder even where it might: 95 % of the precision of a mean is
/// kept where errors are normal (Huber 1964).
const HUBER: f64 = 1.345;

/// The pull of a report, with corner `c`.
///
/// ```text
/// psi(z) = max(-c, min(c, z)),   a = E psi'(Z) = 2 Phi(c) - 1,   b = E psi(Z)^2 = a - 2 c phi(c) + c^2 (1 - a)
///
/// estimate   sum_i x_i psi((y_i - x_i t) / s_i) / s_i = (t - t_0) / p^2
/// its error  V = (1/p^2 + sum_i b_i x_i^2/s_i^2) / (1/p^2 + sum_i a_i x_i^2/s_i^2)^2
/// corner     c_i = min(1.345, s_i / 2p)
/// ```
///
/// | symbol     | meaning                                                       | unit | accepted range |
/// |------------|---------------------------------------------------------------|------|----------------|
/// | `y`, `x`   | what was seen, and how much of the figure showed in it        | K, - | x 0 to 1       |
/// | `s`        | standard deviation of a report about the figure               | K    | above 0        |
/// | `t_0`, `p` | published figure and its spread                               | K    | p above 0      |
/// | `Z`        | standard normal                                               | -    |                |
///
/// With that corner no report, whatever it says and whatever else was seen, moves the estimate by more than `p/2`: it
/// pulls by at most `1/2p`, and the published figure alone holds with `1/p^2`. `V` is the mean squared error over truths
/// drawn as published and reports drawn as stated, to first order; without reports it is `p^2`, and each report like the
/// others makes it smaller, because `b <= a`.
///
/// **Method error.** The 80 % interval holds the truth in 77 to 83 % of cases (`tests/learning.rs` prints them). Beside the
/// best use of 30 normal reports, of spread `p/2` or more, the error is at most a quarter larger
/// (`little_is_lost_by_the_bound`).
/// **Refuses.** A spread that is no number above 0 leaves the corner at 0: such a report pulls nowhere.
/// **Source.** P. J. Huber, 1964, Robust Estimation of a Location Parameter, Ann. Math. Statist. 35, 73-101,
/// doi:10.1214/aoms/1177703732; the published figure as a further report is ours.
/// **Check.** Huber's asymptotic variance at c = 1.345 is 1/0.95 of the mean's:
///
/// ```
/// # use counterpane::learn::bounded::Pull;
/// let pull = Pull::with_corner(1.345);
/// assert!((pull.a() * pull.a() / pull.b() - 0.95).abs() < 5e-4);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pull {
    corner: f64,
}

impl Pull {
    /// A corner of one's own, 0 and above; infinite for a report that pulls without bound.
    pub fn with_corner(corner: f64) -> Pull {
        Pull { corner: if corner >= 0.0 { corner } else { 0.0 } }
    }

    /// That of a report of this spread on a figure of that published spread.
    pub fn of(spread: f64, published: f64) -> Pull {
        let corner = spread / (2.0 * published);
        Pull::with_corner(if corner > HUBER { HUBER } else { corner })
    }

    /// Beyond how many standard deviations it pulls no harder.
    pub(super) fn corner(self) -> f64 {
        self.corner
    }

    /// The pull of a report that lies `z` standard deviations off.
    pub fn psi(self, z: f64) -> f64 {
        z.clamp(-self.corner, self.corner)
    }

    /// Mean slope: how much a report counts of one without bound.
    pub fn a(self) -> f64 {
        2.0 * normal_cdf(self.corner).0 - 1.0
    }

    /// Mean square: how much of the reports' scatter comes through.
    pub fn b(self) -> f64 {
        self.b_of(self.a())
    }

    /// The mean square, where the mean slope is at hand.
    pub(super) fn b_of(self, a: f64) -> f64 {
        if self.corner.is_infinite() {
            return 1.0;
        }
        a - 2.0 * self.corner * normal_density(self.corner) + self.corner * self.corner * (1.0 - a)
    }
}

/// The pulls on an estimate, that of the published figure among them, and their mean slope and mean square.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Balance {
    pub pull: f64,
    pub slope: f64,
    pub square: f64,
}

impl Balance {
    /// Adds the pull of a report that counts so far.
    pub(super) fn add(&mut self, other: Balance, share: f64) {
        self.pull += share * other.pull;
        self.slope += share * other.slope;
        self.square += share * other.square;
    }

    /// Standard deviation of the estimate's error, as `V` of [`Pull`].
    pub(super) fn spread(&self) -> f64 {
        self.square.sqrt() / self.slope
    }
}

/// Where the pulls hold the balance, which they do between two limits, and the balance there.
pub(super) fn settle((mut low, mut high): (f64, f64), at: impl Fn(f64) -> Balance) -> (f64, Balance) {
    let mut here = 0.5 * (low + high);
    let mut balance = at(here);
    for _ in 0..60 {
        if balance.pull > 0.0 {
            low = here;
        } else {
            high = here;
        }
        // Newton's step with the mean slope where it stays between what is known, else the middle.
        let step = here + balance.pull / balance.slope;
        let next = if step > low && step < high { step } else { 0.5 * (low + high) };
        let moved = (next - here).abs();
        here = next;
        balance = at(here);
        if moved < 1e-8 {
            break;
        }
    }
    (here, balance)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn little_is_lost_by_the_bound() {
        for tenths in 5..60 {
            let spread = f64::from(tenths) / 10.0;
            let (pull, reports) = (Pull::of(spread, 1.0), 30.0 / (spread * spread));
            let bounded = (1.0 + pull.b() * reports).sqrt() / (1.0 + pull.a() * reports);
            let lost = bounded * (1.0 + reports).sqrt() - 1.0;
            assert!((0.0..0.25).contains(&lost), "{spread}: {lost}");
        }
    }

    #[test]
    fn slope_and_square_are_their_integrals() {
        for corner in [0.1, 0.4, 1.0, 1.345, 3.0] {
            let pull = Pull::with_corner(corner);
            let (mut a, mut b) = (0.0, 0.0);
            for step in -40_000..40_000 {
                let z = (f64::from(step) + 0.5) * 2e-4;
                a += if z.abs() < corner { normal_density(z) * 2e-4 } else { 0.0 };
                b += pull.psi(z).powi(2) * normal_density(z) * 2e-4;
            }
            assert!((a - pull.a()).abs() < 1e-4 && (b - pull.b()).abs() < 1e-6, "{corner}: {a} {b} and {pull:?}");
            assert!(pull.b() <= pull.a());
        }
        let free = Pull::with_corner(f64::INFINITY);
        assert_eq!((free.a(), free.b(), free.psi(7.0)), (1.0, 1.0, 7.0));
        assert_eq!((Pull::of(f64::NAN, 1.0).psi(3.0), Pull::of(-1.0, 1.0).psi(3.0)), (0.0, 0.0));
        assert_eq!(Pull::with_corner(f64::NAN).psi(3.0), 0.0);
    }
}
