//! The shape of a part: what is read of its STL file, what is refused, what is kept and shown.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::solids::{Triangles, binary, block, gear, text};
use mendpost_tests::{Answer, App, SentFile, between};

/// The feed roller sleeve: 520 x 180 x 180 mm and 14.5 kg in the catalogue, sprayed in zinc.
const PART: &str = "/catalogue/SM-ROLLER";
const FORM: &str = "/catalogue/SM-ROLLER/shape";

async fn app(role: Role) -> App {
    let mut app = App::new().await;
    app.sign_in(role).await;
    app
}

async fn send(app: &mut App, bytes: &[u8], fields: &[(&str, &str)]) -> Answer {
    app.get(FORM).await;
    let file = SentFile {
        name: "roller.stl",
        media_type: "model/stl",
        bytes,
    };
    app.post_files(FORM, fields, &[file]).await
}

const IN_MM: [(&str, &str); 2] = [("unit", "mm"), ("allowance", "1")];

async fn count(app: &App) -> (i64, i64) {
    let one = |sql: &'static str| sqlx::query_scalar(sql).fetch_one(&app.state.db.read);
    (
        one("select count(*) from part_shape g join part p on p.id = g.part_id where p.code = 'SM-ROLLER'")
            .await
            .expect("a count"),
        one("select count(*) from journal where kind = 'part.shaped' and subject_id = 'SM-ROLLER'")
            .await
            .expect("a count"),
    )
}

fn shifted(triangles: &Triangles, by: f32) -> Triangles {
    triangles
        .iter()
        .map(|t| t.map(|p| p.map(|x| x + by)))
        .collect()
}

/// A block of 520 x 180 x 180 mm is read, shown, and kept only then: 16 848 cm3, 4 392 cm2. A layer of
/// 1 mm: 439 200 mm2, a quarter rod at 3 520 mm of edges (2 765 mm3) and a ball: 441 969 mm3.
#[tokio::test]
async fn a_shape_is_read_shown_and_then_kept() {
    let mut app = app(Role::Crew).await;
    let page = app.get(PART).await;
    assert!(page.contains("None yet. Its STL file gives volume, mass and a picture."));
    let stl = binary(&block([520.0, 180.0, 180.0]));
    let answer = send(&mut app, &stl, &IN_MM).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let place = answer.location().to_owned();
    assert_eq!(count(&app).await, (0, 0), "reading keeps nothing");

    let read = app.get(&place).await;
    for text in [
        "Nothing is kept yet",
        "520 x 180 x 180 mm, as drawn",
        "16\u{202f}848 cm³",
        "4\u{202f}392 cm²",
        "442 cm³ more for 1 mm all over",
        "254.6 mm across, 520 mm long, along x",
        "Feed roller sleeve from above",
        "class=\"shape-line\"",
        "roller.stl, read in mm; 16 triangles",
    ] {
        assert!(read.contains(text), "{text}: {}", read.body);
    }
    assert!(
        !read.contains("through each other") && !read.contains("open"),
        "no fault is told"
    );
    let kept = app.post(&place, &[]).await;
    assert_eq!(
        (kept.status, kept.location()),
        (StatusCode::SEE_OTHER, PART),
        "{}",
        kept.body
    );
    assert_eq!(count(&app).await, (1, 1));

    let page = app.get(PART).await;
    let shape = between(&page.body, "<h2>Shape</h2>", "</section>").expect("shown");
    for text in [
        "16\u{202f}848 cm³",
        "roller.stl, in mm, given by",
        "Give another",
        "from the front",
    ] {
        assert!(shape.contains(text), "{text}: {shape}");
    }
    // 16 848 cm3 of any of the metals is far more than 14.5 kg.
    assert!(shape.contains("The catalogue says 14.5 kg"), "{shape}");
    // Request 1 asks for it.
    let request = app.get("/requests/1").await;
    assert!(request.contains("class=\"shape-small\""));
    let file = app.get("/catalogue/SM-ROLLER/shape.stl").await;
    assert_eq!(file.status, StatusCode::OK);
    assert_eq!(file.headers["content-type"], "model/stl");
}

/// A text file in inches is the same part; a second shape replaces the first, which stays on record.
#[tokio::test]
async fn text_in_inches_is_read_and_a_second_shape_replaces_the_first() {
    let mut app = app(Role::Lead).await;
    for (bytes, unit) in [
        (binary(&block([100.0, 50.0, 20.0])), "mm"),
        (text(&gear(12, 4.0, 3.5, 1.0, 2.0)).into_bytes(), "inch"),
    ] {
        let fields = [("unit", unit), ("allowance", "0.5")];
        let place = send(&mut app, &bytes, &fields).await.location().to_owned();
        assert_eq!(app.post(&place, &[]).await.status, StatusCode::SEE_OTHER);
    }
    assert_eq!(count(&app).await, (2, 2));
    let page = app.get(PART).await;
    assert!(
        page.contains("x 50.8 mm, as drawn"),
        "2 inch: {}",
        page.body
    );
    assert!(page.contains("0.5 mm all over"));
    assert!(page.contains("The catalogue says 520 x 180 x 180 mm, and the shape measures"));
}

/// Open, turned and crossing meshes are told before they are kept; an open one has no volume.
#[tokio::test]
async fn faults_of_the_mesh_are_told() {
    let mut app = app(Role::Crew).await;
    let whole = block([100.0, 50.0, 20.0]);
    let mut open = whole.clone();
    open.pop();
    let mut turned = whole.clone();
    turned[0].swap(0, 1);
    let mut crossing = whole.clone();
    crossing.extend(shifted(&whole, 7.0));
    let inward: Triangles = whole.iter().map(|[a, b, c]| [*a, *c, *b]).collect();
    for (triangles, told) in [
        (
            open,
            "3 edges are open: the surface has a hole, so it has no volume",
        ),
        (turned, "edges have their faces turned against each other"),
        (
            crossing,
            "pairs of faces go through each other, first near x",
        ),
        (inward, "It was drawn inside out, and is turned."),
    ] {
        let answer = send(&mut app, &binary(&triangles), &IN_MM).await;
        let place = answer.location().to_owned();
        let read = app.get(&place).await;
        assert!(read.contains(told), "{told}: {}", read.body);
        let is_closed = told.starts_with("pairs") || told.starts_with("It was");
        assert_eq!(
            !read.contains("none can be said: it is not closed"),
            is_closed,
            "{told}"
        );
    }
}

/// What is no shape is said beside the field, and nothing is kept.
#[tokio::test]
async fn what_is_no_shape_is_refused() {
    let mut app = app(Role::Crew).await;
    let good = binary(&block([520.0, 180.0, 180.0]));
    let mut hostile = good.clone();
    hostile[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
    let in_text = text(&block([520.0, 180.0, 180.0])).into_bytes();
    for (bytes, fields, told) in [
        (Vec::new(), IN_MM, "is empty; save it again"),
        (
            good[..300].to_vec(),
            IN_MM,
            "is no STL file, or did not arrive whole",
        ),
        (hostile, IN_MM, "is no STL file, or did not arrive whole"),
        (in_text[..400].to_vec(), IN_MM, "cannot be read after"),
        (b"\xff\xd8\xff\xe0 photo".to_vec(), IN_MM, "is no STL file"),
        (
            good.clone(),
            [("unit", "m"), ("allowance", "1")],
            "measures 520000.000 mm at its longest, and a part measures 1 to 10000 mm; choose another unit",
        ),
        (
            good.clone(),
            [("unit", ""), ("allowance", "1")],
            "choose the unit",
        ),
        (
            good.clone(),
            [("unit", "ell"), ("allowance", "1")],
            "id=\"unit-below\"",
        ),
        (
            good.clone(),
            [("unit", "mm"), ("allowance", "21")],
            "id=\"allowance-below\"",
        ),
    ] {
        let answer = send(&mut app, &bytes, &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
        assert!(answer.contains(told), "{told}: {}", answer.body);
    }
    app.get(FORM).await;
    let none = app.post_files(FORM, &IN_MM, &[]).await;
    assert!(none.contains("choose the part’s STL file first"));
    assert_eq!(count(&app).await, (0, 0));
}

/// A viewer sees the shape and gives none; what was read for one part is not kept for another, and what
/// is not at hand any more is said.
#[tokio::test]
async fn only_what_was_read_for_the_part_is_kept() {
    let mut viewer = app(Role::Viewer).await;
    assert!(!viewer.get(PART).await.contains("Give its STL file"));
    assert_eq!(viewer.get(FORM).await.status, StatusCode::FORBIDDEN);
    assert_eq!(
        viewer.get("/catalogue/SM-ROLLER/shape.stl").await.status,
        StatusCode::NOT_FOUND
    );

    let mut app = app(Role::Crew).await;
    let stl = binary(&block([520.0, 180.0, 180.0]));
    let answer = send(&mut app, &stl, &IN_MM).await;
    let other = answer.location().replace("SM-ROLLER", "RC-RING");
    let refused = app.post(&other, &[]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.contains("choose the file of RC-RING again"));
    for nobody in ["x", "00000000-0000-0000-0000-000000000000"] {
        let path = format!("{FORM}/{nobody}");
        assert_eq!(
            app.get(&path).await.status,
            StatusCode::CONFLICT,
            "{nobody}"
        );
    }
    let unknown = app.get("/catalogue/NO-SUCH/shape").await;
    assert_eq!(unknown.status, StatusCode::NOT_FOUND);
    assert_eq!(count(&app).await, (0, 0));
}

/// Keeps a block as the roller's shape.
async fn kept(app: &mut App, size: [f32; 3]) {
    let answer = send(app, &binary(&block(size)), &IN_MM).await;
    let place = answer.location().to_owned();
    assert_eq!(app.post(&place, &[]).await.location(), PART);
}

/// The number of the giving that the page to take it off carries.
fn given(page: &Answer) -> String {
    let given = between(&page.body, "name=\"given\" value=\"", "\"");
    given.expect("a page about a shape").to_owned()
}

/// The wrong file was given: taken off with a reason, the part has neither picture nor figures nor file;
/// who took it off and why is shown, and the shape stays on record. Another may be given.
#[tokio::test]
async fn a_shape_is_taken_off_and_stays_on_record() {
    let mut app = app(Role::Crew).await;
    let off = format!("{FORM}/take-off");
    assert_eq!(app.get(&off).await.status, StatusCode::NOT_FOUND);
    kept(&mut app, [520.0, 180.0, 180.0]).await;
    assert!(app.get(PART).await.contains(&format!("href=\"{off}\"")));

    let ask = app.get(&off).await;
    assert!(ask.contains("Take the shape off the feed roller sleeve."));
    let given = given(&ask);
    let blank = app.post(&off, &[("given", &given), ("reason", " ")]).await;
    assert_eq!(blank.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(blank.field_error("reason").is_some());
    let fields = [
        ("given", given.as_str()),
        ("reason", "it is the old sleeve"),
    ];
    let taken = app.post(&off, &fields).await;
    assert_eq!(taken.location(), PART, "{}", taken.body);

    let page = app.get(PART).await;
    let shape = between(&page.body, "<h2>Shape</h2>", "</section>").expect("a section");
    assert!(shape.contains("None any more. “roller.stl” was taken off by Sprayer"));
    assert!(shape.contains(": it is the old sleeve.") && !shape.contains("<svg"));
    assert!(
        !app.get("/requests/1")
            .await
            .contains("class=\"shape-small\"")
    );
    let file = app.get("/catalogue/SM-ROLLER/shape.stl").await;
    assert_eq!(file.status, StatusCode::NOT_FOUND);
    assert_eq!(count(&app).await, (1, 1), "it stays on record");
    let told =
        "select json_extract(content, '$.file_name') || ', ' || json_extract(content, '$.reason')
                from journal where kind = 'part.shape-taken-off'";
    let told = mendpost_tests::text(&app, told).await;
    assert_eq!(told.as_deref(), Some("roller.stl, it is the old sleeve"));

    kept(&mut app, [500.0, 180.0, 180.0]).await;
    assert!(app.get(PART).await.contains("500 x 180 x 180 mm, as drawn"));
}

/// While the page to take it off was open somebody gave another: that one is not taken off unseen. What was
/// typed is kept beside it, and sent again it is taken off.
#[tokio::test]
async fn a_shape_given_meanwhile_is_not_taken_off() {
    let mut app = app(Role::Crew).await;
    let off = format!("{FORM}/take-off");
    kept(&mut app, [520.0, 180.0, 180.0]).await;
    let seen = given(&app.get(&off).await);
    kept(&mut app, [500.0, 180.0, 180.0]).await;
    let late = app
        .post(&off, &[("given", &seen), ("reason", "too long")])
        .await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains("Not taken off: ") && late.contains(">too long</textarea>"));
    let now = given(&late);
    assert_ne!(now, seen);
    assert!(app.get(PART).await.contains("500 x 180 x 180 mm, as drawn"));
    let again = app
        .post(&off, &[("given", &now), ("reason", "too long")])
        .await;
    assert_eq!(again.location(), PART, "{}", again.body);
}
