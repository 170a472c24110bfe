//! The crew's own order: numbered, laid out beside the planner's, kept as a line-up of its own, and signed.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::lineup::queries::{Stored, accepted, latest};
use mendpost_tests::{App, number, text};

const PATH: &str = "/line-up/own";

async fn planned() -> App {
    let mut app = App::signed_in(Role::Crew).await;
    app.plan().await;
    app
}

async fn newest(app: &App) -> Stored {
    let latest = latest(&app.state.db.read).await;
    latest.expect("readable").expect("planned")
}

/// The places of the order that is shown, the other way round.
async fn turned(app: &App) -> Vec<(String, String)> {
    let places = newest(app).await.line_up.places;
    let requests = places.iter().rev().map(|place| place.request.clone());
    (1..)
        .zip(requests)
        .map(|(n, request)| (format!("n.{request}"), n.to_string()))
        .collect()
}

fn query(fields: &[(String, String)]) -> String {
    let fields: Vec<String> = fields.iter().map(|(n, v)| format!("{n}={v}")).collect();
    format!("{PATH}?{}", fields.join("&"))
}

/// The numbers stand as the order shown has them; turned round, the order loses more than the planner's best,
/// and every other order stands beside it. Nothing is kept by looking.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_of_ones_own_is_laid_out_beside_the_planners() {
    let mut app = planned().await;
    let page = app.get("/line-up").await;
    assert!(page.contains("href=\"/line-up/own\""), "{}", page.body);
    let first = newest(&app).await.line_up.places[0].request.clone();
    let page = app.get(PATH).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    assert!(page.contains(&format!(
        "name=\"n.{first}\" inputmode=\"decimal\" value=\"1\""
    )));
    let page = app.get(&query(&turned(&app).await)).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    for text in [
        "more than the planner&#39;s best",
        "Your own order",
        "The planner&#39;s best",
        "Oldest first",
        "Keep this order",
        "class=\"tl-other\"",
    ] {
        assert!(page.contains(text), "{text}: {}", page.body);
    }
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(1));
}

/// Kept, it is the newest line-up, the journal says whose it is, the page says so too, and the lead signs it
/// as any other.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_of_ones_own_is_kept_and_signed() {
    let mut app = planned().await;
    let fields = turned(&app).await;
    app.get(PATH).await;
    let posted: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let answer = app.post(PATH, &posted).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/line-up"),
        "{}",
        answer.body
    );
    let kept = newest(&app).await;
    let by = kept.own_by.clone().expect("it says whose it is");
    let losses = kept.line_up.losses;
    assert_eq!(kept.number, 2);
    assert!(losses.planners.is_some_and(|best| best < losses.ours));
    let entry = "select kind || ' ' || subject_id from journal order by sequence desc limit 1";
    assert_eq!(text(&app, entry).await.as_deref(), Some("lineup.own 2"));
    let page = app.get("/line-up").await;
    for text in [
        "The crew's own order</b>, laid out by",
        by.as_str(),
        "The planner&#39;s best",
    ] {
        assert!(page.contains(text), "{text}: {}", page.body);
    }

    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    let page = lead.get("/line-up/accept?number=2").await;
    assert!(page.contains("laid out by"), "{}", page.body);
    let answer = lead.post("/line-up/accept", &[("number", "2")]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let worked_to = accepted(&app.state.db.read).await.expect("readable");
    let worked_to = worked_to.expect("accepted");
    assert_eq!((worked_to.number, worked_to.own_by), (2, Some(by)));
}

/// Two of the requests have a number: what else could be built waits at no gate, the crew left it out, and the
/// page of such a request says so as well.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_crew_left_out_is_told_from_what_waits() {
    let mut app = planned().await;
    let fields = turned(&app).await;
    app.get(PATH).await;
    let two: Vec<(&str, &str)> = fields
        .iter()
        .take(2)
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let answer = app.post(PATH, &two).await;
    assert_eq!(answer.location(), "/line-up", "{}", answer.body);
    let kept = newest(&app).await;
    let left_out = fields[2].0.trim_start_matches("n.");
    let waiting = kept.line_up.waiting.iter();
    let numbered = |code: &str| two.iter().any(|(field, _)| field[2..] == *code);
    for waits in waiting {
        assert_eq!(
            waits.is_left_out(),
            !numbered(waits.request.as_str()),
            "{}",
            waits.request
        );
    }
    let page = app.get("/line-up").await;
    for text in [
        "are left out by the crew.",
        "Waits at a gate, or left out",
        "<br>left out by the crew",
    ] {
        assert!(page.contains(text), "{text}: {}", page.body);
    }
    let mut lead = app.other_browser();
    lead.sign_in(Role::Lead).await;
    lead.get("/line-up/accept?number=2").await;
    let answer = lead.post("/line-up/accept", &[("number", "2")]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = app.get(&format!("/requests/{}", &left_out[1..])).await;
    assert!(page.contains("left out by the crew"), "{}", page.body);
}

/// A request that waits at a gate is no order by itself: the page says so and keeps the number that was typed,
/// and nothing is kept of it as a line-up.
#[tokio::test(flavor = "multi_thread")]
async fn an_order_in_which_nothing_can_be_built_is_refused() {
    let mut app = planned().await;
    let waits = newest(&app).await.line_up.waiting[0].request.clone();
    let field = format!("n.{waits}");
    let page = app.get(&query(&[(field.clone(), "7".to_owned())])).await;
    assert!(!page.contains("Keep this order"), "{}", page.body);
    let answer = app.post(PATH, &[(&field, "7")]).await;
    for page in [page, answer] {
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(
            page.contains("None of the requests that you numbered can be built now"),
            "{}",
            page.body
        );
        assert!(
            page.contains(&format!(
                "name=\"{field}\" inputmode=\"decimal\" value=\"7\""
            )),
            "{}",
            page.body
        );
    }
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(1));
}

/// A number for what is no open request is told, not passed over.
#[tokio::test(flavor = "multi_thread")]
async fn a_number_for_no_open_request_is_told() {
    let mut app = planned().await;
    let mut fields = turned(&app).await;
    fields.push(("n.R9999".to_owned(), "99".to_owned()));
    let page = app.get(&query(&fields)).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        page.contains(
            "&#39;n.R9999&#39; is no field of this page and was not counted. Only open requests"
        ),
        "{}",
        page.body
    );
    fields.last_mut().expect("it").1.clear();
    let page = app.get(&query(&fields)).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
}

/// What is wrong is told beside its field with what was typed; an order without a number is none.
#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_number_is_told_beside_it() {
    let mut app = planned().await;
    let places = newest(&app).await.line_up.places;
    let [one, two] = [0, 1].map(|n| format!("n.{}", places[n].request));
    for (first, second, field, fault) in [
        ("first", "2", &one, "&#39;first&#39; is not a number"),
        ("0", "2", &one, "is out of range"),
        ("1.25", "2", &one, "is finer than can be kept"),
        ("10000", "2", &one, "is out of range"),
    ] {
        let fields = [(one.as_str(), first), (two.as_str(), second)];
        let fields = fields.map(|(n, v)| (n.to_owned(), v.to_owned()));
        let page = app.get(&query(&fields)).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{first}");
        let told = page.field_error(field).unwrap_or_default();
        assert!(told.contains(fault), "{first}: {told:?}");
        assert!(page.contains(&format!("value=\"{first}\"")), "{first}");
    }
    let twice = [one.as_str(), two.as_str()].map(|n| (n.to_owned(), "3".to_owned()));
    let page = app.get(&query(&twice)).await;
    assert!(page.contains("3 is given to"), "{}", page.body);
    app.get(PATH).await;
    let answer = app.post(PATH, &[(&one, "")]).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer.contains("No request has a number"),
        "{}",
        answer.body
    );
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(1));
}

#[tokio::test(flavor = "multi_thread")]
async fn only_who_may_plan_lays_out_an_order() {
    let app = planned().await;
    let mut viewer = app.other_browser();
    viewer.sign_in(Role::Viewer).await;
    assert_eq!(viewer.get(PATH).await.status, StatusCode::FORBIDDEN);
    let answer = viewer.post(PATH, &[("n.1", "1")]).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
}

/// A field that the page has not, and a number given twice, are told and not passed over, whether the form is
/// looked at or kept.
#[tokio::test(flavor = "multi_thread")]
async fn a_field_that_the_page_has_not_is_refused() {
    let mut app = planned().await;
    let first = turned(&app).await.swap_remove(0).0;
    let unknown = "&#39;m.R1&#39; is no field of this page and was not counted.";
    let page = app.get(&format!("{PATH}?{first}=1&m.R1=2")).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains(unknown), "{}", page.body);
    let page = app.get(&format!("{PATH}?{first}=1&{first}=2")).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    let told = page.field_error(&first).unwrap_or_default();
    assert!(told.contains("are given; give one"), "{told}");
    app.get(PATH).await;
    let answer = app
        .post(PATH, &[(first.as_str(), "1"), ("m.R1", "2")])
        .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.contains(unknown), "{}", answer.body);
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(1));
}
