//! A shape as seen from the front, from the right and from above: outlines and edges as lines.

mod depth;
mod line;

use serde::{Deserialize, Serialize};

use super::Mesh;
use super::closure::{Edge, Sides};
use super::vector::{Point, normal};
use depth::Depth;

pub use line::{Line, simplified};

/// Faces that turn by more than this at an edge make it a line, in degrees.
pub const FEATURE_DEG: f64 = 30.0;

/// Steps on the longest side of the shape: what coordinates of lines are counted in.
pub const PER_SIDE: i32 = 1000;

/// The most points of the lines of one view.
pub const POINTS_MAX: usize = 1200;

/// From where a shape is seen, at right angles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum View {
    /// Against y: x to the right, z up.
    Front,
    /// From the right, against x: y to the right, z up.
    Right,
    /// From above, against z: x to the right, y up.
    Above,
}

impl View {
    /// All of them.
    pub const ALL: [View; 3] = [View::Front, View::Right, View::Above];

    /// Which coordinate of the shape goes to the right in it, and which goes up.
    #[must_use]
    pub const fn axes(self) -> [usize; 2] {
        match self {
            View::Front => [0, 2],
            View::Right => [1, 2],
            View::Above => [0, 1],
        }
    }

    /// How near a point is to who looks.
    fn near(self, p: Point) -> f64 {
        match self {
            View::Front => -p[1],
            View::Right => p[0],
            View::Above => p[2],
        }
    }
}

/// The three views in one scale. Coordinates run from the lower left corner of each view's box, in
/// thousandths of the shape's longest side ([`PER_SIDE`]).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Views {
    /// From the front.
    pub front: Vec<Line>,
    /// From the right.
    pub right: Vec<Line>,
    /// From above.
    pub above: Vec<Line>,
}

impl Views {
    /// The lines of one view.
    #[must_use]
    pub fn of(&self, view: View) -> &[Line] {
        match view {
            View::Front => &self.front,
            View::Right => &self.right,
            View::Above => &self.above,
        }
    }
}

impl Mesh {
    /// Draws it: outlines, edges where faces turn by more than [`FEATURE_DEG`], and edges that are not
    /// closed; what other faces hide is left out. Lines have at most [`POINTS_MAX`] points in a view: they
    /// are drawn coarser, and then the shortest left out, until they do.
    #[must_use]
    pub fn views(&self) -> Views {
        let [front, right, above] = View::ALL.map(|view| self.seen(view));
        Views {
            front,
            right,
            above,
        }
    }

    fn seen(&self, view: View) -> Vec<Line> {
        let depth = Depth::of(self, view);
        let mut pieces = Vec::new();
        for edge in self.edges.iter().filter(|edge| self.is_drawn(edge, view)) {
            depth.seen(edge.ends.map(|end| self.corners[end]), &mut pieces);
        }
        line::few(&line::chained(pieces), POINTS_MAX)
    }

    fn is_drawn(&self, edge: &Edge, view: View) -> bool {
        let Sides::Two(left, right) = edge.sides else {
            return true;
        };
        let looks_here = |face: usize| view.near(normal(self.face(face))) > 0.0;
        looks_here(left) != looks_here(right)
            || self.turn_at(left, right).to_degrees() > FEATURE_DEG
    }
}
