//! What is said when nothing can be written, and that the pages go on.

use std::fs;

use axum::http::StatusCode;
use axum::http::header::ACCEPT;
use mendpost_core::people::Role;
use mendpost_server::db::FILE;
use mendpost_server::health::{Health, start};
use mendpost_server::{AppState, once};
use mendpost_tests::{Answer, App, FORM, request};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use tempfile::TempDir;

async fn on_writer(app: &App, statement: &'static str) {
    sqlx::raw_sql(statement)
        .execute(&app.state.db.write)
        .await
        .expect(statement);
}

async fn enter_fuel(app: &mut App) -> Answer {
    app.post("/cell/reading", &[("fuel", "390")]).await
}

/// The cautions and holds that must be readable whatever happens: the crew's first pages.
async fn assert_pages_go_on(app: &mut App) {
    for path in [
        "/now",
        "/line-up",
        "/requests",
        "/powder",
        "/cell",
        "/catalogue",
        "/site",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::OK, "{path}");
    }
    assert!(
        app.get("/powder").await.contains("L0408"),
        "the lot on hold"
    );
}

async fn assert_saves_again(app: &mut App, notice: &str) {
    assert!(
        app.get("/powder").await.contains(notice),
        "it stands until a change is saved"
    );
    let saved = enter_fuel(app).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.body);
    assert!(!app.get("/powder").await.contains(notice));
}

/// The database may have no more pages than it has: a reading with a long reason does not fit. Told
/// as 507, to a script as a problem document; on every page until a change is saved.
#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_is_told_and_over_when_there_is_room() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    on_writer(&app, "pragma max_page_count = 1").await;
    let mut last = enter_fuel(&mut app).await;
    for _ in 0..200 {
        if last.status != StatusCode::SEE_OTHER {
            break;
        }
        last = enter_fuel(&mut app).await;
    }
    assert_eq!(
        last.status,
        StatusCode::INSUFFICIENT_STORAGE,
        "{}",
        last.body
    );
    assert!(
        last.contains("<h1>Nothing was changed.</h1>"),
        "{}",
        last.body
    );
    assert!(last.contains("The disk that holds the data is full."));
    let notice = "The disk that holds the data is full.</b> Remove or move away";
    assert_pages_go_on(&mut app).await;

    // Somebody new can sign in and read, though no session can be stored.
    let mut other = app.other_browser();
    other.sign_in(Role::Checker).await;
    assert!(other.get("/powder").await.contains(notice));
    let sessions: i64 = sqlx::query_scalar("select count(*) from session")
        .fetch_one(&app.state.db.read)
        .await
        .expect("counted");
    assert_eq!(sessions, 1, "the other one's is in memory");
    on_writer(&app, "pragma max_page_count = 1000000").await;
    assert_saves_again(&mut app, notice).await;
    assert_eq!(
        other.get("/powder").await.status,
        StatusCode::OK,
        "still signed in"
    );
    other.post("/sign-out", &[]).await;
    assert_eq!(other.get("/powder").await.status, StatusCode::SEE_OTHER);
}

#[tokio::test(flavor = "multi_thread")]
async fn write_protection_is_told() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    on_writer(&app, "pragma query_only = true").await;
    let refused = enter_fuel(&mut app).await;
    assert_eq!(refused.status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(
        refused.contains("The data are write-protected. Nothing was changed. Make the data folder")
    );
    assert_pages_go_on(&mut app).await;
    on_writer(&app, "pragma query_only = false").await;
    assert_saves_again(&mut app, "The data are write-protected.").await;
}

/// Another program holds the database for writing. A script is told the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_locked_database_is_told() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    on_writer(&app, "pragma busy_timeout = 10").await;
    let mut other = SqliteConnectOptions::new()
        .filename(&*app.state.db.file)
        .connect()
        .await
        .expect("another program");
    sqlx::raw_sql("begin immediate")
        .execute(&mut other)
        .await
        .expect("locked");
    let refused = enter_fuel(&mut app).await;
    assert_eq!(refused.status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(
        refused.contains(
            "Another program holds the database. Nothing was changed. Close that program"
        )
    );
    let number = once::number();
    let fields = [
        ("fuel", "390"),
        ("csrf", app.token.as_str()),
        ("once", &number),
    ];
    let body = mendpost_tests::form(&fields);
    let script = request(axum::http::Method::POST, "/cell/reading")
        .header(ACCEPT, "application/json")
        .header("content-type", FORM);
    let told = app.send(script, &body).await;
    let problem: serde_json::Value = serde_json::from_str(&told.body).expect("JSON");
    assert_eq!(problem["status"], 503);
    assert!(
        problem["detail"]
            .as_str()
            .is_some_and(|text| text.contains("Nothing was changed."))
    );
    assert_pages_go_on(&mut app).await;
    sqlx::raw_sql("rollback")
        .execute(&mut other)
        .await
        .expect("unlocked");
    other.close().await.expect("closed");
    assert_saves_again(&mut app, "Another program holds the database.").await;
}

/// Found at the start, it stays: nothing is tried, and everybody can still sign in and read.
#[tokio::test(flavor = "multi_thread")]
async fn a_read_only_service_refuses_changes_and_shows_its_pages() {
    let app = App::new().await;
    let state = AppState {
        health: Health::read_only(
            "The database is damaged: entry 5 is missing.",
            "Restore a copy.",
        ),
        ..app.state.clone()
    };
    let mut app = app.served_with(state);
    app.sign_in(Role::Lead).await;
    let page = app.get("/now").await;
    assert!(
        page.contains(
            "<b>Read only. The database is damaged: entry 5 is missing.</b> Restore a copy."
        ),
        "{}",
        page.body
    );
    assert_pages_go_on(&mut app).await;
    let refused = enter_fuel(&mut app).await;
    assert_eq!(refused.status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(
        refused.contains("The database is damaged: entry 5 is missing. Restore a copy."),
        "{}",
        refused.body
    );
    assert_eq!(
        app.post("/site/backup", &[]).await.status,
        StatusCode::SERVICE_UNAVAILABLE
    );
    let sessions: i64 = sqlx::query_scalar("select count(*) from session")
        .fetch_one(&app.state.db.read)
        .await
        .expect("counted");
    assert_eq!(sessions, 0);
}

/// What was changed behind the service's back is found at its start, with the copy to restore.
#[tokio::test(flavor = "multi_thread")]
async fn damage_is_found_at_the_start() {
    for (change, told) in [
        (
            "drop trigger journal_kept; update journal set actor = 'nobody' where sequence = 7",
            "journal entry 7 was changed after it was written",
        ),
        (
            "pragma foreign_keys = off; delete from asset where id = (select asset_id from request)",
            "point to nothing",
        ),
        (
            "pragma writable_schema = on; update sqlite_schema set rootpage = \
             (select rootpage from sqlite_schema where name = 'journal') where name = 'reading'",
            "its pages do not fit together",
        ),
    ] {
        let mut app = App::new().await;
        app.sign_in(Role::Lead).await;
        app.post("/site/backup", &[]).await;
        assert!(start::examine(&app.state.db).await.is_well());
        on_writer(&app, change).await;
        let folder = TempDir::new().expect("a temporary folder");
        fs::copy(&*app.state.db.file, folder.path().join(FILE)).expect("copied");
        fs::copy(
            app.state.db.folder.join(format!("{FILE}-wal")),
            folder.path().join(format!("{FILE}-wal")),
        )
        .expect("copied");
        fs::create_dir(folder.path().join("backup")).expect("made");
        for file in fs::read_dir(app.state.db.folder.join("backup")).expect("there") {
            let file = file.expect("a file");
            fs::copy(
                file.path(),
                folder.path().join("backup").join(file.file_name()),
            )
            .expect("copied");
        }
        let opened = start::open(folder.path()).await.expect("opens");
        let notice = opened.health.notice().expect("something is wrong");
        assert!(notice.head.contains(told), "{}", notice.head);
        assert!(
            notice.text.contains("mendpost restore --data")
                && notice.text.contains("-asked.db --replace"),
            "{}",
            notice.text
        );
        start::close(&opened.db, None).await.expect("closed");
    }
}
