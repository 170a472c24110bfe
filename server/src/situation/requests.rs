use std::collections::BTreeMap;

use mendpost_core::catalogue::Yes;
use mendpost_core::situation::{BaseMetal, Request, Way};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, at, at_if, code, word};

/// Open requests, oldest first.
pub(super) async fn load(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<Vec<Request>, sqlx::Error> {
    let mut ways = ways(connection, codes).await?;
    let mut yeses = yeses(connection).await?;
    let rows = sqlx::query!(
        r#"select id as "id: Uuid", number, asset_id as "asset_id: Uuid", part_id as "part_id: Uuid", part_name, damage,
             description, reported_ms, asked_by, needed_by_ms, danger as "danger: bool", at_cell_ms,
             base_metal_id as "base_metal_id: Uuid", base_metal_known as "base_metal_known: bool"
           from request where state = 'open' order by reported_ms, number"#
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Request {
                code: word(&format!("R{}", row.number))?,
                asset: code(&codes.assets, row.asset_id)?,
                part: row.part_id.map(|id| code(&codes.parts, id)).transpose()?,
                part_name: row.part_name,
                damage: word(&row.damage)?,
                description: row.description,
                reported_at: at(row.reported_ms)?,
                asked_by: row.asked_by,
                needed_by: at_if(row.needed_by_ms)?,
                danger: row.danger,
                base_metal: row
                    .base_metal_id
                    .map(|id| {
                        let metal = code(&codes.metals, id)?;
                        let known = row.base_metal_known;
                        Ok::<_, sqlx::Error>(BaseMetal { metal, known })
                    })
                    .transpose()?,
                at_cell_from: at_if(row.at_cell_ms)?,
                ways: ways.remove(&row.id).unwrap_or_default(),
                yeses: yeses.remove(&row.id).unwrap_or_default(),
            })
        })
        .collect()
}

async fn ways(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<BTreeMap<Uuid, Vec<Way>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select request_id as "request_id: Uuid", recipe_code, delivery_id as "delivery_id: Uuid", expected_ms, fit_min, crew
           from request_way order by request_id, position"#
    )
    .fetch_all(connection)
    .await?;
    let mut ways: BTreeMap<Uuid, Vec<Way>> = BTreeMap::new();
    for row in rows {
        let way = match (row.recipe_code, row.expected_ms, row.fit_min, row.crew) {
            (Some(recipe), ..) => Way::Recipe(word(&recipe)?),
            (None, Some(expected), Some(fit_min), Some(crew)) => Way::TruePart {
                delivery: row
                    .delivery_id
                    .map(|id| code(&codes.deliveries, id))
                    .transpose()?,
                expected: at(expected)?,
                fit_min,
                crew,
            },
            _ => return Err(sqlx::Error::RowNotFound),
        };
        ways.entry(row.request_id).or_default().push(way);
    }
    Ok(ways)
}

async fn yeses(connection: &mut SqliteConnection) -> Result<BTreeMap<Uuid, Vec<Yes>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select request_id as "request_id: Uuid", who, name, words, until_ms from yes order by given_ms"#
    )
    .fetch_all(connection)
    .await?;
    let mut yeses: BTreeMap<Uuid, Vec<Yes>> = BTreeMap::new();
    for row in rows {
        let yes = Yes {
            who: word(&row.who)?,
            name: row.name,
            words: row.words,
            until: at_if(row.until_ms)?,
        };
        yeses.entry(row.request_id).or_default().push(yes);
    }
    Ok(yeses)
}
