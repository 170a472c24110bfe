//! What is nearest at each place of a view, and which stretches of an edge are seen.

use super::{Mesh, PER_SIDE, Point, View};

/// Places on the longest side.
const PLACES: f64 = 400.0;

/// The most places that all faces together are laid over; beyond it places get larger.
const LAID_MAX: f64 = 40_000_000.0;

/// How far behind the nearest face, in places, an edge still counts as seen: its own faces lie
/// slantwise before it.
const SLACK: f64 = 2.0;

pub(super) struct Depth<'a> {
    mesh: &'a Mesh,
    view: View,
    /// Places for each millimetre.
    scale: f64,
    wide: usize,
    high: usize,
    nearest: Vec<f64>,
}

/// Rightward and upward in places, and nearness in millimetres.
type Placed = [f64; 3];

impl<'a> Depth<'a> {
    pub fn of(mesh: &'a Mesh, view: View) -> Depth<'a> {
        let long = mesh.longest_mm();
        let mut depth = Depth {
            mesh,
            view,
            scale: PLACES / long,
            wide: 0,
            high: 0,
            nearest: Vec::new(),
        };
        let laid: f64 = depth.faces().map(|face| rim(face).area()).sum();
        depth.scale *= (LAID_MAX / laid).sqrt().min(1.0);
        let [wide, high] = view
            .axes()
            .map(|i| cell(mesh.size_mm()[i] * depth.scale) + 1);
        (depth.wide, depth.high) = (wide, high);
        depth.nearest = vec![f64::NEG_INFINITY; wide * high];
        for index in 0..mesh.faces.len() {
            depth.lay(mesh.face(index).map(|corner| depth.place(corner)));
        }
        depth
    }

    fn faces(&self) -> impl Iterator<Item = [Placed; 3]> {
        (0..self.mesh.faces.len()).map(|i| self.mesh.face(i).map(|corner| self.place(corner)))
    }

    fn place(&self, p: Point) -> Placed {
        let [u, v] = self.view.axes();
        let at = |i: usize| (p[i] - self.mesh.least[i]) * self.scale;
        [at(u), at(v), self.view.near(p)]
    }

    /// Marks how near a face is wherever it covers the middle of a place.
    fn lay(&mut self, face: [Placed; 3]) {
        let [a, b, c] = face;
        let twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if twice == 0.0 {
            return;
        }
        let rim = rim(face);
        for row in cell(rim.least[1])..=cell(rim.most[1]).min(self.high - 1) {
            for column in cell(rim.least[0])..=cell(rim.most[0]).min(self.wide - 1) {
                let [x, y] = [column, row].map(middle_of);
                let share = |p: Placed, q: Placed| {
                    ((p[0] - x) * (q[1] - y) - (p[1] - y) * (q[0] - x)) / twice
                };
                let [of_a, of_b, of_c] = [share(b, c), share(c, a), share(a, b)];
                if of_a >= 0.0 && of_b >= 0.0 && of_c >= 0.0 {
                    let near = of_a * a[2] + of_b * b[2] + of_c * c[2];
                    let nearest = &mut self.nearest[row * self.wide + column];
                    *nearest = nearest.max(near);
                }
            }
        }
    }

    /// Adds the stretches of an edge that nothing hides.
    pub fn seen(&self, ends: [Point; 2], pieces: &mut Vec<[[i32; 2]; 2]>) {
        let [from, to] = ends.map(|end| self.place(end));
        let steps = cell((to[0] - from[0]).hypot(to[1] - from[1])).max(1);
        let at = |share: f64| [0, 1, 2].map(|i| from[i] + (to[i] - from[i]) * share);
        let share = |step: usize| part(step, steps);
        let mut start = None;
        for step in 0..=steps {
            // The middle of each step is looked at; past the last there is nothing.
            let seen = step < steps && self.is_seen(at((share(step) + share(step + 1)) / 2.0));
            match (start, seen) {
                (None, true) => start = Some(step),
                (Some(first), false) => {
                    pieces.push([at(share(first)), at(share(step))].map(|p| self.point(p)));
                    start = None;
                }
                _ => {}
            }
        }
    }

    /// Whether at one of the places around it nothing is nearer.
    fn is_seen(&self, p: Placed) -> bool {
        let slack = SLACK / self.scale;
        let (column, row) = (cell(p[0]), cell(p[1]));
        (row..row + 3).any(|row| {
            (column..column + 3).any(|column| {
                // Counted one further, so that outside is left of 1.
                let inside = (1..=self.wide).contains(&column) && (1..=self.high).contains(&row);
                !inside || self.nearest[(row - 1) * self.wide + column - 1] <= p[2] + slack
            })
        })
    }

    /// In thousandths of the longest side.
    fn point(&self, p: Placed) -> [i32; 2] {
        let per_place = f64::from(PER_SIDE) / (self.scale * self.mesh.longest_mm());
        [p[0], p[1]].map(|x| whole(x * per_place))
    }
}

/// The box around a face.
struct Rim {
    least: [f64; 2],
    most: [f64; 2],
}

impl Rim {
    fn area(&self) -> f64 {
        (self.most[0] - self.least[0] + 1.0) * (self.most[1] - self.least[1] + 1.0)
    }
}

fn rim(face: [Placed; 3]) -> Rim {
    let end =
        |pick: fn(f64, f64) -> f64| [0, 1].map(|i| pick(pick(face[0][i], face[1][i]), face[2][i]));
    Rim {
        least: end(f64::min),
        most: end(f64::max),
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "places are few and not negative, and a float cast saturates"
)]
fn cell(place: f64) -> usize {
    place as usize
}

#[expect(clippy::cast_precision_loss, reason = "places are few")]
fn middle_of(cell: usize) -> f64 {
    cell as f64 + 0.5
}

#[expect(clippy::cast_precision_loss, reason = "steps are few")]
fn part(step: usize, steps: usize) -> f64 {
    step as f64 / steps as f64
}

#[expect(clippy::cast_possible_truncation, reason = "at most some thousand")]
fn whole(x: f64) -> i32 {
    x.round() as i32
}
