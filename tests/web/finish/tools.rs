//! The register of tools: listed, calibrated, reported out, and what each measured.

use mendpost_core::people::Role;
use mendpost_tests::{App, number};

use super::{SLEEVE, done, judge, sleeve, up_to_the_size_sheet, work};

/// A tool that is right in every field.
const TOOL: [(&str, &str); 8] = [
    ("code", "M-10"),
    ("name", "depth gauge, 200 mm"),
    ("least", "0"),
    ("most", "200"),
    ("resolution", "0.02"),
    ("certificate", "K 3001"),
    ("calibrated", "2026-11-01T09:00"),
    ("due", "2027-10-31"),
];

fn tool<'a>(field: &str, typed: &'a str) -> Vec<(&'a str, &'a str)> {
    let mut fields: Vec<(&str, &str)> = TOOL.to_vec();
    fields
        .iter_mut()
        .find(|(known, _)| *known == field)
        .expect("a field")
        .1 = typed;
    fields
}

/// One of the demonstration's tools is past its due date, and the page says so first.
#[tokio::test(flavor = "multi_thread")]
async fn the_register_says_which_tool_counts() {
    let mut app = App::signed_in(Role::Crew).await;
    let page = app.get("/tools").await;
    assert!(
        page.contains("Measure with others than M-04"),
        "{}",
        page.body
    );
    assert!(page.contains("past due") && page.contains("18 to 160 mm"));
    assert!(
        !page.contains("Add one for lengths"),
        "the crew keeps no tools"
    );
    assert_eq!(app.get("/tools/add/length").await.status, 403);
    let page = app.get("/tools/M-04").await;
    assert!(
        page.contains("M-04 was to be calibrated by"),
        "{}",
        page.body
    );
}

/// Each field is told where it is wrong, and nothing is listed; then it is, with its calibration.
#[tokio::test(flavor = "multi_thread")]
async fn a_tool_is_listed_with_its_calibration() {
    let mut app = App::signed_in(Role::Checker).await;
    assert_eq!(app.get("/tools/add/colour").await.status, 404);
    for (field, typed) in [
        ("code", ""),
        ("code", "M/1"),
        ("code", "add"),
        ("code", "M-01"),
        ("name", ""),
        ("least", "none"),
        ("most", "0"),
        ("most", "1000000"),
        ("resolution", "0"),
        ("certificate", ""),
        ("calibrated", "yesterday"),
        ("calibrated", "2026-12-24T09:00"),
        ("due", "soon"),
        ("due", "2026-10-31"),
    ] {
        let answer = app.post("/tools/add/length", &tool(field, typed)).await;
        assert_eq!(answer.status, 422, "{field} '{typed}'");
        assert!(
            answer.field_error(field).is_some(),
            "{field} '{typed}': {}",
            answer.body
        );
    }
    assert_eq!(number(&app, "select count(*) from tool").await, Some(9));
    let answer = app.post("/tools/add/length", &TOOL).await;
    assert_eq!(answer.location(), "/tools/M-10", "{}", answer.body);
    let page = app.get("/tools/M-10").await;
    assert!(
        page.contains("its figures count") && page.contains("K 3001"),
        "{}",
        page.body
    );
}

/// M-04 counts again once it is calibrated; a calibration of before that does not end what was reported.
#[tokio::test(flavor = "multi_thread")]
async fn calibrated_it_counts_again() {
    let mut app = App::signed_in(Role::Checker).await;
    let wrong = [("certificate", ""), ("calibrated", ""), ("due", "")];
    let answer = app.post("/tools/M-04/calibrate", &wrong).await;
    for field in ["certificate", "calibrated", "due"] {
        assert!(answer.field_error(field).is_some(), "{field}");
    }
    let new = [
        ("certificate", "K 3002"),
        ("calibrated", "2026-11-25T10:00"),
        ("due", "2027-11-24"),
    ];
    let answer = app.post("/tools/M-04/calibrate", &new).await;
    assert_eq!(answer.location(), "/tools/M-04", "{}", answer.body);
    assert!(app.get("/tools/M-04").await.contains("its figures count"));
    let out = [("since", "2026-11-25T12:00"), ("reason", "dropped")];
    let answer = app.post("/tools/M-04/report", &out).await;
    assert_eq!(answer.location(), "/tools/M-04/touched", "{}", answer.body);
    let answer = app.post("/tools/M-04/calibrate", &new).await;
    assert!(
        answer
            .field_error("calibrated")
            .is_some_and(|fault| fault.contains("reported out since")),
        "{}",
        answer.body
    );
}

/// A report says since when, and not of what is still to come.
#[tokio::test(flavor = "multi_thread")]
async fn a_report_says_since_when_and_why() {
    let mut app = App::signed_in(Role::Crew).await;
    for (fields, field) in [
        ([("since", ""), ("reason", "dropped")], "since"),
        (
            [("since", "2026-12-24T09:00"), ("reason", "dropped")],
            "since",
        ),
        ([("since", "2026-11-25T09:00"), ("reason", "")], "reason"),
    ] {
        let answer = app.post("/tools/M-03/report", &fields).await;
        assert_eq!(answer.status, 422);
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    assert_eq!(
        number(&app, "select count(*) from tool_report").await,
        Some(0)
    );
}

/// A tool that is reported out blocks its figure; found out later, it lists every part whose figure it took since
/// then and where that is now, and one act holds those not fitted yet. Somebody else than who held them lets them
/// go, and what was measured before it went out is not in doubt.
#[tokio::test(flavor = "multi_thread")]
async fn found_out_later_it_lists_and_holds_what_it_measured() {
    let mut app = up_to_the_size_sheet().await;
    done(&mut app, 9, &SLEEVE).await;
    app.sign_in(Role::Lead).await;
    let page = app.get("/tools/M-03/touched").await;
    assert!(
        page.contains("M-03 measured one part ever"),
        "{}",
        page.body
    );
    let out = [
        ("since", "2026-11-25T14:00"),
        ("reason", "found 0.02 mm off"),
    ];
    app.post("/tools/M-03/report", &out).await;
    let page = app.get("/tools/M-03/touched").await;
    for said in [
        "Hold one part: M-03 measured one part since",
        "R9",
        "bore 60.01 mm",
        "at the cell, in work",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    // Out since after it was measured, it touched nothing.
    let later = app.get("/tools/M-03/touched?since=2026-11-25T16:00").await;
    assert!(later.contains("measured no part"), "{}", later.body);
    let wrong = app.get("/tools/M-03/touched?since=noon").await;
    assert_eq!(wrong.status, 422);
    let answer = app.post("/tools/M-03/hold", &[("reason", "")]).await;
    assert!(answer.field_error("reason").is_some());
    let why = [("reason", "found 0.02 mm off; measure the bore again")];
    let answer = app.post("/tools/M-03/hold", &why).await;
    assert_eq!(answer.location(), "/tools/M-03/touched", "{}", answer.body);
    let page = app.get("/tools/M-03/touched").await;
    assert!(
        page.contains("none is left to hold") && page.contains("hold 1"),
        "{}",
        page.body
    );
    let again = app.post("/tools/M-03/hold", &why).await;
    assert_eq!(again.status, 422, "it is held already");
    assert_eq!(judge(&mut app, 1, &[]).await.status, 422, "by who held it");
    app.sign_in(Role::Checker).await;
    let back = [
        ("verdict", "rework"),
        ("position", "6"),
        ("reason", "measure again"),
    ];
    let answer = judge(&mut app, 1, &back).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    let blocked = work(&mut app, 9, &SLEEVE).await;
    let fault = blocked.field_error("tool0").unwrap_or_default();
    assert!(
        fault.contains("M-03 is reported out since"),
        "{}",
        blocked.body
    );
    done(&mut app, 9, &sleeve(&[("tool0", "M-02")])).await;
    let page = app.get("/tools/M-03/touched").await;
    assert!(
        page.contains("sent back or measured again since"),
        "{}",
        page.body
    );
}
