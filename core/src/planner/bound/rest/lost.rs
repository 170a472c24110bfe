use crate::planner::rules::{CapabilityRule, Rules};

/// Machines of one capability, or one machine whose losses are told apart from all others'.
pub(super) struct Group {
    pub assets: Vec<usize>,
    /// By the place in which a machine comes back: what it loses by then.
    pub places: Vec<Lost>,
}

/// What a machine loses by the minute at which it is back: rates from minutes on.
#[derive(Clone)]
pub(super) struct Lost(Vec<(i64, i64)>);

impl Lost {
    pub fn by(&self, minute: i64) -> i64 {
        let parts = self.0.iter();
        parts
            .map(|(from, rate)| rate * (minute - from).max(0))
            .sum()
    }
}

/// So many machines are put in every order in which they may come back.
pub(super) const FEW: usize = 4;

/// What is lost with every machine back at once.
pub(super) fn always_lost(rules: &Rules) -> i64 {
    let of = |it: &CapabilityRule| it.loss_per_hour[0] * (rules.horizon - it.from);
    rules.capabilities.iter().map(of).sum()
}

/// Machines whose losses can be told by the order in which they come back; each other by itself, as the
/// cheapest of its capability to lose.
pub(super) fn groups(rules: &Rules) -> Vec<Group> {
    let together = |it: &&CapabilityRule| {
        let only_here = |asset: &usize| {
            let rule = &rules.assets[*asset];
            rule.capabilities.len() == 1 && rule.down_from <= it.from
        };
        it.assets.len() <= FEW && it.assets.iter().all(only_here)
    };
    let (whole, others): (Vec<_>, Vec<_>) = rules.capabilities.iter().partition(together);
    let mut groups: Vec<Group> = whole
        .iter()
        .map(|it| Group {
            assets: it.assets.clone(),
            places: rises(it).map(|rate| Lost(vec![(it.from, rate)])).collect(),
        })
        .collect();
    let mut by_itself = vec![Lost(Vec::new()); rules.assets.len()];
    for it in others {
        let least = rises(it).min().unwrap_or(0);
        for asset in &it.assets {
            let from = it.from.max(rules.assets[*asset].down_from);
            by_itself[*asset].0.push((from, least));
        }
    }
    let grouped: Vec<usize> = groups
        .iter()
        .flat_map(|group| group.assets.clone())
        .collect();
    let others = by_itself.into_iter().enumerate();
    let others = others.filter(|(asset, _)| !grouped.contains(asset));
    groups.extend(others.map(|(asset, lost)| Group {
        assets: vec![asset],
        places: vec![lost],
    }));
    groups
}

/// What the rate falls by with each machine that comes back, the first one first.
fn rises(it: &CapabilityRule) -> impl Iterator<Item = i64> {
    it.loss_per_hour
        .windows(2)
        .rev()
        .map(|pair| pair[1] - pair[0])
}
