use super::decode::{Toll, earliest_finishes};
use super::problem::Problem;
use super::rules::Rules;

/// A loss that no plan can go below, as rate x minutes.
///
/// Each job is taken to be finished as early as it could be with the whole site to itself: every supply
/// counts in full for each of its operations, every set-up is the shortest there is. The loss never falls
/// when a job is finished later, so the loss of these finishes is a bound.
#[must_use]
pub fn bound(problem: &Problem) -> i64 {
    let rules = Rules::new(problem);
    Toll::new(&rules, &earliest_finishes(&rules)).total()
}
