//! A tool is listed, with its calibration.

use axum::extract::{Path, State};
use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::finish::{Calibration, Measures, Tool};
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::calibrate::{self, CalibrationForm};
use super::queries;
use super::words::measures as word;
use super::{PATH, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, decimal, plain_decimal, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ToolForm {
    code: String,
    name: String,
    least: String,
    most: String,
    resolution: String,
    #[serde(flatten)]
    calibration: CalibrationForm,
}

fn kind(of: &str) -> Result<Measures, AppError> {
    of.parse().map_err(|_| AppError::NotFound {
        what: format!("kind of tool '{of}'"),
    })
}

impl ToolForm {
    fn parse(
        &self,
        measures: Measures,
        zone: Tz,
        errors: &mut FieldErrors,
    ) -> Option<(Tool, Calibration)> {
        let places = measures.places();
        // A step is at most a tenth of a thousandth of the unit, a range at most 100 000 of it.
        let scale = 10_i64.pow(u32::try_from(places).unwrap_or(0));
        let figure = |typed: &str, from: i64| decimal(typed, places, from..=100_000 * scale);
        let code = code(&self.code, errors);
        let name = errors.check("name", text(&self.name, 80));
        let least = errors.check("least", figure(&self.least, -100_000 * scale));
        let most = errors.check("most", figure(&self.most, -100_000 * scale));
        let resolution = errors.check("resolution", figure(&self.resolution, 1));
        let calibration = self.calibration.parse(zone, errors);
        let (least, most) = (least?, most?);
        if most <= least {
            errors.add(
                "most",
                format!(
                    "give more than the least, {} {}",
                    plain_decimal(least, places),
                    measures.unit()
                ),
            );
            return None;
        }
        let tool = Tool {
            code: code?,
            name: name?,
            measures,
            range: [least, most],
            resolution: resolution?,
            calibrations: Vec::new(),
            reports: Vec::new(),
        };
        Some((tool, calibration?))
    }
}

/// One step of an address, as every code.
fn code(typed: &str, errors: &mut FieldErrors) -> Option<String> {
    let code = crate::form::new_code::<mendpost_core::code::KitCode>(typed, "code", errors)?;
    if code.as_str().eq_ignore_ascii_case("add") {
        errors.add("code", "'add' is taken by the page itself; give another");
        return None;
    }
    Some(code.to_string())
}

pub(super) async fn blank(visit: Visit, Path(of): Path<String>) -> Result<Response, AppError> {
    let form = ToolForm::default();
    form_page(&visit, kind(&of)?, &form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(of): Path<String>,
    Posted(form): Posted<ToolForm>,
) -> Result<Response, AppError> {
    let measures = kind(&of)?;
    let mut errors = FieldErrors::default();
    let parsed = form.parse(measures, visit.site.zone, &mut errors);
    if let Some((_, calibration)) = &parsed {
        calibrate::in_time(calibration, visit.now, visit.site.zone, &mut errors);
    }
    let (Some((tool, calibration)), true) = (parsed, errors.is_empty()) else {
        return form_page(&visit, measures, &form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let all = queries::all(change.connection()).await?;
    if let Some(known) = all.iter().find(|it| it.tool.code == tool.code) {
        drop(change);
        let fault = format!("{} is {} already; give another", tool.code, known.tool.name);
        errors.add("code", fault);
        return form_page(&visit, measures, &form, errors).await;
    }
    let journal = list(&mut change, &tool, &calibration, &who.name).await?;
    let text = format!("{}, {}. Journal {journal}.", tool.code, tool.name);
    let location = path(&tool.code);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// Lists a tool with its calibration; the entry's sequence.
pub async fn list(
    change: &mut Change,
    tool: &Tool,
    calibration: &Calibration,
    by: &str,
) -> Result<i64, AppError> {
    let id = queries::insert(change, tool).await?;
    let content = json!({
        "name": tool.name,
        "measures": tool.measures,
        "range": tool.range,
        "resolution": tool.resolution,
    });
    let subject = || Subject::new("tool", &tool.code);
    change.journal("tool.listed", subject(), content).await?;
    let content = calibrate::content(calibration);
    let sequence = change
        .journal("tool.calibrated", subject(), content)
        .await?;
    queries::insert_calibration(change, id, calibration, by, sequence).await?;
    Ok(sequence)
}

async fn form_page(
    visit: &Visit,
    measures: Measures,
    form: &ToolForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let unit = measures.unit();
    let mut fields = vec![
        Field::text("code", "Number", &form.code, "as it stands on it: M-07"),
        Field::text(
            "name",
            "Name",
            &form.name,
            "as the crew calls it, with its size",
        ),
        Field::amount("least", "Shows from", &form.least, unit, ""),
        Field::amount("most", "to", &form.most, unit, ""),
        Field::amount(
            "resolution",
            "Scale division",
            &form.resolution,
            unit,
            "the finest step that it shows",
        ),
    ];
    fields.extend(form.calibration.fields());
    let act = ActPage {
        page: visit.layout(Screen::Site, "Add a measuring tool").await?,
        answer: format!("Add a tool that measures {}.", word(measures)),
        reason: "Its figures count from its calibration until that runs out.".to_owned(),
        pairs: Vec::new(),
        fields,
        action: format!("{PATH}/add/{measures}"),
        verb: "Add it",
        detail: String::new(),
        back: ("Add nothing", PATH.to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}
