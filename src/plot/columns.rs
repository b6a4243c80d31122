//! A picture of upright columns side by side, such as the months of a season.

use super::axis::{Axis, Scale, round_up};
use super::canvas::{Canvas, Fill, Frame, Lean, Stroke};
use super::key::{self, Key};
use super::{Caption, Picture, WIDTH, text};

/// One column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// What stands under it.
    pub label: String,
    /// A second line under it, such as the year.
    pub under: String,
    /// Its height; `None`: not known.
    pub value: Option<f64>,
    /// A range around it.
    pub range: Option<(f64, f64)>,
}

/// The picture.
pub struct ColumnsFigure<'a> {
    /// What it is called.
    pub caption: Caption,
    /// What the upright axis shows, with its unit.
    pub axis: String,
    /// How a value on it is written.
    pub tell: &'a dyn Fn(f64) -> String,
    /// What columns and lines mean.
    pub key: Vec<Key>,
    /// The columns.
    pub columns: Vec<Column>,
}

/// Height of the columns' field.
const FIELD: f64 = 220.0;

impl ColumnsFigure<'_> {
    /// Draws it.
    #[must_use]
    pub fn draw(self) -> Picture {
        let mut canvas = Canvas::default();
        let top = key::draw(&mut canvas, 2.0, &self.key);
        canvas.label((0.0, top + 10.0), Lean::Start, &self.axis);
        let (top, bottom) = (top + 30.0, top + 30.0 + FIELD);
        let tops = self.columns.iter().flat_map(|c| {
            let high = c.range.map(|(_, high)| high);
            high.into_iter().chain(c.value)
        });
        let most = round_up(tops.fold(0.0, f64::max));
        let axis = Axis::new(Scale::Linear, (0.0, most), (bottom, top));
        let ticks = axis.ticks(self.tell, true);
        let wide = ticks.iter().map(|(_, _, words)| text::width(words));
        let left = wide.fold(0.0, f64::max) + 8.0;
        for (_, y, words) in ticks {
            canvas.line((left, y), (WIDTH, y), Stroke::Rule);
            canvas.label((left - 6.0, y), Lean::End, &words);
        }
        let step = (WIDTH - left) / self.columns.len().max(1) as f64;
        let widest = self.columns.iter().map(|c| text::width(&c.label));
        let every = ((widest.fold(0.0, f64::max) + 4.0) / step).ceil().max(1.0) as usize;
        for (i, column) in self.columns.iter().enumerate() {
            let middle = left + step * (i as f64 + 0.5);
            draw_column(&mut canvas, &axis, column, (middle, step));
            if i % every == 0 {
                canvas.text((middle, bottom + 14.0), Lean::Middle, &column.label);
                canvas.label((middle, bottom + 32.0), Lean::Middle, &column.under);
            }
        }
        canvas.line((left, bottom), (WIDTH, bottom), Stroke::Range);
        canvas.finish(self.caption, bottom + 46.0)
    }
}

fn draw_column(canvas: &mut Canvas, axis: &Axis, column: &Column, (middle, step): (f64, f64)) {
    let half = (0.36 * step).min(22.0);
    let bottom = axis.place(0.0);
    match column.value {
        Some(value) if 0.0 < value => canvas.bar(
            Frame {
                left: middle - half,
                top: axis.place(value),
                right: middle + half,
                bottom,
            },
            Fill::Open,
        ),
        Some(_) => {}
        None => canvas.label((middle, bottom - 10.0), Lean::Middle, "?"),
    }
    if let Some((low, high)) = column.range.filter(|(low, high)| low < high) {
        let (low, high) = (axis.place(low), axis.place(high));
        canvas.line((middle, low), (middle, high), Stroke::Strong);
        for y in [low, high] {
            let cap = (half / 2.0).min(6.0);
            canvas.line((middle - cap, y), (middle + cap, y), Stroke::Strong);
        }
    }
}
