use crate::planner::rules::{CapabilityRule, Rules};

/// The loss of what is placed so far, with every job still to come taken at its earliest possible finish:
/// never more than the loss will be in the end, and equal to it once all jobs are placed or left out.
#[derive(Debug, Clone)]
pub(in crate::planner) struct Toll {
    /// By asset: when it is back at the earliest.
    back: Vec<i64>,
    /// By capability.
    loss: Vec<i64>,
    total: i64,
    scratch: Vec<(i64, i64)>,
}

impl Toll {
    /// Before any job is placed; `earliest` gives each job's earliest possible finish.
    pub fn new(rules: &Rules, earliest: &[i64]) -> Self {
        let back = rules.assets.iter().map(|asset| {
            let of_jobs = asset.jobs.iter().map(|job| earliest[*job]).max();
            of_jobs.unwrap_or(asset.back).min(rules.horizon)
        });
        let mut toll = Self {
            back: back.collect(),
            loss: Vec::new(),
            total: 0,
            scratch: Vec::new(),
        };
        for capability in &rules.capabilities {
            let loss = loss_of(capability, rules, &toll.back, &mut toll.scratch);
            toll.loss.push(loss);
            toll.total += loss;
        }
        toll
    }

    pub fn total(&self) -> i64 {
        self.total
    }

    /// Says when an asset is back at the earliest.
    pub fn set_back(&mut self, rules: &Rules, asset: usize, minute: i64) {
        if minute == self.back[asset] {
            return;
        }
        self.back[asset] = minute;
        for capability in &rules.assets[asset].capabilities {
            let loss = loss_of(
                &rules.capabilities[*capability],
                rules,
                &self.back,
                &mut self.scratch,
            );
            self.total += loss - self.loss[*capability];
            self.loss[*capability] = loss;
        }
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.back.clone_from(&other.back);
        self.loss.clone_from(&other.loss);
        self.total = other.total;
    }
}

/// Sweeps over the minutes at which an asset goes down or comes back.
fn loss_of(
    capability: &CapabilityRule,
    rules: &Rules,
    back: &[i64],
    events: &mut Vec<(i64, i64)>,
) -> i64 {
    let (first, horizon) = (capability.from, rules.horizon);
    let mut down = 0;
    events.clear();
    for asset in &capability.assets {
        let (from, to) = (rules.assets[*asset].down_from, back[*asset]);
        if to <= from || to <= first {
            continue;
        }
        if from <= first {
            down += 1;
        } else {
            events.push((from, 1));
        }
        events.push((to, -1));
    }
    events.sort_unstable();
    let (mut sum, mut since) = (0, first);
    let mut rate = capability.loss_per_hour.get(down).copied().unwrap_or(0);
    for (minute, change) in events.iter() {
        let until = (*minute).min(horizon);
        sum += rate * (until - since);
        since = until;
        down = down.saturating_add_signed(isize::try_from(*change).unwrap_or(0));
        rate = capability.loss_per_hour.get(down).copied().unwrap_or(0);
    }
    sum + rate * (horizon - since)
}
