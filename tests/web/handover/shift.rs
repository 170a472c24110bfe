//! The shift: opened by who takes over, with all that was journaled in it.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, number};

use super::{FIRST, WRITE, hear, on_shift, other, tell, told};

/// Before the first shift there is nothing to write in; it is opened with the reason why nobody hands over.
#[tokio::test]
async fn the_first_shift_is_opened_with_a_reason() {
    let mut app = App::signed_in(Role::Crew).await;
    assert_eq!(app.get(WRITE).await.location(), "/handover");
    assert!(app.get("/handover").await.contains("Open the first shift"));
    let answer = app.post("/handover/open", &[("why", "")]).await;
    assert!(answer.field_error("why").is_some(), "{}", answer.body);
    app.post("/handover/open", &[("why", "first day")]).await;
    assert!(
        app.get("/handover")
            .await
            .contains("Shift 1, opened by Sprayer")
    );
}

/// What is done anywhere gathers under its matter with who and when: a reading, a hold, an order, a note.
#[tokio::test]
async fn what_is_journaled_gathers_by_itself() {
    let mut app = on_shift().await;
    app.post("/cell/reading", &[("fuel", "410")]).await;
    app.post("/powder/L0415/hold", &[("reason", "damp smell")])
        .await;
    app.plan().await;
    let note = [
        ("note_kind", "near-miss"),
        ("note", "a hot part was taken without gloves"),
        ("happened", "2026-11-25T14:30"),
    ];
    let answer = app.post("/handover/note", &note).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    let page = app.get("/handover").await;
    for said in [
        "Readings",
        "Holds and releases",
        "lot held L0415",
        "Line-ups",
        "near miss:",
        "without gloves",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    tell(&mut app, &[]).await;
    let mut lead = other(&app, Role::Lead).await;
    hear(&mut lead, FIRST, &[]).await;
    let page = lead.get("/handover").await;
    assert!(
        !page.contains("lot held L0415"),
        "shift 2 gathers anew: {}",
        page.body
    );
    let page = lead.get("/shifts/1").await;
    for said in [
        "lot held L0415",
        "without gloves",
        "Handover 1",
        "first shift with this book",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert!(lead.get("/shifts/2").await.contains("handover 1"));
    assert_eq!(lead.get("/shifts/3").await.status, StatusCode::NOT_FOUND);
}

/// A note without its sort, words or time is refused beside the field; what is still to come did not happen.
#[tokio::test]
async fn a_note_is_asked_for_what_it_lacks() {
    let mut app = on_shift().await;
    for (kind, note, happened, field) in [
        ("", "smoke", "2026-11-25T14:30", "note_kind"),
        ("note", "", "2026-11-25T14:30", "note"),
        ("note", "smoke", "", "happened"),
        ("note", "smoke", "2026-11-25T15:41", "happened"),
    ] {
        let fields = [("note_kind", kind), ("note", note), ("happened", happened)];
        let answer = app.post("/handover/note", &fields).await;
        assert_eq!(answer.status, 422, "{field}");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    assert_eq!(
        number(&app, "select count(*) from shift_note").await,
        Some(0)
    );
}

/// Half the shift over, the page says that it is time to write: six hours of twelve.
#[tokio::test]
async fn from_mid_shift_on_the_handover_is_asked_for() {
    let mut app = on_shift().await;
    app.wait_minutes(359);
    assert!(
        !app.get("/handover")
            .await
            .contains("half the shift is over")
    );
    app.wait_minutes(1);
    assert!(
        app.get("/handover")
            .await
            .contains("half the shift is over")
    );
}

/// Powder drawn in the shift stands in its handover: 500 g of L0406 from a can of 1 400 g.
#[tokio::test]
async fn powder_moved_is_told_by_lot() {
    let mut app = crate::book::with_clean_feeder().await;
    app.post("/handover/open", &[("why", "first day")]).await;
    let answer = crate::book::draw(&mut app, "L0406-1", "trial", 500).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    let page = app.get(WRITE).await;
    assert!(page.contains("drawn 500 g, on hand"), "{}", page.body);
    assert!(
        !page.contains("L0395</dt>"),
        "that was before the shift: {}",
        page.body
    );
}

/// While a handover waits no shift is opened past it.
#[tokio::test]
async fn a_waiting_handover_is_not_passed_by() {
    let (_, mut receiver) = told(&[]).await;
    let answer = receiver
        .post("/handover/open", &[("why", "in a hurry")])
        .await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("Handover 1 waits"), "{}", answer.body);
    assert_eq!(
        number(&receiver, "select count(*) from shift").await,
        Some(1)
    );
}
