//! A report that is right: what is stored, journalled, shown and planned.

use axum::http::StatusCode;
use mendpost_server::lineup::queries;
use mendpost_tests::START;

use super::{journal_length, number, planned, report, text};

/// The whole path: report, read the receipt, plan again, find the request in the order.
#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_filed_and_planned() {
    let mut app = planned().await;
    let before = journal_length(&app).await;
    let answer = report(&mut app, &[]).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/requests/31")
    );

    assert_eq!(
        journal_length(&app).await,
        before + 2,
        "the request, and the machine that is down"
    );
    let kinds =
        "select group_concat(kind) from (select kind from journal order by sequence desc limit 2)";
    assert_eq!(
        text(&app, kinds).await.as_deref(),
        Some("asset.down,request.filed")
    );
    let row =
        "select part_name || '|' || damage || '|' || description || '|' || reported_by || '|' ||
                 asked_by || '|' || danger || '|' || state from request where number = 31";
    assert_eq!(
        text(&app, row).await.as_deref(),
        Some(
            "alternator fan hub|damaged|Two blades gone, hub cracked 40 mm|Sprayer|Power station foreman|1|open"
        )
    );
    let ways =
        "select group_concat(recipe_code) from request_way w join request r on r.id = w.request_id
                where r.number = 31";
    assert_eq!(text(&app, ways).await.as_deref(), Some("AL-011"));
    // 13:00 at the site is 2 h 40 min before the test's moment, 15:40.
    let down = number(&app, "select down_from_ms from asset where code = 'GS1'").await;
    assert_eq!(down, Some(START - 160 * 60_000));
    let at_cell = number(&app, "select at_cell_ms from request where number = 31").await;
    assert_eq!(at_cell, Some(START + 170 * 60_000));

    let page = app.get("/requests/31").await;
    assert!(
        page.contains("SAVED") && page.contains(&format!("Journal {}.", before + 1)),
        "{}",
        page.body
    );
    assert!(page.contains("Plan again to give R31, generating set 1 alternator fan hub, a place."));
    assert!(page.contains("action=\"/line-up/plan\""));
    assert!(page.contains("Somebody is in danger"));

    app.post("/line-up/plan", &[]).await;
    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let known = stored.line_up.places.iter().map(|p| &p.request);
    let known: Vec<&str> = known
        .chain(stored.line_up.waiting.iter().map(|w| &w.request))
        .map(|r| r.as_str())
        .collect();
    assert!(known.contains(&"R31"), "{known:?}");
    assert!(!app.get("/requests/31").await.contains("Plan again to give"));
}

/// A part that the catalogue does not hold has no way; its gate says so.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_is_not_listed_waits_for_the_catalogue() {
    let mut app = planned().await;
    let listed = [("part", "not-listed"), ("part_name", "oil cooler bracket")];
    assert_eq!(
        report(&mut app, &listed).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(number(&app, "select count(*) from request_way w join request r on r.id = w.request_id where r.number = 31").await, Some(0));
    let page = app.get("/requests/31").await;
    assert!(
        page.contains("oil cooler bracket") && page.contains("the part is not listed"),
        "{}",
        page.body
    );
}

/// Feed pump 1 is down for a week: the time told first stays, and only the request is journalled.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_that_is_down_stays_down_from_when_it_stopped() {
    let mut app = planned().await;
    let down = "select down_from_ms from asset where code = 'WP1'";
    let (first, before) = (number(&app, down).await, journal_length(&app).await);
    let pump = [("asset", "WP1"), ("part", "WP-SLEEVE"), ("machine_at", "")];
    assert_eq!(report(&mut app, &pump).await.status, StatusCode::SEE_OTHER);
    assert_eq!(number(&app, down).await, first);
    assert_eq!(journal_length(&app).await, before + 1);
}

/// One that still runs on a cracked part: down from when it is expected to fail, or not at all.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_that_runs_goes_down_when_it_is_expected_to() {
    let mut app = planned().await;
    let fails = [
        ("machine", "expected"),
        ("machine_at", "2026-11-26T15:40"),
        ("damage", "worn"),
    ];
    assert_eq!(report(&mut app, &fails).await.status, StatusCode::SEE_OTHER);
    let down = number(&app, "select down_from_ms from asset where code = 'GS1'").await;
    assert_eq!(down, Some(START + 24 * 3_600_000));
    let runs = [("asset", "GS4"), ("machine", "runs"), ("machine_at", "")];
    assert_eq!(report(&mut app, &runs).await.status, StatusCode::SEE_OTHER);
    assert_eq!(
        number(&app, "select down_from_ms from asset where code = 'GS4'").await,
        None
    );
}

/// What was typed is shown as text, never as a page's own.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_typed_is_shown_as_text() {
    let mut app = planned().await;
    let typed = [
        ("description", "<b>cracked</b> & \"worn\""),
        ("asked_by", "</dd><script>"),
    ];
    report(&mut app, &typed).await;
    for page in ["/requests/31", "/requests"] {
        let page = app.get(page).await;
        assert!(page.contains("&#60;b&#62;cracked"), "{}", page.body);
        assert!(!page.contains("<b>cracked") && !page.contains("<script>"));
    }
}
