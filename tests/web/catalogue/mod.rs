//! The catalogue: what can be made here, and what each part takes.

mod kit;
mod parts;
mod writing;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, between};

/// Of the demonstration's 32 parts one has no recipe, one only a withdrawn one, two are refused, of one nobody
/// has said what it does, one is too large, and one recipe waits for approval: 25 are left.
#[tokio::test]
async fn the_answer_counts_what_can_be_made() {
    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    let page = app.get("/catalogue").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("Make 25 of 32 parts here, by an approved recipe."));
    assert!(page.contains("One recipe waits for approval, six parts cannot be made here."));
    for (part, reason) in [
        ("BM-BOWLGEAR", "no recipe makes this part"),
        ("HL-LENSRING", "withdrawn"),
        ("SP-VOLUTE", "in a booth of"),
        ("WL-KNUCKLE", "authority, not built here"),
        ("SW-PAWL", "waits for approval"),
    ] {
        let row = between(&page.body, &format!("href=\"/catalogue/{part}\""), "</tr>");
        assert!(row.is_some_and(|row| row.contains(reason)), "{part}");
    }
}

/// Retired parts are listed still: such a catalogue is not called empty.
#[tokio::test]
async fn a_catalogue_of_retired_parts_is_not_empty() {
    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    sqlx::query("update part set retired_reason = 'gone with its machine'")
        .execute(&app.state.db.write)
        .await
        .expect("retired");
    let page = app.get("/catalogue").await;
    assert!(page.contains("Bring a part back, or list another: all 32 are retired."));
}

#[tokio::test]
async fn a_part_shows_its_recipe_step_by_step_with_cautions() {
    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    let page = app.get("/catalogue/WP-IMPELLER").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("Recipe BR-035 revision 2"));
    assert!(page.contains("fitted only after the owner’s engineer says yes"));
    assert!(page.contains("enough in 95 % of builds"));
    assert!(page.contains("Fine metal burns and explodes."));
    let steps =
        between(&page.body, "Recipe BR-035 revision 2</a></th>", "</table>").expect("steps");
    let (spray, run) = (steps.find("Spray"), steps.find("First run"));
    assert!(spray.is_some() && spray < run, "in their order");
}

#[tokio::test]
async fn a_part_that_is_not_made_here_says_why() {
    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    let refused = app.get("/catalogue/WL-KNUCKLE").await;
    assert!(refused.contains("Do not make the steering knuckle here"));
    let without = app.get("/catalogue/BM-BOWLGEAR").await;
    assert!(without.contains("Write a recipe for the bowl gear"));
    let none = app.get("/catalogue/NO-SUCH").await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
}

/// The version that a page's forms carry.
fn version(page: &Answer) -> String {
    let version = between(&page.body, "name=\"version\" value=\"", "\"");
    version.expect("a form with a version").to_owned()
}

async fn signed_in(app: &App, role: Role) -> App {
    let mut browser = app.other_browser();
    browser.sign_in(role).await;
    browser
}

/// What a form sends, with some of its fields changed.
fn with<'a>(
    usual: &[(&'a str, &'a str)],
    changed: &[(&'a str, &'a str)],
) -> Vec<(&'a str, &'a str)> {
    let mut fields: Vec<(&str, &str)> = usual
        .iter()
        .filter(|(name, _)| !changed.iter().any(|(other, _)| other == name))
        .copied()
        .collect();
    fields.extend(changed);
    fields
}
