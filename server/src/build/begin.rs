//! Beginning a build by one touch, as the line-up has it.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::OperationKind;
use mendpost_core::journal::Subject;
use mendpost_core::lineup::{GasSource, StagePlan, stage_need};
use mendpost_core::situation::Cell;
use serde::Deserialize;
use serde_json::json;

use super::{path, queries};
use crate::AppState;
use crate::book::queries::{feeder, total};
use crate::change::Change;
use crate::error::AppError;
use crate::form::Posted;
use crate::lineup::queries as lineup;
use crate::page::Notice;
use crate::people::{Visit, Who};
use crate::requests::work::{Sprayable, sprayable};
use crate::words::Words;

/// Which recipe, where several are open.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct BeginForm {
    recipe: String,
}

pub(super) async fn begin(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(request): Path<String>,
    Posted(form): Posted<BeginForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    if let Some(other) = queries::under_way(change.connection()).await? {
        return Err(AppError::Conflict(format!(
            "build {} is under way: {} {}; finish it first, or say that it is scrapped",
            other.number, other.asset, other.part_name
        )));
    }
    let Sprayable {
        situation,
        request,
        recipe,
        at,
    } = sprayable(change.connection(), visit.now, &request, &form.recipe, &who).await?;
    let recipe = situation
        .recipe(&recipe.0, recipe.1)
        .ok_or_else(|| AppError::internal("a recipe that was found is gone"))?;
    let operation = &recipe.operations[at];
    let spray = operation
        .spray
        .as_ref()
        .filter(|_| operation.kind == OperationKind::Spray)
        .ok_or_else(|| {
            AppError::Conflict(format!(
                "{} comes next for R{}, and that is no spraying",
                operation.name, request.number
            ))
        })?;
    let residue = situation.cell.feeder.as_ref();
    if let Some(other) = residue.filter(|other| **other != spray.powder) {
        let words = Words::new(&situation);
        return Err(AppError::Conflict(format!(
            "the feeder is not clean of {}, and R{} takes {}; empty and clean it, then draw",
            words.powder(other.as_str()),
            request.number,
            words.powder(spray.powder.as_str())
        )));
    }
    let need = stage_need(&situation, spray).map_err(|_| {
        AppError::Conflict("nobody can say what this stage takes; see its figures".to_owned())
    })?;
    let stored = lineup::accepted(change.connection()).await?;
    let code = format!("R{}", request.number);
    let place = stored.as_ref().and_then(|it| {
        let mut places = it.line_up.places.iter();
        places.find(|place| place.request.as_str() == code)
    });
    let stage = place.and_then(|place| place.stages().next());
    let lots: Vec<&str> = stage.map_or_else(Vec::new, |(_, stage)| {
        stage.lots.iter().map(|share| share.lot.as_str()).collect()
    });
    let new = queries::New {
        request: request.id,
        recipe: recipe.code.as_str(),
        revision: recipe.revision,
        position: i64::try_from(at + 1).unwrap_or(i64::MAX),
        planned_min: need.minutes,
        reckoned_min: need.reckoned_min + set_up_min(&situation.cell, stage.map(|(_, it)| it)),
        planned_g: need.powder_g,
        line_up: stored
            .as_ref()
            .filter(|_| place.is_some())
            .map(|it| it.number),
        lots: lots.join(" "),
        bank: match &need.source {
            GasSource::Bank(code) => Some(code.as_str()),
            GasSource::Compressor => None,
        },
    };
    let number = queries::next_number(change.connection()).await?;
    let in_feeder = total(&feeder(change.connection()).await?);
    let content = json!({
        "request": code,
        "recipe": recipe.code,
        "revision": recipe.revision,
        "position": new.position,
        "line_up": new.line_up,
        "place": place.map(|it| it.number),
        "planned_min": new.planned_min,
        "reckoned_min": new.reckoned_min,
        "planned_g": new.planned_g,
        "lots": lots,
        "bank": new.bank,
        "in_feeder_mg": in_feeder,
    });
    let entry = change
        .journal("build.begun", Subject::new("build", number), content)
        .await?;
    queries::insert(&mut change, number, &new, entry).await?;
    let text = format!("Build {number} of {code} has begun, journal {entry}.");
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

/// Minutes that are planned from here to the first powder: as the line-up has them, or for topping up; a change of
/// powder is made before a build is begun.
fn set_up_min(cell: &Cell, stage: Option<&StagePlan>) -> i64 {
    let planned = stage.map(|it| (it.start - it.setup_from).num_minutes());
    let planned = planned.unwrap_or(cell.same_powder_min);
    planned.min(cell.same_powder_min + cell.warm_up_min)
}
