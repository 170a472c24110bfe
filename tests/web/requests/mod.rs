//! Reading requests, and reporting a damaged part.

mod answers;
mod arrival;
pub(crate) mod course;
mod entries;
mod filing;
mod photos;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::lineup::queries;
use mendpost_tests::{Answer, App, SentFile, number, text};

/// The demonstration, planned once, before the crew's eyes.
async fn planned() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    app.plan().await;
    app
}

/// A report that is right in every field: generating set 1 has run until now.
const REPORT: [(&str, &str); 20] = [
    ("asset", "GS1"),
    ("part", "GS-FANHUB"),
    ("part_name", ""),
    ("damage", "damaged"),
    ("down_since", "2026-11-25T13:00"),
    ("fails_at", ""),
    ("no_date", ""),
    ("take_off_at", ""),
    ("description", "Two blades gone, hub cracked 40 mm"),
    ("danger", "yes"),
    ("asked_by", "Power station foreman"),
    ("needed_by", "2026-11-27T12:00"),
    ("broken_part", "arrives"),
    ("arrives_at", "2026-11-25T18:30"),
    ("spare", "yes"),
    ("spare_where", "mainland depot, shelf 4"),
    ("base_metal", "AL"),
    ("base_metal_known", "assumed"),
    ("tag", "a-0417"),
    ("mass", "3.25"),
];

/// The report with some fields typed otherwise, as a page without photos sends it.
async fn report(app: &mut App, otherwise: &[(&str, &str)]) -> Answer {
    report_with(app, otherwise, &[]).await
}

/// The same with photos.
async fn report_with(app: &mut App, otherwise: &[(&str, &str)], photos: &[SentFile<'_>]) -> Answer {
    app.get("/requests/new").await;
    let mut fields = REPORT;
    for (name, value) in otherwise {
        let field = fields.iter_mut().find(|(known, _)| known == name);
        field.expect("a field of the form").1 = value;
    }
    app.post_files("/requests/new", &fields, photos).await
}

async fn journal_length(app: &App) -> i64 {
    number(app, "select count(*) from journal")
        .await
        .expect("a count")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_list_tells_every_open_request_dearest_first() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let page = app.get("/requests").await;
    assert!(
        page.contains("Plan the order: 37 parts asked for"),
        "{}",
        page.body
    );
    app.plan().await;

    let page = app.get("/requests").await;
    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let (placed, gated) = (stored.line_up.places.len(), stored.line_up.waiting.len());
    assert_eq!(placed + gated, 37);
    let expected = format!("Rebuild {placed} of 37 parts asked for; {gated} wait at a gate.");
    assert!(page.contains(&expected), "{}", page.body);
    let rates: Vec<i64> = page
        .body
        .split("<td class=\"figure decides\">")
        .skip(1)
        .map(|rest| {
            rest.split('<')
                .next()
                .and_then(|rate| rate.parse().ok())
                .expect("a rate")
        })
        .collect();
    assert_eq!(rates.len(), 37);
    assert!(rates.is_sorted_by(|dear, cheap| dear >= cheap), "{rates:?}");
}

/// Each request has a page: those with a place show the lots and grams that the order draws, those at
/// a gate show every gate and what opens it.
#[tokio::test(flavor = "multi_thread")]
async fn a_request_tells_its_work_or_all_its_gates() {
    let mut app = planned().await;
    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    for place in &stored.line_up.places {
        let page = app
            .get(&format!("/requests/{}", &place.request.as_str()[1..]))
            .await;
        assert_eq!(page.status, StatusCode::OK);
        assert!(page.contains(&format!("Place {}, its steps", place.number)));
        for (_, stage) in place.stages() {
            for share in &stage.lots {
                assert!(
                    page.contains(&share.lot) || share.lot.contains('/'),
                    "{}",
                    share.lot
                );
            }
        }
        assert!(page.contains("licensed person responsible"));
    }
    for waiting in &stored.line_up.waiting {
        let page = app
            .get(&format!("/requests/{}", &waiting.request.as_str()[1..]))
            .await;
        assert_eq!(page.status, StatusCode::OK);
        assert!(page.contains("<h1>Open a gate for "), "{}", page.body);
    }
    // R5 is too large for the booth and too heavy for what turns it: both are told.
    let page = app.get("/requests/5").await;
    assert!(
        page.contains("size, ") && page.contains("mass, "),
        "{}",
        page.body
    );
    // R8 and R9 are of one pump, which is back with the later of them.
    let page = app.get("/requests/8").await;
    assert!(page.contains("Its machine also waits for") && page.contains("href=\"/requests/9\""));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_is_not_there_is_not_found() {
    let mut app = planned().await;
    for number in ["38", "0", "-1", "x", "1x", "99999999999999999999", "%C3%A4"] {
        let page = app.get(&format!("/requests/{number}")).await;
        assert_eq!(page.status, StatusCode::NOT_FOUND, "{number}");
    }
    assert_eq!(
        app.get("/requests/R8").await.status,
        StatusCode::OK,
        "as it is said aloud"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_visitor_reads_and_reports_nothing() {
    let mut app = planned().await;
    app.sign_in(Role::Viewer).await;
    let page = app.get("/requests").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(!page.contains("Report a damaged part"));
    assert_eq!(app.get("/requests/new").await.status, StatusCode::FORBIDDEN);
    assert_eq!(
        app.post("/requests/new", &REPORT).await.status,
        StatusCode::FORBIDDEN
    );
    assert_eq!(
        number(&app, "select max(number) from request").await,
        Some(37)
    );
}
