//! Planning away from the threads that answer requests: one search at a time, with progress.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use mendpost_core::journal::Subject;
use mendpost_core::lineup::{
    Accepted, Draft, Expected, Kept, LineUp, Verified, anew, choose, complete, draft, line_up, stay,
};
use mendpost_core::planner::{Plan, Problem};
use mendpost_core::situation::Situation;
use serde::Serialize;
use tokio::sync::Notify;

use super::queries::{self, New, Told};
use crate::AppState;
use crate::change::{Actor, Change, last_sequence};
use crate::error::AppError;
use crate::situation;
use crate::solve::{Limits, Progress, solve_several};

/// How long a page waits for a plan before it shows progress instead.
const MOMENT: Duration = Duration::from_millis(2500);

/// What the planner does at the moment.
#[derive(Debug, Clone, Default)]
pub enum Planning {
    /// Nothing.
    #[default]
    Idle,
    /// Searches: since when, for whom, and how far it is.
    Running {
        since: Instant,
        by: String,
        progress: Option<Progress>,
    },
    /// The last search failed; the line-up before it stands.
    Failed(String),
}

/// The one planner of a site.
#[derive(Debug, Clone, Default)]
pub struct Planner {
    planning: Arc<Mutex<Planning>>,
    stop: Arc<AtomicBool>,
    done: Arc<Notify>,
}

impl Planner {
    /// What it does at the moment.
    pub fn planning(&self) -> Planning {
        self.planning
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Starts a search, unless one is running.
    pub fn start(&self, state: &AppState, by: String, search: Limits) {
        {
            let mut planning = self.planning.lock().unwrap_or_else(PoisonError::into_inner);
            if matches!(*planning, Planning::Running { .. }) {
                return;
            }
            *planning = Planning::Running {
                since: Instant::now(),
                by: by.clone(),
                progress: None,
            };
            self.stop.store(false, Ordering::Relaxed);
        }
        let (state, planner) = (state.clone(), self.clone());
        tokio::spawn(async move {
            let outcome = plan_now(&state, &by, &search).await;
            planner.set(match outcome {
                Ok(_) => Planning::Idle,
                Err(error) => {
                    tracing::error!(%error, "planning failed");
                    Planning::Failed(
                        "the last search failed; the order below is the one before it".to_owned(),
                    )
                }
            });
            planner.done.notify_waiters();
        });
    }

    /// Ends the running search; the best plan so far is kept.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Until the running search ends, or a moment has passed: then the page shows how far it is.
    pub async fn wait_a_moment(&self) {
        let _ = tokio::time::timeout(MOMENT, self.finished()).await;
    }

    /// Until no search runs.
    pub async fn finished(&self) {
        loop {
            let done = self.done.notified();
            if !matches!(self.planning(), Planning::Running { .. }) {
                return;
            }
            done.await;
        }
    }

    fn set(&self, planning: Planning) {
        *self.planning.lock().unwrap_or_else(PoisonError::into_inner) = planning;
    }

    fn tell(&self, told: Progress) {
        if let Planning::Running { progress, .. } =
            &mut *self.planning.lock().unwrap_or_else(PoisonError::into_inner)
        {
            *progress = Some(told);
        }
    }
}

#[derive(Serialize)]
struct Computed<'a> {
    number: i64,
    asked_by: &'a str,
    loss: i64,
    bound: Option<i64>,
    /// Of how many it was chosen, and what it loses on the average of its runs.
    #[serde(skip_serializing_if = "Option::is_none")]
    compared: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mean_loss: Option<i64>,
    /// Number of the accepted order, where this is that one placed anew.
    #[serde(skip_serializing_if = "Option::is_none")]
    keeps: Option<i64>,
    #[serde(flatten)]
    told: Told,
}

/// Plans the site as it stands now, from the order that the crew works to, verifies the plan, stores and
/// journals it; its number.
pub async fn plan_now(state: &AppState, asked_by: &str, search: &Limits) -> Result<i64, AppError> {
    let sequence = last_sequence(&state.db.read).await?;
    let situation = situation::now(state).await?;
    let accepted = queries::accepted_plan(&state.db.read).await?;
    let (planner, search) = (state.planner.clone(), *search);
    let found = tokio::task::spawn_blocking(move || {
        let tell = &mut |progress| planner.tell(progress);
        compute_from(&situation, accepted.as_ref(), &search, &planner.stop, tell)
    })
    .await
    .map_err(AppError::internal)?;
    let found = found.map_err(AppError::internal)?;
    let problem = serde_json::to_string(&found.problem).map_err(AppError::internal)?;
    let plan = serde_json::to_string(&found.plan).map_err(AppError::internal)?;
    let line_up = serde_json::to_string(&found.line_up).map_err(AppError::internal)?;

    let mut change = Change::begin(state, Actor::Mendpost).await?;
    let new = New {
        line_up,
        now: found.line_up.now,
        computed_ms: change.now(),
        search_ms: i64::try_from(found.took.as_millis()).unwrap_or(i64::MAX),
        iterations: i64::try_from(found.iterations).unwrap_or(i64::MAX),
        problem,
        plan,
        own_by: None,
        journal_sequence: sequence,
    };
    let number = queries::newest_number(change.connection())
        .await?
        .unwrap_or(0)
        + 1;
    let expected = found.line_up.expected.as_ref();
    let computed = Computed {
        number,
        asked_by,
        loss: found.line_up.losses.ours,
        bound: found.line_up.losses.bound,
        compared: expected.map(|it| it.compared),
        mean_loss: expected.map(|it| it.outlook.mean_loss),
        keeps: found.line_up.kept.map(|it| it.order),
        told: new.told(),
    };
    change
        .journal("lineup.computed", Subject::new("lineup", number), &computed)
        .await?;
    queries::insert(change.connection(), number, &new).await?;
    change.commit().await?;
    Ok(number)
}

/// A line-up with the problem and the plan that it was worked out from.
pub struct Found {
    pub problem: Problem,
    pub plan: Plan,
    pub line_up: LineUp,
    /// Changes tried by each thread.
    pub iterations: u64,
    /// From the situation to the line-up.
    pub took: Duration,
}

/// The line-up of a situation: drafted, searched for, chosen by what is to be expected, verified from scratch,
/// explained.
///
/// # Errors
/// In words: a site that makes no problem, or a plan that the verifier refuses.
pub fn compute(
    situation: &Situation,
    search: &Limits,
    stop: &AtomicBool,
    tell: &mut dyn FnMut(Progress),
) -> Result<Found, String> {
    compute_from(situation, None, search, stop, tell)
}

/// The line-up as [`compute`] works it out, searched for as long as told from an accepted order, which stays
/// where no other is better by more than the site's margin.
fn compute_from(
    situation: &Situation,
    accepted: Option<&Accepted>,
    search: &Limits,
    stop: &AtomicBool,
    tell: &mut dyn FnMut(Progress),
) -> Result<Found, String> {
    let begin = Instant::now();
    let draft = draft(situation);
    let problem = draft.problem.clone();
    if let Some(fault) = problem.faults().first() {
        return Err(format!("the site makes no planning problem: {fault}"));
    }
    let known = accepted.and_then(|it| Some((it.number, anew(situation, &problem, it)?)));
    let from = known.as_ref().map(|(_, plan)| plan);
    let mut iterations = 0;
    let plans = solve_several(&problem, from, search, stop, &mut |progress: Progress| {
        iterations = progress.iterations;
        tell(progress);
    });
    let plans: Vec<Plan> = plans.iter().map(|plan| complete(&problem, plan)).collect();
    let taken = take(situation, &draft, known, plans);
    let verified = Verified::new(problem.clone(), taken.plan.clone()).map_err(|broken| {
        broken.first().map_or_else(String::new, |b| {
            format!("the verifier refuses the plan: {b}")
        })
    })?;
    let mut line_up = line_up(situation, &verified);
    (line_up.expected, line_up.kept) = (taken.expected, taken.kept);
    Ok(Found {
        problem,
        plan: taken.plan,
        line_up,
        iterations,
        took: begin.elapsed(),
    })
}

/// The plan that the crew is shown.
struct Taken {
    plan: Plan,
    expected: Option<Expected>,
    kept: Option<Kept>,
}

/// The accepted order if it stays, else of the plans found, the best one first, the one that survives more.
fn take(
    situation: &Situation,
    draft: &Draft,
    known: Option<(i64, Plan)>,
    found: Vec<Plan>,
) -> Taken {
    let best = found.first().cloned().unwrap_or_default();
    if let Some((order, plan)) = known {
        let plan = plan.bounded(best.bound);
        if let Some((plan, expected)) = stay(situation, draft, &plan, &found) {
            let least_loss = expected.least_loss;
            return Taken {
                plan,
                expected: Some(expected),
                kept: Some(Kept { order, least_loss }),
            };
        }
    }
    match choose(situation, draft, found) {
        Some((plan, expected)) => Taken {
            plan,
            expected: Some(expected),
            kept: None,
        },
        None => Taken {
            plan: best,
            expected: None,
            kept: None,
        },
    }
}
