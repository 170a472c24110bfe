//! What if, beside the line-up: what would be lost, and done otherwise, if things stood otherwise.
//!
//! What is assumed stands in the address, so that it can be opened again and sent on. It changes
//! nothing and stores nothing.

mod form;
mod page;

use std::sync::atomic::AtomicBool;

use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::code::RequestCode;
use mendpost_core::lineup::{Accepted, Assumption, Waiting, anew, assume, complete};
use mendpost_core::planner::{First, Plan, Problem, loss, put_first};
use mendpost_core::situation::Situation;

use super::beside::{Laid, from_now};
use super::queries;
use crate::AppState;
use crate::error::AppError;
use crate::page::{Screen, page_with};
use crate::people::Visit;
use crate::situation;
use crate::solve::{Limits, aside, solve_from};
use form::{Parsed, Typed};
use page::WhatIfPage;

pub(super) const PATH: &str = "/line-up/what-if";

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(typed): Query<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let shown = queries::worked_to(&state.db.read).await?;
    let shown = shown.ok_or_else(|| AppError::Conflict(super::NONE.to_owned()))?;
    let situation = situation::now(&state).await?;
    let typed = Typed(typed);
    let parsed = Parsed::new(&typed, &situation);
    let assumptions = parsed.assumptions();
    let worked = if assumptions.is_empty() || !parsed.errors.is_empty() {
        None
    } else {
        let plan = queries::plan(&state.db.read, shown.number).await?;
        let situation = situation.clone();
        let search = state.config.search;
        let work = move |stop: &_| Worked::new(&situation, &assumptions, &plan, &search, stop);
        let found = aside(work).await?;
        Some(found.map_err(AppError::internal)?)
    };
    let layout = visit.layout(Screen::LineUp, "What if").await?;
    let status = parsed.errors.status();
    let page = WhatIfPage::new(layout, &situation, &shown, &typed, parsed, worked.as_ref());
    page_with(status, &page)
}

/// What was assumed, worked out.
struct Worked {
    /// The order that is shown, as things stand, from now on.
    planned: Laid,
    /// What the best order found as things stand loses, searched for as long as the one found as assumed.
    unchanged: i64,
    /// What the same order would lose as assumed; none where what is assumed is of the order itself.
    kept: Option<i64>,
    /// The best order found as assumed.
    best: Laid,
    /// Requests that are done first, as assumed.
    first: Vec<RequestCode>,
    /// Requests that are left out, as assumed.
    left_out: Vec<RequestCode>,
}

impl Worked {
    /// Both orders are judged by the same loss rates: the changed ones, where some are changed. Each is searched
    /// for alike, from the order that is shown: what only a longer search gains is no gain of the assumption.
    fn new(
        situation: &Situation,
        assumptions: &[Assumption],
        shown: &Accepted,
        search: &Limits,
        stop: &AtomicBool,
    ) -> Result<Worked, String> {
        let of_loss = |it: &&Assumption| matches!(it, Assumption::LossTimes { .. });
        let rates: Vec<Assumption> = assumptions.iter().filter(of_loss).cloned().collect();
        let refused = |_| "what was assumed cannot be".to_owned();
        let judged = assume(situation, &rates).map_err(refused)?;
        let assumed = assume(situation, assumptions).map_err(refused)?;
        let planned = Laid::from_now(&judged.situation, judged.problem(), shown)?;
        let problem = assumed.problem();
        if let Some(fault) = problem.faults().first() {
            return Err(format!(
                "what was assumed makes no planning problem: {fault}"
            ));
        }
        let kept = from_now(&assumed.situation, &problem, shown);
        let unchanged = best(&planned.problem, &planned.plan, &[], search, stop);
        let best = best(&problem, &kept, &assumed.first, search, stop);
        let order = |plan: &Plan| Accepted {
            number: shown.number,
            now: situation.now,
            plan: plan.clone(),
        };
        let (now, then) = (&judged.situation, &assumed.situation);
        let unchanged = better(now, &planned.problem, unchanged, &order(&best));
        let best = match assumed.first.as_slice() {
            [] => better(then, &problem, best, &order(&unchanged)),
            _ => best,
        };
        let of_order = !assumed.first.is_empty() || !assumed.left_out.is_empty();
        Ok(Worked {
            planned,
            unchanged: unchanged.loss,
            kept: (!of_order).then_some(kept.loss),
            best: Laid::new(&assumed.situation, problem, best)?,
            first: assumed.first,
            left_out: assumed.left_out,
        })
    }

    /// What the order shown loses more than the best one found as things stand.
    fn missed(&self) -> i64 {
        self.planned.plan.loss - self.unchanged
    }

    /// What was to be done first and finds no place even so.
    fn without_place(&self) -> impl Iterator<Item = &Waiting> {
        let waiting = self.best.line_up.waiting.iter();
        waiting.filter(|waits| self.first.contains(&waits.request))
    }
}

/// The plan found for a problem, or the order found for another one, placed anew here, if that loses less.
fn better(situation: &Situation, problem: &Problem, found: Plan, other: &Accepted) -> Plan {
    match anew(situation, problem, other).filter(|plan| plan.loss < found.loss) {
        Some(plan) => plan.bounded(found.bound),
        None => found,
    }
}

/// The best plan found, with these before all others, from a plan that is known.
fn best(
    problem: &Problem,
    known: &Plan,
    first: &[RequestCode],
    search: &Limits,
    stop: &AtomicBool,
) -> Plan {
    if first.is_empty() {
        let best = solve_from(problem, Some(known), search, stop, &mut |_| {});
        return complete(problem, &best);
    }
    let ids: Vec<&str> = first.iter().map(RequestCode::as_str).collect();
    let First { held, plan } = put_first(problem, known, &ids);
    let best = solve_from(&held, Some(&plan), search, stop, &mut |_| {});
    // What bounds the loss of the held problem bounds no loss of this one.
    let best = Plan {
        loss: loss(problem, &best),
        bound: None,
        proven: None,
        ..best
    };
    complete(problem, &best)
}
