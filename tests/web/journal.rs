//! The journal as people read it.

use axum::http::StatusCode;
use chrono::DateTime;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, START, text};

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

/// Minutes after the start of the test, as a date-and-time field sends them: the demonstration's site is eleven hours
/// ahead of UTC.
fn typed(minutes: i64) -> String {
    let local = START + (minutes + 11 * 60) * 60_000;
    let local = DateTime::from_timestamp_millis(local).expect("a time");
    local.format("%Y-%m-%dT%H:%M").to_string()
}

fn entries(page: &Answer) -> usize {
    page.body.matches("what was written").count()
}

/// A lot is stopped by the sprayer, and ninety minutes later another by the lead, who then reads the fuel. Each is
/// found by who, when and what, alone and together; what is asked for stays in the form and in the way to older ones.
#[tokio::test]
async fn the_journal_is_searched_by_person_time_and_thing() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    app.post("/powder/L0415/hold", &[("reason", "damp smell")])
        .await;
    let newest = "select actor from journal order by sequence desc limit 1";
    let sprayer = text(&app, newest).await.expect("an actor");
    app.wait_minutes(90);
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    lead.post("/powder/L0404/hold", &[("reason", "dropped")])
        .await;
    lead.post("/cell/reading", &[("fuel", "410")]).await;
    let (before, after) = (typed(30), typed(60));
    for (query, held, other, fuel) in [
        (format!("person={sprayer}"), true, false, false),
        (format!("from={after}"), false, true, true),
        (format!("from={before}&to={after}"), false, false, false),
        (
            format!("to={after}&subject=lot&id=L0415"),
            true,
            false,
            false,
        ),
        (format!("from={after}&subject=lot"), false, true, false),
        (
            format!("person={sprayer}&from={after}"),
            false,
            false,
            false,
        ),
        (format!("person={sprayer}&subject=lot"), true, false, false),
        ("id=L0404".to_owned(), false, true, false),
        (
            format!("from={}&to={}", typed(90), typed(90)),
            false,
            true,
            true,
        ),
    ] {
        let page = app.get(&format!("/journal?{query}")).await;
        assert_eq!(page.contains("damp smell"), held, "{query}");
        assert_eq!(page.contains("dropped"), other, "{query}");
        assert_eq!(page.contains("<b>reading entered</b>"), fuel, "{query}");
    }
    let page = app.get(&format!("/journal?from={before}&to={after}")).await;
    assert!(
        entries(&page) == 0 && page.contains("No entry is of that."),
        "{}",
        page.body
    );
    assert!(
        page.contains(&format!("value=\"{before}\"")),
        "{}",
        page.body
    );
    let all = app
        .get(&format!("/journal?person=mendpost&to={after}"))
        .await;
    assert_eq!(entries(&all), 50);
    let earlier =
        mendpost_tests::between(&all.body, "href=\"/journal?before=", "\"").expect("more");
    let earlier = format!("/journal?before={}", earlier.replace("&#38;", "&"));
    assert!(
        earlier.contains("person=mendpost") && earlier.contains("to=2026"),
        "{earlier}"
    );
    assert_eq!(entries(&app.get(&earlier).await), 50);
}

/// What cannot be asked for is told beside its field, and what was typed is kept.
#[tokio::test]
async fn a_search_that_cannot_be_is_told_beside_its_field() {
    let mut app = App::signed_in(Role::Viewer).await;
    let (early, late) = (typed(0), typed(60));
    for (query, field) in [
        ("from=yesterday".to_owned(), "from"),
        (format!("from={late}&to={early}"), "to"),
        ("person=nobody".to_owned(), "person"),
        ("subject=submarine".to_owned(), "subject"),
    ] {
        let page = app.get(&format!("/journal?{query}")).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        assert!(page.field_error(field).is_some(), "{query}: {}", page.body);
    }
    let page = app.get("/journal?from=yesterday").await;
    assert!(page.contains("value=\"yesterday\""), "{}", page.body);
}
