//! Taking a handover over, refusing it, and adding to it.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{number, text};
use serde_json::Value;

use super::{FIRST, WRITE, all_heard, hear, names, on_shift, other, tell, told};

/// Read line by line and seen, the lead takes it over: the next shift is on, and no screen says any more that it
/// waits. What was seen stays on record beside what was told.
#[tokio::test]
async fn a_handover_is_taken_over() {
    let (mut giver, mut receiver) = told(&[]).await;
    let answer = hear(&mut receiver, FIRST, &[]).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    let page = giver.get("/now").await;
    assert!(!page.contains("IS NOT TAKEN OVER"), "{}", page.body);
    let shift = text(
        &giver,
        "select opened_by || ' ' || handover from shift where number = 2",
    )
    .await;
    assert_eq!(shift.as_deref(), Some("Cell lead 1"));
    let page = receiver.get(FIRST).await;
    for said in [
        "was taken over by Cell lead",
        "as told",
        "agrees",
        "Heard, checked, mine",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert!(!page.contains("_heard\""), "it is not heard twice");
}

/// Nobody takes over what they told themselves: not by the page, which offers no form, and not by sending one; the
/// database refuses it too.
#[tokio::test]
async fn the_giver_does_not_take_it_over() {
    let (mut giver, mut receiver) = told(&[]).await;
    let page = giver.get(FIRST).await;
    assert!(!page.contains(&format!("{FIRST}/hear")), "{}", page.body);
    let fields = all_heard(&receiver.get(FIRST).await);
    let answer = super::send(&mut giver, &format!("{FIRST}/hear"), &fields).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer.contains("you told this handover yourself"),
        "{}",
        answer.body
    );
    assert_eq!(
        number(&giver, "select count(*) from handover_end").await,
        Some(0)
    );
    let past = sqlx::query(
        "insert into handover_end (number, taken, heard, reason, ended_by, person_id, ended_ms, journal_sequence)
         select number, 1, '{}', '', told_by, person_id, told_ms, journal_sequence from handover",
    );
    let fault = past
        .execute(&giver.state.db.write)
        .await
        .expect_err("a trigger")
        .to_string();
    assert!(
        fault.contains("nobody takes over their own handover"),
        "{fault}"
    );
}

/// Every line that is not ticked, every fact not seen or not judged keeps it from being taken over, and is named.
#[tokio::test]
async fn every_item_is_heard() {
    let (_, mut receiver) = told(&[]).await;
    let page = receiver.get(FIRST).await;
    let asked: Vec<String> = names(&page)
        .into_iter()
        .filter(|it| {
            ["_heard", "_seen", "_agrees"]
                .iter()
                .any(|end| it.ends_with(end))
        })
        .collect();
    // Ten places, the feeder's rest, eight guards and seven further items; five facts with two fields each.
    let heard = asked.iter().filter(|it| it.ends_with("_heard")).count();
    assert!(heard >= 25, "{asked:?}");
    for field in &asked {
        let answer = hear(&mut receiver, FIRST, &[(field, "")]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(
            answer.contains(&format!("href=\"#{field}\"")),
            "{field}: {}",
            answer.body
        );
    }
    assert_eq!(
        number(&receiver, "select count(*) from handover_end").await,
        Some(0)
    );
}

/// Where what is seen differs from what was told, it is settled in words, or refused.
#[tokio::test]
async fn what_differs_is_settled() {
    let (_, mut receiver) = told(&[]).await;
    let answer = hear(
        &mut receiver,
        FIRST,
        &[("bank-N1_agrees", "no"), ("bank-N1_seen", "17 bar")],
    )
    .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.field_error("settled").is_some(), "{}", answer.body);
    assert!(answer.contains("17 bar"), "what was typed stays");
    let settled = [
        ("bank-N1_agrees", "no"),
        ("bank-N1_seen", "17 bar"),
        ("settled", "valve shut by hand, bank closed off"),
    ];
    let answer = hear(&mut receiver, FIRST, &settled).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    let page = receiver.get(FIRST).await;
    assert!(
        page.contains("17 bar") && page.contains("valve shut by hand"),
        "{}",
        page.body
    );
}

/// At the higher risk it is talked over at the machine and read back in the receiver's own words; at the ordinary
/// one neither is asked.
#[tokio::test]
async fn the_higher_risk_is_read_back() {
    let (_, mut receiver) = told(&[("people_alone", "yes")]).await;
    for field in ["read_back", "talked"] {
        let answer = hear(&mut receiver, FIRST, &[(field, "")]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    let answer = hear(&mut receiver, FIRST, &[]).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    let heard = text(&receiver, "select heard from handover_end")
        .await
        .expect("heard");
    let heard: Value = serde_json::from_str(&heard).expect("JSON");
    assert_eq!(
        heard["read_back"],
        "nobody starts the mill without its guard"
    );
    let (_, mut receiver) = told(&[]).await;
    assert!(!names(&receiver.get(FIRST).await).contains(&"read_back".to_owned()));
}

/// Read at 15:35, and opened at 15:40: every reading is 65 minutes old. The receiver reads each again.
#[tokio::test]
async fn stale_readings_are_read_again_by_the_receiver() {
    let (mut giver, mut receiver) = told(&[]).await;
    giver.wait_minutes(60);
    let page = receiver.get(FIRST).await;
    assert!(page.contains("too old"), "{}", page.body);
    let answer = hear(&mut receiver, FIRST, &[("fuel_again", "")]).await;
    let fault = answer.field_error("fuel_again").expect("a fault");
    assert_eq!(
        fault,
        "read 65 min ago, and 60 min are allowed; read it yourself"
    );
    let answer = hear(&mut receiver, FIRST, &[("fuel_again", "398 L")]).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    let page = giver.get(FIRST).await;
    assert!(
        page.contains("Read again:") && page.contains("Fuel 398 L"),
        "{}",
        page.body
    );
}

/// A handover in whose stored record nobody spoke on a guard cannot be taken over: it is refused and told anew.
#[tokio::test]
async fn a_blank_guard_is_not_taken_over() {
    let (_, mut receiver) = told(&[]).await;
    receiver.past_the_journal = true;
    let mut writer = receiver.state.db.write.acquire().await.expect("the writer");
    for statement in [
        "drop trigger handover_stays",
        "update handover set told = json_set(told, '$.record.guards[3].off', json('null'))",
    ] {
        sqlx::query(statement)
            .execute(&mut *writer)
            .await
            .expect(statement);
    }
    drop(writer);
    let answer = hear(&mut receiver, FIRST, &[]).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer.contains("nobody said whether this safeguard is off"),
        "{}",
        answer.body
    );
}

/// Refused with a reason it waits no more; what was written is still there, and it is told anew under the next number.
#[tokio::test]
async fn a_refused_handover_is_told_anew() {
    let (mut giver, mut receiver) = told(&[]).await;
    let answer = receiver
        .post("/handovers/1/refuse", &[("reason", "")])
        .await;
    assert!(answer.field_error("reason").is_some(), "{}", answer.body);
    let why = [("reason", "the collector runs, and you say it stands")];
    let answer = receiver.post("/handovers/1/refuse", &why).await;
    assert_eq!(answer.location(), WRITE, "{}", answer.body);
    let answer = hear(&mut receiver, FIRST, &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT, "{}", answer.body);
    let page = giver.get(FIRST).await;
    assert!(page.contains("the collector runs"), "{}", page.body);
    let page = giver.get(WRITE).await;
    assert!(
        page.contains("dust may blow in at the door"),
        "{}",
        page.body
    );
    let answer = tell(&mut giver, &[]).await;
    assert_eq!(answer.location(), "/handovers/2", "{}", answer.body);
    assert_eq!(number(&giver, "select count(*) from shift").await, Some(1));
}

/// Left for reader, it is the first page of whoever signs in next and may take it over, wherever they wanted to go.
#[tokio::test]
async fn what_is_left_for_a_reader_is_opened_first() {
    let (giver, _) = told(&[("left_for_reader", "yes")]).await;
    let signs_in = async |number: &str| {
        let mut app = giver.other_browser();
        app.get("/sign-in").await;
        let fields = [("person", number), ("next", "/powder")];
        app.post("/sign-in/demonstration", &fields)
            .await
            .location()
            .to_owned()
    };
    let role = async |role: &str| {
        let query = match role {
            "lead" => "select number from person where role = 'lead' limit 1",
            _ => "select number from person where role = 'viewer' limit 1",
        };
        number(&giver, query).await.expect("a person").to_string()
    };
    let (lead, viewer) = (role("lead").await, role("viewer").await);
    assert_eq!(signs_in(&lead).await, FIRST);
    assert_eq!(signs_in(&viewer).await, "/powder");
    let mut app = giver.other_browser();
    app.sign_in(Role::Lead).await;
    assert!(app.get(FIRST).await.contains("it was left for you"));
    hear(&mut app, FIRST, &[]).await;
    assert_eq!(signs_in(&lead).await, "/powder");
}

/// What was forgotten is added with name and time; what was told stays as it was, byte for byte.
#[tokio::test]
async fn a_handover_is_added_to_and_never_edited() {
    let (mut giver, mut receiver) = told(&[]).await;
    let before = text(&giver, "select told from handover").await;
    let answer = giver.post("/handovers/1/add", &[("added", " ")]).await;
    assert!(answer.field_error("added").is_some(), "{}", answer.body);
    giver
        .post(
            "/handovers/1/add",
            &[("added", "the ladder is with the harbour")],
        )
        .await;
    hear(&mut receiver, FIRST, &[]).await;
    receiver
        .post("/handovers/1/add", &[("added", "it is back")])
        .await;
    let page = giver.get(FIRST).await;
    for said in [
        "the ladder is with the harbour",
        "it is back",
        "Added since",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    assert_eq!(text(&giver, "select told from handover").await, before);
    let change = sqlx::query("update handover set told_by = 'somebody else'");
    assert!(change.execute(&giver.state.db.write).await.is_err());
}

/// A form sent twice takes it over once, and opens one shift.
#[tokio::test]
async fn sent_twice_it_is_taken_over_once() {
    let (_, mut receiver) = told(&[]).await;
    let mut fields = all_heard(&receiver.get(FIRST).await);
    fields.insert("once".to_owned(), mendpost_tests::once_number());
    for _ in 0..2 {
        let answer = super::send(&mut receiver, &format!("{FIRST}/hear"), &fields).await;
        assert_eq!(answer.location(), "/handover", "{}", answer.body);
    }
    assert_eq!(
        number(&receiver, "select count(*) from shift").await,
        Some(2)
    );
}

/// Who only looks tells and takes over nothing, and reads everything.
#[tokio::test]
async fn a_viewer_reads_and_signs_nothing() {
    let (giver, mut receiver) = told(&[]).await;
    let fields = all_heard(&receiver.get(FIRST).await);
    let mut viewer = other(&giver, Role::Viewer).await;
    let page = viewer.get(FIRST).await;
    assert!(
        page.contains("dust may blow in at the door") && !page.contains("/hear\""),
        "{}",
        page.body
    );
    let answer = super::send(&mut viewer, &format!("{FIRST}/hear"), &fields).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert_eq!(
        viewer.get("/handovers/9").await.status,
        StatusCode::NOT_FOUND
    );
    assert_eq!(
        viewer.get("/handovers/x").await.status,
        StatusCode::NOT_FOUND
    );
    let page = on_shift().await.get("/handover").await;
    assert!(!page.contains("IS NOT TAKEN OVER"));
}
