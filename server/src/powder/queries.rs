use mendpost_core::powder::LotState;
use sqlx::{SqliteConnection, SqliteExecutor};

use crate::db::decoded;

/// A movement as the course of a powder needs it.
pub struct Moved {
    pub lot: String,
    pub empty: bool,
    pub at_ms: i64,
    pub milligrams: i64,
}

/// What came to the lots of a powder and went from them since a moment, in order.
pub async fn history(
    executor: impl SqliteExecutor<'_>,
    powder: &str,
    since_ms: i64,
) -> Result<Vec<Moved>, sqlx::Error> {
    sqlx::query_as!(
        Moved,
        r#"select l.code as "lot!: String", l.state = 'empty' as "empty!: bool", s.at_ms as "at_ms!: i64",
             s.milligrams as "milligrams!: i64"
           from stock_line s
           join lot l on l.id = s.lot_id
           join powder p on p.id = l.powder_id
           where p.code = ? and s.at_ms > ?
           order by s.at_ms, s.id"#,
        powder,
        since_ms,
    )
    .fetch_all(executor)
    .await
}

/// The last count that changed the book: when, and by how many milligrams.
pub struct Counted {
    pub at_ms: i64,
    pub gap_mg: i64,
}

pub async fn last_count(executor: impl SqliteExecutor<'_>) -> Result<Option<Counted>, sqlx::Error> {
    sqlx::query_as!(
        Counted,
        r#"select max(m.at_ms) as "at_ms!: i64",
             sum(case when a.kind = 'gap' then m.milligrams else -m.milligrams end) as "gap_mg!: i64"
           from movement m join place a on a.id = m.from_id
           where m.reason = 'count'
             and m.journal_sequence = (select max(journal_sequence) from movement where reason = 'count')
           having count(*) > 0"#
    )
    .fetch_optional(executor)
    .await
}

/// A lot as received.
pub struct LotFacts {
    pub code: String,
    pub powder: String,
    pub powder_name: String,
    pub state: LotState,
    pub state_note: String,
    pub maker_lot: String,
    pub received_ms: i64,
    pub use_by_ms: Option<i64>,
}

pub async fn lot(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<LotFacts>, sqlx::Error> {
    sqlx::query!(
        "select l.code, p.code as powder, p.name as powder_name, l.state, l.state_note, l.maker_lot,
           l.received_ms, l.use_by_ms
         from lot l
         join powder p on p.id = l.powder_id
         where l.code = ?",
        code
    )
    .try_map(|row| {
        Ok(LotFacts {
            code: row.code,
            powder: row.powder,
            powder_name: row.powder_name,
            state: decoded(row.state.parse())?,
            state_note: row.state_note,
            maker_lot: row.maker_lot,
            received_ms: row.received_ms,
            use_by_ms: row.use_by_ms,
        })
    })
    .fetch_optional(executor)
    .await
}

/// A container with what it holds.
pub struct ContainerRow {
    pub code: String,
    pub opened_ms: Option<i64>,
    pub on_hand_mg: i64,
}

pub async fn containers(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<ContainerRow>, sqlx::Error> {
    sqlx::query_as!(
        ContainerRow,
        r#"select c.code as "code!: String", c.opened_ms as "opened_ms: i64",
             c.milligrams as "on_hand_mg!: i64"
           from container_now c
           join lot l on l.id = c.lot_id
           where l.code = ?
           order by c.code"#,
        lot
    )
    .fetch_all(executor)
    .await
}

/// Puts a lot into another state, with what there is to say about it.
pub(super) async fn set_state(
    connection: &mut SqliteConnection,
    code: &str,
    state: LotState,
    note: &str,
) -> Result<(), sqlx::Error> {
    let state = state.as_str();
    sqlx::query!(
        "update lot set state = ?, state_note = ? where code = ?",
        state,
        note,
        code
    )
    .execute(connection)
    .await?;
    Ok(())
}
