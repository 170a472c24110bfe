//! Striking out a weighed build that was entered wrongly: it stays on record and counts no more.

use axum::extract::{Path, State};
use axum::response::Response;
use serde::Deserialize;

use super::path;
use super::queries::{self, WeighedRow, Which};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, grams_exact};
use crate::people::{Visit, Who};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct StrikeForm {
    reason: String,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path((part, number)): Path<(String, i64)>,
) -> Result<Response, AppError> {
    let build = counted(&state, &part, number).await?;
    strike_page(&visit, &part, &build, "", FieldErrors::default()).await
}

pub async fn strike(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((part, number)): Path<(String, i64)>,
    Posted(form): Posted<StrikeForm>,
) -> Result<Response, AppError> {
    let build = counted(&state, &part, number).await?;
    let mut errors = FieldErrors::default();
    let Some(reason) = errors.check("reason", text(&form.reason, 200)) else {
        return strike_page(&visit, &part, &build, &form.reason, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let journal = queries::strike_out(&mut change, number, &reason, &who.name).await?;
    let text =
        format!("weighed build {number} counts no more, journal {journal}. Plan again without it.");
    change
        .finish(&who, &path(&part), Notice::done("STRUCK OUT", text))
        .await
}

/// A weighed build of the part that is not struck out.
async fn counted(state: &AppState, part: &str, number: i64) -> Result<WeighedRow, AppError> {
    let builds = queries::weighed_of(&state.db.read, part, Which::Only(number)).await?;
    let build = builds.into_iter().next();
    let build = build.ok_or_else(|| AppError::NotFound {
        what: format!("weighed build {number} of {part}"),
    })?;
    match &build.struck {
        None => Ok(build),
        Some((reason, by)) => Err(AppError::Conflict(format!(
            "weighed build {number} is struck out already, by {by}: {reason}"
        ))),
    }
}

async fn strike_page(
    visit: &Visit,
    part: &str,
    build: &WeighedRow,
    reason: &str,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let page = visit.layout(Screen::Catalogue, part).await?;
    let act = ActPage {
        answer: format!("Strike out weighed build {}.", build.number),
        reason: "It stays on record, and no plan counts with it any more.".to_owned(),
        pairs: vec![
            (
                "Recipe",
                format!("{} revision {}", build.recipe, build.revision),
            ),
            ("Fed", grams_exact(build.fed_mg)),
            ("Deposited", grams_exact(build.deposited_mg)),
            (
                "Built",
                format!("{}, {}", page.moment(&build.built_ms), build.entered_by),
            ),
        ],
        fields: vec![Field::area(
            "reason",
            "What is wrong with it",
            reason,
            "if a figure was mistyped, enter the build again afterwards",
        )],
        action: format!("{}/weighed/{}/strike", path(part), build.number),
        verb: "Strike out",
        detail: "counts no more".to_owned(),
        back: ("Leave it as it is", path(part)),
        ask: None,
        errors,
        page,
    };
    act.answer()
}
