use super::chain::NEVER;
use super::grid::Grid;
use super::scale::Scale;
use crate::planner::rules::{CapabilityRule, Rules};

/// Machines whose losses hang together, and what is lost of their capabilities by which of them are back.
#[derive(Debug)]
pub(super) struct Group {
    /// Positions of the assets that have jobs.
    pub assets: Vec<usize>,
    /// By step and set of assets that are back: the loss from its first minute to the next step's.
    pieces: Vec<i64>,
    /// Of one asset alone, by step: the loss if it is back then.
    single: Vec<i64>,
    /// The steps.
    count: usize,
}

impl Group {
    pub fn new(
        rules: &Rules,
        scale: Scale,
        grid: Grid,
        assets: Vec<usize>,
        capabilities: &[CapabilityRule],
    ) -> Self {
        let sets = 1 << assets.len();
        let count = grid.last + 2;
        let mut pieces = vec![0; sets * count];
        for capability in capabilities {
            for set in 0..sets {
                let mut lost = Lost::new(rules, capability, &assets, set);
                for step in 0..=grid.last {
                    let more = lost.until(grid.first_minute(step + 1));
                    pieces[step * sets + set] += scale.down(more);
                }
            }
        }
        let single = if assets.len() == 1 {
            single(&pieces)
        } else {
            Vec::new()
        };
        Self {
            assets,
            pieces,
            single,
            count,
        }
    }

    /// Roughly how many operations one value takes.
    pub fn work(&self) -> usize {
        self.count * (1 << self.assets.len()) * (1 + self.assets.len())
    }

    /// The least of loss and price, and at which step each asset is then back; `price` is by asset and
    /// step, the last of them for none of it.
    pub fn least(&self, price: &[Vec<i64>], traced: bool) -> (i64, Vec<usize>) {
        if let [price] = price {
            let sums = self
                .single
                .iter()
                .zip(price)
                .map(|(loss, price)| loss + price);
            let (step, least) = sums
                .enumerate()
                .min_by_key(|(_, sum)| *sum)
                .unwrap_or((0, 0));
            return (least, vec![step]);
        }
        let sets = 1 << self.assets.len();
        let mut least = vec![NEVER; sets * self.count];
        least[0] = 0;
        for step in 0..self.count {
            if step > 0 {
                let (before, here) = least[(step - 1) * sets..(step + 1) * sets].split_at_mut(sets);
                let piece = &self.pieces[(step - 1) * sets..];
                for ((here, before), piece) in here.iter_mut().zip(before).zip(piece) {
                    *here = *before + piece;
                }
            }
            let here = &mut least[step * sets..(step + 1) * sets];
            for set in 0..sets {
                for (n, price) in price
                    .iter()
                    .enumerate()
                    .filter(|(n, _)| set & (1 << n) == 0)
                {
                    let with = set | (1 << n);
                    here[with] = here[with].min(here[set] + price[step]);
                }
            }
        }
        let back = if traced {
            self.trace(price, &least)
        } else {
            Vec::new()
        };
        (least[least.len() - 1], back)
    }

    fn trace(&self, price: &[Vec<i64>], least: &[i64]) -> Vec<usize> {
        let sets = 1 << self.assets.len();
        let mut back = vec![0; self.assets.len()];
        let (mut set, mut step) = (sets - 1, self.count - 1);
        while set > 0 {
            let here = &least[step * sets..];
            let last = (0..self.assets.len()).find(|n| {
                set & (1 << n) != 0 && here[set] == here[set & !(1 << n)] + price[*n][step]
            });
            match last {
                Some(n) => {
                    back[n] = step;
                    set &= !(1 << n);
                }
                None if step > 0 => step -= 1,
                None => break,
            }
        }
        back
    }
}

/// By step: the pieces of an asset that is down before it and back from it on.
fn single(pieces: &[i64]) -> Vec<i64> {
    let mut loss: i64 = pieces.iter().skip(1).step_by(2).sum();
    let both = pieces.chunks_exact(2);
    both.map(|piece| {
        let here = loss;
        loss += piece[0] - piece[1];
        here
    })
    .collect()
}

/// What a capability loses while the same assets are back, told from minute 0 on.
struct Lost {
    /// From which minute on which rate holds.
    rates: Vec<(i64, i64)>,
    /// The rate that holds and the minute up to which it has been counted.
    at: usize,
    minute: i64,
}

impl Lost {
    fn new(rules: &Rules, capability: &CapabilityRule, assets: &[usize], set: usize) -> Self {
        let mut changes = vec![(0, 0_isize)];
        for asset in &capability.assets {
            let rule = &rules.assets[*asset];
            let back = match assets.iter().position(|other| other == asset) {
                Some(n) if set & (1 << n) != 0 => 0,
                Some(_) => rules.horizon,
                None => rule.back,
            };
            let from = rule.down_from.max(0);
            if back > from {
                changes.extend([(from, 1), (back, -1)]);
            }
        }
        changes.sort_unstable();
        let mut down = 0_usize;
        let rates = changes.iter().map(|(minute, change)| {
            down = down.saturating_add_signed(*change);
            let rate = capability.loss_per_hour.get(down).copied().unwrap_or(0);
            ((*minute).clamp(capability.from, rules.horizon), rate)
        });
        let rates: Vec<_> = rates.collect();
        Self {
            rates,
            at: 0,
            minute: capability.from,
        }
    }

    /// The loss up to a minute from where it was told before.
    fn until(&mut self, minute: i64) -> i64 {
        let mut lost = 0;
        while self.minute < minute {
            let next = self.rates.get(self.at + 1).map_or(i64::MAX, |next| next.0);
            let until = next.min(minute);
            lost += self.rates[self.at].1 * (until - self.minute);
            self.minute = until;
            self.at += usize::from(until == next);
        }
        lost
    }
}

/// So many assets of capabilities that hang together are weighed against each other; more, each alone.
const MOST: usize = 6;

/// The machines of a problem in groups: those of capabilities that hang together, or each by itself where
/// these are too many. The last group has none, but what is lost whatever becomes of the others.
pub(super) fn groups(rules: &Rules, scale: Scale, grid: Grid) -> Vec<Group> {
    let has_jobs = |asset: &usize| !rules.assets[*asset].jobs.is_empty();
    let (mut groups, mut alone) = (Vec::new(), Vec::new());
    for capabilities in joined(rules) {
        let rule = |n: &usize| rules.capabilities[*n].clone();
        let capabilities: Vec<_> = capabilities.iter().map(rule).collect();
        let mut assets: Vec<_> = capabilities
            .iter()
            .flat_map(|it| &it.assets)
            .copied()
            .collect();
        assets.retain(has_jobs);
        assets.sort_unstable();
        assets.dedup();
        if assets.is_empty() {
            alone.extend(capabilities);
        } else if assets.len() <= MOST {
            groups.push(Group::new(rules, scale, grid, assets, &capabilities));
        } else {
            let (rest, single) = split(&capabilities, has_jobs);
            alone.extend(rest);
            for asset in assets {
                let of_it: Vec<_> = single
                    .iter()
                    .filter(|it| it.assets[0] == asset)
                    .cloned()
                    .collect();
                groups.push(Group::new(rules, scale, grid, vec![asset], &of_it));
            }
        }
    }
    groups.push(Group::new(rules, scale, grid, Vec::new(), &alone));
    groups
}

/// Capabilities in sets that share no asset with jobs.
fn joined(rules: &Rules) -> Vec<Vec<usize>> {
    let mut of: Vec<usize> = (0..rules.capabilities.len()).collect();
    for asset in rules.assets.iter().filter(|asset| !asset.jobs.is_empty()) {
        for pair in asset.capabilities.windows(2) {
            let (one, other) = (of[pair[0]], of[pair[1]]);
            for it in of.iter_mut().filter(|it| **it == other) {
                *it = one;
            }
        }
    }
    let mut sets = vec![Vec::new(); of.len()];
    for (n, set) in of.iter().enumerate() {
        sets[*set].push(n);
    }
    sets.retain(|set| !set.is_empty());
    sets
}

/// Capabilities without those of their assets that have jobs, and for each of these what it adds at least
/// to the rate by being down: the least average rise of the table from any entry on.
fn split(
    capabilities: &[CapabilityRule],
    has_jobs: impl Fn(&usize) -> bool,
) -> (Vec<CapabilityRule>, Vec<CapabilityRule>) {
    let (mut rest, mut single) = (Vec::new(), Vec::new());
    for capability in capabilities {
        let (with, without): (Vec<_>, Vec<_>) =
            capability.assets.iter().copied().partition(&has_jobs);
        let table = &capability.loss_per_hour;
        let mut rises = (0..=without.len()).flat_map(|fixed| {
            (1..=with.len()).map(move |k| {
                (table[fixed + k] - table[fixed]) / i64::try_from(k).unwrap_or(i64::MAX)
            })
        });
        let rise = rises.next().map_or(0, |first| rises.fold(first, i64::min));
        single.extend(with.iter().map(|asset| CapabilityRule {
            from: capability.from,
            assets: vec![*asset],
            loss_per_hour: vec![0, rise],
        }));
        rest.push(CapabilityRule {
            assets: without,
            ..capability.clone()
        });
    }
    (rest, single)
}
