//! One form, one change: double taps, lost answers, and forms sent again with other entries.

use axum::http::header::CONTENT_TYPE;
use axum::http::{Method, StatusCode};
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, FORM, between, form, request};

const ONE: &str = "AAAAAAAAAAAAAAAAAAAAAA";
const REPORT: &[(&str, &str)] = &[
    ("once", ONE),
    ("asset", "IP1"),
    ("part", "not-listed"),
    ("part_name", "hopper lid"),
    ("damage", "damaged"),
    ("broken_part", "here"),
    ("description", "Lid torn off its hinge"),
    ("danger", "no"),
    ("asked_by", "Ice plant keeper"),
];

async fn count(app: &App, query: &'static str) -> i64 {
    sqlx::query_scalar(query)
        .fetch_one(&app.state.db.read)
        .await
        .expect(query)
}

async fn requests(app: &App) -> i64 {
    count(app, "select count(*) from request").await
}

async fn report(app: &mut App) -> Answer {
    app.post("/requests/new", REPORT).await
}

/// The first answer was lost on its way: the same form sent again files nothing more, and leads to the
/// request that was filed, with the same words.
#[tokio::test]
async fn a_form_sent_twice_changes_once_and_gets_the_same_answer() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let before = requests(&app).await;
    let first = report(&mut app).await;
    assert_eq!(first.status, StatusCode::SEE_OTHER, "{}", first.body);
    let journal = count(&app, "select max(sequence) from journal").await;
    let again = report(&mut app).await;
    assert_eq!(
        (again.status, again.location()),
        (StatusCode::SEE_OTHER, first.location())
    );
    assert_eq!(requests(&app).await, before + 1);
    assert_eq!(
        count(&app, "select max(sequence) from journal").await,
        journal
    );
    let page = app.get(first.location()).await;
    let saved = format!("hopper lid. Journal {journal}.");
    assert!(page.contains(&saved), "{saved}");
}

/// Both taps are on their way at once; whichever comes second waits, and finds the first one's answer.
#[tokio::test]
async fn two_taps_at_once_are_one_change() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let before = requests(&app).await;
    let (mut left, mut right) = (app.same_browser(), app.same_browser());
    let (left, right) = tokio::join!(report(&mut left), report(&mut right));
    assert_eq!(left.status, StatusCode::SEE_OTHER, "{}", left.body);
    assert_eq!(left.location(), right.location());
    assert_eq!(requests(&app).await, before + 1);
}

/// Back in the browser, something else typed, sent again: nothing is taken silently, and what was typed
/// can be sent on as a change of its own.
#[tokio::test]
async fn the_same_number_with_other_entries_is_shown_and_can_be_sent_on() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let reading = |litres: &'static str| [("once", ONE), ("fuel", litres)];
    let first = app.post("/cell/reading", &reading("120")).await;
    assert_eq!(first.location(), "/cell");
    let readings = count(&app, "select count(*) from reading").await;

    let other = app.post("/cell/reading", &reading("130")).await;
    assert_eq!(other.status, StatusCode::CONFLICT);
    assert!(other.contains("This form was sent before and done: SAVED One reading entered"));
    assert!(other.contains("href=\"/cell\">Look at what was done"));
    assert!(other.contains("name=\"fuel\" value=\"130\""));
    assert_eq!(count(&app, "select count(*) from reading").await, readings);

    let number = between(&other.body, "action=\"/cell/reading\"", "</form>")
        .and_then(|form| between(form, "name=\"once\" value=\"", "\""))
        .expect("a number of its own")
        .to_owned();
    let sent_on = app
        .post("/cell/reading", &[("once", &number), ("fuel", "130")])
        .await;
    assert_eq!(sent_on.location(), "/cell");
    assert_eq!(
        count(&app, "select count(*) from reading").await,
        readings + 1
    );
}

/// The number is the person's own: another one with the same number is another form.
#[tokio::test]
async fn two_people_with_one_number_are_two_changes() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let before = requests(&app).await;
    report(&mut app).await;
    let mut other = app.other_browser();
    other.sign_in(Role::Checker).await;
    assert_eq!(report(&mut other).await.status, StatusCode::SEE_OTHER);
    assert_eq!(requests(&app).await, before + 2);
}

/// A form without a number would be filed twice by a double tap; it is refused, so that a template
/// which forgets it cannot go unnoticed.
#[tokio::test]
async fn a_form_without_a_number_changes_nothing() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let before = count(&app, "select max(sequence) from journal").await;
    for once in [None, Some("short")] {
        let mut fields = vec![("fuel", "120"), ("csrf", &app.token)];
        fields.extend(once.map(|once| ("once", once)));
        let body = form(&fields);
        let sent = request(Method::POST, "/cell/reading").header(CONTENT_TYPE, FORM);
        let answer = app.send(sent, &body).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN);
        assert!(answer.contains("This form carries no number of its own"));
    }
    assert_eq!(
        count(&app, "select max(sequence) from journal").await,
        before
    );
}

/// A program sends the number as a header, as the draft standard for it has it (IETF,
/// draft-ietf-httpapi-idempotency-key-header).
#[tokio::test]
async fn a_program_may_send_the_number_as_a_header() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let before = count(&app, "select count(*) from reading").await;
    let body = form(&[("fuel", "120"), ("csrf", &app.token)]);
    for _ in 0..2 {
        let sent = request(Method::POST, "/cell/reading")
            .header(CONTENT_TYPE, FORM)
            .header("idempotency-key", ONE);
        assert_eq!(app.send(sent, &body).await.location(), "/cell");
    }
    assert_eq!(
        count(&app, "select count(*) from reading").await,
        before + 1
    );
}

/// Every form of every page that a lead sees carries a number, and no two the same.
#[tokio::test]
async fn every_form_on_every_page_carries_a_number_of_its_own() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    for route in mendpost_server::routes().table {
        if route.method != Method::GET || route.path.contains('{') {
            continue;
        }
        let page = app.get(route.path).await;
        let posts = page.body.matches("method=\"post\"").count();
        let numbers: std::collections::BTreeSet<&str> = page
            .body
            .split("name=\"once\" value=\"")
            .skip(1)
            .filter_map(|rest| rest.split('"').next())
            .collect();
        assert_eq!(numbers.len(), posts, "{}", route.path);
    }
}
