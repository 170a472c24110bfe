//! What a stand-in costs later.

use crate::code::AssetCode;
use crate::situation::{Request, Situation, StandIn};

/// What using a stand-in costs later, as rate x minutes: its machine stands while it is swapped, and
/// the second build costs what somebody said.
///
/// The swap is reckoned with every other machine running, since nobody knows what will be down then.
#[must_use]
pub fn debt(situation: &Situation, request: &Request, stand_in: &StandIn) -> i64 {
    let swap = rate_alone(situation, &request.asset).saturating_mul(stand_in.swap_min);
    swap.saturating_add(stand_in.second_build.saturating_mul(60))
}

/// The loss rate of an asset that is down alone.
#[must_use]
pub fn rate_alone(situation: &Situation, asset: &AssetCode) -> i64 {
    let mine = situation
        .capabilities
        .iter()
        .filter(|c| c.assets.contains(asset));
    mine.filter_map(|c| Some(c.loss_per_hour.get(1)? - c.loss_per_hour.first()?))
        .sum()
}
