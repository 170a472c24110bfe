//! Ways to change an order at random.

mod assets;
mod batching;
mod jobs;
mod places;

use fastrand::Rng;

use super::order::{Order, Trial};
use super::starts::whole;
use crate::planner::decode::Chunk;
use crate::planner::rules::Rules;

/// An order that is being changed.
struct Shuffle<'a> {
    rules: &'a Rules,
    rng: &'a mut Rng,
    /// Not empty.
    chunks: &'a mut Vec<Chunk>,
}

/// What is changed.
#[derive(Debug, Clone, Copy)]
enum Change {
    Relocate,
    Swap,
    RelocateBlock,
    RelocateRun,
    JoinPowder,
    RelocateJob,
    TakeOtherOption,
    Split,
    Unite,
    GatherAsset,
    GatherCapability,
    ShiftAsset,
    SwapAssets,
    Rebatch,
    TakeOtherStore,
}

/// How often each change is made, in proportion; measured on problems of 15 to 200 jobs.
const CHANGES: [(u32, Change); 13] = [
    (36, Change::Relocate),
    (18, Change::Swap),
    (12, Change::RelocateBlock),
    (6, Change::RelocateRun),
    (10, Change::JoinPowder),
    (20, Change::RelocateJob),
    (10, Change::TakeOtherOption),
    (4, Change::Split),
    (10, Change::Unite),
    (20, Change::GatherAsset),
    (4, Change::GatherCapability),
    (12, Change::ShiftAsset),
    (6, Change::SwapAssets),
];

/// Of 100 changes so many bring in a machine that is parked.
const EXCHANGES: u32 = 6;

/// Of 100 changes where stations hold batches, so many are of which batch a step is in: few, since most steps
/// do best to start first, and only these changes let one wait.
const BATCHES: u32 = 4;

/// Of 100 changes where operations have a choice of stores, so many are of the store.
const STORES: u32 = 6;

/// Makes a trial by changing an order at random in one of several ways; false if the way drawn does not
/// apply.
pub(super) fn change(rules: &Rules, rng: &mut Rng, order: &Order, trial: &mut Trial) -> bool {
    trial.chunks.clone_from(&order.chunks);
    (trial.unpark, trial.park) = (None, None);
    if order.chunks.len() < 2 || rng.u32(0..100) < EXCHANGES {
        return exchange(rules, rng, order, trial);
    }
    let drawn = draw(rules, rng);
    let chunks = &mut trial.chunks;
    let first = Shuffle { rules, rng, chunks }.make(drawn);
    if first.is_some() {
        sort_chunks(&mut trial.seen, rules, &mut trial.chunks);
    }
    trial.from = first.unwrap_or(0);
    first.is_some()
}

fn draw(rules: &Rules, rng: &mut Rng) -> Change {
    if rules.batch_stations > 0 && rng.u32(0..100) < BATCHES {
        return Change::Rebatch;
    }
    if rules.store_choices && rng.u32(0..100) < STORES {
        return Change::TakeOtherStore;
    }
    let mut left = rng.u32(0..CHANGES.iter().map(|(weight, _)| weight).sum());
    for (weight, change) in CHANGES {
        if left < weight {
            return change;
        }
        left -= weight;
    }
    Change::Relocate
}

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
        let out = chunks[to.min(chunks.len() - 1)].asset(rules);
        let of_out = |chunk: &Chunk| chunk.asset(rules) == out;
        trial.from = chunks.iter().position(of_out).unwrap_or(0).min(to);
        chunks.retain(|chunk| !of_out(chunk));
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

impl Shuffle<'_> {
    /// Where the order differs first from what it was, or none if it does not.
    fn make(&mut self, change: Change) -> Option<usize> {
        match change {
            Change::Relocate => self.relocate(),
            Change::Swap => self.swap(),
            Change::RelocateBlock => self.relocate_block(),
            Change::RelocateRun => self.relocate_run(),
            Change::JoinPowder => self.join_powder(),
            Change::RelocateJob => self.relocate_job(),
            Change::TakeOtherOption => self.take_other_option(),
            Change::Split => self.split(),
            Change::Unite => self.unite(),
            Change::GatherAsset => self.gather_asset(),
            Change::GatherCapability => self.gather_capability(),
            Change::ShiftAsset => self.shift_asset(),
            Change::SwapAssets => self.swap_assets(),
            Change::Rebatch => self.rebatch(),
            Change::TakeOtherStore => self.take_other_store(),
        }
    }

    fn anywhere(&mut self) -> usize {
        self.rng.usize(0..self.chunks.len())
    }

    /// A way to go: short ones are likelier, but now and then it goes anywhere.
    ///
    /// Changes over more places than `FAR` seldom help and take longest to decode.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a random step, at least 1"
    )]
    fn step(&mut self) -> usize {
        if self.rng.u32(0..100) < ANYWHERE {
            return self.rng.usize(1..self.chunks.len().max(2));
        }
        (FAR.ln() * self.rng.f64()).exp() as usize
    }

    /// Where to move what is at a position, in an order of so many places.
    fn target(&mut self, from: usize, len: usize) -> usize {
        let step = self.step();
        match (from >= step, from + step < len) {
            (true, true) if self.rng.bool() => from + step,
            (true, _) => from - step,
            (false, true) => from + step,
            (false, false) => self.rng.usize(0..len),
        }
    }

    /// Moves one chunk; none if it stays.
    fn shift(&mut self, from: usize, to: usize) -> Option<usize> {
        match from.cmp(&to) {
            std::cmp::Ordering::Less => self.chunks[from..=to].rotate_left(1),
            std::cmp::Ordering::Greater => self.chunks[to..=from].rotate_right(1),
            std::cmp::Ordering::Equal => return None,
        }
        Some(from.min(to))
    }

    /// Moves the chunks `from..from + size` so that they begin at `to`; none if they stay.
    fn shift_block(&mut self, from: usize, size: usize, to: usize) -> Option<usize> {
        if to < from {
            self.chunks[to..from + size].rotate_right(size);
        } else {
            self.chunks[from..to + size].rotate_left(size);
        }
        (from != to).then_some(from.min(to))
    }

    fn operations(&self, chunk: Chunk) -> usize {
        self.rules.jobs[chunk.job].options[chunk.option]
            .operations
            .len()
    }
}

const ANYWHERE: u32 = 10;
const FAR: f64 = 40.0;

/// Puts the chunks of each split job back into the order of its operations.
fn sort_chunks(seen: &mut Vec<usize>, rules: &Rules, chunks: &mut [Chunk]) {
    seen.clear();
    seen.resize(rules.jobs.len(), 0);
    for at in 0..chunks.len() {
        let job = chunks[at].job;
        if chunks[at].upto < seen[job] {
            sort_job(job, chunks);
        }
        seen[job] = chunks[at].upto;
    }
}

fn sort_job(job: usize, chunks: &mut [Chunk]) {
    let of_job = |at: &usize| chunks[*at].job == job;
    let places: Vec<usize> = (0..chunks.len()).filter(of_job).collect();
    let mut sorted: Vec<Chunk> = places.iter().map(|at| chunks[*at]).collect();
    sorted.sort_by_key(|chunk| chunk.upto);
    for (at, chunk) in places.into_iter().zip(sorted) {
        chunks[at] = chunk;
    }
}
