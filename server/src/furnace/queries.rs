//! Loads as rows.

use mendpost_core::code::StationCode;
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::db::decoded;

/// A load with all that is in it.
#[derive(Debug, Clone)]
pub struct Load {
    pub number: i64,
    pub station: StationCode,
    pub station_name: String,
    pub slots: i64,
    /// Of parts: the cycle that they share. Empty: powder dries in it.
    pub cycle: String,
    pub set_c: i64,
    pub by: String,
    pub opened_ms: i64,
    pub parts: Vec<InIt>,
    pub containers: Vec<Container>,
    pub excursions: Vec<Excursion>,
    pub closed: Option<Closed>,
}

/// A part in a load.
#[derive(Debug, Clone)]
pub struct InIt {
    pub request: i64,
    pub part_name: String,
    pub recipe: Uuid,
    pub code: String,
    pub revision: i64,
    /// Place of its heat treatment, from 1.
    pub position: i64,
    /// What the recipe calls it.
    pub name: String,
    /// The entry that it was done under, once the load is closed.
    pub done: Option<i64>,
}

/// A container of powder in a load.
#[derive(Debug, Clone)]
pub struct Container {
    pub code: String,
    pub lot: String,
    pub powder: String,
}

/// Something that went wrong.
#[derive(Debug, Clone)]
pub struct Excursion {
    pub sequence: i64,
    pub what: String,
    pub at_ms: i64,
    pub by: String,
}

/// How a load ended.
#[derive(Debug, Clone)]
pub struct Closed {
    /// What the chart shows; none where it was given up before the soak.
    pub soak: Option<Soak>,
    pub chart: String,
    pub operator: String,
    pub note: String,
    pub by: String,
    pub at_ms: i64,
}

#[derive(Debug, Clone, Copy)]
pub struct Soak {
    pub actual_c: i64,
    pub from_ms: i64,
    pub to_ms: i64,
}

impl Load {
    pub fn code(&self) -> String {
        format!("F{}", self.number)
    }

    pub fn dries(&self) -> bool {
        self.cycle.is_empty()
    }

    pub fn is_open(&self) -> bool {
        self.closed.is_none()
    }
}

/// Loads that are open, the newest first.
pub async fn open_loads(connection: &mut SqliteConnection) -> Result<Vec<Load>, sqlx::Error> {
    let numbers = sqlx::query_scalar!(
        r#"select number as "number!: i64" from furnace_load
           where number not in (select load_number from furnace_closed)"#
    )
    .fetch_all(&mut *connection)
    .await?;
    loads(connection, &numbers).await
}

/// The newest loads, before that number.
pub async fn newest(
    connection: &mut SqliteConnection,
    before: i64,
    most: i64,
) -> Result<Vec<Load>, sqlx::Error> {
    let numbers = sqlx::query_scalar!(
        r#"select number as "number!: i64" from furnace_load where number < ? order by number desc limit ?"#,
        before,
        most
    )
    .fetch_all(&mut *connection)
    .await?;
    loads(connection, &numbers).await
}

/// The loads of these numbers, the newest first.
pub async fn loads(
    connection: &mut SqliteConnection,
    numbers: &[i64],
) -> Result<Vec<Load>, sqlx::Error> {
    let numbers = decoded(serde_json::to_string(numbers))?;
    let mut loads: Vec<Load> = sqlx::query!(
        r#"select l.number as "number!: i64", s.code as "station!: String", s.name as "station_name!: String",
             s.slots as "slots!: i64", l.cycle as "cycle!: String", l.set_c as "set_c!: i64",
             l.opened_by as "opened_by!: String", l.opened_ms as "opened_ms!: i64",
             c.actual_c, c.soak_from_ms, c.soak_to_ms, c.chart as "chart?: String",
             c.operator as "operator?: String", c.note as "note?: String", c.closed_by as "closed_by?: String",
             c.closed_ms as "closed_ms?: i64"
           from furnace_load l join station s on s.id = l.station_id
           left join furnace_closed c on c.load_number = l.number
           where l.number in (select value from json_each(?))
           order by l.number desc"#,
        numbers
    )
    .try_map(|row| {
        let soak = row.actual_c.zip(row.soak_from_ms).zip(row.soak_to_ms);
        let closed = row.closed_by.map(|by| Closed {
            soak: soak.map(|((actual_c, from_ms), to_ms)| Soak {
                actual_c,
                from_ms,
                to_ms,
            }),
            chart: row.chart.unwrap_or_default(),
            operator: row.operator.unwrap_or_default(),
            note: row.note.unwrap_or_default(),
            by,
            at_ms: row.closed_ms.unwrap_or_default(),
        });
        Ok(Load {
            number: row.number,
            station: decoded(row.station.parse())?,
            station_name: row.station_name,
            slots: row.slots,
            cycle: row.cycle,
            set_c: row.set_c,
            by: row.opened_by,
            opened_ms: row.opened_ms,
            parts: Vec::new(),
            containers: Vec::new(),
            excursions: Vec::new(),
            closed,
        })
    })
    .fetch_all(&mut *connection)
    .await?;
    add_parts(&mut *connection, &mut loads, &numbers).await?;
    add_containers(&mut *connection, &mut loads, &numbers).await?;
    add_excursions(connection, &mut loads, &numbers).await?;
    Ok(loads)
}

fn of(loads: &mut [Load], number: i64) -> Option<&mut Load> {
    loads.iter_mut().find(|load| load.number == number)
}

async fn add_parts(
    connection: &mut SqliteConnection,
    loads: &mut [Load],
    numbers: &str,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        r#"select p.load_number as "load_number!: i64", r.number as "number!: i64",
             r.part_name as "part_name!: String", p.recipe_id as "recipe!: Uuid", c.code as "code!: String",
             c.revision as "revision!: i64", p.position as "position!: i64", o.name as "name!: String",
             (select d.journal_sequence from furnace_done d
              join work_done w on w.journal_sequence = d.journal_sequence
              where d.load_number = p.load_number and w.request_id = p.request_id) as "done?: i64"
           from furnace_part p
           join request r on r.id = p.request_id
           join recipe c on c.id = p.recipe_id
           join recipe_operation o on o.recipe_id = p.recipe_id and o.position = p.position
           where p.load_number in (select value from json_each(?))
           order by p.load_number, r.number"#,
        numbers
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        if let Some(load) = of(loads, row.load_number) {
            load.parts.push(InIt {
                request: row.number,
                part_name: row.part_name,
                recipe: row.recipe,
                code: row.code,
                revision: row.revision,
                position: row.position,
                name: row.name,
                done: row.done,
            });
        }
    }
    Ok(())
}

async fn add_containers(
    connection: &mut SqliteConnection,
    loads: &mut [Load],
    numbers: &str,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        "select f.load_number, c.code, l.code as lot, p.name as powder
         from furnace_container f
         join container c on c.id = f.container_id
         join lot l on l.id = c.lot_id
         join powder p on p.id = l.powder_id
         where f.load_number in (select value from json_each(?))
         order by f.load_number, c.code",
        numbers
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        if let Some(load) = of(loads, row.load_number) {
            load.containers.push(Container {
                code: row.code,
                lot: row.lot,
                powder: row.powder,
            });
        }
    }
    Ok(())
}

async fn add_excursions(
    connection: &mut SqliteConnection,
    loads: &mut [Load],
    numbers: &str,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        "select journal_sequence, load_number, what, at_ms, told_by from furnace_excursion
         where load_number in (select value from json_each(?))
         order by journal_sequence",
        numbers
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        if let Some(load) = of(loads, row.load_number) {
            load.excursions.push(Excursion {
                sequence: row.journal_sequence,
                what: row.what,
                at_ms: row.at_ms,
                by: row.told_by,
            });
        }
    }
    Ok(())
}
