//! The least cylinder along one of the axes that encloses a mesh.

use fastrand::Rng;

use super::{Mesh, booth};
use crate::catalogue::Envelope;

/// A cylinder around a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cylinder {
    /// Along which its middle line runs: 0 for x, 1 for y, 2 for z.
    pub axis: usize,
    /// In millimetres.
    pub diameter_mm: f64,
    /// In millimetres.
    pub length_mm: f64,
}

impl Cylinder {
    fn size_mm(&self) -> [f64; 3] {
        let mut size = [self.diameter_mm; 3];
        size[self.axis] = self.length_mm;
        size
    }

    fn bulk(&self) -> f64 {
        self.diameter_mm * self.diameter_mm * self.length_mm
    }
}

impl Cylinder {
    /// The one to turn a part in: the least that the space takes in, or the least of all if none goes in.
    #[must_use]
    pub fn least(around: [Cylinder; 3], space_mm: Envelope) -> Cylinder {
        let goes_in = |c: &&Cylinder| booth::lies_in(c.size_mm(), space_mm).is_some();
        let least = |a: &&Cylinder, b: &&Cylinder| a.bulk().total_cmp(&b.bulk());
        let within = around.iter().filter(goes_in).min_by(least);
        *within
            .or_else(|| around.iter().min_by(least))
            .unwrap_or(&around[0])
    }
}

impl Mesh {
    /// The least cylinders around it along x, along y and along z.
    #[must_use]
    pub fn around(&self) -> [Cylinder; 3] {
        [0, 1, 2].map(|axis| self.cylinder_along(axis))
    }

    fn cylinder_along(&self, axis: usize) -> Cylinder {
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let flat = self.corners.iter().map(|c| [c[u], c[v]]).collect();
        Cylinder {
            axis,
            diameter_mm: 2.0 * enclosing(hull(flat)).radius,
            length_mm: self.size_mm()[axis],
        }
    }
}

type Flat = [f64; 2];

/// The corners of the least convex outline, after Andrew (Information Processing Letters 9, 1979).
fn hull(mut points: Vec<Flat>) -> Vec<Flat> {
    points.sort_unstable_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let half = |points: &mut dyn Iterator<Item = Flat>| {
        let mut kept: Vec<Flat> = Vec::new();
        for point in points {
            while let [.., a, b] = kept[..]
                && turn(a, b, point) <= 0.0
            {
                kept.pop();
            }
            kept.push(point);
        }
        kept.pop();
        kept
    };
    let mut outline = half(&mut points.iter().copied());
    outline.extend(half(&mut points.iter().rev().copied()));
    outline
}

fn turn(a: Flat, b: Flat, c: Flat) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

#[derive(Debug, Clone, Copy)]
struct Circle {
    middle: Flat,
    radius: f64,
}

impl Circle {
    fn around(a: Flat, b: Flat) -> Circle {
        let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
        Circle {
            middle,
            radius: apart(middle, a),
        }
    }

    /// Through three points; around the outer two if they are in a line.
    fn through(a: Flat, b: Flat, c: Flat) -> Circle {
        let twice = 2.0 * turn(a, b, c);
        let ([bx, by], [cx, cy]) = ([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]);
        let (b2, c2) = (bx * bx + by * by, cx * cx + cy * cy);
        let middle = [
            a[0] + (cy * b2 - by * c2) / twice,
            a[1] + (bx * c2 - cx * b2) / twice,
        ];
        if middle.iter().all(|x| x.is_finite()) {
            let radius = apart(middle, a);
            return Circle { middle, radius };
        }
        let pairs = [(a, b), (b, c), (c, a)].map(|(a, b)| Circle::around(a, b));
        let [first, rest @ ..] = pairs;
        let wider = |a: Circle, b: Circle| if b.radius > a.radius { b } else { a };
        rest.into_iter().fold(first, wider)
    }

    fn holds(&self, point: Flat) -> bool {
        apart(self.middle, point) <= self.radius * (1.0 + 1e-12)
    }
}

fn apart(a: Flat, b: Flat) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The least circle around points, after Welzl (LNCS 555, 1991), as three loops: the points on its rim
/// are met early when they come in no order, which a fixed seed sees to.
fn enclosing(mut points: Vec<Flat>) -> Circle {
    Rng::with_seed(SEED).shuffle(&mut points);
    let mut circle = Circle {
        middle: points.first().copied().unwrap_or_default(),
        radius: 0.0,
    };
    for i in 0..points.len() {
        if circle.holds(points[i]) {
            continue;
        }
        circle = Circle::around(points[i], points[i]);
        for j in 0..i {
            if circle.holds(points[j]) {
                continue;
            }
            circle = Circle::around(points[i], points[j]);
            for k in 0..j {
                if !circle.holds(points[k]) {
                    circle = Circle::through(points[i], points[j], points[k]);
                }
            }
        }
    }
    circle
}

const SEED: u64 = 0;

#[cfg(test)]
mod tests {
    use super::*;

    /// A right triangle of 3, 4 and 5 lies in the circle over its longest side; a point within it, and a
    /// third in line, change nothing.
    #[test]
    fn circle_of_a_right_triangle_is_over_its_longest_side() {
        let points = vec![[0.0, 0.0], [3.0, 0.0], [0.0, 4.0], [1.0, 1.0], [1.5, 0.0]];
        let outline = hull(points);
        assert_eq!(outline.len(), 3);
        let circle = enclosing(outline);
        assert!((circle.radius - 2.5).abs() < 1e-12, "{circle:?}");
        assert!((enclosing(vec![[1.0, 1.0]; 3]).radius).abs() < 1e-12);
    }
}
