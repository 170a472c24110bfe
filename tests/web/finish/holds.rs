//! Parts on hold: judged fit by somebody else, sent back to an operation, scrapped.

use mendpost_core::course::Stand;
use mendpost_core::lineup::{Gate, candidates};
use mendpost_core::people::Role;
use mendpost_server::situation;
use mendpost_tests::{App, number, text};

use super::{SLEEVE, done, judge, sleeve, up_to_the_size_sheet, work};

/// The bore is 0.02 mm over; the crew has measured it.
async fn held() -> App {
    let mut app = up_to_the_size_sheet().await;
    done(&mut app, 9, &sleeve(&[("found0", "60.05")])).await;
    app
}

/// The approver says yes by radio, the checker records it with a signature, and the part goes on; who measured it
/// could not have.
#[tokio::test(flavor = "multi_thread")]
async fn somebody_else_judges_it_fit_and_it_goes_on() {
    let mut app = held().await;
    assert_eq!(
        judge(&mut app, 1, &[]).await.status,
        403,
        "the crew releases nothing"
    );
    app.sign_in(Role::Checker).await;
    let page = app.get("/holds/1").await;
    assert!(page.contains("Judge the part of R9"), "{}", page.body);
    for (field, typed) in [
        ("verdict", ""),
        ("verdict", "perfect"),
        ("said_by", ""),
        ("came", ""),
        ("reason", ""),
    ] {
        let answer = judge(&mut app, 1, &[(field, typed)]).await;
        assert_eq!(answer.status, 422, "{field} '{typed}'");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    let answer = judge(&mut app, 1, &[]).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    let page = app.get("/requests/9").await;
    for said in [
        "Fit as it is: Waterworks engineer, by radio or telephone",
        "runs with more play for the season",
        "I have looked at what this part is held for",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let page = app.get("/requests/9/work").await;
    assert!(
        !page.contains("size sheet, bore"),
        "answered: {}",
        page.body
    );
    // Judged once: another tablet with the same page is told by whom.
    let mut other = app.other_browser();
    other.sign_in(Role::Lead).await;
    let answer = judge(&mut other, 1, &[]).await;
    assert_eq!(answer.status, 409);
    assert!(
        answer.contains("was judged by Machinist already"),
        "{}",
        answer.body
    );
}

/// The lead puts it on hold by hand and cannot let it go; the checker can. Nothing is done to it meanwhile.
#[tokio::test(flavor = "multi_thread")]
async fn who_holds_a_part_does_not_let_it_go() {
    let mut app = up_to_the_size_sheet().await;
    app.sign_in(Role::Lead).await;
    let empty = app.post("/requests/9/hold", &[]).await;
    assert!(empty.field_error("reason").is_some());
    let reason = [("reason", "the wrong lot may have been in the feeder")];
    let answer = app.post("/requests/9/hold", &reason).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    assert_eq!(work(&mut app, 9, &SLEEVE).await.status, 422);
    let answer = judge(&mut app, 1, &[]).await;
    assert_eq!(answer.status, 422);
    assert!(
        answer
            .field_error("verdict")
            .is_some_and(|fault| fault.contains("somebody else lets it go")),
        "{}",
        answer.body
    );
    app.sign_in(Role::Checker).await;
    judge(&mut app, 1, &[]).await;
    done(&mut app, 9, &SLEEVE).await;
}

/// While it is on hold the line-up gives it no place: its gate is the hold, and judging opens it.
#[tokio::test(flavor = "multi_thread")]
async fn a_hold_is_a_gate_of_the_line_up() {
    let mut app = held().await;
    let site = situation::now(&app.state).await.expect("a site");
    let code = "R9".parse().expect("a code");
    let ways = candidates(&site, site.request(&code).expect("open"));
    let shut: Vec<&Gate> = ways
        .iter()
        .flat_map(|way| &way.shut)
        .map(|it| &it.gate)
        .collect();
    assert!(
        shut.iter()
            .any(|gate| matches!(gate, Gate::OnHold { number: 1, .. })),
        "{shut:?}"
    );
    app.sign_in(Role::Lead).await;
    app.plan().await;
    let page = app.get("/now").await;
    assert!(page.contains("judge hold 1"), "{}", page.body);
}

/// Sent back to be cut again: cutting, dye check and measuring count no more and stay on record; done again and in
/// limits it may be released.
#[tokio::test(flavor = "multi_thread")]
async fn reworked_it_goes_on_from_that_operation() {
    let mut app = held().await;
    app.sign_in(Role::Checker).await;
    let answer = judge(&mut app, 1, &[("verdict", "rework"), ("position", "")]).await;
    assert!(answer.field_error("position").is_some(), "{}", answer.body);
    let answer = judge(&mut app, 1, &[("verdict", "rework"), ("position", "9")]).await;
    assert!(answer.field_error("position").is_some(), "{}", answer.body);
    let back = [
        ("verdict", "rework"),
        ("position", "4"),
        ("reason", "bush it and bore again"),
    ];
    let answer = judge(&mut app, 1, &back).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("Cut to size for R9."), "{}", page.body);
    let page = app.get("/requests/9").await;
    assert!(page.contains("Back to an operation"), "{}", page.body);
    assert!(!page.contains("60.05 mm</b>"), "it counts no more");
    for _ in 0..2 {
        done(&mut app, 9, &crate::requests::course::FOUND).await;
    }
    done(&mut app, 9, &SLEEVE).await;
    assert_eq!(
        number(&app, "select count(*) from size_found").await,
        Some(6)
    );
    let page = app.get("/requests/9").await;
    assert!(page.contains("<b>60.01 mm</b>"), "{}", page.body);
}

/// By hand it goes back too, with a reason and to an operation that is done; while it is on hold the hold is judged
/// instead.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_goes_back_by_hand() {
    let mut app = up_to_the_size_sheet().await;
    assert_eq!(
        app.get("/requests/9/rework").await.status,
        403,
        "the crew sorts nothing"
    );
    app.sign_in(Role::Lead).await;
    for (fields, field) in [
        ([("position", "6"), ("reason", "too thin")], "position"),
        ([("position", ""), ("reason", "too thin")], "position"),
        ([("position", "3"), ("reason", "")], "reason"),
    ] {
        let answer = app.post("/requests/9/rework", &fields).await;
        assert_eq!(answer.status, 422, "{fields:?}");
        assert!(answer.field_error(field).is_some(), "{}", answer.body);
    }
    app.post("/requests/9/hold", &[("reason", "looks thin")])
        .await;
    let back = [("position", "3"), ("reason", "too thin")];
    let answer = app.post("/requests/9/rework", &back).await;
    assert!(
        answer
            .field_error("reason")
            .is_some_and(|fault| fault.contains("judge hold 1")),
        "{}",
        answer.body
    );
    let answer = judge(&mut app, 1, &[("verdict", "rework"), ("position", "3")]).await;
    assert_eq!(
        answer.location(),
        "/requests/9",
        "who holds it may send it back: {}",
        answer.body
    );
    // Blasted and masked long ago by then, it would begin with blasting: here it was just now.
    assert!(app.get("/requests/9/work").await.contains("Spray for R9."));
    let kept = number(&app, "select count(*) from work_done").await;
    assert_eq!(kept, Some(5), "what was done stays on record");
    assert_eq!(
        app.get("/requests/7/rework").await.status,
        409,
        "nothing is done of it"
    );
}

/// Scrapped, the request is open again and begins anew; every other question about the piece is gone with it, and
/// all of it stays on record.
#[tokio::test(flavor = "multi_thread")]
async fn a_scrapped_piece_gives_its_request_back() {
    let mut app = held().await;
    app.post("/requests/9/hold", &[("reason", "porous too")])
        .await;
    app.sign_in(Role::Checker).await;
    let scrap = [("verdict", "scrap"), ("reason", "bored through")];
    let answer = judge(&mut app, 1, &scrap).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    let open = "select count(*) from part_hold h where not exists
                (select 1 from part_judged j where j.number = h.number)";
    assert_eq!(number(&app, open).await, Some(0));
    let state = text(&app, "select state from request where number = 9").await;
    assert_eq!(state.as_deref(), Some("open"));
    let site = situation::now(&app.state).await.expect("a site");
    let request = site.request(&"R9".parse().expect("a code")).expect("open");
    assert_eq!(request.begun, None);
    assert!(request.on_hold.is_empty());
    let page = app.get("/requests/9").await;
    assert!(
        page.contains("Scrapped") && page.contains("bored through"),
        "{}",
        page.body
    );
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("1 of 10"), "{}", page.body);
    app.plan().await;
    let code = "SS-041".parse().expect("a code");
    let site = situation::now(&app.state).await.expect("a site");
    assert_eq!(site.outcomes.get(&code).map(|seen| seen.failed), Some(1));
    assert_eq!(Stand::Sorted.to_string(), "sorted");
}

/// Without a hold a piece is scrapped by hand; with one the hold is judged.
#[tokio::test(flavor = "multi_thread")]
async fn a_piece_is_scrapped_by_hand() {
    let mut app = up_to_the_size_sheet().await;
    app.sign_in(Role::Lead).await;
    app.post("/requests/9/hold", &[("reason", "dropped")]).await;
    let reason = [("reason", "dropped, and bent")];
    let answer = app.post("/requests/9/decide/scrap", &reason).await;
    assert!(
        answer
            .field_error("reason")
            .is_some_and(|fault| fault.contains("judge hold 1"))
    );
    let answer = app.post("/requests/9/decide/send-back", &reason).await;
    assert!(answer.field_error("reason").is_some(), "{}", answer.body);
    app.sign_in(Role::Checker).await;
    judge(&mut app, 1, &[]).await;
    let answer = app.post("/requests/9/decide/scrap", &reason).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    assert!(app.get("/requests/9/work").await.contains("1 of 10"));
}

/// A hold that is not there, and one of a request that is served no more, are told.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_not_there_is_not_found() {
    let mut app = App::signed_in(Role::Lead).await;
    for path in ["/holds/1", "/holds/x", "/tools/none", "/requests/99/hold"] {
        assert_eq!(app.get(path).await.status, 404, "{path}");
    }
    app.post("/requests/7/decide/refuse", &[("reason", "holds 9 bar")])
        .await;
    assert_eq!(app.get("/requests/7/hold").await.status, 409);
}
