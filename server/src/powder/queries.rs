use mendpost_core::powder::{LotState, MovementReason};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;

/// A movement as the course of a powder needs it.
pub struct Moved {
    pub lot: String,
    pub empty: bool,
    pub at_ms: i64,
    pub milligrams: i64,
}

/// Every movement of a powder, in order.
pub async fn history(
    executor: impl SqliteExecutor<'_>,
    powder: &str,
) -> Result<Vec<Moved>, sqlx::Error> {
    sqlx::query_as!(
        Moved,
        r#"select l.code as lot, l.state = 'empty' as "empty!: bool", m.at_ms, m.milligrams
           from movement m
           join container c on c.id = m.container_id
           join lot l on l.id = c.lot_id
           join powder p on p.id = l.powder_id
           where p.code = ?
           order by m.at_ms, m.id"#,
        powder
    )
    .fetch_all(executor)
    .await
}

/// The last count: when, and by how many milligrams it changed the book.
pub struct Counted {
    pub at_ms: i64,
    pub gap_mg: i64,
}

pub async fn last_count(executor: impl SqliteExecutor<'_>) -> Result<Option<Counted>, sqlx::Error> {
    sqlx::query_as!(
        Counted,
        r#"select max(at_ms) as "at_ms!: i64", sum(milligrams) as "gap_mg!: i64"
           from movement
           where reason = 'count'
           group by journal_sequence
           order by journal_sequence desc
           limit 1"#
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
             coalesce(sum(m.milligrams), 0) as "on_hand_mg!: i64"
           from container c
           join lot l on l.id = c.lot_id
           left join movement m on m.container_id = c.id
           where l.code = ?
           group by c.id
           order by c.code"#,
        lot
    )
    .fetch_all(executor)
    .await
}

/// One line of a lot's book.
pub struct MovementRow {
    pub at_ms: i64,
    pub container: String,
    pub reason: MovementReason,
    pub note: String,
    pub milligrams: i64,
    pub sequence: i64,
}

/// The book of a lot, the newest line first.
pub async fn movements(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<MovementRow>, sqlx::Error> {
    sqlx::query!(
        "select m.at_ms, c.code as container, m.reason, m.note, m.milligrams, m.journal_sequence
         from movement m
         join container c on c.id = m.container_id
         join lot l on l.id = c.lot_id
         where l.code = ?
         order by m.at_ms desc, m.journal_sequence desc, m.id desc",
        lot
    )
    .try_map(|row| {
        Ok(MovementRow {
            at_ms: row.at_ms,
            container: row.container,
            reason: decoded(row.reason.parse())?,
            note: row.note,
            milligrams: row.milligrams,
            sequence: row.journal_sequence,
        })
    })
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

/// Books that a count found more or less than the book; `entry` is the change's journal entry.
pub(super) async fn insert_count(
    connection: &mut SqliteConnection,
    container: &str,
    milligrams: i64,
    note: &str,
    now: i64,
    entry: i64,
) -> Result<(), sqlx::Error> {
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into movement (id, container_id, milligrams, reason, note, at_ms, journal_sequence)
         select ?, id, ?, 'count', ?, ?, ? from container where code = ?",
        id,
        milligrams,
        note,
        now,
        entry,
        container
    )
    .execute(connection)
    .await?;
    Ok(())
}
