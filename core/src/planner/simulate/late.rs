//! What comes from elsewhere, and may come late.

use super::doubts::Coming;
use super::draw::Source;
use super::model::Part;
use crate::planner::problem::{Capability, Problem};
use crate::planner::rules::Rules;

/// A coming by positions.
pub(super) struct Late {
    latest: i64,
    on_time: f64,
    lots: Vec<usize>,
    /// Store, arrival in it, steady use a day.
    arrivals: Vec<(usize, usize, i64)>,
    options: Vec<(usize, usize)>,
    assets: Vec<usize>,
}

/// With the positions that ids have in the problem.
pub(super) fn late(problem: &Problem, rules: &Rules, parts: &[Part], coming: &Coming) -> Late {
    let lot = |id: &String| problem.lots.iter().position(|lot| lot.id == *id);
    let store = |id: &String| problem.stores.iter().position(|store| store.id == *id);
    let asset = |id: &String| {
        let of = |capability: &Capability| capability.assets.iter().position(|asset| asset == id);
        let mut capabilities = problem.capabilities.iter().zip(&rules.capabilities);
        capabilities.find_map(|(told, rule)| Some(rule.assets[of(told)?]))
    };
    let arrivals = coming.arrivals.iter().filter_map(|arrival| {
        let store = store(&arrival.store)?;
        let mut there = problem.stores[store].arrivals.iter();
        let n = there.position(|(at, _)| *at == arrival.at)?;
        Some((store, n, arrival.steady_per_day))
    });
    let options = coming.options.iter().flat_map(|(job, option)| {
        let of = parts.iter().filter(move |part| {
            let told = &problem.jobs[part.job];
            told.id == *job && told.options[part.free].id == *option
        });
        of.flat_map(|part| [(part.job, part.kept), (part.job, part.free)])
    });
    let mut options: Vec<(usize, usize)> = options.collect();
    options.dedup();
    Late {
        latest: coming.latest,
        on_time: coming.on_time,
        lots: coming.lots.iter().filter_map(lot).collect(),
        arrivals: arrivals.collect(),
        options,
        assets: coming.assets.iter().filter_map(asset).collect(),
    }
}

impl Late {
    /// Minutes by which it is late in a run.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "minutes of a plan are far below what loses precision"
    )]
    pub fn delay(&self, source: &mut Source) -> i64 {
        let (on_time, share) = (source.unit() < self.on_time, source.unit());
        if on_time {
            0
        } else {
            (share * self.latest as f64).ceil() as i64
        }
    }

    /// What is used until an arrival comes is taken from what is there: at the minute at which it was to
    /// come, since until then it was set aside.
    pub fn come_late(&self, rules: &mut Rules, arrivals: &mut [Vec<(i64, i64)>], delay: i64) {
        for lot in &self.lots {
            rules.lots[*lot].from += delay;
        }
        for (store, n, steady_per_day) in &self.arrivals {
            let used = (steady_per_day * delay + 1439).div_euclid(1440);
            let (at, amount) = arrivals[*store][*n];
            arrivals[*store][*n] = (at + delay, amount + used);
            arrivals[*store].push((at, -used));
        }
        for (job, option) in &self.options {
            rules.jobs[*job].options[*option].ready += delay;
        }
        for asset in &self.assets {
            rules.assets[*asset].back = (rules.assets[*asset].back + delay).min(rules.horizon);
        }
    }
}
