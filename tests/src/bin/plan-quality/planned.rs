//! A problem planned, as the service plans it.

use std::sync::atomic::AtomicBool;
use std::time::Instant;

use mendpost_core::planner::{Plan, Problem, check};
use mendpost_server::solve::{Limits, solve};

/// A plan, and how long it took.
pub struct Planned {
    pub plan: Plan,
    pub seconds: f64,
}

/// Plans for so long; ends sooner where the plan is proven best.
pub fn plan(problem: &Problem, seconds: f64) -> Planned {
    planned(problem, Some(seconds), None)
}

/// The first plan that there is, before any search.
pub fn first_plan(problem: &Problem) -> Planned {
    planned(problem, None, Some(0))
}

fn planned(problem: &Problem, seconds: Option<f64>, iterations: Option<u64>) -> Planned {
    let limits = Limits {
        seconds,
        iterations,
        threads: 2,
        seed: 1,
    };
    let begin = Instant::now();
    let plan = solve(problem, &limits, &AtomicBool::new(false), &mut |_| {});
    let seconds = begin.elapsed().as_secs_f64();
    assert_eq!(check(problem, &plan), [], "a plan breaks a rule");
    Planned { plan, seconds }
}

impl Planned {
    pub fn is_proven(&self) -> bool {
        self.plan.proven == Some(true)
    }
}
