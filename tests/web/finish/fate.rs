//! What shares the fate of a coupon that misses: it is proposed, and held in one act.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, number, text};

use super::{done, judge};
use crate::book::{draw, with_clean_feeder};
use crate::requests::course::{heat, sort, work_on};

/// Sprays R9 from the feeder, which holds so many grams; 100 g stay in it.
async fn build(app: &mut App, number: i64, swept: &str) {
    let path = format!("/builds/{number}");
    let answer = app.post("/requests/9/build", &[]).await;
    assert_eq!(answer.location(), path, "{}", answer.body);
    app.post(&format!("{path}/mark"), &[("what", "spray")])
        .await;
    let weighed = [
        ("outcome", "done"),
        ("part", "210"),
        ("coupon", "10"),
        ("left", "100"),
        ("swept", swept),
        ("division", "10"),
    ];
    let answer = app.post(&format!("{path}/finish"), &weighed).await;
    assert_eq!(answer.location(), path, "{}", answer.body);
}

/// R9, a shaft sleeve, is built of 460 g of L0406 by the lead.
async fn built() -> App {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 560).await;
    sort(&mut app, 9, "SS-041").await;
    for _ in 0..2 {
        done(&mut app, 9, &[]).await;
    }
    build(&mut app, 1, "230").await;
    app
}

async fn test(app: &mut App, request: i64, otherwise: &[(&str, &str)]) -> Answer {
    let mut fields = vec![
        ("coupon", "new"),
        ("label", "A, beside the bore"),
        ("property", "strength"),
        ("condition", "as-sprayed"),
        ("figure", "38"),
        ("tool", "P-01"),
        ("tested_by", "Machinist"),
    ];
    for (name, value) in otherwise {
        fields.retain(|(known, _)| known != name);
        fields.push((name, value));
    }
    app.post(&format!("/requests/{request}/coupons"), &fields)
        .await
}

/// The coupon belongs to the only build that there is, and is shown with it and in the trace. At 38 MPa of at least 40
/// the part is held at once; the lot in its build is proposed, and held by one button with the miss as its reason.
#[tokio::test(flavor = "multi_thread")]
async fn a_miss_proposes_the_lot_of_its_build() {
    let mut app = built().await;
    let answer = test(&mut app, 9, &[]).await;
    assert_eq!(answer.location(), "/requests/9/coupons", "{}", answer.body);
    assert_eq!(
        number(&app, "select build_number from coupon").await,
        Some(1)
    );
    for path in ["/builds/1", "/requests/9/trace"] {
        let page = app.get(path).await;
        for said in ["A, beside the bore", "bond strength as sprayed 38 MPa"] {
            assert!(page.contains(said), "{path}, {said}: {}", page.body);
        }
    }
    let page = app.get("/requests/9/coupons").await;
    for said in ["What shares the fate of coupon 1", "L0406", "Hold all"] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    app.sign_in(Role::Viewer).await;
    let answer = app.post("/coupons/1/hold", &[]).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    app.sign_in(Role::Crew).await;
    let answer = app.post("/coupons/1/hold", &[]).await;
    assert_eq!(answer.location(), "/requests/9/coupons", "{}", answer.body);
    let lot = "select state || ': ' || state_note from lot where code = 'L0406'";
    assert_eq!(
        text(&app, lot).await.as_deref(),
        Some("hold: coupon 1 of R9, bond strength as sprayed 38 MPa")
    );
    let page = app.get("/requests/9/coupons").await;
    assert!(!page.contains("Hold all"), "all is held: {}", page.body);
    let again = app.post("/coupons/1/hold", &[]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let none = app.post("/coupons/7/hold", &[]).await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
}

/// Sent back and sprayed again, R9 has two builds: which one a new coupon stood beside is asked.
#[tokio::test(flavor = "multi_thread")]
async fn of_several_builds_it_is_asked_which() {
    let mut app = built().await;
    let back = [("position", "3"), ("reason", "too thin at the edge")];
    let answer = app.post("/requests/9/rework", &back).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    draw(&mut app, "L0406-1", "trial", 500).await;
    build(&mut app, 2, "270").await;
    let page = app.get("/requests/9/coupons").await;
    assert!(
        page.contains("A new one was sprayed beside") && page.contains("build 2, spray"),
        "{}",
        page.body
    );
    for wrong in ["", "7"] {
        let answer = test(&mut app, 9, &[("build", wrong)]).await;
        let fault = answer.field_error("build").unwrap_or_default();
        assert!(fault.contains("2 builds are on record"), "{fault}");
    }
    let answer = test(&mut app, 9, &[("build", "2")]).await;
    assert_eq!(answer.location(), "/requests/9/coupons", "{}", answer.body);
    assert_eq!(
        number(&app, "select build_number from coupon").await,
        Some(2)
    );
}

/// R8 and R10 shared load 1 of the furnace. A heat-treated coupon of R10 at 20 MPa of at least 30 says nothing good of
/// R8 either: it is proposed, and held, and R8 waits for somebody to judge it.
#[tokio::test(flavor = "multi_thread")]
async fn a_miss_after_the_furnace_proposes_its_load() {
    let mut app = App::signed_in(Role::Lead).await;
    sort(&mut app, 8, "BR-035").await;
    sort(&mut app, 10, "AL-011").await;
    app.sign_in(Role::Crew).await;
    for request in [8, 10] {
        for _ in 0..3 {
            work_on(&mut app, request).await;
        }
    }
    heat(&mut app, &[8, 10]).await;
    let heated = [("condition", "heat-treated"), ("figure", "20")];
    let answer = test(&mut app, 10, &heated).await;
    assert_eq!(answer.location(), "/requests/10/coupons", "{}", answer.body);
    let page = app.get("/requests/10/coupons").await;
    assert!(
        page.contains("in furnace load F1 with it") && page.contains("Hold all"),
        "{}",
        page.body
    );
    app.post("/coupons/1/hold", &[]).await;
    let held = "select group_concat(r.number || ' ' || h.cause, ', ') from
                (select * from part_hold order by number) h join request r on r.id = h.request_id";
    assert_eq!(
        text(&app, held).await.as_deref(),
        Some("10 coupon, 8 coupon")
    );
    let page = app.get("/requests/8/work").await;
    assert!(
        page.contains("coupon 1 of R10, bond strength heat treated 20 MPa"),
        "{}",
        page.body
    );
}

/// Somebody judged the part fit with the miss: nothing else is in doubt for it any more.
#[tokio::test(flavor = "multi_thread")]
async fn a_miss_judged_fit_proposes_nothing() {
    let mut app = built().await;
    test(&mut app, 9, &[]).await;
    app.sign_in(Role::Checker).await;
    let answer = judge(&mut app, 1, &[]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = app.get("/requests/9/coupons").await;
    assert!(!page.contains("shares the fate"), "{}", page.body);
    let answer = app.post("/coupons/1/hold", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
}
