//! The two last lanes: people busy, and what is back when.

use super::axis::{self, Axis};
use super::{Canvas, Data, LEFT, Lanes};
use crate::drawing::width;

/// One pass for each person busy, under a dotted line at how many there are.
pub fn draw(canvas: &mut Canvas, data: &Data, axis: &Axis, lanes: &Lanes) {
    let floor = lanes.top[lanes.people()] + lanes.high[lanes.people()] - 2.0;
    for (from, to, people) in &data.duty {
        let y = floor - 7.0 * axis::pixels(*people) - 2.0;
        let (left, right) = (axis.x(*from) + 1.0, axis.x(*to));
        if right > left {
            canvas.path("tl-people", "2", format!("M{left} {y}H{right}"));
        }
    }
    for (level, from, to) in levels(&data.busy) {
        let (left, right) = (axis.x(from), axis.x(to));
        if right > left {
            let y = floor - 7.0 * axis::pixels(level) + 1.0;
            canvas.rect("ink", [left, y, (right - left).max(2.0), 5.0], "");
        }
    }
}

/// Stretches during which at least so many are busy: level, from, to.
fn levels(busy: &[(i64, i64)]) -> Vec<(i64, i64, i64)> {
    let mut cuts: Vec<i64> = busy.iter().flat_map(|(a, b)| [*a, *b]).collect();
    cuts.sort_unstable();
    cuts.dedup();
    let mut levels: Vec<(i64, i64, i64)> = Vec::new();
    for pair in cuts.windows(2) {
        let people = busy
            .iter()
            .filter(|(a, b)| *a <= pair[0] && *b >= pair[1])
            .count();
        for level in 1..=i64::try_from(people).unwrap_or(0) {
            match levels
                .iter_mut()
                .find(|(l, _, to)| *l == level && *to == pair[0])
            {
                Some(stretch) => stretch.2 = pair[1],
                None => levels.push((level, pair[0], pair[1])),
            }
        }
    }
    levels
}

/// An upright for each asset that is back, its place number beside it; numbers that have no room
/// stand with the next one.
pub fn back(canvas: &mut Canvas, back: &[(i64, String)], axis: &Axis, [top, bottom]: [f64; 2]) {
    let mut ticks: Vec<(f64, &String)> =
        back.iter().map(|(at, name)| (axis.x(*at), name)).collect();
    ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut free = axis::pixels(LEFT);
    let mut held: Vec<&str> = Vec::new();
    for (n, (x, name)) in ticks.iter().enumerate() {
        canvas.path(
            "tl-back",
            "4",
            format!("M{} {}V{bottom}", x + 2.0, top + 4.0),
        );
        held.push(name);
        let text = held.join(" ");
        let wide = width(&text, 15.0, true);
        let next = ticks.get(n + 1).map_or(canvas.wide, |(x, _)| *x);
        if next - x - 4.0 >= wide + 8.0 {
            canvas.text("strong clear", x + 8.0, top + 19.0, text);
            free = x + 8.0 + wide;
            held.clear();
        } else if x - free >= wide + 8.0 {
            canvas.text("strong clear end", x - 4.0, top + 19.0, text);
            free = x + 4.0;
            held.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One person from 0 to 10, a second from 4 to 6: the first pass is whole, the second short.
    #[test]
    fn a_pass_for_each_person_busy() {
        assert_eq!(levels(&[(0, 10), (4, 6)]), vec![(1, 0, 10), (2, 4, 6)]);
    }
}
