//! Bars, one below the other, each with up to three parts that differ by their pattern.

use super::{Anchor, Drawing};

/// One bar: its name, and its parts from the left, each 0 or more.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    pub name: String,
    pub parts: [f64; 3],
    /// What stands behind it.
    pub total: String,
}

const WIDTH: f64 = 360.0;
/// Room for names, and for what stands behind a bar.
const NAMES: f64 = 78.0;
const TOTALS: f64 = 52.0;
const ROW: f64 = 22.0;

/// How a part is filled: solid, stripes, outline alone.
const FILLS: [fn(&str) -> String; 3] =
    [|_| r#"fill="currentColor""#.into(), |id| format!(r##"fill="url(#{id}-stripes)""##), |_| r#"fill="none""#.into()];

/// The bars as SVG. `parts` names the three patterns; `id`, of letters and digits, is unique in its page, `words` say what it
/// shows.
pub fn bars(id: &str, title: &str, words: &str, parts: [&str; 3], bars: &[Bar]) -> String {
    let height = 58.0 + ROW * bars.len() as f64 + 54.0;
    let mut drawing = Drawing::new(WIDTH, height);
    let stripes = format!(
        r#"<defs><pattern id="{id}-stripes" width="5" height="5" patternUnits="userSpaceOnUse"><path d="M0 5L5 0" stroke-width="1.2"/></pattern></defs>"#
    );
    drawing.add(&stripes);
    drawing.text((WIDTH / 2.0, 16.0), Anchor::Middle, title);
    let whole = |bar: &Bar| bar.parts.iter().filter(|part| part.is_finite()).sum::<f64>();
    let most = bars.iter().map(whole).fold(0.0, f64::max);
    let scale = if most > 0.0 { (WIDTH - NAMES - TOTALS) / most } else { 0.0 };
    for (index, bar) in bars.iter().enumerate() {
        let top = 30.0 + ROW * index as f64;
        drawing.text((NAMES - 6.0, top + 13.0), Anchor::End, &bar.name);
        let mut x = NAMES;
        for (part, fill) in bar.parts.iter().zip(FILLS) {
            let width = part * scale;
            if width.is_finite() && width > 0.0 {
                drawing.add(&format!(
                    r#"<rect x="{x:.1}" y="{:.1}" width="{width:.1}" height="{:.1}" {}/>"#,
                    top + 2.0,
                    ROW - 7.0,
                    fill(id)
                ));
                x += width;
            }
        }
        drawing.text((x + 5.0, top + 13.0), Anchor::Start, &bar.total);
    }
    let top = 44.0 + ROW * bars.len() as f64;
    for (index, (name, fill)) in parts.iter().zip(FILLS).enumerate() {
        let y = top + 18.0 * index as f64;
        drawing.add(&format!(r#"<rect x="{NAMES:.1}" y="{y:.1}" width="18.0" height="11.0" {}/>"#, fill(id)));
        drawing.text((NAMES + 25.0, y + 10.0), Anchor::Start, name);
    }
    drawing.finish(id, title, words)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(name: &str, parts: [f64; 3]) -> Bar {
        Bar { name: name.into(), parts, total: "3 h".into() }
    }

    #[test]
    fn parts_stand_side_by_side_as_long_as_they_are_and_differ_by_pattern() {
        let svg = bars("b", "t", "w", ["a", "c", "d"], &[bar("A1 <x>", [23.0, 0.0, 0.0]), bar("B2", [11.5, 2.3, 4.6])]);
        // 230 units for the most.
        assert!(svg.contains(r#"<rect x="78.0" y="32.0" width="230.0" height="15.0" fill="currentColor"/>"#), "{svg}");
        assert!(
            svg.contains(r#"<rect x="193.0" y="54.0" width="23.0" height="15.0" fill="url(#b-stripes)"/>"#),
            "{svg}"
        );
        assert!(svg.contains(r#"<rect x="216.0" y="54.0" width="46.0" height="15.0" fill="none"/>"#), "{svg}");
        assert!(svg.contains("A1 &lt;x&gt;"));
    }

    #[test]
    fn of_nothing_there_is_no_bar() {
        let svg = bars("b", "t", "w", ["a", "c", "d"], &[bar("A", [0.0; 3]), bar("B", [f64::NAN, 0.0, 0.0])]);
        assert_eq!(svg.matches("<rect").count(), 3, "the legend's alone: {svg}");
        assert!(!svg.contains("NaN"));
    }
}
