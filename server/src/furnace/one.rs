//! One load: what was in it, where that is now, and what its chart shows.

use askama::Template;
use axum::response::Response;
use mendpost_core::people::Act;

use super::list::stands;
use super::queries::Load;
use super::{find, path};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, minutes, page};
use crate::people::Visit;
use crate::powder::lot_path;
use crate::requests::{History, named, whereabouts};

#[derive(Template)]
#[template(path = "furnace/one.html")]
struct OnePage {
    page: Layout,
    answer: String,
    reason: String,
    code: String,
    mark: &'static str,
    word: &'static str,
    pairs: Vec<(&'static str, String)>,
    parts: Vec<PartRow>,
    /// Container, lot, its address, powder.
    containers: Vec<(String, String, String, String)>,
    /// What went wrong, by whom and when.
    excursions: Vec<(String, String)>,
    path: String,
    may_work: bool,
    is_open: bool,
    is_given_up: bool,
}

struct PartRow {
    path: String,
    code: String,
    name: String,
    operation: String,
    place: String,
    held: String,
}

pub(super) async fn show(
    state: &AppState,
    visit: &Visit,
    number: &str,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let load = find(&mut reading, number).await?;
    let mut parts = Vec::new();
    for part in &load.parts {
        let request = named(&mut reading, &part.request.to_string()).await?;
        let history = History::load(&mut reading, &request).await?;
        let open = history.holds.iter().find(|hold| hold.is_open());
        parts.push(PartRow {
            path: format!("/requests/{}", part.request),
            code: format!("R{}", part.request),
            name: part.part_name.clone(),
            operation: format!(
                "{} {}, {} rev {}",
                part.position, part.name, part.code, part.revision
            ),
            place: whereabouts(&request, &history).words(&request.asset),
            held: open.map_or_else(String::new, |hold| format!("hold {}", hold.number)),
        });
    }
    drop(reading);
    let layout = visit
        .layout(Screen::Cell, &format!("Load {}", load.code()))
        .await?;
    let (mark, word) = stands(&load);
    let (answer, reason) = answer(&load);
    page(&OnePage {
        answer,
        reason,
        code: load.code(),
        mark,
        word,
        pairs: pairs(&layout, &load),
        parts,
        containers: load
            .containers
            .iter()
            .map(|it| {
                (
                    it.code.clone(),
                    it.lot.clone(),
                    lot_path(&it.lot),
                    it.powder.clone(),
                )
            })
            .collect(),
        excursions: load
            .excursions
            .iter()
            .map(|it| {
                let by = format!("{}, from {}", it.by, layout.moment(&it.at_ms));
                (it.what.clone(), by)
            })
            .collect(),
        path: path(load.number),
        may_work: visit.may(Act::DoWork),
        is_open: load.is_open(),
        is_given_up: load
            .closed
            .as_ref()
            .is_some_and(|closed| closed.soak.is_none()),
        page: layout,
    })
}

fn answer(load: &Load) -> (String, String) {
    let code = load.code();
    match &load.closed {
        None => (
            format!("Close load {code} when its soak is over."),
            String::new(),
        ),
        Some(closed) if closed.soak.is_none() => (
            format!("Load {code} was given up: nothing in it was treated."),
            closed.note.clone(),
        ),
        Some(_) if !load.excursions.is_empty() => (
            format!("Have each part of load {code} judged, or treat it again: its soak is void."),
            String::new(),
        ),
        Some(_) => (format!("Load {code} is closed."), String::new()),
    }
}

fn pairs(page: &Layout, load: &Load) -> Vec<(&'static str, String)> {
    let mut pairs = vec![
        ("Furnace", load.station_name.clone()),
        ("Set to", format!("{} °C", load.set_c)),
        (
            "Opened",
            format!("{}, {}", load.by, page.moment(&load.opened_ms)),
        ),
    ];
    if !load.dries() {
        pairs.push(("Cycle", load.cycle.clone()));
    }
    let Some(closed) = &load.closed else {
        return pairs;
    };
    if let Some(soak) = closed.soak {
        let long = (soak.to_ms - soak.from_ms) / 60_000;
        pairs.push(("At the soak", format!("{} °C", soak.actual_c)));
        pairs.push((
            "Soak",
            format!(
                "{} to {}, {}",
                page.moment(&soak.from_ms),
                page.moment(&soak.to_ms),
                minutes(long)
            ),
        ));
        pairs.push(("Chart", closed.chart.clone()));
        pairs.push(("Run by", closed.operator.clone()));
    }
    pairs.push((
        "Closed",
        format!("{}, {}", closed.by, page.moment(&closed.at_ms)),
    ));
    if !closed.note.is_empty() {
        pairs.push(("Note", closed.note.clone()));
    }
    pairs
}
