//! Several tablets at once, and forms that are sent twice.

use axum::http::StatusCode;
use mendpost_tests::{number, once_number};

use super::{draw, grams, replayed, with_clean_feeder};

/// L0406-1 holds 1 400 g. Eight tablets pour 300 g each at the same moment: four have it, 1 200 g in all, and four
/// are told that 200 g are left; no movement is lost or doubled.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn eight_draw_at_once_and_nothing_is_overdrawn() {
    let app = with_clean_feeder().await;
    let tablets: Vec<_> = (0..8)
        .map(|_| {
            let mut tablet = app.same_browser();
            tokio::spawn(async move { draw(&mut tablet, "L0406-1", "trial", 300).await.status })
        })
        .collect();
    let mut drawn = 0;
    for tablet in tablets {
        match tablet.await.expect("an answer") {
            StatusCode::SEE_OTHER => drawn += 1,
            status => assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY),
        }
    }
    assert_eq!(drawn, 4);
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 200);
    assert_eq!(grams(&app, "feeder", "L0406").await, 1_200);
    let entered = "select count(*) from movement m join lot l on l.id = m.lot_id
                   where l.code = 'L0406' and m.reason = 'draw'";
    assert_eq!(number(&app, entered).await, Some(4));
    replayed(&app).await;
}

/// A double tap, eight times over, is one movement with one answer.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_form_sent_many_times_draws_once() {
    let app = with_clean_feeder().await;
    let once = once_number();
    let taps: Vec<_> = (0..8)
        .map(|_| {
            let (mut tablet, once) = (app.same_browser(), once.clone());
            tokio::spawn(async move {
                let fields = [
                    ("container", "L0406-1"),
                    ("for", "trial"),
                    ("before", "3000"),
                    ("after", "2700"),
                    ("division", "10"),
                    ("closed", "yes"),
                    ("reason", "the crew chose it"),
                    ("once", once.as_str()),
                ];
                tablet
                    .post("/feeder/draw", &fields)
                    .await
                    .location()
                    .to_owned()
            })
        })
        .collect();
    for tap in taps {
        assert_eq!(tap.await.expect("an answer"), "/feeder");
    }
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 1_100);
    replayed(&app).await;
}
