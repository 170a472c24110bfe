//! Meshes of shapes whose measures a formula gives.

use std::f64::consts::TAU;

use super::Point;

pub type Triangles = Vec<[Point; 3]>;

/// A box from one corner to the other, each side of two triangles.
pub fn block(from: Point, to: Point) -> Triangles {
    let corner = |x: usize, y: usize, z: usize| {
        [
            [from[0], to[0]][x],
            [from[1], to[1]][y],
            [from[2], to[2]][z],
        ]
    };
    let mut triangles = Triangles::new();
    let mut side = |a, b, c, d| triangles.extend([[a, b, c], [a, c, d]]);
    side(
        corner(0, 0, 0),
        corner(0, 1, 0),
        corner(1, 1, 0),
        corner(1, 0, 0),
    );
    side(
        corner(0, 0, 1),
        corner(1, 0, 1),
        corner(1, 1, 1),
        corner(0, 1, 1),
    );
    side(
        corner(0, 0, 0),
        corner(1, 0, 0),
        corner(1, 0, 1),
        corner(0, 0, 1),
    );
    side(
        corner(0, 1, 0),
        corner(0, 1, 1),
        corner(1, 1, 1),
        corner(1, 1, 0),
    );
    side(
        corner(0, 0, 0),
        corner(0, 0, 1),
        corner(0, 1, 1),
        corner(0, 1, 0),
    );
    side(
        corner(1, 0, 0),
        corner(1, 1, 0),
        corner(1, 1, 1),
        corner(1, 0, 1),
    );
    triangles
}

pub fn cube(side: f64) -> Triangles {
    block([0.0; 3], [side; 3])
}

/// A surface over a grid that closes in itself along `i`, and along `j` if told so; squares whose corners
/// fall together are triangles.
pub fn swept(
    across: usize,
    along: usize,
    ring: bool,
    at: impl Fn(usize, usize) -> Point,
) -> Triangles {
    let mut triangles = Triangles::new();
    for j in 0..along {
        for i in 0..across {
            let next = if ring { (j + 1) % along } else { j + 1 };
            let i_next = (i + 1) % across;
            let [a, b, c, d] = [at(i, j), at(i_next, j), at(i_next, next), at(i, next)];
            let whole = |t: &[Point; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
            triangles.extend([[a, b, c], [a, c, d]].into_iter().filter(whole));
        }
    }
    triangles
}

#[expect(clippy::cast_precision_loss, reason = "a few hundred")]
pub fn share(i: usize, of: usize) -> f64 {
    i as f64 / of as f64
}

/// A ball around the origin.
pub fn sphere(radius: f64, across: usize) -> Triangles {
    let along = across / 2;
    swept(across, along, false, |i, j| {
        let (round, up) = (TAU * share(i, across), TAU / 2.0 * share(j, along));
        // Exactly one point at each pole.
        let out = if j == 0 || j == along {
            0.0
        } else {
            radius * up.sin()
        };
        [out * round.cos(), out * round.sin(), -radius * up.cos()]
    })
}

pub fn torus(great: f64, small: f64, across: usize) -> Triangles {
    swept(across, across, true, |i, j| {
        let (round, up) = (TAU * share(i, across), TAU * share(j, across));
        let out = great + small * up.cos();
        [out * round.cos(), out * round.sin(), small * up.sin()]
    })
}

/// A cone on its base, the tip up.
pub fn cone(radius: f64, height: f64, across: usize) -> Triangles {
    swept(across, 2, false, |i, j| {
        let round = TAU * share(i, across);
        match j {
            0 => [0.0; 3],
            1 => [radius * round.cos(), radius * round.sin(), 0.0],
            _ => [0.0, 0.0, height],
        }
    })
}
