use crate::planner::decode::{Chunk, Outcome, State, Toll, Trail};
use crate::planner::rules::Rules;

/// An order of chunks with the state before every few of them, so that a changed order is decoded from
/// shortly before its first change only.
///
/// A machine is back only with its last part: as soon as one of its jobs does not fit, the machine is
/// *parked*, and none of its jobs is in the order.
pub(super) struct Order {
    pub chunks: Vec<Chunk>,
    pub loss: i64,
    /// By asset: whether its jobs are left out.
    pub parked: Vec<bool>,
    track: Track,
}

/// What decoding an order leaves behind.
#[derive(Default)]
struct Track {
    /// The state before each position that is a multiple of the stride.
    states: Vec<State>,
    tolls: Vec<Toll>,
    /// The loss so far before each position.
    totals: Vec<i64>,
    /// From when each cell is free, before each position.
    free: Vec<i64>,
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
    /// Positions from one kept state to the next.
    stride: usize,
    state: State,
    toll: Toll,
    trail: Trail,
    /// Assets of which a job did not fit.
    dead: Vec<usize>,
    track: Track,
}

impl Bench {
    pub fn new(rules: &Rules, earliest: Vec<i64>) -> Self {
        Self {
            stride: (rules.jobs.len() / 25).max(1),
            state: State::new(rules),
            toll: Toll::new(rules, &earliest),
            trail: Trail::default(),
            dead: Vec::new(),
            track: Track::default(),
            earliest,
        }
    }
}

impl Track {
    fn reserve(&mut self, chunks: usize, bench_state: &State, bench_toll: &Toll, stride: usize) {
        let kept = chunks / stride + 1;
        if self.states.len() < kept {
            self.states.resize_with(kept, || bench_state.clone());
            self.tolls.resize_with(kept, || bench_toll.clone());
        }
        let cells = bench_state.cells_free().count();
        self.totals.resize(chunks + 1, 0);
        self.free.resize((chunks + 1) * cells, 0);
        self.ends.resize(chunks, None);
    }

    /// Keeps what is known before a position.
    fn keep(&mut self, at: usize, state: &State, stride: usize) {
        let cells = state.cells_free().count();
        self.free[at * cells..(at + 1) * cells]
            .iter_mut()
            .zip(state.cells_free())
            .for_each(|(kept, free)| *kept = free);
        if at.is_multiple_of(stride) {
            self.states[at / stride].copy_from(state);
        }
    }

    fn no_cell_sooner(&self, state: &State, at: usize) -> bool {
        let cells = state.cells_free().count();
        state
            .cells_free()
            .zip(&self.free[at * cells..])
            .all(|(mine, here)| mine >= *here)
    }
}

impl Order {
    /// Decodes an order from the beginning; jobs of assets that do not fit as a whole are parked.
    pub fn new(rules: &Rules, bench: &mut Bench, chunks: &[Chunk]) -> Self {
        let named = |job: &usize| chunks.iter().any(|chunk| chunk.job == *job);
        let parked: Vec<bool> = rules
            .assets
            .iter()
            .map(|asset| !asset.jobs.is_empty() && !asset.jobs.iter().all(named))
            .collect();
        let kept = chunks
            .iter()
            .filter(|chunk| !parked[rules.jobs[chunk.job].asset])
            .copied()
            .collect();
        let mut order = Self {
            chunks: kept,
            loss: i64::MAX,
            parked,
            track: Track::default(),
        };
        order
            .track
            .reserve(0, &State::new(rules), &bench.toll, bench.stride);
        order.track.states[0] = State::new(rules);
        order.settle(rules, bench, 0);
        order
    }

    /// Takes over the trial that was tried out last.
    pub fn accept(&mut self, rules: &Rules, bench: &mut Bench, trial: &mut Trial) {
        std::mem::swap(&mut self.chunks, &mut trial.chunks);
        if let Some(asset) = trial.unpark {
            self.parked[asset] = false;
        }
        if let Some(asset) = trial.park {
            self.parked[asset] = true;
        }
        if !bench.dead.is_empty() {
            return self.settle(rules, bench, trial.from);
        }
        self.track
            .reserve(self.chunks.len(), &bench.state, &bench.toll, bench.stride);
        let cells = bench.state.cells_free().count();
        for kept in trial.from / bench.stride + 1..=self.chunks.len() / bench.stride {
            std::mem::swap(&mut self.track.states[kept], &mut bench.track.states[kept]);
        }
        self.track.free[trial.from * cells..]
            .copy_from_slice(&bench.track.free[trial.from * cells..]);
        self.track.ends[trial.from..].copy_from_slice(&bench.track.ends[trial.from..]);
        self.count(rules, bench);
    }

    /// Decodes from a position on and keeps the states; parks what does not fit and decodes again.
    fn settle(&mut self, rules: &Rules, bench: &mut Bench, from: usize) {
        let mut from = from;
        loop {
            bench.dead.clear();
            self.track
                .reserve(self.chunks.len(), &bench.state, &bench.toll, bench.stride);
            let first = from / bench.stride * bench.stride;
            bench
                .state
                .copy_from(&self.track.states[first / bench.stride]);
            for at in first..self.chunks.len() {
                self.track.keep(at, &bench.state, bench.stride);
                let chunk = self.chunks[at];
                let outcome = bench.state.place_chunk(rules, chunk, &mut bench.trail);
                self.track.ends[at] = if let Outcome::Finished(end) = outcome {
                    Some(end)
                } else {
                    None
                };
                if outcome == Outcome::DoesNotFit {
                    bench.dead.push(rules.jobs[chunk.job].asset);
                }
            }
            self.track
                .keep(self.chunks.len(), &bench.state, bench.stride);
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
    fn count(&mut self, rules: &Rules, bench: &mut Bench) {
        let toll = &mut bench.toll;
        *toll = Toll::new(rules, &bench.earliest);
        for (asset, parked) in self.parked.iter().enumerate() {
            if *parked {
                toll.set_back(rules, asset, rules.horizon);
            }
        }
        for at in 0..=self.chunks.len() {
            self.track.totals[at] = toll.total();
            if at.is_multiple_of(bench.stride) {
                self.track.tolls[at / bench.stride].copy_from(toll);
            }
            if let Some(end) = self.track.ends.get(at).copied().flatten() {
                let chunk = &self.chunks[at];
                toll.finish(rules, chunk.asset(rules), end, chunk.debt(rules));
            }
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
            stride,
            track,
        } = bench;
        let kept = trial.from / *stride;
        track.reserve(trial.chunks.len(), state, toll, *stride);
        state.copy_from(&self.track.states[kept]);
        toll.copy_from(&self.track.tolls[kept]);
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
        let (suffix, suffix_here) = (trial.chunks.len() - same, self.chunks.len() - same);
        for (at, chunk) in trial.chunks.iter().enumerate().skip(kept * *stride) {
            if at >= suffix {
                // From here on both orders go on alike. A trial that is dearer so far, with no cell free
                // sooner for what is to come, hardly ever makes up for it.
                let here = suffix_here + at - suffix;
                let tolerated = self.track.totals[here].saturating_add(most - self.loss);
                if toll.total() > tolerated && self.track.no_cell_sooner(state, here) {
                    return None;
                }
            }
            if at >= trial.from {
                track.keep(at, state, *stride);
                track.ends[at] = None;
            }
            let asset = chunk.asset(rules);
            if dead.contains(&asset) {
                continue;
            }
            match state.place_chunk(rules, *chunk, trail) {
                Outcome::Finished(end) => {
                    toll.finish(rules, asset, end, chunk.debt(rules));
                    track.ends[at] = Some(end);
                }
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
        track.keep(trial.chunks.len(), state, *stride);
        Some(toll.total())
    }
}
