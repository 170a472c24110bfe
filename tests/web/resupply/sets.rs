//! Sets: two or more items, each at least once or none.

use axum::http::StatusCode;
use mendpost_server::resupply::set::queries;
use mendpost_tests::{App, number};

use super::storekeeper;

async fn sets(app: &App) -> Vec<Vec<String>> {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    let sets = queries::sets(&mut reading).await.expect("sets");
    let set =
        |set: Vec<mendpost_core::code::ItemCode>| set.iter().map(ToString::to_string).collect();
    sets.into_iter().map(set).collect()
}

/// A new set is the next in number; parted, it is none any more and stays on record.
#[tokio::test]
async fn items_go_together_until_they_are_parted() {
    let mut app = storekeeper().await;
    app.get("/resupply/sets/new").await;
    let fields = [
        ("item", "N2-50"),
        ("item", "NI-2.5"),
        ("why", "nickel takes 50 bar"),
    ];
    let answer = app.post("/resupply/sets/new", &fields).await;
    assert_eq!(answer.location(), "/resupply/sets", "{}", answer.body);
    assert_eq!(sets(&app).await[2], ["N2-50", "NI-2.5"]);
    let page = app.get("/resupply/sets").await;
    assert!(page.contains("NI-2.5 Ni 625 powder"), "{}", page.body);
    assert!(page.contains("nickel takes 50 bar"), "{}", page.body);

    let open = app.get("/resupply/sets/3").await;
    assert!(open.contains("value=\"N2-50\" checked"), "{}", open.body);
    let part = [("part", "yes"), ("why", "gas is here"), ("version", "1")];
    app.post("/resupply/sets/3", &part).await;
    assert_eq!(sets(&app).await.len(), 2);
    let kept = number(&app, "select count(*) from item_set where number = 3").await;
    assert_eq!(kept, Some(2));
    assert_eq!(
        app.get("/resupply/sets/3").await.status,
        StatusCode::NOT_FOUND
    );
}

/// One item is no set, an unknown one is no choice, and a reason is asked for.
#[tokio::test]
async fn a_faulty_set_is_refused() {
    let mut app = storekeeper().await;
    let cases: [(&[(&str, &str)], &str); 4] = [
        (&[("item", "AL-5"), ("why", "x")], "item"),
        (&[("why", "x")], "item"),
        (&[("item", "AL-5"), ("item", "GOLD"), ("why", "x")], "item"),
        (&[("item", "AL-5"), ("item", "BZ-5")], "why"),
    ];
    for (fields, field) in cases {
        app.get("/resupply/sets/new").await;
        let answer = app.post("/resupply/sets/new", fields).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{fields:?}"
        );
        assert!(
            answer.field_error(field).is_some(),
            "{fields:?}: {}",
            answer.body
        );
    }
    assert_eq!(sets(&app).await.len(), 2);
}

/// A form that was opened before another saved changes nothing.
#[tokio::test]
async fn a_stale_form_saves_nothing() {
    let mut app = storekeeper().await;
    let set = [
        ("item", "AL-5"),
        ("item", "BZ-5"),
        ("why", "x"),
        ("version", "1"),
    ];
    for due in [StatusCode::SEE_OTHER, StatusCode::CONFLICT] {
        app.get("/resupply/sets/1").await;
        assert_eq!(app.post("/resupply/sets/1", &set).await.status, due);
    }
    let versions = number(&app, "select max(version) from item_set where number = 1").await;
    assert_eq!(versions, Some(2));
}
