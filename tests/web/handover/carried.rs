//! Promises and lines for the next shift: carried until somebody closes them by name.

use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, number, text};

use super::{FIRST, hear, on_shift, other, tell};

async fn add(app: &mut App, kind: &str, line: &str, due: &str) -> Answer {
    app.post(
        "/handover/carried",
        &[("kind", kind), ("line", line), ("due", due)],
    )
    .await
}

/// Promised in shift 1 by 18:00, it stands in the handover, in shift 2, and at 19:20 it is overdue: on Now, and first
/// of the list though another was written earlier. The lead closes it by name.
#[tokio::test]
async fn a_promise_is_carried_until_it_is_closed() {
    let mut app = on_shift().await;
    add(&mut app, "must", "Read the furnace", "2026-11-26T06:00").await;
    let answer = add(
        &mut app,
        "promise",
        "Harbour told: pump 2 is back",
        "2026-11-25T18:00",
    )
    .await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    assert_eq!(tell(&mut app, &[]).await.location(), FIRST);
    let mut lead = other(&app, Role::Lead).await;
    assert!(
        lead.get(FIRST)
            .await
            .contains("Harbour told: pump 2 is back")
    );
    hear(&mut lead, FIRST, &[]).await;
    assert!(!lead.get("/now").await.contains("Overdue"));
    lead.wait_minutes(220);
    let page = lead.get("/now").await;
    assert!(
        page.contains("Overdue: Harbour told: pump 2 is back"),
        "{}",
        page.body
    );
    let page = lead.get("/handover").await;
    let at = |text: &str| {
        page.body
            .find(text)
            .unwrap_or_else(|| panic!("{text}: {}", page.body))
    };
    assert!(at("OVERDUE") < at("pump 2 is back") && at("pump 2 is back") < at("Read the furnace"));
    let answer = lead.post("/handover/carried/2", &[("how", "")]).await;
    assert!(answer.field_error("how").is_some(), "{}", answer.body);
    let answer = lead
        .post(
            "/handover/carried/2",
            &[("how", "told by radio, fitted 18:10")],
        )
        .await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    assert!(!lead.get("/now").await.contains("Overdue"));
    let closed = text(&lead, "select closed_by || ': ' || how from carried_closed").await;
    assert_eq!(
        closed.as_deref(),
        Some("Cell lead: told by radio, fitted 18:10")
    );
    assert!(
        lead.get("/shifts/2")
            .await
            .contains("told by radio, fitted 18:10")
    );
    // Closed once.
    assert_eq!(
        lead.post("/handover/carried/2", &[("how", "again")])
            .await
            .status,
        404
    );
}

/// Holds need nobody to carry them: a lot on hold stands in every handover until it is released or rejected.
#[tokio::test]
async fn holds_are_carried_by_themselves() {
    let mut app = on_shift().await;
    app.post("/powder/L0415/hold", &[("reason", "damp smell")])
        .await;
    tell(&mut app, &[]).await;
    let page = app.get(FIRST).await;
    assert!(
        page.contains("lot L0415") && page.contains("damp smell"),
        "{}",
        page.body
    );
}

/// What is wrong is told beside its field; a sixth line for the next shift is more than one keeps in mind.
#[tokio::test]
async fn what_is_wrong_is_told_beside_its_field() {
    let mut app = on_shift().await;
    for (kind, line, due, field) in [
        ("", "Read the furnace", "2026-11-26T06:00", "kind"),
        ("wish", "Read the furnace", "2026-11-26T06:00", "kind"),
        ("must", "", "2026-11-26T06:00", "line"),
        ("must", "Read the furnace", "", "due"),
        ("must", "Read the furnace", "soon", "due"),
        ("must", "Read the furnace", "2026-11-25T14:39", "due"),
    ] {
        let answer = add(&mut app, kind, line, due).await;
        assert_eq!(answer.status, 422, "{kind} {line} {due}");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    for line in ["one", "two", "three", "four", "five"] {
        let answer = add(&mut app, "must", line, "2026-11-26T06:00").await;
        assert_eq!(answer.location(), "/handover", "{}", answer.body);
    }
    let answer = add(&mut app, "must", "six", "2026-11-26T06:00").await;
    assert!(
        answer
            .field_error("line")
            .is_some_and(|it| it.contains("close one first")),
        "{}",
        answer.body
    );
    add(
        &mut app,
        "promise",
        "but promises are kept apart",
        "2026-11-26T06:00",
    )
    .await;
    assert_eq!(number(&app, "select count(*) from carried").await, Some(6));
}
