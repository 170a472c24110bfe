//! Counts: blind, held against the book, and posted by a signature.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, number, text};

use super::{draw, grams, replayed, with_clean_feeder};

/// 560 g are drawn from L0406-1, which then holds 840 g by the book. Nobody sees that before the container is
/// weighed: 815 g are found, 25 g less. With divisions of 10 g the watch line is 20 + 5.6 = 25.6 g: allowed.
/// L0390-1 was not drawn from since the book began; 2 600 g by the book, 2 540 g found, stop line 20 g: its lot is
/// held.
#[tokio::test]
async fn a_count_is_blind_and_sets_the_book() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 560).await;
    let answer = app.post("/counts", &[("scope", "all")]).await;
    assert_eq!(answer.location(), "/counts/1", "{}", answer.body);
    let page = app.get("/counts/1").await;
    assert!(
        page.contains("L0406-1") && !page.contains("840"),
        "{}",
        page.body
    );
    let answer = app
        .post(
            "/counts/1",
            &[("found-L0406-1", "815"), ("found-L0390-1", "2540")],
        )
        .await;
    assert_eq!(answer.location(), "/counts/1", "{}", answer.body);
    let page = app.get("/counts/1/post").await;
    for said in [
        "-25 g",
        "25.6 g / 36.8 g",
        "-60 g",
        "stops its lot",
        "840 g",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert!(
        app.post("/counts/1/post", &[])
            .await
            .field_error("reason")
            .is_some()
    );
    let answer = app
        .post(
            "/counts/1/post",
            &[("reason", "the lid was left off in the wind")],
        )
        .await;
    assert_eq!(answer.location(), "/counts/1", "{}", answer.body);
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 815);
    assert_eq!(grams(&app, "L0390-1", "L0390").await, 2_540);
    assert_eq!(
        text(&app, "select state from lot where code = 'L0390'")
            .await
            .as_deref(),
        Some("hold")
    );
    assert_eq!(
        text(&app, "select state from lot where code = 'L0406'")
            .await
            .as_deref(),
        Some("released")
    );
    let signed = "select count(*) from signature where meaning = 'adjust'";
    assert_eq!(number(&app, signed).await, Some(1));
    assert_eq!(
        app.post("/counts/1/post", &[("reason", "again")])
            .await
            .status,
        StatusCode::CONFLICT
    );
    assert_eq!(
        app.post("/counts/1", &[("found-L0406-1", "815")])
            .await
            .status,
        StatusCode::CONFLICT
    );
    replayed(&app).await;
}

/// What is drawn between weighing and posting stays drawn: 840 g by the book, 830 g found, then 100 g drawn; posted,
/// the book says 730 g.
#[tokio::test]
async fn what_moves_after_weighing_is_not_counted_again() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 560).await;
    app.post("/counts", &[("scope", "all")]).await;
    app.post("/counts/1", &[("found-L0406-1", "830")]).await;
    draw(&mut app, "L0406-1", "trial", 100).await;
    app.post("/counts/1/post", &[]).await;
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 730);
    replayed(&app).await;
}

/// A lot that was counted within seven days is not due; after them it is.
#[tokio::test]
async fn what_was_counted_lately_is_not_due() {
    let mut app = App::signed_in(Role::Lead).await;
    app.post("/counts", &[("scope", "due")]).await;
    let all = number(&app, "select count(*) from stock_count_container").await;
    app.post("/counts/1", &[("found-L0406-1", "1400")]).await;
    app.post("/counts/1/post", &[]).await;
    app.post("/counts", &[("scope", "due")]).await;
    let due = number(&app, "select count(*) from stock_count_container where count_id = (select id from stock_count where number = 2)").await;
    assert_eq!(due, all.map(|all| all - 1));
}

/// Bad input is told beside its container, and the rest stays typed; nothing is kept of it.
#[tokio::test]
async fn what_cannot_be_weighed_is_told_beside_its_container() {
    let mut app = App::signed_in(Role::Lead).await;
    assert!(
        app.post("/counts", &[("scope", "some")])
            .await
            .field_error("scope")
            .is_some()
    );
    app.post("/counts", &[("scope", "all")]).await;
    let fields = [("found-L0406-1", "-5"), ("found-L0390-1", "2600")];
    let answer = app.post("/counts/1", &fields).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.field_error("found-L0406-1").is_some());
    assert!(answer.contains("value=\"2600\""), "{}", answer.body);
    assert_eq!(
        app.post("/counts/1", &[]).await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );
    let answer = app.post("/counts/1", &[("found-L9999-1", "5")]).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        number(&app, "select count(*) from stock_count_found").await,
        Some(0)
    );
    let mut viewer = App::signed_in(Role::Viewer).await;
    assert_eq!(
        viewer.post("/counts", &[("scope", "all")]).await.status,
        StatusCode::FORBIDDEN
    );
}

/// The site says its own lines: 1 % and 5 % with a division of 5 g. A stop line below the watch line is refused.
#[tokio::test]
async fn the_site_says_its_own_lines() {
    let mut app = App::signed_in(Role::Lead).await;
    let page = app.get("/site/weighing/change").await;
    assert!(page.contains("value=\"10\""), "{}", page.body);
    let lines = |watch, stop| {
        [
            ("division_g", "5"),
            ("divisions", "2"),
            ("watch_percent", watch),
            ("stop_percent", stop),
            ("version", "1"),
        ]
    };
    let answer = app.post("/site/weighing/change", &lines("5", "1")).await;
    assert!(
        answer.field_error("stop_percent").is_some(),
        "{}",
        answer.body
    );
    let answer = app.post("/site/weighing/change", &lines("1", "5")).await;
    assert_eq!(answer.location(), "/site/weighing", "{}", answer.body);
    let kept = "select division_mg * 1000 + stop_permille from weighing";
    assert_eq!(number(&app, kept).await, Some(5_000_050));
}
