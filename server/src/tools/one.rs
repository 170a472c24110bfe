//! One tool: where it stands, its certificates, and what was reported of it.

use askama::Template;
use axum::response::Response;
use mendpost_core::people::Act;

use super::queries::{self, Listed};
use super::words::{fault, figure, measures, range, stands};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "tools/one.html")]
struct OnePage {
    page: Layout,
    answer: String,
    code: String,
    mark: &'static str,
    word: &'static str,
    pairs: Vec<(&'static str, String)>,
    /// Certificate, from, until, entered by; the newest first.
    calibrations: Vec<(String, String, String, String)>,
    /// Reason, since, reported, by whom; the newest first.
    reports: Vec<(String, String, String, String)>,
    may_keep: bool,
    may_report: bool,
}

pub(super) async fn show(
    state: &AppState,
    visit: &Visit,
    code: &str,
) -> Result<Response, AppError> {
    let now = visit.moment()?;
    let mut reading = state.db.read.acquire().await?;
    let listed = queries::one(&mut reading, code).await?;
    drop(reading);
    let layout = visit.layout(Screen::Site, code).await?;
    let tool = &listed.tool;
    let (mark, word) = stands(tool, now);
    let answer = match tool.fault_at(now) {
        Some(why) => sentence(&fault(tool, &why, visit.site.zone)) + ".",
        None => format!("Measure with {code}: its figures count."),
    };
    page(&OnePage {
        answer,
        code: code.to_owned(),
        mark,
        word,
        pairs: vec![
            ("Tool", sentence(&tool.name)),
            ("Measures", measures(tool.measures).to_owned()),
            ("Range", range(tool)),
            ("Scale division", figure(tool.measures, tool.resolution)),
        ],
        calibrations: calibrations(&layout, &listed),
        reports: reports(&layout, &listed),
        may_keep: visit.may(Act::KeepTools),
        may_report: visit.may(Act::DoWork),
        page: layout,
    })
}

fn calibrations(page: &Layout, listed: &Listed) -> Vec<(String, String, String, String)> {
    let all = listed.tool.calibrations.iter().zip(&listed.calibrated_by);
    let row = all.rev().map(|(it, by)| {
        (
            it.certificate.clone(),
            page.moment(&it.at.timestamp_millis()),
            page.day(&it.due.timestamp_millis()),
            by.clone(),
        )
    });
    row.collect()
}

fn reports(page: &Layout, listed: &Listed) -> Vec<(String, String, String, String)> {
    let all = listed.tool.reports.iter().zip(&listed.reported_by);
    let row = all.rev().map(|(it, by)| {
        (
            it.reason.clone(),
            page.moment(&it.since.timestamp_millis()),
            page.moment(&it.at.timestamp_millis()),
            by.clone(),
        )
    });
    row.collect()
}
