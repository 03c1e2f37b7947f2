//! A drawing: lines, boxes and texts on a plane, in points (1/72 inch), from the top left. The same
//! drawing goes into a PDF, a page for the browser, and a file of its own.

use std::fmt::Write as _;

use serde::Serialize;

use crate::font;

/// A drawing.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Drawing {
    /// What it shows, for those who can't see it.
    pub about: String,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// What is drawn, the undermost first.
    pub items: Vec<Item>,
}

/// Something drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case")]
pub enum Item {
    /// A line along these points.
    Line {
        /// The points.
        points: Vec<(f64, f64)>,
        /// How thick.
        thick: f64,
        /// Whether it is dotted.
        dotted: bool,
    },
    /// A filled shape.
    Shape {
        /// Its corners.
        points: Vec<(f64, f64)>,
        /// Grey from 0 (black) to 1 (white).
        grey: f64,
    },
    /// A box.
    Frame {
        /// Left edge.
        x: f64,
        /// Upper edge.
        y: f64,
        /// Width.
        width: f64,
        /// Height.
        height: f64,
        /// Thickness of its edge; 0: no edge.
        thick: f64,
        /// Grey of the inside; none: nothing is painted.
        grey: Option<f64>,
    },
    /// A disc or a ring.
    Circle {
        /// Middle, across.
        x: f64,
        /// Middle, down.
        y: f64,
        /// Radius.
        radius: f64,
        /// Thickness of its edge; 0: no edge.
        thick: f64,
        /// Grey of the inside; none: nothing is painted.
        grey: Option<f64>,
    },
    /// A line of text.
    Text(Text),
}

/// A line of text.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Text {
    /// Where it is set, see `anchor`.
    pub x: f64,
    /// The line that the letters stand on.
    pub y: f64,
    /// Size of the letters.
    pub size: f64,
    /// Whether it is bold.
    pub bold: bool,
    /// What of the text stands at its place.
    pub anchor: Anchor,
    /// Whether it runs upwards.
    pub turned: bool,
    /// The text.
    pub text: String,
}

/// What of a text stands at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// A rectangle: left, top, right, bottom.
pub type Bounds = (f64, f64, f64, f64);

impl Text {
    /// The rectangle that the letters can take.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        let width = font::width(&self.text, self.size, self.bold);
        let before = match self.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => width / 2.0,
            Anchor::End => width,
        };
        // Letters rise to 0.75 em above the line and fall to 0.22 em below it.
        let (rise, fall) = (0.75 * self.size, 0.22 * self.size);
        if self.turned {
            (self.x - rise, self.y - (width - before), self.x + fall, self.y + before)
        } else {
            (self.x - before, self.y - rise, self.x + width - before, self.y + fall)
        }
    }
}

impl Drawing {
    /// An empty drawing of this size.
    pub fn new(about: impl Into<String>, width: f64, height: f64) -> Self {
        Self { about: about.into(), width, height, items: Vec::new() }
    }

    /// A line along points.
    pub fn line(&mut self, points: &[(f64, f64)], thick: f64) {
        self.items.push(Item::Line { points: points.to_vec(), thick, dotted: false });
    }

    /// A dotted line.
    pub fn dotted(&mut self, points: &[(f64, f64)], thick: f64) {
        self.items.push(Item::Line { points: points.to_vec(), thick, dotted: true });
    }

    /// A box.
    pub fn frame(&mut self, x: f64, y: f64, width: f64, height: f64, thick: f64, grey: Option<f64>) {
        self.items.push(Item::Frame { x, y, width, height, thick, grey });
    }

    /// A line of text.
    pub fn text(&mut self, x: f64, y: f64, size: f64, bold: bool, anchor: Anchor, text: impl Into<String>) {
        self.items.push(Item::Text(Text { x, y, size, bold, anchor, turned: false, text: text.into() }));
    }

    /// A line of text that runs upwards from its place.
    pub fn turned(&mut self, x: f64, y: f64, size: f64, bold: bool, anchor: Anchor, text: impl Into<String>) {
        self.items.push(Item::Text(Text { x, y, size, bold, anchor, turned: true, text: text.into() }));
    }

    /// A disc, a ring, or both.
    pub fn circle(&mut self, x: f64, y: f64, radius: f64, thick: f64, grey: Option<f64>) {
        self.items.push(Item::Circle { x, y, radius, thick, grey });
    }

    /// A filled shape.
    pub fn shape(&mut self, points: &[(f64, f64)], grey: f64) {
        self.items.push(Item::Shape { points: points.to_vec(), grey });
    }

    /// Takes over everything of another drawing, moved.
    pub fn put(&mut self, other: &Self, x: f64, y: f64) {
        let at = |(px, py): &(f64, f64)| (px + x, py + y);
        self.items.extend(other.items.iter().map(|item| match item {
            Item::Line { points, thick, dotted } => {
                Item::Line { points: points.iter().map(at).collect(), thick: *thick, dotted: *dotted }
            }
            Item::Shape { points, grey } => Item::Shape { points: points.iter().map(at).collect(), grey: *grey },
            Item::Frame { x: left, y: top, width, height, thick, grey } => {
                Item::Frame { x: left + x, y: top + y, width: *width, height: *height, thick: *thick, grey: *grey }
            }
            Item::Circle { x: px, y: py, radius, thick, grey } => {
                Item::Circle { x: px + x, y: py + y, radius: *radius, thick: *thick, grey: *grey }
            }
            Item::Text(text) => Item::Text(Text { x: text.x + x, y: text.y + y, ..text.clone() }),
        }));
    }

    /// The texts.
    pub fn texts(&self) -> impl Iterator<Item = &Text> {
        self.items.iter().filter_map(|item| match item {
            Item::Text(text) => Some(text),
            _ => None,
        })
    }

    /// The drawing as an SVG document, whatever font it is shown in: each text keeps to the room that was left for it.
    #[must_use]
    pub fn svg(&self) -> String {
        self.written(true)
    }

    /// The same for a page that is set in [`font::FAMILY`] itself.
    #[cfg(feature = "typeset")]
    pub(crate) fn svg_in_its_font(&self) -> String {
        self.written(false)
    }

    fn written(&self, fitted: bool) -> String {
        let mut out = String::new();
        let (width, height) = (number(self.width), number(self.height));
        _ = writeln!(
            out,
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}pt" height="{height}pt" viewBox="0 0 {width} {height}" font-family="'{}', 'Times New Roman', serif" role="img">"#,
            font::FAMILY
        );
        _ = writeln!(out, "<title>{}</title>", escaped(&self.about));
        for item in &self.items {
            write_item(&mut out, item, fitted);
        }
        out.push_str("</svg>\n");
        out
    }
}

fn write_item(out: &mut String, item: &Item, fitted: bool) {
    match item {
        Item::Line { points, thick, dotted } => {
            let dash = if *dotted { r#" stroke-dasharray="1 2""# } else { "" };
            let thick = number(*thick);
            _ = writeln!(
                out,
                r#"<polyline points="{}" fill="none" stroke="black" stroke-width="{thick}"{dash}/>"#,
                pairs(points)
            );
        }
        Item::Shape { points, grey } => {
            _ = writeln!(out, r#"<polygon points="{}" fill="{}"/>"#, pairs(points), colour(*grey));
        }
        Item::Frame { x, y, width, height, thick, grey } => {
            let fill = grey.map_or_else(|| "none".to_owned(), colour);
            let stroke = if *thick > 0.0 {
                format!(r#" stroke="black" stroke-width="{}""#, number(*thick))
            } else {
                String::new()
            };
            let (x, y, width, height) = (number(*x), number(*y), number(*width), number(*height));
            _ = writeln!(out, r#"<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="{fill}"{stroke}/>"#);
        }
        Item::Circle { x, y, radius, thick, grey } => {
            let fill = grey.map_or_else(|| "none".to_owned(), colour);
            let stroke = if *thick > 0.0 {
                format!(r#" stroke="black" stroke-width="{}""#, number(*thick))
            } else {
                String::new()
            };
            let (x, y, radius) = (number(*x), number(*y), number(*radius));
            _ = writeln!(out, r#"<circle cx="{x}" cy="{y}" r="{radius}" fill="{fill}"{stroke}/>"#);
        }
        Item::Text(text) => {
            let anchor = match text.anchor {
                Anchor::Start => "",
                Anchor::Middle => r#" text-anchor="middle""#,
                Anchor::End => r#" text-anchor="end""#,
            };
            let bold = if text.bold { r#" font-weight="bold""# } else { "" };
            let (x, y, size) = (number(text.x), number(text.y), number(text.size));
            let turn = if text.turned { format!(r#" transform="rotate(-90 {x} {y})""#) } else { String::new() };
            // Another font's letters are drawn narrower or wider, so that nothing is cut off or runs into its neighbour.
            let fit = if fitted && !text.text.trim().is_empty() {
                let width = number(font::width(&text.text, text.size, text.bold));
                format!(r#" textLength="{width}" lengthAdjust="spacingAndGlyphs""#)
            } else {
                String::new()
            };
            _ = writeln!(
                out,
                r#"<text x="{x}" y="{y}" font-size="{size}"{bold}{anchor}{turn}{fit}>{}</text>"#,
                escaped(&text.text)
            );
        }
    }
}

fn pairs(points: &[(f64, f64)]) -> String {
    points.iter().map(|(x, y)| format!("{},{}", number(*x), number(*y))).collect::<Vec<_>>().join(" ")
}

fn colour(grey: f64) -> String {
    let percent = (grey.clamp(0.0, 1.0) * 100.0).round();
    format!("hsl(0,0%,{percent}%)")
}

/// A number with at most two decimals.
fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A text in XML; control characters, which XML does not have, become blanks.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            letter if letter.is_control() => out.push(' '),
            letter => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_texts_are_escaped() {
        assert_eq!([number(1.0), number(-0.001), number(2.345)], ["1", "0", "2.35"]);
        assert_eq!(escaped("a<b & \"c\"\u{7}"), "a&lt;b &amp; &quot;c&quot; ");
    }

    #[test]
    fn what_is_put_elsewhere_keeps_its_shape() {
        let mut small = Drawing::new("", 10.0, 10.0);
        small.text(1.0, 2.0, 5.0, false, Anchor::Start, "X1");
        small.frame(0.0, 0.0, 4.0, 4.0, 1.0, None);
        let mut large = Drawing::new("", 50.0, 50.0);
        large.put(&small, 10.0, 20.0);
        let text = large.texts().next().map(|text| (text.x, text.y));
        assert_eq!(text, Some((11.0, 22.0)));
    }
}
