//! Rules of carriage as rows.

use mendpost_core::resupply::{Apart, CarriageRule, CarriageRules, Mode};
use sqlx::SqliteConnection;

use crate::db::decoded;
use crate::situation::moment;

/// What was written down last of the rules of a mode; none if nobody wrote anything.
pub async fn of(
    connection: &mut SqliteConnection,
    mode: Mode,
) -> Result<Option<CarriageRules>, sqlx::Error> {
    let found = newest(connection, mode).await?;
    Ok(found.map(|(_, rules)| rules))
}

/// The same with its version.
pub async fn newest(
    connection: &mut SqliteConnection,
    mode: Mode,
) -> Result<Option<(i64, CarriageRules)>, sqlx::Error> {
    let word = mode.as_str();
    let found = sqlx::query!(
        r#"select version as "version!: i64", edition, points_milli, entered_by, entered_ms
           from carriage_said where mode = ? order by version desc limit 1"#,
        word
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(row) = found else {
        return Ok(None);
    };
    let rules = CarriageRules {
        mode,
        edition: row.edition,
        entered_by: row.entered_by,
        entered_at: decoded(moment(row.entered_ms))?,
        points_milli: row.points_milli,
        rules: rules(connection, word, row.version).await?,
        apart: apart(connection, word, row.version).await?,
    };
    Ok(Some((row.version, rules)))
}

async fn rules(
    connection: &mut SqliteConnection,
    mode: &str,
    version: i64,
) -> Result<Vec<CarriageRule>, sqlx::Error> {
    sqlx::query!(
        r#"select un, class, packing_group, refused as "refused!: bool", package, most, points, note
           from carriage_rule where mode = ? and version = ? order by position"#,
        mode,
        version
    )
    .try_map(|row| {
        Ok(CarriageRule {
            un: row.un,
            class: row.class,
            group: row
                .packing_group
                .map(|it| decoded(it.parse()))
                .transpose()?,
            refused: row.refused,
            package: row.package,
            load: row.most,
            points: row.points,
            note: row.note,
        })
    })
    .fetch_all(connection)
    .await
}

async fn apart(
    connection: &mut SqliteConnection,
    mode: &str,
    version: i64,
) -> Result<Vec<Apart>, sqlx::Error> {
    sqlx::query!(
        r#"select one, other, what, can_be_kept as "can_be_kept!: bool"
           from carriage_apart where mode = ? and version = ? order by position"#,
        mode,
        version
    )
    .map(|row| Apart {
        one: row.one,
        other: row.other,
        what: row.what,
        can_be_kept: row.can_be_kept,
    })
    .fetch_all(connection)
    .await
}

/// Adds what was written down, as a whole.
pub async fn say(
    connection: &mut SqliteConnection,
    version: i64,
    said: &CarriageRules,
) -> Result<(), sqlx::Error> {
    let mode = said.mode.as_str();
    let ms = said.entered_at.timestamp_millis();
    sqlx::query!(
        "insert into carriage_said (mode, version, edition, points_milli, entered_by, entered_ms)
         values (?, ?, ?, ?, ?, ?)",
        mode,
        version,
        said.edition,
        said.points_milli,
        said.entered_by,
        ms,
    )
    .execute(&mut *connection)
    .await?;
    for (position, rule) in (1_i64..).zip(&said.rules) {
        let group = rule.group.map(|it| it.as_str());
        sqlx::query!(
            "insert into carriage_rule
               (mode, version, position, un, class, packing_group, refused, package, most, points, note)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            mode,
            version,
            position,
            rule.un,
            rule.class,
            group,
            rule.refused,
            rule.package,
            rule.load,
            rule.points,
            rule.note,
        )
        .execute(&mut *connection)
        .await?;
    }
    for (position, pair) in (1_i64..).zip(&said.apart) {
        sqlx::query!(
            "insert into carriage_apart (mode, version, position, one, other, what, can_be_kept)
             values (?, ?, ?, ?, ?, ?, ?)",
            mode,
            version,
            position,
            pair.one,
            pair.other,
            pair.what,
            pair.can_be_kept,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}
