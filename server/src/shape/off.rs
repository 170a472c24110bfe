//! Taking a shape off its part; it stays on record.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::Part;
use serde::Deserialize;
use sqlx::SqliteExecutor;

use super::path;
use super::queries::{self, Kept};
use crate::AppState;
use crate::catalogue::part_of;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::situation;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct OffForm {
    reason: String,
    /// Which giving was looked at.
    given: String,
}

pub async fn ask_why(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let kept = queries::of_part(&state.db.read, &code).await?;
    let kept = kept.ok_or_else(|| AppError::NotFound {
        what: format!("shape of part {code}"),
    })?;
    let form = OffForm {
        given: kept.given.to_string(),
        ..OffForm::default()
    };
    off_page(&visit, part, &kept, &form, FieldErrors::default()).await
}

pub async fn take_off(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<OffForm>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let mut errors = FieldErrors::default();
    let Some(reason) = errors.check("reason", text(&form.reason, 500)) else {
        let kept = kept(&state.db.read, &code).await?;
        return off_page(&visit, part, &kept, &form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let kept = kept(change.connection(), &code).await?;
    if form.given.parse() != Ok(kept.given) {
        drop(change);
        form.given = kept.given.to_string();
        errors.add_whole(format!(
            "Not taken off: {code} was given another shape meanwhile, “{}”. Look at it, then take it \
             off or leave it.",
            kept.file_name
        ));
        let mut answer = off_page(&visit, part, &kept, &form, errors).await?;
        *answer.status_mut() = StatusCode::CONFLICT;
        return Ok(answer);
    }
    let journal = queries::take_off(&mut change, &code, &kept, (&reason, &who.name)).await?;
    let text = format!(
        "the {} has the shape of “{}” no more; it stays on record. Journal {journal}.",
        part.name, kept.file_name
    );
    let location = format!("/catalogue/{code}");
    let notice = Notice::done("TAKEN OFF", text);
    change.finish(&who, &location, notice).await
}

/// The shape that the part has.
async fn kept(executor: impl SqliteExecutor<'_>, code: &str) -> Result<Kept, AppError> {
    let kept = queries::of_part(executor, code).await?;
    kept.ok_or_else(|| {
        AppError::Conflict(format!("{code} has no shape; there is none to take off"))
    })
}

async fn off_page(
    visit: &Visit,
    part: &Part,
    kept: &Kept,
    form: &OffForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let page = visit.layout(Screen::Catalogue, part.code.as_str()).await?;
    let given = format!("{} by {}", page.moment(&kept.given_ms), kept.given_by);
    let act = ActPage {
        answer: format!("Take the shape off the {}.", part.name),
        reason: "Volume, mass and picture go with it; it stays on record.".to_owned(),
        pairs: vec![
            ("Part", format!("{}, {}", part.name, part.code)),
            ("File", format!("{}, in {}", kept.file_name, kept.unit)),
            ("Given", given),
        ],
        fields: vec![
            Field::hidden("given", &form.given),
            Field::area(
                "reason",
                "Why",
                &form.reason,
                "wrong part, wrong unit, an older drawing",
            ),
        ],
        action: format!("{}/take-off", path(part.code.as_str())),
        verb: "Take it off",
        detail: "another may be given".to_owned(),
        back: ("Leave it as it is", format!("/catalogue/{}", part.code)),
        ask: None,
        page,
        errors,
    };
    act.answer()
}
