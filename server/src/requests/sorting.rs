//! Sorting a request: by which ways it may be served, each with its reason.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::course::Step;
use mendpost_core::situation::{Situation, Way};
use serde_json::json;

use super::decision::{History, Named, decide, legal};
use super::queries;
use super::sort_form::{Chosen, SortForm};
use super::sort_page::SortPage;
use super::work::open_in;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let (request, history) = legal(&mut reading, &number, Step::Sort).await?;
    let reasons = queries::reasons(&mut *reading, request.id).await?;
    drop(reading);
    let situation = situation::now(&state).await?;
    let ways = &open_in(&situation, &request)?.ways;
    let sorted = history.sorted().is_some();
    let mut form = SortForm::of(ways, &reasons, sorted, situation.site.zone);
    form.seen = seen(&history, ways.len());
    let recipes = queries::recipe_codes(&state.db.read, request.id).await?;
    let shown = (&situation, recipes.as_slice());
    sort_page(&visit, &request, shown, form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<SortForm>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let mut reading = state.db.read.acquire().await?;
    let (request, _) = legal(&mut reading, &number, Step::Sort).await?;
    let recipes = queries::recipe_codes(&mut *reading, request.id).await?;
    drop(reading);
    let mut errors = FieldErrors::default();
    let Some(chosen) = form.parse(&situation, &recipes, visit.now, &mut errors) else {
        let shown = (&situation, recipes.as_slice());
        return sort_page(&visit, &request, shown, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let (request, history) = legal(change.connection(), &number, Step::Sort).await?;
    let ways = queries::reasons(change.connection(), request.id).await?;
    let recipes_now = queries::recipe_codes(change.connection(), request.id).await?;
    if form.seen != seen(&history, ways.len()) || recipes_now != recipes {
        return Err(AppError::Conflict(format!(
            "R{} was sorted otherwise, or is of another part, meanwhile; look at it again",
            request.number
        )));
    }
    queries::delete_ways(change.connection(), request.id).await?;
    for (position, Chosen { way, reason }) in (1_i64..).zip(&chosen) {
        let delivery = match way {
            Way::TruePart {
                delivery: Some(code),
                ..
            } => queries::delivery(change.connection(), code.as_str()).await?,
            _ => None,
        };
        let connection = change.connection();
        queries::insert_way(connection, request.id, position, way, delivery, reason).await?;
    }
    let summary: Vec<String> = chosen.iter().map(Chosen::in_words).collect();
    let reason = summary.join("; ");
    let reason: String = reason.chars().take(400).collect();
    let ways: Vec<serde_json::Value> = chosen.iter().map(Chosen::content).collect();
    let told = ("sorted", reason.as_str());
    let journal = decide(
        &mut change,
        &request,
        told,
        &who.name,
        json!({ "ways": ways }),
    )
    .await?;
    let text = format!(
        "R{} may be served {}, journal {journal}. Plan again to count with it.",
        request.number,
        match chosen.len() {
            1 => "one way".to_owned(),
            several => format!("in {several} ways"),
        }
    );
    let location = format!("/requests/{}", request.number);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// What a form was opened at: the last decision, and how many ways there were.
fn seen(history: &History, ways: usize) -> String {
    let last = history.decisions.last().map_or(0, |d| d.sequence);
    format!("{last}/{ways}")
}

async fn sort_page(
    visit: &Visit,
    request: &Named,
    (situation, recipes): (&Situation, &[String]),
    form: SortForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let layout = visit
        .layout(Screen::Requests, &format!("Request R{}", request.number))
        .await?;
    let status = errors.status();
    page_with(
        status,
        &SortPage::new(layout, situation, request, recipes, form, errors),
    )
}
