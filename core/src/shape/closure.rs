//! Whether a mesh is closed: how faces meet at their edges.

use super::Mesh;

/// A line between two corners, and the faces that meet there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub ends: [usize; 2],
    pub sides: Sides,
    /// Whether as many faces run along it one way as the other.
    balanced: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sides {
    /// The face that runs from the first end to the second, and the one that runs back.
    Two(usize, usize),
    /// One face only.
    Open,
    /// Two faces, of which one is turned inside out against the other.
    Turned,
    /// More than two.
    Crowded,
}

/// How many edges are not as they should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Closure {
    /// Edges with a face on one side only: a hole.
    pub open: usize,
    /// Edges whose two faces are turned against each other.
    pub turned: usize,
    /// Edges at which more than two faces meet.
    pub crowded: usize,
    /// Edges along which more faces run one way than the other.
    unbalanced: usize,
}

impl Closure {
    /// Whether the mesh encloses a volume: along every edge as many faces run one way as the other.
    #[must_use]
    pub fn encloses(&self) -> bool {
        self.unbalanced == 0
    }
}

impl Mesh {
    /// How its faces meet.
    #[must_use]
    pub fn closure(&self) -> Closure {
        let mut closure = Closure::default();
        for edge in &self.edges {
            match edge.sides {
                Sides::Two(..) => {}
                Sides::Open => closure.open += 1,
                Sides::Turned => closure.turned += 1,
                Sides::Crowded => closure.crowded += 1,
            }
            closure.unbalanced += usize::from(!edge.balanced);
        }
        closure
    }
}

/// Every edge once, by its ends.
pub(super) fn edges(faces: &[[usize; 3]]) -> Vec<Edge> {
    let mut runs: Vec<([usize; 2], bool, usize)> = Vec::with_capacity(faces.len() * 3);
    for (index, [a, b, c]) in faces.iter().copied().enumerate() {
        for (from, to) in [(a, b), (b, c), (c, a)] {
            runs.push(([from.min(to), from.max(to)], from < to, index));
        }
    }
    runs.sort_unstable();
    let same = |a: &([usize; 2], bool, usize), b: &([usize; 2], bool, usize)| a.0 == b.0;
    let edge = |runs: &[([usize; 2], bool, usize)]| {
        let up = runs.iter().filter(|run| run.1).count();
        Edge {
            ends: runs[0].0,
            // Sorted: the run down comes before the run up.
            sides: match runs {
                [_] => Sides::Open,
                [down, up] if down.1 != up.1 => Sides::Two(up.2, down.2),
                [_, _] => Sides::Turned,
                _ => Sides::Crowded,
            },
            balanced: up * 2 == runs.len(),
        }
    };
    runs.chunk_by(same).map(edge).collect()
}
