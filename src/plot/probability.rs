//! A probability plot: on its axes the lives of one distribution lie on a straight line.

use super::axis::{Axis, Scale, percent};
use super::canvas::{Canvas, Frame, Lean, Mark, Stroke, lean_at};
use super::key::{self, Sample};
use super::{Caption, Picture, WIDTH, text};
use crate::model::Distribution;

/// A wear-out, several at one exposure, or a stretch in which some lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SharePoint {
    /// It lies above this exposure ..
    pub low: f64,
    /// .. and not above this one.
    pub high: f64,
    /// Share worn out to plot it at.
    pub share: f64,
    /// Lower limit of the share worn out by `high`.
    pub share_low: Option<f64>,
    /// Upper limit of the share worn out by `high`.
    pub share_high: Option<f64>,
}

/// The picture.
pub struct ProbabilityFigure<'a> {
    /// What it is called.
    pub caption: Caption,
    /// On whose axes.
    pub distribution: Distribution,
    /// What the level axis shows, with its unit.
    pub across: String,
    /// What the upright axis shows, with its unit.
    pub upward: String,
    /// How an exposure is written.
    pub tell: &'a dyn Fn(f64) -> String,
    /// The lives, in the order of exposure.
    pub points: Vec<SharePoint>,
    /// The fit: exposure and share worn out.
    pub line: Vec<(f64, f64)>,
    /// What the band is, such as `range of the lives alone, 90 %`.
    pub band: &'static str,
}

/// How far the band goes on beyond the last wear-out, just to be seen.
const LAST: f64 = 1.03;
/// Height of the field.
const FIELD: f64 = 300.0;

impl ProbabilityFigure<'_> {
    /// Draws it.
    #[must_use]
    pub fn draw(self) -> Picture {
        let mut canvas = Canvas::default();
        let key = [
            (Sample::Mark(Mark::Ring), "worn out"),
            (Sample::Line(Stroke::Strong), "the life model"),
            (Sample::Bar(super::Fill::Pale), self.band),
        ];
        let top = key::draw(&mut canvas, 2.0, &key);
        canvas.label((0.0, top + 10.0), Lean::Start, &self.upward);
        let (top, bottom) = (top + 30.0, top + 30.0 + FIELD);
        let frame = Frame {
            left: text::width("99.9 %") + 8.0,
            top,
            right: WIDTH - 4.0,
            bottom,
        };
        let (across, upward) = self.axes(frame);
        for (_, x, words) in across.ticks(self.tell, false) {
            canvas.line((x, top), (x, bottom), Stroke::Rule);
            canvas.label((x, bottom + 13.0), lean_at(x, &words), &words);
        }
        for (_, y, words) in upward.ticks(percent, true) {
            canvas.line((frame.left, y), (frame.right, y), Stroke::Rule);
            canvas.label((frame.left - 6.0, y), Lean::End, &words);
        }
        let name = self.caption.name.clone();
        canvas.within(&name, frame, |canvas| {
            self.band(canvas, &across, &upward);
            self.fit(canvas, &across, &upward);
        });
        for point in &self.points {
            draw_point(&mut canvas, point, &across, &upward);
        }
        let (left, right) = (frame.left, frame.right);
        canvas.line((left, bottom), (right, bottom), Stroke::Range);
        canvas.line((left, top), (left, bottom), Stroke::Range);
        let middle = f64::midpoint(left, right);
        canvas.label((middle, bottom + 36.0), Lean::Middle, &self.across);
        canvas.finish(self.caption, bottom + 48.0)
    }

    /// Axes that hold every point; band and line may leave them.
    fn axes(&self, frame: Frame) -> (Axis, Axis) {
        let shares = || self.points.iter().map(|p| p.share);
        let least = shares().fold(1.0, f64::min);
        let most = shares().fold(0.0, f64::max);
        let low = (least / 2.0).clamp(0.0008, 0.3);
        let high = (1.0 - (1.0 - most) / 2.0).clamp(0.55, 0.9995);
        let ends = self.points.iter().flat_map(|p| [p.low, p.high]);
        let ends = ends.filter(|x| 0.0 < *x);
        let first = ends.clone().fold(f64::INFINITY, f64::min);
        let last = ends.fold(0.0, f64::max);
        let upward = Axis::new(
            Scale::Share(self.distribution),
            (low, high),
            (frame.bottom, frame.top),
        );
        let across = Axis::new(
            Scale::Log,
            (first / 1.3, last * 1.3),
            (frame.left, frame.right),
        );
        (across, upward)
    }

    /// From one wear-out to the next the share and its limits stay as they are.
    fn band(&self, canvas: &mut Canvas, across: &Axis, upward: &Axis) {
        let (mut lower, mut upper) = (Vec::new(), Vec::new());
        for (i, point) in self.points.iter().enumerate() {
            let (Some(low), Some(high)) = (point.share_low, point.share_high) else {
                break;
            };
            let next = self.points.get(i + 1).map_or(point.high * LAST, |p| p.high);
            for x in [point.high, next].map(|x| across.place(x)) {
                lower.push((x, upward.place(low)));
                upper.push((x, upward.place(high)));
            }
        }
        lower.reverse();
        upper.extend(lower);
        canvas.area(&upper);
    }

    fn fit(&self, canvas: &mut Canvas, across: &Axis, upward: &Axis) {
        let inside = |(x, share): &&(f64, f64)| 0.0 < *x && 0.0 < *share && *share < 1.0;
        let places = self.line.iter().filter(inside);
        let places: Vec<(f64, f64)> = places
            .map(|(x, share)| (across.place(*x), upward.place(*share)))
            .collect();
        canvas.path(&places, Stroke::Strong);
    }
}

/// A ring in the middle of where the wear-out may lie, and a line over all of it where that shows.
fn draw_point(canvas: &mut Canvas, point: &SharePoint, across: &Axis, upward: &Axis) {
    let y = upward.place(point.share);
    let right = across.place(point.high);
    let left = if 0.0 < point.low {
        across.place(point.low)
    } else {
        across.place(point.high / 1.3)
    };
    if 9.0 < right - left {
        canvas.line((left, y), (right, y), Stroke::Range);
    }
    canvas.mark(Mark::Ring, (f64::midpoint(left, right), y));
}
