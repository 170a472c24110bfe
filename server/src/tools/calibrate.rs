//! A tool is calibrated: by which certificate, when, and until when its figures count.

use axum::extract::{Path, State};
use axum::response::Response;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::finish::Calibration;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::{Value, json};

use super::path;
use super::queries::{self, Listed};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldError, FieldErrors, Posted, date, local_time, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, moment};
use crate::people::{Visit, Who};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct CalibrationForm {
    certificate: String,
    calibrated: String,
    due: String,
}

impl CalibrationForm {
    pub(super) fn fields(&self) -> [Field; 3] {
        [
            Field::text(
                "certificate",
                "Certificate",
                &self.certificate,
                "its number, or what else says that it shows what is there",
            ),
            Field::time("calibrated", "Calibrated", &self.calibrated, ""),
            Field::text(
                "due",
                "Due again",
                &self.due,
                "year-month-day, as 2027-05-31; its figures count until the end of that day",
            ),
        ]
    }

    pub(super) fn parse(&self, zone: Tz, errors: &mut FieldErrors) -> Option<Calibration> {
        let certificate = errors.check("certificate", text(&self.certificate, 80));
        let at = errors.check("calibrated", local_time(&self.calibrated, zone));
        let due = errors.check("due", end_of(&self.due, zone));
        let time = |ms: i64| DateTime::from_timestamp_millis(ms);
        let (at, due) = (time(at?)?, time(due?)?);
        if due < at {
            errors.add("due", "that is before it was calibrated");
            return None;
        }
        Some(Calibration {
            certificate: certificate?,
            at,
            due,
        })
    }
}

/// The last minute of a day.
fn end_of(typed: &str, zone: Tz) -> Result<i64, FieldError> {
    local_time(&format!("{}T23:59", date(typed)?), zone)
}

/// Notes a calibration that is still to come.
pub(super) fn in_time(calibration: &Calibration, now: i64, zone: Tz, errors: &mut FieldErrors) {
    if calibration.at.timestamp_millis() > now {
        let fault = format!("that is still to come: it is {}", moment(now, zone));
        errors.add("calibrated", fault);
    }
}

/// What the journal holds of it.
pub(super) fn content(calibration: &Calibration) -> Value {
    let ms = |at: DateTime<Utc>| at.timestamp_millis();
    json!({
        "certificate": calibration.certificate,
        "calibrated_ms": ms(calibration.at),
        "due_ms": ms(calibration.due),
    })
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let listed = queries::one(&mut reading, &code).await?;
    let form = CalibrationForm::default();
    form_page(&visit, &listed, &form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<CalibrationForm>,
) -> Result<Response, AppError> {
    let zone = visit.site.zone;
    let mut errors = FieldErrors::default();
    let calibration = form.parse(zone, &mut errors);
    if let Some(calibration) = &calibration {
        in_time(calibration, visit.now, zone, &mut errors);
    }
    let mut change = Change::begin(&state, &who).await?;
    let listed = queries::one(change.connection(), &code).await?;
    let now = visit.moment()?;
    if let (Some(new), Some(report)) = (&calibration, listed.tool.reported(now))
        && new.at <= report.since
    {
        let fault = format!(
            "it is reported out since {}; give a calibration of after that",
            moment(report.since.timestamp_millis(), zone)
        );
        errors.add("calibrated", fault);
    }
    let (Some(calibration), true) = (calibration, errors.is_empty()) else {
        drop(change);
        return form_page(&visit, &listed, &form, errors).await;
    };
    let subject = Subject::new("tool", &code);
    let journal = change
        .journal("tool.calibrated", subject, content(&calibration))
        .await?;
    queries::insert_calibration(&mut change, listed.id, &calibration, &who.name, journal).await?;
    let due = moment(calibration.due.timestamp_millis(), zone);
    let text = format!("{code}: its figures count until {due}. Journal {journal}.");
    change
        .finish(&who, &path(&code), Notice::done("SAVED", text))
        .await
}

async fn form_page(
    visit: &Visit,
    listed: &Listed,
    form: &CalibrationForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let tool = &listed.tool;
    let now = visit.moment()?;
    let stands = tool.calibrated(now).map_or_else(
        || "never calibrated".to_owned(),
        |it| {
            format!(
                "until {}, {}",
                moment(it.due.timestamp_millis(), visit.site.zone),
                it.certificate
            )
        },
    );
    let act = ActPage {
        page: visit.layout(Screen::Site, &tool.code).await?,
        answer: format!("Enter the calibration of {}.", tool.code),
        reason: "If it was found out, report that too: the parts that it measured are listed then."
            .to_owned(),
        pairs: vec![("Tool", tool.name.clone()), ("Calibrated", stands)],
        fields: form.fields().into(),
        action: format!("{}/calibrate", path(&tool.code)),
        verb: "Calibrated",
        detail: "its figures count again".to_owned(),
        back: ("Leave it as it is", path(&tool.code)),
        ask: None,
        errors,
    };
    act.answer()
}
