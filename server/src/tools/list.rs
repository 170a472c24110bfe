//! The register of tools.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use chrono::{DateTime, TimeDelta, Utc};
use mendpost_core::finish::{Measures, Tool};
use mendpost_core::people::Act;

use super::queries;
use super::words::{figure, measures, range, stands};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "tools/list.html")]
struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
    may_keep: bool,
    /// Word and address of each kind that may be added.
    kinds: Vec<(String, &'static str)>,
}

struct Row {
    code: String,
    path: String,
    name: String,
    mark: &'static str,
    word: &'static str,
    measures: &'static str,
    range: String,
    resolution: String,
    due: String,
    certificate: String,
}

/// How long before its due date a tool is told (common practice, no source): a fortnight.
const SOON_DAYS: i64 = 14;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let now = visit.moment()?;
    let mut reading = state.db.read.acquire().await?;
    let all = queries::all(&mut reading).await?;
    drop(reading);
    let layout = visit.layout(Screen::Site, "Measuring tools").await?;
    let tools: Vec<&Tool> = all.iter().map(|listed| &listed.tool).collect();
    page(&ListPage {
        answer: answer(&layout, &tools, now),
        rows: tools.iter().map(|tool| row(&layout, tool, now)).collect(),
        may_keep: visit.may(Act::KeepTools),
        kinds: Measures::ALL
            .iter()
            .map(|of| (measures(*of).to_owned(), of.as_str()))
            .collect(),
        page: layout,
    })
}

fn answer(page: &Layout, tools: &[&Tool], now: DateTime<Utc>) -> String {
    if tools.is_empty() {
        return "Add the first tool: no figure counts without one.".to_owned();
    }
    let out: Vec<&str> = tools
        .iter()
        .filter(|tool| tool.fault_at(now).is_some())
        .map(|tool| tool.code.as_str())
        .collect();
    match out.as_slice() {
        [] => {}
        [one] => return format!("Measure with others than {one}: no figure of it counts now."),
        many => {
            let many = many.join(", ");
            return format!("Measure with others than {many}: no figure of them counts now.");
        }
    }
    let due = |tool: &&&Tool| tool.calibrated(now).map(|it| it.due);
    let first = tools.iter().filter_map(|tool| Some((due(&tool)?, *tool)));
    let first = first.min_by_key(|(due, _)| *due);
    match first.filter(|(due, _)| *due < now + TimeDelta::days(SOON_DAYS)) {
        Some((due, tool)) => format!(
            "Have {} calibrated by {}.",
            tool.code,
            page.day(&due.timestamp_millis())
        ),
        None => "Measure with any of these: every figure counts.".to_owned(),
    }
}

fn row(page: &Layout, tool: &Tool, now: DateTime<Utc>) -> Row {
    let (mark, word) = stands(tool, now);
    let newest = tool.calibrated(now);
    Row {
        path: super::path(&tool.code),
        code: tool.code.clone(),
        name: sentence(&tool.name),
        mark,
        word,
        measures: measures(tool.measures),
        range: range(tool),
        resolution: figure(tool.measures, tool.resolution),
        due: newest.map_or_else(
            || "never calibrated".to_owned(),
            |it| page.day(&it.due.timestamp_millis()),
        ),
        certificate: newest.map_or_else(String::new, |it| it.certificate.clone()),
    }
}
