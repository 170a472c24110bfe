//! The clock against a watch: sequence is truth, time a claim.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::App;

async fn last_entry(app: &App) -> (i64, String) {
    sqlx::query_as("select sequence, kind from journal order by sequence desc limit 1")
        .fetch_one(&app.state.db.read)
        .await
        .expect("an entry")
}

const DOUBT: &str = "The clock is in doubt.";

/// All entries of the demonstration are of one moment.
#[tokio::test(flavor = "multi_thread")]
async fn a_new_demonstration_has_no_doubt() {
    let mut app = App::signed_in(Role::Lead).await;
    assert!(!app.get("/now").await.contains(DOUBT));
    app.wait_minutes(24 * 60);
    app.sign_in(Role::Lead).await;
    assert!(!app.get("/now").await.contains(DOUBT), "a day is believed");
    assert!(app.get("/clock").await.contains("Believe the clock."));
}

/// 15:40, then 3 days later: the last entry is 3 days old. The watch agrees, and that is the end of it.
#[tokio::test(flavor = "multi_thread")]
async fn a_clock_far_ahead_is_confirmed_against_a_watch() {
    let mut app = App::signed_in(Role::Viewer).await;
    app.wait_minutes(3 * 24 * 60);
    app.sign_in(Role::Viewer).await;
    let page = app.get("/now").await;
    let (last, _) = last_entry(&app).await;
    assert!(
        page.contains(&format!("The last entry, journal {last}, is 3 d old.")),
        "{}",
        page.body
    );
    assert!(page.contains("Ask somebody of the crew to confirm it."));
    assert!(!page.contains("action=\"/clock\""));
    let refused = app.post("/clock", &[("watch", "2026-11-28T15:40")]).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);

    app.sign_in(Role::Storekeeper).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("name=\"watch\" type=\"datetime-local\" value=\"\""),
        "{}",
        page.body
    );
    let answer = app.post("/clock", &[("watch", "2026-11-28T15:38")]).await;
    assert_eq!(answer.location(), "/now");
    let page = app.get("/now").await;
    assert!(
        page.contains("The clock agrees with the watch"),
        "{}",
        page.body
    );
    assert!(!page.contains(DOUBT));
    assert_eq!(
        last_entry(&app).await,
        (last + 1, "clock.confirmed".to_owned())
    );
    assert!(!app.get("/now").await.contains(DOUBT));
}

/// Two hours and ten minutes back, an entry in between: the doubt stands between the two entries, also
/// once the clock has passed the first one's time again. Confirmed within two minutes it is gone.
#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_went_back_is_doubted_until_the_watch_agrees() {
    let mut app = App::signed_in(Role::Lead).await;
    app.wait_minutes(180);
    app.post("/cell/reading", &[("fuel", "400")]).await;
    let (before, _) = last_entry(&app).await;
    app.wait_minutes(-130);
    let page = app.get("/now").await;
    let stands =
        format!("It stands 2 h 10 min before the time of the last entry, journal {before}.");
    assert!(page.contains(&stands), "{}", page.body);
    app.post("/requests/new", &[]).await;
    app.plan().await;
    let (after, kind) = last_entry(&app).await;
    assert!(after > before, "{kind}");
    app.wait_minutes(200);
    let page = app.get("/now").await;
    let between = format!(
        "It went back by 2 h 10 min between journal {before} and {}.",
        before + 1
    );
    assert!(page.contains(&between), "{}", page.body);

    // At the start it was 15:40; 180 - 130 + 200 = 250 minutes later it is 19:50. The watch says 22:00.
    app.post("/clock", &[("watch", "2026-11-25T22:00")]).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("The clock is 2 h 10 min behind the watch.")
            && page.contains("Set the machine’s clock forward by 2 h 10 min"),
        "{}",
        page.body
    );
    assert!(page.contains(DOUBT), "it stays until both agree");
    assert_eq!(last_entry(&app).await.1, "clock.found-wrong");

    app.wait_minutes(130);
    app.post("/clock", &[("watch", "2026-11-25T22:03")]).await;
    assert!(
        app.get("/now")
            .await
            .contains("The clock is 3 min behind the watch.")
    );
    app.post("/clock", &[("watch", "2026-11-25T22:02")]).await;
    assert!(!app.get("/now").await.contains(DOUBT));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_time_that_is_none_is_told_beside_the_field() {
    let mut app = App::signed_in(Role::Lead).await;
    app.wait_minutes(3 * 24 * 60);
    app.sign_in(Role::Lead).await;
    let last = last_entry(&app).await;
    for (typed, fault) in [
        ("", "enter something here"),
        (
            "half past two",
            "&#39;half past two&#39; is not a date and time",
        ),
    ] {
        let answer = app.post("/clock", &[("watch", typed)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        let told = answer.field_error("watch").unwrap_or_default();
        assert!(told.starts_with(fault), "{told}");
        assert!(answer.contains(&format!("value=\"{typed}\"")));
        assert!(answer.contains(DOUBT));
    }
    assert_eq!(last_entry(&app).await, last, "nothing was kept");
}
