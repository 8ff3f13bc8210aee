//! Reliability diagram: the chance that was given against how often it came. Honest chances lie on the diagonal.

use super::axes::{Axes, Axis};
use super::{Anchor, Drawing};
use crate::units::Probability;

/// Nights to which about the same chance was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Group {
    pub nights: usize,
    pub mean_chance: Probability,
    /// How often it came, 0 to 1.
    pub frequency: f64,
}

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 374.0;

/// The diagram as SVG. `title` names in a few words what may come; `id`, of letters and digits, is unique in its page.
///
/// Each marker has the area and the number of its nights. A group whose values are no numbers from 0 to 1 is named in the
/// description alone.
pub fn reliability_diagram(id: &str, title: &str, groups: &[Group]) -> String {
    let axes = Axes {
        across: Axis { values: (0.0, 1.0), canvas: (54.0, 338.0) },
        up: Axis { values: (0.0, 1.0), canvas: (312.0, 28.0) },
        across_name: "mean chance given",
        up_name: "how often it came",
        written: |share| format!("{:.0} %", share * 100.0),
    };
    let mut drawing = Drawing::new(WIDTH, HEIGHT);
    drawing.text((WIDTH / 2.0, 16.0), Anchor::Middle, title);
    axes.draw(&mut drawing);
    drawing.text((WIDTH / 2.0, HEIGHT - 8.0), Anchor::Middle, "number at a mark: nights; dashes: honest chances");
    drawing.line(axes.at(0.0, 0.0), axes.at(1.0, 1.0), r#"stroke-dasharray="5 4""#);
    let most = groups.iter().map(|group| group.nights).max().unwrap_or(1).max(1);
    let is_shown = |group: &&Group| {
        (0.0..=1.0).contains(&group.mean_chance.0) && (0.0..=1.0).contains(&group.frequency) && group.nights > 0
    };
    for group in groups.iter().filter(is_shown) {
        let (x, y) = axes.at(group.mean_chance.0, group.frequency);
        let radius = (9.0 * (group.nights as f64 / most as f64).sqrt()).max(2.5);
        drawing.circle((x, y), radius);
        // The number stands on the side away from the diagonal, and within the frame.
        let is_above = group.frequency > group.mean_chance.0;
        let (side, anchor) = match (is_above, x > 306.0, x < 90.0) {
            (true, _, false) => ((x - radius - 3.0, y + 4.0), Anchor::End),
            (false, true, _) => ((x, y + radius + 12.0), Anchor::Middle),
            _ => ((x + radius + 3.0, y + 4.0), Anchor::Start),
        };
        drawing.text(side, anchor, &group.nights.to_string());
    }
    drawing.finish(id, title, &in_words(groups))
}

/// What the diagram shows, for whoever does not see it.
fn in_words(groups: &[Group]) -> String {
    if groups.is_empty() {
        return "No night to show.".into();
    }
    let mut words = "Chance given against how often it came; honest chances are equal to it.".to_string();
    for group in groups {
        let nights = if group.nights == 1 { "night" } else { "nights" };
        let came = group.frequency * 100.0;
        let given = group.mean_chance.percent();
        words.push_str(&format!(" Chance {given}: it came in {came:.0} % of {} {nights}.", group.nights));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn group(nights: usize, chance: f64, frequency: f64) -> Group {
        Group { nights, mean_chance: Probability(chance), frequency }
    }

    #[test]
    fn every_group_is_drawn_numbered_and_told_in_words() {
        let svg = reliability_diagram("r0", "0 C & colder", &[group(120, 0.031, 0.02), group(7, 0.55, 0.71)]);
        assert_eq!(svg.matches("<circle").count(), 2);
        assert!(svg.contains(">120</text>") && svg.contains(">7</text>"));
        assert!(svg.contains("Chance 3 %: it came in 2 % of 120 nights. Chance 55 %: it came in 71 % of 7 nights."));
        assert!(svg.contains("0 C &amp; colder"));
        assert!(svg.contains(r#"aria-labelledby="r0-title r0-description""#));
    }

    #[test]
    fn areas_are_as_the_nights_and_markers_stand_where_their_values_are() {
        let svg = reliability_diagram("r", "t", &[group(100, 0.0, 0.0), group(25, 1.0, 0.5)]);
        assert!(svg.contains(r#"<circle cx="54.0" cy="312.0" r="9.0""#), "{svg}");
        assert!(svg.contains(r#"<circle cx="338.0" cy="170.0" r="4.5""#), "{svg}");
    }

    #[test]
    fn what_is_no_number_is_not_drawn_and_nothing_is_said_to_be_nothing() {
        let svg = reliability_diagram("r", "t", &[group(3, f64::NAN, 0.5), group(3, 0.5, f64::NAN)]);
        assert!(!svg.contains("<circle") && svg.contains("NaN % of 3 nights"), "{svg}");
        assert!(reliability_diagram("r", "t", &[]).contains("No night to show."));
    }

    #[test]
    fn no_colour_is_fixed() {
        let svg = reliability_diagram("r", "t", &[group(3, 0.5, 0.5)]);
        let fills = svg.matches("fill=").count() + svg.matches("stroke=").count();
        let plain = ["fill=\"none\"", "fill=\"currentColor\"", "stroke=\"none\"", "stroke=\"currentColor\""];
        assert_eq!(fills, plain.iter().map(|plain| svg.matches(plain).count()).sum::<usize>());
    }
}
