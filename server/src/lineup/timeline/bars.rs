//! Bars of the cell and the stations, with their place numbers.

use super::axis::Axis;
use super::gather::{Kind, Span};
use super::{Canvas, Data, LEFT, Lanes, axis};
use crate::drawing::width;

/// A bar on the page.
struct Bar<'a> {
    span: &'a Span,
    row: usize,
    left: f64,
    right: f64,
}

/// Below so many pixels a bar would be all frame, as if it were done.
const NARROW: f64 = 12.0;

/// Whether a bar of the cell is too narrow for its number, so that a strip above must hold it.
pub fn needs_strip(data: &Data, axis: &Axis, lane: usize) -> bool {
    data.spans_of(lane)
        .filter(|s| s.kind == Kind::Work)
        .any(|s| {
            let wide = (axis.x(s.to) - axis.x(s.from)).max(6.0);
            wide - 6.0 < width(&s.name, 15.0, true) + 1.0
        })
}

#[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
pub const fn count(rows: usize) -> f64 {
    rows as f64
}

pub fn draw(canvas: &mut Canvas, data: &Data, axis: &Axis, lanes: &Lanes, lane: usize) {
    let bars: Vec<Bar<'_>> = data
        .spans_of(lane)
        .zip(&lanes.rows[lane])
        .map(|(span, row)| {
            let (left, right) = (axis.x(span.from), axis.x(span.to));
            let right = if span.kind == Kind::Work {
                right.max(left + 6.0)
            } else {
                right
            };
            Bar {
                span,
                row: *row,
                left,
                right,
            }
        })
        .collect();
    let mut above = Vec::new();
    let mut said: Vec<f64> = vec![axis::pixels(LEFT) - 4.0; bars.len() + 1];
    for (n, bar) in bars.iter().enumerate() {
        let [top, high] = place_of(data, lanes, lane, bar.row);
        if bar.span.kind == Kind::Setup {
            canvas.path("ink-line", "1.5", uprights(bar, top, high));
            continue;
        }
        frame(canvas, data, lane, bar, top, high);
        let same = |b: &&Bar<'_>| b.row == bar.row;
        let next = bars[n + 1..]
            .iter()
            .find(same)
            .map_or(canvas.wide, |b| b.left);
        let before = bars[..n]
            .iter()
            .rev()
            .find(same)
            .map_or(axis::pixels(LEFT), |b| b.right)
            .max(said[bar.row] + 4.0);
        if data.is_cell(lane) {
            number_in_cell(canvas, bar, top, high, &mut above);
        } else if let Some(end) = number(canvas, bar, top + high / 2.0 + 5.5, next, before) {
            said[bar.row] = end;
        }
    }
    numbers_above(canvas, &above, lanes.top[lane] + 17.0);
}

fn place_of(data: &Data, lanes: &Lanes, lane: usize, row: usize) -> [f64; 2] {
    let (top, high) = (lanes.top[lane], lanes.high[lane]);
    if data.is_cell(lane) {
        [top + high - 34.0, 30.0]
    } else if high <= 27.0 {
        [top + 5.0, 18.0]
    } else {
        [top + 5.0 + 20.0 * count(row), 16.0]
    }
}

fn frame(canvas: &mut Canvas, data: &Data, lane: usize, bar: &Bar<'_>, top: f64, high: f64) {
    let (class, thick) = match lane {
        _ if data.is_other(lane) => ("tl-other", 1.0),
        _ if bar.right - bar.left < NARROW => ("frame narrow", 1.5),
        _ if data.is_cell(lane) => ("frame cell", 3.0),
        _ => ("frame", 2.0),
    };
    if data.is_other(lane) {
        let wide = bar.right - bar.left;
        canvas.rect("ink", [bar.left, top + high - 5.0, wide, 5.0], "");
    }
    let title = format!("{}, place {}", data.lanes[lane], bar.span.name);
    let half = thick / 2.0;
    canvas.rect(
        class,
        [
            bar.left + half,
            top + half,
            bar.right - bar.left - thick,
            high - thick,
        ],
        title,
    );
}

/// Changeover: uprights every 4 pixels, counted from the stage they lead to.
fn uprights(bar: &Bar<'_>, top: f64, high: f64) -> String {
    let mut d = String::new();
    let mut x = bar.right - 1.75;
    while x >= bar.left || d.is_empty() {
        d.push_str(&format!("M{x} {top}v{high}"));
        x -= 4.0;
    }
    d
}

fn number_in_cell(
    canvas: &mut Canvas,
    bar: &Bar<'_>,
    top: f64,
    high: f64,
    above: &mut Vec<(f64, String)>,
) {
    let middle = f64::midpoint(bar.left, bar.right);
    let inner = bar.right - bar.left - 6.0;
    let name = &bar.span.name;
    if inner >= width(name, 18.0, true) {
        canvas.text("tl-place", middle, top + high / 2.0 + 6.5, name);
    } else if inner > width(name, 15.0, true) {
        canvas.text("strong middle", middle, top + high / 2.0 + 5.5, name);
    } else {
        above.push((middle, name.clone()));
    }
}

/// The number in its bar, or right of it, or left; where a number right of a bar ends.
fn number(canvas: &mut Canvas, bar: &Bar<'_>, base: f64, next: f64, before: f64) -> Option<f64> {
    let name = &bar.span.name;
    let wide = width(name, 15.0, true);
    if bar.right - bar.left - 4.0 > wide {
        canvas.text(
            "strong middle",
            f64::midpoint(bar.left, bar.right),
            base,
            name,
        );
        None
    } else if next - bar.right >= wide + 7.0 {
        canvas.text("strong clear", bar.right + 4.0, base, name);
        Some(bar.right + 4.0 + wide)
    } else {
        if bar.left - before >= wide + 7.0 {
            canvas.text("strong clear end", bar.left - 4.0, base, name);
        }
        None
    }
}

/// Numbers of narrow bars above them; those that would touch stand together.
fn numbers_above(canvas: &mut Canvas, above: &[(f64, String)], base: f64) {
    let mut groups: Vec<(f64, f64, String)> = Vec::new();
    for (x, name) in above {
        match groups.last_mut() {
            Some((from, to, names))
                if x - width(name, 15.0, true) / 2.0
                    < f64::midpoint(*from, *to) + width(names, 15.0, true) / 2.0 + 6.0 =>
            {
                *to = *x;
                names.push(' ');
                names.push_str(name);
            }
            _ => groups.push((*x, *x, name.clone())),
        }
    }
    for (from, to, names) in groups {
        canvas.text("strong middle clear", f64::midpoint(from, to), base, names);
    }
}

/// The idle cell as a dotted bar that says why.
pub fn idle(canvas: &mut Canvas, data: &Data, axis: &Axis, lanes: &Lanes) {
    let Some((from, to, why)) = &data.idle else {
        return;
    };
    let left = axis.x(*from) + 6.0;
    let wide = ((axis.x(*to) - 6.0 - left) / 6.0).floor() * 6.0;
    if wide < 24.0 {
        return;
    }
    let top = lanes.top[0] + lanes.high[0] - 33.0;
    canvas.rect("dots", [left, top + 1.5, wide, 24.0], "");
    let fits = [why.as_str(), "waits"]
        .into_iter()
        .find(|t| width(t, 15.0, false) <= wide - 24.0);
    if let Some(text) = fits {
        let (middle, long) = (left + wide / 2.0, width(text, 15.0, false));
        canvas.rect(
            "ground",
            [middle - long / 2.0 - 4.0, top + 4.0, long + 8.0, 19.0],
            "",
        );
        canvas.text("middle", middle, top + 19.0, text);
    }
}
