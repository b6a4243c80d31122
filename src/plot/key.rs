//! The key of a picture: what each mark, line and fill means.

use super::WIDTH;
use super::canvas::{Canvas, Fill, Frame, Lean, Mark, Stroke};
use super::text;

/// What a key shows before its words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sample {
    /// A mark.
    Mark(Mark),
    /// A line.
    Line(Stroke),
    /// A bar or band.
    Bar(Fill),
    /// A range: a line with its ends marked.
    Range,
}

/// One entry: a sample, and what it means.
pub type Key = (Sample, &'static str);

/// Height of a line of the key.
const LINE: f64 = 23.0;
/// Room for a sample.
const SAMPLE: f64 = 28.0;

/// Draws the key from `top`; returns where it ends.
pub(super) fn draw(canvas: &mut Canvas, top: f64, entries: &[Key]) -> f64 {
    let (mut x, mut y) = (0.0, top + LINE / 2.0);
    for (sample, words) in entries {
        let wide = SAMPLE + text::width(words) + 14.0;
        if 0.0 < x && WIDTH < x + wide {
            x = 0.0;
            y += LINE;
        }
        show(canvas, *sample, (x + 2.0, y));
        canvas.text((x + SAMPLE, y), Lean::Start, words);
        x += wide;
    }
    if entries.is_empty() {
        top
    } else {
        y + LINE / 2.0 + 4.0
    }
}

fn show(canvas: &mut Canvas, sample: Sample, (x, y): (f64, f64)) {
    let (left, right) = ((x, y), (x + 20.0, y));
    match sample {
        Sample::Mark(mark) => canvas.mark(mark, (x + 10.0, y)),
        Sample::Line(stroke) => canvas.line(left, right, stroke),
        Sample::Range => range(canvas, left, right),
        Sample::Bar(fill) => canvas.bar(
            Frame {
                left: x + 1.0,
                top: y - 5.0,
                right: x + 19.0,
                bottom: y + 5.0,
            },
            fill,
        ),
    }
}

/// A level line with its ends marked.
pub(super) fn range(canvas: &mut Canvas, (left, y): (f64, f64), (right, _): (f64, f64)) {
    canvas.line((left, y), (right, y), Stroke::Range);
    for x in [left, right] {
        canvas.line((x, y - 4.0), (x, y + 4.0), Stroke::Range);
    }
}
