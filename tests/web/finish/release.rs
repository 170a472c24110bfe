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

/// Measured, tested and looked at, R9 is released by somebody who did not spray it; its tag says what may be said, and
/// fitting and the first run stop what its request loses.
#[tokio::test(flavor = "multi_thread")]
async fn from_the_size_sheet_to_the_first_run() {
    let mut app = up_to_the_size_sheet().await;
    done(&mut app, 9, &SLEEVE).await;
    for fields in [
        [
            ("property", "strength"),
            ("figure", "44"),
            ("tool", "P-01"),
            ("label", "A"),
        ],
        [
            ("property", "porosity"),
            ("figure", "1.2"),
            ("tool", "S-01"),
            ("label", "B"),
        ],
    ] {
        let mut fields = fields.to_vec();
        fields.extend([
            ("coupon", "new"),
            ("condition", "as-sprayed"),
            ("tested_by", "Machinist"),
        ]);
        let answer = app.post("/requests/9/coupons", &fields).await;
        assert_eq!(answer.location(), "/requests/9/coupons", "{}", answer.body);
    }
    app.sign_in(Role::Checker).await;
    let answer = work(&mut app, 9, &[("limit", "full")]).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    let tag = app.get("/requests/9/tag").await;
    for said in [
        "WP-SLEEVE",
        "feed pump 1, WP1",
        "SS-041 rev 1",
        "Waterworks engineer, the owner’s engineer: May be built and fitted",
        "Sprayed by",
        "Sprayer, 25 Nov 2026",
        "Released by",
        "Machinist, 25 Nov 2026",
        "This tag approves nothing beyond what the named people said.",
        "nobody said when: write it here by hand",
    ] {
        assert!(tag.contains(said), "{said}: {}", tag.body);
    }
    // Nobody asks for the impeller any more, so that the pump waits for its sleeve alone.
    let reason = [("reason", "a true one was found in the store")];
    app.post("/requests/8/decide/withdraw", &reason).await;
    let down = "select count(*) from asset where code = 'WP1' and down_from_ms is not null";
    for _ in 0..3 {
        assert_eq!(number(&app, down).await, Some(1));
        done(&mut app, 9, &[]).await;
    }
    assert_eq!(number(&app, down).await, Some(0), "its loss stops");
    let page = app.get("/requests/9").await;
    assert!(page.contains("is served"), "{}", page.body);
    assert!(
        page.contains("Its machine runs again: what it lost stops."),
        "{}",
        page.body
    );
    assert!(
        page.contains("60.01 mm") && page.contains("44 MPa"),
        "what was found stays"
    );
    assert!(page.contains("href=\"/requests/9/tag\""), "{}", page.body);
}

/// The engineer who says yes to the release says when to look again: it stands on the request, and on the tag where
/// else a hand would write.
#[tokio::test(flavor = "multi_thread")]
async fn the_next_look_that_was_asked_for_is_on_the_tag() {
    let mut app = App::signed_in(Role::Lead).await;
    let change = [("stood", "yes"), ("other", "no"), ("reason", "alone")];
    app.post("/site/release/change", &change).await;
    crate::requests::course::sort(&mut app, 8, "BR-035").await;
    let mut yes = vec![
        ("about", "release"),
        ("who", "owners-engineer"),
        ("name", "Waterworks engineer"),
        ("said", "no"),
        ("came", "mail"),
        ("words", "May be fitted"),
        ("next_look", "after 200 hours"),
    ];
    let answer = app.post("/requests/8/answer", &yes).await;
    assert!(answer.field_error("next_look").is_some(), "{}", answer.body);
    yes[3].1 = "yes";
    let answer = app.post("/requests/8/answer", &yes).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
    let page = app.get("/requests/8").await;
    assert!(page.contains("next look: after 200 hours"), "{}", page.body);
    for _ in 0..7 {
        crate::requests::course::work_on(&mut app, 8).await;
    }
    work(&mut app, 8, &[("limit", "full")]).await;
    let tag = app.get("/requests/8/tag").await;
    assert!(
        tag.contains("<b>after 200 hours (Waterworks engineer)</b>"),
        "{}",
        tag.body
    );
    assert!(!tag.contains("write it here by hand"), "{}", tag.body);
}

/// With the rule off, who sprayed it may release it too.
#[tokio::test(flavor = "multi_thread")]
async fn with_the_rule_off_the_builder_may_release() {
    let mut app = App::signed_in(Role::Lead).await;
    let change = [("stood", "yes"), ("other", "no"), ("reason", "alone")];
    app.post("/site/release/change", &change).await;
    crate::requests::course::sort(&mut app, 8, "BR-035").await;
    for _ in 0..7 {
        crate::requests::course::work_on(&mut app, 8).await;
    }
    let answer = work(&mut app, 8, &[("limit", "full")]).await;
    assert_eq!(answer.location(), "/requests/8", "{}", answer.body);
}
