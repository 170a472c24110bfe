//! Faces that go through each other.

use super::Mesh;
use super::vector::{Point, cross, dot, from_to, length, middle, normal};

/// Pairs are counted up to here.
pub const CROSSINGS_MAX: usize = 1000;

/// Pairs of boxes looked at before the search gives up; a mesh of 200 000 triangles that is as it
/// should be takes some ten million.
const STEPS_MAX: usize = 100_000_000;

/// Triangles that end a branch of the tree of boxes.
const LEAF: usize = 4;

/// How far, as a share of the longest side, a corner must stand beyond a face to count as through it:
/// 1 µm on 1 m, some ten times what single precision can tell apart.
const THROUGH: f64 = 1e-6;

/// Faces that go through others.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Crossings {
    /// Pairs of faces; at [`CROSSINGS_MAX`] the count stops.
    pub pairs: usize,
    /// The middle of the first such face, in millimetres as drawn.
    pub first: Option<Point>,
    /// Whether the search gave up before all was looked at.
    pub given_up: bool,
}

impl Mesh {
    /// Looks for an edge of a face that goes through another face, corners and edges shared by both set
    /// aside. Faces that lie on each other in one plane are not found.
    #[must_use]
    pub fn crossings(&self) -> Crossings {
        let tree = Tree::over(self);
        let mut search = Search {
            mesh: self,
            tree: &tree,
            through: self.longest_mm() * THROUGH,
            found: Crossings::default(),
        };
        search.run();
        search.found
    }
}

/// Boxes around ever fewer triangles.
struct Tree {
    nodes: Vec<Node>,
    /// Faces; each node has a stretch of them.
    order: Vec<usize>,
}

#[derive(Clone, Copy)]
struct Node {
    least: Point,
    most: Point,
    start: usize,
    end: usize,
    /// The first of its two halves, which stand side by side; 0 for a leaf.
    half: usize,
}

impl Node {
    fn meets(&self, other: &Node) -> bool {
        (0..3).all(|i| self.least[i] <= other.most[i] && other.least[i] <= self.most[i])
    }

    fn count(&self) -> usize {
        self.end - self.start
    }
}

impl Tree {
    fn over(mesh: &Mesh) -> Tree {
        let mut tree = Tree {
            nodes: Vec::new(),
            order: (0..mesh.faces.len()).collect(),
        };
        let root = tree.node(mesh, 0, mesh.faces.len());
        tree.nodes.push(root);
        let mut next = 0;
        while next < tree.nodes.len() {
            tree.split(mesh, next);
            next += 1;
        }
        tree
    }

    fn node(&self, mesh: &Mesh, start: usize, end: usize) -> Node {
        let mut node = Node {
            least: [f64::INFINITY; 3],
            most: [f64::NEG_INFINITY; 3],
            start,
            end,
            half: 0,
        };
        for corner in self.order[start..end]
            .iter()
            .flat_map(|face| mesh.face(*face))
        {
            let ends = node.least.iter_mut().zip(&mut node.most);
            for ((least, most), x) in ends.zip(corner) {
                *least = least.min(x);
                *most = most.max(x);
            }
        }
        node
    }

    /// Halves a node by number along its longest side.
    fn split(&mut self, mesh: &Mesh, index: usize) {
        let node = self.nodes[index];
        if node.count() <= LEAF {
            return;
        }
        let long = |i: usize| node.most[i] - node.least[i];
        let axis = (1..3).fold(0, |best, i| if long(i) > long(best) { i } else { best });
        let at = |face: &usize| middle(mesh.face(*face))[axis];
        let half = node.count() / 2;
        self.order[node.start..node.end]
            .select_nth_unstable_by(half, |a, b| at(a).total_cmp(&at(b)).then(a.cmp(b)));
        let cut = node.start + half;
        let halves = [(node.start, cut), (cut, node.end)].map(|(s, e)| self.node(mesh, s, e));
        self.nodes[index].half = self.nodes.len();
        self.nodes.extend(halves);
    }
}

struct Search<'a> {
    mesh: &'a Mesh,
    tree: &'a Tree,
    through: f64,
    found: Crossings,
}

impl Search<'_> {
    fn run(&mut self) {
        let nodes = &self.tree.nodes;
        let mut waiting = vec![(0, 0)];
        let mut steps = 0;
        while let Some((a, b)) = waiting.pop() {
            steps += 1;
            if steps > STEPS_MAX || self.found.pairs >= CROSSINGS_MAX {
                self.found.given_up = true;
                return;
            }
            let [one, other] = [a, b].map(|index: usize| nodes[index]);
            if a == b {
                match one.half {
                    0 => self.within(&one),
                    half => waiting.extend([(half, half), (half + 1, half + 1), (half, half + 1)]),
                }
            } else if one.meets(&other) {
                let split_one = other.half == 0 || (one.half != 0 && one.count() >= other.count());
                match (one.half, other.half) {
                    (0, 0) => self.between(&one, &other),
                    (half, _) if split_one => waiting.extend([(half, b), (half + 1, b)]),
                    (_, half) => waiting.extend([(a, half), (a, half + 1)]),
                }
            }
        }
    }

    fn within(&mut self, leaf: &Node) {
        for i in leaf.start..leaf.end {
            for j in i + 1..leaf.end {
                self.look_at(self.tree.order[i], self.tree.order[j]);
            }
        }
    }

    fn between(&mut self, one: &Node, other: &Node) {
        for i in one.start..one.end {
            for j in other.start..other.end {
                self.look_at(self.tree.order[i], self.tree.order[j]);
            }
        }
    }

    fn look_at(&mut self, a: usize, b: usize) {
        let [one, other] = [a, b].map(|face| self.mesh.faces[face]);
        let shared = one.iter().filter(|corner| other.contains(corner)).count();
        if shared < 2 && self.cross(self.mesh.face(a), self.mesh.face(b)) {
            self.found.pairs += 1;
            self.found.first.get_or_insert(middle(self.mesh.face(a)));
        }
    }

    fn cross(&self, a: [Point; 3], b: [Point; 3]) -> bool {
        self.goes_through(a, b) || self.goes_through(b, a)
    }

    /// Whether an edge of one triangle has its ends on both sides of the other and meets it between.
    fn goes_through(&self, a: [Point; 3], b: [Point; 3]) -> bool {
        let across = normal(b);
        let long = length(across);
        let beyond = a.map(|corner| dot(across, from_to(b[0], corner)) / long);
        (0..3).any(|i| {
            let j = (i + 1) % 3;
            let [from, to] = [beyond[i], beyond[j]];
            from.abs().min(to.abs()) > self.through
                && (from < 0.0) != (to < 0.0)
                && meets(a[i], a[j], b)
        })
    }
}

/// Whether a line, known to cross the plane of a triangle, does so in it or on its rim: the three
/// tetrahedra of the line with each side have the same sign.
fn meets(from: Point, to: Point, triangle: [Point; 3]) -> bool {
    let along = from_to(from, to);
    let corners = triangle.map(|corner| from_to(from, corner));
    let side = |i: usize| dot(along, cross(corners[i], corners[(i + 1) % 3]));
    let sides = [side(0), side(1), side(2)];
    sides.iter().all(|s| *s >= 0.0) || sides.iter().all(|s| *s <= 0.0)
}
