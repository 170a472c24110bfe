//! What the site loses at this moment, by what it needs done.

use crate::code::{AssetCode, CapabilityCode};
use crate::situation::{Capability, Situation};

/// What one capability loses now, and how many of its machines run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CapabilityLoss {
    /// Which.
    pub capability: CapabilityCode,
    /// Machines that give it.
    pub total: usize,
    /// Of these, how many run.
    pub running: usize,
    /// How many must run.
    pub must_run: usize,
    /// How many are down.
    pub down: usize,
    /// What is lost each hour.
    pub loss_per_hour: i64,
}

impl CapabilityLoss {
    /// How many fewer run than must.
    #[must_use]
    pub const fn short(&self) -> usize {
        self.must_run.saturating_sub(self.running)
    }
}

/// What each capability loses at the situation's moment, in the situation's order.
///
/// Only machines known to the site count; a loss table that is too short counts as losing nothing
/// more, as in the planner.
#[must_use]
pub fn loss_now(situation: &Situation) -> Vec<CapabilityLoss> {
    situation
        .capabilities
        .iter()
        .map(|capability| {
            let total = known(situation, capability).count();
            let down = down_of(situation, capability);
            CapabilityLoss {
                capability: capability.code.clone(),
                total,
                running: total - down,
                must_run: usize::try_from(capability.must_run).unwrap_or(0),
                down,
                loss_per_hour: rate(capability, down),
            }
        })
        .collect()
}

/// The fall of the site's loss rate if this asset alone came back now; nothing while it runs.
#[must_use]
pub fn stops_now(situation: &Situation, asset: &AssetCode) -> i64 {
    if !is_down(situation, asset) {
        return 0;
    }
    situation
        .capabilities
        .iter()
        .filter(|capability| capability.assets.contains(asset))
        .map(|capability| {
            let down = down_of(situation, capability);
            rate(capability, down) - rate(capability, down.saturating_sub(1))
        })
        .sum()
}

/// Whether the asset is down at the situation's moment.
///
/// One that waits for a part stays down, also past the time at which a replacement was expected.
#[must_use]
pub fn is_down(situation: &Situation, asset: &AssetCode) -> bool {
    let waits_for_part = || situation.requests.iter().any(|r| r.asset == *asset);
    situation.asset(asset).is_some_and(|a| {
        let stopped = a.down_from.is_some_and(|from| from <= situation.now);
        let replaced = a.back.is_some_and(|back| back <= situation.now);
        stopped && (!replaced || waits_for_part())
    })
}

fn known<'a>(
    situation: &'a Situation,
    capability: &'a Capability,
) -> impl Iterator<Item = &'a AssetCode> {
    capability
        .assets
        .iter()
        .filter(|asset| situation.asset(asset).is_some())
}

fn down_of(situation: &Situation, capability: &Capability) -> usize {
    known(situation, capability)
        .filter(|asset| is_down(situation, asset))
        .count()
}

fn rate(capability: &Capability, down: usize) -> i64 {
    capability.loss_per_hour.get(down).copied().unwrap_or(0)
}
