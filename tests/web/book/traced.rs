//! From a part to its powder, and from a lot to every part.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, text};

use super::{draw, with_clean_feeder};
use crate::finish::{SLEEVE, done, furnace, up_to_the_size_sheet};
use crate::requests::course::sort;

/// R9 is built from a feeder that holds 460 g of L0406 and 100 g of L0391: each traces to the other. A third lot, in
/// no part, says so.
#[tokio::test]
async fn a_part_is_traced_to_its_lots_and_each_lot_to_the_part() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 460).await;
    draw(&mut app, "L0391-1", "trial", 100).await;
    sort(&mut app, 9, "SS-041").await;
    for _ in 0..2 {
        app.post("/requests/9/work", &[("note", "as written")])
            .await;
    }
    app.post("/requests/9/build", &[]).await;
    app.post("/builds/1/mark", &[("what", "spray")]).await;
    let page = app.get("/requests/9/trace").await;
    assert!(
        page.contains("No powder is on record for R9") && page.contains("Build 1 is under way"),
        "{}",
        page.body
    );
    // What lies in the feeder of a build under way is on its way into a part, and Now says what that build does.
    let page = app.get("/powder/L0406/trace").await;
    let told = "It is in the feeder for build 1, R9, which is under way.";
    assert!(page.contains(told), "{}", page.body);
    assert!(app.get("/now").await.contains("is being sprayed since"));
    let fields = [
        ("outcome", "done"),
        ("part", "210"),
        ("coupon", "10"),
        ("left", "100"),
        ("swept", "230"),
        ("division", "10"),
    ];
    let answer = app.post("/builds/1/finish", &fields).await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let page = app.get("/requests/9/trace").await;
    for said in [
        "is of lots L0391 and L0406",
        "L0391-1",
        "L0406-1",
        "377.857 g",
        "82.143 g",
        "SS-041 rev 1",
        "blast to clean metal",
        "/builds/1",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    for lot in ["L0406", "L0391"] {
        let page = app.get(&format!("/powder/{lot}/trace")).await;
        for said in [
            "is in one part, which is still here",
            "R9",
            "in work",
            "Waterworks engineer",
        ] {
            assert!(page.contains(said), "{lot}, {said}: {}", page.body);
        }
        assert!(page.contains("class=\"box\""), "boxes to tick on paper");
    }
    // Called off by its maker: the lot and the part are held in one act, and nothing goes on with it.
    let hold = "/powder/L0406/trace/hold";
    assert!(app.get(hold).await.contains("R9"));
    assert!(app.post(hold, &[]).await.field_error("reason").is_some());
    let answer = app
        .post(hold, &[("reason", "maker's letter of today: wrong alloy")])
        .await;
    assert_eq!(answer.location(), "/powder/L0406/trace", "{}", answer.body);
    let state = text(&app, "select state from lot where code = 'L0406'").await;
    assert_eq!(state.as_deref(), Some("hold"));
    let page = app.get("/requests/9/work").await;
    assert!(
        page.contains("powder of lot L0406, which is in doubt"),
        "{}",
        page.body
    );
    let again = app.post(hold, &[("reason", "once more")]).await;
    assert!(again.field_error("reason").is_some(), "{}", again.body);
    let page = app.get("/powder/L0397/trace").await;
    assert!(page.contains("Lot L0397 is in no part."), "{}", page.body);
    assert!(page.contains("L0397-1"), "{}", page.body);
}

/// What is not there is not traced; and anybody may look.
#[tokio::test]
async fn what_is_not_there_is_not_traced() {
    let mut app = App::signed_in(Role::Viewer).await;
    for (path, status) in [
        ("/powder/L9999/trace", StatusCode::NOT_FOUND),
        ("/requests/9999/trace", StatusCode::NOT_FOUND),
        ("/requests/9/trace", StatusCode::OK),
        ("/trace/nozzles/N7", StatusCode::OK),
        ("/trace/banks/N1", StatusCode::OK),
    ] {
        assert_eq!(app.get(path).await.status, status, "{path}");
    }
}

/// R8 and R10 share load F1: the trace of each leads to the load and to the other, and the load to both. Power fails
/// in the soak: reported of the load, that holds both in one act.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_traced_to_its_load_and_to_what_shared_it() {
    let mut app = furnace::two_wait().await;
    let page = app.get("/requests/8/trace").await;
    assert!(!page.contains("Furnace loads"), "{}", page.body);
    furnace::open(&mut app).await;
    let page = app.get("/requests/8/trace").await;
    assert!(page.contains("300 °C set, in the furnace"), "{}", page.body);
    furnace::close(&mut app, &[]).await;
    for (part, other) in [(8, 10), (10, 8)] {
        let page = app.get(&format!("/requests/{part}/trace")).await;
        for said in [
            "/furnace/1",
            "SR-2",
            "300 °C set, 298 °C found, chart C-118",
            &format!("/requests/{other}/trace"),
        ] {
            assert!(page.contains(said), "{part}, {said}: {}", page.body);
        }
        let own = format!("href=\"/requests/{part}/trace\"");
        assert!(
            !page.contains(&own),
            "it shares with no other: {}",
            page.body
        );
        assert!(app.get("/furnace/1").await.contains(&own));
    }
    let now = crate::requests::course::local(&app).await;
    let fields = [("what", "power cut, 20 min"), ("at", now.as_str())];
    let answer = app.post("/furnace/1/excursion", &fields).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
    for part in [8, 10] {
        let page = app.get(&format!("/requests/{part}/work")).await;
        assert!(page.contains("soak of load F1 void"), "{}", page.body);
    }
}

/// The sleeve of R9 is measured with three tools: its trace leads to each, and each leads to it.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_traced_to_the_tools_that_measured_it() {
    let mut app = up_to_the_size_sheet().await;
    let page = app.get("/requests/9/trace").await;
    assert!(!page.contains("Measured with"), "{}", page.body);
    done(&mut app, 9, &SLEEVE).await;
    let page = app.get("/requests/9/trace").await;
    for said in ["Measured with", "bore", "outer diameter"] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    for tool in ["M-01", "M-02", "M-03"] {
        let touched = format!("/tools/{tool}/touched");
        assert!(page.contains(&touched), "{tool}: {}", page.body);
        let page = app.get(&touched).await;
        assert!(page.contains("/requests/9/trace"), "{tool}: {}", page.body);
    }
    assert!(!page.contains("/tools/M-05/touched"), "{}", page.body);
}
