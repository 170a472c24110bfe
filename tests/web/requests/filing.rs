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
        (StatusCode::SEE_OTHER, "/requests/38")
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
                 asked_by || '|' || danger || '|' || state || '|' || spare || '|' || spare_where || '|' ||
                 tag || '|' || mass_g || '|' || metal.code || '|' || base_metal_known
               from request join metal on metal.id = base_metal_id where number = 38";
    assert_eq!(
        text(&app, row).await.as_deref(),
        Some(
            "alternator fan hub|damaged|Two blades gone, hub cracked 40 mm|Sprayer|Power station foreman|1|open|yes|mainland depot, shelf 4|A-0417|3250|AL|0"
        )
    );
    let ways =
        "select group_concat(recipe_code) from request_way w join request r on r.id = w.request_id
                where r.number = 38";
    assert_eq!(text(&app, ways).await.as_deref(), Some("AL-011"));
    // 13:00 at the site is 2 h 40 min before the test's moment, 15:40.
    let down = number(&app, "select down_from_ms from asset where code = 'GS1'").await;
    assert_eq!(down, Some(START - 160 * 60_000));
    let at_cell = number(&app, "select at_cell_ms from request where number = 38").await;
    assert_eq!(at_cell, Some(START + 170 * 60_000));

    let page = app.get("/requests/38").await;
    assert!(
        page.contains("SAVED") && page.contains(&format!("Journal {}.", before + 1)),
        "{}",
        page.body
    );
    assert!(page.contains("Plan again to give R38, generating set 1 alternator fan hub, a place."));
    assert!(page.contains("action=\"/line-up/plan\""));
    for told in [
        "Somebody is in danger",
        "A-0417",
        "3.25 kg",
        "Aluminium, assumed",
        "There is one: mainland depot, shelf 4",
    ] {
        assert!(page.contains(told), "{told}");
    }

    app.plan().await;
    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let known = stored.line_up.places.iter().map(|p| &p.request);
    let known: Vec<&str> = known
        .chain(stored.line_up.waiting.iter().map(|w| &w.request))
        .map(|r| r.as_str())
        .collect();
    assert!(known.contains(&"R38"), "{known:?}");
    assert!(!app.get("/requests/38").await.contains("Plan again to give"));
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
    assert_eq!(number(&app, "select count(*) from request_way w join request r on r.id = w.request_id where r.number = 38").await, Some(0));
    let page = app.get("/requests/38").await;
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
    let pump = [("asset", "WP1"), ("part", "WP-SLEEVE"), ("down_since", "")];
    assert_eq!(report(&mut app, &pump).await.status, StatusCode::SEE_OTHER);
    assert_eq!(number(&app, down).await, first);
    assert_eq!(journal_length(&app).await, before + 1);
}

/// Generating set 1 stopped ten days ago and came back two days ago. Broken again, it is down since now, not
/// since then, and nothing brings it back by itself.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_that_came_back_and_broke_again_is_down_anew() {
    let mut app = planned().await;
    came_back(&app).await;
    assert_eq!(report(&mut app, &[]).await.status, StatusCode::SEE_OTHER);
    let down = number(&app, "select down_from_ms from asset where code = 'GS1'").await;
    assert_eq!(down, Some(START - 160 * 60_000));
    let back = number(&app, "select back_ms from asset where code = 'GS1'").await;
    assert_eq!(back, None);
}

/// Back since two days, it runs: a worn part on it may well fail at a time to come.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_that_came_back_may_be_expected_to_stop() {
    let mut app = planned().await;
    came_back(&app).await;
    let fails = [
        ("damage", "worn"),
        ("down_since", ""),
        ("fails_at", "2026-11-26T15:40"),
    ];
    let answer = report(&mut app, &fails).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let down = number(&app, "select down_from_ms from asset where code = 'GS1'").await;
    assert_eq!(down, Some(START + 24 * 3_600_000));
}

async fn came_back(app: &mendpost_tests::App) {
    let day = 24 * 3_600_000;
    sqlx::query("update asset set down_from_ms = ?, back_ms = ? where code = 'GS1'")
        .bind(START - 10 * day)
        .bind(START - 2 * day)
        .execute(&app.state.db.write)
        .await
        .expect("it came back");
}

/// One that still runs on a worn part: down from when that is expected to fail, or not at all. One on an
/// interim part stops when that must come off, and its successor is needed by then.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_matter_is_says_when_the_machine_stops() {
    let mut app = planned().await;
    let fails = [
        ("damage", "worn"),
        ("down_since", ""),
        ("fails_at", "2026-11-26T15:40"),
    ];
    assert_eq!(report(&mut app, &fails).await.status, StatusCode::SEE_OTHER);
    let down = number(&app, "select down_from_ms from asset where code = 'GS1'").await;
    assert_eq!(down, Some(START + 24 * 3_600_000));

    let no_date = [
        ("asset", "GS4"),
        ("damage", "worn"),
        ("down_since", ""),
        ("no_date", "yes"),
        ("tag", ""),
    ];
    assert_eq!(
        report(&mut app, &no_date).await.status,
        StatusCode::SEE_OTHER
    );
    let down = "select down_from_ms from asset where code = 'GS4'";
    assert_eq!(number(&app, down).await, None);

    // Four days on, at the same time of day.
    let interim = [
        ("asset", "GS4"),
        ("damage", "interim"),
        ("down_since", ""),
        ("take_off_at", "2026-11-29T15:40"),
        ("needed_by", ""),
        ("tag", ""),
    ];
    assert_eq!(
        report(&mut app, &interim).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(number(&app, down).await, Some(START + 96 * 3_600_000));
    let needed = number(&app, "select needed_by_ms from request where number = 40").await;
    assert_eq!(needed, Some(START + 96 * 3_600_000));
}

/// Pump 1 is down for another part; that its sleeve is worn too is told without a date.
#[tokio::test(flavor = "multi_thread")]
async fn a_worn_part_may_be_found_on_a_machine_that_is_down() {
    let mut app = planned().await;
    let down = "select down_from_ms from asset where code = 'WP1'";
    let first = number(&app, down).await;
    let worn = [
        ("asset", "WP1"),
        ("part", "WP-SLEEVE"),
        ("damage", "worn"),
        ("down_since", ""),
        ("no_date", "yes"),
    ];
    assert_eq!(report(&mut app, &worn).await.status, StatusCode::SEE_OTHER);
    assert_eq!(number(&app, down).await, first);
}

/// The form of a machine offers first the parts that fit it by the catalogue, asked for before or not.
#[tokio::test(flavor = "multi_thread")]
async fn the_parts_of_the_chosen_machine_come_first() {
    let mut app = planned().await;
    let page = app.get("/requests/new?asset=WP1").await;
    assert!(page.contains("<option value=\"WP1\" selected>"));
    let groups: Vec<&str> = page
        .body
        .split("<optgroup label=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    assert_eq!(groups, ["Of this machine", "Other parts"]);
    let own = mendpost_tests::between(&page.body, "\"Of this machine\">", "</optgroup>");
    let own = own.expect("a group");
    for part in ["WP-COUPLING", "WP-IMPELLER", "WP-LID", "WP-SLEEVE"] {
        assert!(own.contains(part), "{part}: {own}");
    }
    assert_eq!(own.matches("<option").count(), 4, "{own}");
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
    for page in ["/requests/38", "/requests"] {
        let page = app.get(page).await;
        assert!(page.contains("&#60;b&#62;cracked"), "{}", page.body);
        assert!(!page.contains("<b>cracked") && !page.contains("<script>"));
    }
}
