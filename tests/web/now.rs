//! What to do now, what the site loses, what is stuck.

use axum::http::StatusCode;
use mendpost_core::lineup::{Place, Work, loss_now};
use mendpost_core::people::Role;
use mendpost_server::lineup::queries;
use mendpost_server::situation;
use mendpost_server::words::work::sentence;
use mendpost_tests::App;

async fn planned() -> App {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    app.plan().await;
    app
}

#[tokio::test(flavor = "multi_thread")]
async fn it_is_the_first_page() {
    let mut app = planned().await;
    let answer = app.get("/").await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/now")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn without_an_order_it_offers_to_plan() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("Plan the order: 37 parts are asked for, and nothing is planned."),
        "{}",
        page.body
    );
    assert!(page.contains("action=\"/line-up/plan\""));
    app.sign_in(Role::Viewer).await;
    assert!(!app.get("/now").await.contains("action=\"/line-up/plan\""));
}

/// The rate is that of the machines down, the next acts are those of the order, and the lot on hold is
/// stuck beside the requests.
#[tokio::test(flavor = "multi_thread")]
async fn it_tells_the_next_act_the_loss_and_what_is_stuck() {
    let mut app = planned().await;
    let page = app.get("/now").await;
    let situation = situation::now(&app.state).await.expect("a situation");
    let rate: i64 = loss_now(&situation)
        .iter()
        .map(|loss| loss.loss_per_hour)
        .sum();
    assert!(
        page.contains(&format!("<span class=\"key-figure\">{rate}</span>")),
        "{rate}"
    );

    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let places = &stored.line_up.places;
    // Of all that has not begun, what begins first.
    let next = |place: &&Place| {
        let ahead = place.work.iter().map(Work::starts);
        ahead.filter(|starts| *starts > situation.now).min()
    };
    let ahead = places.iter().filter(|place| next(place).is_some());
    let first = ahead.min_by_key(next).expect("a place");
    let path = format!(
        "class=\"primary\" href=\"/requests/{}\"",
        &first.request.as_str()[1..]
    );
    assert!(page.contains(&path), "{path} {}", page.body);
    assert!(page.contains("order 1, not accepted yet"));
    assert!(page.contains("Lot L0408"));
    for station in &situation.stations {
        let name = sentence(&station.name);
        assert!(page.contains(&format!("<b>{name}</b>")), "{name}");
    }
}

/// While a stage of the order sprays, the cell says so; when all is over, it is time to plan again.
#[tokio::test(flavor = "multi_thread")]
async fn it_goes_with_the_clock() {
    let mut app = planned().await;
    let stored = queries::latest(&app.state.db.read)
        .await
        .expect("readable")
        .expect("planned");
    let line_up = &stored.line_up;
    let place = line_up.first_spray().expect("something is sprayed");
    let (_, stage) = place.stages().next().expect("a stage");
    app.wait_minutes((stage.start - line_up.now).num_minutes() + 1);
    app.sign_in(Role::Lead).await;
    let page = app.get("/now").await;
    assert!(page.contains("<b>Cell</b><br>spraying"), "{}", page.body);
    assert!(page.contains("The cell sprays the "));

    app.wait_minutes(30 * 24 * 60);
    app.sign_in(Role::Lead).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("Plan again: order 1 has nothing left to do."),
        "{}",
        page.body
    );
}

/// A change since the order, an old order, and a newer one that nobody has accepted are told.
#[tokio::test(flavor = "multi_thread")]
async fn it_tells_when_the_order_is_stale() {
    let mut app = planned().await;
    assert!(
        !app.get("/now")
            .await
            .contains("<form class=\"notice waits\"")
    );
    app.wait_minutes(120);
    assert!(
        app.get("/now")
            .await
            .contains("Order 1 was planned 2 h ago.")
    );

    app.get("/requests/new").await;
    let report = [
        ("asset", "WP1"),
        ("part", "WP-SLEEVE"),
        ("damage", "worn"),
        ("no_date", "yes"),
        ("description", "Grooved under the packing"),
        ("asked_by", "Waterworks"),
        ("danger", "no"),
        ("broken_part", "here"),
    ];
    assert_eq!(
        app.post("/requests/new", &report).await.status,
        StatusCode::SEE_OTHER
    );
    let page = app.get("/now").await;
    assert!(
        page.contains("One change since order 1 was planned, 2 h ago."),
        "{}",
        page.body
    );

    app.post("/line-up/accept", &[("number", "1")]).await;
    app.plan().await;
    let page = app.get("/now").await;
    assert!(
        page.contains("Order 2 is newer and not accepted."),
        "{}",
        page.body
    );
    assert!(page.contains("order 1, accepted"));
}
