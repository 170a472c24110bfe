use fastrand::Rng;

use crate::planner::decode::{BatchRule, Chunk};
use crate::planner::rules::Rules;

/// Changes which batch a step is in: it joins one that is there, or begins its own; often it is placed anew
/// behind another job that needs such a batch, so as to join that one's.
pub(super) fn rebatch(rules: &Rules, rng: &mut Rng, order: &mut Vec<Chunk>) -> Option<usize> {
    let tries = (0..8).map(|_| rng.usize(0..order.len()));
    let found = tries
        .into_iter()
        .find_map(|at| Some((at, step_of(rules, order, at)?)));
    let (at, (step, batch)) = found?;
    if rng.u32(0..3) == 0 {
        order[at].join = !order[at].join;
        return Some(at);
    }
    let start = rng.usize(0..order.len());
    let alike = |other: &usize| {
        let needs = step_of(rules, order, *other).map(|(_, batch)| batch);
        order[*other].job != order[at].job && needs == Some(batch)
    };
    let mut others = (0..order.len()).map(|k| (start + k) % order.len());
    let other = others.find(alike)?;
    if other < at {
        order[at].join = true;
        return Some(at);
    }
    let chunk = order[at];
    let option = &rules.jobs[chunk.job].options[chunk.option];
    let cut = (begin_of(order, at) + 1..=step)
        .rev()
        .find(|n| option.may_part(*n));
    let later = Chunk {
        join: true,
        ..chunk
    };
    match cut {
        Some(cut) => {
            order[at].upto = cut;
            order.insert(other + 1, later);
        }
        None => {
            order[at..=other].rotate_left(1);
            order[other] = later;
        }
    }
    Some(at)
}

/// The first step of a chunk that needs a batch, and which.
fn step_of(rules: &Rules, order: &[Chunk], at: usize) -> Option<(usize, BatchRule)> {
    let Chunk {
        job, option, upto, ..
    } = order[at];
    let operations = &rules.jobs[job].options[option].operations[..upto];
    let mut needed = operations
        .iter()
        .map(|operation| operation.batch)
        .enumerate();
    let begin = begin_of(order, at);
    needed.find_map(|(n, batch)| batch.filter(|_| n >= begin).map(|batch| (n, batch)))
}

/// How many operations of a chunk's job earlier chunks place.
pub(super) fn begin_of(order: &[Chunk], at: usize) -> usize {
    let earlier = order[..at]
        .iter()
        .filter(|chunk| chunk.job == order[at].job);
    earlier.map(|chunk| chunk.upto).max().unwrap_or(0)
}
