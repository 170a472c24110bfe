//! The people of the site as the lead sees them.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::config::Config;
use mendpost_server::routes::Routes;
use mendpost_tests::{Answer, App, between};

use super::start::start_code;
use super::{PASSPHRASE, add, add_as, count, journal, run, try_passphrase};

/// A real site, and its lead's browser.
async fn lead() -> App {
    let mut app = App::with(Config::default(), Routes::default()).await;
    add_as(&app.state, "Ada", Role::Lead).await;
    try_passphrase(&mut app, "Ada", PASSPHRASE).await;
    app.get("/site").await;
    app
}

async fn add_by_form(app: &mut App, name: &str, role: &str) -> Answer {
    let fields = [
        ("name", name),
        ("role", role),
        ("sign_passphrase", PASSPHRASE),
    ];
    app.post("/site/people/new", &fields).await
}

async fn save(app: &mut App, number: i64, name: &str, role: &str) -> Answer {
    let path = format!("/site/people/{number}");
    let page = app.get(&path).await;
    let version = between(&page.body, "name=\"version\" value=\"", "\"").expect("a version");
    let fields = [
        ("name", name),
        ("role", role),
        ("version", version),
        ("sign_passphrase", PASSPHRASE),
    ];
    app.post(&path, &fields).await
}

async fn number_of(app: &App, name: &str) -> i64 {
    sqlx::query_scalar("select number from person where name = ?")
        .bind(name)
        .fetch_one(&app.state.db.read)
        .await
        .expect(name)
}

/// The person gets in by the code that the lead was shown, which no later page shows.
#[tokio::test]
async fn the_lead_adds_a_person_and_hands_over_a_start_code() {
    let mut app = lead().await;
    let page = add_by_form(&mut app, " Bo ", "storekeeper").await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    assert!(page.contains("Hand this code to Bo.") && page.contains("28 Nov 2026"));
    let code = between(&page.body, "<span class=\"lead\">", "<")
        .expect("a code")
        .to_owned();
    let path = format!("/site/people/{}", number_of(&app, "Bo").await);
    let person = app.get(&path).await;
    assert!(person.contains("open until 28 Nov 2026") && !person.contains(&code));

    let mut bo = app.other_browser();
    bo.get("/start").await;
    let new = "lettuce under the green boat";
    let answer = bo
        .post(
            "/start",
            &[
                ("name", "Bo"),
                ("secret-code", &code),
                ("new-passphrase", new),
                ("again-passphrase", new),
            ],
        )
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert!(bo.get("/site").await.contains("Bo, storekeeper"));
    assert!(!super::dump(&app, "journal").await.contains(&code));
}

#[tokio::test]
async fn what_cannot_be_a_person_is_refused_beside_its_field() {
    let mut app = lead().await;
    let before = count(&app, "select count(*) from journal").await;
    let long = "x".repeat(61);
    for (name, role, field, fault) in [
        ("", "crew", "name", "enter something here"),
        (
            &long,
            "crew",
            "name",
            "61 characters are too many; use at most 60",
        ),
        (
            "ada",
            "crew",
            "name",
            "Ada is number 6 already; add a second name or a letter",
        ),
        ("Bo", "", "role", "enter something here"),
        (
            "Bo",
            "boss",
            "role",
            "'boss' is not one of the choices; choose from the list",
        ),
    ] {
        app.get("/site/people/new").await;
        let answer = add_by_form(&mut app, name, role).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
        assert_eq!(answer.field_error(field).map(plain), Some(fault.to_owned()));
        assert!(
            answer.contains(&format!("value=\"{name}\"")),
            "{name} stays"
        );
    }
    assert_eq!(count(&app, "select count(*) from journal").await, before);
}

fn plain(shown: &str) -> String {
    shown.replace("&#39;", "'")
}

/// Who is there by the files of the site has no way in until the lead gives one.
#[tokio::test]
async fn the_site_page_says_who_needs_a_start_code() {
    let mut app = lead().await;
    let page = app.get("/site").await;
    assert!(
        page.contains("Give 5 people a start code."),
        "{}",
        page.body
    );
    assert_eq!(page.body.matches("<td>needs a start code</td>").count(), 5);
    for number in 2..=5 {
        let path = format!("/site/people/{number}/start-code");
        assert_eq!(
            app.post(&path, &[("sign_passphrase", PASSPHRASE)])
                .await
                .status,
            StatusCode::OK
        );
    }
    assert!(
        app.get("/site")
            .await
            .contains("Give Cell lead a start code.")
    );
    app.post(
        "/site/people/1/start-code",
        &[("sign_passphrase", PASSPHRASE)],
    )
    .await;
    assert!(
        app.get("/site")
            .await
            .contains("Change what is no longer so.")
    );

    let mut viewer = App::new().await;
    viewer.sign_in(Role::Viewer).await;
    let page = viewer.get("/site").await;
    assert!(page.contains("Ask Cell lead for a change here."));
    assert!(
        !page.contains("/site/people/"),
        "no way to what a viewer may not"
    );
}

#[tokio::test]
async fn name_and_role_are_changed_with_before_and_after_in_the_journal() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let answer = save(&mut app, 2, "Sprayer one", "checker").await;
    assert_eq!(answer.location(), "/site/people/2", "{}", answer.body);
    let page = app.get("/site/people/2").await;
    assert!(page.contains("Sprayer one is checker.") && page.contains("value=\"Sprayer one\""));
    let entry = journal(&app, "person.changed").await;
    assert_eq!(entry["before"]["name"], "Sprayer");
    assert_eq!(entry["before"]["role"], "crew");
    assert_eq!(entry["after"]["name"], "Sprayer one");
    assert_eq!(entry["after"]["role"], "checker");
    assert_eq!(entry["version"], 2);
    let taken = save(&mut app, 2, "machinist", "crew").await;
    assert_eq!(taken.status, StatusCode::UNPROCESSABLE_ENTITY);
    let fault = "Machinist is number 3 already; add a second name or a letter";
    assert_eq!(taken.field_error("name"), Some(fault));
    assert_eq!(
        app.get("/site/people/99").await.status,
        StatusCode::NOT_FOUND
    );
    assert_eq!(
        app.get("/site/people/x").await.status,
        StatusCode::NOT_FOUND
    );
}

/// Without a lead nobody could let anybody in any more.
#[tokio::test]
async fn the_only_lead_stays_lead_and_stays() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let fault = "Cell lead is the only lead; make somebody else lead first";
    let answer = save(&mut app, 1, "Cell lead", "viewer").await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(answer.field_error("role"), Some(fault));
    let answer = app.post("/site/people/1/leave", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains(fault), "{}", answer.body);
    assert!(
        app.get("/site/people/1")
            .await
            .contains(&format!("Cannot leave: {fault}."))
    );

    // Somebody who has left is no other lead.
    save(&mut app, 2, "Sprayer", "lead").await;
    app.post("/site/people/2/leave", &[]).await;
    let answer = app.post("/site/people/1/leave", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    app.post("/site/people/2/return", &[]).await;
    let answer = save(&mut app, 1, "Cell lead", "crew").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    let answer = app.get("/site/people/1").await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN, "lead no more");
}

/// Sessions are gone from the database at once, codes are void, and the passphrase opens again on return.
#[tokio::test]
async fn who_has_left_is_out_at_once_and_may_come_back() {
    let mut app = lead().await;
    add(&app.state, "Bo").await;
    let number = number_of(&app, "Bo").await;
    let path = |act: &str| format!("/site/people/{number}/{act}");
    let mut bo = app.other_browser();
    try_passphrase(&mut bo, "Bo", PASSPHRASE).await;
    start_code(&app, "Bo").await;
    assert!(
        app.get(&path("")[..path("").len() - 1])
            .await
            .contains("Bo has left")
    );

    app.post(&path("leave"), &[]).await;
    let of_bo =
        "select count(*) from session join person on person.id = person_id where name = 'Bo'";
    assert_eq!(count(&app, of_bo).await, 0);
    let codes =
        "select count(*) from one_time_code join person on person.id = person_id where name = 'Bo'";
    assert_eq!(count(&app, codes).await, 0);
    assert_eq!(bo.get("/site").await.status, StatusCode::SEE_OTHER);
    assert_eq!(journal(&app, "person.left").await["sessions_ended"], 1);
    let refused = try_passphrase(&mut bo, "Bo", PASSPHRASE).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    let refused = app
        .post(&path("start-code"), &[("sign_passphrase", PASSPHRASE)])
        .await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(app.get("/site").await.contains("<td>left</td>"));
    app.post(&path("leave"), &[]).await;
    assert!(app.get("/site").await.contains("Bo has left already."));

    app.post(&path("return"), &[]).await;
    journal(&app, "person.returned").await;
    let back = try_passphrase(&mut bo, "Bo", PASSPHRASE).await;
    assert_eq!(back.status, StatusCode::SEE_OTHER);
}

/// The entry says by whom (the lead) and whose (Bo's).
#[tokio::test]
async fn the_lead_ends_somebodys_sessions() {
    let mut app = lead().await;
    add(&app.state, "Bo").await;
    let number = number_of(&app, "Bo").await;
    let mut bo = app.other_browser();
    try_passphrase(&mut bo, "Bo", PASSPHRASE).await;
    let path = format!("/site/people/{number}/end-sessions");
    app.post(&path, &[("sign_passphrase", PASSPHRASE)]).await;
    assert_eq!(bo.get("/site").await.status, StatusCode::SEE_OTHER);
    let by_whom = "select count(*) from journal
                   join person on lower(hex(person.id)) = replace(actor, '-', '')
                   where kind = 'session.ended' and person.name = 'Ada' and subject_id = '7'";
    assert_eq!((number, count(&app, by_whom).await), (7, 1));
    app.post(&path, &[("sign_passphrase", PASSPHRASE)]).await;
    assert!(app.get("/site").await.contains("Bo is signed in nowhere."));
}

#[tokio::test]
async fn the_demonstration_adds_people_without_codes() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let answer = add_by_form(&mut app, "Bo", "crew").await;
    assert_eq!(answer.location(), "/site");
    assert!(
        app.get("/site")
            .await
            .contains("Bo is crew, and signs in by a button.")
    );
    let page = app.get("/site/people/6").await;
    assert!(page.contains("gives no start codes") && !page.contains("Make a start code"));
    let answer = app
        .post(
            "/site/people/6/start-code",
            &[("sign_passphrase", PASSPHRASE)],
        )
        .await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    let mut bo = app.other_browser();
    assert!(
        bo.get("/sign-in")
            .await
            .contains("Bo <span class=\"caption\">crew")
    );
    run(&app, "delete from session").await;
}

/// A tablet that the lead left open lets nobody in: who adds a person, changes a role or makes a code is
/// asked again who they are.
#[tokio::test]
async fn a_tablet_left_open_lets_nobody_in() {
    let mut app = lead().await;
    add(&app.state, "Bo").await;
    let number = number_of(&app, "Bo").await;
    let path = format!("/site/people/{number}");
    let before = count(&app, "select count(*) from journal").await;
    let fields = [("name", "Bo"), ("role", "lead"), ("version", "1")];
    for (address, fields) in [
        ("/site/people/new", &fields[..2]),
        (path.as_str(), &fields[..]),
        (&format!("{path}/start-code"), &[]),
    ] {
        for typed in ["", "some other passphrase"] {
            let mut fields = fields.to_vec();
            fields.push(("sign_passphrase", typed));
            let answer = app.post(address, &fields).await;
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{address}");
            assert!(
                answer.field_error("sign_passphrase").is_some(),
                "{address}: {}",
                answer.body
            );
            app.wait_minutes(1);
        }
    }
    assert_eq!(
        count(&app, "select count(*) from journal").await,
        before,
        "nothing was changed"
    );

    let answer = save(&mut app, number, "Bo", "lead").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let signed = count(
        &app,
        "select count(*) from signature where meaning = 'let-in'",
    )
    .await;
    assert_eq!(signed, 1);
}
