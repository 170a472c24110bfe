//! Sets as rows.

use mendpost_core::code::ItemCode;
use sqlx::SqliteConnection;

use crate::db::decoded;

/// Items that go together, as was said last.
pub struct Set {
    pub number: i64,
    pub version: i64,
    /// None: they go together no longer.
    pub items: Vec<ItemCode>,
    pub why: String,
    pub said_by: String,
    pub said_ms: i64,
}

/// The items of each set, by stock number.
pub async fn sets(connection: &mut SqliteConnection) -> Result<Vec<Vec<ItemCode>>, sqlx::Error> {
    let all = all(connection).await?;
    Ok(all.into_iter().map(|set| set.items).collect())
}

/// The sets that hold, by number.
pub async fn all(connection: &mut SqliteConnection) -> Result<Vec<Set>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select s.number, s.version, s.why, s.said_by, s.said_ms, i.code
           from item_set s
           join item_set_item m on m.number = s.number and m.version = s.version
           join item i on i.id = m.item_id
           where s.version = (select max(version) from item_set where number = s.number)
           order by s.number, i.code"#
    )
    .fetch_all(connection)
    .await?;
    let mut all: Vec<Set> = Vec::new();
    for row in rows {
        let code = decoded(row.code.parse())?;
        match all.last_mut().filter(|set| set.number == row.number) {
            Some(set) => set.items.push(code),
            None => all.push(Set {
                number: row.number,
                version: row.version,
                items: vec![code],
                why: row.why,
                said_by: row.said_by,
                said_ms: row.said_ms,
            }),
        }
    }
    Ok(all)
}

pub async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from item_set"#)
        .fetch_one(connection)
        .await
}

pub async fn say(connection: &mut SqliteConnection, set: &Set) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into item_set (number, version, why, said_by, said_ms) values (?, ?, ?, ?, ?)",
        set.number,
        set.version,
        set.why,
        set.said_by,
        set.said_ms,
    )
    .execute(&mut *connection)
    .await?;
    for code in &set.items {
        let code = code.as_str();
        sqlx::query!(
            "insert into item_set_item (number, version, item_id)
             values (?, ?, (select id from item where code = ?))",
            set.number,
            set.version,
            code,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}
