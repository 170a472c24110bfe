//! What other pages tell of loads: the soak of a part, and what of a lot was dried.

use sqlx::SqliteConnection;

use super::path;
use crate::page::{Layout, minutes};

/// The load that entered an operation as done.
#[derive(Debug, Clone)]
pub struct Soaked {
    pub load: i64,
    /// Entries of what went wrong with it.
    pub excursions: Vec<i64>,
    /// 'load F3: 300 °C set, 298 °C found, chart 118'.
    pub words: String,
}

pub async fn soaked(
    connection: &mut SqliteConnection,
    sequence: i64,
) -> Result<Option<Soaked>, sqlx::Error> {
    let row = sqlx::query!(
        r#"select l.number as "number!: i64", l.set_c as "set_c!: i64", c.actual_c, c.chart, c.soak_from_ms,
             c.soak_to_ms
           from furnace_done d
           join furnace_load l on l.number = d.load_number
           join furnace_closed c on c.load_number = l.number
           where d.journal_sequence = ?"#,
        sequence
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(row) = row else {
        return Ok(None);
    };
    let excursions = sqlx::query_scalar!(
        "select journal_sequence from furnace_excursion where load_number = ? order by journal_sequence",
        row.number
    )
    .fetch_all(connection)
    .await?;
    let soak = row.soak_to_ms.zip(row.soak_from_ms);
    let long = soak.map_or(0, |(to, from)| (to - from) / 60_000);
    Ok(Some(Soaked {
        load: row.number,
        excursions,
        words: format!(
            "load F{}: {} °C set, {} °C found, {}, chart {}",
            row.number,
            row.set_c,
            row.actual_c.unwrap_or_default(),
            minutes(long),
            row.chart
        ),
    }))
}

/// A container of a lot that was in a load.
#[derive(Debug, Clone)]
pub struct Dried {
    pub load: String,
    pub path: String,
    pub container: String,
    pub words: String,
    pub when: String,
}

/// The loads in which containers of a lot were, the newest first.
pub async fn dried(
    connection: &mut SqliteConnection,
    page: &Layout,
    lot: &str,
) -> Result<Vec<Dried>, sqlx::Error> {
    sqlx::query!(
        r#"select f.load_number as "load_number!: i64", k.code as "code!: String", l.set_c as "set_c!: i64",
             l.opened_ms as "opened_ms!: i64", c.actual_c, c.soak_from_ms, c.soak_to_ms, c.chart as "chart?: String"
           from furnace_container f
           join container k on k.id = f.container_id
           join lot t on t.id = k.lot_id
           join furnace_load l on l.number = f.load_number
           left join furnace_closed c on c.load_number = l.number
           where t.code = ? order by f.load_number desc, k.code"#,
        lot
    )
    .map(|row| {
        let soak = row.actual_c.zip(row.soak_to_ms.zip(row.soak_from_ms));
        let words = match (soak, &row.chart) {
            (Some((actual_c, (to, from))), Some(chart)) => format!(
                "{} °C set, {actual_c} °C found, {}, chart {chart}",
                row.set_c,
                minutes((to - from) / 60_000)
            ),
            (_, Some(_)) => "given up, not dried".to_owned(),
            _ => format!("{} °C set, in the furnace", row.set_c),
        };
        Dried {
            load: format!("F{}", row.load_number),
            path: path(row.load_number),
            container: row.code,
            words,
            when: page.moment(&row.soak_from_ms.unwrap_or(row.opened_ms)),
        }
    })
    .fetch_all(connection)
    .await
}
