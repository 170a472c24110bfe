//! Receiving: what came against what was expected, lot by lot; each fault beside its field, and nothing typed lost.

mod bottles;
mod certificate;
mod form;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::book::{balances, replay};
use mendpost_server::situation;
use mendpost_tests::{Answer, App, altered, number, text};

const NEW: &str = "/receiving/new";

/// The boat comes as expected but for 1 000 g of aluminium: two bottles of 5 500 g (gross 5 920, tare 420), nickel,
/// six bottles of gas of which one is bent and refused, 100 L of fuel, and no nozzles.
const BOAT: &[(&str, &str)] = &[
    ("delivery", "BOAT-7"),
    ("seen", "0"),
    ("received_at", "2026-11-25 02:10"),
    ("note", "the mate signed for it"),
    ("d0_refused", ""),
    ("d0_note", ""),
    ("d1_refused", ""),
    ("d1_note", ""),
    ("d2_came", "6"),
    ("d2_damaged", "1"),
    ("d2_fate", "refused"),
    ("d2_note", "valve bent"),
    ("d3_came", "100"),
    ("d3_damaged", ""),
    ("d3_fate", ""),
    ("d3_note", ""),
    ("d4_came", "0"),
    ("d4_damaged", ""),
    ("d4_fate", ""),
    ("d4_note", "left on the quay"),
    ("l0_code", "L0416"),
    ("l0_powder", "AL6061"),
    ("l0_maker_lot", "AL-2301"),
    ("l0_storage", "cabinet A"),
    ("l0_made_on", "2026-09-01"),
    ("l0_date_kind", "retest"),
    ("l0_use_by", "2027-09-01"),
    ("l0_humidity_min", ""),
    ("l0_humidity_max", "45"),
    ("l0_c0_code", ""),
    ("l0_c0_gross", "5920"),
    ("l0_c0_tare", "420"),
    ("l0_c0_net", "5500"),
    ("l0_c0_seal", "S9001"),
    ("l0_c0_seal_state", "whole"),
    ("l0_c0_damage", ""),
    ("l0_c1_code", "AL-BOTTLE-2"),
    ("l0_c1_gross", "5920"),
    ("l0_c1_tare", "420"),
    ("l0_c1_net", ""),
    ("l0_c1_seal", "S9002"),
    ("l0_c1_seal_state", "broken"),
    ("l0_c1_damage", "lid dented"),
    ("l0_maker", "Light metal powder works"),
    ("l0_number", "C-2301"),
    ("l0_dated", "2026-09-08"),
    ("l0_certificate_lot", ""),
    ("l0_specification", "PS-AL-03"),
    ("l0_revision", "C"),
    ("l0_d10", "18"),
    ("l0_d50", "32,5"),
    ("l0_d90", "52"),
    ("l0_flow", ""),
    ("l0_moisture", "0.03"),
    ("l0_statement", ""),
    ("l0_e0_symbol", "Al"),
    ("l0_e0_found", "97.4"),
    ("l0_e0_min", ""),
    ("l0_e0_max", ""),
    ("l0_e1_symbol", "Mg"),
    ("l0_e1_found", "1.02"),
    ("l0_e1_min", "0.8"),
    ("l0_e1_max", "1.2"),
    ("l1_code", "L0417"),
    ("l1_powder", "NI625"),
    ("l1_maker_lot", "NI-0107"),
    ("l1_c0_code", "NI-1"),
    ("l1_c0_net", "1000"),
    ("do", "receive"),
];

/// The same with some fields typed otherwise, or besides.
fn with<'a>(typed: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    altered(BOAT, typed)
}

async fn receive(app: &mut App, typed: &[(&str, &str)]) -> Answer {
    app.post(NEW, &with(typed)).await
}

const JOURNAL: &str = "select count(*) from journal";

/// The journal alone makes the same book as the tables.
async fn book_holds(app: &App) {
    let made = replay(&app.state.db.read).await.expect("a database");
    let made = made.expect("every entry can be");
    let mut made: Vec<_> = made
        .all()
        .map(|(place, lot, mass)| (place.clone(), lot.clone(), mass))
        .collect();
    made.sort();
    let tables = balances(&app.state.db.read).await.expect("balances");
    let tables: Vec<_> = tables
        .into_iter()
        .map(|it| (it.place, it.lot, it.mass))
        .collect();
    assert_eq!(made, tables);
}

/// Two lots wait in quarantine with all that was said of them, the boat has come, what is missing is named, and the
/// plan neither counts on the boat any more nor on powder that nobody has released.
#[tokio::test]
async fn a_delivery_is_received_as_one_receipt() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let form = app.get("/receiving/new?delivery=BOAT-7").await;
    assert_eq!(form.status, StatusCode::OK);
    assert!(form.contains("value=\"L0416\"") && form.contains("value=\"L0417\""));
    assert!(form.contains("12\u{202f}000 g expected") && form.contains("6 bottles expected"));
    assert!(form.contains("empty: L0416-1"), "the label is suggested");

    let answer = receive(&mut app, &[]).await;
    assert_eq!(
        answer.location(),
        "/receiving/receipts/1",
        "{}",
        answer.body
    );
    let page = app.get("/receiving/receipts/1").await;
    for said in [
        "Check the certificates of L0416 and L0417, and release them.",
        "11\u{202f}000 g",
        "5\u{202f}500 g damaged, set aside",
        "1 bottle refused; valve bent",
        "left on the quay",
        "the mate signed for it",
        "href=\"/cell\"",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }

    let lots = "select group_concat(code || ' ' || state || ' ' || date_kind || ' ' || coalesce(humidity_max, '-'), ', ')
                from lot where receipt_id is not null order by code";
    assert_eq!(
        text(&app, lots).await.as_deref(),
        Some("L0416 quarantine retest 45, L0417 quarantine use-by -")
    );
    let cans = "select group_concat(code || ' ' || seal || ' ' || (milligrams / 1000), ', ') from
                (select c.code, k.seal, c.milligrams from container_now c join container k on k.id = c.container_id
                 join lot l on l.id = c.lot_id where l.receipt_id is not null order by c.code)";
    assert_eq!(
        text(&app, cans).await.as_deref(),
        Some("AL-BOTTLE-2 S9002 5500, L0416-1 S9001 5500, NI-1  1000"),
        "net as told, else gross less tare; without a label the lot's number"
    );
    // Of 12 000 g 11 000 came, half of it damaged; of 6 bottles 5 were taken in; nothing of the nozzles.
    let lines = "select group_concat(taken || '/' || damaged || '/' || refused, ' ') from
                 (select r.* from receipt_line r join delivery_line d on d.id = r.delivery_line_id order by d.position)";
    assert_eq!(
        text(&app, lines).await.as_deref(),
        Some("11000/5500/0 1000/0/0 5/0/1 100000/0/0 0/0/0")
    );
    let moved = "select count(*) from journal where kind = 'lot.received' and subject_id in ('L0416', 'L0417')
                 and json_array_length(content, '$.moved') = case subject_id when 'L0416' then 2 else 1 end";
    assert_eq!(number(&app, moved).await, Some(2));
    book_holds(&app).await;

    let delivery = app.get("/receiving/deliveries/BOAT-7").await;
    assert!(delivery.contains("Ask for what the supply boat did not bring."));
    for missing in [
        "1\u{202f}000 g of Al 6061",
        "1 bottle of nitrogen",
        "two nozzles",
    ] {
        assert!(delivery.contains(missing), "{missing}: {}", delivery.body);
    }
    let situation = situation::now(&app.state).await.expect("a site");
    assert!(
        situation
            .deliveries
            .iter()
            .all(|it| it.code.as_str() != "BOAT-7")
    );
    let lot = situation
        .lots
        .iter()
        .find(|lot| lot.code.as_str() == "L0416");
    assert_eq!(lot.map(|lot| lot.state.as_str()), Some("quarantine"));
    app.sign_in(Role::Lead).await;
    app.plan().await;
    assert_eq!(app.get("/line-up").await.status, StatusCode::OK);

    let lot = app.get("/powder/L0416").await;
    for said in [
        "Retest by",
        "cabinet A",
        "keep at 45 % humidity or less",
        "receipt 1",
        "seal S9002, broken",
        "damaged: lid dented",
        "gross 5\u{202f}920 g, tare 420 g",
        "C-2301, 2026-09-08",
        "PS-AL-03, revision C",
        "32.5 µm",
        "1.02 %; allows 0.8 to 1.2 %",
    ] {
        assert!(lot.contains(said), "{said}: {}", lot.body);
    }
}

/// What is still missing comes a day later: it is asked for alone, and then nothing is missing.
#[tokio::test]
async fn the_rest_comes_later() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    receive(&mut app, &[]).await;
    app.wait_minutes(1440);
    app.sign_in(Role::Storekeeper).await;
    let form = app.get("/receiving/new?delivery=BOAT-7").await;
    assert!(form.contains("1\u{202f}000 g expected") && form.contains("1 bottle expected"));
    assert!(
        !form.contains("value=\"NI625\" selected"),
        "its nickel came"
    );
    let rest = [
        ("delivery", "BOAT-7"),
        ("seen", "1"),
        ("received_at", "2026-11-26 02:00"),
        ("d2_came", "1"),
        ("d4_came", "1"),
        ("l0_code", "L0418"),
        ("l0_powder", "AL6061"),
        ("l0_c0_net", "1200"),
        ("do", "receive"),
    ];
    let answer = app.post(NEW, &rest).await;
    assert_eq!(
        answer.location(),
        "/receiving/receipts/2",
        "{}",
        answer.body
    );
    let page = app.get("/receiving/receipts/2").await;
    assert!(!page.contains("still missing.</p>"), "{}", page.body);
    let all = app.get("/receiving").await;
    assert!(all.contains("arrived, all of it"), "{}", all.body);
    // 11 000 + 1 200 g of 12 000 came: 200 too many.
    let delivery = app.get("/receiving/deliveries/BOAT-7").await;
    assert!(delivery.contains("200 g too many"), "{}", delivery.body);
    book_holds(&app).await;
}

/// Powder that somebody brought along, without a delivery.
#[tokio::test]
async fn powder_comes_without_a_delivery() {
    let mut app = App::signed_in(Role::Lead).await;
    let form = app.get(NEW).await;
    assert!(form.contains("Receive what came without a delivery."));
    let fields = [
        ("received_at", "2026-11-25 02:00"),
        ("l0_code", "26/0417"),
        ("l0_powder", "CUAL10"),
        ("l0_c0_net", "2500"),
        ("do", "receive"),
    ];
    let answer = app.post(NEW, &fields).await;
    assert_eq!(
        answer.location(),
        "/receiving/receipts/1",
        "{}",
        answer.body
    );
    let page = app.get("/powder/26%2F0417").await;
    assert!(page.contains("26/0417-1") && page.contains("2\u{202f}500 g"));
    assert!(page.contains("None is on record."), "no certificate yet");
}

/// Sent twice, as by a second tap, it is one receipt, and both get the same answer.
#[tokio::test]
async fn a_form_sent_twice_books_once() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let fields = with(&[("once", "the number of this form")]);
    let first = app.post(NEW, &fields).await;
    let again = app.post(NEW, &fields).await;
    assert_eq!(first.location(), "/receiving/receipts/1", "{}", first.body);
    assert_eq!(again.location(), first.location(), "{}", again.body);
    let cans = "select count(*) from container where code in ('L0416-1', 'AL-BOTTLE-2', 'NI-1')";
    assert_eq!(number(&app, cans).await, Some(3));
    assert_eq!(number(&app, "select count(*) from receipt").await, Some(1));
}

/// Two tablets have the same delivery open. The second is told who was quicker and keeps what was typed; sent again
/// knowing that, it is a receipt of its own.
#[tokio::test]
async fn two_tablets_receive_the_same_delivery() {
    let mut ada = App::signed_in(Role::Storekeeper).await;
    let mut bo = ada.other_browser();
    bo.sign_in(Role::Lead).await;
    let first = receive(&mut ada, &[]).await;
    assert_eq!(first.location(), "/receiving/receipts/1", "{}", first.body);
    let before = number(&bo, JOURNAL).await;
    let other = [
        ("l0_code", "L0420"),
        ("l0_c1_code", "B-2"),
        ("l1_code", "L0421"),
        ("l1_c0_code", "B-3"),
    ];
    let late = receive(&mut bo, &other).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.contains("was received meanwhile by") && late.contains("receipt 1"));
    for kept in [
        "value=\"L0420\"",
        "value=\"S9001\"",
        "value=\"32,5\"",
        "name=\"seen\" value=\"1\"",
    ] {
        assert!(late.contains(kept), "{kept}: {}", late.body);
    }
    assert_eq!(number(&bo, JOURNAL).await, before, "nothing was booked");
    let knowing = [other.as_slice(), &[("seen", "1")]].concat();
    let sent = receive(&mut bo, &knowing).await;
    assert_eq!(sent.location(), "/receiving/receipts/2", "{}", sent.body);
}

/// The storekeeper and the lead enter what came; everybody may look at it.
#[tokio::test]
async fn only_who_answers_for_powder_receives() {
    for role in [Role::Crew, Role::Checker, Role::Viewer] {
        let mut app = App::signed_in(role).await;
        assert_eq!(app.get(NEW).await.status, StatusCode::FORBIDDEN, "{role}");
        assert_eq!(
            receive(&mut app, &[]).await.status,
            StatusCode::FORBIDDEN,
            "{role}"
        );
        let list = app.get("/receiving").await;
        assert_eq!(list.status, StatusCode::OK);
        assert!(
            list.contains("supply boat") && !list.contains("Receive it"),
            "{role}"
        );
        let one = app.get("/receiving/deliveries/BOAT-7").await;
        assert_eq!(one.status, StatusCode::OK);
        assert_eq!(number(&app, "select count(*) from receipt").await, Some(0));
    }
    let mut app = App::signed_in(Role::Storekeeper).await;
    assert!(
        app.get("/receiving")
            .await
            .contains("/receiving/new?delivery=BOAT-7")
    );
    for none in [
        "/receiving/new?delivery=SHIP",
        "/receiving/deliveries/SHIP",
        "/receiving/receipts/9",
    ] {
        assert_eq!(app.get(none).await.status, StatusCode::NOT_FOUND, "{none}");
    }
}

/// The boat is expected on day 6 at 10:00: from the day before on Now says so, until it has come.
#[tokio::test]
async fn now_tells_of_a_delivery_that_is_due() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    assert!(!app.get("/now").await.contains("The supply boat is due."));
    app.wait_minutes(6 * 1440);
    app.sign_in(Role::Storekeeper).await;
    let now = app.get("/now").await;
    assert!(
        now.contains("The supply boat is due.") && now.contains("/receiving/deliveries/BOAT-7")
    );
    receive(&mut app, &[]).await;
    assert!(!app.get("/now").await.contains("The supply boat is due."));
}
