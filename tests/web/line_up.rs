//! Planning, reading and accepting the line-up.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::lineup::queries;
use mendpost_tests::{Answer, App, number};

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

/// An order that the crew works to stays for a gain that is too little: with a margin of 20 % no second search
/// finds so much. It is stored as a new one, at today's times, and the journal says which one it keeps.
#[tokio::test(flavor = "multi_thread")]
async fn the_accepted_order_stays_for_a_small_gain() {
    let mut app = planned().await;
    execute(&app, "update planning set margin_permille = 200").await;
    accept(&mut app, "1").await;
    app.wait_minutes(10);
    plan(&mut app).await;
    let page = app.get("/line-up").await;
    assert!(
        page.contains("rder 1 stays, placed anew") || page.contains("than order 1: it stays"),
        "{}",
        page.body
    );
    assert!(page.contains("Otherwise than order 1"));
    assert!(
        !page.contains("is no longer planned") && !page.contains("is served another way"),
        "{}",
        page.body
    );
    let keeps = "select json_extract(content, '$.keeps') from journal where kind = 'lineup.computed' order by sequence desc limit 1";
    assert_eq!(number(&app, keeps).await, Some(1));
    let stored = queries::latest(&app.state.db.read).await;
    let line_up = stored.expect("readable").expect("planned").line_up;
    let kept = line_up.kept.expect("kept");
    let said = page.contains("too little to change what the crew works to");
    assert_eq!(said, kept.least_loss < line_up.losses.ours);
}

/// Of the order that was accepted only its last part is left, so that it would be built first and the rest behind
/// it: that loses much more than need be, and a new order is shown with what it does otherwise.
#[tokio::test(flavor = "multi_thread")]
async fn an_accepted_order_that_loses_much_gives_way() {
    let mut app = planned().await;
    accept(&mut app, "1").await;
    // Nothing on a page does this: an order stays as it was stored.
    let only_the_last = "drop trigger lineup_stays;
        update lineup set plan = json_set(plan, '$.jobs', json_array(json_extract(plan, '$.jobs[#-1]')))";
    execute(&app, only_the_last).await;
    app.past_the_journal = true;
    plan(&mut app).await;
    let page = app.get("/line-up").await;
    assert!(page.contains("Otherwise than order 1"), "{}", page.body);
    assert!(
        !page.contains("stays, placed anew") && !page.contains("it stays"),
        "{}",
        page.body
    );
}

async fn execute(app: &App, change: &'static str) {
    let db = &app.state.db.write;
    sqlx::raw_sql(change).execute(db).await.expect("a change");
}

/// Asked to search for a minute, the page says after a moment how far it is and what no order goes below; stopped
/// before that minute is over, the best order so far is there.
#[tokio::test(flavor = "multi_thread")]
async fn a_long_search_shows_how_far_it_is_and_can_be_stopped() {
    let mut app = App::signed_in(Role::Crew).await;
    let answer = app.post("/line-up/plan", &[("search_s", "60")]).await;
    assert_eq!(answer.location(), "/line-up", "{}", answer.body);
    let page = app.get("/line-up").await;
    for told in [
        " s, best so far loses ",
        "cannot lose less than ",
        "Stop, keep the best",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    app.post("/line-up/stop", &[]).await;
    app.state.planner.finished().await;
    let page = app.get("/line-up").await;
    assert!(page.contains("<h1>Spray the "), "{}", page.body);
    assert!(page.contains("Search for a minute") && !page.contains("Stop, keep the best"));
    let took = number(&app, "select search_ms from lineup").await;
    assert!(
        took.is_some_and(|ms| (2_500..60_000).contains(&ms)),
        "{took:?}"
    );
}

/// A search takes 1 to 600 s; anything else is refused, and nothing is searched for.
#[tokio::test(flavor = "multi_thread")]
async fn a_search_has_limits() {
    let mut app = App::signed_in(Role::Crew).await;
    for wrong in ["0", "601", "-5", "1.5", "soon"] {
        let answer = app.post("/line-up/plan", &[("search_s", wrong)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong}");
        assert!(
            answer.contains(" search takes 1 to 600 seconds: "),
            "{wrong}: {}",
            answer.body
        );
    }
    app.state.planner.finished().await;
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(0));
}
