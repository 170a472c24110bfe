//! What stops a release, who may give it, and the tag that goes with the part.

use mendpost_core::people::Role;
use mendpost_tests::{App, number};

use super::{SLEEVE, done, up_to_the_size_sheet, work};

/// The rule of two people is on until the lead says otherwise, signed and with a reason.
#[tokio::test(flavor = "multi_thread")]
async fn the_lead_may_let_the_builder_release() {
    let mut app = App::signed_in(Role::Checker).await;
    let page = app.get("/site/release").await;
    assert!(
        page.contains("Somebody else than who sprayed a part releases it."),
        "{}",
        page.body
    );
    assert_eq!(app.get("/site/release/change").await.status, 403);
    app.sign_in(Role::Lead).await;
    for (fields, field) in [
        (vec![("stood", "yes"), ("reason", "alone")], "other"),
        (
            vec![("stood", "yes"), ("other", "no"), ("reason", "")],
            "reason",
        ),
        (
            vec![("stood", "yes"), ("other", "yes"), ("reason", "alone")],
            "other",
        ),
        (
            vec![("stood", "no"), ("other", "no"), ("reason", "alone")],
            "other",
        ),
    ] {
        let answer = app.post("/site/release/change", &fields).await;
        assert_eq!(answer.status, 422, "{fields:?}");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    let change = [
        ("stood", "yes"),
        ("other", "no"),
        ("reason", "one of us is in hospital until Monday"),
    ];
    let answer = app.post("/site/release/change", &change).await;
    assert_eq!(answer.location(), "/site/release", "{}", answer.body);
    let page = app.get("/site/release").await;
    assert!(
        page.contains("Who sprayed a part may release it too."),
        "{}",
        page.body
    );
    let signed = "select count(*) from signature where meaning = 'set-rule' and subject_kind = 'release-rule'";
    assert_eq!(number(&app, signed).await, Some(1));
    // Opened before the change, the form of another tablet is told what stands now.
    let late = app.post("/site/release/change", &change).await;
    assert!(late.field_error("other").is_some(), "{}", late.body);
}

/// No coupon is tested yet, and two are asked for: both are told, and the part is not released.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_not_tested_stops_the_release() {
    let mut app = up_to_the_size_sheet().await;
    done(&mut app, 9, &SLEEVE).await;
    app.sign_in(Role::Checker).await;
    let page = app.get("/requests/9/work").await;
    for said in [
        "coupons, none was tested for bond strength as sprayed, expected at least 40 MPa",
        "coupons, none was tested for porosity as sprayed, expected at most 1.5 %",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert_eq!(work(&mut app, 9, &[("limit", "full")]).await.status, 422);
    assert_eq!(
        app.get("/requests/9/tag").await.status,
        409,
        "no tag before the release"
    );
}
