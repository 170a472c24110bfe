//! What a recipe is measured against, as its draft is written.

use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, between, number};

/// A draft of SS-041: its approved revision taken up again.
async fn draft() -> App {
    let mut app = App::signed_in(Role::Checker).await;
    app.get("/recipes/SS-041/1").await;
    let page = app.get("/recipes/SS-041/1").await;
    let version = between(&page.body, "name=\"version\" value=\"", "\"").expect("a version");
    let answer = app
        .post("/recipes/SS-041/1/revise", &[("version", version)])
        .await;
    assert_eq!(answer.location(), "/recipes/SS-041/2", "{}", answer.body);
    app
}

async fn save(app: &mut App, fields: &[(&str, &str)]) -> Answer {
    let page = app.get("/recipes/SS-041/2/limits").await;
    let version = between(&page.body, "name=\"version\" value=\"", "\"").expect("a version");
    let mut fields = fields.to_vec();
    fields.push(("version", version));
    app.post("/recipes/SS-041/2/limits", &fields).await
}

const BORE: [(&str, &str); 5] = [
    ("size", "bore"),
    ("nominal", "60"),
    ("lower", "60"),
    ("upper", "60.02"),
    ("unit", "mm"),
];

/// What the approved revision says comes along; changed, it is told beside the old on the page where it is approved.
#[tokio::test(flavor = "multi_thread")]
async fn limits_are_part_of_the_revision() {
    let mut app = draft().await;
    let page = app.get("/recipes/SS-041/2/limits").await;
    for said in [
        "value=\"bore\"",
        "value=\"60.03\"",
        "value=\"89.94\"",
        "value=\"40\"",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let mut fields = BORE.to_vec();
    fields.extend([
        ("size", "width of the groove"),
        ("nominal", "0.25"),
        ("lower", "0.249"),
        ("upper", "0.251"),
        ("unit", "in"),
        ("property", "hardness"),
        ("condition", "as-sprayed"),
        ("least", "180"),
        ("most", ""),
        ("load", "0.3"),
    ]);
    let answer = save(&mut app, &fields).await;
    assert_eq!(answer.location(), "/recipes/SS-041/2", "{}", answer.body);
    let page = app.get("/recipes/SS-041/2").await;
    for said in [
        "bore: 60 (60 to 60.02) mm; width of the groove: 0.25 (0.249 to 0.251) in",
        "hardness, as sprayed: at least 180 HV0.3",
        "dimensions",
        "expected of coupons",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let nm = number(
        &app,
        "select upper_nm from recipe_size where name = 'width of the groove'",
    )
    .await;
    assert_eq!(nm, Some(6_375_400), "0.251 in are 6.3754 mm");
}

/// Each field is told where it is wrong; a row with nothing in it is left out, and nothing else is.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_wrong_in_a_row_is_told_there() {
    let mut app = draft().await;
    let before = number(&app, "select count(*) from recipe_size").await;
    for (field, typed, told_at) in [
        ("size", "", "size0"),
        ("size", "a:b", "size0"),
        ("nominal", "", "nominal0"),
        ("nominal", "sixty", "nominal0"),
        ("lower", "60.1", "lower0"),
        ("upper", "1524", "lower0"),
        ("unit", "", "nominal0"),
    ] {
        let mut fields = BORE.to_vec();
        fields
            .iter_mut()
            .find(|(known, _)| *known == field)
            .expect("a field")
            .1 = typed;
        let answer = save(&mut app, &fields).await;
        assert_eq!(answer.status, 422, "{field} '{typed}'");
        assert!(
            answer.field_error(told_at).is_some(),
            "{field} '{typed}': {}",
            answer.body
        );
    }
    for (property, condition, least, most, load, told_at) in [
        ("", "as-sprayed", "30", "", "", "property0"),
        ("strength", "", "30", "", "", "condition0"),
        ("strength", "as-sprayed", "", "", "", "least0"),
        ("strength", "as-sprayed", "40", "30", "", "least0"),
        ("strength", "as-sprayed", "a lot", "", "", "least0"),
        ("porosity", "as-sprayed", "", "101", "", "most0"),
        ("hardness", "as-sprayed", "110", "", "", "load0"),
        ("strength", "as-sprayed", "30", "", "0.3", "load0"),
    ] {
        let fields = [
            ("property", property),
            ("condition", condition),
            ("least", least),
            ("most", most),
            ("load", load),
        ];
        let answer = save(&mut app, &fields).await;
        assert_eq!(answer.status, 422, "{fields:?}");
        assert!(
            answer.field_error(told_at).is_some(),
            "{fields:?}: {}",
            answer.body
        );
    }
    let twice: Vec<_> = BORE.into_iter().chain(BORE).collect();
    let answer = save(&mut app, &twice).await;
    assert!(answer.field_error("size1").is_some(), "{}", answer.body);
    assert_eq!(
        number(&app, "select count(*) from recipe_size").await,
        before
    );
}

/// An approved revision is not changed, the crew writes no recipe, and a form of before is told.
#[tokio::test(flavor = "multi_thread")]
async fn only_a_draft_is_changed_and_at_its_newest() {
    let mut app = draft().await;
    assert_eq!(app.get("/recipes/SS-041/1/limits").await.status, 409);
    let mut other = app.same_browser();
    let page = other.get("/recipes/SS-041/2/limits").await;
    let version = between(&page.body, "name=\"version\" value=\"", "\"").expect("a version");
    let mut late = BORE.to_vec();
    late.push(("version", version));
    save(&mut app, &BORE).await;
    let answer = other.post("/recipes/SS-041/2/limits", &late).await;
    assert_eq!(answer.status, 409, "{}", answer.body);
    app.sign_in(Role::Crew).await;
    assert_eq!(app.get("/recipes/SS-041/2/limits").await.status, 403);
}
