//! Which of several orders is taken, and what is to be expected of it.

use super::doubts::doubts;
use super::draft::Draft;
use crate::planner::{CrewOrder, Outlook, Plan, crew_plan, simulate, survivor};
use crate::situation::Situation;
use serde::{Deserialize, Serialize};

/// So often an order is run through to say what is to be expected of it, and to compare it with others: as all
/// meet the same luck, fewer runs tell them apart.
const RUNS: usize = 2000;
const RUNS_TO_COMPARE: usize = 250;

/// Every order meets the same luck.
const SEED: u64 = 1;

/// What is to be expected of an order, and how it was chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expected {
    /// By asset, powder and store.
    pub outlook: Outlook,
    /// So many orders were within the margin, itself included.
    pub compared: usize,
    /// The least loss of these, as rate x minutes.
    pub least_loss: i64,
    /// The margin, in thousandths of the least loss.
    pub margin_permille: i64,
}

/// Of plans of a situation's problem the one to work to: of those within the site's margin above the least loss
/// the one that survives more.
///
/// None that loses more than a crew's own order is taken. None is left if every plan does.
#[must_use]
pub fn choose(
    situation: &Situation,
    draft: &Draft,
    mut plans: Vec<Plan>,
) -> Option<(Plan, Expected)> {
    let problem = &draft.problem;
    let crew = [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst]
        .map(|order| crew_plan(problem, order).loss);
    plans.retain(|plan| crew.iter().all(|loss| plan.loss <= *loss));
    let least_loss = plans.iter().map(|plan| plan.loss).min()?;
    let margin_permille = situation.site.chances.margin_permille;
    let doubts = doubts(situation, draft);
    let taken = survivor(
        problem,
        &plans,
        margin_permille,
        &doubts,
        SEED,
        RUNS_TO_COMPARE,
    )?;
    let plan = plans.swap_remove(taken.at);
    let expected = Expected {
        outlook: simulate(problem, &plan, &doubts, SEED, RUNS),
        compared: taken.compared,
        least_loss,
        margin_permille,
    };
    Some((plan, expected))
}
