//! Whether the line-up would be another if the loss rates of a capability were wrong.
//!
//! Three plans are searched for with the same limits: for the low, the likely and the high rates. Each
//! of the three is then judged by each table, so that a plan that one search found by luck is not
//! taken for an effect of the figure: only where the best plan by the other rates loses less by them
//! than the plan for the likely ones is there a difference.

use super::draft::draft;
use super::line_up::Verified;
use super::places::places;
use crate::code::{CapabilityCode, RequestCode};
use crate::planner::{Broken, Plan, Problem, loss};
use crate::situation::{Figure, Situation};

/// The site as if the loss rates of one capability were the low, likely or high ones.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Which of the three.
    pub figure: Figure,
    /// The site with these rates in the place of the likely ones.
    pub situation: Situation,
    /// Its planning problem.
    pub problem: Problem,
}

/// The site by the low, the likely and the high loss rates of a capability, in this order; none where
/// nobody said how far off they may be.
#[must_use]
pub fn cases(situation: &Situation, capability: &CapabilityCode) -> Option<[Case; 3]> {
    let place = situation
        .capabilities
        .iter()
        .position(|c| c.code == *capability)?;
    let case = |figure| {
        let rates = situation.capabilities[place].rates(figure)?.to_vec();
        let mut situation = situation.clone();
        situation.capabilities[place].loss_per_hour = rates;
        let problem = draft(&situation).problem;
        Some(Case {
            figure,
            situation,
            problem,
        })
    };
    Some([
        case(Figure::Low)?,
        case(Figure::Likely)?,
        case(Figure::High)?,
    ])
}

/// What it means that the right rates are the low or the high ones. Losses are rate x minutes: divide
/// by 60 for the loss itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WhatIf {
    /// By which rates.
    pub figure: Figure,
    /// What the plan for the likely rates loses by these.
    pub kept: i64,
    /// What the best plan found for these loses by them: never more.
    pub best: i64,
    /// What that plan does otherwise, in its order, what falls out last.
    pub moves: Vec<Move>,
}

/// How one request stands otherwise in another order. Places count from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Move {
    /// Has a place, and had none.
    In {
        /// Which.
        request: RequestCode,
        /// Its place.
        place: usize,
    },
    /// Had a place, and has none.
    Out {
        /// Which.
        request: RequestCode,
        /// The place it had.
        place: usize,
    },
    /// Goes before some that it went after, or after some that it went before.
    Shifted {
        /// Which.
        request: RequestCode,
        /// The place it had.
        from: usize,
        /// Its place.
        to: usize,
    },
}

/// Judges the plans that were found for the three cases, and tells what the low and the high rates
/// would change.
///
/// # Errors
/// The first rule that a plan breaks.
pub fn what_if(cases: &[Case; 3], plans: &[Plan; 3]) -> Result<[WhatIf; 2], Broken> {
    let [low, likely, high] = cases;
    let kept = best_of(likely, plans, None)?;
    let before = order(likely, &kept);
    let against = |case: &Case| -> Result<WhatIf, Broken> {
        let best = best_of(case, plans, Some(&kept))?;
        Ok(WhatIf {
            figure: case.figure,
            kept: loss(&case.problem, kept.plan()),
            best: loss(&case.problem, best.plan()),
            moves: moves(&before, &order(case, &best)),
        })
    };
    Ok([against(low)?, against(high)?])
}

/// The plan that loses least in a case; of equals the one that is kept, else the first.
fn best_of(case: &Case, plans: &[Plan; 3], kept: Option<&Verified>) -> Result<Verified, Broken> {
    let plans = kept.map(Verified::plan).into_iter().chain(plans);
    let best = plans
        .min_by_key(|plan| loss(&case.problem, plan))
        .cloned()
        .unwrap_or_default();
    let plan = Plan {
        loss: loss(&case.problem, &best),
        bound: None,
        proven: None,
        ..best
    };
    Verified::new(case.problem.clone(), plan).map_err(|mut broken| broken.swap_remove(0))
}

fn order(case: &Case, verified: &Verified) -> Vec<RequestCode> {
    let candidates = draft(&case.situation).candidates;
    places(
        &case.situation,
        verified.problem(),
        verified.plan(),
        &candidates,
    )
    .into_iter()
    .map(|place| place.request)
    .collect()
}

/// What a new order does otherwise than an old one: who comes in, who falls out, who moves.
///
/// Told are the fewest requests that must be taken out and put in elsewhere to make the new order of
/// the old; of several ways to do so, one that leaves most at the same place.
///
/// One request that goes from the ninth place to the second is one move, though seven others stand a
/// place lower after it.
#[must_use]
pub fn moves(old: &[RequestCode], new: &[RequestCode]) -> Vec<Move> {
    let place_in = |order: &[RequestCode], request: &RequestCode| {
        order.iter().position(|r| r == request).map(|n| n + 1)
    };
    let common: Vec<(usize, usize)> = (1..)
        .zip(new)
        .filter_map(|(to, request)| Some((place_in(old, request)?, to)))
        .collect();
    let stay = longest_rising(&common);
    let shifted = |to: usize| {
        let mut places = common.iter().zip(&stay);
        places.any(|((_, place), stays)| *place == to && !stays)
    };
    let mut moves: Vec<Move> = (1..)
        .zip(new)
        .filter_map(|(to, request)| {
            let request = request.clone();
            match place_in(old, &request) {
                None => Some(Move::In { request, place: to }),
                Some(from) if shifted(to) => Some(Move::Shifted { request, from, to }),
                Some(_) => None,
            }
        })
        .collect();
    let fallen = (1..).zip(old).filter(|(_, request)| !new.contains(request));
    moves.extend(fallen.map(|(place, request)| Move::Out {
        request: request.clone(),
        place,
    }));
    moves
}

/// Which of the places, before and after, belong to a longest run in which both rise; of equally long
/// ones, one in which most are the same before and after.
fn longest_rising(places: &[(usize, usize)]) -> Vec<bool> {
    // For each place the longest run that ends with it: length, how many are the same, the one before.
    let mut runs: Vec<((usize, usize), Option<usize>)> = Vec::with_capacity(places.len());
    for (here, (from, to)) in places.iter().enumerate() {
        let before = (0..here)
            .filter(|n| places[*n].0 < *from)
            .max_by_key(|n| runs[*n].0);
        let (length, same) = before.map_or((0, 0), |n| runs[n].0);
        runs.push(((length + 1, same + usize::from(from == to)), before));
    }
    let mut stays = vec![false; places.len()];
    let mut at = (0..runs.len()).max_by_key(|n| runs[*n].0);
    while let Some(n) = at {
        stays[n] = true;
        at = runs[n].1;
    }
    stays
}
