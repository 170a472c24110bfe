//! Plates, fixtures and base metals: listed, counted, named.

use axum::http::StatusCode;
use mendpost_core::lineup::{draft, kit_id};
use mendpost_core::people::Role;
use mendpost_server::situation;
use mendpost_tests::{App, text};

use super::{signed_in, version, with};

/// Six plates are a store of six in the plan, the one spindle a limit of one.
#[tokio::test]
async fn what_is_counted_is_what_the_plan_has() {
    let app = App::new().await;
    let mut storekeeper = signed_in(&app, Role::Storekeeper).await;
    let to = "/site/kit/RUN-OFF-60";
    let opened = version(&storekeeper.get(to).await);
    let fields = [
        ("name", "run-off plate, 60 x 200 mm"),
        ("count", "2"),
        ("version", &opened),
    ];
    for wrong in ["", "-1", "two", "10000"] {
        let answer = storekeeper
            .post(to, &with(&fields, &[("count", wrong)]))
            .await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong}");
        assert!(answer.field_error("count").is_some(), "{wrong}");
    }
    let saved = storekeeper.post(to, &fields).await;
    assert_eq!(saved.location(), "/site/kit", "{}", saved.body);
    let late = storekeeper
        .post(to, &with(&fields, &[("count", "5")]))
        .await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    let site = situation::now(&app.state).await.expect("a site");
    let problem = draft(&site).problem;
    let plates = kit_id(&"RUN-OFF-60".parse().expect("a code"));
    let store = problem.stores.iter().find(|store| store.id == plates);
    assert_eq!(store.map(|store| store.level), Some(2));
    let spindle = kit_id(&"SPINDLE".parse().expect("a code"));
    let limit = problem.limits.iter().find(|limit| limit.id == spindle);
    assert_eq!(limit.map(|limit| limit.capacity), Some(1));
}

#[tokio::test]
async fn a_plate_is_added_once() {
    let app = App::new().await;
    let mut lead = signed_in(&app, Role::Lead).await;
    lead.get("/site/add-kit").await;
    let fields = [
        ("code", "DISC-200"),
        ("name", "carrier disc, 200 mm"),
        ("kind", "plate"),
        ("count", "4"),
    ];
    for (field, wrong) in [
        ("code", "DISC 200"),
        ("name", ""),
        ("kind", "tool"),
        ("count", "few"),
    ] {
        let answer = lead
            .post("/site/add-kit", &with(&fields, &[(field, wrong)]))
            .await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(answer.field_error(field).is_some(), "{field}");
    }
    let saved = lead.post("/site/add-kit", &fields).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.body);
    assert!(lead.get("/site/kit").await.contains("carrier disc, 200 mm"));
    let again = lead.post("/site/add-kit", &fields).await;
    assert!(again.field_error("code").is_some());
}

#[tokio::test]
async fn metals_are_added_and_named() {
    let app = App::new().await;
    let mut checker = signed_in(&app, Role::Checker).await;
    checker.get("/site/add-metal").await;
    let fields = [("code", "CU"), ("name", "copper")];
    let taken = checker
        .post("/site/add-metal", &with(&fields, &[("name", "Bronze")]))
        .await;
    assert!(
        taken
            .field_error("name")
            .is_some_and(|e| e.contains("BZ is called that"))
    );
    assert_eq!(
        checker.post("/site/add-metal", &fields).await.status,
        StatusCode::SEE_OTHER
    );
    let to = "/site/metals/CU";
    let opened = version(&checker.get(to).await);
    let named = [("name", "pure copper"), ("version", opened.as_str())];
    assert_eq!(checker.post(to, &named).await.status, StatusCode::SEE_OTHER);
    assert_eq!(checker.post(to, &named).await.status, StatusCode::CONFLICT);
    let name = text(&app, "select name from metal where code = 'CU'").await;
    assert_eq!(name.as_deref(), Some("pure copper"));
}
