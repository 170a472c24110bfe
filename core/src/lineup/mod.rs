//! From the site's situation to a planning problem, and from a plan to the line-up.
//!
//! The line-up is what the crew works to: what goes first and why, from which lots, when each
//! machine is back, what that saves, and for every request that waits its gates with the smallest
//! change that opens them.

mod assume;
mod change;
mod conditions;
mod debt;
mod doubts;
mod draft;
mod efficiency;
mod endurance;
mod expected;
mod explain;
mod flight;
mod gate;
mod here;
mod hold;
mod holding;
mod if_yes;
mod inroad;
mod keep;
mod kit;
mod least;
mod left;
mod likely;
mod line_up;
mod loss_now;
mod need;
mod part_gates;
mod places;
mod power;
mod provision;
mod qualified;
mod rebuild;
mod relax;
mod stock;
mod supply;
mod unlock;
mod what_if;

pub use assume::{
    Assumed, Assumption, AssumptionFault, MOST_BOTTLES, MOST_DAYS, MOST_FUEL_ML, MOST_GRAMS,
    MOST_MBAR, MOST_PERMILLE, assume,
};
pub use change::{Change, Return, changes, returns};
pub use conditions::{Conditions, Difference, conditions};
pub use debt::{debt, rate_alone};
pub use doubts::{Passes, doubts, passes};
pub use draft::{Candidate, Draft, TRUE_PART, candidates, draft, still_done, usable_revision};
pub use efficiency::{
    Basis, LotEfficiency, ODDS_APART, Others, SAME_THROAT_PERMILLE, StageEfficiency, Weighed,
    stage_efficiency,
};
pub use endurance::{BankLeft, Endurance, Turns, camp_fuel_minutes, endurance};
pub use expected::{Expected, choose};
pub use explain::{
    Averted, Budget, Displaced, Earlier, Lack, Measure, More, Moved, Swing, Tip, Worth, duty_ends,
};
pub use flight::{Flight, NoFlight, flight};
pub use gate::{Gate, Opens, Shut};
pub use here::{recipes_of, shut_here};
pub use hold::{kept_powder, plain, taken_by};
pub use holding::{Holding, Lapse, holdings};
pub use if_yes::{IfYes, begin_gates, release_gates};
pub use inroad::{Inroad, free_for, inroads};
pub use keep::{Accepted, Kept, anew, stay};
pub use kit::kit_id;
pub use left::{Left, LeftStore, left};
pub use likely::likely_powder_g;
pub use line_up::{Comparison, LineUp, Verified, line_up};
pub use loss_now::{CapabilityLoss, is_down, loss_now, stops_now};
pub use need::{GasSource, Setting, StageNeed, bank, holds_c, stage_need, steady_fuel_ml_per_h};
pub use places::{LotShare, Place, Readiness, StagePlan, StepPlan, Work};
pub use power::{POWER, power_by_time};
pub(crate) use provision::{PRIOR_MIN, PRIOR_SHAPE};
pub use provision::{Provision, Seen, failures_to_expect, provision};
pub use rebuild::{Rebuild, StageTake, rebuilds};
pub use stock::{Arrival, Fall, LotStock, OutCause, RunOut, Stock, stocks};
pub use supply::{FUEL, SERVICE, bank_store, bank_stores};
pub use unlock::{Waiting, WaitingWay, complete};
pub use what_if::{Case, Move, WhatIf, cases, moves, what_if};

#[cfg(test)]
pub(crate) mod tests;
