//! What if, beside the line-up: what is assumed stands in the address, and nothing is changed.

use axum::http::StatusCode;
use mendpost_core::lineup::{Place, Readiness};
use mendpost_core::people::Role;
use mendpost_tests::{App, number};

const PATH: &str = "/line-up/what-if";

async fn planned() -> App {
    let mut app = App::signed_in(Role::Lead).await;
    app.plan().await;
    app
}

/// The crew works to its own order, the planner's turned round, which loses more. A millilitre more of fuel averts
/// nothing: that a search finds a better order is no gain of it, and the page says so and to plan again.
#[tokio::test(flavor = "multi_thread")]
async fn what_only_a_longer_search_gains_is_no_gain_of_what_is_assumed() {
    let mut app = planned().await;
    let shown = latest(&app).await;
    let requests = shown.line_up.places.iter().rev().map(|it| &it.request);
    let numbered: Vec<(String, String)> = (1..)
        .zip(requests)
        .map(|(n, request)| (format!("n.{request}"), n.to_string()))
        .collect();
    let fields: Vec<(&str, &str)> = numbered
        .iter()
        .map(|(field, n)| (field.as_str(), n.as_str()))
        .collect();
    app.get("/line-up/own").await;
    app.post("/line-up/own", &fields).await;
    let page = app.get(&format!("{PATH}?fuel=0.001")).await;
    for text in [
        "<h1>As assumed, the site would lose just as much.</h1>",
        "With nothing assumed, a longer search finds an order that loses ",
        "less than order 2, and that is not counted as a gain: plan again.",
        "Other order, now",
    ] {
        assert!(page.contains(text), "{text}: {}", page.body);
    }
}

/// Before anything is planned there is nothing to set it beside.
#[tokio::test(flavor = "multi_thread")]
async fn what_if_needs_a_line_up() {
    let mut app = App::signed_in(Role::Lead).await;
    let answer = app.get(PATH).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("plan first"), "{}", answer.body);
}

/// Several things at once: the boat late, the mill out, one person fewer, more powder. Both orders stand on
/// one axis, the losses beside each other; neither the journal nor the line-ups grow by it.
#[tokio::test(flavor = "multi_thread")]
async fn what_if_shows_both_orders_and_stores_nothing() {
    let mut app = planned().await;
    let page = app.get("/line-up").await;
    assert!(page.contains("href=\"/line-up/what-if\""), "{}", page.body);
    let entries = number(&app, "select count(*) from journal").await;
    let page = app
        .get(&format!(
            "{PATH}?late.BOAT-7=5&out=mill&out_from=&out_until=2026-12-02T12:00&fewer=machinist&powder=CUAL10&kg=12.5"
        ))
        .await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    for text in [
        "comes 5 days later",
        "Mill is out from",
        "One person fewer on duty who can cut and check",
        "12.5 kg more bronze CuAl10 here now",
        "As things stand",
        "Same order, then",
        "Other order, then",
        "nothing changes",
        ">other</text>",
        "class=\"tl-other\"",
        "Machines back at another time",
        "value=\"12.5\"",
    ] {
        assert!(page.contains(text), "{text}: {}", page.body);
    }
    assert_eq!(number(&app, "select count(*) from journal").await, entries);
    assert_eq!(number(&app, "select count(*) from lineup").await, Some(1));
}

/// Twice the loss rates of everything: the order stays, and both are judged by the doubled figures. A request
/// left out has no place then.
#[tokio::test(flavor = "multi_thread")]
async fn what_if_may_be_of_the_order_or_of_a_loss_figure() {
    let mut app = planned().await;
    let first = mendpost_server::lineup::queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let request = first.line_up.places[0].request.to_string();
    let page = app.get(&format!("{PATH}?without={request}")).await;
    assert!(
        page.contains(&format!("({request}) is left out")),
        "{}",
        page.body
    );
    assert!(page.contains("is no longer planned"), "{}", page.body);
    assert!(!page.contains("Same order, then"));
    let last = &first.line_up.places.last().expect("a place").request;
    let page = app.get(&format!("{PATH}?first={last}")).await;
    assert!(page.contains("is done first"), "{}", page.body);
    let page = app.get(&format!("{PATH}?loss=WATER&times=2")).await;
    assert!(page.contains(") times 2<"), "{}", page.body);
    assert_eq!(page.status, StatusCode::OK);
}

/// A request that waits at a gate finds no place by being asked first: the page says so, and why. What can be
/// built goes first, and the others are no worse off than if they were done in the order of their numbers
/// behind it.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_asked_first_has_its_place_or_is_told_to_have_none() {
    let mut app = planned().await;
    let shown = latest(&app).await;
    let waits = &shown.line_up.waiting[0].request;
    let page = app.get(&format!("{PATH}?first={waits}")).await;
    assert!(
        page.contains(&format!(
            "({waits}) cannot be done first: it has no place.</h1>"
        )),
        "{}",
        page.body
    );
    assert!(!page.contains("Other order, then"), "{}", page.body);
    let (_, why) = page
        .body
        .split_once("Falls out, and why")
        .expect("the reason");
    assert!(
        why.contains(&format!("({waits})")) || why.contains(&shown.line_up.waiting[0].part_name)
    );
    // What waits for its broken part cannot begin before the others.
    let ready = |place: &&Place| place.readiness == Readiness::Ready;
    let first = shown.line_up.places.iter().skip(2).find(ready);
    let first = &first.expect("one that could start now").request;
    let page = app.get(&format!("{PATH}?first={first}")).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    assert!(!page.contains("cannot be done first"), "{}", page.body);
    let (_, rows) = page
        .body
        .split_once("Request by request")
        .expect("the list");
    let (_, row) = rows.split_once("href=\"/requests/").expect("a row");
    assert!(
        row.starts_with(&format!("{}\"", &first.to_string()[1..])),
        "{row}"
    );
}

async fn latest(app: &App) -> mendpost_server::lineup::Stored {
    let latest = mendpost_server::lineup::queries::latest(&app.state.db.read).await;
    latest.expect("readable").expect("planned")
}

/// What is wrong is told beside its field, and what was typed is kept.
#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_field_of_what_if_is_told_beside_it() {
    let mut app = planned().await;
    for (query, field, fault) in [
        (
            "late.BOAT-7=0",
            "late.BOAT-7",
            "0 is out of range; enter 1 to 60",
        ),
        (
            "late.BOAT-7=soon",
            "late.BOAT-7",
            "&#39;soon&#39; is not a whole number",
        ),
        (
            "late.BOAT-7=2&never.BOAT-7=yes",
            "late.BOAT-7",
            "is assumed otherwise already",
        ),
        ("out_until=2026-12-02T12:00", "out", "choose which one"),
        (
            "out=kiln&out_until=2036-12-02T12:00",
            "out",
            "is no station here",
        ),
        ("out=mill", "out_until", "enter something here"),
        (
            "out=mill&out_until=2020-01-01T00:00",
            "out_until",
            "give a later end",
        ),
        (
            "out=mill&out_from=now&out_until=2036-01-01T00:00",
            "out_from",
            "is not a date and time",
        ),
        ("fewer=cook", "fewer", "is not one of the choices"),
        ("powder=SS316", "kg", "enter something here"),
        ("kg=5", "powder", "choose which one"),
        ("powder=Gold&kg=5", "powder", "is no powder here"),
        ("powder=SS316&kg=0", "kg", "is out of range"),
        ("bottles=5", "bank", "choose which one"),
        ("bank=ZZ&bottles=5&pressure=200", "bank", "is no bank here"),
        (
            "bank=N1&bottles=900&pressure=200",
            "bottles",
            "900 is out of range",
        ),
        (
            "bank=N1&bottles=9&pressure=high",
            "pressure",
            "is not a number",
        ),
        ("fuel=-5", "fuel", "is out of range"),
        ("first=R9999", "first", "is no open request here"),
        ("without=R9999", "without", "is no open request here"),
        ("times=2", "loss", "choose which one"),
        ("loss=WATER&times=1000", "times", "is out of range"),
        ("loss=NOWHERE&times=2", "loss", "is no capability here"),
    ] {
        let page = app.get(&format!("{PATH}?{query}")).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        let told = page.field_error(field).unwrap_or_default();
        assert!(told.contains(fault), "{query}: {told:?}");
    }
    for (query, told) in [
        (
            "late.BOAT-99=3",
            "&#39;late.BOAT-99&#39; is no field of this page and was not counted. On their way: BOAT-7",
        ),
        (
            "never.BOAT-99=yes&fist=R1",
            "&#39;never.BOAT-99&#39;, &#39;fist&#39; are no fields of this page",
        ),
    ] {
        let page = app.get(&format!("{PATH}?fuel=5&{query}")).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        assert!(page.contains(told), "{query}: {}", page.body);
        assert!(
            page.contains("name=\"fuel\" inputmode=\"decimal\" value=\"5\""),
            "{}",
            page.body
        );
    }
    // A field that nobody filled says nothing.
    let page = app
        .get(&format!("{PATH}?late.BOAT-99=&never.BOAT-99="))
        .await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    let page = app.get(&format!("{PATH}?powder=SS316&kg=lots")).await;
    assert!(page.contains("value=\"lots\""), "{}", page.body);
}

/// A field that is there twice counts neither time, though both say the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_field_of_what_if_is_there_once() {
    let mut app = planned().await;
    for (query, told) in [
        (
            "fuel=5&fuel=7",
            "&#39;5&#39; and &#39;7&#39; are given; give one",
        ),
        (
            "fuel=5&fuel=5",
            "&#39;5&#39; and &#39;5&#39; are given; give one",
        ),
    ] {
        let page = app.get(&format!("{PATH}?{query}")).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        let fault = page.field_error("fuel").unwrap_or_default();
        assert!(fault.contains(told), "{query}: {fault}");
    }
}

/// Whoever only looks cannot have the planner work for it.
#[tokio::test(flavor = "multi_thread")]
async fn only_who_may_plan_tries_things() {
    let app = planned().await;
    for (role, status) in [
        (Role::Viewer, StatusCode::FORBIDDEN),
        (Role::Storekeeper, StatusCode::OK),
    ] {
        let mut other = app.other_browser();
        other.sign_in(role).await;
        assert_eq!(other.get(PATH).await.status, status, "{role}");
    }
}
