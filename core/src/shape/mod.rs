//! The shape of a part as a mesh of triangles: what it measures, whether it can be trusted, and how it
//! looks from three sides. Knows no file.

mod booth;
mod closure;
mod crossing;
mod cylinder;
mod figures;
mod measure;
#[cfg(test)]
mod solids;
mod unit;
mod vector;
mod views;

use std::cmp::Ordering;
use std::ops::RangeInclusive;

use thiserror::Error;

pub use booth::lies_in;
pub use closure::Closure;
pub use crossing::{CROSSINGS_MAX, Crossings};
pub use cylinder::Cylinder;
pub use figures::Figures;
pub use unit::Unit;
pub use vector::Point;
pub use views::{FEATURE_DEG, Line, PER_SIDE, POINTS_MAX, View, Views, simplified};

use closure::Edge;
use vector::{dot, length, normal};

/// The most triangles of a mesh.
pub const TRIANGLES_MAX: usize = 200_000;

/// What the longest side of a part may measure, in millimetres.
pub const SIDE_MM: RangeInclusive<f64> = 1.0..=10_000.0;

/// A mesh whose corners are shared by the triangles that meet there, its faces turned outward.
#[derive(Debug, Clone)]
pub struct Mesh {
    corners: Vec<Point>,
    faces: Vec<[usize; 3]>,
    edges: Vec<Edge>,
    least: Point,
    most: Point,
    inside_out: bool,
}

/// Why triangles make no mesh.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ShapeError {
    /// Nothing is left once triangles with two corners in one point are taken out.
    #[error("holds no triangle")]
    Empty,
    /// More triangles than [`TRIANGLES_MAX`].
    #[error("holds {count} triangles; at most {TRIANGLES_MAX} are taken: save it coarser")]
    TooMany {
        /// How many there are.
        count: usize,
    },
    /// A coordinate that is no number.
    #[error("has a coordinate that is no number, in triangle {triangle}; save it anew")]
    NotFinite {
        /// Counted from 1.
        triangle: usize,
    },
    /// Longer or shorter than [`SIDE_MM`].
    #[error(
        "measures {side_mm:.3} mm at its longest, and a part measures {} to {} mm; choose another unit",
        SIDE_MM.start(),
        SIDE_MM.end()
    )]
    OutOfScale {
        /// Its longest side.
        side_mm: f64,
    },
}

impl Mesh {
    /// Joins triangles, in millimetres, at corners whose coordinates are exactly equal. Triangles with
    /// two corners in one point are left out. A mesh that encloses less than nothing was drawn inside
    /// out, and is turned.
    ///
    /// # Errors
    /// [`ShapeError`] for no triangles or too many, for what is no number, and for a size that no part has.
    pub fn new(triangles: &[[Point; 3]]) -> Result<Mesh, ShapeError> {
        if triangles.len() > TRIANGLES_MAX {
            let count = triangles.len();
            return Err(ShapeError::TooMany { count });
        }
        let broken = |triangle: &[Point; 3]| triangle.iter().flatten().any(|x| !x.is_finite());
        if let Some(at) = triangles.iter().position(broken) {
            return Err(ShapeError::NotFinite { triangle: at + 1 });
        }
        let (corners, faces) = joined(triangles);
        if faces.is_empty() {
            return Err(ShapeError::Empty);
        }
        let end = |pick: fn(f64, f64) -> f64| {
            [0, 1, 2].map(|i| corners.iter().map(|c| c[i]).fold(corners[0][i], pick))
        };
        let (least, most) = (end(f64::min), end(f64::max));
        let mut mesh = Mesh {
            edges: closure::edges(&faces),
            corners,
            faces,
            least,
            most,
            inside_out: false,
        };
        let side_mm = mesh.longest_mm();
        if !SIDE_MM.contains(&side_mm) {
            return Err(ShapeError::OutOfScale { side_mm });
        }
        if mesh.signed_volume() < 0.0 {
            mesh.turn();
        }
        Ok(mesh)
    }

    /// How many triangles it has.
    #[must_use]
    pub fn triangles(&self) -> usize {
        self.faces.len()
    }

    /// Whether it was drawn with its faces turned inward.
    #[must_use]
    pub fn was_inside_out(&self) -> bool {
        self.inside_out
    }

    /// What it measures along x, y and z as drawn, in millimetres.
    #[must_use]
    pub fn size_mm(&self) -> [f64; 3] {
        [0, 1, 2].map(|i| self.most[i] - self.least[i])
    }

    fn longest_mm(&self) -> f64 {
        self.size_mm().into_iter().fold(0.0, f64::max)
    }

    /// Its triangles, turned outward, each with the direction in which it looks, of length 1; of length 0
    /// where its corners are in a line.
    pub fn faces(&self) -> impl ExactSizeIterator<Item = ([Point; 3], Point)> {
        (0..self.faces.len()).map(|index| {
            let face = self.face(index);
            let across = normal(face);
            let long = length(across).max(f64::MIN_POSITIVE);
            (face, across.map(|x| x / long))
        })
    }

    /// The corners of a face.
    fn face(&self, index: usize) -> [Point; 3] {
        self.faces[index].map(|corner| self.corners[corner])
    }

    fn turn(&mut self) {
        for [_, b, c] in &mut self.faces {
            std::mem::swap(b, c);
        }
        self.edges = closure::edges(&self.faces);
        self.inside_out = true;
    }
}

fn joined(triangles: &[[Point; 3]]) -> (Vec<Point>, Vec<[usize; 3]>) {
    // Adding zero makes minus zero zero, which is equal to it and sorted elsewhere.
    let points = triangles.iter().flatten().map(|p| p.map(|x| x + 0.0));
    let mut order: Vec<(Point, usize)> = points.zip(0..).collect();
    order.sort_unstable_by(|a, b| by_coordinates(&a.0, &b.0).then(a.1.cmp(&b.1)));
    let mut corners: Vec<Point> = Vec::new();
    let mut of_slot = vec![0; order.len()];
    for (point, slot) in order {
        if corners.last() != Some(&point) {
            corners.push(point);
        }
        of_slot[slot] = corners.len() - 1;
    }
    let faces = of_slot
        .chunks_exact(3)
        .map(|face| [face[0], face[1], face[2]]);
    let faces = faces
        .filter(|[a, b, c]| a != b && b != c && c != a)
        .collect();
    (corners, faces)
}

fn by_coordinates(a: &Point, b: &Point) -> Ordering {
    let mut pairs = a.iter().zip(b).map(|(a, b)| a.total_cmp(b));
    pairs.find(|order| order.is_ne()).unwrap_or(Ordering::Equal)
}

#[cfg(test)]
mod tests;
