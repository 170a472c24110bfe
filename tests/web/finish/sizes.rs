//! The size sheet and the look for cracks, as they are entered.

use mendpost_core::people::Role;
use mendpost_tests::{number, text};

use super::{SLEEVE, done, sleeve, up_to_the_size_sheet, work};

/// Every dimension stands with its limits in both units, and each is stored with what was found, its tool, and the
/// entry of the operation: 60.01 mm are 60 010 000 nm.
#[tokio::test(flavor = "multi_thread")]
async fn each_dimension_is_entered_with_what_was_found_and_its_tool() {
    let mut app = up_to_the_size_sheet().await;
    let page = app.get("/requests/9/work").await;
    for said in [
        "<b>bore</b> 60 to 60.03 mm",
        "2.3622 to 2.36339 in",
        "<b>outer diameter</b> 89.94 to 89.97 mm",
        "M-03 bore gauge, 18 to 160 mm",
        "M-04 caliper, 500 mm: does not count now",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    done(&mut app, 9, &SLEEVE).await;
    let stored = text(
        &app,
        "select group_concat(f.found_nm || ' ' || t.code, ', ') from (select * from size_found order by position) f
         join tool t on t.id = f.tool_id",
    )
    .await;
    assert_eq!(
        stored.as_deref(),
        Some("60010000 M-03, 89950000 M-01, 140050000 M-02")
    );
    let page = app.get("/requests/9").await;
    for said in ["Size sheet", "<b>60.01 mm</b>", "2.3626 in", "within"] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert_eq!(
        number(&app, "select count(*) from part_hold").await,
        Some(0)
    );
}

/// In inches it is the same length: 2.3626 in are 60.01004 mm. What was typed is shown as it was typed.
#[tokio::test(flavor = "multi_thread")]
async fn a_figure_in_inches_is_converted_and_shown_in_both() {
    let mut app = up_to_the_size_sheet().await;
    let inches = sleeve(&[("found0", "2.3626"), ("unit0", "in")]);
    done(&mut app, 9, &inches).await;
    let found = number(&app, "select found_nm from size_found where position = 1").await;
    assert_eq!(found, Some(60_010_040));
    let page = app.get("/requests/9").await;
    assert!(page.contains("<b>2.3626 in</b>"), "{}", page.body);
    assert!(page.contains("60.01004 mm"));
}

/// A blank is never fine, and neither is a word, a figure in the other unit, a tool that is not there, that measures
/// something else, that does not reach so far, or whose calibration has run out: each is told beside its field, what
/// was typed is kept, and nothing is stored.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_wrong_is_told_beside_its_field() {
    let mut app = up_to_the_size_sheet().await;
    for (field, typed, told_at, told) in [
        ("found0", "", "found0", "a blank counts for nothing"),
        ("found0", "ok", "found0", "'ok' is no length"),
        ("found0", "60.00001", "found0", "finer than can be kept"),
        (
            "found0",
            "2.3626",
            "found0",
            "if it was read in in, it is 60.01004 mm",
        ),
        (
            "unit0",
            "",
            "found0",
            "say whether that is in mm or in inches",
        ),
        ("unit0", "in", "found0", "if it was read in mm"),
        ("tool0", "", "tool0", "say with which tool it was measured"),
        ("tool0", "M-99", "tool0", "no tool &#39;M-99&#39; is listed"),
        ("tool0", "P-01", "tool0", "no tool &#39;P-01&#39; is listed"),
        ("tool0", "M-01", "tool0", "M-01 shows 75 to 100 mm"),
        ("tool0", "M-04", "tool0", "M-04 was to be calibrated by"),
    ] {
        let told = told.replace("'", "&#39;").replace("&#39;&#39;", "&#39;");
        let answer = work(&mut app, 9, &sleeve(&[(field, typed)])).await;
        assert_eq!(answer.status, 422, "{field} {typed}");
        let fault = answer.field_error(told_at).unwrap_or_default();
        assert!(fault.contains(&told), "{field} '{typed}': '{fault}'");
        assert!(answer.contains("value=\"89.95\""), "what was typed is kept");
    }
    assert_eq!(
        number(&app, "select count(*) from size_found").await,
        Some(0)
    );
    let before = number(&app, "select count(*) from work_done").await;
    assert_eq!(before, Some(5), "the operation is not done");
}

/// 60.05 is 0.02 mm over: it is stored as found and told, and the part is held.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_out_of_limits_is_stored_as_found_and_holds_the_part() {
    let mut app = up_to_the_size_sheet().await;
    done(&mut app, 9, &sleeve(&[("found0", "60.05")])).await;
    let page = app.get("/requests/9").await;
    for said in [
        "ON HOLD",
        "bore 60.05 mm, 0.02 mm over 60 to 60.03 mm",
        "0.02 mm over",
        "Have hold 1 judged",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let found = number(&app, "select found_nm from size_found where position = 1").await;
    assert_eq!(found, Some(60_050_000));
    app.sign_in(Role::Checker).await;
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("hold 1, bore 60.05 mm"), "{}", page.body);
    assert_eq!(work(&mut app, 9, &[("limit", "full")]).await.status, 422);
}

/// The same form sent twice measures once; another tablet with the form of before is told.
#[tokio::test(flavor = "multi_thread")]
async fn a_size_sheet_sent_twice_is_one() {
    let mut app = up_to_the_size_sheet().await;
    let mut fields = SLEEVE.to_vec();
    fields.push(("once", "a-number-of-its-own-0001"));
    fields.push(("position", "6"));
    let mut other = app.same_browser();
    done(&mut app, 9, &fields).await;
    done(&mut app, 9, &fields).await;
    assert_eq!(
        number(&app, "select count(*) from size_found").await,
        Some(3)
    );
    let mut late = sleeve(&[("found0", "60.02")]);
    late.push(("position", "6"));
    let answer = work(&mut other, 9, &late).await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.contains("this was typed for operation 6, and operation 7 comes next by now"),
        "{}",
        answer.body
    );
    assert_eq!(
        number(&app, "select count(*) from size_found").await,
        Some(3)
    );
}

/// Nothing chosen is never 'none found'; cracks take words; and with them the part is held.
#[tokio::test(flavor = "multi_thread")]
async fn a_look_for_cracks_says_how_and_what() {
    let mut app = up_to_the_size_sheet().await;
    app.sign_in(Role::Lead).await;
    let back = [("position", "5"), ("reason", "the developer was too old")];
    let answer = app.post("/requests/9/rework", &back).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    for (fields, field) in [
        (vec![("cracks", "none"), ("agent", "P-118")], "method"),
        (
            vec![("method", "smell"), ("cracks", "none"), ("agent", "P-118")],
            "method",
        ),
        (vec![("method", "dye"), ("agent", "P-118")], "cracks"),
        (vec![("method", "dye"), ("cracks", "none")], "agent"),
        (
            vec![("method", "dye"), ("cracks", "found"), ("agent", "P-118")],
            "crack_words",
        ),
    ] {
        let answer = work(&mut app, 9, &fields).await;
        assert_eq!(answer.status, 422, "{fields:?}");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    let found = [
        ("method", "dye"),
        ("cracks", "found"),
        ("crack_words", "12 mm from the keyway"),
        ("agent", "P-118"),
    ];
    done(&mut app, 9, &found).await;
    let page = app.get("/requests/9").await;
    assert!(
        page.contains("cracks by dye penetrant: 12 mm from the keyway"),
        "{}",
        page.body
    );
    assert_eq!(
        number(&app, "select count(*) from part_hold").await,
        Some(1)
    );
}
