//! The line-up on small sites: what goes in, what waits, and what lets it in.

mod efficiency;
mod endurance;
mod flight;
mod gas;
mod gates;
mod here;
mod kit;
mod loss_now;
mod order;
mod power;
mod site;
mod stock;
mod what_if;

use super::{LineUp, Opens, Shut, Verified, complete, draft, line_up};
use crate::planner::{CrewOrder, Plan, Problem, crew_plan};
use crate::situation::Situation;

/// The line-up of the crew's first order: any verified plan will do to test what is said of it.
fn planned(situation: &Situation) -> LineUp {
    let problem = draft(situation).problem;
    let plan = plan_of(&problem);
    let verified = Verified::new(problem, plan).expect("the verifier finds nothing wrong");
    line_up(situation, &verified)
}

fn plan_of(problem: &Problem) -> Plan {
    assert_eq!(
        problem.faults(),
        vec![],
        "a drafted problem keeps the contract"
    );
    complete(problem, &crew_plan(problem, CrewOrder::OldestFirst))
}

/// The gates of the first way of a request that waits.
fn gates(situation: &Situation, request: &str) -> Vec<Shut> {
    let waiting = planned(situation).waiting;
    let one = waiting
        .iter()
        .find(|w| w.request.as_str() == request)
        .expect("the request waits");
    one.ways[0].shut.clone()
}

fn opens(situation: &Situation, request: &str) -> Vec<Opens> {
    gates(situation, request)
        .into_iter()
        .map(|s| s.opens)
        .collect()
}

fn is_planned(situation: &Situation, request: &str) -> bool {
    planned(situation)
        .places
        .iter()
        .any(|p| p.request.as_str() == request)
}
