//! Trips: a delivery's vehicle, what it may carry and when it comes.

use axum::http::StatusCode;
use mendpost_core::resupply::{Mode, Trip};
use mendpost_server::resupply::trip::queries;
use mendpost_tests::{App, number, site, text};

use super::{refuses_each, send, storekeeper};

const NEW: &str = "/resupply/trips/new";

/// A lorry of which 12.5 in a hundred stay free.
const LORRY: [(&str, &str); 15] = [
    ("code", "ROAD-1"),
    ("name", "lorry over the hill road"),
    ("mode", "road"),
    ("payload_kg", "1200"),
    ("reserve_percent", "12.5"),
    ("volume_l", "9000"),
    ("longest_mm", "4000"),
    ("heaviest_kg", "300"),
    ("dangerous", "yes"),
    ("closes", "2026-12-04T12:00"),
    ("earliest", "2026-12-05T08:00"),
    ("usual", "2026-12-05T16:00"),
    ("latest", "2026-12-07T18:00"),
    ("takes_back", "empty bottles"),
    ("must_go", "N2-50 4\r\nGLOVE-12 1\r\n"),
];

async fn trips(app: &App) -> Vec<Trip> {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    queries::all(&mut reading).await.expect("trips")
}

/// The boat takes 600 kg and keeps 5 % free: 600 000 g x 950 / 1 000 = 570 000 g.
#[tokio::test]
async fn a_trip_says_what_it_takes_and_until_when() {
    let mut app = storekeeper().await;
    let all = trips(&app).await;
    let codes: Vec<&str> = all.iter().map(|trip| trip.code.as_str()).collect();
    assert_eq!(codes, ["BOAT-7", "AIR-3"]);
    assert_eq!((all[0].mode, all[1].mode), (Mode::Sea, Mode::Air));
    assert_eq!(all[0].mass_limit_g(), 570_000);
    let page = app.get("/resupply/trips/BOAT-7").await;
    for said in [
        "Load at most 570 kg (1256.6 lb) by 29 Nov 2026 12:00.",
        "600 kg (1322.8 lb)",
        "5 %",
        "3\u{202f}000 mm",
        "MASK-20 filters for masks, P3",
        "1 Dec 2026 10:00",
        "empty bottles and drums",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
}

/// Its delivery comes with it: the line-up counts with the usual arrival. 1 200 kg x 0.875 = 1 050 kg.
#[tokio::test]
async fn a_trip_is_announced_with_its_delivery() {
    let mut app = storekeeper().await;
    let answer = send(&mut app, NEW, &LORRY, &[]).await;
    assert_eq!(
        answer.location(),
        "/resupply/trips/ROAD-1",
        "{}",
        answer.body
    );
    let all = trips(&app).await;
    let lorry = all
        .iter()
        .find(|it| it.code.as_str() == "ROAD-1")
        .expect("it");
    assert_eq!(all[2].code, lorry.code, "by usual arrival");
    assert_eq!(lorry.mass_limit_g(), 1_050_000);
    let must_go: Vec<(String, i64)> = lorry
        .must_go
        .iter()
        .map(|(of, n)| (of.to_string(), *n))
        .collect();
    assert_eq!(
        must_go,
        [("N2-50".to_owned(), 4), ("GLOVE-12".to_owned(), 1)]
    );
    let site = site(&app).await;
    let delivery = site
        .deliveries
        .iter()
        .find(|it| it.code == lorry.code)
        .expect("a delivery");
    assert_eq!(delivery.expected, lorry.usual);
    assert_eq!(delivery.latest, Some(lorry.latest));
    assert_eq!(delivery.payload_kg, Some(1_200));
}

/// Said anew, the trip and its delivery move together; a stale form moves neither.
#[tokio::test]
async fn a_trip_and_its_delivery_move_together() {
    let mut app = storekeeper().await;
    let path = "/resupply/trips/AIR-3/change";
    let page = app.get(path).await;
    assert!(page.contains(">PT-CROSSHEAD 1</textarea>"), "{}", page.body);
    let later = [
        ("code", ""),
        ("version", "1"),
        ("mode", "air"),
        ("name", "twin-engined aircraft"),
    ];
    for (version, due) in [("1", StatusCode::SEE_OTHER), ("1", StatusCode::CONFLICT)] {
        let mut fields = later.to_vec();
        fields[1].1 = version;
        let answer = send(&mut app, path, &LORRY, &fields).await;
        assert_eq!(answer.status, due, "{}", answer.body);
    }
    let delivery = "select name || ' ' || (expected_ms = (select usual_ms from trip_said s where s.delivery_id = d.id
                      and s.version = 2)) || ' ' || payload_kg from delivery d where code = 'AIR-3'";
    assert_eq!(
        text(&app, delivery).await.as_deref(),
        Some("twin-engined aircraft 1 1200")
    );
    let versions = "select count(*) from journal where kind = 'trip.said' and subject_id = 'AIR-3'";
    assert_eq!(number(&app, versions).await, Some(2));
}

/// Every field says what is wrong with it, and times stand in their order; nothing is announced.
#[tokio::test]
async fn a_fault_of_each_field_stands_beside_it() {
    let mut app = storekeeper().await;
    let wrong = [
        ("code", ""),
        ("code", "BOAT-7"),
        ("code", "a/b"),
        ("mode", ""),
        ("mode", "rail"),
        ("payload_kg", "0"),
        ("payload_kg", "1.5"),
        ("reserve_percent", "90.1"),
        ("reserve_percent", "12.55"),
        ("volume_l", ""),
        ("longest_mm", "0"),
        ("heaviest_kg", "much"),
        ("dangerous", ""),
        ("closes", "2026-12-05T08:01"),
        ("closes", ""),
        ("earliest", "soon"),
        ("usual", "2026-12-05T07:59"),
        ("latest", "2026-12-05T15:59"),
        ("must_go", "GOLD 1"),
        ("must_go", "N2-50"),
        ("must_go", "N2-50 0"),
        ("must_go", "N2-50 1\nN2-50 2"),
    ];
    let kept = "value=\"lorry over the hill road\"";
    refuses_each(&mut app, NEW, &LORRY, &wrong, kept).await;
    let nameless = send(&mut app, NEW, &LORRY, &[("name", "")]).await;
    assert!(nameless.field_error("name").is_some(), "{}", nameless.body);
    let passed = [
        ("closes", "2026-11-20T12:00"),
        ("earliest", "2026-11-21T12:00"),
        ("usual", "2026-11-22T12:00"),
        ("latest", "2026-11-25T14:40"),
    ];
    let passed = send(&mut app, NEW, &LORRY, &passed).await;
    assert!(passed.field_error("latest").is_some(), "{}", passed.body);
    assert_eq!(trips(&app).await.len(), 2);
}

/// A trip that is over is no longer changed, whether it came or not.
#[tokio::test]
async fn a_trip_that_is_over_is_no_longer_changed() {
    let mut app = storekeeper().await;
    for (state, over) in [
        (
            "arrived",
            "update delivery set state = 'arrived' where code = 'BOAT-7'",
        ),
        (
            "cancelled",
            "update delivery set state = 'cancelled' where code = 'BOAT-7'",
        ),
    ] {
        sqlx::query(over)
            .execute(&app.state.db.write)
            .await
            .expect("a state");
        let open = app.get("/resupply/trips/BOAT-7/change").await;
        assert_eq!(open.status, StatusCode::CONFLICT);
        assert!(
            open.contains(&format!("BOAT-7 is {state}")),
            "{}",
            open.body
        );
        let fields = [("version", "1"), ("code", "")];
        app.get("/resupply/trips").await;
        let fields = mendpost_tests::altered(&LORRY, &fields);
        let saved = app.post("/resupply/trips/BOAT-7/change", &fields).await;
        assert_eq!(saved.status, StatusCode::CONFLICT);
        let page = app.get("/resupply/trips/BOAT-7").await;
        assert!(!page.contains("/change"), "{}", page.body);
    }
    assert_eq!(trips(&app).await.len(), 1);
}
