//! The one drawing kit: every picture, in a page or in a file of its own, is made of these few marks. It writes SVG, which scales, prints
//! and needs nothing else. Looks are classes where a page's style sheet follows the reader's light or dark, colours where the
//! picture stands alone.

use std::fmt::Write as _;

use crate::report::escape::escape;

/// How a mark looks.
#[derive(Clone, Copy, Debug)]
pub enum Look<'a> {
    /// As the page's style sheet says.
    Class(&'a str),
    /// A line.
    Line {
        /// Its colour, as `#1f5fa8`.
        colour: &'a str,
        /// Its width in pixels.
        width: f64,
        /// Whether it is broken.
        dashed: bool,
    },
    /// An area.
    Area {
        /// Its colour.
        colour: &'a str,
        /// From 0, not seen, to 1.
        opacity: f64,
    },
}

impl std::fmt::Display for Look<'_> {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match *self {
            Self::Class(class) => write!(out, "class=\"{class}\""),
            Self::Line { colour, width, dashed } => {
                let dashes = if dashed { " stroke-dasharray=\"7 5\"" } else { "" };
                write!(out, "fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes}")
            }
            Self::Area { colour, opacity } if opacity < 1.0 => {
                write!(out, "fill=\"{colour}\" fill-opacity=\"{opacity}\"")
            }
            Self::Area { colour, .. } => write!(out, "fill=\"{colour}\""),
        }
    }
}

/// Where a text lies against its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// A drawing being made.
#[derive(Clone, Debug, Default)]
pub struct Svg(String);

impl Svg {
    /// A picture of its own, on white, so many pixels wide and high.
    #[must_use]
    pub fn picture(width: f64, height: f64) -> Self {
        let mut svg = Self(format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" \
             font-family=\"sans-serif\">\n"
        ));
        svg.rect(Look::Area { colour: "#ffffff", opacity: 1.0 }, (0.0, 0.0), (width, height), "");
        svg
    }

    /// A drawing in a page, that tells readers who do not see it what it is.
    #[must_use]
    pub fn part(width: f64, height: f64, label: &str) -> Self {
        Self(format!("<svg viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{}\">\n", escape(label)))
    }

    /// A drawing in a page that fills whatever room it has, without text in it, which would be stretched: words beside it say what it is.
    #[must_use]
    pub fn stretched(width: f64, height: f64) -> Self {
        Self(format!("<svg viewBox=\"0 0 {width} {height}\" preserveAspectRatio=\"none\" aria-hidden=\"true\">"))
    }

    /// Where the pen goes, in the words of SVG's `d`.
    pub fn path(&mut self, look: Look<'_>, way: &str) {
        let _ = write!(self.0, "<path {look} d=\"{way}\"/>");
    }

    /// A line from place to place; where there is none, it is broken.
    pub fn line(&mut self, look: Look<'_>, places: impl IntoIterator<Item = Option<(f64, f64)>>) {
        let mut way = String::new();
        let mut joined = false;
        for place in places {
            if let Some((x, y)) = place {
                let _ = write!(way, "{}{x:.1} {y:.1}", if joined { "L" } else { "M" });
            }
            joined = place.is_some();
        }
        self.path(look, &way);
    }

    /// A rectangle from its upper left corner, with what is told of it to whoever points there.
    pub fn rect(&mut self, look: Look<'_>, (x, y): (f64, f64), (width, height): (f64, f64), told: &str) {
        let _ = write!(self.0, "<rect {look} x=\"{x:.1}\" y=\"{y}\" width=\"{width:.1}\" height=\"{height}\"");
        let _ = if told.is_empty() {
            write!(self.0, "/>")
        } else {
            write!(self.0, "><title>{}</title></rect>", escape(told))
        };
    }

    /// A dot or a ring.
    pub fn circle(&mut self, look: Look<'_>, (x, y): (f64, f64), radius: f64) {
        let _ = writeln!(self.0, "<circle {look} cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius}\"/>");
    }

    /// Words in the page's own size and colour.
    pub fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, words: &str) {
        self.words((x, y), anchor, "", words);
    }

    /// Words of this size and colour.
    pub fn text_in(&mut self, (x, y): (f64, f64), anchor: Anchor, size: u32, colour: &str, words: &str) {
        self.words((x, y), anchor, &format!(" font-size=\"{size}\" fill=\"{colour}\""), words);
    }

    /// Words of this size and colour that go up, their middle at the place.
    pub fn text_up(&mut self, (x, y): (f64, f64), size: u32, colour: &str, words: &str) {
        let more = format!(" font-size=\"{size}\" fill=\"{colour}\" transform=\"rotate(-90 {x:.1} {y:.1})\"");
        self.words((x, y), Anchor::Middle, &more, words);
    }

    fn words(&mut self, (x, y): (f64, f64), anchor: Anchor, more: &str, words: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let _ = writeln!(self.0, "<text x=\"{x:.1}\" y=\"{y:.1}\"{anchor}{more}>{}</text>", escape(words));
    }

    /// The drawing.
    #[must_use]
    pub fn finish(mut self) -> String {
        self.0.push_str("</svg>");
        self.0
    }
}

/// Figures along an axis, and the places where they are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// The least and the largest figure.
    pub figures: (f64, f64),
    /// Where these are drawn.
    pub places: (f64, f64),
}

impl Scale {
    /// Where a figure lies, held between the ends.
    #[must_use]
    pub fn place(&self, figure: f64) -> f64 {
        let ((least, most), (first, last)) = (self.figures, self.places);
        first + (last - first) * ((figure - least) / (most - least)).clamp(0.0, 1.0)
    }

    /// Round figures to mark, about so many.
    #[must_use]
    pub fn marks(&self, parts: u32) -> Vec<f64> {
        let (least, most) = self.figures;
        let step = nice_step(most - least, parts);
        let first = (least / step).ceil();
        (0..=2 * parts)
            .map(|count| (first + f64::from(count)) * step)
            .take_while(|figure| *figure <= most + 1e-9 * step)
            .collect()
    }
}

/// A step of 1, 2 or 5 times a power of ten that divides `most` into about `parts`.
#[must_use]
pub fn nice_step(most: f64, parts: u32) -> f64 {
    let rough = (most / f64::from(parts)).max(1e-6);
    let power = 10_f64.powf(rough.log10().floor());
    let factor = [1.0, 2.0, 5.0, 10.0].into_iter().find(|factor| factor * power >= rough).unwrap_or(10.0);
    factor * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_ones_twos_and_fives() {
        assert!((nice_step(19.0, 4) - 5.0).abs() < 1e-9);
        assert!((nice_step(0.7, 3) - 0.5).abs() < 1e-9);
        let scale = Scale { figures: (-3.0, 19.0), places: (100.0, 0.0) };
        assert_eq!(scale.marks(4), [0.0, 10.0]);
        assert_eq!(scale.marks(6), [0.0, 5.0, 10.0, 15.0]);
        assert!((scale.place(8.0) - 50.0).abs() < 1e-9);
        assert!((scale.place(99.0)).abs() < 1e-9, "held inside");
    }

    #[test]
    fn what_is_written_is_harmless_and_whole() {
        let mut svg = Svg::picture(10.0, 10.0);
        svg.text((1.0, 2.0), Anchor::Middle, "<script>");
        svg.rect(Look::Class("p"), (0.0, 0.0), (1.0, 1.0), "a & b");
        svg.line(Look::Class("s"), [Some((0.0, 1.0)), Some((1.0, 2.0)), None, Some((3.0, 4.0))]);
        let drawn = svg.finish();
        assert!(drawn.contains("&lt;script&gt;") && drawn.contains("<title>a &amp; b</title></rect>"), "{drawn}");
        assert!(drawn.contains("d=\"M0.0 1.0L1.0 2.0M3.0 4.0\""), "{drawn}");
        assert!(drawn.starts_with("<svg xmlns=") && drawn.ends_with("</svg>"), "{drawn}");
    }
}
