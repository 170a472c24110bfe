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
    let wrong: [(&str, &str, &str); 35] = [
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
            "fails_at",
            "2026-11-26T15:40",
            "leave this empty, or choose &#39;worn&#39;",
        ),
        (
            "no_date",
            "yes",
            "leave this empty, or choose &#39;worn&#39;",
        ),
        (
            "take_off_at",
            "2026-11-26T15:40",
            "leave this empty, or choose &#39;interim&#39;",
        ),
        (
            "spare",
            "maybe",
            "say whether there is a spare: yes, none, or not known",
        ),
        ("spare_where", "", "say where the spare lies"),
        (
            "spare_where",
            &long[..81],
            "81 characters are too many; use at most 80",
        ),
        (
            "base_metal",
            "XX",
            "there is no such metal; choose from the list",
        ),
        (
            "base_metal",
            "",
            "choose the metal that is known or assumed, or leave both open",
        ),
        (
            "base_metal_known",
            "",
            "say whether the metal is known or assumed",
        ),
        (
            "tag",
            "04 17",
            "a tag has letters, figures, hyphens and strokes only, as 0417 or A-12",
        ),
        (
            "mass",
            "heavy",
            "&#39;heavy&#39; is not a number; use figures with at most one point or comma",
        ),
        ("mass", "0", "0 is out of range; enter 0.001 to 50000"),
        (
            "down_since",
            "yesterday",
            "&#39;yesterday&#39; is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40",
        ),
        (
            "down_since",
            "2026-11-25T15:50",
            "that is in 10 min; give a time up to now, or choose &#39;worn&#39;",
        ),
        (
            "down_since",
            "2016-11-25T15:40",
            "that is more than a year away, 3652 days ago; look at the year",
        ),
        (
            "down_since",
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
        ("danger", "", "say whether anybody is in danger now"),
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
            "down_since",
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
            "asset"
                | "part"
                | "damage"
                | "danger"
                | "broken_part"
                | "spare"
                | "base_metal"
                | "base_metal_known"
        ) || page.contains(value);
        assert!(kept, "{field} keeps {value}");
    }
    assert_eq!(journal_length(&app).await, before);
    assert_eq!(
        number(&app, "select max(number) from request").await,
        Some(37)
    );
}

/// Entries that are right alone and contradict each other, or what the site knows.
#[tokio::test(flavor = "multi_thread")]
async fn contradictions_are_told() {
    let mut app = planned().await;
    type Case<'a> = (&'a [(&'a str, &'a str)], &'a str, &'a str);
    let cases: [Case<'_>; 10] = [
        (
            &[("part", "not-listed")],
            "part_name",
            "say what the part is called; it is not in the list",
        ),
        (
            &[("description", "")],
            "description",
            "say in a few words what is broken, or add a photo",
        ),
        (
            &[("damage", "worn")],
            "down_since",
            "leave this empty, or choose &#39;damaged&#39;",
        ),
        (
            &[("damage", "worn"), ("down_since", "")],
            "fails_at",
            "enter when it is expected to fail, or tick &#39;no date known&#39;",
        ),
        (
            &[
                ("damage", "worn"),
                ("down_since", ""),
                ("fails_at", "2026-11-26T15:40"),
                ("no_date", "yes"),
            ],
            "fails_at",
            "leave the date empty, or take off &#39;no date known&#39;",
        ),
        (
            &[("damage", "interim"), ("down_since", "")],
            "take_off_at",
            "enter the date by which it must come off",
        ),
        (
            &[
                ("damage", "interim"),
                ("down_since", ""),
                ("take_off_at", "2026-11-26T15:40"),
            ],
            "needed_by",
            "leave this empty: an interim part is replaced by its take-off date",
        ),
        (
            &[("broken_part", "here")],
            "arrives_at",
            "leave the time empty, or choose &#39;arrives later&#39;",
        ),
        (
            &[("spare", "no")],
            "spare_where",
            "leave the place empty, or say that there is a spare",
        ),
        (
            &[
                ("asset", "WP1"),
                ("damage", "worn"),
                ("down_since", ""),
                ("fails_at", "2026-11-26T15:40"),
            ],
            "damage",
            "feed pump 1 has been down since 15 Nov 2026 05:00; choose &#39;damaged&#39;, or tick &#39;no date known&#39;",
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
        Some(37)
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

/// A tag hangs on one part only; when that is done with, it may hang on another.
#[tokio::test(flavor = "multi_thread")]
async fn a_tag_hangs_on_one_open_request() {
    let mut app = planned().await;
    assert_eq!(report(&mut app, &[]).await.status, StatusCode::SEE_OTHER);
    let again = [("asset", "GS4"), ("tag", "A-0417")];
    let page = report(&mut app, &again).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        page.field_error("tag"),
        Some(
            "tag A-0417 hangs on R38, generating set 1 alternator fan hub; read the tag again, or hang another"
        )
    );
    app.past_the_journal = true;
    sqlx::query("update request set state = 'closed' where number = 38")
        .execute(&app.state.db.write)
        .await
        .expect("closed");
    assert_eq!(report(&mut app, &again).await.status, StatusCode::SEE_OTHER);
}
