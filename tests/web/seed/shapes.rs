//! Shapes of parts from STL files beside the site's own.

use super::at;
use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::seed::{SeedFiles, read};
use mendpost_tests::solids::{bush, text, upright};
use mendpost_tests::{App, START};

/// The invented shapes of the demonstration: bushes of 36 sides with a collar, as these figures make them.
#[test]
fn the_shapes_of_the_demonstration_are_made_by_these_figures() {
    let files = SeedFiles::demonstration();
    let ring = upright(bush([237.0, 190.0, 154.0], 12.0, 37.0));
    let sleeve = bush([87.0, 78.0, 57.0], 20.0, 137.0);
    let bucket = bush([117.0, 110.0, 88.0], 20.0, 157.0);
    for (name, body) in [
        ("RC-RING.stl", ring),
        ("WP-SLEEVE.stl", sleeve),
        ("WL-PINBUSH.stl", bucket),
    ] {
        let file = files.text(name).expect("the file");
        assert!(file == text(&body), "{name} differs");
        assert!(file.len() < 60_000, "{name} has {} bytes", file.len());
    }
}

/// The ring: a collar of 237 mm and 12 mm, a body of 190 mm and 25 mm, a bore of 154 mm. As round bodies
/// pi/4 (237^2 - 154^2) 12 + pi/4 (190^2 - 154^2) 25 = 549.0 cm3; with 36 sides 36/(2 pi) sin 10 degrees
/// = 0.99493 of it, 546.2 cm3. A part without a shape has no picture beside it.
#[tokio::test]
async fn the_demonstration_shows_its_shapes() {
    let data = read(&SeedFiles::demonstration(), at(START)).expect("no faults");
    let ring = data.shapes.iter().find(|shape| shape.part == "RC-RING");
    let figures = &ring.expect("a shape").figures;
    assert_eq!(figures.size_um, [237_000, 237_000, 37_000]);
    let volume = figures.volume_mm3.expect("closed");
    assert!((volume - 546_200).abs() < 300, "{volume}");
    assert_eq!((figures.open, figures.turned, figures.crossings), (0, 0, 0));
    assert!(!figures.inside_out && figures.allowance_um == 1500);

    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    let part = app.get("/catalogue/RC-RING").await;
    for said in [
        "546.2 cm³",
        "RC-RING.stl, in mm, given by the site’s files",
        "3.1 kg",
    ] {
        assert!(part.contains(said), "{said}: {}", part.body);
    }
    // Listed as sprayed, 240 x 240 x 40 mm: with 1.5 mm on each side the shape is just that.
    assert!(!part.contains("Check the unit"), "{}", part.body);
    let (list, requests) = (app.get("/catalogue").await, app.get("/requests").await);
    for (page, path, shown) in [
        (&list, "/catalogue/RC-RING", true),
        (&list, "/catalogue/SM-ROLLER", false),
        (&requests, "/requests/9", true),
        (&requests, "/requests/8", false),
    ] {
        let mut rows = page.body.split("<tr>");
        let row = rows.find(|row| row.contains(&format!("href=\"{path}\"")));
        let pictures = row.expect("a row").matches("class=\"shape-small\"").count();
        assert_eq!(pictures, usize::from(shown), "{path}");
    }
    let file = app.get("/catalogue/RC-RING/shape.stl").await;
    assert_eq!(file.status, StatusCode::OK);
}

/// Every fault of a shape is told where it is named; a file that nothing names is told by its own name.
#[test]
fn a_faulty_shape_is_told() {
    let cases = [
        (
            ("parts.csv", "RC-RING.stl,mm", "RC-RINGS.stl,mm"),
            "parts.csv, line 3, shape: there is no 'RC-RINGS.stl' beside it; put the STL file there",
        ),
        (
            ("parts.csv", "RC-RING.stl,mm", ","),
            "RC-RING.stl: no row of parts.csv has it as its 'shape'; name it there, or take the file away",
        ),
        (
            ("parts.csv", "RC-RING.stl,mm", "RC-RING.stl,"),
            "parts.csv, line 3, shape_unit: nothing is given, and 'shape' needs it; give both or neither",
        ),
        (
            ("parts.csv", "RC-RING.stl,mm", ",mm"),
            "parts.csv, line 3, shape: nothing is given, and 'shape_unit' needs it; give both or neither",
        ),
        (
            ("parts.csv", "RC-RING.stl,mm", "RC-RING.stl,foot"),
            "parts.csv, line 3, shape_unit: 'foot' is none of: mm, cm, m, inch",
        ),
        (
            ("parts.csv", "RC-RING.stl,mm", "site.toml,mm"),
            "parts.csv, line 3, shape: there is no 'site.toml' beside it; put the STL file there",
        ),
        (
            ("RC-RING.stl", "endsolid part", ""),
            "parts.csv, line 3, shape: 'RC-RING.stl' is a text STL file that cannot be read after",
        ),
        (
            ("RC-RING.stl", "solid part", "rope"),
            "parts.csv, line 3, shape: 'RC-RING.stl' is no STL file, or did not arrive whole",
        ),
    ];
    for ((file, from, to), expected) in cases {
        let told = super::faults::after(file, from, to);
        assert!(
            told.iter().any(|t| t.starts_with(expected)),
            "{expected}\n{told:#?}"
        );
    }
}

/// A binary file is read as a text one is.
#[test]
fn a_binary_file_is_no_fault() {
    let mut files = SeedFiles::demonstration();
    let body = bush([237.0, 190.0, 154.0], 12.0, 37.0);
    files.set("RC-RING.stl", mendpost_tests::solids::binary(&body));
    let data = read(&files, at(START)).expect("no faults");
    let ring = data.shapes.iter().find(|shape| shape.part == "RC-RING");
    assert_eq!(
        ring.map(|r| r.figures.size_um),
        Some([37_000, 237_000, 237_000])
    );
}
