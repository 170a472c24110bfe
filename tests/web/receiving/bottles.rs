//! Full bottles that came: they wait until somebody joins them to a bank and reads its gauge.

use mendpost_core::people::Role;
use mendpost_server::change::verify_journal;
use mendpost_server::situation;
use mendpost_tests::{Answer, App, altered, between, number};

use super::receive;

const PATH: &str = "/cell/bottles";

/// Three of the five sound bottles of the boat join N1 for two empty ones; all open, its gauge shows 110 bar.
const JOIN: [(&str, &str); 6] = [
    ("bank", "N1"),
    ("bottles", "3"),
    ("taken_off", "2"),
    ("pressure", "110"),
    ("scale", "bar-gauge"),
    ("temperature", "24"),
];

async fn join(app: &mut App, of: &str, otherwise: &[(&str, &str)]) -> Answer {
    let mut fields = altered(&JOIN, otherwise);
    fields.push(("of", of));
    app.post(PATH, &fields).await
}

/// What waits, as the form knows it.
async fn waiting(app: &mut App) -> String {
    let page = app.get(PATH).await;
    let key = between(&page.body, "<option value=\"nitrogen-", "\"").expect("bottles wait");
    format!("nitrogen-{key}")
}

async fn bottles(app: &App, bank: &str) -> (i64, i64) {
    let site = situation::now(&app.state).await.expect("a site");
    let bank = site.banks.iter().find(|it| it.code.as_str() == bank);
    let bank = bank.expect("a bank");
    (bank.bottles, bank.pressure_mbar)
}

/// Six came, one of them bent and refused: five wait, and no plan counts with them. Three joined, the bank has one
/// more, holds what was read, and two wait still.
#[tokio::test]
async fn what_came_waits_until_it_joins_a_bank() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    assert!(app.get(PATH).await.contains("No full bottles wait."));
    let (before, pressure) = bottles(&app, "N1").await;
    receive(&mut app, &[]).await;
    let page = app.get("/cell").await;
    assert!(
        page.contains("Full bottles wait: 5 of nitrogen, 50 L at"),
        "{}",
        page.body
    );
    assert_eq!(bottles(&app, "N1").await, (before, pressure));
    let of = waiting(&mut app).await;
    let answer = join(&mut app, &of, &[]).await;
    assert_eq!(answer.location(), "/cell", "{}", answer.body);
    // 110 bar over the air of the sea's height.
    assert_eq!(bottles(&app, "N1").await, (before + 1, 111_013));
    let page = app.get("/cell").await;
    assert!(
        page.contains("Full bottles wait: 2 of nitrogen"),
        "{}",
        page.body
    );
    let told =
        "select json_extract(content, '$.after') - json_extract(content, '$.before') from journal
                where kind = 'bank.joined'";
    assert_eq!(number(&app, told).await, Some(1));
    let rest = [("bottles", "2"), ("taken_off", "")];
    let answer = join(&mut app, &of, &rest).await;
    assert_eq!(answer.location(), "/cell", "{}", answer.body);
    assert!(!app.get("/cell").await.contains("Full bottles wait"));
    let journal = verify_journal(&app.state.db.read).await;
    assert!(journal.expect("a journal").is_ok());
}

/// Each fault stands beside its field, what was typed is kept, and nothing has joined.
#[tokio::test]
async fn what_is_wrong_of_them_is_told_beside_its_field() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    receive(&mut app, &[]).await;
    let of = waiting(&mut app).await;
    for (field, typed) in [
        ("bank", ""),
        ("bank", "N9"),
        ("bottles", "6"),
        ("bottles", "0"),
        ("bottles", "some"),
        ("taken_off", "1001"),
        ("pressure", ""),
        ("pressure", "900"),
        ("scale", "feet"),
        ("temperature", "hot"),
    ] {
        let answer = join(&mut app, &of, &[(field, typed)]).await;
        assert_eq!(answer.status, 422, "{field} {typed}");
        assert!(
            answer.field_error(field).is_some(),
            "{field} {typed}: {}",
            answer.body
        );
    }
    let answer = join(&mut app, "helium-50000-201013", &[]).await;
    assert!(answer.field_error("of").is_some(), "{}", answer.body);
    let joined = "select count(*) from bottle_move where bottles < 0";
    assert_eq!(number(&app, joined).await, Some(0));
    app.sign_in(Role::Viewer).await;
    assert_eq!(app.get(PATH).await.status, 403);
}
