//! Small charts as SVG, to stand in a page or a file of their own.
//!
//! Each has a title and a description that say in words what it shows, needs no colour, takes the colour of the text
//! around it, so that it can be read on light and on dark, and grows with the width it is given.

mod axes;
pub mod bars;
pub mod lows;
pub mod reliability;

/// A drawing in the making, in units of a canvas this large; on a telephone one of them is about a pixel.
struct Drawing {
    width: f64,
    height: f64,
    body: String,
}

/// Where a text ends, begins or has its middle.
#[derive(Clone, Copy)]
enum Anchor {
    Start,
    Middle,
    End,
}

impl Drawing {
    fn new(width: f64, height: f64) -> Drawing {
        Drawing { width, height, body: String::new() }
    }

    fn add(&mut self, element: &str) {
        self.body.push_str(element);
        self.body.push('\n');
    }

    fn line(&mut self, from: (f64, f64), to: (f64, f64), style: &str) {
        let ((x1, y1), (x2, y2)) = (from, to);
        self.add(&format!(r#"<path d="M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}" {style}/>"#));
    }

    fn circle(&mut self, centre: (f64, f64), radius: f64) {
        let (x, y) = centre;
        self.add(&format!(r#"<circle cx="{x:.1}" cy="{y:.1}" r="{radius:.1}" fill="currentColor" stroke="none"/>"#));
    }

    fn text(&mut self, at: (f64, f64), anchor: Anchor, text: &str) {
        self.add(&label(at, anchor, text, ""));
    }

    /// A text that reads upwards.
    fn text_upwards(&mut self, at: (f64, f64), text: &str) {
        let (x, y) = at;
        let turned = format!(r#" transform="rotate(-90 {x:.1} {y:.1})""#);
        self.add(&label(at, Anchor::Middle, text, &turned));
    }

    /// The finished chart. `id` tells its title and description from those of other charts of a page.
    fn finish(self, id: &str, title: &str, description: &str) -> String {
        let Drawing { width, height, body } = self;
        let (id, title, description) = (escape(id), escape(title), escape(description));
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0} {height:.0}" role="img" aria-labelledby="{id}-title {id}-description" fill="none" stroke="currentColor" font-family="sans-serif" font-size="12" style="width:100%;height:auto;max-width:{limit:.0}px">
<title id="{id}-title">{title}</title>
<desc id="{id}-description">{description}</desc>
{body}</svg>
"#,
            // Text twice as large as its surroundings is large enough.
            limit = 2.0 * width,
        )
    }
}

fn label((x, y): (f64, f64), anchor: Anchor, text: &str, more: &str) -> String {
    let anchor = match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    let text = escape(text);
    format!(
        r#"<text x="{x:.1}" y="{y:.1}" text-anchor="{anchor}" fill="currentColor" stroke="none"{more}>{text}</text>"#
    )
}

/// Text that may stand between tags and in quotes. What XML cannot hold at all becomes a space.
fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => escaped.push(' '),
            c => escaped.push(c),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_can_end_its_tag() {
        let mut drawing = Drawing::new(10.0, 10.0);
        drawing.text((1.0, 1.0), Anchor::Start, "<script>\"&'\u{0}");
        let svg = drawing.finish("a\" onload=\"x", "</title><b>", "]]> & 'more'");
        assert!(svg.contains("&lt;script&gt;&quot;&amp;&#39; </text>"), "{svg}");
        assert!(!svg.contains("<b>") && !svg.contains("<script>") && !svg.contains("\" onload"), "{svg}");
        assert_eq!(svg.matches("</title>").count(), 1);
    }
}
