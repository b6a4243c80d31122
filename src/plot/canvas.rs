//! Lines, shapes and words at exact places, as SVG text.

use std::fmt::Write as _;

use super::text::{SIZE, cut, escaped, width};
use super::{Caption, GREEN, GREY, INK, PALE, Picture, RULE, WIDTH};

/// A mark at a place; told apart by its shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A full circle.
    Dot,
    /// An open circle.
    Ring,
    /// A full diamond.
    Diamond,
    /// An open square.
    Square,
    /// A slanting cross.
    Cross,
    /// A short upright line.
    Tick,
}

/// How a bar is filled; told apart in grey too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// Dark.
    Full,
    /// White within an outline.
    Open,
    /// A pale band without an outline.
    Pale,
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// What is measured.
    Strong,
    /// A range.
    Range,
    /// A line to compare with.
    Dashed,
    /// A rule of the grid.
    Rule,
}

impl Stroke {
    fn style(self) -> String {
        match self {
            Self::Strong => format!("stroke=\"{GREEN}\" stroke-width=\"2\""),
            Self::Range => format!("stroke=\"{GREEN}\" stroke-width=\"1.2\""),
            Self::Dashed => {
                format!("stroke=\"{INK}\" stroke-width=\"1.2\" stroke-dasharray=\"5 4\"")
            }
            Self::Rule => format!("stroke=\"{RULE}\" stroke-width=\"0.7\""),
        }
    }
}

/// Where a text stands against its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lean {
    /// It begins there.
    Start,
    /// It is centred there.
    Middle,
    /// It ends there.
    End,
}

/// How words centred at `x` stand so that they stay within the picture.
pub(super) fn lean_at(x: f64, words: &str) -> Lean {
    let half = width(words) / 2.0;
    if x < half {
        Lean::Start
    } else if WIDTH < x + half {
        Lean::End
    } else {
        Lean::Middle
    }
}

/// A rectangle in the picture, y downwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

/// A number in two decimals at most.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

/// A picture in the making.
#[derive(Debug, Default)]
pub(super) struct Canvas {
    body: String,
}

impl Canvas {
    pub(super) fn finish(self, caption: Caption, height: f64) -> Picture {
        Picture {
            caption,
            height,
            body: self.body,
        }
    }

    fn add(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing to a text cannot fail.
        let _ = writeln!(self.body, "{element}");
    }

    pub(super) fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), stroke: Stroke) {
        let [x1, y1, x2, y2] = [x1, y1, x2, y2].map(number);
        let style = stroke.style();
        self.add(format_args!(
            "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" {style}/>"
        ));
    }

    /// An open line through places.
    pub(super) fn path(&mut self, places: &[(f64, f64)], stroke: Stroke) {
        if 1 < places.len() {
            let (d, style) = (route(places), stroke.style());
            self.add(format_args!("<path d=\"{d}\" fill=\"none\" {style}/>"));
        }
    }

    /// A pale area within places.
    pub(super) fn area(&mut self, places: &[(f64, f64)]) {
        if 2 < places.len() {
            let d = route(places);
            self.add(format_args!(
                "<path d=\"{d}Z\" fill=\"{PALE}\" stroke=\"{RULE}\" stroke-width=\"0.7\"/>"
            ));
        }
    }

    pub(super) fn bar(&mut self, frame: Frame, fill: Fill) {
        let width = (frame.right - frame.left).max(0.0);
        let height = (frame.bottom - frame.top).max(0.0);
        let [x, y, width, height] = [frame.left, frame.top, width, height].map(number);
        let style = match fill {
            Fill::Full => format!("fill=\"{GREEN}\" stroke=\"{GREEN}\""),
            Fill::Open => format!("fill=\"#fff\" stroke=\"{GREEN}\""),
            Fill::Pale => format!("fill=\"{PALE}\""),
        };
        self.add(format_args!(
            "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" {style}/>"
        ));
    }

    pub(super) fn mark(&mut self, mark: Mark, (x, y): (f64, f64)) {
        let at = |dx: f64, dy: f64| format!("{} {}", number(x + dx), number(y + dy));
        let (cx, cy) = (number(x), number(y));
        let full = format!("fill=\"{GREEN}\" stroke=\"#fff\" stroke-width=\"0.8\"");
        let open = format!("fill=\"#fff\" stroke=\"{GREEN}\" stroke-width=\"1.5\"");
        let lines = format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"2\"");
        match mark {
            Mark::Dot => self.add(format_args!(
                "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"4.5\" {full}/>"
            )),
            Mark::Ring => self.add(format_args!(
                "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"4\" {open}/>"
            )),
            Mark::Diamond => {
                let d = [at(0.0, -6.5), at(6.5, 0.0), at(0.0, 6.5), at(-6.5, 0.0)].join("L");
                self.add(format_args!("<path d=\"M{d}Z\" {full}/>"));
            }
            Mark::Square => {
                let (left, top) = (number(x - 4.0), number(y - 4.0));
                self.add(format_args!(
                    "<rect x=\"{left}\" y=\"{top}\" width=\"8\" height=\"8\" {open}/>"
                ));
            }
            Mark::Cross => {
                let (a, b) = (at(-4.5, -4.5), at(4.5, 4.5));
                let (c, d) = (at(-4.5, 4.5), at(4.5, -4.5));
                self.add(format_args!("<path d=\"M{a}L{b}M{c}L{d}\" {lines}/>"));
            }
            Mark::Tick => {
                let (a, b) = (at(0.0, -7.0), at(0.0, 7.0));
                self.add(format_args!("<path d=\"M{a}L{b}\" {lines}/>"));
            }
        }
    }

    /// Words in at most `room`; what is cut off shows when pointed at.
    pub(super) fn text_within(&mut self, place: (f64, f64), lean: Lean, text: &str, room: f64) {
        let shown = cut(text, room);
        let whole = (shown != text).then(|| format!("<title>{}</title>", escaped(text)));
        let whole = whole.unwrap_or_default();
        self.words(place, lean, &format!("{}{whole}", escaped(&shown)), "");
    }

    /// Words in bold, in at most `room`.
    pub(super) fn heading(&mut self, place: (f64, f64), text: &str, room: f64) {
        // Bold letters are about a tenth wider.
        let shown = escaped(&cut(text, room / 1.1));
        self.words(place, Lean::Start, &shown, "font-weight=\"bold\"");
    }

    pub(super) fn text(&mut self, place: (f64, f64), lean: Lean, text: &str) {
        self.words(place, lean, &escaped(text), "");
    }

    /// Words beside an axis, no wider than the picture.
    pub(super) fn label(&mut self, place: (f64, f64), lean: Lean, text: &str) {
        let shown = escaped(&cut(text, WIDTH));
        self.words(place, lean, &shown, &format!("fill=\"{GREY}\""));
    }

    /// Markup of words at the middle of a line of text.
    fn words(&mut self, (x, y): (f64, f64), lean: Lean, inner: &str, more: &str) {
        let anchor = match lean {
            Lean::Start => "",
            Lean::Middle => " text-anchor=\"middle\"",
            Lean::End => " text-anchor=\"end\"",
        };
        let (x, y) = (number(x), number(y + 0.35 * SIZE));
        let gap = if more.is_empty() { "" } else { " " };
        self.add(format_args!(
            "<text x=\"{x}\" y=\"{y}\"{anchor}{gap}{more}>{inner}</text>"
        ));
    }

    /// Everything that `draw` draws, as far as it lies within the frame.
    pub(super) fn within(&mut self, name: &str, frame: Frame, draw: impl FnOnce(&mut Self)) {
        let size = [
            frame.left,
            frame.top,
            frame.right - frame.left,
            frame.bottom - frame.top,
        ];
        let [x, y, width, height] = size.map(number);
        self.add(format_args!(
            "<clipPath id=\"{name}-clip\"><rect x=\"{x}\" y=\"{y}\" width=\"{width}\" \
             height=\"{height}\"/></clipPath>\n<g clip-path=\"url(#{name}-clip)\">"
        ));
        draw(self);
        self.add(format_args!("</g>"));
    }
}

fn route(places: &[(f64, f64)]) -> String {
    let places: Vec<String> = places
        .iter()
        .map(|(x, y)| format!("{} {}", number(*x), number(*y)))
        .collect();
    format!("M{}", places.join("L"))
}
