use fastrand::Rng;

use super::batching::{begin_of, rebatch};
use super::order::{Order, Trial};
use super::starts::whole;
use crate::planner::decode::Chunk;
use crate::planner::rules::Rules;

/// Makes a trial by changing an order at random in one of several ways; false if the way drawn does not
/// apply.
pub(super) fn change(rules: &Rules, rng: &mut Rng, order: &Order, trial: &mut Trial) -> bool {
    trial.chunks.clone_from(&order.chunks);
    (trial.unpark, trial.park) = (None, None);
    if order.chunks.len() < 2 || rng.u32(0..100) < 6 {
        return exchange(rules, rng, order, trial);
    }
    let chunks = &mut trial.chunks;
    let batches = rules.batch_stations > 0 && rng.u32(0..100) < BATCHES;
    let first = match rng.u32(0..116) {
        _ if batches => rebatch(rules, rng, chunks),
        0..36 => relocate(rng, chunks),
        36..54 => swap(rng, chunks),
        54..66 => relocate_block(rng, chunks),
        66..86 => gather(rules, rng, chunks),
        86..96 => take_other_option(rules, rng, chunks),
        96..110 => split(rules, rng, chunks),
        _ => unite(rules, rng, chunks),
    };
    if first.is_some() {
        sort_chunks(rules, chunks);
    }
    trial.from = first.unwrap_or(0);
    first.is_some()
}

/// Of 100 changes where stations hold batches, so many are of which batch a step is in: few, since most steps
/// do best to start first, and only these changes let one wait.
const BATCHES: u32 = 4;

/// Brings the jobs of a parked machine in, often in place of another machine that is then parked.
fn exchange(rules: &Rules, rng: &mut Rng, order: &Order, trial: &mut Trial) -> bool {
    let count = rules.assets.len();
    let start = rng.usize(0..count.max(1));
    let usable = |asset: &usize| {
        let jobs = &rules.assets[*asset].jobs;
        order.parked[*asset] && jobs.iter().all(|job| !rules.jobs[*job].options.is_empty())
    };
    let Some(asset) = (0..count).map(|k| (start + k) % count).find(usable) else {
        return false;
    };
    let chunks = &mut trial.chunks;
    let mut to = rng.usize(0..=chunks.len());
    trial.from = to;
    if !chunks.is_empty() && rng.bool() {
        let out = rules.jobs[chunks[to.min(chunks.len() - 1)].job].asset;
        trial.from = chunks
            .iter()
            .position(|chunk| rules.jobs[chunk.job].asset == out)
            .unwrap_or(0)
            .min(to);
        chunks.retain(|chunk| rules.jobs[chunk.job].asset != out);
        to = trial.from;
        trial.park = Some(out);
    }
    for job in &rules.assets[asset].jobs {
        let option = rng.usize(0..rules.jobs[*job].options.len());
        chunks.insert(to, whole(rules, *job, option));
    }
    trial.unpark = Some(asset);
    true
}

/// Half of the moves go near, half anywhere.
fn target(rng: &mut Rng, from: usize, len: usize) -> usize {
    if rng.bool() {
        return rng.usize(0..len);
    }
    let step = 1 + rng.usize(0..8);
    if rng.bool() {
        (from + step).min(len - 1)
    } else {
        from.saturating_sub(step)
    }
}

fn relocate(rng: &mut Rng, order: &mut [Chunk]) -> Option<usize> {
    let from = rng.usize(0..order.len());
    let to = target(rng, from, order.len());
    shift(order, from, to)
}

fn shift(order: &mut [Chunk], from: usize, to: usize) -> Option<usize> {
    match from.cmp(&to) {
        std::cmp::Ordering::Less => order[from..=to].rotate_left(1),
        std::cmp::Ordering::Greater => order[to..=from].rotate_right(1),
        std::cmp::Ordering::Equal => return None,
    }
    Some(from.min(to))
}

fn swap(rng: &mut Rng, order: &mut [Chunk]) -> Option<usize> {
    let a = rng.usize(0..order.len());
    let b = target(rng, a, order.len());
    order.swap(a, b);
    (a != b && order[a].job != order[b].job).then_some(a.min(b))
}

fn relocate_block(rng: &mut Rng, order: &mut [Chunk]) -> Option<usize> {
    let len = order.len();
    let size = rng.usize(2..=8).min(len);
    let from = rng.usize(0..=len - size);
    let to = target(rng, from, len - size + 1);
    if to < from {
        order[to..from + size].rotate_right(size);
    } else {
        order[from..to + size].rotate_left(size);
    }
    (from != to).then_some(from.min(to))
}

/// Brings all parts of one machine together, since it is back only with its last part.
fn gather(rules: &Rules, rng: &mut Rng, order: &mut [Chunk]) -> Option<usize> {
    let pivot = rng.usize(0..order.len());
    let asset = rules.jobs[order[pivot].job].asset;
    if rules.assets[asset].jobs.len() < 2 {
        return None;
    }
    let to = target(rng, pivot, order.len());
    let (mut with, without): (Vec<_>, Vec<_>) =
        order.iter().partition(|c| rules.jobs[c.job].asset == asset);
    let to = to.min(without.len());
    let mut new = without[..to].to_vec();
    new.append(&mut with);
    new.extend_from_slice(&without[to..]);
    let first = order.iter().zip(&new).position(|(old, new)| old != new);
    order.copy_from_slice(&new);
    first
}

fn take_other_option(rules: &Rules, rng: &mut Rng, order: &mut Vec<Chunk>) -> Option<usize> {
    let tries = (0..8).map(|_| rng.usize(0..order.len()));
    let at = tries
        .into_iter()
        .find(|at| rules.jobs[order[*at].job].options.len() > 1)?;
    let Chunk { job, option, .. } = order[at];
    let first = make_whole(order, job)?;
    let other =
        (option + rng.usize(1..rules.jobs[job].options.len())) % rules.jobs[job].options.len();
    order[first] = whole(rules, job, other);
    if rng.bool() {
        let to = target(rng, first, order.len());
        return shift(order, first, to).or(Some(first));
    }
    Some(first)
}

/// Leaves one chunk of a job, at the place of its first, and returns where.
fn make_whole(order: &mut Vec<Chunk>, job: usize) -> Option<usize> {
    let first = order.iter().position(|chunk| chunk.job == job)?;
    let mut at = 0;
    order.retain(|chunk| {
        at += 1;
        chunk.job != job || at - 1 == first
    });
    Some(first)
}

/// Places the later operations of a job behind other jobs, so that these go first at a station or cell.
fn split(rules: &Rules, rng: &mut Rng, order: &mut Vec<Chunk>) -> Option<usize> {
    let at = rng.usize(0..order.len());
    let later = order[at];
    let option = &rules.jobs[later.job].options[later.option];
    let from = begin_of(order, at);
    if option.operations.len() < 2 || later.upto < from + 2 {
        return None;
    }
    let cut = rng.usize(from + 1..later.upto);
    if !option.may_part(cut) {
        return None;
    }
    order[at].upto = cut;
    let reach = order.len() - at;
    let to = at
        + 1
        + if rng.bool() {
            rng.usize(0..reach)
        } else {
            rng.usize(0..reach.min(6))
        };
    order.insert(to, later);
    Some(at)
}

fn unite(rules: &Rules, rng: &mut Rng, order: &mut Vec<Chunk>) -> Option<usize> {
    let start = rng.usize(0..order.len());
    let operations = |chunk: &Chunk| rules.jobs[chunk.job].options[chunk.option].operations.len();
    let parted = |at: usize| order[at].upto < operations(&order[at]);
    let at = (0..order.len())
        .map(|k| (start + k) % order.len())
        .find(|at| parted(*at))?;
    let Chunk { job, option, .. } = order[at];
    let first = make_whole(order, job)?;
    order[first] = whole(rules, job, option);
    Some(first)
}

/// Puts the chunks of each split job back into the order of its operations.
///
/// What ends a job is the furthest of it, and never too early once the others are in order.
fn sort_chunks(rules: &Rules, order: &mut [Chunk]) {
    for at in 0..order.len() {
        let Chunk {
            job, option, upto, ..
        } = order[at];
        if upto == rules.jobs[job].options[option].operations.len() {
            continue;
        }
        for earlier in 0..at {
            if order[earlier].job == job && order[earlier].upto > order[at].upto {
                order.swap(earlier, at);
            }
        }
    }
}
