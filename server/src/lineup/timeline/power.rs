//! The lane of electrical power: what works at a time, under a dotted line at what the set gives.

use super::axis::{self, Axis};
use super::{Canvas, Data, Lanes};

/// Drawn as high as the set's rating.
const FULL: f64 = 22.0;

pub fn draw(canvas: &mut Canvas, data: &Data, axis: &Axis, lanes: &Lanes) {
    let lane = lanes.power();
    let floor = lanes.top[lane] + lanes.high[lane] - 2.0;
    let (from, to) = (axis.x(data.start), axis.x(data.end));
    let rated = floor - FULL - 1.0;
    canvas.path("tl-people", "2", format!("M{from} {rated}H{to}"));
    let ends = data.power.iter().skip(1).map(|(at, _)| *at);
    for ((at, watts), until) in data.power.iter().zip(ends.chain([data.end])) {
        let (left, right) = (axis.x(*at), axis.x(until));
        let high = height(*watts, data.rated_w);
        if right > left && high > 0.0 {
            canvas.rect("ink", [left, floor - high, right - left, high], "");
        }
    }
}

fn height(watts: i64, rated_w: i64) -> f64 {
    let share = axis::pixels(watts.clamp(0, rated_w)) / axis::pixels(rated_w.max(1));
    (share * FULL).round()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half the rating is half the height, and what the set cannot give is not drawn beyond it.
    #[test]
    fn the_rating_is_the_full_height() {
        assert!((height(30_000, 60_000) - FULL / 2.0).abs() < 0.5);
        assert!((height(90_000, 60_000) - FULL).abs() < 0.5);
        assert!(height(0, 60_000) < 0.5);
    }
}
