//! What is asked of containers, and of the feeder.

use std::collections::BTreeSet;

use mendpost_core::code::{ContainerCode, LotCode, PowderCode};
use mendpost_core::powder::LotState;
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;

/// A container as it is before it is poured from.
#[derive(Debug, Clone)]
pub struct Container {
    pub id: Uuid,
    pub code: ContainerCode,
    pub lot: LotCode,
    pub powder: PowderCode,
    pub powder_name: String,
    pub state: LotState,
    pub use_by_ms: Option<i64>,
    pub opened_ms: Option<i64>,
    pub held: Milligrams,
    pub tare: Option<Milligrams>,
    pub open_limit_min: Option<i64>,
}

impl Container {
    /// Which of several is used first: what goes out of date first, and of one lot what is open.
    pub fn turn(&self) -> (i64, LotCode, bool, ContainerCode) {
        let sealed = self.opened_ms.is_none();
        (
            self.use_by_ms.unwrap_or(i64::MAX),
            self.lot.clone(),
            sealed,
            self.code.clone(),
        )
    }
}

/// Containers that hold something, of lots that are not empty, in the order in which they are used.
pub async fn containers(connection: &mut SqliteConnection) -> Result<Vec<Container>, sqlx::Error> {
    let mut containers = sqlx::query!(
        r#"select c.container_id as "id!: Uuid", c.code as "code!: String", l.code as "lot!: String",
             p.code as "powder!: String", p.name as "powder_name!: String", l.state as "state!: String",
             l.use_by_ms as "use_by_ms: i64", c.opened_ms as "opened_ms: i64", c.milligrams as "held!: i64",
             k.tare_mg as "tare_mg: i64", p.open_limit_min as "open_limit_min: i64"
           from lot l
           join powder p on p.id = l.powder_id
           join container k on k.lot_id = l.id and k.holds = 1
           join container_now c on c.container_id = k.id
           where l.state <> 'empty'"#
    )
    .try_map(|row| {
        Ok(Container {
            id: row.id,
            code: decoded(row.code.parse())?,
            lot: decoded(row.lot.parse())?,
            powder: decoded(row.powder.parse())?,
            powder_name: row.powder_name,
            state: decoded(row.state.parse())?,
            use_by_ms: row.use_by_ms,
            opened_ms: row.opened_ms,
            held: Milligrams(row.held),
            tare: row.tare_mg.map(Milligrams),
            open_limit_min: row.open_limit_min,
        })
    })
    .fetch_all(connection)
    .await?;
    containers.sort_by_key(Container::turn);
    Ok(containers)
}

/// How long a container stood open, and since when it does.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Open {
    /// Minutes of the stretches that have ended.
    pub minutes: i64,
    /// When it was opened last, if nobody has closed it since.
    pub since_ms: Option<i64>,
}

impl Open {
    /// Minutes in all, if it stands open until then.
    pub fn until(self, at_ms: i64) -> i64 {
        let now = self.since_ms.map_or(0, |since| minutes(since, at_ms));
        self.minutes + now
    }
}

/// Whole minutes, begun ones counted.
pub fn minutes(from_ms: i64, to_ms: i64) -> i64 {
    (to_ms - from_ms).max(0).saturating_add(59_999) / 60_000
}

pub async fn open(executor: impl SqliteExecutor<'_>, container: Uuid) -> Result<Open, sqlx::Error> {
    let marks = sqlx::query!(
        r#"select at_ms, open as "open!: bool" from container_seal where container_id = ?
           order by journal_sequence, open desc"#,
        container
    )
    .fetch_all(executor)
    .await?;
    let mut open = Open::default();
    for mark in marks {
        match (mark.open, open.since_ms) {
            (true, None) => open.since_ms = Some(mark.at_ms),
            (false, Some(since)) => {
                open.minutes += minutes(since, mark.at_ms);
                open.since_ms = None;
            }
            _ => {}
        }
    }
    Ok(open)
}

/// Notes that a container was opened or closed.
pub async fn insert_seal(
    connection: &mut SqliteConnection,
    container: Uuid,
    at_ms: i64,
    open: bool,
    entry: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into container_seal (journal_sequence, container_id, at_ms, open) values (?, ?, ?, ?)",
        entry,
        container,
        at_ms,
        open,
    )
    .execute(&mut *connection)
    .await?;
    if open {
        sqlx::query!(
            "update container set opened_ms = ? where id = ? and opened_ms is null",
            at_ms,
            container
        )
        .execute(connection)
        .await?;
    }
    Ok(())
}

/// What speaks against drawing from a container, and two people have said it is drawn all the same.
pub async fn waived(
    executor: impl SqliteExecutor<'_>,
    container: Uuid,
    now_ms: i64,
) -> Result<BTreeSet<String>, sqlx::Error> {
    let words = sqlx::query_scalar!(
        "select doubt from waiver where container_id = ? and until_ms > ?",
        container,
        now_ms
    )
    .fetch_all(executor)
    .await?;
    Ok(words.into_iter().collect())
}

/// Says which powder the feeder is dirty with; none if it is clean.
pub async fn set_residue(
    connection: &mut SqliteConnection,
    powder: Option<&PowderCode>,
) -> Result<(), sqlx::Error> {
    let powder = powder.map(PowderCode::as_str);
    sqlx::query!(
        "update cell set feeder_id = (select id from powder where code = ?)",
        powder
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Notes that the feeder was empty at the end of a journal entry.
pub async fn insert_emptied(
    connection: &mut SqliteConnection,
    at_ms: i64,
    cleaned: bool,
    entry: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into feeder_emptied (journal_sequence, at_ms, cleaned) values (?, ?, ?)",
        entry,
        at_ms,
        cleaned
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// When the feeder was last emptied, and whether it was cleaned then.
pub async fn last_emptied(
    executor: impl SqliteExecutor<'_>,
) -> Result<Option<(i64, bool)>, sqlx::Error> {
    sqlx::query!(
        r#"select at_ms, cleaned as "cleaned!: bool" from feeder_emptied order by journal_sequence desc limit 1"#
    )
    .map(|row| (row.at_ms, row.cleaned))
    .fetch_optional(executor)
    .await
}
