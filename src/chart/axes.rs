//! The frame of a chart: where values stand on the canvas, round numbers beside it, and lines across it.

use super::{Anchor, Drawing};

/// One direction of a chart: values, and where they stand on the canvas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Axis {
    /// Values at the ends, not equal.
    pub values: (f64, f64),
    /// Where they stand.
    pub canvas: (f64, f64),
}

impl Axis {
    /// Where a value stands; one beyond the ends stands at the end.
    pub(super) fn at(&self, value: f64) -> f64 {
        let share = ((value - self.values.0) / (self.values.1 - self.values.0)).clamp(0.0, 1.0);
        self.canvas.0 + share * (self.canvas.1 - self.canvas.0)
    }

    /// Round values along the axis: steps of 1, 2 or 5 times a power of ten, as many as come nearest to `about` without
    /// being more.
    pub(super) fn ticks(&self, about: u32) -> Vec<f64> {
        let (low, high) = (self.values.0.min(self.values.1), self.values.0.max(self.values.1));
        let least = (high - low) / f64::from(about.max(1));
        let power = 10.0_f64.powf(least.log10().floor());
        let step =
            [1.0, 2.0, 5.0, 10.0].map(|times| times * power).into_iter().find(|step| *step >= least * (1.0 - 1e-9));
        let Some(step) = step.filter(|step| step.is_finite() && *step > 0.0) else { return Vec::new() };
        let first = (low / step - 1e-9).ceil();
        (0..=about).map(|n| (first + f64::from(n)) * step).filter(|tick| *tick <= high + 1e-9 * step).collect()
    }
}

/// Two axes with their names, and how their values are written.
pub(super) struct Axes<'a> {
    pub across: Axis,
    pub up: Axis,
    pub across_name: &'a str,
    pub up_name: &'a str,
    pub written: fn(f64) -> String,
}

/// Lines that help the eye and are no part of what is shown.
const FAINT: &str = r#"stroke-width="0.5" stroke-opacity="0.4""#;

impl Axes<'_> {
    /// Draws lines across at round values, the values beside them and the names of the axes.
    pub(super) fn draw(&self, drawing: &mut Drawing) {
        let ((left, right), (bottom, top)) = (self.across.canvas, self.up.canvas);
        for value in self.across.ticks(5) {
            let x = self.across.at(value);
            drawing.line((x, bottom), (x, top), FAINT);
            drawing.text((x, bottom + 16.0), Anchor::Middle, &(self.written)(value));
        }
        drawing.text((0.5 * (left + right), bottom + 34.0), Anchor::Middle, self.across_name);
        self.draw_up(drawing);
    }

    /// The same of the upright axis alone.
    pub(super) fn draw_up(&self, drawing: &mut Drawing) {
        let ((left, right), (bottom, top)) = (self.across.canvas, self.up.canvas);
        for value in self.up.ticks(5) {
            let y = self.up.at(value);
            drawing.line((left, y), (right, y), FAINT);
            drawing.text((left - 6.0, y + 4.0), Anchor::End, &(self.written)(value));
        }
        drawing.text_upwards((left - 42.0, 0.5 * (bottom + top)), self.up_name);
    }

    /// Where a pair of values stands.
    pub(super) fn at(&self, across: f64, up: f64) -> (f64, f64) {
        (self.across.at(across), self.up.at(up))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_within_the_ends() {
        for (values, about, expected) in [
            ((0.0, 1.0), 5, vec![0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
            ((0.0, 1.0), 4, vec![0.0, 0.5, 1.0]),
            ((-7.3, 4.1), 6, vec![-6.0, -4.0, -2.0, 0.0, 2.0, 4.0]),
            ((4.1, -7.3), 6, vec![-6.0, -4.0, -2.0, 0.0, 2.0, 4.0]),
            ((0.0, 1200.0), 5, vec![0.0, 500.0, 1000.0]),
            ((2.0, 2.0), 5, vec![]),
            ((0.0, f64::NAN), 5, vec![]),
        ] {
            let found = Axis { values, canvas: (0.0, 100.0) }.ticks(about);
            assert_eq!(found.len(), expected.len(), "{values:?}: {found:?}");
            for (found, expected) in found.iter().zip(&expected) {
                assert!((found - expected).abs() < 1e-9, "{values:?}: {found} {expected}");
            }
        }
    }

    #[test]
    fn a_value_stands_between_the_ends_also_where_the_canvas_counts_down() {
        let up = Axis { values: (0.0, 2.0), canvas: (300.0, 100.0) };
        for (value, expected) in [(0.0, 300.0), (0.5, 250.0), (2.0, 100.0), (3.0, 100.0), (-1.0, 300.0)] {
            assert_eq!(up.at(value), expected, "{value}");
        }
    }
}
