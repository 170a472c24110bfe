//! Getting in by a code.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::change::{Actor, Change};
use mendpost_server::people::roster;
use mendpost_tests::{Answer, App};

use super::{app, count, journal, run, try_passphrase};

const NEW: &str = "lettuce under the green boat";

/// The code as it is shown.
pub async fn start_code(app: &App, name: &str) -> String {
    let mut change = Change::begin(&app.state, Actor::Mendpost)
        .await
        .expect("the writer is free");
    let start = roster::welcome(&mut change, name, Role::Crew)
        .await
        .expect("a start code");
    change.commit().await.expect("a journalled change");
    start.code.to_string()
}

async fn enter(app: &mut App, name: &str, code: &str, new: &str, again: &str) -> Answer {
    app.get("/start").await;
    app.post(
        "/start",
        &[
            ("name", name),
            ("secret-code", code),
            ("new-passphrase", new),
            ("again-passphrase", again),
        ],
    )
    .await
}

/// Typed in small letters without hyphens it is the same code; afterwards the passphrase opens, and the
/// code no longer does.
#[tokio::test]
async fn a_start_code_lets_in_once_and_sets_the_passphrase() {
    let mut app = app().await;
    let code = start_code(&app, "Bo").await;
    let typed = code.replace('-', "").to_lowercase();
    let answer = enter(&mut app, " bo ", &typed, NEW, NEW).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/account"),
        "{}",
        answer.body
    );
    let page = app.get("/site").await;
    assert!(page.contains("Bo, crew") && page.contains("the code is used up"));
    app.post("/sign-out", &[]).await;

    let again = enter(&mut app, "Bo", &code, NEW, NEW).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY, "used up");
    let signed_in = try_passphrase(&mut app, "Bo", NEW).await;
    assert_eq!(signed_in.status, StatusCode::SEE_OTHER);
}

/// Wrong code, wrong name, somebody else's code, a lapsed one, one made void by a later, and one of
/// somebody who has left: all read the same, change nothing, and keep the name that was typed.
#[tokio::test]
async fn refusals_do_not_tell_what_was_wrong() {
    let mut app = app().await;
    let void = start_code(&app, "Bo").await;
    let code = start_code(&app, "Bo").await;
    let of_cy = start_code(&app, "Cy").await;
    let of_gone = start_code(&app, "Gone").await;
    run(&app, "update person set active = 0 where name = 'Gone'").await;
    let before = count(&app, "select count(*) from journal").await;
    let mut cases = vec![
        ("Bo", "ABCD-EFGH-JKMN-PQRS-TUVW-XYZ2".to_owned()),
        ("Bo", void),
        ("Bo", of_cy.clone()),
        ("Nobody", of_cy),
        ("Gone", of_gone),
    ];
    for (name, code) in cases.drain(..) {
        refused(&mut app, name, &code).await;
    }
    // Seventy-two hours are over when they are full.
    app.wait_minutes(72 * 60);
    refused(&mut app, "Bo", &code).await;
    assert_eq!(count(&app, "select count(*) from journal").await, before);
}

async fn refused(app: &mut App, name: &str, code: &str) {
    app.wait_minutes(1);
    let answer = enter(app, name, code, NEW, NEW).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
    let expected = "name and code do not belong together, or the code was used, has lapsed or was made \
                    void; try again, or ask the lead for a new one";
    assert_eq!(answer.field_error("secret-code"), Some(expected), "{name}");
    assert!(answer.contains(&format!("value=\"{name}\"")));
    assert!(!answer.contains(NEW), "the passphrase is not shown again");
}

/// The day before the end it still works.
#[tokio::test]
async fn a_start_code_lasts_three_days() {
    let mut app = app().await;
    let code = start_code(&app, "Bo").await;
    app.wait_minutes(72 * 60 - 1);
    let answer = enter(&mut app, "Bo", &code, NEW, NEW).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

/// A passphrase that cannot be taken costs neither the code nor a try.
#[tokio::test]
async fn faults_stand_beside_their_fields_and_cost_no_try() {
    let mut app = app().await;
    let code = start_code(&app, "Bo").await;
    let guessable = "this is among the first that a guesser tries; use four words that do not belong \
                     together, none of them a name from here";
    for (name, code, new, again, field, text) in [
        ("", code.as_str(), NEW, NEW, "name", "enter something here"),
        ("Bo", "", NEW, NEW, "secret-code", "enter something here"),
        (
            "Bo",
            &code,
            "too short",
            "too short",
            "new-passphrase",
            "9 characters are too few; use at least 15, four words make a good one",
        ),
        (
            "Bo",
            &code,
            "passwordpassword",
            "passwordpassword",
            "new-passphrase",
            guessable,
        ),
        (
            "Bo",
            &code,
            "Port Ansel Port Ansel",
            "Port Ansel Port Ansel",
            "new-passphrase",
            guessable,
        ),
        (
            "Bo",
            &code,
            NEW,
            "lettuce over the green boat",
            "again-passphrase",
            "the two differ; type the same again",
        ),
    ] {
        let answer = enter(&mut app, name, code, new, again).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(answer.field_error(field), Some(text));
    }
    let answer = enter(&mut app, "Bo", &code, NEW, NEW).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

/// Tries here and at sign-in count together, by name.
#[tokio::test]
async fn guessing_codes_is_slowed_down_as_guessing_passphrases_is() {
    let mut app = app().await;
    let code = start_code(&app, "Ada").await;
    for _ in 0..2 {
        enter(&mut app, "Ada", "ABCD", NEW, NEW).await;
    }
    try_passphrase(&mut app, "Ada", "guess").await;
    let answer = enter(&mut app, "Ada", &code, NEW, NEW).await;
    assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(answer.header("retry-after"), Some("1"));
    let expected = "too many tries for this name; wait 1 s, then try again";
    assert_eq!(answer.field_error("secret-code"), Some(expected));
}

/// Whoever was signed in as this person is out, and a session planted before is worth nothing after.
#[tokio::test]
async fn starting_anew_ends_the_persons_other_sessions() {
    let mut app = app().await;
    try_passphrase(&mut app, "Ada", super::PASSPHRASE).await;
    assert_eq!(app.get("/site").await.status, StatusCode::OK);

    let mut other = app.other_browser();
    let code = start_code(&app, "Ada").await;
    other.get("/start").await;
    let planted = other.cookie("session").expect("a visitor's").to_owned();
    assert_eq!(
        enter(&mut other, "Ada", &code, NEW, NEW).await.status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(other.get("/site").await.status, StatusCode::OK);
    assert_ne!(other.cookie("session"), Some(planted.as_str()));
    assert_eq!(app.get("/site").await.status, StatusCode::SEE_OTHER);
    assert_eq!(
        journal(&app, "person.passphrase-set").await["by"],
        "start code"
    );
}

#[tokio::test]
async fn the_demonstration_asks_for_no_code() {
    let mut app = App::new().await;
    let page = app.get("/start").await;
    assert!(page.contains("The demonstration asks for no code and no passphrase."));
    assert!(!page.contains("secret-code"));
    let answer = enter(&mut app, "Cell lead", "ABCD", NEW, NEW).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
}

/// The journal and the tables hold neither code nor passphrase, in no spelling.
#[tokio::test]
async fn no_secret_is_kept_in_the_clear() {
    let mut app = app().await;
    let code = start_code(&app, "Bo").await;
    enter(&mut app, "Bo", &code, NEW, NEW).await;
    let plain = code.replace('-', "");
    for table in ["journal", "one_time_code", "person", "session"] {
        let text = super::dump(&app, table).await;
        for secret in [code.as_str(), plain.as_str(), NEW] {
            assert!(!text.contains(secret), "{table}");
        }
    }
}
