//! A picture of whether forecasts mean what they say: what they said against what happened.

use super::axis::{Axis, Scale, percent};
use super::canvas::{Canvas, Lean, Mark, Stroke};
use super::key::{self, Sample};
use super::{Caption, Picture, WIDTH};

/// One share of outcomes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CalibrationPoint {
    /// Share of outcomes that the forecasts put at or below a limit of theirs.
    pub said: f64,
    /// Share of outcomes that stayed at or below it.
    pub happened: f64,
    /// Where that share lies by chance, where the forecasts mean what they say.
    pub by_chance: (f64, f64),
}

/// The picture.
#[derive(Clone, Debug, PartialEq)]
pub struct CalibrationFigure {
    /// What it is called.
    pub caption: Caption,
    /// The points.
    pub points: Vec<CalibrationPoint>,
}

/// Side of the square field.
const FIELD: f64 = 300.0;

impl CalibrationFigure {
    /// Draws it.
    #[must_use]
    pub fn draw(self) -> Picture {
        let mut canvas = Canvas::default();
        let key = [
            (Sample::Mark(Mark::Dot), "what happened"),
            (Sample::Line(Stroke::Dashed), "just as forecast"),
            (
                Sample::Range,
                "as far off as chance alone goes in 8 of 10 cases",
            ),
        ];
        let top = key::draw(&mut canvas, 2.0, &key);
        canvas.label(
            (0.0, top + 10.0),
            Lean::Start,
            "outcomes at or below the limit, %",
        );
        let (top, bottom) = (top + 30.0, top + 30.0 + FIELD);
        let (left, right) = (60.0, WIDTH - 10.0);
        let across = Axis::new(Scale::Linear, (0.0, 1.0), (left, right));
        let upward = Axis::new(Scale::Linear, (0.0, 1.0), (bottom, top));
        for (_, x, words) in across.ticks(percent, false) {
            canvas.line((x, top), (x, bottom), Stroke::Rule);
            let lean = if right - 12.0 < x {
                Lean::End
            } else {
                Lean::Middle
            };
            canvas.label((x, bottom + 13.0), lean, &words);
        }
        for (_, y, words) in upward.ticks(percent, true) {
            canvas.line((left, y), (right, y), Stroke::Rule);
            canvas.label((left - 6.0, y), Lean::End, &words);
        }
        canvas.line((left, bottom), (right, top), Stroke::Dashed);
        for point in &self.points {
            let x = across.place(point.said);
            let (low, high) = point.by_chance;
            let (low, high) = (upward.place(low), upward.place(high));
            canvas.line((x, low), (x, high), Stroke::Range);
            for y in [low, high] {
                canvas.line((x - 4.0, y), (x + 4.0, y), Stroke::Range);
            }
            canvas.mark(Mark::Dot, (x, upward.place(point.happened)));
        }
        canvas.line((left, bottom), (right, bottom), Stroke::Range);
        let middle = f64::midpoint(left, right);
        let words = "outcomes the forecasts put at or below it, %";
        canvas.label((middle, bottom + 36.0), Lean::Middle, words);
        canvas.finish(self.caption, bottom + 48.0)
    }
}
