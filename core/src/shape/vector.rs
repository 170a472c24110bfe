//! Points in space, in millimetres.

/// Along x, y and z, in millimetres.
pub type Point = [f64; 3];

pub(super) fn from_to(a: Point, b: Point) -> Point {
    [b[0] - a[0], b[1] - a[1], b[2] - a[2]]
}

pub(super) fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn cross(a: Point, b: Point) -> Point {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

pub(super) fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

/// At right angles to a triangle, on the side from which its corners run anticlockwise; as long as
/// twice its area.
pub(super) fn normal([a, b, c]: [Point; 3]) -> Point {
    cross(from_to(a, b), from_to(a, c))
}

pub(super) fn middle([a, b, c]: [Point; 3]) -> Point {
    [0, 1, 2].map(|i| (a[i] + b[i] + c[i]) / 3.0)
}
