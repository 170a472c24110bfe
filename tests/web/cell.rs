//! The cell: how long it can spray, and entering readings.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, between};

async fn signed_in(role: Role) -> App {
    let mut app = App::new().await;
    app.sign_in(role).await;
    app.get("/cell").await;
    app
}

async fn readings(app: &App) -> i64 {
    sqlx::query_scalar("select count(*) from reading")
        .fetch_one(&app.state.db.read)
        .await
        .expect("the readings are counted")
}

async fn latest(app: &App, what: &str) -> (i64, String) {
    sqlx::query_as(
        "select value, read_by from reading where what = ? order by read_at desc, id desc limit 1",
    )
    .bind(what)
    .fetch_one(&app.state.db.read)
    .await
    .expect("a reading")
}

#[tokio::test]
async fn the_answer_says_how_long_and_who_read_the_gauges() {
    let mut app = signed_in(Role::Viewer).await;
    let page = app.get("/cell").await;
    assert_eq!(page.status, StatusCode::OK);
    let answer = between(&page.body, "<h1>", "</h1>").expect("an answer");
    assert!(
        answer.starts_with("Spray for ") && answer.contains("then fill bottles"),
        "{answer}"
    );
    assert!(page.contains("Fuel lasts"));
    assert!(page.contains(", Sprayer</p>"), "who read the bank");
    assert!(!page.contains("/cell/reading"), "a viewer enters nothing");
}

/// 14.987 bar on a gauge at the sea's height, where the air has 1.013, are 16 bar: below every floor.
#[tokio::test]
async fn a_round_of_readings_is_kept_and_counts_at_once() {
    let mut app = signed_in(Role::Crew).await;
    let before = readings(&app).await;
    let answer = app
        .post(
            "/cell/reading",
            &[
                ("bank", "N1"),
                ("pressure", "14.987"),
                ("scale", "gauge"),
                ("temperature", "31"),
                ("fuel", "400"),
                ("bore", "2.08"),
            ],
        )
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert_eq!(answer.location(), "/cell");
    assert_eq!(readings(&app).await, before + 4);
    let (mbar, by) = latest(&app, "bank-pressure").await;
    assert!((15_999..=16_001).contains(&mbar), "{mbar}");
    assert_eq!(by, "Sprayer");
    assert_eq!(latest(&app, "nozzle-bore").await.0, 2_080);
    let kinds: i64 =
        sqlx::query_scalar("select count(*) from journal where kind = 'reading.entered'")
            .fetch_one(&app.state.db.read)
            .await
            .expect("the journal is read");
    assert_eq!(kinds, 4);
    let page = app.get("/cell").await;
    assert!(page.contains("SAVED"));
    assert!(page.contains("Fill bank N1 before you spray"));
    assert!(page.contains("2.08 mm"));
}

#[tokio::test]
async fn bad_readings_are_told_at_their_fields_and_nothing_is_kept() {
    let mut app = signed_in(Role::Crew).await;
    let before = readings(&app).await;
    let good = [
        ("bank", "N1"),
        ("pressure", "60"),
        ("scale", "gauge"),
        ("temperature", "30"),
        ("fuel", "400"),
        ("bore", "2.05"),
        ("read_at", ""),
    ];
    for (field, bad, told) in [
        ("bank", "N9", "choose the bank"),
        ("pressure", "a lot", "is not a number"),
        ("scale", "", "choose what the gauge shows"),
        ("temperature", "99", "out of range"),
        ("fuel", "-3", "out of range"),
        ("bore", "20.5", "out of range"),
        ("read_at", "2036-01-01T00:00", "later than now"),
        ("read_at", "2016-01-01T00:00", "is on record"),
    ] {
        let fields = good.map(|(name, typed)| (name, if name == field { bad } else { typed }));
        let answer = app.post("/cell/reading", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(answer.contains(told), "{field} = '{bad}'");
        assert!(
            answer.contains("value=\"2.05\"") || field == "bore",
            "typed figures stay"
        );
        if !["bank", "scale"].contains(&field) {
            assert!(
                answer.contains(&format!("value=\"{bad}\"")),
                "{field} = '{bad}' stays"
            );
        }
    }
    let nothing = app.post("/cell/reading", &[("scale", "gauge")]).await;
    assert_eq!(nothing.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(nothing.contains("nothing was entered"));
    assert_eq!(readings(&app).await, before);
}

#[tokio::test]
async fn a_viewer_may_not_enter_readings() {
    let mut app = signed_in(Role::Viewer).await;
    let before = readings(&app).await;
    let answer = app.post("/cell/reading", &[("fuel", "400")]).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert_eq!(readings(&app).await, before);
}

/// A recipe's own setting, a figure typed over it, and faults beside their fields.
#[tokio::test]
async fn minutes_at_a_chosen_setting() {
    let mut app = signed_in(Role::Viewer).await;
    let recipe = app.get("/cell?recipe=SS-041").await;
    assert_eq!(recipe.status, StatusCode::OK);
    assert!(recipe.contains("Nitrogen at 45 bar and 750 °C"));
    let lower = app.get("/cell?recipe=SS-041&bar=20").await;
    assert!(lower.contains("Nitrogen at 20 bar and 750 °C"));
    let beyond = app.get("/cell?gas=nitrogen&bar=90&celsius=700").await;
    assert!(beyond.contains("recipe at 90 bar, cell to 70 bar"));
    let bad = app.get("/cell?gas=steam&bar=thick&celsius=9000").await;
    assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
    for told in [
        "is not one of the choices",
        "is not a number",
        "out of range",
    ] {
        assert!(bad.contains(told), "{told}");
    }
    assert!(bad.contains("value=\"thick\"") && bad.contains("value=\"9000\""));
    let unknown = app.get("/cell?recipe=XX-1").await;
    assert_eq!(unknown.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unknown.contains("is no recipe here"));
}
