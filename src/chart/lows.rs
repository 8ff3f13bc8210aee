//! The lows of a season: what was foretold, with its spread, and what was measured.

use super::axes::{Axes, Axis};
use super::{Anchor, Drawing};
use crate::units::{Celsius, Kelvins, Scale};

/// One night of the chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Low {
    /// Days since the chart's first night.
    pub day: u32,
    /// Mean and standard deviation of what was foretold.
    pub foretold: Option<(Celsius, Kelvins)>,
    pub measured: Option<Celsius>,
}

/// A date below the chart: days since the first night, and its word.
pub type Mark = (u32, String);

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 300.0;

/// Forecast and thermometer as SVG: a stroke for the middle 80 % of what was foretold, a dot for what was measured. `days` is
/// how many the chart is wide; `id`, of letters and digits, is unique in its page, `words` say what it shows.
pub fn season_of_lows(
    id: &str,
    title: &str,
    words: &str,
    days: u32,
    marks: &[Mark],
    lows: &[Low],
    shown: Scale,
) -> String {
    let degrees = |value: Celsius| match shown {
        Scale::Celsius => value.0,
        Scale::Fahrenheit => value.fahrenheit(),
    };
    let range = |low: &Low| {
        let foretold =
            low.foretold.map(|(mean, spread)| (mean - Kelvins(EIGHTY * spread.0), mean + Kelvins(EIGHTY * spread.0)));
        (foretold, low.measured)
    };
    let finite = |value: &f64| value.is_finite();
    let values: Vec<f64> = lows
        .iter()
        .map(range)
        .flat_map(|(foretold, measured)| [foretold.map(|(low, _)| low), foretold.map(|(_, high)| high), measured])
        .flatten()
        .map(degrees)
        .filter(finite)
        .collect();
    let zero = degrees(Celsius(0.0));
    let low = values.iter().copied().fold(zero - 2.0, f64::min);
    let high = values.iter().copied().fold(zero + 2.0, f64::max);
    let axes = Axes {
        across: Axis { values: (0.0, f64::from(days.max(1))), canvas: (54.0, 352.0) },
        up: Axis { values: (low.floor(), high.ceil()), canvas: (246.0, 28.0) },
        across_name: "",
        up_name: if shown == Scale::Celsius { "low of the night, C" } else { "low of the night, F" },
        written: |value| format!("{value:.0}"),
    };
    let mut drawing = Drawing::new(WIDTH, HEIGHT);
    drawing.text((WIDTH / 2.0, 16.0), Anchor::Middle, title);
    axes.draw_up(&mut drawing);
    for (day, word) in marks {
        let (x, bottom) = axes.at(f64::from(*day), f64::NEG_INFINITY);
        drawing.line((x, bottom), (x, bottom + 5.0), "");
        drawing.text((x + 3.0, bottom + 16.0), Anchor::Start, word);
    }
    let (left, right) = (axes.at(0.0, zero), axes.at(f64::from(days), zero));
    drawing.line(left, right, r#"stroke-dasharray="6 3""#);
    drawing.text((left.0 + 4.0, left.1 - 4.0), Anchor::Start, "freezing");
    for night in lows {
        let (foretold, measured) = range(night);
        if let Some((low, high)) = foretold.filter(|(low, high)| low.0.is_finite() && high.0.is_finite()) {
            let x = f64::from(night.day);
            drawing.line(
                axes.at(x, degrees(low)),
                axes.at(x, degrees(high)),
                r#"stroke-width="1.2" stroke-opacity="0.6""#,
            );
        }
        if let Some(measured) = measured.filter(|measured| measured.0.is_finite()) {
            drawing.circle(axes.at(f64::from(night.day), degrees(measured)), 1.8);
        }
    }
    // The legend shows the marks as they are drawn, and stands in words.
    drawing.line((44.0, 278.0), (44.0, 290.0), r#"stroke-width="1.2" stroke-opacity="0.6""#);
    drawing.text((50.0, 288.0), Anchor::Start, "foretold: 8 in 10 such nights");
    drawing.circle((230.0, 284.0), 1.8);
    drawing.text((237.0, 288.0), Anchor::Start, "measured");
    drawing.finish(id, title, words)
}

/// Standard deviations on either side of the middle 80 % of a normal distribution (standard normal table: 1.2816).
const EIGHTY: f64 = 1.2816;

#[cfg(test)]
mod tests {
    use super::*;

    fn low(day: u32, foretold: Option<(f64, f64)>, measured: Option<f64>) -> Low {
        let foretold = foretold.map(|(mean, spread)| (Celsius(mean), Kelvins(spread)));
        Low { day, foretold, measured: measured.map(Celsius) }
    }

    #[test]
    fn each_night_has_its_stroke_and_its_dot_where_they_are_known() {
        let lows = [low(0, Some((2.0, 1.0)), Some(1.0)), low(5, None, Some(-4.0)), low(9, Some((0.0, 2.0)), None)];
        let svg = season_of_lows("lows", "Lows", "In words.", 10, &[(0, "Jul".into())], &lows, Scale::Celsius);
        // Two nights and the legend, each.
        assert_eq!(svg.matches("<circle").count(), 3);
        assert_eq!(svg.matches(r#"stroke-width="1.2""#).count(), 3);
        assert!(svg.contains(r#"<desc id="lows-description">In words.</desc>"#) && svg.contains(">Jul</text>"));
        // Ten days on 298 units from 54; from -4 to 4 on 218 units from 246.
        assert!(svg.contains(r#"<circle cx="203.0" cy="246.0" r="1.8""#), "{svg}");
        assert!(svg.contains(r#"<circle cx="54.0" cy="109.8" r="1.8""#), "{svg}");
    }

    #[test]
    fn what_is_no_number_is_not_drawn_and_degrees_are_the_garden_s() {
        let lows = [low(0, Some((f64::NAN, 1.0)), Some(f64::NAN))];
        let svg = season_of_lows("lows", "t", "w", 10, &[], &lows, Scale::Fahrenheit);
        assert_eq!(svg.matches("<circle").count(), 1, "the legend's alone");
        assert!(!svg.contains("NaN") && svg.contains("low of the night, F"), "{svg}");
    }
}
