//! Signing in and out; in folders of their own: starting by a code, one's account, and the people of the
//! site as the lead sees them.

mod account;
mod site;
mod start;

use axum::http::StatusCode;
use axum::response::Redirect;
use mendpost_core::people::{Act, Role};
use mendpost_server::AppState;
use mendpost_server::change::{Actor, Change};
use mendpost_server::config::Config;
use mendpost_server::error::AppError;
use mendpost_server::page::{Notice, Screen};
use mendpost_server::people::passphrase::NewPassphrase;
use mendpost_server::people::{self, Who};
use mendpost_server::routes::Routes;
use mendpost_tests::App;

const PASSPHRASE: &str = "copper over steel";

/// A real site: no buttons, and one person with a passphrase.
async fn app() -> App {
    let app = App::with(Config::default(), Routes::default()).await;
    add(&app.state, "Ada").await;
    app
}

async fn add(state: &AppState, name: &str) {
    add_as(state, name, Role::Crew).await;
}

async fn add_as(state: &AppState, name: &str, role: Role) {
    let passphrase = NewPassphrase::new(PASSPHRASE, &[]).expect("hard to guess");
    let hash = state.passphrases.hash(passphrase).await.expect("a hash");
    let mut change = Change::begin(state, Actor::Mendpost)
        .await
        .expect("the writer is free");
    people::add(&mut change, name, role, Some(&hash))
        .await
        .expect("a new name");
    change.commit().await.expect("a journalled change");
}

async fn try_passphrase(app: &mut App, name: &str, passphrase: &str) -> mendpost_tests::Answer {
    app.get("/sign-in").await;
    app.post(
        "/sign-in",
        &[
            ("name", name),
            ("passphrase", passphrase),
            ("next", "/site"),
        ],
    )
    .await
}

async fn run(app: &App, statement: &'static str) {
    sqlx::query(statement)
        .execute(&app.state.db.write)
        .await
        .expect(statement);
}

async fn count(app: &App, query: &'static str) -> i64 {
    sqlx::query_scalar(query)
        .fetch_one(&app.state.db.read)
        .await
        .expect(query)
}

/// The content of the last entry of this kind.
async fn journal(app: &App, kind: &str) -> serde_json::Value {
    let content: String = sqlx::query_scalar(
        "select content from journal where kind = ? order by sequence desc limit 1",
    )
    .bind(kind)
    .fetch_one(&app.state.db.read)
    .await
    .expect(kind);
    serde_json::from_str(&content).expect("canonical JSON")
}

/// All that a table holds, as text.
async fn dump(app: &App, table: &'static str) -> String {
    let columns: Vec<String> = sqlx::query_scalar("select name from pragma_table_info(?)")
        .bind(table)
        .fetch_all(&app.state.db.read)
        .await
        .expect("columns");
    let joined = columns
        .iter()
        .map(|column| format!("coalesce({column}, '')"))
        .collect::<Vec<_>>()
        .join(" || ' ' || ");
    let rows: Vec<Vec<u8>> = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
        "select cast({joined} as blob) from {table}"
    )))
    .fetch_all(&app.state.db.read)
    .await
    .expect(table);
    assert!(!rows.is_empty(), "{table} holds something");
    String::from_utf8_lossy(&rows.concat()).into_owned()
}

#[tokio::test]
async fn the_right_passphrase_leads_to_the_page_asked_for() {
    let mut app = app().await;
    let answer = try_passphrase(&mut app, " ada ", PASSPHRASE).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/site")
    );
    let page = app.get("/site").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("Ada, crew"));
}

/// Wrong, unknown, left, and one of the demonstration without a passphrase: all get the same answer,
/// and the name that was typed stays.
#[tokio::test]
async fn all_refusals_read_the_same() {
    let mut app = app().await;
    add(&app.state, "Gone").await;
    run(&app, "update person set active = 0 where name = 'Gone'").await;
    for (name, passphrase) in [
        ("Ada", "copper under steel"),
        ("Ada", ""),
        ("Nobody", PASSPHRASE),
        ("Gone", PASSPHRASE),
        ("Cell lead", ""),
        ("Cell lead", "nobody at all"),
    ] {
        let answer = try_passphrase(&mut app, name, passphrase).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
        assert_eq!(
            answer.field_error("passphrase"),
            Some("name and passphrase do not belong together; try again")
        );
        assert!(
            answer.contains(&format!("value=\"{name}\"")),
            "the name stays"
        );
        assert!(answer.contains("aria-describedby=\"passphrase-below\" aria-invalid=\"true\""));
        assert!(
            answer.contains("href=\"#passphrase\""),
            "a link to the faulty field"
        );
        assert_eq!(
            app.get("/site").await.status,
            StatusCode::SEE_OTHER,
            "{name} is not in"
        );
    }
}

/// Three tries are free, the fourth waits a second; the right passphrase after it is taken.
#[tokio::test]
async fn guessing_is_slowed_down_but_never_locked_out() {
    let mut app = app().await;
    for _ in 0..3 {
        assert_eq!(
            try_passphrase(&mut app, "Ada", "guess")
                .await
                .status
                .as_u16(),
            422
        );
    }
    let answer = try_passphrase(&mut app, "ADA", PASSPHRASE).await;
    assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(answer.header("retry-after"), Some("1"));
    let expected = "too many tries for this name; wait 1 s, then try again";
    assert_eq!(answer.field_error("passphrase"), Some(expected));
    app.wait_minutes(1);
    assert_eq!(
        try_passphrase(&mut app, "Ada", PASSPHRASE).await.status,
        StatusCode::SEE_OTHER
    );
}

/// Whoever planted a session id before sign-in holds nothing after it.
#[tokio::test]
async fn signing_in_changes_the_session_id_and_the_token() {
    let mut app = app().await;
    app.get("/sign-in").await;
    let (planted, token) = (app.cookie("session").map(str::to_owned), app.token.clone());
    let planted = planted.expect("a visitor's session");
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    app.get("/site").await;
    assert_ne!(app.cookie("session"), Some(planted.as_str()));
    assert_ne!(app.token, token);

    let mut thief = app.other_browser();
    thief.set_cookie("session", &planted);
    assert_eq!(thief.get("/site").await.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn an_id_that_the_service_did_not_give_is_never_taken_over() {
    let mut app = app().await;
    app.set_cookie("session", "AAAAAAAAAAAAAAAAAAAAAA");
    app.get("/sign-in").await;
    assert_ne!(app.cookie("session"), Some("AAAAAAAAAAAAAAAAAAAAAA"));
}

#[tokio::test]
async fn signing_out_ends_the_session_on_the_server() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    app.get("/site").await;
    let kept = app.cookie("session").expect("signed in").to_owned();
    let answer = app.post("/sign-out", &[]).await;
    assert_eq!(answer.location(), "/sign-in");
    assert_eq!(app.cookie("session"), None, "the browser forgets it");

    let mut thief = app.other_browser();
    thief.set_cookie("session", &kept);
    assert_eq!(thief.get("/site").await.status, StatusCode::SEE_OTHER);
    assert_eq!(
        count(
            &app,
            "select count(*) from session where person_id is not null"
        )
        .await,
        0
    );
}

/// The database holds SHA-256 of the cookie, so a stolen copy opens nothing.
#[tokio::test]
async fn the_database_does_not_hold_what_the_cookie_says() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let cookie = app.cookie("session").expect("signed in").to_owned();
    let rows: Vec<String> = sqlx::query_scalar("select hex(token_hash) || data from session")
        .fetch_all(&app.state.db.read)
        .await
        .expect("sessions");
    assert_eq!(rows.len(), 1);
    assert!(!rows[0].contains(&cookie));
}

#[tokio::test]
async fn somebody_who_has_left_is_out_at_once() {
    let mut app = App::new().await;
    app.sign_in(Role::Storekeeper).await;
    run(
        &app,
        "update person set active = 0 where role = 'storekeeper'",
    )
    .await;
    assert_eq!(app.get("/site").await.status, StatusCode::SEE_OTHER);
}

/// Used every eleven hours a session lives on, past its idle limit of twelve, until a day is over.
/// Unused it ends after twelve hours. What has ended is removed when the next session begins.
#[tokio::test]
async fn sessions_end_after_twelve_idle_hours_and_after_a_day() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let mut idle = app.other_browser();
    idle.sign_in(Role::Crew).await;
    for hours in [11, 22] {
        app.wait_minutes(11 * 60);
        assert_eq!(
            app.get("/site").await.status,
            StatusCode::OK,
            "after {hours} h"
        );
    }
    assert_eq!(
        idle.get("/site").await.status,
        StatusCode::SEE_OTHER,
        "22 h idle"
    );
    app.wait_minutes(2 * 60);
    assert_eq!(
        app.get("/site").await.status,
        StatusCode::SEE_OTHER,
        "24 h in all"
    );
    app.get("/sign-in").await;
    assert_eq!(
        count(&app, "select count(*) from session").await,
        1,
        "the visitor's alone"
    );
}

/// Each role of the demonstration is one tap away; a real site has no such button and no such address.
#[tokio::test]
async fn the_demonstration_signs_in_by_a_button_and_a_real_site_does_not() {
    let mut app = App::new().await;
    let page = app.get("/sign-in").await;
    for person in [
        "Cell lead",
        "Sprayer",
        "Machinist",
        "Storekeeper",
        "Visitor",
    ] {
        assert!(page.contains(person), "{person}");
    }
    assert!(!page.contains("Passphrase"));
    for number in ["99", "x", ""] {
        let answer = app
            .post("/sign-in/demonstration", &[("person", number)])
            .await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND);
    }
    for role in Role::ALL {
        app.sign_in(role).await;
        assert!(app.get("/site").await.contains(&format!(", {role}</a>")));
    }

    let mut real = self::app().await;
    assert!(real.get("/sign-in").await.contains("Passphrase"));
    let answer = real
        .post("/sign-in/demonstration", &[("person", "1")])
        .await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn people_are_journalled_and_passphrases_are_not() {
    let app = app().await;
    let last: String = sqlx::query_scalar(
        "select kind || ' ' || subject_id || ' ' || content from journal order by sequence desc limit 1",
    )
    .fetch_one(&app.state.db.read)
    .await
    .expect("an entry");
    assert!(last.starts_with("person.added 6 {"), "{last}");
    assert!(
        last.contains("\"name\":\"Ada\"") && !last.contains("argon2"),
        "{last}"
    );
}

/// A device's skin is kept in a cookie and set before the first paint.
#[tokio::test]
async fn a_device_keeps_its_skin() {
    let mut app = App::new().await;
    assert!(app.get("/sign-in").await.contains("data-skin=\"day\""));
    let answer = app
        .post("/skin", &[("skin", "night"), ("back", "/sign-in")])
        .await;
    assert_eq!(answer.location(), "/sign-in");
    assert!(app.get("/sign-in").await.contains("data-skin=\"night\""));
    assert!(
        app.get("/no-such-page")
            .await
            .contains("data-skin=\"night\"")
    );
}

/// What an act has to say stands on the next page, as text, and on none after it.
#[tokio::test]
async fn a_notice_is_shown_once() {
    let config = Config {
        demonstration: true,
        ..Config::default()
    };
    let say = async |who: Who| {
        who.notice(Notice::done("Request 12 is filed.", "Pump <2> waits."))
            .await?;
        Ok::<_, AppError>(Redirect::to("/site"))
    };
    let mut app = App::with(
        config,
        Routes::default().post("/say", Act::FileRequest, say),
    )
    .await;
    app.sign_in(Role::Crew).await;
    assert_eq!(app.post("/say", &[]).await.location(), "/site");
    assert!(
        app.get("/site")
            .await
            .contains("<b>Request 12 is filed.</b> Pump &#60;2&#62; waits.")
    );
    assert!(!app.get("/site").await.contains("Request 12"));
}

/// The list of all pages, for tablets, names every screen and what it answers.
#[tokio::test]
async fn all_pages_are_listed() {
    let mut app = App::new().await;
    app.sign_in(Role::Viewer).await;
    let page = app.get("/pages").await;
    for screen in Screen::ALL {
        assert!(page.contains(&format!("href=\"{}\">{}", screen.path(), screen.word())));
        assert!(page.contains(screen.question()));
    }
}
