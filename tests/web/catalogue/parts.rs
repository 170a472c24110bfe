//! Parts as they are listed, changed, and taken out of the offer.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, SentFile, number, text};

use super::{signed_in, version, with};

const NEW: &str = "/catalogue/new";

const PART: &[(&str, &str)] = &[
    ("code", "SG-BUSH"),
    ("name", "screen bush"),
    ("asset", "SM1"),
    ("x", "120"),
    ("y", "80"),
    ("z", "80"),
    ("mass", "2.35"),
    ("allowance", "1,5"),
    ("flag", "form-only"),
    ("flag", "carries-load"),
];

#[tokio::test]
async fn a_part_is_listed_with_all_that_is_said_of_it() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    let form = checker.get(NEW).await;
    assert!(form.contains("Not built here: the licensed pressure inspector alone may decide"));
    let saved = checker.post(NEW, PART).await;
    assert_eq!(saved.location(), "/catalogue/SG-BUSH", "{}", saved.body);
    let page = checker.get("/catalogue/SG-BUSH").await;
    for said in [
        "120 x 80 x 80 mm",
        "1.5 mm",
        "carries load",
        "Write a recipe for the screen bush",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert!(page.contains("Photos and papers"));
    let again = checker.post(NEW, PART).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        again
            .field_error("code")
            .is_some_and(|e| e.contains("is the screen bush already"))
    );
}

/// Each wrong field is told beside it, what was typed stays, and nothing is stored.
#[tokio::test]
async fn a_fault_of_each_field_stands_beside_it() {
    let app = App::new().await;
    let mut lead = signed_in(&app, Role::Lead).await;
    lead.get(NEW).await;
    for (field, wrong) in [
        ("code", ""),
        ("code", "SG/BUSH"),
        ("code", "new"),
        ("code", ".."),
        ("code", "."),
        ("name", ""),
        ("asset", "XX9"),
        ("x", "0"),
        ("y", "wide"),
        ("z", "1.5"),
        ("mass", "0"),
        ("allowance", "51"),
        ("flag", "heavy"),
    ] {
        let answer = lead.post(NEW, &with(PART, &[(field, wrong)])).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
        if field != "mass" {
            assert!(
                answer.contains("value=\"2.35\""),
                "{field}: typed text is kept"
            );
        }
    }
    let none: Vec<_> = PART
        .iter()
        .filter(|(name, _)| *name != "flag")
        .copied()
        .collect();
    let answer = lead.post(NEW, &none).await;
    assert!(
        answer
            .field_error("flag")
            .is_some_and(|e| e.contains("tick at least one"))
    );
    assert_eq!(
        number(&app, "select count(*) from part where code = 'SG-BUSH'").await,
        Some(0)
    );
}

/// The fan hub can injure. Without that flag it needs no yes before it is built: that is said, and takes
/// a reason, which stands in the journal beside old and new.
#[tokio::test]
async fn taking_a_flag_off_says_what_it_relaxes_and_takes_a_reason() {
    let app = App::new().await;
    let mut lead = signed_in(&app, Role::Lead).await;
    let to = "/catalogue/AH-FANHUB/change";
    let opened = version(&lead.get(to).await);
    let fields = [
        ("name", "fan hub"),
        ("x", "310"),
        ("y", "310"),
        ("z", "120"),
        ("mass", "6.1"),
        ("allowance", "1.5"),
        ("flag", "form-only"),
        ("version", &opened),
    ];
    let asked = lead.post(to, &fields).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    let told = asked.field_error("reason").expect("told");
    assert!(
        told.contains("taken off") && told.contains("say why"),
        "{told}"
    );
    assert!(told.contains("the crew may build and release it"), "{told}");
    let given = with(
        &fields,
        &[("reason", "guarded since, by the owner’s engineer")],
    );
    let saved = lead.post(to, &given).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.body);
    let entry = text(
        &app,
        "select content from journal where kind = 'part.changed' order by sequence desc limit 1",
    );
    let entry = entry.await.expect("journalled");
    for part in ["guarded since", "can-injure", "\"before\"", "\"after\""] {
        assert!(entry.contains(part), "{part}: {entry}");
    }
    // The same form once more was opened before that.
    let late = lead.post(to, &with(&given, &[("name", "hub")])).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains("Not saved."));
    let name = text(&app, "select name from part where code = 'AH-FANHUB'").await;
    assert_eq!(name.as_deref(), Some("fan hub"));
}

#[tokio::test]
async fn a_part_is_retired_and_brought_back() {
    let app = App::new().await;
    let mut lead = signed_in(&app, Role::Lead).await;
    let to = "/catalogue/HL-LENSRING/retire";
    let opened = version(&lead.get(to).await);
    let blank = lead.post(to, &[("reason", ""), ("version", &opened)]).await;
    assert_eq!(blank.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(blank.field_error("reason").is_some());
    // Opened before somebody else changed it, it is not retired unseen, and the reason stays typed.
    let long = [("reason", "no such light here"), ("version", "0")];
    let late = lead.post(to, &long).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(
        late.contains("Not saved: HL-LENSRING was changed by somebody else"),
        "{}",
        late.body
    );
    assert!(
        late.contains(">no such light here</textarea>"),
        "{}",
        late.body
    );
    assert_eq!(version(&late), opened);
    let gone = [
        ("reason", "the light was taken down"),
        ("version", opened.as_str()),
    ];
    assert_eq!(lead.post(to, &gone).await.status, StatusCode::SEE_OTHER);
    let page = lead.get("/catalogue/HL-LENSRING").await;
    assert!(page.contains("it is retired") && page.contains("the light was taken down"));
    lead.get(to).await;
    let twice = lead.post(to, &gone).await;
    assert_eq!(twice.status, StatusCode::CONFLICT);
    assert!(
        twice.contains("is retired already (the light was taken down)"),
        "{}",
        twice.body
    );
    assert!(
        twice.contains(">the light was taken down</textarea>"),
        "{}",
        twice.body
    );
    let list = lead.get("/catalogue").await;
    assert!(
        list.contains("Make 25 of 31 parts here"),
        "it is counted no more"
    );
    assert!(!page.contains("Write a recipe"));
    let recipe = lead.get("/catalogue/HL-LENSRING/recipe").await;
    assert_eq!(recipe.status, StatusCode::CONFLICT);
    let recipe = [("code", "ZN-099"), ("like", "")];
    let started = lead.post("/catalogue/HL-LENSRING/recipe", &recipe).await;
    assert_eq!(started.status, StatusCode::CONFLICT);
    assert!(started.contains("bring it back before a recipe is written"));
    assert_eq!(
        number(&app, "select count(*) from recipe where code = 'ZN-099'").await,
        Some(0)
    );
    let offered = "<option value=\"HL-LENSRING\"";
    assert!(!lead.get("/requests/new").await.contains(offered));
    let back = version(&page);
    let fields = [("version", back.as_str())];
    let answer = lead
        .post("/catalogue/HL-LENSRING/bring-back", &fields)
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert!(lead.get("/catalogue").await.contains("of 32 parts"));
    assert!(lead.get("/requests/new").await.contains(offered));
}

/// A drawing hangs on the part, as a photo does on a request.
#[tokio::test]
async fn a_drawing_hangs_on_a_part() {
    let app = App::new().await;
    let mut lead = signed_in(&app, Role::Lead).await;
    let path = "/catalogue/WP-IMPELLER/photos";
    lead.get(path).await;
    let photo = crate::attachments::jpeg();
    let file = SentFile {
        name: "drawing.jpg",
        media_type: "image/jpeg",
        bytes: &photo,
    };
    let answer = lead
        .post_files(path, &[("caption", "sheet 1")], &[file])
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = lead.get("/catalogue/WP-IMPELLER").await;
    assert!(page.contains("sheet 1"), "{}", page.body);
    let kind = text(&app, "select subject_kind || ' ' || subject from attached").await;
    assert_eq!(kind.as_deref(), Some("part WP-IMPELLER"));
}
