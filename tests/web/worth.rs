//! What one more of each thing is worth: who may have it worked out, from which order, and what is said.

use axum::http::StatusCode;
use mendpost_core::lineup::Averted;
use mendpost_core::people::Role;
use mendpost_tests::App;

const PATH: &str = "/line-up/worth";

/// Before anything was planned there is nothing to measure from: the page says so, and a run begun by hand
/// is refused with the remedy.
#[tokio::test(flavor = "multi_thread")]
async fn without_a_line_up_the_page_says_to_plan() {
    let mut app = App::signed_in(Role::Lead).await;
    let page = app.get(PATH).await;
    assert!(page.contains("Plan first"), "{}", page.body);
    assert!(!page.contains("action=\"/line-up/worth\""));
    let answer = app.post(PATH, &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("plan first"), "{}", answer.body);
}

/// A run goes on beside the requests and can be stopped. What it finds belongs to its order: nothing is
/// worth less than nothing, and with the next order the page calls it out of date.
#[tokio::test(flavor = "multi_thread")]
async fn a_run_tells_what_each_is_worth_until_the_next_order() {
    let mut app = App::signed_in(Role::Crew).await;
    app.plan().await;
    app.state.planner.finished().await;
    let page = app.get(PATH).await;
    assert!(page.contains("Work it out"), "{}", page.body);
    assert!(page.contains("Why not earlier"), "{}", page.body);

    let answer = app.post(PATH, &[]).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, PATH)
    );
    let page = app.get(PATH).await;
    assert!(page.contains("worked out after"), "{}", page.body);
    app.post("/line-up/worth/stop", &[]).await;
    let shown = app.state.worths.shown();
    assert!(shown.running.is_none() && shown.found.is_none() && !shown.failed);

    // Fifteen hours after the order it is Thursday, 06:40: all is counted from then, and an hour more goes on
    // behind that day's duty, not behind that of the day of the order.
    app.wait_minutes(15 * 60);
    app.sign_in(Role::Crew).await;
    app.get(PATH).await;
    app.post(PATH, &[]).await;
    app.state.worths.finished().await;
    let shown = app.state.worths.shown();
    let found = shown.found.expect("worked out");
    assert_eq!(found.number, 1);
    let measured = &found.measured;
    for (more, worth) in &measured.worths {
        let told = !worth.freed.is_empty() || !worth.sooner.is_empty();
        match worth.averted {
            Averted::Loss(averted) => assert!(averted > measured.noise, "{more:?}"),
            Averted::Nothing | Averted::NotMeasurable => assert!(!told, "{more:?}"),
        }
    }
    let page = app.get(PATH).await;
    assert!(page.contains("One more container of"), "{}", page.body);
    assert!(page.contains("10 L more of fuel"), "{}", page.body);
    for text in [
        "One more, at hand Thu 26 06:40",
        "1 h more of duty when it ends Thu 26 22:00",
    ] {
        assert!(page.contains(text), "{text}: {}", page.body);
    }
    assert!(!page.contains("Out of date"), "{}", page.body);

    app.plan().await;
    app.state.planner.finished().await;
    let page = app.get(PATH).await;
    let stale = "Out of date: worked out for order 1, and order 2 is newer.";
    assert!(page.contains(stale), "{}", page.body);
}

/// Whoever only looks reads the page, has no button, and cannot start a run by hand.
#[tokio::test(flavor = "multi_thread")]
async fn only_who_plans_may_have_it_worked_out() {
    let mut app = App::signed_in(Role::Lead).await;
    app.plan().await;
    app.state.planner.finished().await;
    let mut viewer = app.other_browser();
    viewer.sign_in(Role::Viewer).await;
    let page = viewer.get(PATH).await;
    assert!(page.contains("Why not earlier"), "{}", page.body);
    assert!(!page.contains("action=\"/line-up/worth\""), "{}", page.body);
    for path in [PATH, "/line-up/worth/stop"] {
        assert_eq!(viewer.post(path, &[]).await.status, StatusCode::FORBIDDEN);
    }
    assert!(app.state.worths.shown().running.is_none());
}

/// The page of a request in the order says why it does not go earlier.
#[tokio::test(flavor = "multi_thread")]
async fn a_request_says_why_it_does_not_go_earlier() {
    let mut app = App::signed_in(Role::Lead).await;
    app.plan().await;
    app.state.planner.finished().await;
    let newest = mendpost_server::lineup::queries::latest(&app.state.db.read).await;
    let newest = newest.expect("readable").expect("planned");
    let second = &newest.line_up.places[1];
    assert!(second.earlier.is_some());
    let path = mendpost_server::requests::path(&second.request);
    let page = app.get(&path).await;
    let why = ["First in the order", "It is done as early as it can be"];
    assert!(why.iter().any(|why| page.contains(why)), "{}", page.body);
}
