//! The journal as people read it.

use mendpost_core::people::Role;
use mendpost_tests::App;

/// What was done stands on top, with who did it; the rest is pages further on.
#[tokio::test]
async fn the_newest_change_stands_first_with_who_made_it() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    app.post("/powder/L0415/hold", &[("reason", "damp smell")])
        .await;
    let page = app.get("/journal").await;
    let (_, rows) = page.body.split_once("<tbody>").expect("a table");
    let first = rows.split("</tr>").next().expect("a row");
    assert!(first.contains("<b>lot held</b>, lot L0415"), "{first}");
    assert!(first.contains("<td>Sprayer</td>") && first.contains("damp smell"));
    assert_eq!(page.body.matches("what was written").count(), 50);
    let earlier =
        mendpost_tests::between(&page.body, "href=\"/journal?before=", "\"").expect("more");
    let earlier = format!("/journal?before={}", earlier.replace("&#38;", "&"));
    assert!(app.get(&earlier).await.contains("Mendpost itself"));
}

/// All that happened to one lot.
#[tokio::test]
async fn the_journal_of_one_thing() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    app.post("/powder/L0415/hold", &[("reason", "damp smell")])
        .await;
    let page = app.get("/journal?subject=lot&id=L0415").await;
    assert!(page.contains("Read what changed: lot L0415."));
    assert!(page.contains("lot held") && !page.contains("lot L0411"));
}

/// Somebody changes a figure past the program: the check says which entry, and does not fail.
#[tokio::test]
async fn a_changed_entry_is_found_and_told() {
    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    assert!(
        app.get("/journal?check=chain")
            .await
            .contains("The chain holds.")
    );
    for statement in [
        "drop trigger journal_kept",
        "update journal set content = '{}' where sequence = 7",
    ] {
        sqlx::query(statement)
            .execute(&app.state.db.write)
            .await
            .expect(statement);
    }
    let page = app.get_unchecked("/journal?check=chain").await;
    assert!(
        page.contains("The chain is broken.") && page.contains("Journal entry 7"),
        "{}",
        page.body
    );
}
