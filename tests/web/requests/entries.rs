//! A report that is wrong: told beside the field, and nothing is stored.

use axum::http::StatusCode;

use super::{journal_length, number, planned, report};

/// Every field typed wrongly: 422, the message beside it, what was typed still there, nothing stored.
#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one table of all that can be wrong")]
async fn wrong_entries_are_told_beside_their_field_and_nothing_is_stored() {
    let mut app = planned().await;
    let before = journal_length(&app).await;
    let long = "x".repeat(2001);
    let wrong: [(&str, &str, &str); 24] = [
        ("asset", "", "choose the machine"),
        (
            "asset",
            "GS9",
            "there is no machine &#39;GS9&#39;; choose from the list",
        ),
        ("part", "", "choose the part, or &#39;not listed&#39;"),
        (
            "part",
            "XX-1",
            "the catalogue has no part &#39;XX-1&#39;; choose from the list, or &#39;not listed&#39;",
        ),
        (
            "part_name",
            &long[..81],
            "81 characters are too many; use at most 80",
        ),
        ("damage", "", "enter something here"),
        (
            "damage",
            "lost",
            "&#39;lost&#39; is not one of the choices; choose from the list",
        ),
        (
            "description",
            &long,
            "2001 characters are too many; use at most 2000",
        ),
        (
            "machine",
            "",
            "say whether the machine is down or still runs",
        ),
        (
            "machine_at",
            "yesterday",
            "&#39;yesterday&#39; is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40",
        ),
        (
            "machine_at",
            "2026-11-25T15:50",
            "that is in 10 min; give a time up to now, or choose that the machine runs",
        ),
        (
            "machine_at",
            "2016-11-25T15:40",
            "that is more than a year away, 3652 days ago; look at the year",
        ),
        (
            "machine_at",
            "0001-01-01T00:00",
            "that is more than a year away, 739944 days ago; look at the year",
        ),
        ("asked_by", "  ", "enter something here"),
        (
            "asked_by",
            &long[..81],
            "81 characters are too many; use at most 80",
        ),
        (
            "needed_by",
            "soon",
            "&#39;soon&#39; is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40",
        ),
        (
            "needed_by",
            "2026-11-25T15:30",
            "that was 10 min ago; give a time to come",
        ),
        (
            "needed_by",
            "2126-11-25T12:00",
            "that is more than a year away, in 36523 days; look at the year",
        ),
        ("danger", "", "say yes or no"),
        (
            "broken_part",
            "",
            "say whether the broken part is at the cell",
        ),
        ("arrives_at", "", "enter something here"),
        (
            "arrives_at",
            "2026-11-24T12:00",
            "that was 27 h ago; give a time to come",
        ),
        (
            "arrives_at",
            "9999-12-31T23:59",
            "that is more than a year away, in 2912114 days; look at the year",
        ),
        (
            "machine_at",
            "2026-02-30T12:00",
            "&#39;2026-02-30T12:00&#39; is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40",
        ),
    ];
    for (field, value, message) in wrong {
        let page = report(&mut app, &[(field, value)]).await;
        assert_eq!(
            page.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {value}"
        );
        assert_eq!(page.field_error(field), Some(message), "{field} {value}");
        assert!(
            page.contains(&format!("href=\"#{field}\"")),
            "a link to the field"
        );
        assert!(page.contains("Two blades gone, hub cracked 40 mm") || field == "description");
        let kept = matches!(
            field,
            "asset" | "part" | "damage" | "machine" | "danger" | "broken_part"
        ) || page.contains(value);
        assert!(kept, "{field} keeps {value}");
    }
    assert_eq!(journal_length(&app).await, before);
    assert_eq!(
        number(&app, "select max(number) from request").await,
        Some(30)
    );
}

/// Entries that are right alone and contradict each other, or what the site knows.
#[tokio::test(flavor = "multi_thread")]
async fn contradictions_are_told() {
    let mut app = planned().await;
    type Case<'a> = (&'a [(&'a str, &'a str)], &'a str, &'a str);
    let cases: [Case<'_>; 5] = [
        (
            &[("part", "not-listed")],
            "part_name",
            "say what the part is called; it is not in the list",
        ),
        (
            &[("machine", "runs")],
            "machine_at",
            "leave the time empty, or choose &#39;runs, will fail at&#39;",
        ),
        (
            &[("machine", "expected"), ("machine_at", "")],
            "machine_at",
            "enter something here",
        ),
        (
            &[("broken_part", "here")],
            "arrives_at",
            "leave the time empty, or choose &#39;arrives later&#39;",
        ),
        (
            &[("asset", "WP1"), ("machine", "runs"), ("machine_at", "")],
            "machine",
            "feed pump 1 has been down since 15 Nov 2026 05:00; choose &#39;is down&#39;",
        ),
    ];
    for (otherwise, field, message) in cases {
        let page = report(&mut app, otherwise).await;
        assert_eq!(
            page.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{otherwise:?}"
        );
        assert_eq!(page.field_error(field), Some(message), "{otherwise:?}");
    }
    assert_eq!(
        number(&app, "select max(number) from request").await,
        Some(30)
    );
    // A form sent empty tells every fault at once.
    app.get("/requests/new").await;
    let page = app.post("/requests/new", &[]).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        page.contains("7 entries need a second look"),
        "{}",
        page.body
    );
}
