//! A replay in figures: its table of nights, and what stands beside the score.

use super::Foretold;
use crate::score::Threshold;
use std::fmt::Write as _;

/// The columns of [`table_of_nights`].
pub const HEADER: &str =
    "night,predicted_minimum_c,spread_c,observed_minimum_c,chance_below_0c,chance_below_minus2c,chance_below_minus4c";

/// One line a night, temperatures to a hundredth of a degree, chances to four decimals. A chance "below" counts the
/// temperature itself.
pub fn table_of_nights(nights: &[Foretold]) -> String {
    let mut text = format!("{HEADER}\n");
    for night in nights {
        let [zero, two, four] = Threshold::ALL.map(|threshold| night.low.chance_at_or_below(threshold.celsius()).0);
        let (predicted, spread, observed) = (night.low.median().0, night.low.spread.0, night.observed.0);
        let _ = writeln!(text, "{},{predicted:.2},{spread:.2},{observed:.2},{zero:.4},{two:.4},{four:.4}", night.of);
    }
    text
}

/// Nights of its own after which a place is compared with a regression fitted on the same nights.
const TAUGHT_NIGHTS: usize = 60;

/// Mean absolute error beside that of the published regression, on the same nights.
pub fn beside_the_regression(nights: &[Foretold]) -> String {
    let mut text = String::from(
        "\nBeside the regression on air and dew point at dusk (FAO), mean absolute\n\
         error in C on the same nights, known two hours after sunset:\n",
    );
    let mut row = |label: &str, of: &dyn Fn(&Foretold) -> Option<f64>| {
        let pairs: Vec<(f64, f64)> = nights
            .iter()
            .filter_map(|night| Some(((night.low.median() - night.observed).0.abs(), of(night)?)))
            .collect();
        if pairs.is_empty() {
            let _ = writeln!(text, "  {label:<44} too few nights");
            return;
        }
        let mean = |value: fn(&(f64, f64)) -> f64| pairs.iter().map(value).sum::<f64>() / pairs.len() as f64;
        let (own, other) = (mean(|pair| pair.0), mean(|pair| pair.1));
        let change = 100.0 * (own / other - 1.0);
        let _ = writeln!(text, "  {label:<38} n {:>4}  {own:.2} against {other:.2} ({change:+.1} %)", pairs.len());
    };
    row("with coefficients of other places", &|night| Some((night.imported - night.observed).0.abs()));
    row("fitted anew each night, from night 61", &|night| {
        let fit = night.refitted.filter(|_| night.nights_before >= TAUGHT_NIGHTS)?;
        Some((fit - night.observed).0.abs())
    });
    text
}
