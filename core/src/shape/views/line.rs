//! Pieces joined to lines, and lines drawn coarser.

use std::collections::BTreeMap;

/// Points from one end to the other.
pub type Line = Vec<[i32; 2]>;

/// Joins pieces end to end into lines that are as long as can be, each piece used once.
pub(super) fn chained(mut pieces: Vec<[[i32; 2]; 2]>) -> Vec<Line> {
    for piece in &mut pieces {
        piece.sort_unstable();
    }
    pieces.sort_unstable();
    pieces.dedup();
    pieces.retain(|[a, b]| a != b);
    let mut at: BTreeMap<[i32; 2], Vec<usize>> = BTreeMap::new();
    for (index, piece) in pieces.iter().enumerate() {
        for end in piece {
            at.entry(*end).or_default().push(index);
        }
    }
    // Lines begin where lines end or part; what is left then are rings.
    let ends = at.iter().filter(|(_, there)| there.len() != 2);
    let ends = ends.map(|(point, _)| *point);
    let starts: Vec<[i32; 2]> = ends.chain(at.keys().copied()).collect();
    let mut used = vec![false; pieces.len()];
    let mut lines = Vec::new();
    for start in starts {
        loop {
            let line = followed(start, &pieces, &at, &mut used);
            if line.len() < 2 {
                break;
            }
            lines.push(line);
        }
    }
    lines
}

fn followed(
    start: [i32; 2],
    pieces: &[[[i32; 2]; 2]],
    at: &BTreeMap<[i32; 2], Vec<usize>>,
    used: &mut [bool],
) -> Line {
    let mut line = vec![start];
    let mut here = start;
    while let Some(next) = at
        .get(&here)
        .and_then(|there| there.iter().find(|i| !used[**i]))
    {
        used[*next] = true;
        let [a, b] = pieces[*next];
        here = if a == here { b } else { a };
        line.push(here);
        if at.get(&here).is_none_or(|there| there.len() != 2) {
            break;
        }
    }
    line
}

/// As many points as allowed: coarser first, then without the shortest lines.
pub(super) fn few(lines: &[Line], most: usize) -> Vec<Line> {
    let count = |lines: &[Line]| lines.iter().map(Vec::len).sum::<usize>();
    let mut kept = simplified(lines, 1);
    for tolerance in [2, 4, 8] {
        if count(&kept) <= most {
            break;
        }
        kept = simplified(lines, tolerance);
    }
    if count(&kept) > most {
        kept.sort_by_key(|line| std::cmp::Reverse(length(line)));
        let mut points = 0;
        kept.retain(|line| {
            points += line.len();
            points <= most
        });
    }
    kept
}

fn length(line: &Line) -> i64 {
    let pairs = line.iter().zip(line.iter().skip(1));
    pairs.map(|(a, b)| apart(*a, *b)).sum()
}

/// The greater of both differences.
fn apart(a: [i32; 2], b: [i32; 2]) -> i64 {
    let along = |i: usize| (i64::from(a[i]) - i64::from(b[i])).abs();
    along(0).max(along(1))
}

/// The same lines with fewer points, and without lines shorter than twice the tolerance.
///
/// No point left out is off the line by more than the tolerance (Douglas and Peucker, The Canadian
/// Cartographer 10, 1973).
#[must_use]
pub fn simplified(lines: &[Line], tolerance: i32) -> Vec<Line> {
    let long = lines
        .iter()
        .filter(|line| length(line) > 2 * i64::from(tolerance));
    long.map(|line| simpler(line, f64::from(tolerance)))
        .collect()
}

fn simpler(line: &Line, tolerance: f64) -> Line {
    let mut kept = vec![false; line.len()];
    let last = line.len() - 1;
    (kept[0], kept[last]) = (true, true);
    let mut stretches = vec![(0, last)];
    while let Some((start, end)) = stretches.pop() {
        let between = (start + 1..end).map(|i| (i, off(line[i], line[start], line[end])));
        let farthest = between.max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((at, distance)) = farthest
            && distance > tolerance
        {
            kept[at] = true;
            stretches.extend([(start, at), (at, end)]);
        }
    }
    let points = line.iter().zip(kept).filter(|(_, kept)| *kept);
    points.map(|(point, _)| *point).collect()
}

/// How far a point is from the stretch between two others.
fn off(point: [i32; 2], from: [i32; 2], to: [i32; 2]) -> f64 {
    let [p, to] = [point, to].map(|q| [0, 1].map(|i| f64::from(q[i] - from[i])));
    let long = to[0] * to[0] + to[1] * to[1];
    let share = if long > 0.0 {
        ((p[0] * to[0] + p[1] * to[1]) / long).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (p[0] - share * to[0]).hypot(p[1] - share * to[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of four sides of two pieces each is one ring; its middles lie on its sides and go.
    #[test]
    fn a_square_is_one_line_of_five_points() {
        let around = [
            [0, 0],
            [50, 0],
            [100, 0],
            [100, 50],
            [100, 100],
            [50, 100],
            [0, 100],
            [0, 50],
        ];
        let next = around.iter().cycle().skip(1);
        let pieces: Vec<[[i32; 2]; 2]> = around.iter().zip(next).map(|(a, b)| [*a, *b]).collect();
        let lines = chained(pieces);
        assert_eq!(lines.len(), 1);
        let square = simplified(&lines, 1);
        assert_eq!(
            square,
            [vec![[0, 0], [0, 100], [100, 100], [100, 0], [0, 0]]]
        );
        // Four points are allowed: the ring has five, and no line is left.
        assert_eq!(few(&lines, 4), Vec::<Line>::new());
        assert_eq!(few(&lines, 5), square);
    }

    /// Three pieces that meet make three lines.
    #[test]
    fn lines_end_where_three_meet() {
        let lines = chained(vec![
            [[0, 0], [10, 0]],
            [[0, 0], [0, 10]],
            [[0, 0], [-10, 0]],
        ]);
        assert_eq!(lines.len(), 3);
    }
}
