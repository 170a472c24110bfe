//! A signed handover that was changed behind the service's back is found.

use mendpost_core::people::Role;
use mendpost_server::verify::Fault;
use mendpost_tests::App;
use sqlx::AssertSqlSafe;

use super::{FIRST, hear, other, told};
use crate::verify::tampered;

/// What `verify` finds after a statement that no trigger and no check stops; all is undone.
async fn found(app: &App, statement: &str) -> Result<(), Fault> {
    tampered(app, &[statement], &[]).await.map(|_| ())
}

/// A handover told and taken over, with a line added.
async fn signed() -> App {
    let (mut giver, mut receiver) = told(&[("people_alone", "yes")]).await;
    giver
        .post(
            "/handovers/1/add",
            &[("added", "the ladder is with the harbour")],
        )
        .await;
    hear(&mut receiver, FIRST, &[]).await;
    other(&giver, Role::Lead).await
}

/// One bit of one byte of what was told, at every place of it that a stride of a prime meets; and of what was heard.
#[tokio::test(flavor = "multi_thread")]
async fn any_changed_byte_of_a_signed_handover_is_found() {
    let app = signed().await;
    found(&app, "select 1").await.expect("nothing was changed");
    for (table, column) in [("handover", "told"), ("handover_end", "heard")] {
        let query = format!("select cast({column} as blob) from {table}");
        let stored: Vec<u8> = sqlx::query_scalar(AssertSqlSafe(query))
            .fetch_one(&app.state.db.read)
            .await
            .expect("a handover");
        for (at, bit) in (0..stored.len())
            .step_by(151)
            .zip([0, 3, 1, 5, 2, 4, 6].iter().cycle())
        {
            let mut changed = stored.clone();
            changed[at] ^= 1 << bit;
            let hex: String = changed.iter().map(|byte| format!("{byte:02x}")).collect();
            let statement = format!("update {table} set {column} = cast(x'{hex}' as text)");
            let fault = found(&app, &statement).await.expect_err("a changed byte");
            let said = fault.to_string();
            assert!(said.contains(table), "{column} byte {at} bit {bit}: {said}");
        }
    }
}

/// Every other column, a row taken away, and a row put in.
#[tokio::test(flavor = "multi_thread")]
async fn any_changed_row_of_a_handover_is_found() {
    let app = signed().await;
    for statement in [
        "update handover set risk = 'ordinary'",
        "update handover set told_by = 'Cell lead'",
        "update handover set told_ms = told_ms + 60000",
        "update handover set left_for_reader = 1",
        "update handover_end set ended_by = 'Sprayer'",
        "update handover_end set taken = 0, reason = 'not so'",
        "delete from handover_end",
        "update handover_line set text = 'the ladder is here'",
        "delete from handover_line",
        "update handover_draft set value = 'no' where field = 'people_alone'",
        "update shift set opened_by = 'Sprayer' where number = 2",
        "delete from shift where number = 2",
        "insert into handover_line select journal_sequence + 1, handover, 'all is well', added_by, added_ms from handover_line",
    ] {
        assert!(found(&app, statement).await.is_err(), "{statement}");
    }
}
