//! How wrong a loss figure must be for the first places to change.

use super::measure::Measure;
use crate::code::{CapabilityCode, RequestCode};
use crate::lineup::places::option_of;
use crate::planner::{Plan, Problem, loss};

/// So many places are looked at.
const FIRST: usize = 3;

/// What the loss rates of a capability change, from half to double.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Swing {
    /// Which.
    pub capability: CapabilityCode,
    /// Where the first places change if the rates are lower; none down to half.
    pub lower: Option<Tip>,
    /// Where they change if the rates are higher; none up to double.
    pub higher: Option<Tip>,
}

/// Where the first places change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tip {
    /// The rates nearest to those said at which they do, in hundredths of them.
    pub percent: i64,
    /// Who has the first three places then, in order.
    pub first: Vec<RequestCode>,
}

impl Measure {
    /// At which share of a capability's rates the first three places change; none if stopped.
    ///
    /// A change counts only where another plan loses less by these rates, by more than the noise, and not
    /// less by the rates as said: else it is luck of the search, no effect of the figure. Between the said
    /// rates and half or double of them the first change is taken to be the only one.
    #[must_use]
    pub fn swing(
        &self,
        capability: &CapabilityCode,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Swing> {
        Some(Swing {
            lower: self.tip(capability, 50, stop)?,
            higher: self.tip(capability, 200, stop)?,
            capability: capability.clone(),
        })
    }

    /// Halves the stretch between the rates as said and the far end until it is one hundredth wide.
    fn tip(
        &self,
        capability: &CapabilityCode,
        far: i64,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Option<Tip>> {
        let Some(first) = self.other_first(capability, far, stop)? else {
            return Some(None);
        };
        let mut tip = Tip {
            percent: far,
            first,
        };
        let mut same = 100;
        while (tip.percent - same).abs() > 1 {
            let percent = i64::midpoint(same, tip.percent);
            match self.other_first(capability, percent, stop)? {
                Some(first) => tip = Tip { percent, first },
                None => same = percent,
            }
        }
        Some(Some(tip))
    }

    /// Who has the first places by these rates, if others than by the rates as said.
    fn other_first(
        &self,
        capability: &CapabilityCode,
        percent: i64,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Option<Vec<RequestCode>>> {
        let problem = scaled(&self.problem, capability, percent);
        let found = self.search(&problem, stop)?;
        let gain = loss(&problem, &self.base) - found.loss;
        let lucky = loss(&self.problem, &found) < self.base.loss;
        if lucky || gain <= self.noise * 100 {
            return Some(None);
        }
        let then = first(&self.problem, &found);
        Some((then != first(&self.problem, &self.base)).then_some(then))
    }
}

/// The problem with every loss a hundred times as high, so that hundredths of one capability's rates are
/// whole numbers.
fn scaled(problem: &Problem, capability: &CapabilityCode, percent: i64) -> Problem {
    let mut scaled = problem.clone();
    for one in &mut scaled.capabilities {
        let times = if one.id == capability.as_str() {
            percent
        } else {
            100
        };
        one.loss_per_hour.iter_mut().for_each(|rate| *rate *= times);
    }
    let options = scaled.jobs.iter_mut().flat_map(|job| &mut job.options);
    options.for_each(|option| option.debt *= 100);
    scaled
}

/// Who has the first places: in the order in which set-up for the first stage begins, or the first step where
/// nothing is sprayed.
fn first(problem: &Problem, plan: &Plan) -> Vec<RequestCode> {
    let mut turns: Vec<(i64, RequestCode)> = plan
        .jobs
        .iter()
        .filter_map(|planned| {
            let (job, option) = option_of(problem, planned)?;
            let spots = || planned.operations.iter();
            let turn = spots().find_map(|spot| spot.setup_from);
            let turn = turn.or_else(|| spots().next().map(|spot| spot.start));
            let ready = job.release.max(option.earliest);
            Some((turn.unwrap_or(ready), planned.id.parse().ok()?))
        })
        .collect();
    turns.sort();
    turns
        .into_iter()
        .take(FIRST)
        .map(|(_, request)| request)
        .collect()
}
