mod operation;

use std::collections::BTreeSet;
use std::fmt::Display;

use super::problem::{Capability, Cell, Job, Problem};

/// The longest time a problem may speak of, in minutes: nineteen years.
pub const MAX_MINUTES: i64 = 10_000_000;
/// The largest amount, level or mass, so that sums of a million of them still fit.
pub const MAX_AMOUNT: i64 = 1_000_000_000_000;
/// The most people, slots or loss per hour.
pub const MAX_COUNT: i64 = 1_000_000_000;
/// The largest debt of an option: the largest rate for a month.
pub const MAX_DEBT: i64 = MAX_COUNT * 43_200;
/// The most jobs.
pub const MAX_JOBS: usize = 10_000;
/// The most ways to choose the stores of one operation's draws.
pub const MAX_WAYS: usize = 256;

/// Something wrong in a problem, with its place.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {what}")]
pub struct Fault {
    /// Where, as a path from the top: `jobs[3].options[0].operations[1].minutes`.
    pub place: String,
    /// What was given, what is allowed, and the remedy where it is not plain.
    pub what: String,
}

impl Fault {
    pub(super) fn new(place: String, what: String) -> Self {
        Self { place, what }
    }
}

impl Problem {
    /// Every contradiction in the problem; none if it can be planned.
    ///
    /// What can merely not be served (no duty, no lots, no slots, a lot that expires before it arrives)
    /// is no fault: such jobs are left out of the plan.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut found = Faults::default();
        found.within("horizon", self.horizon, 1, MAX_MINUTES);
        found.windows(self);
        found.unique("cells", "id", self.cells.iter().map(|c| &c.id));
        for (n, cell) in self.cells.iter().enumerate() {
            found.cell(&format!("cells[{n}]"), cell);
        }
        found.stations(self);
        found.supplies(self);
        found.limits(self);
        found.capabilities(self);
        found.jobs(self);
        found.0
    }
}

#[derive(Default)]
struct Faults(Vec<Fault>);

impl Faults {
    fn add(&mut self, place: impl Display, what: impl Display) {
        self.0.push(Fault::new(place.to_string(), what.to_string()));
    }

    fn within(&mut self, place: impl Display, given: i64, least: i64, most: i64) {
        if given < least || given > most {
            self.add(place, format!("{given} is not within {least} to {most}"));
        }
    }

    fn minutes(&mut self, place: impl Display, given: i64) {
        self.within(place, given, 0, MAX_MINUTES);
    }

    /// A minute that may lie in the past.
    fn any_minute(&mut self, place: impl Display, given: i64) {
        self.within(place, given, -MAX_MINUTES, MAX_MINUTES);
    }

    fn amount(&mut self, place: impl Display, given: i64) {
        self.within(place, given, 0, MAX_AMOUNT);
    }

    fn unique<'a>(&mut self, place: &str, key: &str, ids: impl Iterator<Item = &'a String>) {
        let mut seen = BTreeSet::new();
        for (n, id) in ids.enumerate() {
            if !seen.insert(id) {
                let dot = if key.is_empty() { "" } else { "." };
                self.add(
                    format!("{place}[{n}]{dot}{key}"),
                    format!("'{id}' is given twice; ids are unique"),
                );
            }
        }
    }

    fn known<'a>(
        &mut self,
        place: &str,
        kind: &str,
        id: &str,
        mut ids: impl Iterator<Item = &'a String>,
    ) {
        if !ids.any(|known| known == id) {
            self.add(
                place,
                format!("{kind} '{id}' is not among the {kind}s of the problem"),
            );
        }
    }

    fn span(&mut self, place: &str, from: i64, to: i64) {
        self.minutes(place, from);
        self.minutes(place, to);
        if to <= from {
            self.add(
                place,
                format!("ends at {to}, not after its begin at {from}"),
            );
        }
    }

    fn windows(&mut self, problem: &Problem) {
        let mut free = 0;
        for (n, window) in problem.windows.iter().enumerate() {
            let place = format!("windows[{n}]");
            self.span(&place, window.from, window.to);
            if window.from < free {
                self.add(
                    format!("{place}.from"),
                    format!(
                        "{} is before the end of the window before it, {free}; sort and part them",
                        window.from
                    ),
                );
            }
            if window.to > problem.horizon {
                self.add(
                    format!("{place}.to"),
                    format!("{} is after the horizon, {}", window.to, problem.horizon),
                );
            }
            self.within(format!("{place}.crew"), window.crew, 1, MAX_COUNT);
            free = free.max(window.to);
        }
    }

    fn cell(&mut self, place: &str, cell: &Cell) {
        self.minutes(format!("{place}.free_from"), cell.free_from);
        self.minutes(format!("{place}.warm_up"), cell.warm_up);
        self.minutes(format!("{place}.same_powder"), cell.same_powder);
        self.minutes(
            format!("{place}.default_changeover"),
            cell.default_changeover,
        );
        for (from, row) in &cell.changeover {
            for (to, minutes) in row {
                self.minutes(format!("{place}.changeover.{from}.{to}"), *minutes);
            }
        }
        for (n, (from, to)) in cell.closed.iter().enumerate() {
            self.span(&format!("{place}.closed[{n}]"), *from, *to);
        }
    }

    fn stations(&mut self, problem: &Problem) {
        self.unique("stations", "id", problem.stations.iter().map(|s| &s.id));
        for (n, station) in problem.stations.iter().enumerate() {
            let place = format!("stations[{n}]");
            self.within(format!("{place}.slots"), station.slots, 0, MAX_COUNT);
            for (k, (from, to, slots)) in station.closed.iter().enumerate() {
                let place = format!("{place}.closed[{k}]");
                self.span(&place, *from, *to);
                self.within(&place, *slots, 0, MAX_COUNT);
            }
        }
    }

    fn supplies(&mut self, problem: &Problem) {
        self.unique("stores", "id", problem.stores.iter().map(|s| &s.id));
        for (n, store) in problem.stores.iter().enumerate() {
            self.amount(format!("stores[{n}].level"), store.level);
            for (k, (minute, amount)) in store.arrivals.iter().enumerate() {
                let place = format!("stores[{n}].arrivals[{k}]");
                self.minutes(&place, *minute);
                self.amount(&place, *amount);
            }
        }
        self.unique("lots", "id", problem.lots.iter().map(|l| &l.id));
        for (n, lot) in problem.lots.iter().enumerate() {
            self.amount(format!("lots[{n}].grams"), lot.grams);
            self.any_minute(format!("lots[{n}].from"), lot.from);
            self.any_minute(format!("lots[{n}].until"), lot.until);
        }
    }

    fn limits(&mut self, problem: &Problem) {
        self.unique("limits", "id", problem.limits.iter().map(|l| &l.id));
        for (n, limit) in problem.limits.iter().enumerate() {
            let place = format!("limits[{n}]");
            self.within(format!("{place}.capacity"), limit.capacity, 0, MAX_COUNT);
            for (k, (from, to, capacity)) in limit.windows.iter().enumerate() {
                let place = format!("{place}.windows[{k}]");
                self.span(&place, *from, *to);
                self.within(&place, *capacity, 0, MAX_COUNT);
                let mut before = limit.windows[..k].iter();
                if let Some((a, b, _)) = before.find(|(a, b, _)| from < b && a < to) {
                    self.add(
                        place,
                        format!("{from} to {to} overlaps the window from {a} to {b}; part them"),
                    );
                }
            }
        }
    }

    fn capabilities(&mut self, problem: &Problem) {
        self.unique(
            "capabilities",
            "id",
            problem.capabilities.iter().map(|c| &c.id),
        );
        for (n, capability) in problem.capabilities.iter().enumerate() {
            self.capability(&format!("capabilities[{n}]"), capability);
        }
        for (id, asset) in &problem.assets {
            for (key, minute) in [("down_from", asset.down_from), ("back", asset.back)] {
                self.any_minute(format!("assets.{id}.{key}"), minute.unwrap_or(0));
            }
        }
        let top = |c: &Capability| i128::from(c.loss_per_hour.iter().copied().max().unwrap_or(0));
        let options = problem.jobs.iter().flat_map(|job| &job.options);
        let debts: i128 = options.map(|option| i128::from(option.debt)).sum();
        let worst = problem.capabilities.iter().map(top).sum::<i128>()
            * i128::from(problem.horizon)
            + debts;
        if worst > i128::from(i64::MAX / 4) {
            self.add(
                "capabilities",
                format!("the loss until the horizon, {worst}, is too large to be counted"),
            );
        }
    }

    fn capability(&mut self, place: &str, capability: &Capability) {
        self.any_minute(format!("{place}.from"), capability.from);
        self.unique(&format!("{place}.assets"), "", capability.assets.iter());
        let table = &capability.loss_per_hour;
        let wanted = capability.assets.len() + 1;
        if table.len() != wanted {
            self.add(
                format!("{place}.loss_per_hour"),
                format!(
                    "{} figures for {} assets; give {wanted}, from none down to all",
                    table.len(),
                    wanted - 1
                ),
            );
        }
        for (k, rate) in table.iter().enumerate() {
            self.within(format!("{place}.loss_per_hour[{k}]"), *rate, 0, MAX_COUNT);
        }
        for (k, pair) in table.windows(2).enumerate() {
            if pair[1] < pair[0] {
                self.add(
                    format!("{place}.loss_per_hour[{}]", k + 1),
                    format!(
                        "falls from {} to {}; a loss never falls with more assets down",
                        pair[0], pair[1]
                    ),
                );
            }
        }
    }

    fn jobs(&mut self, problem: &Problem) {
        if problem.jobs.len() > MAX_JOBS {
            self.add(
                "jobs",
                format!(
                    "{} given, at most {MAX_JOBS} are planned at once",
                    problem.jobs.len()
                ),
            );
        }
        self.unique("jobs", "id", problem.jobs.iter().map(|j| &j.id));
        for (n, job) in problem.jobs.iter().enumerate() {
            self.job(&format!("jobs[{n}]"), job, problem);
        }
    }

    fn job(&mut self, place: &str, job: &Job, problem: &Problem) {
        self.minutes(format!("{place}.release"), job.release);
        self.unique(
            &format!("{place}.options"),
            "id",
            job.options.iter().map(|o| &o.id),
        );
        for (n, option) in job.options.iter().enumerate() {
            let place = format!("{place}.options[{n}]");
            self.minutes(format!("{place}.earliest"), option.earliest);
            self.within(format!("{place}.debt"), option.debt, 0, MAX_DEBT);
            for (k, operation) in option.operations.iter().enumerate() {
                let place = format!("{place}.operations[{k}]");
                self.operation(&place, operation, problem);
                self.loads(&place, operation, k..option.operations.len(), problem);
            }
        }
    }
}
