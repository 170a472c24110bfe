//! A tool is reported out: dropped, worn, or found out of calibration.

use axum::extract::{Path, State};
use axum::response::Response;
use chrono::DateTime;
use mendpost_core::finish::Report;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::path;
use super::queries::{self, Listed};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, local_time, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, moment};
use crate::people::{Visit, Who};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ReportForm {
    since: String,
    reason: String,
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let listed = queries::one(&mut reading, &code).await?;
    form_page(
        &visit,
        &listed,
        &ReportForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<ReportForm>,
) -> Result<Response, AppError> {
    let zone = visit.site.zone;
    let mut errors = FieldErrors::default();
    let since = errors.check("since", local_time(&form.since, zone));
    if since.is_some_and(|since| since > visit.now) {
        let fault = format!("that is still to come: it is {}", moment(visit.now, zone));
        errors.add("since", fault);
    }
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let listed = queries::one(change.connection(), &code).await?;
    let (Some(since), Some(reason), true) = (since, reason, errors.is_empty()) else {
        drop(change);
        return form_page(&visit, &listed, &form, errors).await;
    };
    let subject = Subject::new("tool", &code);
    let content = json!({ "since_ms": since, "reason": reason });
    let journal = change
        .journal("tool.reported-out", subject, content)
        .await?;
    let time = |ms: i64| DateTime::from_timestamp_millis(ms).unwrap_or_default();
    let report = Report {
        at: time(change.now()),
        since: time(since),
        reason,
    };
    queries::insert_report(&mut change, listed.id, &report, &who.name, journal).await?;
    let text = format!(
        "{code}: none of its figures since {} counts. Journal {journal}. Hold what it measured.",
        moment(since, zone)
    );
    let location = format!("{}/touched", path(&code));
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

async fn form_page(
    visit: &Visit,
    listed: &Listed,
    form: &ReportForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let tool = &listed.tool;
    let act = ActPage {
        page: visit.layout(Screen::Site, &tool.code).await?,
        answer: format!("Report {} out.", tool.code),
        reason: "Every part that it measured since then is listed next.".to_owned(),
        pairs: vec![("Tool", tool.name.clone())],
        fields: vec![
            Field::time(
                "since",
                "Out since",
                &form.since,
                "if nobody knows: since it last showed right for certain",
            ),
            Field::area(
                "reason",
                "Why",
                &form.reason,
                "dropped, worn, found out by whom",
            ),
        ],
        action: format!("{}/report", path(&tool.code)),
        verb: "Report it out",
        detail: "its figures do not count".to_owned(),
        back: ("Leave it as it is", path(&tool.code)),
        ask: None,
        errors,
    };
    act.answer()
}
