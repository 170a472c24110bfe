use crate::planner::decode::{Chunk, Outcome, State, Toll, Trail};
use crate::planner::rules::Rules;

/// An order of chunks with the state before each of them, so that a changed order is decoded from its first
/// change only.
///
/// A machine is back only with its last part: as soon as one of its jobs does not fit, the machine is
/// *parked*, and none of its jobs is in the order.
pub(super) struct Order {
    pub chunks: Vec<Chunk>,
    pub loss: i64,
    /// By asset: whether its jobs are left out.
    pub parked: Vec<bool>,
    states: Vec<State>,
    tolls: Vec<Toll>,
    /// By position: the end of the job whose last chunk it is.
    ends: Vec<Option<i64>>,
}

/// A changed order: what differs from the one it was made from.
#[derive(Default)]
pub(super) struct Trial {
    pub chunks: Vec<Chunk>,
    /// The first position that differs.
    pub from: usize,
    /// An asset whose jobs were parked before, and one whose jobs are parked now.
    pub unpark: Option<usize>,
    pub park: Option<usize>,
}

/// What decoding needs beside the orders, kept between decodings to spare allocations.
pub(super) struct Bench {
    /// By job: no plan finishes it sooner.
    pub earliest: Vec<i64>,
    state: State,
    toll: Toll,
    trail: Trail,
    dead: Vec<usize>,
}

impl Bench {
    pub fn new(rules: &Rules, earliest: Vec<i64>) -> Self {
        let toll = Toll::new(rules, &earliest);
        Self {
            state: State::new(rules),
            toll,
            trail: Trail::default(),
            dead: Vec::new(),
            earliest,
        }
    }
}

impl Order {
    /// Decodes an order from the beginning; jobs of assets that do not fit as a whole are parked.
    pub fn new(rules: &Rules, bench: &mut Bench, chunks: Vec<Chunk>) -> Self {
        let mut order = Self {
            chunks,
            loss: i64::MAX,
            parked: vec![false; rules.assets.len()],
            states: vec![State::new(rules)],
            tolls: vec![Toll::new(rules, &bench.earliest)],
            ends: Vec::new(),
        };
        for (n, asset) in rules.assets.iter().enumerate() {
            let named = |job: &usize| order.chunks.iter().any(|chunk| chunk.job == *job);
            order.parked[n] = !asset.jobs.is_empty() && !asset.jobs.iter().all(named);
        }
        let parked = order.parked.clone();
        order
            .chunks
            .retain(|chunk| !parked[rules.jobs[chunk.job].asset]);
        order.settle(rules, bench, 0);
        order
    }

    /// Takes over a trial that was found good enough.
    pub fn accept(&mut self, rules: &Rules, bench: &mut Bench, trial: &mut Trial) {
        std::mem::swap(&mut self.chunks, &mut trial.chunks);
        if let Some(asset) = trial.unpark {
            self.parked[asset] = false;
        }
        if let Some(asset) = trial.park {
            self.parked[asset] = true;
        }
        self.settle(rules, bench, trial.from);
    }

    /// Decodes from a position on and keeps the states; parks what does not fit and decodes again.
    fn settle(&mut self, rules: &Rules, bench: &mut Bench, from: usize) {
        let mut from = from;
        loop {
            bench.dead.clear();
            self.states
                .resize_with((self.chunks.len() + 1).max(self.states.len()), || {
                    bench.state.clone()
                });
            self.ends.resize(self.chunks.len(), None);
            for at in from..self.chunks.len() {
                let (before, after) = self.states.split_at_mut(at + 1);
                after[0].copy_from(&before[at]);
                let chunk = self.chunks[at];
                let outcome = after[0].place_chunk(rules, chunk, &mut bench.trail);
                self.ends[at] = if let Outcome::Finished(end) = outcome {
                    Some(end)
                } else {
                    None
                };
                if outcome == Outcome::DoesNotFit {
                    bench.dead.push(rules.jobs[chunk.job].asset);
                }
            }
            if bench.dead.is_empty() {
                break;
            }
            let dead = |chunk: &Chunk| bench.dead.contains(&rules.jobs[chunk.job].asset);
            from = self.chunks.iter().position(dead).unwrap_or(0).min(from);
            self.chunks.retain(|chunk| !dead(chunk));
            for asset in &bench.dead {
                self.parked[*asset] = true;
            }
        }
        self.count(rules, bench);
    }

    /// Counts the loss at each position anew: parked assets count from the beginning.
    fn count(&mut self, rules: &Rules, bench: &Bench) {
        let mut toll = Toll::new(rules, &bench.earliest);
        for (asset, parked) in self.parked.iter().enumerate() {
            if *parked {
                toll.set_back(rules, asset, rules.horizon);
            }
        }
        self.tolls
            .resize_with((self.chunks.len() + 1).max(self.tolls.len()), || {
                toll.clone()
            });
        self.tolls[0].copy_from(&toll);
        for (at, chunk) in self.chunks.iter().enumerate() {
            if let Some(end) = self.ends[at] {
                toll.finish(rules, rules.jobs[chunk.job].asset, end);
            }
            self.tolls[at + 1].copy_from(&toll);
        }
        self.loss = toll.total();
    }

    /// The loss of a trial; none if it exceeds `most`, or most likely will.
    pub fn try_out(
        &self,
        rules: &Rules,
        bench: &mut Bench,
        trial: &Trial,
        most: i64,
    ) -> Option<i64> {
        let Bench {
            state,
            toll,
            trail,
            dead,
            earliest,
        } = bench;
        state.copy_from(&self.states[trial.from]);
        toll.copy_from(&self.tolls[trial.from]);
        dead.clear();
        if let Some(asset) = trial.unpark {
            let of_jobs = rules.assets[asset].jobs.iter().map(|job| earliest[*job]);
            toll.set_back(rules, asset, of_jobs.max().unwrap_or(0).min(rules.horizon));
        }
        if let Some(asset) = trial.park {
            toll.set_back(rules, asset, rules.horizon);
        }
        let same = self
            .chunks
            .iter()
            .rev()
            .zip(trial.chunks.iter().rev())
            .take_while(|(a, b)| a == b)
            .count();
        let (suffix, suffix_here) = (
            trial.chunks.len() - same,
            self.chunks.len().saturating_sub(same),
        );
        for at in trial.from..trial.chunks.len() {
            if at >= suffix {
                // From here on both orders go on alike. A trial that is dearer so far, with no cell free
                // sooner for what is to come, hardly ever makes up for it.
                let here = suffix_here + at - suffix;
                let tolerated = self.tolls[here].total().saturating_add(most - self.loss);
                if toll.total() > tolerated && state.no_cell_sooner(&self.states[here]) {
                    return None;
                }
            }
            let chunk = trial.chunks[at];
            let asset = rules.jobs[chunk.job].asset;
            if dead.contains(&asset) {
                continue;
            }
            match state.place_chunk(rules, chunk, trail) {
                Outcome::Finished(end) => toll.finish(rules, asset, end),
                Outcome::Begun => {}
                Outcome::DoesNotFit => {
                    dead.push(asset);
                    toll.set_back(rules, asset, rules.horizon);
                }
            }
            if toll.total() > most {
                return None;
            }
        }
        Some(toll.total())
    }
}
