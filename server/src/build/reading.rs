//! Readings of a build: what was read is typed, the rest stays empty.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::build::{LEAST_OXYGEN_PERMILLE, Reading};
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::mark::open;
use super::pages::{Typed, build_page};
use super::path;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, decimal, integer};
use crate::page::Notice;
use crate::people::{Visit, Who};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct ReadForm {
    pub pressure: String,
    pub temperature: String,
    pub heater: String,
    pub feed: String,
    pub feeder_left: String,
    pub draught: String,
    pub humidity: String,
    pub oxygen: String,
    pub thickness: String,
    pub read_pass: String,
}

/// A field of the form: which reading, its name, label and unit, the figures after the point, and its range as kept.
pub(super) struct Field {
    pub reading: Reading,
    pub name: &'static str,
    pub label: &'static str,
    pub unit: &'static str,
    places: usize,
    range: (i64, i64),
}

pub(super) const FIELDS: [Field; 9] = [
    field(
        Reading::Pressure,
        "pressure",
        "Gas before the nozzle",
        "bar abs",
        3,
        (0, 100_000),
    ),
    field(
        Reading::Temperature,
        "temperature",
        "Gas temperature",
        "°C",
        3,
        (-50_000, 1_300_000),
    ),
    field(
        Reading::Heater,
        "heater",
        "Heater takes",
        "kW",
        3,
        (0, 1_000_000),
    ),
    field(Reading::Feed, "feed", "Feed", "g/min", 3, (0, 10_000_000)),
    field(
        Reading::FeederLeft,
        "feeder_left",
        "Left in the feeder",
        "g",
        3,
        (0, 100_000_000),
    ),
    field(
        Reading::Draught,
        "draught",
        "Booth below the air outside",
        "Pa",
        0,
        (-5_000, 5_000),
    ),
    field(
        Reading::Humidity,
        "humidity",
        "Humidity",
        "%",
        1,
        (0, 1_000),
    ),
    field(
        Reading::Oxygen,
        "oxygen",
        "Oxygen in the booth",
        "%",
        1,
        (0, 1_000),
    ),
    field(
        Reading::Thickness,
        "thickness",
        "Thickness of the deposit",
        "mm",
        3,
        (0, 500_000),
    ),
];

const fn field(
    reading: Reading,
    name: &'static str,
    label: &'static str,
    unit: &'static str,
    places: usize,
    range: (i64, i64),
) -> Field {
    Field {
        reading,
        name,
        label,
        unit,
        places,
        range,
    }
}

impl ReadForm {
    /// What was typed for one reading.
    pub fn of(&self, reading: &Reading) -> &str {
        match reading {
            Reading::Pressure => &self.pressure,
            Reading::Temperature => &self.temperature,
            Reading::Heater => &self.heater,
            Reading::Feed => &self.feed,
            Reading::FeederLeft => &self.feeder_left,
            Reading::Draught => &self.draught,
            Reading::Humidity => &self.humidity,
            Reading::Oxygen => &self.oxygen,
            Reading::Thickness => &self.thickness,
        }
    }
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<ReadForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let mut read: Vec<(Reading, i64)> = Vec::new();
    for field in &FIELDS {
        let typed = form.of(&field.reading).trim();
        if !typed.is_empty() {
            let range = field.range.0..=field.range.1;
            let value = errors.check(field.name, decimal(typed, field.places, range));
            read.extend(value.map(|value| (field.reading, value)));
        }
    }
    if read.is_empty() && errors.is_empty() {
        errors.add("pressure", "enter at least one reading");
    }
    let pass = match form.read_pass.trim() {
        "" => None,
        typed => errors.check("read_pass", integer(typed, 0..=100_000)),
    };
    if !errors.is_empty() {
        let typed = Typed {
            read: form,
            errors,
            ..Typed::default()
        };
        return build_page(&state, &visit, number, typed).await;
    }
    let mut change = Change::begin(&state, &who).await?;
    let build = open(&mut change, number).await?;
    let values: serde_json::Map<String, serde_json::Value> = read
        .iter()
        .map(|(what, value)| (what.as_str().to_owned(), json!(value)))
        .collect();
    let content = json!({ "pass": pass, "read": values });
    let subject = Subject::new("build", number);
    let entry = change.journal("build.read", subject, content).await?;
    let now = change.now();
    for (what, value) in &read {
        let what = what.as_str();
        sqlx::query!(
            "insert into build_reading (journal_sequence, build_id, what, value, pass, at_ms, done_by, person_id)
             values (?, ?, ?, ?, ?, ?, ?, ?)",
            entry,
            build.id,
            what,
            value,
            pass,
            now,
            who.name,
            who.id,
        )
        .execute(change.connection())
        .await?;
    }
    let low = |it: &&(Reading, i64)| it.0 == Reading::Oxygen && it.1 < LEAST_OXYGEN_PERMILLE;
    let notice = match read.iter().find(low) {
        Some(_) => Notice::wrong(
            "OXYGEN LOW.",
            format!(
                "Gas off, everybody out, nobody in before the meter shows 19.5 % or more. Journal {entry}."
            ),
        ),
        None => Notice::done("SAVED", format!("Read, journal {entry}.")),
    };
    change.finish(&who, &path(number), notice).await
}
