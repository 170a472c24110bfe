use serde::{Deserialize, Serialize};

use super::{Cylinder, Mesh};
use crate::catalogue::Envelope;
use crate::deposit::{DepositError, deposited_grams};

/// What a mesh measures and what is wrong with it, in whole numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figures {
    /// Triangles.
    pub triangles: usize,
    /// Along x, y and z as drawn, in micrometres.
    pub size_um: [i64; 3],
    /// In cubic millimetres; none if the mesh encloses none.
    pub volume_mm3: Option<i64>,
    /// In square millimetres.
    pub surface_mm2: i64,
    /// Diameters of the least cylinders along x, y and z, in micrometres.
    pub around_um: [i64; 3],
    /// The machining allowance, in micrometres.
    pub allowance_um: i64,
    /// What the allowance adds all over, in cubic millimetres; none if the mesh encloses no volume.
    pub layer_mm3: Option<i64>,
    /// Whether it was drawn inside out, and turned.
    pub inside_out: bool,
    /// Edges with a face on one side only.
    pub open: usize,
    /// Edges whose faces are turned against each other.
    pub turned: usize,
    /// Edges at which more than two faces meet.
    pub crowded: usize,
    /// Pairs of faces that go through each other.
    pub crossings: usize,
    /// Where the first of them is, in micrometres as drawn.
    pub crossing_um: Option<[i64; 3]>,
    /// Whether there may be more crossings than were counted.
    pub more_crossings: bool,
}

impl Figures {
    /// Takes every figure of a mesh, with a machining allowance in micrometres.
    #[must_use]
    pub fn of(mesh: &Mesh, allowance_um: i64) -> Figures {
        let (closure, crossings) = (mesh.closure(), mesh.crossings());
        Figures {
            triangles: mesh.triangles(),
            size_um: mesh.size_mm().map(micrometres),
            volume_mm3: mesh.volume_mm3().map(whole),
            surface_mm2: whole(mesh.surface_mm2()),
            around_um: mesh.around().map(|c| micrometres(c.diameter_mm)),
            allowance_um,
            layer_mm3: mesh.allowance_mm3(millimetres(allowance_um)).map(whole),
            inside_out: mesh.was_inside_out(),
            open: closure.open,
            turned: closure.turned,
            crowded: closure.crowded,
            crossings: crossings.pairs,
            crossing_um: crossings.first.map(|at| at.map(micrometres)),
            more_crossings: crossings.given_up,
        }
    }

    /// What it measures along x, y and z as drawn, in millimetres.
    #[must_use]
    pub fn size_mm(&self) -> [f64; 3] {
        self.size_um.map(millimetres)
    }

    /// The cylinder to turn it in, in a space of this size.
    #[must_use]
    pub fn cylinder(&self, space_mm: Envelope) -> Cylinder {
        let along = |axis: usize| Cylinder {
            axis,
            diameter_mm: millimetres(self.around_um[axis]),
            length_mm: millimetres(self.size_um[axis]),
        };
        Cylinder::least([0, 1, 2].map(along), space_mm)
    }

    /// Grams of it in a solid metal of this density, finished and as sprayed with its allowance, each
    /// rounded up; none if it encloses no volume.
    ///
    /// # Errors
    /// [`DepositError`] for a density that no metal has, or a volume beyond what can be deposited.
    pub fn grams(&self, solid_kg_per_m3: f64) -> Result<Option<[i64; 2]>, DepositError> {
        let Some((volume, layer)) = self.volume_mm3.zip(self.layer_mm3) else {
            return Ok(None);
        };
        let grams = |mm3: i64| deposited_grams(millimetres(mm3), solid_kg_per_m3, 0.0);
        Ok(Some([grams(volume)?, grams(volume + layer)?]))
    }
}

fn micrometres(mm: f64) -> i64 {
    whole(mm * 1000.0)
}

/// Also cubic millimetres in cubic centimetres: a thousandth.
#[expect(clippy::cast_precision_loss, reason = "exact below 9e15")]
fn millimetres(um: i64) -> f64 {
    um as f64 / 1000.0
}

#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates")]
fn whole(x: f64) -> i64 {
    x.round() as i64
}

#[cfg(test)]
mod tests {
    use super::super::solids::{block, cube};
    use super::*;

    /// 50 x 40 x 30 mm are 60 000 mm3: of 2 700 kg/m3 162 g. A layer of 0.5 mm adds 9 400 mm2 x 0.5, a
    /// quarter rod of 0.5 mm at 480 mm of edges, and a ball: 4 795 mm3, 12.9 g more.
    #[test]
    fn a_block_weighs_volume_times_density() {
        let mesh = Mesh::new(&block([0.0; 3], [50.0, 40.0, 30.0])).expect("a mesh");
        let figures = Figures::of(&mesh, 500);
        assert_eq!(figures.size_um, [50_000, 40_000, 30_000]);
        assert_eq!(
            (figures.volume_mm3, figures.surface_mm2),
            (Some(60_000), 9400)
        );
        assert_eq!(figures.layer_mm3, Some(4795));
        assert_eq!(figures.grams(2700.0), Ok(Some([162, 175])));
        assert!(figures.grams(1.0).is_err());
        // Upright, the long way is the diagonal: 64 x 64 x 30 is less than 50 x 50 x 50 along its length.
        let cylinder = figures.cylinder([100; 3]);
        assert_eq!((cylinder.axis, figures.around_um[0]), (2, 50_000));
    }

    #[test]
    fn what_encloses_nothing_weighs_nothing_that_can_be_said() {
        let mesh = Mesh::new(&cube(20.0)[1..]).expect("a mesh");
        let figures = Figures::of(&mesh, 1000);
        assert_eq!((figures.open, figures.grams(2700.0)), (3, Ok(None)));
    }

    #[test]
    fn figures_are_read_as_they_are_written() {
        let mesh = Mesh::new(&cube(20.0)).expect("a mesh");
        let figures = Figures::of(&mesh, 1000);
        let text = serde_json::to_string(&figures).expect("written");
        assert_eq!(
            serde_json::from_str::<Figures>(&text).expect("read"),
            figures
        );
    }
}
