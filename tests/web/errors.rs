//! Every failure is a page for people and a problem document (RFC 9457) for scripts.

use std::time::Duration;

use axum::extract::State;
use axum::http::header::{ACCEPT, ALLOW, CONTENT_TYPE};
use axum::http::{Method, StatusCode};
use mendpost_core::people::{Act, Role};
use mendpost_server::AppState;
use mendpost_server::change::{Actor, Change};
use mendpost_server::config::Config;
use mendpost_server::error::AppError;
use mendpost_server::form::{FieldErrors, Posted};
use mendpost_server::routes::{Access, Routes};
use mendpost_tests::{Answer, App, FORM, request};
use serde_json::Value;

/// Routes that fail in every way.
fn faults() -> Routes {
    Routes::default()
        .get("/fault/inside", Access::Open, inside)
        .get("/fault/panic", Access::Open, panics)
        .get("/fault/database", Access::Open, database)
        .get("/fault/values", Access::Open, values)
        .get("/fault/slow", Access::Open, slow)
        .get("/fault/silent", Access::Open, silent_change)
        .post("/fault/form", Access::Open, form)
}

async fn inside() -> AppError {
    AppError::internal("the safe's number is 4711")
}

async fn panics() -> AppError {
    panic!("the safe's number is {}", 4711)
}

async fn database(State(state): State<AppState>) -> Result<(), AppError> {
    let change = Change::begin(&state, Actor::Mendpost).await?;
    drop(change);
    Err(sqlx::Error::Protocol("the safe's number is 4711".to_owned()).into())
}

async fn values() -> AppError {
    let mut errors = FieldErrors::default();
    errors.add("pieces", "'x' is not a whole number");
    AppError::Invalid(errors)
}

/// Half a minute is over at once; then time runs on as usual, for the database's sake.
async fn slow() {
    std::future::pending().await
}

/// Writes, but leaves no trace in the journal.
async fn silent_change(State(state): State<AppState>) -> Result<(), AppError> {
    let mut change = Change::begin(&state, Actor::Mendpost).await?;
    sqlx::query("update site set altitude_m = 99")
        .execute(change.connection())
        .await?;
    change.commit().await
}

#[derive(serde::Deserialize)]
struct Pieces {
    #[expect(dead_code, reason = "only its absence matters")]
    pieces: u32,
}

async fn form(Posted(_): Posted<Pieces>) {}

async fn app() -> App {
    let config = Config {
        demonstration: true,
        ..Config::default()
    };
    let mut app = App::with(config, faults()).await;
    app.sign_in(Role::Crew).await;
    app
}

async fn document(app: &mut App, method: Method, path: &str) -> (Answer, Value) {
    let token = app.token.clone();
    let request = request(method, path)
        .header(ACCEPT, "application/problem+json")
        .header("x-csrf", token);
    let answer = app.send(request, "").await;
    assert_eq!(
        answer.header("content-type"),
        Some("application/problem+json")
    );
    let problem: Value = serde_json::from_str(&answer.body).expect("JSON");
    assert_eq!(problem["status"], answer.status.as_u16());
    let instance = format!(
        "urn:uuid:{}",
        answer.header("x-request-id").expect("a request id")
    );
    assert_eq!(problem["instance"], instance);
    (answer, problem)
}

fn assert_page(answer: &Answer, status: StatusCode, text: &str) {
    assert_eq!(answer.status, status, "{}", answer.body);
    assert_eq!(
        answer.header("content-type"),
        Some("text/html; charset=utf-8")
    );
    assert!(answer.contains(text), "no '{text}' in {}", answer.body);
    let id = answer.header("x-request-id").expect("a request id");
    assert!(answer.contains(id), "the page shows its number");
}

#[tokio::test]
async fn an_unknown_page_says_so_and_keeps_who_is_signed_in() {
    let mut app = app().await;
    let answer = app.get("/no-such-page").await;
    assert_page(&answer, StatusCode::NOT_FOUND, "There is no such page.");
    assert!(answer.contains("Sprayer"));
    let (_, problem) = document(&mut app, Method::GET, "/no-such-page").await;
    assert_eq!(problem["title"], "Not Found");
    assert!(problem.get("type").is_none(), "about:blank is the default");
}

#[tokio::test]
async fn a_missing_file_is_a_page_too() {
    let mut app = app().await;
    let answer = app.get("/static/no-such-file.css").await;
    assert_page(
        &answer,
        StatusCode::NOT_FOUND,
        "There is no file no-such-file.css",
    );
}

#[tokio::test]
async fn a_wrong_method_keeps_the_list_of_right_ones() {
    let mut app = app().await;
    let answer = app.post("/site", &[]).await;
    assert_page(
        &answer,
        StatusCode::METHOD_NOT_ALLOWED,
        "cannot be used in that way",
    );
    assert_eq!(answer.header(ALLOW.as_str()), Some("GET,HEAD"));
    document(&mut app, Method::POST, "/site").await;
}

/// One byte over 1 MiB is too much, whether its length is told or found out.
#[tokio::test]
async fn too_large_a_body_is_refused() {
    let mut app = app().await;
    let body = "x".repeat(1024 * 1024 + 1);
    let request = request(Method::POST, "/skin").header(CONTENT_TYPE, FORM);
    let answer = app.send(request, &body).await;
    assert_page(&answer, StatusCode::PAYLOAD_TOO_LARGE, "at most 1 MiB");
}

#[tokio::test]
async fn what_is_no_form_is_refused_with_words() {
    let mut app = app().await;
    let token = app.token.clone();
    let text = request(Method::POST, "/fault/form")
        .header(CONTENT_TYPE, "text/plain")
        .header("x-csrf", &token);
    let answer = app.send(text, "pieces=3").await;
    assert_page(
        &answer,
        StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "This address takes a form",
    );
}

/// A form struct should take any text; should one not, the answer is still a page.
#[tokio::test]
async fn a_form_that_does_not_fit_is_a_page() {
    let mut app = app().await;
    let answer = app.post("/fault/form", &[("pieces", "three")]).await;
    assert_page(
        &answer,
        StatusCode::UNPROCESSABLE_ENTITY,
        "The form cannot be read",
    );
    let answer = app.post("/skin", &[("back", "/"), ("back", "/")]).await;
    assert_page(
        &answer,
        StatusCode::UNPROCESSABLE_ENTITY,
        "The form cannot be read",
    );
}

#[tokio::test]
async fn faulty_values_are_listed_by_field() {
    let mut app = app().await;
    let answer = app.get("/fault/values").await;
    assert_page(
        &answer,
        StatusCode::UNPROCESSABLE_ENTITY,
        "is not a whole number",
    );
    let (_, problem) = document(&mut app, Method::GET, "/fault/values").await;
    assert_eq!(problem["errors"][0]["pointer"], "#/pieces");
    assert_eq!(problem["errors"][0]["detail"], "'x' is not a whole number");
}

#[tokio::test]
async fn a_fault_inside_never_tells_its_cause() {
    let mut app = app().await;
    for path in ["/fault/inside", "/fault/panic", "/fault/database"] {
        let answer = app.get(path).await;
        assert_page(
            &answer,
            StatusCode::INTERNAL_SERVER_ERROR,
            "Something went wrong",
        );
        assert!(!answer.contains("4711"), "{path}");
        let (answer, _) = document(&mut app, Method::GET, path).await;
        assert!(!answer.contains("4711"), "{path}");
    }
}

#[tokio::test]
async fn what_takes_too_long_is_cut_off_with_words() {
    let config = Config {
        time_limit: Duration::from_millis(300),
        ..Config::default()
    };
    let mut app = App::with(config, faults()).await;
    let answer = app.get("/fault/slow").await;
    assert_page(
        &answer,
        StatusCode::SERVICE_UNAVAILABLE,
        "Try again in a moment",
    );
}

/// The height was 4 m and stays so: a change without a journal entry is rolled back.
#[tokio::test]
async fn a_change_that_leaves_no_trace_does_not_happen() {
    let mut app = app().await;
    let answer = app.get("/fault/silent").await;
    assert_page(
        &answer,
        StatusCode::INTERNAL_SERVER_ERROR,
        "Something went wrong",
    );
    let height: i64 = sqlx::query_scalar("select altitude_m from site")
        .fetch_one(&app.state.db.read)
        .await
        .expect("a site");
    assert_eq!(height, 4);
}

/// Entries can be neither changed, nor taken out, nor put in out of order.
#[tokio::test]
async fn the_database_itself_keeps_the_journal_append_only() {
    let app = App::new().await;
    for (statement, reason) in [
        (
            "update journal set actor = 'x' where sequence = 1",
            "the journal is append-only",
        ),
        (
            "delete from journal where sequence = 1",
            "the journal is append-only",
        ),
        (
            "insert into journal
             select 99, time, actor, kind, subject_kind, subject_id, content, hash, zeroblob(32)
             from journal
             where sequence = 1",
            "the journal has no gaps",
        ),
    ] {
        let error = sqlx::query(statement)
            .execute(&app.state.db.write)
            .await
            .expect_err(statement);
        assert!(error.to_string().contains(reason), "{statement}: {error}");
    }
}

#[tokio::test]
async fn nobody_signed_in_is_sent_to_sign_in_and_a_script_gets_401() {
    let mut app = App::new().await;
    let answer = app.get("/site?a=b&c=d").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(answer.location(), "/sign-in?next=%2Fsite%3Fa%3Db%26c%3Dd");
    let (answer, problem) = document(&mut app, Method::GET, "/site").await;
    assert_eq!(answer.status, StatusCode::UNAUTHORIZED);
    assert_eq!(problem["detail"], "Sign in first.");
}

#[tokio::test]
async fn a_role_that_may_not_is_told_what() {
    let config = Config {
        demonstration: true,
        ..Config::default()
    };
    let routes = Routes::default().get("/fault/lead-only", Act::SetUpSite, async || "done");
    let mut app = App::with(config, routes).await;
    app.sign_in(Role::Crew).await;
    let answer = app.get("/fault/lead-only").await;
    assert_page(
        &answer,
        StatusCode::FORBIDDEN,
        "Your role may not set up the site",
    );
}
