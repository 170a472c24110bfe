//! Planning, reading and accepting the line-up.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::lineup::queries;
use mendpost_tests::{Answer, App};

async fn planned() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    plan(&mut app).await;
    app
}

async fn plan(app: &mut App) {
    let answer = app.plan().await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/line-up")
    );
    app.state.planner.finished().await;
}

async fn accept(app: &mut App, number: &str) -> Answer {
    app.get("/line-up").await;
    app.post("/line-up/accept", &[("number", number)]).await
}

/// Before anything was planned the page says so, and offers to plan.
#[tokio::test(flavor = "multi_thread")]
async fn a_site_without_a_line_up_is_told_to_plan() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let page = app.get("/line-up").await;
    assert!(
        page.contains("nothing has been planned here yet"),
        "{}",
        page.body
    );
    assert!(page.contains("action=\"/line-up/plan\""));
}

/// The page says what to spray first and sets our loss beside the crew's own orders, which are no
/// better.
#[tokio::test(flavor = "multi_thread")]
async fn the_line_up_says_what_goes_first_and_what_it_saves() {
    let mut app = planned().await;
    let page = app.get("/line-up").await;
    assert!(page.contains("<h1>Spray the "), "{}", page.body);
    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let losses = stored.line_up.losses;
    assert!(losses.ours < losses.oldest_first && losses.ours < losses.largest_rate_first);
    assert!(losses.oldest_first < losses.nothing);
    for word in [
        "Ours",
        "Largest rate first",
        "Oldest first",
        "Do nothing",
        "Waits at a gate",
    ] {
        assert!(page.contains(word), "{word}");
    }
}

/// Planning again makes a new order with a number of its own; the accepted one stands until
/// another is accepted, and the page says what the new one does otherwise.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_is_worked_to_until_another_is_accepted() {
    let mut app = planned().await;
    let answer = accept(&mut app, "1").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = app.get("/line-up").await;
    assert!(page.contains("SIGNED"), "the notice is the receipt");
    assert!(page.contains("The crew works to this order"));

    app.wait_minutes(300);
    plan(&mut app).await;
    let page = app.get("/line-up").await;
    assert!(page.contains("Otherwise than order 1"), "{}", page.body);
    let accepted = queries::accepted(&app.state.db.read)
        .await
        .expect("readable")
        .expect("accepted");
    assert_eq!(accepted.number, 1);
}

/// Two tablets: the order on the first one's page is no longer the newest. It is not accepted by
/// mistake, and the page says what to do.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_that_was_overtaken_is_not_accepted() {
    let mut app = planned().await;
    app.get("/line-up").await;
    plan(&mut app).await;
    let answer = accept(&mut app, "1").await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(
        answer.contains("Order 2 was computed since that page was shown"),
        "{}",
        answer.body
    );
    assert!(
        queries::accepted(&app.state.db.read)
            .await
            .expect("readable")
            .is_none()
    );
    for nonsense in ["", "one", "-1", "99999999999999999999"] {
        assert_eq!(
            accept(&mut app, nonsense).await.status,
            StatusCode::CONFLICT,
            "{nonsense}"
        );
    }
}

/// Whoever only looks sees neither button, and cannot press it by hand.
#[tokio::test(flavor = "multi_thread")]
async fn only_a_lead_accepts() {
    let app = planned().await;
    for (role, may_plan) in [(Role::Viewer, false), (Role::Crew, true)] {
        let mut other = app.other_browser();
        other.sign_in(role).await;
        let page = other.get("/line-up").await;
        assert!(!page.contains("Work to this order"), "{role}");
        assert_eq!(page.contains("Plan again"), may_plan, "{role}");
        assert_eq!(
            accept(&mut other, "1").await.status,
            StatusCode::FORBIDDEN,
            "{role}"
        );
    }
}
