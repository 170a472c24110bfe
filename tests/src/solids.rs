//! Meshes for tests, and STL files of them.

use std::f32::consts::TAU;

pub type Point = [f32; 3];
pub type Triangles = Vec<[Point; 3]>;

/// A block from the origin.
pub fn block([x, y, z]: Point) -> Triangles {
    let outline = vec![[0.0, 0.0], [x, 0.0], [x, y], [0.0, y]];
    let middle = vec![[x / 2.0, y / 2.0]; 4];
    extruded(&outline, &middle, z)
}

/// A wheel with so many teeth and a hole in its middle.
pub fn gear(teeth: usize, tip: f32, root: f32, hole: f32, wide: f32) -> Triangles {
    let steps = teeth * 8;
    let round = |i: usize, radius: f32| {
        let angle = TAU * share(i, steps);
        [radius * angle.cos(), radius * angle.sin()]
    };
    let profile = |i: usize| if i % 8 < 4 { tip } else { root };
    let outline: Vec<[f32; 2]> = (0..steps).map(|i| round(i, profile(i))).collect();
    let bore: Vec<[f32; 2]> = (0..steps).map(|i| round(i, hole)).collect();
    extruded(&outline, &bore, wide)
}

/// A body between an outline and a hole of as many points, which may be one point over and over.
fn extruded(outline: &[[f32; 2]], hole: &[[f32; 2]], tall: f32) -> Triangles {
    let count = outline.len();
    let at =
        |points: &[[f32; 2]], i: usize, z: f32| [points[i % count][0], points[i % count][1], z];
    let mut body = Triangles::new();
    for i in 0..count {
        let [low, high] = [0.0, tall].map(|z| {
            [
                at(outline, i, z),
                at(outline, i + 1, z),
                at(hole, i + 1, z),
                at(hole, i, z),
            ]
        });
        square(&mut body, [low[0], low[1], high[1], high[0]]);
        square(&mut body, [high[0], high[1], high[2], high[3]]);
        square(&mut body, [high[3], high[2], low[2], low[3]]);
        square(&mut body, [low[3], low[2], low[1], low[0]]);
    }
    body
}

/// A profile of radius and length turned round the x axis, seen with the axis to the right and the
/// radius up: its points go round clockwise. Rounded to hundredths, as a drawing has them.
pub fn turned(profile: &[[f32; 2]]) -> Triangles {
    const AROUND: usize = 36;
    let at = |i: usize, j: usize| {
        let [radius, along] = profile[i % profile.len()];
        let round = TAU * share(j % AROUND, AROUND);
        let point = [along, radius * round.cos(), radius * round.sin()];
        // Adding nothing takes the sign off a zero.
        point.map(|x| (x * 100.0).round() / 100.0 + 0.0)
    };
    let mut body = Triangles::new();
    for i in 0..profile.len() {
        for j in 0..AROUND {
            square(
                &mut body,
                [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)],
            );
        }
    }
    body
}

/// The same standing on its end.
pub fn upright(body: Triangles) -> Triangles {
    let stand = |[x, y, z]: Point| [y, z, x];
    body.into_iter().map(|corners| corners.map(stand)).collect()
}

/// A bush with a collar at its foot: diameters of collar, body and bore, width of the collar, and length.
pub fn bush([collar, body, bore]: [f32; 3], wide: f32, long: f32) -> Triangles {
    let [collar, body, bore] = [collar, body, bore].map(|across| across / 2.0);
    turned(&[
        [bore, 0.0],
        [collar, 0.0],
        [collar, wide],
        [body, wide],
        [body, long],
        [bore, long],
    ])
}

/// A pipe bent by a quarter of a circle, with a straight end.
pub fn pipe(bend: f32, outer: f32, inner: f32, straight: f32) -> Triangles {
    const AROUND: usize = 32;
    const ALONG: usize = 24;
    // The last ring is the straight end's.
    let at = |radius: f32, i: usize, j: usize| {
        let round = TAU * share(i % AROUND, AROUND);
        let (out, up) = (bend + radius * round.cos(), radius * round.sin());
        let turned = TAU / 4.0 * share(j.min(ALONG), ALONG);
        let beyond = if j > ALONG { straight } else { 0.0 };
        [out * turned.cos() - beyond, out * turned.sin(), up]
    };
    let mut body = Triangles::new();
    for i in 0..AROUND {
        for j in 0..=ALONG {
            let wall = |radius: f32| {
                [
                    at(radius, i, j),
                    at(radius, i, j + 1),
                    at(radius, i + 1, j + 1),
                    at(radius, i + 1, j),
                ]
            };
            square(&mut body, wall(outer));
            let mut within = wall(inner);
            within.reverse();
            square(&mut body, within);
        }
        for (j, turn) in [(0, false), (ALONG + 1, true)] {
            let mut end = [
                at(outer, i, j),
                at(outer, i + 1, j),
                at(inner, i + 1, j),
                at(inner, i, j),
            ];
            if turn {
                end.reverse();
            }
            square(&mut body, end);
        }
    }
    body
}

fn square(body: &mut Triangles, [a, b, c, d]: [Point; 4]) {
    let whole = |t: &[Point; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
    body.extend([[a, b, c], [a, c, d]].into_iter().filter(whole));
}

#[expect(clippy::cast_precision_loss, reason = "a few hundred")]
fn share(i: usize, of: usize) -> f32 {
    i as f32 / of as f32
}

/// A binary STL file.
pub fn binary(triangles: &Triangles) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend(u32::try_from(triangles.len()).expect("few").to_le_bytes());
    for triangle in triangles {
        bytes.extend([0; 12]);
        bytes.extend(triangle.iter().flatten().flat_map(|x| x.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

/// A text STL file.
pub fn text(triangles: &Triangles) -> String {
    let mut text = "solid part\n".to_owned();
    for triangle in triangles {
        text += "facet normal 0 0 0\nouter loop\n";
        for [x, y, z] in triangle {
            text += &format!("vertex {x} {y} {z}\n");
        }
        text += "endloop\nendfacet\n";
    }
    text + "endsolid part\n"
}
