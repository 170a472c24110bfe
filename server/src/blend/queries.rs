//! Of which lots a lot was made, and what was made of it: read off the movements, of those that stand.

use chrono::{DateTime, Utc};
use mendpost_core::code::{ContainerCode, LotCode};
use mendpost_core::powder::blend::Parent;
use mendpost_core::powder::chemistry::Chemistry;
use mendpost_core::powder::{DateKind, LotState};
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};

use crate::certificate::store;
use crate::db::decoded;
use crate::situation::moment;

/// A lot that went into another, or came of it.
#[derive(Debug, Clone)]
pub struct Relative {
    pub lot: String,
    pub powder: String,
    pub state: LotState,
    pub mass: Milligrams,
}

/// The lots that a lot was made of, with how much of each; none of one that came.
pub async fn parents(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<Relative>, sqlx::Error> {
    sqlx::query!(
        r#"select p.code as "lot!: String", k.name as "powder!: String", p.state as "state!: String",
             sum(m.milligrams) as "milligrams!: i64"
           from movement m
           join lot c on c.id = m.into_lot_id
           join lot p on p.id = m.lot_id
           join powder k on k.id = p.powder_id
           where c.code = ? and m.reason = 'blend'
             and not exists (select 1 from movement back where back.corrects_id = m.id)
           group by p.id order by p.code"#,
        lot
    )
    .try_map(|row| {
        Ok(Relative {
            lot: row.lot,
            powder: row.powder,
            state: decoded(row.state.parse())?,
            mass: Milligrams(row.milligrams),
        })
    })
    .fetch_all(executor)
    .await
}

/// The lots that were made of a lot, and of those, with how much of it went into each at first hand; 0 for a lot
/// that has it by another.
pub async fn children(
    executor: impl SqliteExecutor<'_>,
    lot: &str,
) -> Result<Vec<Relative>, sqlx::Error> {
    sqlx::query!(
        r#"with recursive blend as (
             select m.lot_id as of_id, m.into_lot_id as into_id, m.milligrams from movement m
             where m.reason = 'blend' and not exists (select 1 from movement back where back.corrects_id = m.id)
           ), family as (
             select id from lot where code = ?1
             union
             select b.into_id from blend b join family f on f.id = b.of_id
           )
           select l.code as "lot!: String", k.name as "powder!: String", l.state as "state!: String",
             coalesce((select sum(b.milligrams) from blend b
               where b.into_id = l.id and b.of_id = (select id from lot where code = ?1)), 0) as "milligrams!: i64"
           from family f
           join lot l on l.id = f.id
           join powder k on k.id = l.powder_id
           where l.code <> ?1
           order by l.code"#,
        lot
    )
    .try_map(|row| {
        Ok(Relative {
            lot: row.lot,
            powder: row.powder,
            state: decoded(row.state.parse())?,
            mass: Milligrams(row.milligrams),
        })
    })
    .fetch_all(executor)
    .await
}

/// What a blend of these holds, as the certificates of its parents have it.
pub async fn chemistry(
    connection: &mut SqliteConnection,
    parents: &[Relative],
) -> Result<Chemistry, sqlx::Error> {
    let mut each = Vec::with_capacity(parents.len());
    for parent in parents {
        let entered = store::of_lot(&mut *connection, &parent.lot).await?;
        let chemistry = entered.map(|entered| entered.certificate.chemistry);
        each.push((parent.mass, chemistry.unwrap_or_default()));
    }
    let each: Vec<(Milligrams, &Chemistry)> = each.iter().map(|(mass, it)| (*mass, it)).collect();
    Ok(Chemistry::of_blend(&each))
}

/// A container that may give to a blend.
#[derive(Debug, Clone)]
pub struct Source {
    pub container: ContainerCode,
    pub lot: LotCode,
    pub powder_name: String,
    pub on_hand: Milligrams,
    pub use_by: Option<DateTime<Utc>>,
    pub date_kind: DateKind,
}

/// Containers of released lots in date with something in them, those first whose date comes first.
pub async fn sources(
    executor: impl SqliteExecutor<'_>,
    now: i64,
) -> Result<Vec<Source>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select c.code as "container!: String", l.code as "lot!: String", k.name as "powder!: String",
             l.state as "state!: String", l.use_by_ms as "use_by_ms: i64", l.date_kind as "date_kind!: String",
             c.milligrams as "milligrams!: i64"
           from container holding
           join container_now c on c.container_id = holding.id
           join lot l on l.id = c.lot_id
           join powder k on k.id = l.powder_id
           where holding.holds = 1 and l.state = 'released'
           order by l.use_by_ms is null, l.use_by_ms, c.code"#
    )
    .fetch_all(executor)
    .await?;
    let now = decoded(moment(now))?;
    let mut sources = Vec::new();
    for row in rows {
        let parent = Parent {
            lot: decoded(row.lot.parse())?,
            state: decoded(row.state.parse())?,
            use_by: row.use_by_ms.map(|ms| decoded(moment(ms))).transpose()?,
        };
        if parent.check(now).is_err() || row.milligrams <= 0 {
            continue;
        }
        sources.push(Source {
            container: decoded(row.container.parse())?,
            lot: parent.lot,
            powder_name: row.powder,
            on_hand: Milligrams(row.milligrams),
            use_by: parent.use_by,
            date_kind: decoded(row.date_kind.parse())?,
        });
    }
    Ok(sources)
}
