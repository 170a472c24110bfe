use super::relaxed::Relaxed;
use crate::planner::rules::{JobRule, OperationRule, Rules};

/// By job, option and operation, for every minute: the end of the job if its operation may start from then on
/// and it has the site to itself.
pub(super) struct Ends(Vec<Vec<Vec<Vec<i64>>>>);

impl Ends {
    /// From a state in which nothing is placed.
    pub fn new(rules: &Rules, empty: &Relaxed<'_>) -> Self {
        let of_job = |job: &JobRule| {
            let options = job.options.iter().map(|option| {
                let mut tables: Vec<Vec<i64>> = Vec::new();
                for at in (0..option.operations.len()).rev() {
                    let next = option.operations.get(at + 1);
                    let behind = next.map(|it| it.after).zip(tables.last());
                    tables.push(table(rules, empty, &option.operations[at], behind));
                }
                tables.reverse();
                tables
            });
            options.collect()
        };
        Self(rules.jobs.iter().map(of_job).collect())
    }

    /// No order that begins like this one finishes the job sooner; the horizon at the latest.
    pub fn of(&self, rules: &Rules, state: &Relaxed<'_>, job: usize) -> i64 {
        if let Some((option, at)) = state.under_way(job) {
            return self.from(rules, state, (job, option, at));
        }
        if let Some(end) = state.end(job) {
            return end;
        }
        let options = 0..rules.jobs[job].options.len();
        options
            .map(|option| self.from(rules, state, (job, option, 0)))
            .min()
            .unwrap_or(rules.horizon)
    }

    fn from(
        &self,
        rules: &Rules,
        state: &Relaxed<'_>,
        (job, option, at): (usize, usize, usize),
    ) -> i64 {
        let Some(table) = self.0[job][option].get(at) else {
            return rules.jobs[job].options[option].ready.min(rules.horizon);
        };
        let minute = usize::try_from(state.from(job, option, at)).unwrap_or(0);
        table.get(minute).copied().unwrap_or(rules.horizon)
    }
}

/// For every minute the end of the job, if an operation may start from then on; `behind` is how long the next
/// one waits at least, and its own ends.
fn table(
    rules: &Rules,
    empty: &Relaxed<'_>,
    operation: &OperationRule,
    behind: Option<(i64, &Vec<i64>)>,
) -> Vec<i64> {
    let horizon = rules.horizon;
    let mut table = Vec::new();
    let mut minute = 0;
    while let Some(start) = empty.alone(operation, minute) {
        let end = start + operation.minutes;
        let end = behind.map_or(end, |(after, ends)| {
            let next = usize::try_from(end + after).unwrap_or(usize::MAX);
            ends.get(next).copied().unwrap_or(horizon)
        });
        let upto = usize::try_from(start + 1).unwrap_or(0);
        table.resize(upto, end.min(horizon));
        minute = start + 1;
    }
    table
}
