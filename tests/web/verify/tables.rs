//! Rows of replayed tables, tampered with one at a time.

use super::{some_hours, tampered, told};

/// What is done to the tables, and what is told of it.
const TAMPERED: &[(&str, &str)] = &[
    (
        "update movement set milligrams = milligrams + 1 where rowid = 7",
        "table movement, row ",
    ),
    ("update movement set at_ms = at_ms + 1 where rowid = 7", "at_ms is "),
    ("update movement set note = 'x' where rowid = 7", "note is 'x', and journal "),
    (
        "update movement set to_id = (select id from place where kind = 'waste') where rowid = 7",
        "to_id is 'waste'",
    ),
    ("delete from movement where rowid = 7", "table movement"),
    (
        "insert into movement select randomblob(16), lot_id, into_lot_id, from_id, to_id, milligrams, reason, note,
           corrects_id, at_ms, journal_sequence from movement where rowid = 7",
        "table movement holds row ",
    ),
    ("update container set holds = 1 - holds where code = 'L0390-1'", "table container, L0390-1: holds is 0"),
    ("update lot set state = 'released' where code = 'L0415'", "table lot, L0415: state is 'released', and journal "),
    ("update lot set state_note = 'dry' where code = 'L0415'", "says 'damp smell'"),
    ("update lot set use_by_ms = use_by_ms + 1 where code = 'L0390'", "table lot, L0390: use_by_ms is "),
    ("update lot set powder_id = (select max(id) from powder) where code = 'L0390'", "table lot, L0390: powder_id is "),
    ("delete from lot where code = 'L0390'", "table "),
    ("update request set state = 'open' where number = 15", "table request, R15: state is 'open', and journal "),
    ("delete from request where number = 30", "table request lacks R30"),
    ("update request_decision set reason = 'dull' where reason = 'not here'", "table request_decision, row 1 of journal "),
    ("update request_decision set decided_by = 'Nobody'", "decided_by is 'Nobody'"),
    ("delete from request_decision where reason = 'not here'", "table request_decision lacks row 1 of journal "),
    ("update answer set words = 'Not yet' where words = 'May be fitted'", "says 'May be fitted'"),
    ("update answer set said = 'no' where words = 'May be fitted'", "about R8: said is 'no', and journal "),
    ("update answer set until_ms = 1 where words = 'May be fitted'", "until_ms is 1, and journal "),
    ("delete from answer where words = 'May be fitted'", "table answer lacks answer 2 about R8"),
    (
        "insert into answer (id, request_id, who, name, words, given_ms)
         select randomblob(16), id, 'cell-lead', 'Nobody', 'Yes', 1 from request where number = 20",
        "table answer holds answer 1 about R20, of which no entry",
    ),
    ("update lineup set plan = replace(plan, '1', '2')", "table lineup, order 1: plan is "),
    ("update lineup set problem = problem || ' '", "table lineup, order 1: problem is "),
    ("update lineup set line_up = line_up || ' '", "table lineup, order 1: line_up is "),
    ("update lineup set now_ms = now_ms + 1", "table lineup, order 1: now_ms is "),
    ("delete from lineup where number = 1", "table lineup"),
    ("update lineup_accepted set accepted_by = 'Nobody'", "accepted_by is 'Nobody', and journal "),
    ("update lineup_accepted set accepted_ms = 1", "table lineup_accepted, row 1 of journal "),
    ("update signature set printed_name = 'Nobody' where meaning = 'accept'", "printed_name is 'Nobody'"),
    ("update signature set statement = 'I do not.' where meaning = 'yes'", "statement is 'I do not.'"),
    ("update signature set person_id = (select max(id) from person) where meaning = 'release'", "person_id is "),
    ("update signature set signed_ms = signed_ms + 1 where meaning = 'release'", "signed_ms is "),
    ("update signature set signing_id = null", "signing_id is empty"),
    ("delete from signature where meaning = 'accept'", "table signature lacks row 1 of journal "),
    ("update signing set content = '{}'", "table signing, signing 1: content is {}"),
    ("update signing set state = 'done'", "table signing, signing 1: state is 'done', and journal "),
    ("delete from journal_step", "table journal_step lacks entry "),
    ("update journal_step set before = before + 1", "before is "),
];

/// Each tampered row is found and named; the table stands in what is told.
#[tokio::test(flavor = "multi_thread")]
async fn each_tampered_row_is_named() {
    let app = some_hours().await;
    for (statement, expected) in TAMPERED {
        let told = told(tampered(&app, &[statement], &[]).await);
        assert!(told.contains(expected), "{statement}: {told}");
    }
}

/// A trigger that keeps records from being changed is gone, or an index: the tables hold what the journal says, and
/// the next change could go unseen.
#[tokio::test(flavor = "multi_thread")]
async fn a_missing_trigger_is_named() {
    let app = some_hours().await;
    let statements = ["drop index journal_by_subject"];
    assert_eq!(
        told(tampered(&app, &statements, &[]).await),
        "the database lacks the index journal_by_subject, unlike one that this program makes"
    );
    sqlx::query("drop trigger journal_kept")
        .execute(&app.state.db.write)
        .await
        .expect("dropped");
    assert_eq!(
        told(tampered(&app, &[], &[]).await),
        "the database lacks the trigger journal_kept, unlike one that this program makes"
    );
}
