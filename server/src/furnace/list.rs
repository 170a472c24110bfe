//! The newest loads, the open ones first, and what waits for a furnace.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::people::Act;
use serde::Deserialize;

use super::queries::{Load, newest, open_loads};
use super::ready::ready;
use super::{PATH, path};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::situation;
use crate::words::Words;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "furnace/list.html")]
struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
    /// The address of older ones.
    older: Option<String>,
    /// What waits for a furnace: the part, and for which cycle.
    waits: Vec<(String, String, String)>,
    may_open: bool,
}

struct Row {
    code: String,
    path: String,
    mark: &'static str,
    word: &'static str,
    station: String,
    contents: String,
    set: String,
    when: String,
    chart: String,
}

#[derive(Deserialize)]
pub(super) struct From {
    before: Option<i64>,
}

/// So many stand on a page.
const MOST: i64 = 50;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    let now = visit.moment()?;
    let mut reading = state.db.read.begin().await?;
    let mut all = open_loads(&mut reading).await?;
    let older = newest(&mut reading, from.before.unwrap_or(i64::MAX), MOST).await?;
    let last = older.last().map(|load| load.number);
    let is_closed = |load: &Load| !load.is_open();
    all.extend(older.into_iter().filter(is_closed));
    let situation = situation::load(&mut reading, now).await?;
    drop(reading);
    let layout = visit.layout(Screen::Cell, "Furnace loads").await?;
    let words = Words::new(&situation);
    let waits: Vec<(String, String, String)> = ready(&situation, &all)
        .iter()
        .map(|part| {
            let name = sentence(&words.request(part.code.as_str()));
            let asks = format!(
                "{}, cycle {}",
                words.station(part.station.as_str()),
                part.cycle
            );
            (name, asks, format!("/requests/{}", part.number()))
        })
        .collect();
    let rows = all.iter().map(|load| row(&layout, load)).collect();
    let open = all.iter().find(|load| load.is_open());
    page(&ListPage {
        answer: match (open, waits.len()) {
            (Some(load), _) => format!("Close load {} when its soak is over.", load.code()),
            (None, 0) => "Nothing waits for the furnace.".to_owned(),
            (None, 1) => "Open a load: one part waits for the furnace.".to_owned(),
            (None, many) => format!("Open a load: {many} parts wait for the furnace."),
        },
        rows,
        older: last
            .filter(|number| *number > 1)
            .map(|number| format!("{PATH}?before={number}")),
        waits,
        may_open: visit.may(Act::DoWork),
        page: layout,
    })
}

/// Mark and word of where a load stands.
pub(super) fn stands(load: &Load) -> (&'static str, &'static str) {
    let void = !load.excursions.is_empty();
    match &load.closed {
        None if void => ("hold", "open, disturbed"),
        None => ("work", "open"),
        Some(closed) if closed.soak.is_none() => ("lost", "given up"),
        Some(_) if void => ("hold", "void until judged"),
        Some(_) => ("done", "closed"),
    }
}

fn row(page: &Layout, load: &Load) -> Row {
    let (mark, word) = stands(load);
    let closed = load.closed.as_ref();
    let soak = closed.and_then(|closed| closed.soak);
    let parts: Vec<String> = load
        .parts
        .iter()
        .map(|part| format!("R{}", part.request))
        .collect();
    let containers: Vec<String> = load.containers.iter().map(|it| it.code.clone()).collect();
    Row {
        code: load.code(),
        path: path(load.number),
        mark,
        word,
        station: load.station_name.clone(),
        contents: match load.dries() {
            true => format!("dries {}", containers.join(", ")),
            false => format!("{}; {}", parts.join(", "), load.cycle),
        },
        set: match soak {
            Some(soak) => format!("{} °C, {} °C found", load.set_c, soak.actual_c),
            None => format!("{} °C", load.set_c),
        },
        when: match soak {
            Some(soak) => format!(
                "{} to {}",
                page.clock(&soak.from_ms),
                page.clock(&soak.to_ms)
            ),
            None => format!("opened {}", page.clock(&load.opened_ms)),
        },
        chart: closed.map_or_else(String::new, |closed| closed.chart.clone()),
    }
}
