//! What was typed of a load.

use chrono_tz::Tz;
use mendpost_core::finish::may_join;
use serde::Deserialize;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::queries::{Load, Soak};
use super::ready::Ready;
use crate::form::{FieldErrors, integer, local_time, optional_text, text};
use crate::page::moment;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct OpenForm {
    pub station: String,
    pub set_c: String,
    /// Numbers of the requests whose parts go in.
    pub part: Vec<String>,
    /// Codes of containers that dry, with blanks between.
    pub containers: String,
}

/// What goes into a load.
pub struct Contents<'a> {
    pub parts: Vec<&'a Ready<'a>>,
    pub containers: Vec<(Uuid, String)>,
}

impl OpenForm {
    /// The parts and containers that were chosen; `load` is where they are to go: its furnace, the cycle that it runs
    /// (none yet where it is being opened), and how many it takes and holds.
    pub async fn contents<'a>(
        &self,
        connection: &mut SqliteConnection,
        ready: &'a [Ready<'a>],
        load: Option<&Load>,
        slots: i64,
        errors: &mut FieldErrors,
    ) -> Result<Contents<'a>, sqlx::Error> {
        let mut parts: Vec<&Ready<'_>> = Vec::new();
        for typed in &self.part {
            let found = ready
                .iter()
                .find(|part| part.number().to_string() == *typed);
            let Some(part) = found else {
                errors.add(
                    "part",
                    format!("R{typed} is not ready for the furnace any more"),
                );
                continue;
            };
            let first = parts.first().copied();
            let into = match (load, first) {
                (Some(load), _) => (&load.station, load.cycle.as_str()),
                (None, Some(first)) => (&first.station, first.cycle.as_str()),
                (None, None) => (&part.station, part.cycle.as_str()),
            };
            let taken = load.map_or(0, |load| load.parts.len()) + parts.len();
            let asks = (&part.station, part.cycle.as_str());
            if let Err(fault) = may_join(into, asks, (slots, taken)) {
                errors.add("part", format!("{}: {fault}", part.code));
            }
            parts.push(part);
        }
        let containers = self.dried(connection, errors).await?;
        let dries = load.is_some_and(Load::dries);
        if load.is_some() && !dries && !containers.is_empty() {
            errors.add(
                "containers",
                "parts are in this load; powder dries in one of its own",
            );
        }
        if dries && !parts.is_empty() {
            errors.add(
                "part",
                "powder dries in this load; parts go into one of their own",
            );
        }
        if !parts.is_empty() && !containers.is_empty() {
            errors.add(
                "containers",
                "parts and powder do not share a load; open two",
            );
        }
        if parts.is_empty() && containers.is_empty() && errors.is_empty() {
            errors.add("part", "say what goes in: parts, or containers of powder");
        }
        Ok(Contents { parts, containers })
    }

    async fn dried(
        &self,
        connection: &mut SqliteConnection,
        errors: &mut FieldErrors,
    ) -> Result<Vec<(Uuid, String)>, sqlx::Error> {
        let mut found: Vec<(Uuid, String)> = Vec::new();
        for code in self.containers.split_whitespace() {
            let row = sqlx::query!(
                r#"select c.id as "id: Uuid", c.code, l.code as lot, l.state from container c
                   join lot l on l.id = c.lot_id where c.code = ?"#,
                code
            )
            .fetch_optional(&mut *connection)
            .await?;
            match row {
                None => errors.add("containers", format!("no container '{code}' is on record")),
                Some(row) if ["rejected", "empty"].contains(&row.state.as_str()) => {
                    let fault = format!("lot {} of {code} is {}", row.lot, row.state);
                    errors.add("containers", fault);
                }
                Some(row) if found.iter().all(|(id, _)| *id != row.id) => {
                    found.push((row.id, row.code));
                }
                Some(_) => {}
            }
        }
        Ok(found)
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct CloseForm {
    pub actual_c: String,
    pub soak_from: String,
    pub soak_to: String,
    pub chart: String,
    pub operator: String,
    pub note: String,
}

/// A load's end as it will be entered.
pub struct NewClosed {
    pub soak: Soak,
    pub chart: String,
    pub operator: String,
    pub note: String,
}

impl CloseForm {
    /// `before` is when what comes before it was done for the last of its parts.
    pub fn parse(
        &self,
        (now, before): (i64, Option<i64>),
        zone: Tz,
        errors: &mut FieldErrors,
    ) -> Option<NewClosed> {
        let actual_c = errors.check("actual_c", integer(&self.actual_c, -50..=1700));
        let from = errors.check("soak_from", local_time(&self.soak_from, zone));
        let to = errors.check("soak_to", local_time(&self.soak_to, zone));
        let chart = errors.check("chart", text(&self.chart, 80));
        let operator = errors.check("operator", text(&self.operator, 80));
        let note = errors.check("note", optional_text(&self.note, 400));
        let (from_ms, to_ms) = (from?, to?);
        if to_ms > now {
            let fault = format!("that is still to come: it is {}", moment(now, zone));
            errors.add("soak_to", fault);
        }
        if to_ms <= from_ms {
            errors.add("soak_to", "that is not after the begin of the soak");
        }
        // Fields know no seconds.
        if let Some(before) = before.filter(|before| from_ms < before - before.rem_euclid(60_000)) {
            let fault = format!(
                "what comes before it was done {}; give a time after it",
                moment(before, zone)
            );
            errors.add("soak_from", fault);
        }
        Some(NewClosed {
            soak: Soak {
                actual_c: actual_c?,
                from_ms,
                to_ms,
            },
            chart: chart?,
            operator: operator?,
            note: note?.unwrap_or_default(),
        })
    }
}
