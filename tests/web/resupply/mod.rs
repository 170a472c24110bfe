//! The records that resupply rests on: items, sets, trips, rules of carriage, failure rates.

mod carriage;
mod failures;
mod files;
mod items;
mod lists;
mod proposals;
mod sets;
mod trips;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, altered};

async fn storekeeper() -> App {
    App::signed_in(Role::Storekeeper).await
}

/// Posts the form of a page after opening it, with fields typed otherwise than usual.
async fn send(
    app: &mut App,
    path: &str,
    usual: &[(&str, &str)],
    otherwise: &[(&str, &str)],
) -> Answer {
    app.get(path).await;
    app.post(path, &altered(usual, otherwise)).await
}

/// Each value of a field is refused with a fault beside it, and what else was typed is kept.
async fn refuses_each(
    app: &mut App,
    path: &str,
    usual: &[(&str, &str)],
    wrong: &[(&str, &str)],
    kept: &str,
) {
    for (field, typed) in wrong {
        let answer = send(app, path, usual, &[(field, typed)]).await;
        let shown = format!("{field} '{typed}': {}", answer.body);
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{shown}");
        assert!(answer.field_error(field).is_some(), "{shown}");
        assert!(answer.contains(kept), "{shown}");
    }
}

/// Lead and storekeeper keep the records; everybody looks at them.
#[tokio::test]
async fn only_lead_and_storekeeper_keep_the_records() {
    let kept = [
        "/resupply/items/new",
        "/resupply/items/AL-5/change",
        "/resupply/items/AL-5/retire",
        "/resupply/items/TAPE-25/count",
        "/resupply/sets/new",
        "/resupply/sets/1",
        "/resupply/trips/new",
        "/resupply/trips/BOAT-7/change",
        "/resupply/carriage/road",
        "/resupply/failures/RC-RING",
        "/resupply/lists/new",
    ];
    let looked_at = [
        "/resupply",
        "/resupply/items",
        "/resupply/items/AL-5",
        "/resupply/sets",
        "/resupply/trips",
        "/resupply/trips/BOAT-7",
        "/resupply/carriage",
        "/resupply/failures",
        "/resupply/lists",
        "/resupply/read",
        "/resupply/stock-report",
        "/resupply/stock-report/radio",
    ];
    for role in Role::ALL {
        let mut app = App::signed_in(role).await;
        let may = matches!(role, Role::Lead | Role::Storekeeper);
        for path in kept {
            let status = app.get(path).await.status;
            let due = if may {
                StatusCode::OK
            } else {
                StatusCode::FORBIDDEN
            };
            assert_eq!(status, due, "{role} {path}");
            if !may {
                assert_eq!(app.post(path, &[]).await.status, due, "{role} {path}");
            }
        }
        for path in looked_at {
            let page = app.get(path).await;
            assert_eq!(page.status, StatusCode::OK, "{role} {path}");
            let offered = ["Add an item", "Add a set", "Announce a trip", "Change it"];
            let offers = offered.iter().any(|word| page.contains(word));
            assert!(may || !offers, "{role} {path}");
        }
    }
}

/// The screen says what it is for, and what its records hold.
#[tokio::test]
async fn the_screen_leads_to_its_records() {
    let mut app = storekeeper().await;
    let page = app.get("/resupply/records").await;
    for said in [
        "Have the list for BOAT-7 ready by 29 Nov 2026 12:00.",
        "21 that the depot can send",
        "2 of items that go together",
        "2 expected",
        "written down for road, sea, air",
        "told of 12 of 32 parts",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    for path in [
        "/resupply/items/GOLD",
        "/resupply/items/GOLD/change",
        "/resupply/sets/9",
        "/resupply/sets/x",
        "/resupply/trips/SHIP-1",
        "/resupply/carriage/rail",
        "/resupply/failures/GOLD",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}
