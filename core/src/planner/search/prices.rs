use super::real;
use crate::planner::rules::{OperationRule, OptionRule, Rules, WorkRule};

/// How much of what there is the jobs ask for, in the cells and of everything that is shared.
pub(super) struct Demand {
    cells: Ask,
    /// By what is shared: the crew, stations, limits.
    shared: Vec<Ask>,
}

/// Minutes that the jobs ask for, of those that there are to the horizon.
#[derive(Debug, Clone, Copy)]
struct Ask {
    needed: f64,
    there: f64,
}

impl Ask {
    /// Of so many minutes; at least one, so that its share can be told.
    #[expect(clippy::cast_precision_loss, reason = "a rough measure of scarcity")]
    fn of(there: i64) -> Self {
        Self {
            needed: 0.0,
            there: there.max(1) as f64,
        }
    }
}

impl Demand {
    /// Of every job by its first option.
    pub fn new(rules: &Rules) -> Self {
        let attended: i64 = rules.periods.iter().map(|(from, to)| to - from).sum();
        let cells = i64::try_from(rules.cells.len()).unwrap_or(1);
        let rooms = rules.shared.iter();
        let mut demand = Self {
            cells: Ask::of(attended * cells),
            shared: rooms
                .map(|room| Ask::of(room.in_all(rules.horizon)))
                .collect(),
        };
        let options = rules.jobs.iter().filter_map(|job| job.options.first());
        for operation in options.flat_map(|option| &option.operations) {
            demand.cells.needed += cell_minutes(operation);
            for share in &operation.shares.held {
                demand.shared[share.of].needed += real(share.amount) * real(operation.minutes);
            }
        }
        demand
    }

    /// Prices that rise with the share in demand to the power of `sharpness`.
    pub fn prices(&self, sharpness: i32) -> Prices {
        let price = |ask: &Ask| (ask.needed / ask.there).powi(sharpness) / ask.there;
        let in_all = |ask: &Ask| price(ask) * ask.there;
        Prices {
            cells: price(&self.cells),
            shared: self.shared.iter().map(price).collect(),
            in_all: in_all(&self.cells) + self.shared.iter().map(in_all).sum::<f64>(),
        }
    }

    /// Only minutes of the cells cost.
    pub fn cells_alone(&self) -> Prices {
        Prices {
            cells: 1.0,
            shared: vec![0.0; self.shared.len()],
            in_all: self.cells.there,
        }
    }
}

/// What a minute costs in the cells and of everything that is shared: the scarcer, the dearer.
#[derive(Debug)]
pub(super) struct Prices {
    cells: f64,
    shared: Vec<f64>,
    /// All there is of everything.
    pub in_all: f64,
}

impl Prices {
    /// What an option's work costs, with so many minutes of set-up.
    pub fn of(&self, option: &OptionRule, set_up: i64) -> f64 {
        let operations = option.operations.iter().map(|it| self.of_one(it));
        let crew = self.shared.first().copied().unwrap_or(0.0);
        operations.sum::<f64>() + real(set_up) * (self.cells + crew)
    }

    fn of_one(&self, operation: &OperationRule) -> f64 {
        let shares = operation.shares.held.iter();
        let held = shares.map(|share| self.shared[share.of] * real(share.amount));
        self.cells * cell_minutes(operation) + held.sum::<f64>() * real(operation.minutes)
    }
}

fn cell_minutes(operation: &OperationRule) -> f64 {
    match operation.work {
        WorkRule::Stage { .. } => real(operation.minutes),
        WorkRule::Step => 0.0,
    }
}
