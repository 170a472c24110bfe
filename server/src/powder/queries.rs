use mendpost_core::powder::LotState;
use mendpost_core::powder::certificate::Within;
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;
use crate::seed::{AsItCame, Keeping};

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
    pub id: Uuid,
    pub code: String,
    pub powder: String,
    pub powder_name: String,
    pub state: LotState,
    pub state_note: String,
    pub maker_lot: String,
    pub received_ms: i64,
    pub use_by_ms: Option<i64>,
    pub keeping: Keeping,
    /// The number of the receipt with which it came.
    pub receipt: Option<i64>,
}

pub async fn lot(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<LotFacts>, sqlx::Error> {
    sqlx::query!(
        r#"select l.id as "id!: Uuid", l.code as "code!: String", p.code as "powder!: String",
             p.name as "powder_name!: String", l.state as "state!: String", l.state_note as "state_note!: String",
             l.maker_lot as "maker_lot!: String", l.received_ms as "received_ms!: i64", l.use_by_ms as "use_by_ms: i64",
             l.made_on as "made_on: String", l.date_kind as "date_kind!: String", l.storage as "storage!: String",
             l.humidity_min as "humidity_min: i64", l.humidity_max as "humidity_max: i64",
             r.number as "receipt?: i64"
           from lot l
           join powder p on p.id = l.powder_id
           left join receipt r on r.id = l.receipt_id
           where l.code = ?"#,
        code
    )
    .try_map(|row| {
        Ok(LotFacts {
            id: row.id,
            code: row.code,
            powder: row.powder,
            powder_name: row.powder_name,
            state: decoded(row.state.parse())?,
            state_note: row.state_note,
            maker_lot: row.maker_lot,
            received_ms: row.received_ms,
            use_by_ms: row.use_by_ms,
            keeping: Keeping {
                made_on: decoded(row.made_on.map(|day| day.parse()).transpose())?,
                date_kind: decoded(row.date_kind.parse())?,
                storage: row.storage,
                humidity: Within {
                    min: row.humidity_min,
                    max: row.humidity_max,
                },
            },
            receipt: row.receipt,
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
    pub as_it_came: AsItCame,
}

pub async fn containers(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<ContainerRow>, sqlx::Error> {
    sqlx::query!(
        r#"select c.code as "code!: String", c.opened_ms as "opened_ms: i64",
             c.milligrams as "on_hand_mg!: i64", k.seal as "seal!: String", k.seal_state as "seal_state: String",
             k.gross_mg as "gross_mg: i64", k.tare_mg as "tare_mg: i64", k.damage as "damage!: String"
           from container_now c
           join container k on k.id = c.container_id
           join lot l on l.id = c.lot_id
           where l.code = ?
           order by c.code"#,
        lot
    )
    .try_map(|row| {
        Ok(ContainerRow {
            code: row.code,
            opened_ms: row.opened_ms,
            on_hand_mg: row.on_hand_mg,
            as_it_came: AsItCame {
                seal: row.seal,
                seal_state: decoded(row.seal_state.map(|word| word.parse()).transpose())?,
                gross: row.gross_mg.map(Milligrams),
                tare: row.tare_mg.map(Milligrams),
                damage: row.damage,
            },
        })
    })
    .fetch_all(executor)
    .await
}

/// A lot in the list of all.
pub struct LotRow {
    pub code: String,
    pub powder: String,
    pub state: LotState,
    pub received_ms: i64,
    pub use_by_ms: Option<i64>,
    /// In its containers.
    pub on_hand_mg: i64,
}

/// Lots of one powder, or of any where none is named, the newest first.
pub async fn lots(
    connection: &mut SqliteConnection,
    powder: &str,
    from: u32,
    most: u32,
) -> Result<Vec<LotRow>, sqlx::Error> {
    sqlx::query!(
        r#"select l.code as "code!: String", p.name as "powder!: String", l.state as "state!: String",
             l.received_ms as "received_ms!: i64", l.use_by_ms as "use_by_ms: i64",
             coalesce((select sum(n.milligrams) from container k join container_now n on n.container_id = k.id
               where k.lot_id = l.id and k.holds = 1), 0) as "on_hand_mg!: i64"
           from lot l
           join powder p on p.id = l.powder_id
           where ?1 = '' or p.code = ?1
           order by l.received_ms desc, l.code desc
           limit ?2 offset ?3"#,
        powder,
        most,
        from
    )
    .try_map(|row| {
        Ok(LotRow {
            code: row.code,
            powder: row.powder,
            state: decoded(row.state.parse())?,
            received_ms: row.received_ms,
            use_by_ms: row.use_by_ms,
            on_hand_mg: row.on_hand_mg,
        })
    })
    .fetch_all(connection)
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
