//! Interim parts out there: entered with an end, read, taken off, back, and replaced.

mod machine;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::change::Change;
use mendpost_server::interim::{self, End, Released};
use mendpost_server::situation::moment;
use mendpost_tests::{Answer, App, START, number, text};

/// The crew, with the demonstration's interim part I1 off and back already.
async fn crew() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let off = [
        ("at", ""),
        ("meter", ""),
        ("machine", "stands"),
        ("note", ""),
    ];
    let taken = app.post("/interim/1/off", &off).await;
    assert_eq!(taken.status, StatusCode::SEE_OTHER, "{}", taken.body);
    let back = [
        ("fate", "scrapped"),
        ("wear", "worn oval"),
        ("at", ""),
        ("note", ""),
    ];
    let back = app.post("/interim/1/return", &back).await;
    assert_eq!(back.status, StatusCode::SEE_OTHER, "{}", back.body);
    app
}

/// A gland sleeve on feed pump 2 since 20 November: 200 running hours at most, 8 a day, 1 000 on the meter.
const HOURS: [(&str, &str); 13] = [
    ("asset", "WP2"),
    ("part", "WP-SLEEVE"),
    ("part_name", "gland sleeve"),
    ("place", "drive end"),
    ("since", "2026-11-20T15:40"),
    ("limit", "hours"),
    ("off_by", ""),
    ("most", "200"),
    ("a_day", "8"),
    ("meter", "1000"),
    ("owner", "Waterworks engineer"),
    ("plan", "Swap at the weekly stop; two people, hoist"),
    ("released_by", "Cell lead"),
];

pub async fn enter(app: &mut App, otherwise: &[(&str, &str)]) -> Answer {
    app.get("/interim/new").await;
    let mut fields = HOURS;
    for (name, value) in otherwise {
        let field = fields.iter_mut().find(|(known, _)| known == name);
        field.expect("a field of the form").1 = value;
    }
    app.post("/interim/new", &fields).await
}

/// The same with a date in place of hours.
async fn enter_until(app: &mut App, off_by: &str) -> Answer {
    let by_date = [
        ("limit", "date"),
        ("off_by", off_by),
        ("most", ""),
        ("a_day", ""),
        ("meter", ""),
    ];
    enter(app, &by_date).await
}

const HOUR: i64 = 3_600_000;

/// Entered, it stands on its list with what is left, and asks for its successor by its take-off date.
#[tokio::test(flavor = "multi_thread")]
async fn one_that_is_out_there_is_entered_and_asks_for_its_successor() {
    let mut app = crew().await;
    let before = number(&app, "select max(sequence) from journal").await;
    let answer = enter(&mut app, &[]).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/interim/2"),
        "{}",
        answer.body
    );
    // The follow-on request, that its machine stops with it, and the part itself: pump 2 is expected to
    // stop in three days as it is, before the part comes off, so that is no news.
    let kinds = format!(
        "select group_concat(kind || ' ' || subject_id) from journal where sequence > {}",
        before.expect("a journal")
    );
    let kinds: Option<String> = sqlx::query_scalar(sqlx::AssertSqlSafe(kinds))
        .fetch_one(&app.state.db.read)
        .await
        .expect("the journal");
    assert_eq!(
        kinds.as_deref(),
        Some("request.filed R38,interim.released I2")
    );
    // 200 h at 8 a day are 25 days from 20 November 15:40.
    let needed = "select needed_by_ms from request where number = 38 and damage = 'interim'";
    assert_eq!(number(&app, needed).await, Some(START + 20 * 24 * HOUR));

    // Five days on, 40 h are taken as run: 160 left.
    let page = app.get("/interim").await;
    for told in [
        "Leave all in place: the first to come off is I2, feed pump 2 gland sleeve",
        "160 h of running",
        "after 200 h of running, about 15 Dec 2026 15:40",
        "Waterworks engineer",
        "Swap at the weekly stop; two people, hoist",
        "drive end",
        "href=\"/requests/38\"",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    let page = app.get("/requests/38").await;
    assert!(
        page.contains("INTERIM PART:") && page.contains("take off after 200 h of running, about"),
        "{}",
        page.body
    );
    assert!(page.contains("Replaces interim part I2."));
    assert!(app.get("/requests").await.contains("href=\"/interim\""));
    assert!(!app.get("/now").await.contains("interim part"));
}

/// A reading puts the reckoning right; a meter that falls, or runs faster than the clock, is read again.
#[tokio::test(flavor = "multi_thread")]
async fn the_meter_is_read_and_counts() {
    let mut app = crew().await;
    enter(&mut app, &[]).await;
    let wrong = [
        ("", "enter what the hour meter shows"),
        (
            "999.9",
            "it showed 1\u{202f}000 h on 20 Nov 2026 15:40, and a meter never falls; read it again",
        ),
        (
            "1121",
            "it showed 1\u{202f}000 h on 20 Nov 2026 15:40, and only 120 h have passed since; read it again",
        ),
        (
            "full",
            "&#39;full&#39; is not a number; use figures with at most one point or comma",
        ),
    ];
    for (shows, fault) in wrong {
        let page = app
            .post("/interim/2/reading", &[("meter", shows), ("at", "")])
            .await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{shows}");
        assert_eq!(page.field_error("meter"), Some(fault));
    }
    let at = [("meter", "1100"), ("at", "2026-11-25T17:40")];
    let page = app.post("/interim/2/reading", &at).await;
    assert_eq!(
        page.field_error("at"),
        Some("that is in 2 h; give a time up to now")
    );
    assert_eq!(
        number(&app, "select count(*) from interim_reading").await,
        Some(0)
    );

    // 110 of 200 h are used in five days where 40 were expected: 90 left, 11.25 days from now.
    let answer = app
        .post("/interim/2/reading", &[("meter", "1110"), ("at", "")])
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let needed = number(&app, "select needed_by_ms from request where number = 38").await;
    assert_eq!(
        needed,
        Some(START + 270 * HOUR),
        "its successor is needed sooner"
    );
    let page = app.get("/interim/2").await;
    for told in [
        "90 h of running",
        "about 6 Dec 2026 21:40",
        "1\u{202f}110 h",
        "Sprayer",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    // Nine days later 72 h more are taken as run, and 2.25 days are left: due soon, and Now says so.
    app.wait_minutes(9 * 24 * 60);
    app.sign_in(Role::Crew).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("An interim part must come off soon."),
        "{}",
        page.body
    );
    assert!(app.get("/interim").await.contains("due soon"));
    // Read at 1 205 it has run over by 5 h.
    app.post("/interim/2/reading", &[("meter", "1205"), ("at", "")])
        .await;
    let page = app.get("/now").await;
    assert!(
        page.contains("An interim part is overdue: take it off."),
        "{}",
        page.body
    );
    let page = app.get("/interim").await;
    assert!(page.contains("over by 5 h of running") && page.contains("Take off I2"));
}

/// Due first, whatever the order in which they were entered; past its date it is overdue.
#[tokio::test(flavor = "multi_thread")]
async fn the_first_to_come_off_stands_first() {
    let mut app = crew().await;
    enter_until(&mut app, "2026-12-20T12:00").await;
    let overdue = enter_until(&mut app, "2026-11-25T12:00").await;
    assert_eq!(overdue.status, StatusCode::SEE_OTHER, "{}", overdue.body);
    enter_until(&mut app, "2026-11-27T12:00").await;
    let page = app.get("/interim").await;
    let order: Vec<usize> = ["I3, drive end", "I4, drive end", "I2, drive end"]
        .iter()
        .map(|row| page.body.find(row).expect("a row"))
        .collect();
    assert!(order.is_sorted(), "{order:?}");
    assert!(page.contains("Take off I3, feed pump 2 gland sleeve, now."));
    assert!(page.contains("3 out there, 1 due soon, 1 overdue."));
    let page = app.get("/now").await;
    assert!(
        page.contains("1 of 2 interim parts due are overdue: take them off."),
        "{}",
        page.body
    );
}

/// Off, then back with its wear: each once, in this order, by name; its successor stays asked for.
#[tokio::test(flavor = "multi_thread")]
async fn it_comes_off_and_back_once() {
    let mut app = crew().await;
    enter(&mut app, &[]).await;
    let back = [
        ("fate", "kept"),
        ("wear", "0.2 mm in the bore"),
        ("at", ""),
        ("note", ""),
    ];
    let early = app.post("/interim/2/return", &back).await;
    assert_eq!(early.status, StatusCode::CONFLICT);
    assert!(early.contains("take it off first"), "{}", early.body);

    let off = [
        ("at", ""),
        ("meter", "1040.5"),
        ("machine", "stands"),
        ("note", "came off by hand"),
    ];
    let before_fitted = [("at", "2026-11-19T12:00"), ("meter", ""), ("note", "")];
    let page = app.post("/interim/2/off", &before_fitted).await;
    assert_eq!(
        page.field_error("at"),
        Some("it was fitted only 20 Nov 2026 15:40; give a time since then")
    );
    assert_eq!(
        app.post("/interim/2/off", &off).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(
        app.post("/interim/2/off", &off).await.status,
        StatusCode::CONFLICT
    );
    let page = app.get("/interim").await;
    assert!(page.contains("no interim part is out there") && page.contains("not back yet"));

    for (field, value, at, fault) in [
        ("fate", "", "fate", "say whether it is kept or scrapped"),
        ("wear", "", "wear", "enter something here"),
    ] {
        let mut wrong = back;
        let typed = wrong.iter_mut().find(|(name, _)| *name == field);
        typed.expect("a field").1 = value;
        let page = app.post("/interim/2/return", &wrong).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(page.field_error(at), Some(fault));
    }
    assert_eq!(
        app.post("/interim/2/return", &back).await.status,
        StatusCode::SEE_OTHER
    );
    let again = app.post("/interim/2/return", &back).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let page = app.get("/interim/2").await;
    for told in [
        "is kept",
        "0.2 mm in the bore",
        "came off by hand",
        "meter 1\u{202f}040.5 h",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
    let kinds = "select group_concat(kind) from journal where subject_id = 'I2'";
    assert_eq!(
        text(&app, kinds).await.as_deref(),
        Some("interim.released,interim.off,interim.returned")
    );
    assert_eq!(
        text(&app, "select state from request where number = 38")
            .await
            .as_deref(),
        Some("open")
    );
}

/// Every field typed wrongly: 422, told beside it, what was typed is kept, nothing is stored.
#[tokio::test(flavor = "multi_thread")]
async fn wrong_entries_are_told_and_nothing_is_stored() {
    let mut app = crew().await;
    let long = "x".repeat(401);
    let wrong: [(&str, &str, &str); 17] = [
        ("asset", "", "choose the machine"),
        (
            "part",
            "XX",
            "the catalogue has no such part; choose from the list",
        ),
        (
            "part_name",
            &long[..81],
            "81 characters are too many; use at most 80",
        ),
        (
            "place",
            &long[..81],
            "81 characters are too many; use at most 80",
        ),
        ("since", "", "enter something here"),
        (
            "since",
            "2026-11-26T15:40",
            "that is in 24 h; give the time at which it was fitted",
        ),
        (
            "since",
            "1926-11-20T15:40",
            "that is more than ten years ago; look at the year",
        ),
        (
            "limit",
            "",
            "say whether it must come off by a date or by running hours",
        ),
        (
            "off_by",
            "2026-12-20T12:00",
            "leave this empty, or choose &#39;a date&#39;",
        ),
        ("most", "0", "0 is out of range; enter 0.1 to 100000"),
        ("most", "", "enter something here"),
        ("a_day", "25", "25 is out of range; enter 0.1 to 24"),
        (
            "meter",
            "1000.55",
            "&#39;1000.55&#39; is finer than can be kept; use at most 1 figures after the point",
        ),
        ("owner", "", "enter something here"),
        ("plan", "", "enter something here"),
        (
            "plan",
            &long,
            "401 characters are too many; use at most 400",
        ),
        ("released_by", " ", "enter something here"),
    ];
    for (field, value, message) in wrong {
        let page = enter(&mut app, &[(field, value)]).await;
        assert_eq!(
            page.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {value}"
        );
        assert_eq!(page.field_error(field), Some(message), "{field} {value}");
        assert!(page.contains("two people, hoist") || field == "plan");
    }
    let page = enter_until(&mut app, "2026-11-20T15:40").await;
    assert_eq!(
        page.field_error("off_by"),
        Some("it was fitted only then; give a time after that")
    );
    let hours_by_date = [("limit", "date"), ("off_by", "2026-12-20T12:00")];
    let page = enter(&mut app, &hours_by_date).await;
    for field in ["most", "a_day", "meter"] {
        assert_eq!(
            page.field_error(field),
            Some("leave this empty, or choose &#39;running hours&#39;")
        );
    }
    let nameless = [("part", ""), ("part_name", "")];
    assert_eq!(
        enter(&mut app, &nameless).await.field_error("part_name"),
        Some("say what the part is called, or choose it above")
    );
    assert_eq!(
        number(&app, "select count(*) from interim_part").await,
        Some(1)
    );
    assert_eq!(
        number(&app, "select max(number) from request").await,
        Some(37)
    );
}

/// As a release records it: for a request, whose part its successor asks for again, with its recipes.
#[tokio::test(flavor = "multi_thread")]
async fn a_release_records_it_for_its_request() {
    let mut app = crew().await;
    let released = Released {
        request: Some(8),
        asset: "WP1",
        part: None,
        part_name: "impeller",
        place: "",
        since: moment(START).expect("a time"),
        end: End {
            limit: mendpost_core::interim::Limit::Date {
                off_by: moment(START + 240 * HOUR).expect("a time"),
            },
            meter_min: None,
        },
        owner: "Waterworks engineer",
        plan: "Off when the true impeller is here",
        released_by: "Checker",
    };
    let mut change = Change::begin(&app.state, mendpost_server::change::Actor::Mendpost)
        .await
        .expect("a change begins");
    let recorded = interim::record(&mut change, &released, "Checker").await;
    change.commit().await.expect("it lasts");
    assert_eq!(recorded.expect("recorded").follow_on, 38);
    let follow = "select part.code || '|' || damage || '|' || request.asked_by || '|' || (needed_by_ms - 240 * 3600000)
                  from request join part on part.id = part_id where number = 38";
    assert_eq!(
        text(&app, follow).await,
        Some(format!("WP-IMPELLER|interim|Waterworks engineer|{START}"))
    );
    // What the impeller is made of was said of R8.
    let metal =
        "select metal.code || base_metal_known from request join metal on metal.id = base_metal_id
                 where number = 38";
    assert_eq!(text(&app, metal).await.as_deref(), Some("BZ1"));
    let ways = "select count(*) from request_way w join request r on r.id = w.request_id
                where r.number = 38";
    assert_eq!(number(&app, ways).await, Some(1));
    let out = interim::open(&app.state.db.read, moment(START).expect("a time")).await;
    let out = out.expect("readable");
    assert_eq!((out.len(), out[0].request), (1, Some(8)));
    let page = app.get("/interim/2").await;
    assert!(page.contains("Built for") && page.contains("href=\"/requests/8\""));
}

/// Below the pages: nothing of it is changed or deleted.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_on_record_stays() {
    let mut app = crew().await;
    enter(&mut app, &[]).await;
    app.post("/interim/2/reading", &[("meter", "1010"), ("at", "")])
        .await;
    app.post("/interim/2/off", &[("at", ""), ("machine", "stands")])
        .await;
    app.post(
        "/interim/2/return",
        &[("fate", "scrapped"), ("wear", "cracked")],
    )
    .await;
    // One more of each than this test's, but for the reading: the demonstration has had one out there.
    for (table, rows) in [
        ("interim_part", 2),
        ("interim_reading", 1),
        ("interim_off", 2),
        ("interim_return", 2),
    ] {
        assert_eq!(
            sqlx::query_scalar::<_, i64>(sqlx::AssertSqlSafe(format!(
                "select count(*) from {table}"
            )))
            .fetch_one(&app.state.db.read)
            .await
            .expect(table),
            rows,
            "{table}"
        );
        for attempt in [
            format!("update {table} set entered_by = 'x'"),
            format!("delete from {table}"),
        ] {
            let tried = sqlx::query(sqlx::AssertSqlSafe(attempt.clone()))
                .execute(&app.state.db.write)
                .await;
            assert!(tried.is_err(), "{attempt}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_visitor_reads_and_enters_nothing() {
    let mut app = crew().await;
    enter(&mut app, &[]).await;
    app.sign_in(Role::Viewer).await;
    assert_eq!(app.get("/interim").await.status, StatusCode::OK);
    assert!(!app.get("/interim/2").await.contains("/interim/2/off"));
    assert_eq!(app.get("/interim/new").await.status, StatusCode::FORBIDDEN);
    assert_eq!(
        app.post("/interim/2/off", &[]).await.status,
        StatusCode::FORBIDDEN
    );
    app.sign_in(Role::Crew).await;
    for path in ["/interim/3", "/interim/x", "/interim/2/sell"] {
        assert_eq!(app.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}
