//! The planner: which part to rebuild first, by which way, from which lots, so that the site loses least.
//!
//! A [`Problem`] says what there is to do and with what; a [`Plan`] says what is done when. [`Search`] looks
//! for a good plan, [`check()`] holds any plan against every rule, and [`crew_plan`] is what the crew would do
//! without a planner.

mod ahead;
mod bound;
mod check;
mod crew_order;
mod decode;
mod exact;
mod extend;
mod faults;
mod first;
mod loss;
mod plan;
mod problem;
mod read;
mod rules;
#[cfg(test)]
mod samples;
mod search;
mod shares;
mod simulate;
#[cfg(test)]
mod tests;

pub use ahead::ahead;
pub use bound::bound;
pub use check::{Broken, Place, check};
pub use crew_order::{CrewOrder, crew_plan, own_plan};
pub use decode::{add, decode};
pub use exact::{Proof, is_small, prove};
pub use extend::extend;
pub use faults::{Fault, MAX_AMOUNT, MAX_COUNT, MAX_DEBT, MAX_JOBS, MAX_MINUTES, MAX_WAYS};
pub use first::{First, put_first};
pub use loss::{down_times, finish_times, loss};
pub use plan::{LotDraw, Plan, PlanSchema, PlannedJob, Spot};
pub use problem::{
    Asset, Capability, Cell, Draw, Job, JobOption, Limit, Load, Lot, Operation, Problem,
    ProblemSchema, Station, Store, StoreDraw, Window, Work,
};
pub use search::Search;
pub use simulate::{
    ArrivalDoubt, BackBy, Check, Coming, Doubts, OperationDoubt, OptionDoubt, Outlook, Share,
    SprayDoubt, Survivor, simulate, survivor, within_margin,
};
