//! What stands through all lanes and under them: now, deliveries, and the key.

use super::axis::Axis;
use super::{Canvas, Data, Lanes, TOP};
use crate::drawing::width;

const CHANGEOVER: &str = "changeover";
const NIGHT: &str = "night, folded to a quarter";

/// Two rows of words under the lanes, and what is taken of each.
struct Rows {
    taken: [Vec<(f64, f64)>; 2],
    wide: f64,
}

impl Rows {
    fn free(&self, row: usize, from: f64, to: f64) -> bool {
        from >= 0.0
            && to <= self.wide
            && !self.taken[row]
                .iter()
                .any(|(a, b)| from < b + 12.0 && to > a - 12.0)
    }

    fn take(&mut self, row: usize, from: f64, to: f64) -> bool {
        let free = self.free(row, from, to);
        if free {
            self.taken[row].push((from, to));
        }
        free
    }
}

/// Draws them; the height of the whole drawing.
pub fn draw(canvas: &mut Canvas, data: &Data, axis: &Axis, lanes: &Lanes) -> i64 {
    let bottom = lanes.bottom;
    let base = bottom + 18.0;
    let mut rows = Rows {
        taken: [Vec::new(), Vec::new()],
        wide: canvas.wide,
    };
    let mut deep = false;

    let now = axis.x(data.now);
    canvas.path(
        "tl-now",
        "3",
        format!("M{} {}V{}", now + 0.5, TOP - 1.0, bottom + 2.0),
    );
    canvas.path("act-fill", "0", wedge(now, bottom));
    rows.take(
        0,
        now - 7.0,
        now + 12.0 + width(&data.now_words, 15.0, true),
    );
    canvas.text("now", now + 12.0, base, &data.now_words);

    let mut deliveries: Vec<(f64, &String)> = data
        .deliveries
        .iter()
        .map(|(at, words)| (axis.x(*at), words))
        .collect();
    deliveries.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (x, words) in deliveries {
        canvas.path(
            "tl-delivery",
            "3",
            format!("M{} {}V{}", x + 0.5, TOP + 2.0, bottom + 2.0),
        );
        canvas.path("ink", "0", wedge(x, bottom));
        deep |= delivery_words(canvas, &mut rows, x, words, base);
    }
    deep |= key(canvas, &mut rows, base);
    let height = base + 6.0 + if deep { 20.0 } else { 0.0 };
    #[expect(clippy::cast_possible_truncation, reason = "a few hundred pixels")]
    let height = height.ceil() as i64;
    height
}

fn wedge(x: f64, bottom: f64) -> String {
    format!("M{} {}h14l-7 -10z", x - 6.5, bottom + 13.0)
}

/// The words of a delivery left of its wedge, right of it, or in the second row; whether that is used.
fn delivery_words(canvas: &mut Canvas, rows: &mut Rows, x: f64, words: &str, base: f64) -> bool {
    let wide = width(words, 15.0, true);
    if rows.take(0, x - 12.0 - wide, x + 7.0) {
        canvas.text("strong end", x - 12.0, base, words);
        return false;
    }
    if rows.take(0, x - 7.0, x + 13.0 + wide) {
        canvas.text("strong", x + 13.0, base, words);
        return false;
    }
    if rows.take(1, x + 7.0 - wide, x + 7.0) {
        canvas.text("strong end", x + 7.0, base + 20.0, words);
        return true;
    }
    if rows.take(1, x - 7.0, x - 7.0 + wide) {
        canvas.text("strong", x - 7.0, base + 20.0, words);
        return true;
    }
    false
}

/// The key where there is room for it; whether the second row is used.
fn key(canvas: &mut Canvas, rows: &mut Rows, base: f64) -> bool {
    let (first, second) = (width(CHANGEOVER, 15.0, false), width(NIGHT, 15.0, false));
    let wide = 26.0 + first + 20.0 + 26.0 + second;
    for row in 0..2 {
        let mut starts: Vec<f64> = rows.taken[row]
            .iter()
            .map(|(_, to)| to + 24.0)
            .chain([0.0])
            .collect();
        starts.sort_by(f64::total_cmp);
        let Some(x) = starts
            .into_iter()
            .map(f64::round)
            .find(|x| rows.free(row, *x, x + wide))
        else {
            continue;
        };
        let y = base + if row == 0 { 0.0 } else { 20.0 };
        let uprights: String = (0..5)
            .map(|n| format!("M{} {}v13", x + 1.25 + 4.0 * f64::from(n), y - 12.0))
            .collect();
        canvas.path("ink-line", "1.5", uprights);
        canvas.text("", x + 26.0, y, CHANGEOVER);
        let night = (x + 46.0 + first).round();
        canvas.path(
            "hair-line",
            "1",
            format!("M{night} {}h18m-18 6h18", y - 8.5),
        );
        canvas.text("", night + 26.0, y, NIGHT);
        return row == 1;
    }
    false
}
