//! A part goes back to an operation that is done: from there on what was done counts no more.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::course::Step;
use mendpost_core::situation::Situation;
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::requests::{History, Named, decide, in_the_way, named};
use crate::situation;
use crate::words::work::sentence;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ReworkForm {
    position: String,
    reason: String,
}

/// Where a part may go back to.
#[derive(Debug, Clone)]
pub struct Back {
    pub recipe: String,
    pub revision: i64,
    /// Place and name of each operation that is done, from 1.
    pub operations: Vec<(i64, String)>,
}

impl Back {
    /// None before anything is done. `and_next`: the operation that comes next anyway may be named too, as
    /// where a second question is judged after the part has gone back already.
    pub fn of(situation: &Situation, request: i64, and_next: bool) -> Option<Back> {
        let code = format!("R{request}").parse().ok()?;
        let begun = situation.request(&code)?.begun.as_ref()?;
        let recipe = situation.recipe(&begun.recipe, begun.revision)?;
        let operations = (1..).zip(&recipe.operations);
        Some(Back {
            recipe: recipe.code.to_string(),
            revision: recipe.revision,
            operations: operations
                .take(begun.done + usize::from(and_next))
                .map(|(place, operation)| (place, operation.name.clone()))
                .collect(),
        })
    }

    /// Value and words of each operation.
    pub fn choices(&self) -> Vec<(String, String)> {
        let operations = self.operations.iter();
        let choice = |(place, name): &(i64, String)| {
            (place.to_string(), format!("{place} {}", sentence(name)))
        };
        operations.map(choice).collect()
    }

    /// The operation that was chosen, or what is wrong with the choice.
    pub fn chosen(&self, typed: &str) -> Result<&(i64, String), String> {
        let found = self
            .operations
            .iter()
            .find(|(place, _)| place.to_string() == typed);
        found.ok_or_else(|| "choose an operation that is done".to_owned())
    }
}

/// Notes that a part goes back to an operation; the entry's sequence.
pub async fn go_back(
    change: &mut Change,
    request: &Named,
    back: &Back,
    (position, reason): (i64, &str),
    who: &Who,
) -> Result<i64, AppError> {
    let more = json!({
        "recipe": back.recipe,
        "revision": back.revision,
        "position": position,
    });
    let sequence = decide(change, request, ("reworked", reason), &who.name, more).await?;
    let recipe: Uuid = sqlx::query_scalar!(
        r#"select id as "id: Uuid" from recipe where code = ? and revision = ?"#,
        back.recipe,
        back.revision
    )
    .fetch_one(change.connection())
    .await?;
    sqlx::query!(
        "insert into rework (journal_sequence, request_id, recipe_id, position) values (?, ?, ?, ?)",
        sequence,
        request.id,
        recipe,
        position,
    )
    .execute(change.connection())
    .await?;
    Ok(sequence)
}

/// The request and where its part may go back to, where that is legal.
async fn legal(
    connection: &mut sqlx::SqliteConnection,
    number: &str,
    now: i64,
) -> Result<(Named, Back), AppError> {
    let request = named(&mut *connection, number).await?;
    let history = History::load(&mut *connection, &request).await?;
    let legal = history.stand.after(Step::Rework);
    legal.map_err(|fault| AppError::Conflict(fault.to_string()))?;
    let now = situation::moment(now).map_err(AppError::internal)?;
    let situation = situation::load(connection, now).await?;
    let back =
        Back::of(&situation, request.number, false).filter(|back| !back.operations.is_empty());
    let none = || AppError::Conflict(format!("nothing is done of R{}", request.number));
    let back = back.ok_or_else(none)?;
    Ok((request, back))
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let (request, back) = legal(&mut reading, &number, visit.now).await?;
    drop(reading);
    form_page(
        &visit,
        &request,
        &back,
        &ReworkForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<ReworkForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let (request, back) = legal(change.connection(), &number, visit.now).await?;
    let chosen = back.chosen(&form.position);
    if let Err(fault) = &chosen {
        errors.add("position", fault.clone());
    }
    if let Some(fault) = in_the_way(&mut change, &request, Step::Rework).await? {
        errors.add("reason", fault);
    }
    let (Some(reason), Ok((position, name)), true) = (reason, chosen, errors.is_empty()) else {
        drop(change);
        return form_page(&visit, &request, &back, &form, errors).await;
    };
    let at = (*position, reason.as_str());
    let journal = go_back(&mut change, &request, &back, at, &who).await?;
    let text = format!(
        "R{} goes back to {position}, {name}. Journal {journal}. Plan again.",
        request.number
    );
    let location = format!("/requests/{}", request.number);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

async fn form_page(
    visit: &Visit,
    request: &Named,
    back: &Back,
    form: &ReworkForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let location = format!("/requests/{}", request.number);
    let title = format!("Request R{}", request.number);
    let act = ActPage {
        page: visit.layout(Screen::Requests, &title).await?,
        answer: format!("Send the part of R{} back to an operation.", request.number),
        reason: "From there on all is done again; what was done stays on record.".to_owned(),
        pairs: vec![
            ("Machine", request.asset.clone()),
            ("Part", request.part_name.clone()),
            ("Recipe", format!("{} rev {}", back.recipe, back.revision)),
        ],
        fields: vec![
            Field::choose(
                "position",
                "Goes on with",
                &form.position,
                back.choices(),
                "the first operation that is done again",
            ),
            Field::area("reason", "Why", &form.reason, "what was found"),
        ],
        action: format!("{location}/rework"),
        verb: "Send it back",
        detail: "to that operation".to_owned(),
        back: ("Leave it as it is", location),
        ask: None,
        errors,
    };
    act.answer()
}
