use crate::planner::decode::{Chunk, Toll};
use crate::planner::rules::Rules;

/// When each job is finished, and what the site loses then.
#[derive(Debug, Clone)]
pub(super) struct Tally {
    /// By job; the horizon for one that is left out.
    ends: Vec<i64>,
    /// By job: the debt of its option.
    debts: Vec<i64>,
    debt: i64,
    toll: Toll,
}

impl Tally {
    /// Every job left out.
    pub fn new(rules: &Rules) -> Self {
        let ends = vec![rules.horizon; rules.jobs.len()];
        Self {
            toll: Toll::new(rules, &ends),
            debts: vec![0; ends.len()],
            debt: 0,
            ends,
        }
    }

    pub fn loss(&self) -> i64 {
        self.toll.total() + self.debt
    }

    /// Counts the job of a chunk as finished at a minute, by the option of the chunk.
    pub fn finish(&mut self, rules: &Rules, chunk: Chunk, end: i64) {
        let debt = chunk.debt(rules);
        self.debt += debt - std::mem::replace(&mut self.debts[chunk.job], debt);
        self.set_end(rules, chunk.job, end);
    }

    pub fn set_end(&mut self, rules: &Rules, job: usize, end: i64) {
        if std::mem::replace(&mut self.ends[job], end) == end {
            return;
        }
        let asset = rules.jobs[job].asset;
        let of_jobs = rules.assets[asset].jobs.iter().map(|job| self.ends[*job]);
        let back = of_jobs.max().unwrap_or(0).min(rules.horizon);
        self.toll.set_back(rules, asset, back);
    }

    /// Counts no job of an asset as finished.
    pub fn leave_out(&mut self, rules: &Rules, asset: usize) {
        for job in &rules.assets[asset].jobs {
            self.debt -= std::mem::take(&mut self.debts[*job]);
            self.ends[*job] = rules.horizon;
        }
        self.toll.set_back(rules, asset, rules.horizon);
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.ends.clone_from(&other.ends);
        self.debts.clone_from(&other.debts);
        self.debt = other.debt;
        self.toll.copy_from(&other.toll);
    }
}
