//! Volume, surface, and what an allowance all over adds.

use std::f64::consts::{FRAC_PI_2, PI};

use super::closure::{Edge, Sides};
use super::vector::{cross, from_to, length};
use super::{Mesh, dot, normal};

impl Mesh {
    /// The volume enclosed, in cubic millimetres: the sum of the tetrahedra from one point to each face,
    /// counted negative where a face looks at it. None if the mesh encloses none. What two shells share
    /// counts twice.
    #[must_use]
    pub fn volume_mm3(&self) -> Option<f64> {
        self.closure().encloses().then(|| self.signed_volume())
    }

    pub(super) fn signed_volume(&self) -> f64 {
        // From the middle of the box: tetrahedra from a far point are large, and cancel badly.
        let middle = [0, 1, 2].map(|i| (self.least[i] + self.most[i]) / 2.0);
        let tetrahedron = |face: usize| {
            let [a, b, c] = self.face(face).map(|corner| from_to(middle, corner));
            dot(a, cross(b, c))
        };
        (0..self.faces.len()).map(tetrahedron).sum::<f64>() / 6.0
    }

    /// The surface, in square millimetres.
    #[must_use]
    pub fn surface_mm2(&self) -> f64 {
        let twice: f64 = (0..self.faces.len())
            .map(|face| length(normal(self.face(face))))
            .sum();
        twice / 2.0
    }

    /// The volume that a layer of this thickness all over adds, in cubic millimetres; none if the mesh
    /// encloses none.
    ///
    /// Steiner's formula (in Schneider, Convex Bodies: The Brunn-Minkowski Theory, chapter 4; the edge
    /// terms from memory): surface x t, at each edge half its length x the angle by which its faces turn
    /// x t2, and at the corners 2 pi / 3 x Euler's number x t3. Exact for convex shapes. At a hollow edge
    /// the layers of both faces overlap by the tangent of half the angle instead. A gap narrower than
    /// twice the allowance fills up, and is counted too high.
    #[must_use]
    pub fn allowance_mm3(&self, thick_mm: f64) -> Option<f64> {
        if !self.closure().encloses() {
            return None;
        }
        let bends: f64 = self.edges.iter().map(|edge| self.bend(edge)).sum();
        let corners = 2.0 * PI / 3.0 * self.euler();
        let per_mm = corners
            .mul_add(thick_mm, bends)
            .mul_add(thick_mm, self.surface_mm2());
        Some((per_mm * thick_mm).max(0.0))
    }

    /// What an edge adds for each square of the thickness.
    fn bend(&self, edge: &Edge) -> f64 {
        let Sides::Two(left, right) = edge.sides else {
            return 0.0;
        };
        let [from, to] = edge.ends.map(|end| self.corners[end]);
        let angle = self.turn_at(left, right);
        let ridge = self.is_ridge(edge, left, right);
        let each = if ridge {
            angle / 2.0
        } else {
            // Faces that fold right back would overlap without end.
            -(angle.min(FRAC_PI_2) / 2.0).tan()
        };
        length(from_to(from, to)) * each
    }

    /// The angle between the directions in which two faces look: 0 where they are level.
    pub(super) fn turn_at(&self, left: usize, right: usize) -> f64 {
        let [left, right] = [left, right].map(|face| normal(self.face(face)));
        length(cross(left, right)).atan2(dot(left, right))
    }

    fn is_ridge(&self, edge: &Edge, left: usize, right: usize) -> bool {
        let far = self.faces[right]
            .iter()
            .find(|corner| !edge.ends.contains(corner));
        far.is_some_and(|far| {
            let start = self.corners[edge.ends[0]];
            dot(normal(self.face(left)), from_to(start, self.corners[*far])) <= 0.0
        })
    }

    /// Corners less edges plus faces: 2 for each body without holes.
    #[expect(clippy::cast_precision_loss, reason = "at most some 600 000")]
    fn euler(&self) -> f64 {
        let mut used: Vec<usize> = self.faces.iter().flatten().copied().collect();
        used.sort_unstable();
        used.dedup();
        (used.len() + self.faces.len()) as f64 - self.edges.len() as f64
    }
}
