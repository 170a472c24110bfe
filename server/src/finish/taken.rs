//! Every figure that a tool took.

use mendpost_core::finish::{Length, Measured, Unit};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::words::property;
use crate::db::decoded;

/// One figure.
pub struct Taken {
    pub request: i64,
    /// Its request is open.
    pub is_open: bool,
    /// The entry under which it stands.
    pub sequence: i64,
    /// Of a coupon beside the part.
    pub of_coupon: bool,
    pub what: String,
    pub at_ms: i64,
}

/// Those since a time, in the order in which they were entered.
pub async fn taken(
    connection: &mut SqliteConnection,
    tool: Uuid,
    since_ms: i64,
) -> Result<Vec<Taken>, sqlx::Error> {
    let mut taken = sizes(&mut *connection, tool, since_ms).await?;
    taken.extend(coupons(connection, tool, since_ms).await?);
    taken.sort_by_key(|figure| figure.sequence);
    Ok(taken)
}

async fn sizes(
    connection: &mut SqliteConnection,
    tool: Uuid,
    since_ms: i64,
) -> Result<Vec<Taken>, sqlx::Error> {
    sqlx::query!(
        r#"select r.number as "number!: i64", r.state = 'open' as "open!: bool", f.journal_sequence, s.name, f.found_nm, f.unit, w.ended_ms
         from size_found f
         join recipe_size s on s.recipe_id = f.recipe_id and s.position = f.position
         join work_done w on w.journal_sequence = f.journal_sequence
         join request r on r.id = w.request_id
         where f.tool_id = ? and w.ended_ms >= ?
         order by f.journal_sequence, f.position"#,
        tool,
        since_ms
    )
    .try_map(|row| {
        let unit: Unit = decoded(row.unit.parse())?;
        Ok(Taken {
            request: row.number,
            is_open: row.open,
            sequence: row.journal_sequence,
            of_coupon: false,
            what: format!("{} {} {unit}", row.name, Length(row.found_nm).in_unit(unit)),
            at_ms: row.ended_ms,
        })
    })
    .fetch_all(connection)
    .await
}

async fn coupons(
    connection: &mut SqliteConnection,
    tool: Uuid,
    since_ms: i64,
) -> Result<Vec<Taken>, sqlx::Error> {
    sqlx::query!(
        r#"select r.number as "number!: i64", r.state = 'open' as "open!: bool", c.journal_sequence, k.number as coupon, c.property, c.condition, c.figure, c.load_gf,
           c.tested_ms
         from coupon_result c
         join coupon k on k.number = c.coupon_number
         join request r on r.id = k.request_id
         where c.tool_id = ? and c.tested_ms >= ?
         order by c.journal_sequence"#,
        tool,
        since_ms
    )
    .try_map(|row| {
        let measured = Measured {
            property: decoded(row.property.parse())?,
            condition: decoded(row.condition.parse())?,
            figure: row.figure,
            load_gf: row.load_gf,
        };
        let (of, found) = (property(measured.property), measured.with_unit());
        Ok(Taken {
            request: row.number,
            is_open: row.open,
            sequence: row.journal_sequence,
            of_coupon: true,
            what: format!("coupon {}, {of} {found}", row.coupon),
            at_ms: row.tested_ms,
        })
    })
    .fetch_all(connection)
    .await
}
