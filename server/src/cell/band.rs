//! The velocity ratio of a setting as a band between what builds and what wears away.

use mendpost_core::lineup::Flight;

use crate::drawing::{Canvas, Drawing, px, width};

/// One band.
pub struct Band<'a> {
    pub name: &'static str,
    pub flight: &'a Flight,
    /// Filled, or a frame.
    pub today: bool,
}

/// The drawing, so many pixels wide. The axis begins at zero.
pub fn draw(bands: &[Band<'_>], wide: i64) -> Drawing {
    let highest = bands.iter().map(|b| b.flight.high_permille).max();
    let axis = Axis {
        wide: px(wide),
        most: (px(highest.unwrap_or(0)) / 1000.0 * 1.05).max(2.4),
    };
    let mut canvas = Canvas::default();
    let base = ROW * px(i64::try_from(bands.len()).unwrap_or(0)) + FOOT;
    for (place, band) in (0_i64..).zip(bands) {
        row(&mut canvas, &axis, band, ROW * px(place));
    }
    posts(&mut canvas, &axis, base - FOOT + 4.0, base);
    canvas.path("lot-base", format!("M0 {base}H{wide}"));
    let lowest = zones(&mut canvas, &axis, base);
    Drawing {
        id: format!("ratio-{wide}"),
        width: wide,
        height: crate::drawing::whole_px(lowest + 8.0),
        title: "Particle velocity over critical velocity with its 15 per cent; the table below \
                has the figures"
            .to_owned(),
        marks: canvas.marks,
    }
}

/// A line of words, under it the bar between its posts.
const ROW: f64 = 60.0;
const BAR: f64 = 16.0;
/// From the last bar to the base line.
const FOOT: f64 = 8.0;

struct Axis {
    wide: f64,
    most: f64,
}

impl Axis {
    fn x(&self, ratio: f64) -> f64 {
        (ratio / self.most * self.wide).round()
    }

    fn of(&self, permille: i64) -> f64 {
        self.x(px(permille) / 1000.0)
    }
}

fn row(canvas: &mut Canvas, axis: &Axis, band: &Band<'_>, top: f64) {
    let flight = band.flight;
    let [low, mid, high] = [
        flight.low_permille,
        flight.ratio_permille,
        flight.high_permille,
    ];
    let words = format!(
        "{} {}, from {} to {}",
        band.name,
        hundredths(mid),
        hundredths(low),
        hundredths(high)
    );
    let class = if band.today { "strong" } else { "" };
    canvas.text(class, 0.0, top + 18.0, words);
    posts(canvas, axis, top + 26.0, top + ROW);
    let (x, y) = (axis.of(low), top + 34.0);
    let w = axis.of(high) - x;
    if band.today {
        canvas.rect("ink", [x, y, w, BAR]);
    } else {
        canvas.rect("ground", [x, y, w, BAR]);
        canvas.rect("frame heavy", [x + 1.75, y + 1.75, w - 3.5, BAR - 3.5]);
    }
    let class = if band.today { "ground" } else { "ink" };
    canvas.rect(class, [axis.of(mid) - 2.0, y, 4.0, BAR]);
}

/// Critical velocity and erosion, and dotted the limits of the words between.
fn posts(canvas: &mut Canvas, axis: &Axis, from: f64, to: f64) {
    for at in [1.0, 2.0] {
        canvas.path("tl-back", format!("M{} {from}V{to}", axis.x(at)));
    }
    for limit in [0.9, 1.2] {
        canvas.path("tl-people", format!("M{} {from}V{to}", axis.x(limit)));
    }
}

/// What each stretch of the axis says; a word that does not fit goes a line lower. Gives the foot.
fn zones(canvas: &mut Canvas, axis: &Axis, base: f64) -> f64 {
    for (at, word) in [(1.0, "1, critical"), (2.0, "2, erosion")] {
        canvas.text("strong middle", axis.x(at), base + 20.0, word);
    }
    canvas.text("strong", 0.0, base + 20.0, "0");
    let base = base + 22.0;
    let mut lowest = base + 20.0;
    for (from, to, word) in [
        (0.0, 0.9, "unlikely to build"),
        (0.9, 1.2, "coupon first"),
        (1.2, 2.0, "no objection"),
        (2.0, axis.most, "may wear"),
    ] {
        let (left, right) = (axis.x(from), axis.x(to));
        let fits = width(word, 15.0, false) + 8.0 < right - left;
        let y = base + if fits { 20.0 } else { 40.0 };
        lowest = lowest.max(y);
        let half = width(word, 15.0, false) / 2.0;
        let middle = f64::midpoint(left, right).clamp(half, axis.wide - half);
        canvas.text("middle", middle, y, word);
    }
    lowest
}

/// '1.34'.
pub fn hundredths(permille: i64) -> String {
    let rounded = (permille + 5).div_euclid(10);
    format!("{}.{:02}", rounded / 100, rounded % 100)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_has_two_figures_after_the_point() {
        assert_eq!(hundredths(1345), "1.35");
        assert_eq!(hundredths(900), "0.90");
        assert_eq!(hundredths(2004), "2.00");
    }
}
