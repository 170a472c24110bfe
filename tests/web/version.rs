//! Two tablets with the same form open: the later one overwrites nothing unseen.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, between};

/// The demonstration, with the lead at two tablets.
async fn two_tablets() -> (App, App) {
    let mut first = App::new().await;
    first.sign_in(Role::Lead).await;
    let mut second = first.other_browser();
    second.sign_in(Role::Lead).await;
    (first, second)
}

fn version(page: &Answer) -> String {
    between(&page.body, "name=\"version\" value=\"", "\"")
        .expect("a form with a version")
        .to_owned()
}

async fn save(app: &mut App, name: &str, role: &str, version: &str) -> Answer {
    let fields = [("name", name), ("role", role), ("version", version)];
    app.post("/site/people/2", &fields).await
}

async fn save_site(app: &mut App, cell: &str, height: &str, version: &str) -> Answer {
    let fields = [
        ("name", "Port Ansel"),
        ("cell_name", cell),
        ("zone", "Pacific/Guadalcanal"),
        ("altitude_m", height),
        ("version", version),
    ];
    app.post("/site/edit", &fields).await
}

async fn text(app: &App, query: &'static str) -> String {
    sqlx::query_scalar(query)
        .fetch_one(&app.state.db.read)
        .await
        .expect(query)
}

/// Both open 'Sprayer, crew'. The first makes it 'Sprayer A'; five minutes later the second saves
/// 'Sprayer B': nothing is written, and both versions are shown with who and when.
#[tokio::test]
async fn an_older_form_changes_nothing_and_shows_both_versions() {
    let (mut first, mut second) = two_tablets().await;
    let opened = version(&second.get("/site/people/2").await);
    save(&mut first, "Sprayer A", "crew", &opened).await;
    first.wait_minutes(5);
    let answer = save(&mut second, "Sprayer B", "checker", &opened).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert_eq!(
        text(&first, "select name from person where number = 2").await,
        "Sprayer A"
    );
    assert!(
        answer.contains("Cell lead saved this 5 min ago, 25 Nov 2026 15:40,"),
        "{}",
        answer.body
    );
    assert!(answer.contains("<td>Name</td><td>Sprayer A</td><td>Sprayer B</td><td>differs</td>"));
    assert!(answer.contains("<td>Role</td><td>crew</td><td>checker</td><td>differs</td>"));
    assert!(
        answer.contains("value=\"Sprayer B\""),
        "what was typed is kept"
    );
    assert!(answer.contains("Save mine over it") && answer.contains("Leave it as it stands"));
}

/// The form shown again carries the version that stands, so pressing once more writes.
#[tokio::test]
async fn mine_is_saved_over_theirs_on_purpose() {
    let (mut first, mut second) = two_tablets().await;
    let opened = version(&second.get("/site/people/2").await);
    save(&mut first, "Sprayer A", "crew", &opened).await;
    let shown = save(&mut second, "Sprayer B", "crew", &opened).await;
    assert_ne!(version(&shown), opened);
    let over = save(&mut second, "Sprayer B", "crew", &version(&shown)).await;
    assert_eq!(over.status, StatusCode::SEE_OTHER, "{}", over.body);
    assert_eq!(
        text(&first, "select name from person where number = 2").await,
        "Sprayer B"
    );
}

/// A third change in between is shown once more.
#[tokio::test]
async fn saving_over_is_refused_when_it_changed_yet_again() {
    let (mut first, mut second) = two_tablets().await;
    let opened = version(&second.get("/site/people/2").await);
    save(&mut first, "Sprayer A", "crew", &opened).await;
    let shown = save(&mut second, "Sprayer B", "crew", &opened).await;
    save(&mut first, "Sprayer C", "crew", &version(&shown)).await;
    let again = save(&mut second, "Sprayer B", "crew", &version(&shown)).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.contains("<td>Sprayer C</td><td>Sprayer B</td>"));
}

/// One changed the cell's name, the other the height: not merged, because nobody has seen the two together.
#[tokio::test]
async fn different_fields_are_not_merged_silently() {
    let (mut first, mut second) = two_tablets().await;
    let opened = version(&second.get("/site/edit").await);
    let saved = save_site(&mut first, "Quay cell", "4", &opened).await;
    assert_eq!(saved.location(), "/site", "{}", saved.body);
    let answer = save_site(&mut second, "Harbour cell", "12", &opened).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    for row in [
        "<td>Site</td><td>Port Ansel</td><td>Port Ansel</td><td>the same</td>",
        "<td>Cell</td><td>Quay cell</td><td>Harbour cell</td><td>differs</td>",
        "<td>Height above the sea</td><td>4 m</td><td>12 m</td><td>differs</td>",
    ] {
        assert!(answer.contains(row), "{row} in {}", answer.body);
    }
    assert_eq!(
        text(&first, "select cell_name || altitude_m from site").await,
        "Quay cell4"
    );
}

#[tokio::test]
async fn a_form_without_a_version_that_stands_is_never_current() {
    let (mut first, _) = two_tablets().await;
    for carried in ["", "0", "2", "x", "1.0"] {
        let answer = save(&mut first, "Sprayer A", "crew", carried).await;
        assert_eq!(answer.status, StatusCode::CONFLICT, "{carried}");
    }
    assert_eq!(
        text(&first, "select name from person where number = 2").await,
        "Sprayer"
    );
}

#[tokio::test]
async fn the_sites_facts_are_changed_with_before_and_after_in_the_journal() {
    let (mut first, mut viewer) = two_tablets().await;
    let opened = version(&first.get("/site/edit").await);
    save_site(&mut first, "Quay cell", "1 200", &opened).await;
    let page = first.get("/site").await;
    assert!(page.contains("Port Ansel, Quay cell. Journal") && page.contains("<dd>Quay cell</dd>"));
    let content = text(
        &first,
        "select content from journal where kind = 'site.changed'",
    )
    .await;
    let content: serde_json::Value = serde_json::from_str(&content).expect("JSON");
    assert_eq!(content["before"]["cell_name"], "Harbour cell");
    assert_eq!(content["after"]["altitude_m"], 1200);
    assert_eq!(content["version"], 2);
    viewer.sign_in(Role::Viewer).await;
    assert_eq!(viewer.get("/site/edit").await.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn faults_of_the_sites_facts_stand_beside_their_fields() {
    let (mut app, _) = two_tablets().await;
    let opened = version(&app.get("/site/edit").await);
    let good = [
        ("name", "Port Ansel"),
        ("cell_name", "Quay cell"),
        ("zone", "Pacific/Guadalcanal"),
        ("altitude_m", "4"),
    ];
    let long = "x".repeat(81);
    for (field, typed, fault) in [
        ("name", " ", "enter something here"),
        (
            "cell_name",
            &long,
            "81 characters are too many; use at most 80",
        ),
        (
            "zone",
            "Veyra",
            "&#39;Veyra&#39; is no time zone; give a name as Pacific/Port_Moresby",
        ),
        (
            "altitude_m",
            "9000",
            "9\u{202f}000 is out of range; enter -500 to 6\u{202f}000",
        ),
    ] {
        let mut fields: Vec<(&str, &str)> = good
            .iter()
            .map(|(name, value)| (*name, if *name == field { typed } else { *value }))
            .collect();
        fields.push(("version", &opened));
        let answer = app.post("/site/edit", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert_eq!(answer.field_error(field), Some(fault));
    }
    assert_eq!(
        text(&app, "select cell_name from site").await,
        "Harbour cell"
    );
}
