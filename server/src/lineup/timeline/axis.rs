//! Time across the page: hours off duty count a quarter.

/// A stretch off duty shorter than this is not folded, in minutes.
const SHORTEST_NIGHT: i64 = 240;

/// What an hour off duty is drawn as, in parts of an hour on duty.
const FOLD: f64 = 0.25;

/// Minutes since 1970 to pixels, from the left edge of the first lane to its right edge.
pub struct Axis {
    pub start: i64,
    pub end: i64,
    /// Stretches that are folded.
    pub nights: Vec<(i64, i64)>,
    left: f64,
    scale: f64,
}

impl Axis {
    /// `shifts` sorted and disjoint.
    pub fn new(start: i64, end: i64, shifts: &[(i64, i64)], left: i64, right: i64) -> Self {
        let mut nights = Vec::new();
        let mut awake = start;
        for (from, to) in shifts.iter().copied().chain([(end, end)]) {
            let from = from.min(end);
            if from - awake >= SHORTEST_NIGHT {
                nights.push((awake, from));
            }
            awake = awake.max(to);
        }
        let mut axis = Axis {
            start,
            end,
            nights,
            left: pixels(left),
            scale: 1.0,
        };
        let whole = axis.weight(end);
        axis.scale = if whole > 0.0 {
            pixels(right - left) / whole
        } else {
            0.0
        };
        axis
    }

    /// Where a moment stands, on a whole pixel.
    pub fn x(&self, at: i64) -> f64 {
        (self.left + self.scale * self.weight(at.clamp(self.start, self.end))).round()
    }

    fn weight(&self, at: i64) -> f64 {
        let folded: i64 = self
            .nights
            .iter()
            .map(|(a, b)| (at.min(*b) - a).max(0))
            .sum();
        pixels(at - self.start) - (1.0 - FOLD) * pixels(folded)
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "minutes and pixels of a page stay far below 2^53"
)]
pub const fn pixels(value: i64) -> f64 {
    value as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two days of 06:00 to 18:00 from midnight to midnight: 24 hours on duty, and 24 off that
    /// count as 6, so 30 parts over 300 pixels. Noon of day 1: 6 h off = 1.5 parts, 6 on = 6.
    #[test]
    fn a_night_is_drawn_at_a_quarter() {
        let hour = 60;
        let shifts = [(6 * hour, 18 * hour), (30 * hour, 42 * hour)];
        let axis = Axis::new(0, 48 * hour, &shifts, 0, 300);
        assert_eq!(axis.nights.len(), 3);
        assert!((axis.x(12 * hour) - 75.0).abs() < 1e-9);
        assert!((axis.x(48 * hour) - 300.0).abs() < 1e-9);
    }
}
