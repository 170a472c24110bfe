//! What a shape measures, against trimesh, on two shapes that no formula covers.

use mendpost_core::shape::Mesh;
use mendpost_tests::solids::{Triangles, binary, gear, pipe};
use serde_json::{Value, json};

use crate::python;

fn mesh(triangles: &Triangles) -> Mesh {
    let wide = triangles.iter().map(|t| t.map(|p| p.map(f64::from)));
    Mesh::new(&wide.collect::<Vec<_>>()).expect("a mesh")
}

/// A wheel of 23 teeth with a hole, and a bent pipe with a straight end; each as well with a triangle
/// missing. Largest deviation measured: 2e-15.
#[test]
fn measures_agree_with_trimesh() {
    let whole = [
        gear(23, 80.0, 66.0, 21.0, 34.0),
        pipe(120.0, 30.0, 22.0, 90.0),
    ];
    let holed = whole.clone().map(|mut triangles| {
        triangles.pop();
        triangles
    });
    let shapes: Vec<Triangles> = whole.into_iter().chain(holed).collect();
    let hex = |bytes: Vec<u8>| bytes.iter().map(|b| format!("{b:02x}")).collect::<String>();
    let asked = Value::from_iter(shapes.iter().map(|s| json!(hex(binary(s)))));
    let answers: Vec<[f64; 6]> = python::answers(include_str!("shape.py"), &asked);
    assert_eq!(answers.len(), shapes.len());
    for (triangles, [volume, surface, x, y, z, closed]) in shapes.iter().zip(answers) {
        let mesh = mesh(triangles);
        let is_closed = closed > 0.5;
        assert_eq!(mesh.closure().encloses(), is_closed);
        assert_eq!(mesh.volume_mm3().is_some(), is_closed);
        assert_eq!(mesh.crossings().pairs, 0);
        let [length, width, height] = mesh.size_mm();
        let ours = mesh.volume_mm3().unwrap_or(volume);
        for (ours, theirs) in [
            (ours, volume),
            (mesh.surface_mm2(), surface),
            (length, x),
            (width, y),
            (height, z),
        ] {
            assert!((ours / theirs - 1.0).abs() < 1e-9, "{ours} {theirs}");
        }
    }
}
