use std::f64::consts::PI;

use proptest::prelude::*;

use super::solids::{Triangles, block, cone, cube, sphere, torus};
use super::*;

fn mesh(triangles: &Triangles) -> Mesh {
    Mesh::new(triangles).expect("a mesh")
}

fn moved(triangles: &Triangles, by: Point) -> Triangles {
    let move_one = |p: Point| [0, 1, 2].map(|i| p[i] + by[i]);
    triangles.iter().map(|t| t.map(move_one)).collect()
}

/// How far a figure is from what it should be, as a share.
fn off(found: f64, should: f64) -> f64 {
    (found / should - 1.0).abs()
}

const ROOM: [i64; 3] = [1000, 1000, 1000];

/// A cube of 20 mm: 8 000 mm3, 2 400 mm2, in a cylinder as thick as its diagonal. A layer of 1 mm adds
/// 6 x 400 on its faces, 12 quarter rods of 20 mm (3 pi 20) at its edges and a ball in eighths at its
/// corners (4 pi / 3).
#[test]
fn cube_is_exact() {
    let mesh = mesh(&moved(&cube(20.0), [500.0, -300.0, 7.0]));
    assert!(off(mesh.volume_mm3().expect("closed"), 8000.0) < 1e-12);
    assert!(off(mesh.surface_mm2(), 2400.0) < 1e-12);
    assert_eq!(mesh.size_mm(), [20.0; 3]);
    let around = Cylinder::least(mesh.around(), ROOM);
    assert!(
        off(around.diameter_mm, 20.0 * 2f64.sqrt()) < 1e-9,
        "{around:?}"
    );
    let layer = 2400.0 + 60.0 * PI + 4.0 * PI / 3.0;
    assert!(off(mesh.allowance_mm3(1.0).expect("closed"), layer) < 1e-9);
    assert_eq!(mesh.closure(), Closure::default());
    assert_eq!(mesh.crossings(), Crossings::default());
    assert_eq!(mesh.triangles(), 12);
}

/// A ball of 200 by 100 facets lies within the true one. Along a circle of n facets a polygon has
/// 1 - 2 pi2 / 3 n2 of its area, so 200 around take 0.016 % of the volume, and the 100 along each
/// meridian, of 200 to the whole circle, as much and somewhat more: 0.04 % in all, surface less. The
/// layer is Steiner's of the faceted ball, and as near.
#[test]
fn sphere_is_within_what_its_facets_take() {
    let mesh = mesh(&sphere(50.0, 200));
    assert!(
        off(
            mesh.volume_mm3().expect("closed"),
            4.0 / 3.0 * PI * 125_000.0
        ) < 5e-4
    );
    assert!(off(mesh.surface_mm2(), 4.0 * PI * 2500.0) < 5e-4);
    let around = Cylinder::least(mesh.around(), ROOM);
    assert!(off(around.diameter_mm, 100.0) < 1e-4 && off(around.length_mm, 100.0) < 1e-9);
    let layer = 4.0 / 3.0 * PI * (51f64.powi(3) - 125_000.0);
    assert!(off(mesh.allowance_mm3(1.0).expect("closed"), layer) < 5e-4);
}

/// A ring of 40 and 10 mm: 2 pi2 R r2 and 4 pi2 R r; a layer of 1 mm is the difference of two rings. Both
/// circles of 120 facets lose 2 pi2 / (3 x 120 x 120) = 0.046 % each.
#[test]
fn torus_is_within_what_its_facets_take() {
    let mesh = mesh(&torus(40.0, 10.0, 120));
    assert!(off(mesh.volume_mm3().expect("closed"), 2.0 * PI * PI * 4000.0) < 1e-3);
    assert!(off(mesh.surface_mm2(), 4.0 * PI * PI * 400.0) < 1e-3);
    assert!(
        off(
            mesh.allowance_mm3(1.0).expect("closed"),
            2.0 * PI * PI * 40.0 * 21.0
        ) < 1e-3
    );
    let around = Cylinder::least(mesh.around(), ROOM);
    assert_eq!(around.axis, 2);
    assert!(off(around.diameter_mm, 100.0) < 1e-4 && off(around.length_mm, 20.0) < 1e-9);
}

/// pi r2 h / 3 and pi r (r + slant): radius 30, height 40, slant 50. 180 facets lose 0.02 %.
#[test]
fn cone_is_within_what_its_facets_take() {
    let mesh = mesh(&cone(30.0, 40.0, 180));
    assert!(off(mesh.volume_mm3().expect("closed"), PI * 12_000.0) < 3e-4);
    assert!(off(mesh.surface_mm2(), PI * 2400.0) < 3e-4);
    assert!(off(mesh.size_mm()[2], 40.0) < 1e-12);
    assert_eq!(Cylinder::least(mesh.around(), ROOM).axis, 2);
}

/// A long block: the least cylinder stands along its length, unless only another goes in.
#[test]
fn cylinder_is_the_least_that_goes_in() {
    let mesh = mesh(&block([0.0; 3], [300.0, 40.0, 30.0]));
    let along = Cylinder::least(mesh.around(), ROOM);
    assert_eq!(along.axis, 0);
    assert!(off(along.diameter_mm, 50.0) < 1e-9 && off(along.length_mm, 300.0) < 1e-12);
    assert_eq!(
        Cylinder::least(mesh.around(), [10, 10, 10]).axis,
        0,
        "none goes in: the least of all"
    );
}

/// Without one of its twelve triangles a cube has three open edges and no volume.
#[test]
fn a_hole_is_told_and_nothing_is_enclosed() {
    let mut triangles = cube(20.0);
    triangles.pop();
    let mesh = mesh(&triangles);
    assert_eq!(mesh.closure().open, 3);
    assert!(!mesh.closure().encloses());
    assert_eq!((mesh.volume_mm3(), mesh.allowance_mm3(1.0)), (None, None));
}

/// Drawn inside out it is turned; one face turned against the others is told, at its three edges.
#[test]
fn faces_turned_inward_are_turned_or_told() {
    let mut triangles = cube(20.0);
    triangles[0].swap(1, 2);
    assert_eq!(mesh(&triangles).closure().turned, 3);
    assert_eq!(mesh(&triangles).volume_mm3(), None);
    for triangle in &mut triangles[1..] {
        triangle.swap(1, 2);
    }
    let mesh = mesh(&triangles);
    assert!(mesh.was_inside_out());
    assert!(off(mesh.volume_mm3().expect("closed"), 8000.0) < 1e-12);
}

/// An L of three cubes of 10 mm has 14 faces of 100 mm2: a layer of 1 mm adds 1 400 on them, a quarter
/// rod at 210 mm of ridges and a ball at the corners; at the hollow edge of 10 mm the layers of two faces
/// share 1 x 1 x 10.
#[test]
fn a_hollow_edge_takes_from_the_layer() {
    let outline = [
        [0.0, 0.0],
        [20.0, 0.0],
        [20.0, 10.0],
        [10.0, 10.0],
        [10.0, 20.0],
        [0.0, 20.0],
    ];
    let mut triangles = Triangles::new();
    let at = |i: usize, z: f64| [outline[i % 6][0], outline[i % 6][1], z];
    for i in 0..6 {
        let [a, b, c, d] = [at(i, 0.0), at(i + 1, 0.0), at(i + 1, 10.0), at(i, 10.0)];
        triangles.extend([[a, b, c], [a, c, d]]);
    }
    // Both ends as fans around the hollow corner.
    for i in [4, 5, 0, 1] {
        triangles.push([at(3, 10.0), at(i, 10.0), at(i + 1, 10.0)]);
        triangles.push([at(3, 0.0), at(i + 1, 0.0), at(i, 0.0)]);
    }
    let mesh = mesh(&triangles);
    assert!(off(mesh.volume_mm3().expect("closed"), 3000.0) < 1e-12);
    // Ridges: two outlines of 80 mm and five uprights of 10 mm.
    let layer = 1400.0 + 210.0 * PI / 4.0 - 10.0 + 4.0 * PI / 3.0;
    assert!(off(mesh.allowance_mm3(1.0).expect("closed"), layer) < 1e-9);
}

/// Two cubes that overlap cross each other; side by side, or one within the other, they do not.
#[test]
fn crossing_shells_are_told_and_others_are_not() {
    let with = |by: Point, side: f64| {
        let mut triangles = cube(20.0);
        triangles.extend(moved(&cube(side), by));
        mesh(&triangles).crossings()
    };
    for by in [[10.0; 3], [3.0, 7.0, 11.0], [19.0, 0.5, 0.5]] {
        let found = with(by, 20.0);
        assert!(found.pairs > 0 && found.first.is_some(), "{by:?}");
    }
    for (by, side) in [
        ([21.0, 0.0, 0.0], 20.0),
        ([5.0; 3], 10.0),
        ([0.0, 40.0, 3.0], 20.0),
    ] {
        assert_eq!(with(by, side).pairs, 0, "{by:?}");
    }
    for triangles in [
        sphere(50.0, 60),
        torus(40.0, 10.0, 60),
        cone(30.0, 40.0, 60),
    ] {
        assert_eq!(mesh(&triangles).crossings(), Crossings::default());
    }
}

/// A ball pulled through itself: the small circle is larger than the great one.
#[test]
fn a_ring_that_goes_through_its_own_middle_crosses_itself() {
    let mesh = mesh(&torus(10.0, 15.0, 40));
    assert!(mesh.closure().encloses());
    assert!(mesh.crossings().pairs > 0);
}

#[test]
fn what_is_no_shape_is_refused() {
    let refused = |triangles: &Triangles| Mesh::new(triangles).expect_err("refused").to_string();
    assert_eq!(refused(&Vec::new()), "holds no triangle");
    assert_eq!(refused(&vec![[[1.0; 3]; 3]; 4]), "holds no triangle");
    let mut broken = cube(20.0);
    broken[4][1][2] = f64::NAN;
    assert!(refused(&broken).contains("no number, in triangle 5"));
    assert!(refused(&cube(20_000.0)).contains("measures 20000.000 mm at its longest"));
    assert!(refused(&cube(0.02)).contains("choose another unit"));
    let many = vec![[[0.0; 3]; 3]; TRIANGLES_MAX + 1];
    assert!(refused(&many).contains("at most 200000"));
}

/// A cube is a square from each side; a ball an octagon or more with nothing within; a block behind a
/// wall is not seen from the front.
#[test]
fn views_show_outlines_and_hide_what_is_behind() {
    let views = mesh(&cube(20.0)).views();
    for view in View::ALL {
        let ring = [[0, 0], [0, 1000], [1000, 0], [1000, 1000]];
        let mut corners: Vec<[i32; 2]> = views.of(view).concat();
        corners.sort_unstable();
        corners.dedup();
        assert_eq!(corners, ring, "{view:?}");
    }
    let ball = mesh(&sphere(50.0, 100)).views();
    let around = |[x, y]: [i32; 2]| (f64::from(x) - 500.0).hypot(f64::from(y) - 500.0);
    assert!(
        ball.front
            .concat()
            .into_iter()
            .all(|p| (490.0..502.0).contains(&around(p)))
    );

    let mut hidden = block([0.0, 0.0, 0.0], [100.0, 5.0, 100.0]);
    hidden.extend(block([40.0, 50.0, 40.0], [60.0, 60.0, 60.0]));
    let views = mesh(&hidden).views();
    let inner = |lines: &[Line]| {
        lines
            .concat()
            .iter()
            .any(|[x, y]| (300..700).contains(x) && (300..700).contains(y))
    };
    assert!(!inner(&views.front), "{:?}", views.front);
    assert!(inner(&views.above), "{:?}", views.above);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// Whatever triangles come: figures are numbers, a volume is not negative, and lines stay within
    /// their box and few.
    #[test]
    fn any_triangles_are_measured(
        triangles in prop::collection::vec(prop::array::uniform3(prop::array::uniform3(-50..50i32)), 1..60),
    ) {
        let triangles: Triangles = triangles.iter().map(|t| t.map(|p| p.map(f64::from))).collect();
        if let Ok(mesh) = Mesh::new(&triangles) {
            prop_assert!(mesh.volume_mm3().is_none_or(|v| v >= 0.0));
            prop_assert!(mesh.allowance_mm3(2.0).is_none_or(|v| v.is_finite() && v >= 0.0));
            prop_assert!(mesh.surface_mm2().is_finite());
            let around = Cylinder::least(mesh.around(), ROOM);
            prop_assert!(around.diameter_mm.is_finite());
            let _ = mesh.crossings();
            let views = mesh.views();
            for view in View::ALL {
                let points = views.of(view).concat();
                prop_assert!(points.len() <= POINTS_MAX);
                prop_assert!(points.iter().flatten().all(|x| (0..=PER_SIDE).contains(x)));
            }
        }
    }
}
