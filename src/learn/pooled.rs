//! Figures of several places that have something in common, learned together.

use super::bounded::Pull;
use super::{Figure, Seen};
use crate::units::Kelvins;

/// One place: what is published of it, and what was seen there, one of each night.
pub(super) struct Group<'s> {
    pub published: Figure,
    pub seen: &'s [Seen],
}

/// The learned figures, in the order of the groups.
///
/// ```text
/// figure_j = m_j + p_j (sqrt(r) g + sqrt(1 - r) d_j),   g, d_j ~ N(0, 1)
/// ```
///
/// | symbol     | meaning                                                     | unit | accepted range |
/// |------------|-------------------------------------------------------------|------|----------------|
/// | `m`, `p`   | published figure of a place and its spread                  | K    | p above 0      |
/// | `g`, `d`   | what all places have in common, and what each has alone     | -    |                |
/// | `r`        | common part of the variance                                 | -    | 0 to 1         |
///
/// `g` and all `d_j` are estimated together with the bounded pull of [`Pull`], by reweighted least squares; the errors are
/// those of its card, in several dimensions. A report at one place moves another's figure by at most half of that one's
/// published spread.
///
/// **Method error.** As in [`Pull`]; the iteration ends at 1e-9 (of a spread).
/// **Refuses.** A published figure without a spread comes back as it is.
/// **Source.** D. V. Lindley and A. F. M. Smith, 1972, Bayes Estimates for the Linear Model, J. R. Stat. Soc. B 34, 1-41, for
/// normal errors; from memory, checked against the dense matrices in the tests.
pub(super) fn learn(groups: &[Group<'_>], common: f64) -> Vec<Figure> {
    let common = common.clamp(0.0, 1.0);
    let places: Vec<Place> = groups.iter().map(|group| Place::of(group, common)).collect();
    let mut at = Point { shared: 0.0, own: vec![0.0; places.len()] };
    for _ in 0..500 {
        let next = reweighted(&places, &at);
        let moves = next.own.iter().zip(&at.own).map(|(next, last)| (next - last).abs());
        let farthest = moves.fold((next.shared - at.shared).abs(), f64::max);
        at = next;
        if farthest < 1e-9 {
            break;
        }
    }
    let slopes = Arrow::of(&places, |report| report.pull.a() * report.weight);
    let squares = Arrow::of(&places, |report| report.pull.b() * report.weight);
    let figure = |(index, (group, place)): (usize, (&Group<'_>, &Place))| {
        if !group.published.is_open() {
            return group.published;
        }
        let own = at.own.get(index).copied().unwrap_or(0.0);
        let mean = group.published.mean.0 + place.shared * at.shared + place.own * own;
        let mut of_this = Point { shared: place.shared, own: vec![0.0; places.len()] };
        if let Some(slot) = of_this.own.get_mut(index) {
            *slot = place.own;
        }
        let variance = squares.square(&slopes.solve(&of_this));
        Figure { mean: Kelvins(mean), spread: Kelvins(variance.sqrt()) }
    };
    groups.iter().zip(&places).enumerate().map(figure).collect()
}

/// A report as the equations take it.
struct Report {
    /// Value less the published figure as it showed on that night, K.
    off: f64,
    loading: f64,
    spread: f64,
    pull: Pull,
    /// `x^2/s^2`, 1/K².
    weight: f64,
}

struct Place {
    /// What one unit of the common part, and of its own, adds to its figure, K.
    shared: f64,
    own: f64,
    reports: Vec<Report>,
}

impl Place {
    fn of(group: &Group<'_>, common: f64) -> Place {
        let Figure { mean, spread } = group.published;
        let usable = |seen: &&Seen| group.published.is_open() && seen.value.is_finite() && seen.spread > 0.0;
        let report = |seen: &Seen| Report {
            off: seen.value - seen.loading * mean.0,
            loading: seen.loading,
            spread: seen.spread,
            pull: Pull::of(seen.spread, spread.0),
            weight: (seen.loading / seen.spread).powi(2),
        };
        let reports = group.seen.iter().filter(usable).map(report).collect();
        Place { shared: spread.0 * common.sqrt(), own: spread.0 * (1.0 - common).sqrt(), reports }
    }
}

/// A value of the common part and of each place's own.
struct Point {
    shared: f64,
    own: Vec<f64>,
}

/// One step of reweighted least squares.
fn reweighted(places: &[Place], at: &Point) -> Point {
    let distance = |place: &Place, report: &Report, own: f64| {
        report.off - report.loading * (place.shared * at.shared + place.own * own)
    };
    let mut weighted = Vec::with_capacity(places.len());
    let mut right = Point { shared: 0.0, own: Vec::with_capacity(places.len()) };
    for (place, own) in places.iter().zip(&at.own) {
        let (mut sum, mut pulled) = (0.0, 0.0);
        for report in &place.reports {
            let z = distance(place, report, *own) / report.spread;
            let share = if z == 0.0 { 1.0 } else { report.pull.psi(z) / z };
            sum += share * report.weight;
            pulled += share * report.loading * report.off / (report.spread * report.spread);
        }
        weighted.push((place.shared, place.own, sum));
        right.shared += place.shared * pulled;
        right.own.push(place.own * pulled);
    }
    Arrow::from_weights(&weighted).solve(&right)
}

/// A matrix that is full in its first row, first column and diagonal, and else empty.
struct Arrow {
    corner: f64,
    /// Beside the corner, and on the diagonal, of each place.
    places: Vec<(f64, f64)>,
}

impl Arrow {
    fn of(places: &[Place], weight: impl Fn(&Report) -> f64) -> Arrow {
        let sums: Vec<(f64, f64, f64)> = places
            .iter()
            .map(|place| (place.shared, place.own, place.reports.iter().map(&weight).sum::<f64>()))
            .collect();
        Arrow::from_weights(&sums)
    }

    /// The unit matrix, and for each place with (shared, own, sum of weights) the products of what its figure is made of.
    fn from_weights(places: &[(f64, f64, f64)]) -> Arrow {
        Arrow {
            corner: 1.0 + places.iter().map(|(shared, _, sum)| shared * shared * sum).sum::<f64>(),
            places: places.iter().map(|(shared, own, sum)| (shared * own * sum, 1.0 + own * own * sum)).collect(),
        }
    }

    /// The point whose product with the matrix is `right`. The diagonal is at least 1, so nothing divides by 0.
    fn solve(&self, right: &Point) -> Point {
        let (mut corner, mut first) = (self.corner, right.shared);
        for ((beside, diagonal), right) in self.places.iter().zip(&right.own) {
            corner -= beside * beside / diagonal;
            first -= beside * right / diagonal;
        }
        let shared = first / corner;
        let own = self.places.iter().zip(&right.own);
        Point { shared, own: own.map(|((beside, diagonal), right)| (right - beside * shared) / diagonal).collect() }
    }

    /// The point on both sides of the matrix.
    fn square(&self, at: &Point) -> f64 {
        let own = self.places.iter().zip(&at.own);
        let rest = own.map(|((beside, diagonal), own)| 2.0 * at.shared * beside * own + diagonal * own * own);
        self.corner * at.shared * at.shared + rest.sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::zone::NightOf;

    fn seen(value: f64, spread: f64) -> Seen {
        Seen { night: NightOf(chrono::NaiveDate::default()), value, loading: 1.0, spread }
    }

    fn figure(mean: f64, spread: f64) -> Figure {
        Figure { mean: Kelvins(mean), spread: Kelvins(spread) }
    }

    /// Two places, of published spread 1, half of it in common; one report of spread 3 at the first, near enough to pull in
    /// proportion (corner 1.345). By the normal formula: cov (1, 0.5), gain 1/(1 + 9) and 0.5/(1 + 9).
    #[test]
    fn a_report_near_by_counts_as_in_the_normal_case_and_half_as_much_next_door() {
        let near = [seen(2.0, 3.0)];
        let groups =
            [Group { published: figure(0.0, 1.0), seen: &near }, Group { published: figure(-1.0, 1.0), seen: &[] }];
        let [first, second] = learn(&groups, 0.5)[..] else { panic!("two groups") };
        assert!((first.mean.0 - 0.2).abs() < 1e-8 && (second.mean.0 + 0.9).abs() < 1e-8, "{first:?} {second:?}");
        // A = 1 + a/9, M = 1 + b/9 along the first; of the second the half that is not in common stays.
        let (a, b) = (Pull::of(3.0, 1.0).a() / 9.0, Pull::of(3.0, 1.0).b() / 9.0);
        assert!((first.spread.0.powi(2) - (1.0 + b) / (1.0 + a).powi(2)).abs() < 1e-9, "{first:?}");
        assert!(second.spread.0 < 1.0 && second.spread.0 > first.spread.0);
    }

    #[test]
    fn nothing_in_common_teaches_nothing_next_door_and_everything_teaches_all() {
        let three = [seen(1.0, 1.0), seen(1.2, 1.0), seen(0.8, 1.0)];
        let groups =
            [Group { published: figure(0.0, 1.0), seen: &three }, Group { published: figure(0.0, 1.0), seen: &[] }];
        let [_, apart] = learn(&groups, 0.0)[..] else { panic!("two groups") };
        assert_eq!(apart, figure(0.0, 1.0));
        let [first, second] = learn(&groups, 1.0)[..] else { panic!("two groups") };
        assert!((first.mean.0 - second.mean.0).abs() < 1e-9 && (first.spread.0 - second.spread.0).abs() < 1e-9);
    }

    #[test]
    fn a_figure_without_spread_stays() {
        let one = [seen(1.0, 1.0)];
        for fixed in [figure(0.5, 0.0), figure(0.5, -1.0)] {
            assert_eq!(learn(&[Group { published: fixed, seen: &one }], 0.3), [fixed]);
        }
    }
}
