//! The whole score as plain text of at most 78 columns, without a picture that words do not say too.

use super::brier::{Issued, base_rate, bins, brier, mean_chance, parts, skill};
use super::errors::{Errors, errors};
use super::expense::{Difference, Rule, difference, outcomes};
use super::{Scored, Threshold};
use crate::units::Kelvins;

/// Cost-loss ratios of the table: a cover that costs a twentieth of what it saves, up to one half.
const COST_LOSS: [f64; 4] = [0.05, 0.1, 0.2, 0.5];
/// What careful people add to a forecast of frost.
const MARGIN: Rule = Rule::Margin(Kelvins(2.0));
/// Columns of a bar from 0 to 100 %.
const BAR: usize = 30;

/// The score of some nights, in any order: errors, chances, reliability, and what each rule would have spent.
pub fn table(nights: &[Scored]) -> String {
    let (Some(first), Some(last)) =
        (nights.iter().map(|night| night.night).min(), nights.iter().map(|night| night.night).max())
    else {
        return "No night could be scored.\n".into();
    };
    let count = if nights.len() == 1 { "1 night".into() } else { format!("{} nights", nights.len()) };
    let mut text = format!("Score of {count}, from {first} to {last}\n");
    write_errors(&mut text, nights);
    write_chances(&mut text, nights);
    for threshold in Threshold::ALL {
        write_reliability(&mut text, nights, threshold);
    }
    text.push_str(
        "\nExpense per 100 nights. 1.00 is one planting lost; covering costs the\n\
         cost-loss ratio and is taken to save everything. \"Chance\" covers when the\n\
         chance is above the ratio. A difference has its 95 % interval below it, from\n\
         resampling whole months of nights: ends of one sign are hardly luck. Of\n\
         fewer than eight months there is none.\n",
    );
    for threshold in Threshold::ALL {
        write_expense(&mut text, nights, threshold);
    }
    text
}

fn line(text: &mut String, line: &str) {
    text.push_str(line);
    text.push('\n');
}

/// One row: a label, and cells of equal width.
fn row(text: &mut String, label: &str, cells: impl IntoIterator<Item = String>) {
    let cells: String = cells.into_iter().map(|cell| format!("{cell:>8}")).collect();
    line(text, &format!("  {label:<28}{cells}"));
}

/// A number, or a dash where there is none.
fn or_dash(number: Option<f64>, decimals: usize) -> String {
    // What rounds to nothing has no sign.
    let scale = 10.0_f64.powi(decimals as i32);
    number.map_or("-".into(), |number| format!("{:.decimals$}", (number * scale).round() / scale + 0.0))
}

/// A share in percent, or a dash where there is none.
fn percent(share: Option<f64>) -> String {
    share.map_or("-".into(), |share| format!("{:.1} %", share * 100.0))
}

fn write_errors(text: &mut String, nights: &[Scored]) {
    text.push_str(
        "\nErrors of the predicted minimum, C. Bias: predicted less observed. In 80 %:\n\
         nights inside the central 80 % of what was predicted.\n",
    );
    row(text, "", ["nights", "bias", "MAE", "RMSE", "CRPS", "in 80 %"].map(String::from));
    let mut write = |label: &str, found: Option<Errors>| {
        let Some(found) = found else { return };
        let numbers = [
            found.nights.to_string(),
            format!("{:+.2}", found.bias.0),
            format!("{:.2}", found.mean_absolute.0),
            format!("{:.2}", found.root_mean_square.0),
            format!("{:.2}", found.crps.0),
            percent(Some(found.in_central_80)),
        ];
        row(text, label, numbers);
    };
    write("all nights", errors(nights));
    for (label, class) in [("clear and calm", Some(true)), ("cloud or wind", Some(false)), ("sky not known", None)] {
        let found = errors(nights.iter().filter(|night| night.clear_calm == class));
        // Where the sky is known of no night, this class is all nights, which has been written.
        write(label, found.filter(|found| class.is_some() || found.nights < nights.len()));
    }
}

fn write_chances(text: &mut String, nights: &[Scored]) {
    text.push_str("\nChance of a minimum at or below. In tenths: of chances rounded to tenths.\n");
    row(text, "", Threshold::ALL.map(|threshold| format!("{:.0} C", threshold.celsius().0)));
    let issued =
        Threshold::ALL.map(|threshold| -> Vec<Issued> { nights.iter().map(|night| night.issued(threshold)).collect() });
    let tenths = issued.clone().map(|issued| parts(&issued.iter().map(|one| one.rounded(10)).collect::<Vec<_>>()));
    row(text, "how often it came", issued.each_ref().map(|issued| percent(base_rate(issued))));
    row(text, "mean chance given", issued.each_ref().map(|issued| percent(mean_chance(issued))));
    row(text, "Brier score", issued.each_ref().map(|issued| or_dash(brier(issued), 4)));
    row(text, "skill against how often", issued.each_ref().map(|issued| or_dash(skill(issued), 2)));
    row(text, "reliability, in tenths", tenths.map(|parts| or_dash(parts.map(|parts| parts.reliability), 4)));
    row(text, "resolution, in tenths", tenths.map(|parts| or_dash(parts.map(|parts| parts.resolution), 4)));
    row(text, "uncertainty", tenths.map(|parts| or_dash(parts.map(|parts| parts.uncertainty), 4)));
}

fn write_reliability(text: &mut String, nights: &[Scored], threshold: Threshold) {
    let issued: Vec<Issued> = nights.iter().map(|night| night.issued(threshold)).collect();
    line(
        text,
        &format!(
            "\nReliability, minimum at or below {:.0} C. Bar: it came; I: mean chance given.",
            threshold.celsius().0
        ),
    );
    let scale = format!("0 %{:>1$}", "100 %", BAR - 1);
    line(text, &format!("  {:<14}{:>7}{:>8}{:>8}   {scale}", "chance", "nights", "given", "came"));
    for bin in bins(&issued, 10) {
        let range = format!("{:.0} to {:.0} %", bin.from * 100.0, bin.to * 100.0);
        let given = format!("{:.0} %", bin.mean_chance.0 * 100.0);
        let came = format!("{:.0} %", bin.frequency * 100.0);
        let bar = bar(bin.frequency, bin.mean_chance.0);
        line(text, &format!("  {range:<14}{:>7}{given:>8}{came:>8}   {bar}", bin.nights));
    }
}

/// A bar up to a frequency, with a mark at a chance; both from 0 to 1.
fn bar(frequency: f64, chance: f64) -> String {
    let column = |share: f64| (share * BAR as f64).round().clamp(0.0, BAR as f64) as usize;
    let (end, mark) = (column(frequency), column(chance));
    let drawn: String = (0..=BAR)
        .map(|at| match at {
            at if at == mark => 'I',
            at if at < end => '=',
            _ => ' ',
        })
        .collect();
    drawn.trim_end().to_string()
}

fn write_expense(text: &mut String, nights: &[Scored], threshold: Threshold) {
    line(text, &format!("\n  minimum at or below {:.0} C; cost-loss ratio:", threshold.celsius().0));
    row(text, "", COST_LOSS.map(|cost_loss| format!("{cost_loss:.2}")));
    for (label, rule) in [
        ("never", Rule::Never),
        ("always", Rule::Always),
        ("plain threshold", Rule::Plain),
        ("margin of 2 C", MARGIN),
        ("chance", Rule::Chance),
        ("perfect", Rule::Perfect),
    ] {
        let spent = |cost_loss| outcomes(nights, rule, threshold, cost_loss).expense(cost_loss);
        row(text, label, COST_LOSS.map(|cost_loss| or_dash(spent(cost_loss), 2)));
    }
    let value = |cost_loss| outcomes(nights, Rule::Chance, threshold, cost_loss).value(cost_loss);
    row(text, "value of chance (1: perfect)", COST_LOSS.map(|cost_loss| or_dash(value(cost_loss), 2)));
    for (label, other) in [("plain less chance", Rule::Plain), ("margin less chance", MARGIN)] {
        let found = COST_LOSS.map(|cost_loss| difference(nights, other, Rule::Chance, threshold, cost_loss));
        let cells = |of: fn(Difference) -> Option<f64>| found.map(|found| or_dash(found.and_then(of), 2));
        row(text, label, cells(|difference| Some(difference.mean)));
        row(text, "  at least", cells(|difference| difference.interval.map(|(low, _)| low)));
        row(text, "  at most", cells(|difference| difference.interval.map(|(_, high)| high)));
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::nights;
    use super::*;

    #[test]
    fn the_table_is_narrow_plain_and_holds_every_part() {
        let text = table(&nights(400, 2.0, 9));
        for found in text.lines() {
            assert!(found.len() <= 78 && found.is_ascii() && found.trim_end() == found, "{found:?}");
        }
        assert!(!text.contains("NaN"), "{text}");
        for part in ["all nights", "clear and calm", "cloud or wind", "sky not known", "Brier score", "perfect"] {
            assert!(text.contains(part), "{part} is missing:\n{text}");
        }
        assert_eq!(text.matches("Reliability, minimum").count(), 3);
    }

    #[test]
    fn of_no_nights_it_says_so_and_of_one_it_does_not_fall_over() {
        assert_eq!(table(&[]), "No night could be scored.\n");
        let one = table(&nights(1, 2.0, 9));
        assert!(one.starts_with("Score of 1 night,") && !one.contains("NaN"), "{one}");
    }

    #[test]
    fn a_bar_ends_at_the_frequency_and_marks_the_chance() {
        for (frequency, chance, expected) in [
            (0.0, 0.0, "I".to_string()),
            (0.1, 0.5, format!("==={}I", " ".repeat(12))),
            (1.0, 0.5, format!("{}I{}", "=".repeat(15), "=".repeat(14))),
            (1.0, 1.0, format!("{}I", "=".repeat(30))),
        ] {
            assert_eq!(bar(frequency, chance), expected, "{frequency} {chance}");
        }
    }
}
