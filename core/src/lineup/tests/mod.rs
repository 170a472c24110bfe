//! The line-up on small sites: what goes in, what waits, and what lets it in.

mod assume;
mod authority;
mod begun;
mod doubts;
mod efficiency;
mod endurance;
mod flight;
mod gas;
mod gates;
mod here;
mod inroad;
mod keep;
mod keep_back;
mod kit;
mod loss_now;
mod order;
mod power;
pub(crate) mod site;
mod stock;
mod under_way;
mod what_if;

use super::{LineUp, Opens, Place, Shut, Verified, complete, draft, line_up};
use crate::planner::{CrewOrder, Plan, Problem, crew_plan, loss};
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

/// The line-up of all that adds no loss to doing nothing.
fn from_nothing(situation: &Situation) -> LineUp {
    let problem = draft(situation).problem;
    let mut nothing = Plan {
        left_out: problem.jobs.iter().map(|j| j.id.clone()).collect(),
        ..Plan::default()
    };
    nothing.loss = loss(&problem, &nothing);
    completed(situation, problem, &nothing)
}

fn completed(situation: &Situation, problem: Problem, plan: &Plan) -> LineUp {
    let plan = complete(&problem, plan);
    let verified = Verified::new(problem, plan).expect("the verifier finds nothing wrong");
    line_up(situation, &verified)
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

fn place(situation: &Situation, request: &str) -> Place {
    let places = planned(situation).places;
    let mut mine = places.into_iter().filter(|p| p.request.as_str() == request);
    mine.next().expect("the request has a place")
}
