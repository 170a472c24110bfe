//! How the site plans, the cell, the stations, closures and duty hours.

use super::{Ids, id_of, optional_id};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::SiteData;
use chrono::{NaiveTime, Timelike, Weekday};
use mendpost_core::journal::Subject;
use mendpost_core::situation::{Closed, DutyHours, Site, Station};
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

pub(super) async fn cell(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    planning(change.connection(), &data.site).await?;
    insert_cell(change.connection(), data, ids).await?;
    for ((from, to), minutes) in &data.cell.changeover_min {
        let (from, to) = (id_of(&ids.powders, from)?, id_of(&ids.powders, to)?);
        sqlx::query!(
            "insert into changeover (from_id, to_id, minutes) values (?, ?, ?)",
            from,
            to,
            minutes
        )
        .execute(change.connection())
        .await?;
    }
    for closed in &data.cell.closed {
        closure(change.connection(), None, closed).await?;
    }
    let content = json!({
        "plan_days": data.site.plan_days,
        "need_permille": data.site.need_permille,
        "receiving_min": data.site.receiving_min,
        "loss_word": data.site.loss_word,
        "throat_um": data.cell.throat_um,
        "max_mbar": data.cell.max_mbar,
        "max_c": data.cell.max_c,
        "booth_mm": data.cell.booth_mm,
        "max_part_g": data.cell.max_part_g,
        "heater_w": data.cell.heater_w,
        "nozzle_exit_um": data.cell.divergent.map(|d| d.exit_um),
        "nozzle_divergent_um": data.cell.divergent.map(|d| d.length_um),
        "worn_um": data.cell.worn_um,
        "collector_limit_pa": data.cell.collector_limit_pa,
        "heel_g": data.cell.heel_g,
        "fast_permille": data.cell.fast_permille,
    });
    change
        .journal("cell.set-up", Subject::new("cell", 1), content)
        .await?;
    for station in &data.stations {
        let id = insert_station(change, station).await?;
        ids.stations.insert(station.code.clone(), id);
    }
    duty(change, &data.duty).await
}

async fn planning(connection: &mut SqliteConnection, site: &Site) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into planning (one, loss_word, plan_days, need_permille, receiving_min)
         values (1, ?, ?, ?, ?)",
        site.loss_word,
        site.plan_days,
        site.need_permille,
        site.receiving_min,
    )
    .execute(connection)
    .await?;
    Ok(())
}

async fn insert_cell(
    connection: &mut SqliteConnection,
    data: &SiteData,
    ids: &Ids,
) -> Result<(), AppError> {
    let cell = &data.cell;
    let free_from = cell.free_from.map(|t| t.timestamp_millis());
    let feeder = optional_id(&ids.powders, cell.feeder.as_ref())?;
    let [x, y, z] = cell.booth_mm;
    let exit_um = cell.divergent.map(|d| d.exit_um);
    let length_um = cell.divergent.map(|d| d.length_um);
    sqlx::query!(
        "insert into cell (one, free_from, feeder_id, warm_up_min, same_powder_min,
           default_changeover_min, booth_x_mm, booth_y_mm, booth_z_mm, max_part_g, throat_um,
           discharge_permille, carrier_permille, max_mbar, max_c, heater_permille, extraction_w,
           heater_w, nozzle_exit_um, nozzle_divergent_um, worn_um, collector_limit_pa, heel_g,
           fast_permille)
         values (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        free_from,
        feeder,
        cell.warm_up_min,
        cell.same_powder_min,
        cell.default_changeover_min,
        x,
        y,
        z,
        cell.max_part_g,
        cell.throat_um,
        cell.discharge_permille,
        cell.carrier_permille,
        cell.max_mbar,
        cell.max_c,
        cell.heater_permille,
        cell.extraction_w,
        cell.heater_w,
        exit_um,
        length_um,
        cell.worn_um,
        cell.collector_limit_pa,
        cell.heel_g,
        cell.fast_permille,
    )
    .execute(connection)
    .await?;
    Ok(())
}

async fn insert_station(change: &mut Change, station: &Station) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let code = station.code.as_str();
    sqlx::query!(
        "insert into station (id, code, name, slots, batch, power_w) values (?, ?, ?, ?, ?, ?)",
        id,
        code,
        station.name,
        station.slots,
        station.batch,
        station.power_w,
    )
    .execute(change.connection())
    .await?;
    for closed in &station.closed {
        closure(change.connection(), Some(id), closed).await?;
    }
    let content = json!({ "name": station.name, "slots": station.slots, "batch": station.batch, "power_w": station.power_w });
    change
        .journal("station.listed", Subject::new("station", code), content)
        .await?;
    Ok(id)
}

async fn closure(
    connection: &mut SqliteConnection,
    station: Option<Uuid>,
    closed: &Closed,
) -> Result<(), sqlx::Error> {
    let id = Uuid::now_v7();
    let (from, to) = (closed.from.timestamp_millis(), closed.to.timestamp_millis());
    sqlx::query!(
        "insert into closure (id, station_id, from_ms, to_ms, slots, reason)
         values (?, ?, ?, ?, ?, ?)",
        id,
        station,
        from,
        to,
        closed.slots,
        closed.reason,
    )
    .execute(connection)
    .await?;
    Ok(())
}

async fn duty(change: &mut Change, hours: &[DutyHours]) -> Result<(), AppError> {
    for stretch in hours {
        let id = Uuid::now_v7();
        let days = days(&stretch.days);
        let (from, to) = (minute(stretch.from), minute(stretch.to));
        sqlx::query!(
            "insert into duty_hours (id, days, from_min, to_min, crew, sprayers, machinists)
             values (?, ?, ?, ?, ?, ?, ?)",
            id,
            days,
            from,
            to,
            stretch.crew,
            stretch.sprayers,
            stretch.machinists,
        )
        .execute(change.connection())
        .await?;
        let content = json!({
            "days": days,
            "from_min": from,
            "to_min": to,
            "crew": stretch.crew,
            "sprayers": stretch.sprayers,
            "machinists": stretch.machinists,
        });
        change
            .journal("duty-hours.listed", Subject::new("duty-hours", id), content)
            .await?;
    }
    Ok(())
}

/// Seven characters, Monday first.
fn days(days: &[Weekday]) -> String {
    let mut day = Weekday::Mon;
    let mut text = String::new();
    for _ in 0..7 {
        text.push(if days.contains(&day) { '1' } else { '0' });
        day = day.succ();
    }
    text
}

fn minute(time: NaiveTime) -> i64 {
    i64::from(time.hour() * 60 + time.minute())
}
