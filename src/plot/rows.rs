//! A picture of rows: each has a name above it, and along one axis a bar, a range or marks.

use super::axis::{Axis, Scale, round_up};
use super::canvas::{Canvas, Fill, Frame, Lean, Mark, Stroke, lean_at};
use super::key::{self, Key};
use super::{Caption, Picture, WIDTH, text};

/// One row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// Its name.
    pub label: String,
    /// Its figures in words, to the right of the name.
    pub told: String,
    /// A bar from 0, its pieces end to end.
    pub bars: Vec<(Fill, f64)>,
    /// A range; an end that is `None` runs to the end of the axis.
    pub range: Option<(Option<f64>, Option<f64>)>,
    /// Marks.
    pub marks: Vec<(Mark, f64)>,
}

/// Rows under one heading.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Group {
    /// The heading; `None` for rows without one.
    pub heading: Option<String>,
    /// The rows.
    pub rows: Vec<Row>,
}

/// A value to compare every row with.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// The value.
    pub value: f64,
    /// What it means.
    pub words: String,
}

/// The picture.
pub struct RowsFigure<'a> {
    /// What it is called.
    pub caption: Caption,
    /// [`Scale::Linear`] from 0, or [`Scale::Log`].
    pub scale: Scale,
    /// Ends of the axis; `None`: as the rows need.
    pub ends: Option<(f64, f64)>,
    /// What the axis shows, with its unit.
    pub axis: String,
    /// How a value on the axis is written.
    pub tell: &'a dyn Fn(f64) -> String,
    /// A value to compare with.
    pub reference: Option<Reference>,
    /// What marks and lines mean.
    pub key: Vec<Key>,
    /// The rows.
    pub groups: Vec<Group>,
}

/// Height of a heading.
const HEADING: f64 = 28.0;
/// Height of a row: its words, then its line.
const ROW: f64 = 42.0;
/// Height of a row's words.
const WORDS: f64 = 20.0;
/// Free space at both ends of the axis.
const MARGIN: f64 = 24.0;

impl RowsFigure<'_> {
    /// Draws it.
    #[must_use]
    pub fn draw(self) -> Picture {
        let mut canvas = Canvas::default();
        let mut y = key::draw(&mut canvas, 2.0, &self.key);
        if let Some(reference) = &self.reference {
            canvas.line((2.0, y + 6.0), (22.0, y + 6.0), Stroke::Dashed);
            canvas.text((28.0, y + 6.0), Lean::Start, &reference.words);
            y += 22.0;
        }
        let heights = self.groups.iter().map(|group| {
            let heading = group.heading.as_ref().map_or(0.0, |_| HEADING);
            heading + ROW * group.rows.len() as f64
        });
        let bottom = y + heights.sum::<f64>() + 4.0;
        let axis = Axis::new(self.scale, self.ends(), (MARGIN, WIDTH - MARGIN));
        let marked = axis.ticks(self.tell, false);
        self.under(&mut canvas, &marked, bottom);
        for group in &self.groups {
            if let Some(heading) = &group.heading {
                canvas.heading((0.0, y + HEADING / 2.0 + 2.0), heading, WIDTH);
                y += HEADING;
            }
            for row in &group.rows {
                self.grid(&mut canvas, &axis, &marked, y);
                draw_row(&mut canvas, &axis, row, y);
                y += ROW;
            }
        }
        canvas.finish(self.caption, bottom + 48.0)
    }

    /// Ends of the axis that hold everything.
    fn ends(&self) -> (f64, f64) {
        if let Some(ends) = self.ends {
            return ends;
        }
        let rows = self.groups.iter().flat_map(|g| &g.rows);
        let values = rows.flat_map(|row| {
            let (low, high) = row.range.unwrap_or((None, None));
            let marks = row.marks.iter().map(|(_, v)| *v);
            let bar: f64 = row.bars.iter().map(|(_, v)| v).sum();
            let bar = (!row.bars.is_empty()).then_some(bar);
            marks
                .chain(low)
                .chain(high)
                .chain(bar)
                .collect::<Vec<f64>>()
        });
        let values = values.chain(self.reference.as_ref().map(|r| r.value));
        let usable = |v: &f64| v.is_finite() && (self.scale == Scale::Linear || 0.0 < *v);
        let values: Vec<f64> = values.filter(usable).collect();
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if self.scale == Scale::Linear {
            return (0.0, round_up(high));
        }
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        if values.is_empty() {
            return (0.5, 2.0);
        }
        (low / 1.15, high * 1.15)
    }

    /// The lines of the grid beside one row's line; its words stay clear of them.
    fn grid(&self, canvas: &mut Canvas, axis: &Axis, marked: &[(f64, f64, String)], top: f64) {
        let (from, to) = (top + WORDS, top + ROW);
        for (_, x, _) in marked {
            canvas.line((*x, from), (*x, to), Stroke::Rule);
        }
        if let Some(reference) = &self.reference {
            let x = axis.place(reference.value);
            canvas.line((x, from), (x, to), Stroke::Dashed);
        }
    }

    /// What stands under the rows.
    fn under(&self, canvas: &mut Canvas, marked: &[(f64, f64, String)], bottom: f64) {
        for (_, x, words) in marked {
            canvas.label((*x, bottom + 13.0), lean_at(*x, words), words);
        }
        canvas.line((0.0, bottom), (WIDTH, bottom), Stroke::Range);
        canvas.label((WIDTH / 2.0, bottom + 36.0), Lean::Middle, &self.axis);
    }
}

fn draw_row(canvas: &mut Canvas, axis: &Axis, row: &Row, top: f64) {
    let (words, line) = (top + 10.0, top + 30.0);
    canvas.text((WIDTH, words), Lean::End, &row.told);
    let room = WIDTH - text::width(&row.told) - 10.0;
    canvas.text_within((0.0, words), Lean::Start, &row.label, room);
    let mut from = 0.0;
    for (fill, value) in &row.bars {
        let frame = Frame {
            left: axis.place(from),
            top: line - 6.0,
            right: axis.place(from + value),
            bottom: line + 6.0,
        };
        if 0.0 < *value {
            canvas.bar(frame, *fill);
        }
        from += value;
    }
    if let Some((low, high)) = row.range {
        let left = low.map_or(0.0, |v| axis.place(v));
        let right = high.map_or(WIDTH, |v| axis.place(v));
        canvas.line((left, line), (right, line), Stroke::Range);
        for (x, is) in [(left, low.is_some()), (right, high.is_some())] {
            if is {
                canvas.line((x, line - 5.0), (x, line + 5.0), Stroke::Range);
            }
        }
    }
    for (mark, value) in &row.marks {
        canvas.mark(*mark, (axis.place(*value), line));
    }
}
