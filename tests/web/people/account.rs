//! One's own account: passphrase, sessions, recovery codes.

use axum::http::header::{CONTENT_TYPE, USER_AGENT};
use axum::http::{Method, StatusCode};
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, FORM, between, form, request};

use super::{PASSPHRASE, app, count, journal, try_passphrase};

const NEW: &str = "lettuce under the green boat";

async fn change(app: &mut App, old: &str, new: &str, again: &str) -> Answer {
    app.post(
        "/account/passphrase",
        &[
            ("passphrase", old),
            ("new-passphrase", new),
            ("again-passphrase", again),
        ],
    )
    .await
}

async fn make_codes(app: &mut App, passphrase: &str) -> Answer {
    app.post(
        "/account/recovery-codes",
        &[("codes-passphrase", passphrase)],
    )
    .await
}

/// Signs Ada in from a device that calls itself so.
async fn sign_in_on(app: &App, agent: &str) -> App {
    let mut browser = app.other_browser();
    browser.get("/sign-in").await;
    let body = form(&[
        ("name", "Ada"),
        ("passphrase", PASSPHRASE),
        ("csrf", &browser.token),
    ]);
    let sign_in = request(Method::POST, "/sign-in")
        .header(CONTENT_TYPE, FORM)
        .header(USER_AGENT, agent);
    let answer = browser.send(sign_in, &body).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    browser.get("/account").await;
    browser
}

async fn is_in(browser: &mut App) -> bool {
    browser.get("/site").await.status == StatusCode::OK
}

#[tokio::test]
async fn the_name_at_the_head_of_every_page_leads_to_the_account() {
    let mut app = App::new().await;
    app.sign_in(Role::Checker).await;
    let head = "<a class=\"head-person\" href=\"/account\">";
    for path in ["/site", "/now", "/powder", "/no-such-page"] {
        assert!(app.get(path).await.contains(head), "{path}");
    }
    assert!(
        app.get("/pages")
            .await
            .contains("href=\"/account\">Account")
    );
    let page = app.get("/account").await;
    assert!(page.contains("<h2>Machinist</h2>") && page.contains("<dd>checker</dd>"));
    assert!(page.contains("file a request") && !page.contains("set up the site"));
}

/// The old one must be right; then the new one opens and the old does not, other sessions end, and this
/// one goes on under a new id.
#[tokio::test]
async fn changing_the_passphrase_ends_the_other_sessions() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    let mut other = sign_in_on(&app, "").await;
    app.get("/account").await;
    let before = app.cookie("session").expect("signed in").to_owned();

    let wrong = change(&mut app, "copper under steel", NEW, NEW).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    let expected = "this is not your passphrase; type the one that you sign in with";
    assert_eq!(wrong.field_error("passphrase"), Some(expected));
    assert!(is_in(&mut other).await, "nothing was done");

    let done = change(&mut app, PASSPHRASE, NEW, NEW).await;
    assert_eq!(
        (done.status, done.location()),
        (StatusCode::SEE_OTHER, "/account")
    );
    let page = app.get("/account").await;
    assert!(
        page.contains("Your other sessions have ended"),
        "{}",
        page.body
    );
    assert_ne!(app.cookie("session"), Some(before.as_str()));
    assert!(!is_in(&mut other).await);
    let entry = journal(&app, "person.passphrase-set").await;
    assert_eq!(entry["sessions_ended"], 2);

    app.post("/sign-out", &[]).await;
    let old = try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    assert_eq!(old.status, StatusCode::UNPROCESSABLE_ENTITY);
    let new = try_passphrase(&mut app, "Ada", NEW).await;
    assert_eq!(new.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn faults_of_a_new_passphrase_stand_beside_their_fields() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    app.get("/account").await;
    for (old, new, again, field) in [
        ("", NEW, NEW, "passphrase"),
        (PASSPHRASE, "short", "short", "new-passphrase"),
        (PASSPHRASE, "Ada Ada Ada Ada Ada", "", "new-passphrase"),
        (PASSPHRASE, NEW, PASSPHRASE, "again-passphrase"),
    ] {
        let answer = change(&mut app, old, new, again).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(answer.field_error(field).is_some(), "{field}");
        assert!(!answer.contains(NEW) && !answer.contains(PASSPHRASE));
    }
    let set = "select count(*) from journal where kind = 'person.passphrase-set'";
    assert_eq!(count(&app, set).await, 0);
}

/// Somebody at a tablet left open guesses no faster than at sign-in.
#[tokio::test]
async fn guessing_the_old_passphrase_is_slowed_down() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    app.get("/account").await;
    for _ in 0..2 {
        change(&mut app, "a first wrong guess", NEW, NEW).await;
    }
    make_codes(&mut app, "a third wrong guess").await;
    let answer = change(&mut app, PASSPHRASE, NEW, NEW).await;
    assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(answer.header("retry-after"), Some("1"));
}

#[tokio::test]
async fn sessions_are_told_apart_and_ended_one_by_one() {
    let app = app().await;
    let mut laptop = sign_in_on(
        &app,
        "Mozilla/5.0 (X11; Linux x86_64) Chrome/142.0.0.0 Safari/537.36",
    )
    .await;
    let mut tablet = sign_in_on(&app, "Mozilla/5.0 (Android 14; Tablet) Firefox/145.0").await;
    let page = laptop.get("/account").await;
    assert!(page.contains("Chromium on Linux") && page.contains("Firefox on Android"));
    assert_eq!(page.body.matches("name=\"session\"").count(), 1);
    assert_eq!(page.body.matches("<b>this one</b>").count(), 1);
    let of_tablet = between(&page.body, "name=\"session\" value=\"", "\"").expect("one to end");

    laptop
        .post("/account/sessions/end", &[("session", of_tablet)])
        .await;
    assert!(is_in(&mut laptop).await && !is_in(&mut tablet).await);
    let entry = journal(&app, "session.ended").await;
    assert_eq!(
        (&entry["which"], &entry["count"]),
        (&"one".into(), &1.into())
    );

    laptop.get("/account").await;
    for key in [of_tablet, "", "00", "zz", "0g0g"] {
        laptop
            .post("/account/sessions/end", &[("session", key)])
            .await;
        assert!(
            laptop.get("/account").await.contains("Nothing to end."),
            "{key}"
        );
    }
}

#[tokio::test]
async fn nobody_ends_a_session_of_somebody_else() {
    let app = app().await;
    super::add(&app.state, "Bo").await;
    let mut ada = sign_in_on(&app, "").await;
    let key: String = sqlx::query_scalar(
        "select lower(hex(token_hash)) from session where person_id is not null",
    )
    .fetch_one(&app.state.db.read)
    .await
    .expect("a session");
    let mut bo = app.other_browser();
    try_passphrase(&mut bo, "Bo", PASSPHRASE).await;
    bo.get("/account").await;
    bo.post("/account/sessions/end", &[("session", &key)]).await;
    assert!(bo.get("/account").await.contains("Nothing to end."));
    bo.post("/account/sessions/end-others", &[]).await;
    assert!(is_in(&mut ada).await);
}

#[tokio::test]
async fn all_others_and_all_sessions_are_ended_at_once() {
    let app = app().await;
    let mut first = sign_in_on(&app, "").await;
    let mut second = sign_in_on(&app, "").await;
    let mut third = sign_in_on(&app, "").await;
    first.post("/account/sessions/end-others", &[]).await;
    assert!(first.get("/account").await.contains("2 sessions ended."));
    assert!(!is_in(&mut second).await && !is_in(&mut third).await);

    let mut second = sign_in_on(&app, "").await;
    let answer = first.post("/sign-out/everywhere", &[]).await;
    assert_eq!(answer.location(), "/sign-in");
    assert!(!is_in(&mut first).await && !is_in(&mut second).await);
    assert_eq!(journal(&app, "session.ended").await["which"], "all");
    let left = "select count(*) from session where person_id is not null";
    assert_eq!(count(&app, left).await, 0);
}

/// Eight codes, shown once; each opens once; new ones make those before void.
#[tokio::test]
async fn recovery_codes_are_shown_once_and_work_once() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    assert!(
        app.get("/account")
            .await
            .contains("No recovery code is left.")
    );
    let first = codes(&make_codes(&mut app, PASSPHRASE).await);
    let page = make_codes(&mut app, PASSPHRASE).await;
    assert!(page.contains("<dd>Ada</dd>") && page.contains("<dd>Port Ansel, Harbour cell</dd>"));
    let second = codes(&page);
    assert!(
        app.get("/account")
            .await
            .contains("8 recovery codes are left.")
    );

    let void = enter(&app, &first[0]).await;
    assert_eq!(void.status, StatusCode::UNPROCESSABLE_ENTITY, "void");
    app.wait_minutes(60 * 24 * 365);
    let opened = enter(&app, &second[0]).await;
    assert_eq!(opened.status, StatusCode::SEE_OTHER, "after a year");
    let entry = journal(&app, "person.passphrase-set").await;
    assert_eq!(entry["by"], "recovery code");
    let again = enter(&app, &second[0]).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY, "used up");

    try_passphrase(&mut app, "Ada", NEW).await;
    assert!(
        app.get("/account")
            .await
            .contains("7 recovery codes are left.")
    );
    for table in ["journal", "one_time_code", "answered", "session"] {
        let text = super::dump(&app, table).await;
        for code in first.iter().chain(&second) {
            assert!(!text.contains(code) && !text.contains(&code.replace('-', "")));
        }
    }
}

async fn enter(app: &App, code: &str) -> Answer {
    app.wait_minutes(1);
    let mut browser = app.other_browser();
    browser.get("/start").await;
    browser
        .post(
            "/start",
            &[
                ("name", "Ada"),
                ("secret-code", code),
                ("new-passphrase", NEW),
                ("again-passphrase", NEW),
            ],
        )
        .await
}

/// The codes that a page shows.
fn codes(page: &Answer) -> Vec<String> {
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    let parts = page.body.split("<span class=\"lead\">").skip(1);
    let codes: Vec<String> = parts
        .filter_map(|part| part.split_once('<').map(|(code, _)| code.to_owned()))
        .collect();
    assert_eq!(codes.len(), 8, "{}", page.body);
    codes
}

/// The same form sent twice makes one set of codes, and does not show them again.
#[tokio::test]
async fn a_form_sent_twice_makes_one_set_of_codes() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    app.get("/account").await;
    let fields = [
        ("codes-passphrase", PASSPHRASE),
        ("once", "0123456789abcdef0123"),
    ];
    let shown = codes(&app.post("/account/recovery-codes", &fields).await);
    let again = app.post("/account/recovery-codes", &fields).await;
    assert_eq!(
        (again.status, again.location()),
        (StatusCode::SEE_OTHER, "/account")
    );
    assert!(
        app.get("/account")
            .await
            .contains("The codes were shown once.")
    );
    let opened = enter(&app, &shown[7]).await;
    assert_eq!(opened.status, StatusCode::SEE_OTHER, "the first set stands");
}

#[tokio::test]
async fn the_demonstration_has_no_passphrase_to_change() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let page = app.get("/account").await;
    assert!(page.contains("The demonstration asks for no passphrase: a button signs in."));
    assert!(!page.contains("new-passphrase") && !page.contains("Make 8"));
    let refused = change(&mut app, "", NEW, NEW).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert_eq!(make_codes(&mut app, "").await.status, StatusCode::CONFLICT);
    let answer = app.post("/sign-out/everywhere", &[]).await;
    assert_eq!(answer.location(), "/sign-in", "sessions end there too");
}
