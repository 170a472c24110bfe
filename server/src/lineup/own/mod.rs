//! The crew's own order: numbered on a page, laid out with every rule kept, and kept as a line-up of its
//! own where the crew wants to work to it.

mod page;

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::code::RequestCode;
use mendpost_core::journal::Subject;
use mendpost_core::lineup::{Accepted, draft};
use mendpost_core::planner::own_plan;
use mendpost_core::situation::Situation;
use serde::Serialize;

use super::beside::Laid;
use super::queries::{self, New, Stored, Told};
use crate::AppState;
use crate::change::{Change, last_sequence};
use crate::error::AppError;
use crate::form::{FieldErrors, OF_EACH_FORM, Posted, decimal};
use crate::page::{Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::solve::{Limits, Progress, aside, solve_from};
use page::OwnPage;

pub(super) const PATH: &str = "/line-up/own";

/// The largest number, in tenths.
const MOST_TENTHS: i64 = 99_990;

/// What was typed: a field for each request.
#[derive(Debug, Clone, Default)]
struct Typed(Vec<(String, String)>);

impl Typed {
    fn of(&self, request: &RequestCode) -> &str {
        let name = field(request);
        let found = self.0.iter().find(|(field, _)| *field == name);
        found.map_or("", |(_, value)| value.trim())
    }

    /// Whether the form was sent, and not just opened.
    fn is_sent(&self) -> bool {
        !self.0.is_empty()
    }
}

const NOTHING: &str = "None of the requests that you numbered can be built now, so that there is no order to keep; number at least one that can.";

const FIELD: &str = "n.";

fn field(request: &RequestCode) -> String {
    format!("{FIELD}{request}")
}

/// The requests that have a number, by it; what has none is left out.
fn parse(typed: &Typed, situation: &Situation) -> (Vec<RequestCode>, FieldErrors) {
    let mut errors = FieldErrors::default();
    errors.repeated(&typed.0);
    let mut numbered: Vec<(i64, RequestCode)> = Vec::new();
    for request in &situation.requests {
        let given = typed.of(&request.code);
        if given.is_empty() {
            continue;
        }
        let name = field(&request.code);
        let Some(number) = errors.check(&name, decimal(given, 1, 1..=MOST_TENTHS)) else {
            continue;
        };
        match numbered.iter().find(|(taken, _)| *taken == number) {
            Some((_, other)) => errors.add(
                &name,
                format!("{given} is given to {other} already; give each number once, as 2.5 for between 2 and 3"),
            ),
            None => numbered.push((number, request.code.clone())),
        }
    }
    let known: Vec<String> = situation.requests.iter().map(|r| field(&r.code)).collect();
    let fields = typed
        .0
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()));
    let of_page = |name: &str| OF_EACH_FORM.contains(&name) || known.iter().any(|it| it == name);
    let unknown = fields.filter(|(name, _)| !of_page(name));
    errors.unknown(
        unknown,
        "Only open requests have a number; they stand below.",
    );
    if numbered.is_empty() && errors.is_empty() {
        errors.add_whole("No request has a number; give at least one.");
    }
    numbered.sort();
    (numbered.into_iter().map(|(_, code)| code).collect(), errors)
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(typed): Query<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    show_typed(&state, &visit, Typed(typed)).await
}

async fn show_typed(state: &AppState, visit: &Visit, typed: Typed) -> Result<Response, AppError> {
    let shown = queries::worked_to(&state.db.read).await?;
    let shown = shown.ok_or_else(|| AppError::Conflict(super::NONE.to_owned()))?;
    let situation = situation::now(state).await?;
    if !typed.is_sent() {
        let errors = FieldErrors::default();
        return answer(visit, &situation, &shown, &typed, errors, None).await;
    }
    let (order, mut errors) = parse(&typed, &situation);
    let own = match errors.is_empty() {
        true => Some(lay_out(state, &situation, order, shown.number).await?),
        false => None,
    };
    if own
        .as_ref()
        .is_some_and(|own| own.laid.line_up.places.is_empty())
    {
        errors.add_whole(NOTHING);
    }
    answer(visit, &situation, &shown, &typed, errors, own.as_ref()).await
}

/// The page, with what was typed.
async fn answer(
    visit: &Visit,
    situation: &Situation,
    shown: &Stored,
    typed: &Typed,
    errors: FieldErrors,
    own: Option<&Own>,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::LineUp, "Our own order").await?;
    let status = errors.status();
    let page = OwnPage::new(layout, situation, shown, typed, errors, own);
    page_with(status, &page)
}

/// The crew's own order, laid out.
struct Own {
    order: Vec<RequestCode>,
    laid: Laid,
    /// The order that is shown, from now on.
    planned: Laid,
    /// What the best plan that was found loses.
    planners: i64,
    iterations: u64,
    took_ms: i64,
}

async fn lay_out(
    state: &AppState,
    situation: &Situation,
    order: Vec<RequestCode>,
    shown: i64,
) -> Result<Own, AppError> {
    let plan = queries::plan(&state.db.read, shown).await?;
    let situation = situation.clone();
    let search = state.config.search;
    let own = aside(move |stop| Own::new(&situation, order, &plan, &search, stop)).await?;
    own.map_err(AppError::internal)
}

impl Own {
    fn new(
        situation: &Situation,
        order: Vec<RequestCode>,
        shown: &Accepted,
        search: &Limits,
        stop: &AtomicBool,
    ) -> Result<Own, String> {
        let begin = Instant::now();
        let problem = draft(situation).problem;
        if let Some(fault) = problem.faults().first() {
            return Err(format!("the site makes no planning problem: {fault}"));
        }
        let positions: Vec<usize> = order
            .iter()
            .filter_map(|code| problem.jobs.iter().position(|job| job.id == code.as_str()))
            .collect();
        let stopped = &mut || stop.load(Ordering::Relaxed);
        let own = own_plan(&problem, &positions, stopped);
        let own = own.ok_or_else(|| "nobody waits for it any more".to_owned())?;
        let planned = Laid::from_now(situation, problem.clone(), shown)?;
        let known = if own.loss < planned.plan.loss {
            &own
        } else {
            &planned.plan
        };
        let mut iterations = 0;
        let best = solve_from(
            &problem,
            Some(known),
            search,
            stop,
            &mut |told: Progress| {
                iterations = told.iterations;
            },
        );
        let mut laid = Laid::new(situation, problem, own.bounded(best.bound))?;
        laid.line_up.losses.planners = Some(best.loss);
        laid.line_up.number(&order);
        Ok(Own {
            order,
            laid,
            planned,
            planners: best.loss,
            iterations,
            took_ms: i64::try_from(begin.elapsed().as_millis()).unwrap_or(i64::MAX),
        })
    }
}

#[derive(Serialize)]
struct Kept<'a> {
    number: i64,
    /// The requests in the order in which the crew numbered them.
    order: &'a [RequestCode],
    /// Who numbered them.
    by: &'a str,
    loss: i64,
    /// What the best plan that the planner found loses.
    planners: i64,
    #[serde(flatten)]
    told: Told,
}

/// Keeps the crew's own order as the newest line-up, which a lead may then accept.
pub(super) async fn keep(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(typed): Posted<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let typed = Typed(typed);
    let shown = queries::worked_to(&state.db.read).await?;
    let shown = shown.ok_or_else(|| AppError::Conflict(super::NONE.to_owned()))?;
    let sequence = last_sequence(&state.db.read).await?;
    let situation = situation::now(&state).await?;
    let (order, mut errors) = parse(&typed, &situation);
    if !errors.is_empty() {
        return answer(&visit, &situation, &shown, &typed, errors, None).await;
    }
    let own = lay_out(&state, &situation, order, shown.number).await?;
    if own.laid.line_up.places.is_empty() {
        errors.add_whole(NOTHING);
        return answer(&visit, &situation, &shown, &typed, errors, Some(&own)).await;
    }
    let problem = serde_json::to_string(&own.laid.problem).map_err(AppError::internal)?;
    let plan = serde_json::to_string(&own.laid.plan).map_err(AppError::internal)?;
    let line_up = serde_json::to_string(&own.laid.line_up).map_err(AppError::internal)?;

    let mut change = Change::begin(&state, &who).await?;
    let new = New {
        line_up,
        now: own.laid.line_up.now,
        computed_ms: change.now(),
        search_ms: own.took_ms,
        iterations: i64::try_from(own.iterations).unwrap_or(i64::MAX),
        problem,
        plan,
        own_by: Some(&who.name),
        journal_sequence: sequence,
    };
    let newest = queries::newest_number(change.connection()).await?;
    let number = newest.unwrap_or(0) + 1;
    let content = Kept {
        number,
        order: &own.order,
        by: &who.name,
        loss: own.laid.plan.loss,
        planners: own.planners,
        told: new.told(),
    };
    let subject = Subject::new("lineup", number);
    change.journal("lineup.own", subject, &content).await?;
    queries::insert(change.connection(), number, &new).await?;
    let text =
        format!("Order {number} is the crew's own. A lead may say that the crew works to it.");
    change
        .finish(&who, Screen::LineUp.path(), Notice::done("KEPT", text))
        .await
}
