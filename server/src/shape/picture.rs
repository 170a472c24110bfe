//! A shape as drawn: three views in one scale, the one from above over the front, the one from the right
//! beside it, as third-angle projection sets them (ISO 128-3); and a small picture.

use std::fmt::Write;

use mendpost_core::shape::{Figures, Line, PER_SIDE, View, Views, simplified};

use serde::{Deserialize, Serialize};

use super::words::millimetres;
use crate::drawing::{self, Canvas, Drawing, px, whole_px};

const WIDE: f64 = 376.0;
const LEFT: f64 = 2.0;
const GAP: f64 = 40.0;
/// The most that both views over each other take.
const TALL: f64 = 400.0;
const TOP: f64 = 24.0;
const UNDER: f64 = 24.0;
const TEXT: f64 = 15.0;

/// The three views with what the shape measures.
pub fn draw(views: &Views, figures: &Figures, name: &str) -> Drawing {
    let [length, width, height] = figures.size_um.map(millimetres);
    let [x, y, z] = figures.size_um.map(px);
    let room = [WIDE - 2.0 * LEFT - GAP, TALL];
    let scale = f64::min(room[0] / (x + y).max(1.0), room[1] / (y + z).max(1.0));
    let [x, y, z] = [x, y, z].map(|um| um * scale);
    let per_step = x.max(y).max(z) / f64::from(PER_SIDE);
    let floor = TOP + y + GAP + z;
    let front = format!("front, z {height}");
    let beside = LEFT + f64::max(x + GAP, drawing::width(&front, TEXT, false) + 16.0);
    let across = format!("y {width}");
    let end = beside + f64::max(y, drawing::width(&across, TEXT, true)) + LEFT;
    let mut canvas = Canvas::default();
    for (view, left, base) in [
        (View::Above, LEFT, TOP + y),
        (View::Front, LEFT, floor),
        (View::Right, beside, floor),
    ] {
        canvas.path("shape-line", path(views.of(view), left, base, per_step));
    }
    canvas.text("", LEFT, TOP - 8.0, "above");
    canvas.text("", LEFT, floor - z - 8.0, front);
    canvas.text("", beside, floor - z - 8.0, "right");
    canvas.text("strong", LEFT, floor + UNDER, format!("x {length}"));
    canvas.text("strong", beside, floor + UNDER, across);
    Drawing {
        id: "shape".to_owned(),
        width: whole_px(end.max(WIDE)),
        height: whole_px(floor + UNDER) + 8,
        title: format!(
            "{name} from above, from the front and from the right: {length} along x, {width} along y, \
             {height} along z"
        ),
        marks: canvas.marks,
    }
}

fn path(lines: &[Line], left: f64, base: f64, per_step: f64) -> String {
    let mut d = String::new();
    for line in lines {
        for (index, [across, up]) in line.iter().enumerate() {
            let letter = if index == 0 { 'M' } else { 'L' };
            let (x, y) = (
                left + f64::from(*across) * per_step,
                base - f64::from(*up) * per_step,
            );
            // Writing to a text does not fail.
            let _ = write!(d, "{letter}{x:.1} {y:.1}");
        }
    }
    d
}

/// A small picture to stand beside the part's name, which says what it is.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Small {
    pub width: i64,
    pub height: i64,
    pub d: String,
}

impl Small {
    /// The view that shows most, coarser.
    pub fn of(views: &Views) -> Small {
        let shown = View::ALL.map(|view| simplified(views.of(view), COARSE));
        let area = |lines: &Vec<Line>| extent(lines, 0) * extent(lines, 1);
        let lines = shown.into_iter().max_by_key(area).unwrap_or_default();
        let scale = SMALL / f64::from(PER_SIDE);
        let [width, height] = [0, 1].map(|i| f64::from(extent(&lines, i)) * scale);
        Small {
            width: whole_px(width) + 4,
            height: whole_px(height) + 4,
            d: path(&lines, 2.0, height + 2.0, scale),
        }
    }
}

const SMALL: f64 = 64.0;
const COARSE: i32 = 12;

fn extent(lines: &[Line], axis: usize) -> i32 {
    lines
        .iter()
        .flatten()
        .map(|point| point[axis])
        .max()
        .unwrap_or(0)
}
