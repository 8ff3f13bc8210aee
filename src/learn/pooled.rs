//! Figures of several places that have something in common, learned together.

use super::bounded::Pull;
use super::{Figure, Seen};
use crate::units::Kelvins;
use crate::zone::NightOf;
use std::collections::BTreeMap;

/// One place: what is published of it, and what was seen there, one of each night.
#[derive(Clone, Copy)]
pub(super) struct Group<'s> {
    pub published: Figure,
    pub seen: &'s [Seen],
}

/// The learned figures, in the order of the groups.
///
/// ```text
/// figure_j = m_j + p_j (sqrt(r) g + sqrt(1 - r) d_j),   g, d_j ~ N(0, 1)
/// y_jn     = x figure_j + c_n + e,   c_n ~ N(0, q^2),   e ~ N(0, s^2)
/// ```
///
/// | symbol     | meaning                                                     | unit | accepted range |
/// |------------|-------------------------------------------------------------|------|----------------|
/// | `m`, `p`   | published figure of a place and its spread                  | K    | p above 0      |
/// | `g`, `d`   | what all places have in common, and what each has alone     | -    |                |
/// | `r`        | common part of the variance                                 | -    | 0 to 1         |
/// | `y`, `x`, `s` | what was seen, how much of the figure showed, its own error | K, -, K | s above 0 |
/// | `c`, `q`   | error that all reports of a night share, and its spread     | K    | q 0 and above  |
///
/// `g`, all `d_j` and all `c_n` are estimated together with the bounded pull of [`Pull`], by reweighted least squares. Its
/// corner is that of the widest published spread, the same for the reports of a night and for what they share: the pulls of
/// a night then sum up to that of its `c_n`, so that neither one report of a place nor one that stands in all of a night
/// (the thermometer that all places are compared with) moves a figure by more than half of that one's published spread.
///
/// The errors are those of the card of [`Pull`], in several dimensions; a night counts as its mean, of spread
/// `sqrt(q^2 + 1/sum(1/s^2))`, and as what its reports differ by from that mean, of spread `s`.
///
/// **Method error.** As in [`Pull`]; the iteration ends at 1e-9 (of a spread).
/// **Refuses.** A published figure without a spread comes back as it is.
/// **Source.** D. V. Lindley and A. F. M. Smith, 1972, Bayes Estimates for the Linear Model, J. R. Stat. Soc. B 34, 1-41, for
/// normal errors; from memory, checked against the dense matrices in the tests.
pub(super) fn learn(groups: &[Group<'_>], common: f64, of_night: f64) -> Vec<Figure> {
    let common = common.clamp(0.0, 1.0);
    let widest = groups.iter().filter(|group| group.published.is_open()).map(|group| group.published.spread.0);
    let widest = widest.fold(0.0, f64::max);
    let mut nights: BTreeMap<NightOf, Night> = BTreeMap::new();
    // The places that were seen are the unknowns after `g`; of the others only `g` is learned.
    let mut number = 0;
    let places: Vec<Place> = groups
        .iter()
        .map(|group| {
            let Figure { mean, spread } = group.published;
            let mut place =
                Place { shared: spread.0 * common.sqrt(), own: spread.0 * (1.0 - common).sqrt(), number: None };
            let usable = |seen: &&Seen| group.published.is_open() && seen.value.is_finite() && seen.spread > 0.0;
            for seen in group.seen.iter().filter(usable) {
                let of = *place.number.get_or_insert_with(|| {
                    number += 1;
                    number
                });
                let report = Report {
                    off: seen.value - seen.loading * mean.0,
                    row: Row { shared: seen.loading * place.shared, of, own: seen.loading * place.own },
                    spread: seen.spread,
                    pull: Pull::of(seen.spread, widest),
                };
                let night = nights.entry(seen.night).or_insert_with(|| Night {
                    reports: Vec::new(),
                    spread: of_night,
                    pull: Pull::of(of_night, widest),
                });
                night.reports.push(report);
            }
            place
        })
        .collect();
    let nights: Vec<Night> = nights.into_values().collect();
    let at = settle(&nights, number + 1);
    let counted = |part: fn(Pull) -> f64| nights.iter().map(|night| night.counted(part)).collect::<Vec<_>>();
    let slopes = Matrix::of(&nights, &counted(Pull::a), number + 1);
    let squares = counted(Pull::b);
    let figure = |(group, place): (&Group<'_>, &Place)| {
        if !group.published.is_open() {
            return group.published;
        }
        let row =
            Row { shared: place.shared, of: place.number.unwrap_or(0), own: place.number.map_or(0.0, |_| place.own) };
        let moved = row.times(&at);
        let solved = slopes.solve(&row.dense(number + 1));
        let of_nights = nights.iter().zip(&squares).map(|(night, square)| night.square(square, &solved));
        let variance = solved.iter().map(|part| part * part).sum::<f64>() + of_nights.sum::<f64>();
        // What nobody saw of a place stays as wide as it was.
        let unseen = if place.number.is_some() { 0.0 } else { place.own };
        Figure { mean: Kelvins(group.published.mean.0 + moved), spread: Kelvins(variance.sqrt().hypot(unseen)) }
    };
    groups.iter().zip(&places).map(figure).collect()
}

/// The unknowns at which all pulls hold the balance.
fn settle(nights: &[Night], unknowns: usize) -> Vec<f64> {
    let (mut at, mut errors) = (vec![0.0; unknowns], vec![0.0; nights.len()]);
    for _ in 0..500 {
        let counted: Vec<Counted> =
            nights.iter().zip(&errors).map(|(night, error)| night.reweighted(&at, *error)).collect();
        let mut right = vec![0.0; unknowns];
        for (night, counted) in nights.iter().zip(&counted) {
            night.add_right(counted, &mut right);
        }
        let next = Matrix::of(nights, &counted, unknowns).solve(&right);
        let next_errors: Vec<f64> =
            nights.iter().zip(&counted).map(|(night, counted)| night.error(counted, &next)).collect();
        let moves = next.iter().zip(&at).chain(next_errors.iter().zip(&errors)).map(|(next, last)| (next - last).abs());
        let farthest = moves.fold(0.0, f64::max);
        (at, errors) = (next, next_errors);
        if farthest < 1e-9 {
            break;
        }
    }
    at
}

struct Place {
    /// What one unit of the common part, and of its own, adds to its figure, K.
    shared: f64,
    own: f64,
    /// Which of the unknowns is its own; none where nothing was seen.
    number: Option<usize>,
}

/// What one unit of the unknowns adds to something, K: of the common one, and of that of a place.
#[derive(Clone, Copy)]
struct Row {
    shared: f64,
    of: usize,
    own: f64,
}

impl Row {
    fn parts(self) -> [(usize, f64); 2] {
        [(0, self.shared), (self.of, self.own)]
    }

    fn times(self, at: &[f64]) -> f64 {
        times(&self.parts(), at)
    }

    fn dense(self, unknowns: usize) -> Vec<f64> {
        let mut dense = vec![0.0; unknowns];
        add(&mut dense, &self.parts(), 1.0);
        dense
    }
}

/// The product of a row, by its parts, with the unknowns.
fn times(row: &[(usize, f64)], at: &[f64]) -> f64 {
    row.iter().map(|(number, part)| part * at.get(*number).copied().unwrap_or(0.0)).sum()
}

fn add(to: &mut [f64], row: &[(usize, f64)], times: f64) {
    for (number, part) in row {
        if let Some(slot) = to.get_mut(*number) {
            *slot += times * part;
        }
    }
}

/// A report as the equations take it.
struct Report {
    /// Value less the published figure as it showed on that night, K.
    off: f64,
    row: Row,
    spread: f64,
    pull: Pull,
}

/// The reports of one night.
struct Night {
    reports: Vec<Report>,
    /// Spread of what they share, K, and its pull.
    spread: f64,
    pull: Pull,
}

/// How far the reports of a night count.
struct Counted {
    /// Each, by its distance from what all share, 1/K².
    each: Vec<f64>,
    /// Their mean beyond that, 1/K²: below 0 where they share an error, for then it says less than they would apart.
    mean: f64,
    /// The part of the mean's distance that is taken for what they share, 0 to 1.
    shared: f64,
}

impl Night {
    /// As at one step of reweighted least squares.
    fn reweighted(&self, at: &[f64], error: f64) -> Counted {
        let share = |pull: Pull, z: f64| if z == 0.0 { 1.0 } else { pull.psi(z) / z };
        let each = |report: &Report| {
            let z = (report.off - report.row.times(at) - error) / report.spread;
            share(report.pull, z) / (report.spread * report.spread)
        };
        let each: Vec<f64> = self.reports.iter().map(each).collect();
        let of_shared = self.spread * self.spread / share(self.pull, error / self.spread);
        self.with(each, 1.0, if self.spread > 0.0 { of_shared } else { 0.0 })
    }

    /// As mean slope or mean square have it.
    fn counted(&self, part: fn(Pull) -> f64) -> Counted {
        let whole = self.reports.iter().map(|report| 1.0 / (report.spread * report.spread));
        let spread = self.spread.hypot((1.0 / whole.sum::<f64>()).sqrt());
        // The mean pulls as hard as what the reports share, or as all of them.
        let hardest = self.reports.iter().map(|report| report.pull.corner() / report.spread).sum::<f64>();
        let hardest = if self.spread > 0.0 { hardest.min(self.pull.corner() / self.spread) } else { hardest };
        let each = self.reports.iter().map(|report| part(report.pull) / (report.spread * report.spread));
        let of_mean = part(Pull::with_corner(spread * hardest));
        self.with(each.collect(), of_mean, self.spread * self.spread)
    }

    fn with(&self, each: Vec<f64>, of_mean: f64, variance: f64) -> Counted {
        if self.spread <= 0.0 {
            return Counted { each, mean: 0.0, shared: 0.0 };
        }
        let sum: f64 = each.iter().sum();
        let whole: f64 = 1.0 / sum;
        Counted { each, mean: of_mean / (whole + variance) - sum, shared: variance / (whole + variance) }
    }

    /// The mean of the reports as they count: its distance, and what one unit of the unknowns adds to it.
    fn mean(&self, counted: &Counted) -> (f64, Vec<(usize, f64)>) {
        let sum: f64 = counted.each.iter().sum();
        let (mut off, mut shared) = (0.0, 0.0);
        let mut row = vec![(0, 0.0)];
        for (report, weight) in self.reports.iter().zip(&counted.each) {
            off += weight / sum * report.off;
            shared += weight / sum * report.row.shared;
            row.push((report.row.of, weight / sum * report.row.own));
        }
        row[0].1 = shared;
        (off, row)
    }

    fn add_right(&self, counted: &Counted, right: &mut [f64]) {
        for (report, weight) in self.reports.iter().zip(&counted.each) {
            add(right, &report.row.parts(), weight * report.off);
        }
        let (off, row) = self.mean(counted);
        add(right, &row, counted.mean * off);
    }

    /// What the reports share, K.
    fn error(&self, counted: &Counted, at: &[f64]) -> f64 {
        let (off, row) = self.mean(counted);
        counted.shared * (off - times(&row, at))
    }

    /// Its part of the product of a point with the matrix and itself.
    fn square(&self, counted: &Counted, at: &[f64]) -> f64 {
        let each = self.reports.iter().zip(&counted.each);
        let each: f64 = each.map(|(report, weight)| weight * report.row.times(at).powi(2)).sum();
        each + counted.mean * times(&self.mean(counted).1, at).powi(2)
    }
}

/// A symmetric matrix without a diagonal element below 1, as its factor after Cholesky: row by row, up to the diagonal.
struct Matrix(Vec<Vec<f64>>);

impl Matrix {
    /// The unit matrix, and for each night the products of what its reports are made of, as far as they count.
    fn of(nights: &[Night], counted: &[Counted], unknowns: usize) -> Matrix {
        let mut rows: Vec<Vec<f64>> = (0..unknowns).map(|row| vec![0.0; row + 1]).collect();
        let mut product = |parts: &[(usize, f64)], weight: f64| {
            for (row, part) in parts {
                let Some(row_of) = rows.get_mut(*row) else { continue };
                for (column, other) in parts.iter().filter(|(column, _)| column <= row) {
                    if let Some(slot) = row_of.get_mut(*column) {
                        *slot += weight * part * other;
                    }
                }
            }
        };
        for number in 0..unknowns {
            product(&[(number, 1.0)], 1.0);
        }
        for (night, counted) in nights.iter().zip(counted) {
            for (report, weight) in night.reports.iter().zip(&counted.each) {
                product(&report.row.parts(), *weight);
            }
            if counted.mean != 0.0 {
                product(&night.mean(counted).1, counted.mean);
            }
        }
        for row in 0..unknowns {
            let (above, rest) = rows.split_at_mut(row);
            let Some(this) = rest.first_mut() else { break };
            for column in 0..=row {
                let other = above.get(column).map_or(&this[..], Vec::as_slice);
                let sum: f64 = this[..column].iter().zip(other).map(|(a, b)| a * b).sum();
                this[column] = match column == row {
                    true => (this[column] - sum).sqrt(),
                    false => (this[column] - sum) / other[column],
                };
            }
        }
        Matrix(rows)
    }

    /// The point whose product with the matrix is `right`.
    fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut at = right.to_vec();
        for (number, row) in self.0.iter().enumerate() {
            let sum: f64 = row[..number].iter().zip(&at).map(|(a, b)| a * b).sum();
            at[number] = (at[number] - sum) / row[number];
        }
        for (number, row) in self.0.iter().enumerate().rev() {
            at[number] /= row[number];
            let here = at[number];
            for (slot, part) in at.iter_mut().zip(&row[..number]) {
                *slot -= part * here;
            }
        }
        at
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::zone::NightOf;

    fn seen(value: f64, spread: f64) -> Seen {
        on(0, value, spread)
    }

    fn on(day: u64, value: f64, spread: f64) -> Seen {
        Seen { night: NightOf(chrono::NaiveDate::default() + chrono::Days::new(day)), value, loading: 1.0, spread }
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
        let [first, second] = learn(&groups, 0.5, 0.0)[..] else { panic!("two groups") };
        assert!((first.mean.0 - 0.2).abs() < 1e-8 && (second.mean.0 + 0.9).abs() < 1e-8, "{first:?} {second:?}");
        // A = 1 + a/9, M = 1 + b/9 along the first; of the second the half that is not in common stays.
        let (a, b) = (Pull::of(3.0, 1.0).a() / 9.0, Pull::of(3.0, 1.0).b() / 9.0);
        assert!((first.spread.0.powi(2) - (1.0 + b) / (1.0 + a).powi(2)).abs() < 1e-9, "{first:?}");
        assert!(second.spread.0 < 1.0 && second.spread.0 > first.spread.0);
    }

    #[test]
    fn nothing_in_common_teaches_nothing_next_door_and_everything_teaches_all() {
        let three = [on(0, 1.0, 1.0), on(1, 1.2, 1.0), on(2, 0.8, 1.0)];
        let groups =
            [Group { published: figure(0.0, 1.0), seen: &three }, Group { published: figure(0.0, 1.0), seen: &[] }];
        let [_, apart] = learn(&groups, 0.0, 0.0)[..] else { panic!("two groups") };
        assert_eq!(apart, figure(0.0, 1.0));
        let [first, second] = learn(&groups, 1.0, 0.0)[..] else { panic!("two groups") };
        assert!((first.mean.0 - second.mean.0).abs() < 1e-9 && (first.spread.0 - second.spread.0).abs() < 1e-9);
    }

    #[test]
    fn a_figure_without_spread_stays() {
        let one = [seen(1.0, 1.0)];
        for fixed in [figure(0.5, 0.0), figure(0.5, -1.0)] {
            assert_eq!(learn(&[Group { published: fixed, seen: &one }], 0.3, 0.6), [fixed]);
        }
    }

    /// Ten places read beside one screen that was 1.5 K too warm, and an eleventh that nobody read. Had their errors nothing
    /// in common, each would have moved by 0.8 K.
    #[test]
    fn one_look_at_the_screen_moves_no_place_by_more_than_half_its_spread() {
        for (spreads, off) in
            [([0.5; 11], -1.5), ([0.5; 11], -40.0), ([0.5, 0.8, 0.7, 1.0, 0.5, 0.7, 0.8, 1.0, 0.5, 0.4, 0.7], 3.0)]
        {
            let read = [seen(off, 0.636)];
            let groups = spreads.map(|spread| Group { published: figure(0.0, spread), seen: &read });
            let [_, rest @ ..] = groups;
            let unread = Group { published: figure(0.0, spreads[0]), seen: &[] };
            let mut farthest = 0.0_f64;
            for (learned, spread) in learn(&[[unread].as_slice(), &rest].concat(), 0.3, 0.636).iter().zip(spreads) {
                farthest = farthest.max(learned.mean.0.abs() / spread);
            }
            assert!((0.1..=0.5 + 1e-9).contains(&farthest), "{off}: {farthest} spreads");
        }
    }

    /// By the normal formula with dense matrices, solved apart from this code (numpy): reports of two places in two nights,
    /// all near by, their errors in part common to a night.
    #[test]
    fn reports_near_by_count_as_in_the_normal_case() {
        let (first, second) = ([on(0, 0.3, 2.0), on(1, 0.1, 2.0)], [on(0, 0.2, 2.0)]);
        let groups =
            [Group { published: figure(0.0, 1.0), seen: &first }, Group { published: figure(0.0, 0.5), seen: &second }];
        let [one, other] = learn(&groups, 0.5, 1.5)[..] else { panic!("two groups") };
        assert!(
            (one.mean.0 - 0.047045858).abs() < 1e-8 && (other.mean.0 - 0.014999194).abs() < 1e-8,
            "{one:?} {other:?}"
        );
    }
}
