use std::collections::BTreeMap;

use chrono::{NaiveTime, Weekday};
use mendpost_core::situation::{Cell, Closed, Divergent, DutyHours, Station};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, at, at_if, code, word};
use crate::book::queries::{InFeeder, feeder_is_booked, total};

pub(super) async fn cell(
    connection: &mut SqliteConnection,
    codes: &Codes,
    name: String,
    fed: &[InFeeder],
) -> Result<Cell, sqlx::Error> {
    let row = sqlx::query!(
        r#"select free_from, feeder_id as "feeder_id: Uuid", warm_up_min, same_powder_min, default_changeover_min,
             booth_x_mm, booth_y_mm, booth_z_mm, max_part_g, discharge_permille, carrier_permille, max_mbar, max_c,
             heater_permille, extraction_w, nozzle_exit_um, nozzle_divergent_um, worn_um, collector_limit_pa, heel_g,
             fast_permille,
             coalesce((select value from reading_newest where what = 'heater-power'), heater_w)
               as "heater_w: i64",
             coalesce((select value from reading_newest where what = 'nozzle-bore'), throat_um)
               as "throat_um!: i64"
           from cell"#
    )
    .fetch_one(&mut *connection)
    .await?;
    let booked = !fed.is_empty() || feeder_is_booked(&mut *connection).await?;
    let feeder_g = booked.then(|| total(fed).grams_on_hand());
    let mut changeover_min = BTreeMap::new();
    let changes = sqlx::query!(
        r#"select from_id as "from_id: Uuid", to_id as "to_id: Uuid", minutes from changeover"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for change in changes {
        let pair = (
            code(&codes.powders, change.from_id)?,
            code(&codes.powders, change.to_id)?,
        );
        changeover_min.insert(pair, change.minutes);
    }
    Ok(Cell {
        name,
        free_from: at_if(row.free_from)?,
        feeder: row
            .feeder_id
            .map(|id| code(&codes.powders, id))
            .transpose()?,
        feeder_g,
        warm_up_min: row.warm_up_min,
        same_powder_min: row.same_powder_min,
        default_changeover_min: row.default_changeover_min,
        changeover_min,
        booth_mm: [row.booth_x_mm, row.booth_y_mm, row.booth_z_mm],
        max_part_g: row.max_part_g,
        throat_um: row.throat_um,
        discharge_permille: row.discharge_permille,
        carrier_permille: row.carrier_permille,
        max_mbar: row.max_mbar,
        max_c: row.max_c,
        heater_permille: row.heater_permille,
        extraction_w: row.extraction_w,
        heater_w: row.heater_w,
        divergent: row
            .nozzle_exit_um
            .zip(row.nozzle_divergent_um)
            .map(|(exit_um, length_um)| Divergent { exit_um, length_um }),
        worn_um: row.worn_um,
        collector_limit_pa: row.collector_limit_pa,
        heel_g: row.heel_g,
        fast_permille: row.fast_permille,
        closed: closures(connection)
            .await?
            .remove(&None)
            .unwrap_or_default(),
    })
}

pub(super) async fn stations(
    connection: &mut SqliteConnection,
) -> Result<Vec<Station>, sqlx::Error> {
    let mut closed = closures(connection).await?;
    sqlx::query!(
        r#"select id as "id: Uuid", code, name, slots, batch as "batch: bool", power_w from station order by rowid"#
    )
    .fetch_all(connection)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Station {
            code: word(&row.code)?,
            name: row.name,
            slots: row.slots,
            batch: row.batch,
            power_w: row.power_w,
            closed: closed.remove(&Some(row.id)).unwrap_or_default(),
        })
    })
    .collect()
}

/// By station; those of the cell by none.
async fn closures(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Option<Uuid>, Vec<Closed>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select station_id as "station_id: Uuid", from_ms, to_ms, slots, reason from closure order by from_ms"#
    )
    .fetch_all(connection)
    .await?;
    let mut closures: BTreeMap<Option<Uuid>, Vec<Closed>> = BTreeMap::new();
    for row in rows {
        let closed = Closed {
            from: at(row.from_ms)?,
            to: at(row.to_ms)?,
            slots: row.slots,
            reason: row.reason,
        };
        closures.entry(row.station_id).or_default().push(closed);
    }
    Ok(closures)
}

pub(super) async fn duty_hours(
    connection: &mut SqliteConnection,
) -> Result<Vec<DutyHours>, sqlx::Error> {
    let rows = sqlx::query!(
        "select days, from_min, to_min, crew, sprayers, machinists from duty_hours order by from_min"
    )
    .fetch_all(connection)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| DutyHours {
            days: WEEK
                .into_iter()
                .zip(row.days.chars())
                .filter(|(_, on)| *on == '1')
                .map(|(day, _)| day)
                .collect(),
            from: time_of_day(row.from_min),
            to: time_of_day(row.to_min),
            crew: row.crew,
            sprayers: row.sprayers,
            machinists: row.machinists,
        })
        .collect())
}

const WEEK: [Weekday; 7] = [
    Weekday::Mon,
    Weekday::Tue,
    Weekday::Wed,
    Weekday::Thu,
    Weekday::Fri,
    Weekday::Sat,
    Weekday::Sun,
];

/// Minutes since midnight, which the table keeps below a day.
fn time_of_day(minutes: i64) -> NaiveTime {
    let seconds = u32::try_from(minutes * 60).unwrap_or(0);
    NaiveTime::from_num_seconds_from_midnight_opt(seconds, 0).unwrap_or(NaiveTime::MIN)
}
