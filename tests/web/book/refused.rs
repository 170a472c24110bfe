//! What the database itself refuses, whoever asks.

use mendpost_core::powder::Reason;
use mendpost_core::powder::book::Place;
use mendpost_tests::App;

async fn refused(app: &App, statement: &'static str, told: &str) {
    let fault = sqlx::query(statement)
        .execute(&app.state.db.write)
        .await
        .expect_err(statement);
    assert!(fault.to_string().contains(told), "{fault}");
}

/// No program with the file open changes a movement, deletes one, or moves powder that is not there.
#[tokio::test]
async fn triggers_hold_the_book() {
    let app = App::new().await;
    refused(&app, "update movement set milligrams = 1", "is not changed").await;
    refused(&app, "delete from movement", "is not deleted").await;
    refused(&app, "update place set kind = 'gap'", "is not changed").await;
    // L0406-1 holds 1 400 g.
    refused(
        &app,
        "insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, at_ms, journal_sequence)
         select randomblob(16), c.lot_id, c.lot_id, c.id, f.id, 1400001, 'draw', 0, 1
         from container c, place f where c.code = 'L0406-1' and f.kind = 'feeder'",
        "more of a lot than it holds",
    )
    .await;
    refused(
        &app,
        "insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, at_ms, journal_sequence)
         select randomblob(16), o.lot_id, o.lot_id, o.id, c.id, 1000, 'repack', 0, 1
         from container c, container o where c.code = 'L0406-1' and o.code = 'L0391-1'",
        "its own lot alone",
    )
    .await;
    refused(
        &app,
        "insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, at_ms, journal_sequence)
         select randomblob(16), c.lot_id, c.lot_id, c.id, f.id, 1000, 'sweep', 0, 1
         from container c, place f where c.code = 'L0406-1' and f.kind = 'feeder'",
        "does not move so",
    )
    .await;
    refused(
        &app,
        "insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, corrects_id, at_ms, journal_sequence)
         select randomblob(16), m.lot_id, m.into_lot_id, m.from_id, m.to_id, m.milligrams, 'correction', m.id, 0, 1
         from movement m limit 1",
        "takes back one whole movement",
    )
    .await;
}

/// The table by which the database judges how powder moves says the same as core, for every reason and pair of kinds.
#[tokio::test]
async fn the_database_and_core_know_the_same_rules() {
    let app = App::new().await;
    let rules: Vec<(String, String, String)> =
        sqlx::query_as("select reason, from_kind, to_kind from movement_rule")
            .fetch_all(&app.state.db.read)
            .await
            .expect("rules");
    let container = Place::Container("L1-1".parse().expect("a code"));
    let places = [
        ("depot", Place::Depot),
        ("container", container),
        ("feeder", Place::Feeder),
        ("build", Place::Build(1)),
        ("coupon", Place::Coupon(1)),
        ("waste", Place::Waste),
        ("gap", Place::Gap),
        ("before", Place::Before),
    ];
    for reason in Reason::ALL.iter().filter(|it| **it != Reason::Correction) {
        for (from_word, from) in &places {
            for (to_word, to) in &places {
                let row = |it: &(String, String, String)| {
                    it.0 == reason.as_str() && it.1 == *from_word && it.2 == *to_word
                };
                assert_eq!(
                    rules.iter().any(row),
                    reason.goes(from, to),
                    "{reason} from {from_word} to {to_word}"
                );
            }
        }
    }
}
