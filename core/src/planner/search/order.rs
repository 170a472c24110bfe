use super::tally::Tally;
use super::track::{Track, print};
use crate::planner::decode::{Chunk, Outcome, State, Trail};
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
    tally: Tally,
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
    /// By job, for use while chunks are sorted.
    pub seen: Vec<usize>,
    /// The position from which on both orders are placed alike, if they are.
    alike_from: Option<usize>,
}

/// What decoding needs beside the orders, kept between decodings to spare allocations.
pub(super) struct Bench {
    /// By job: no plan finishes it sooner.
    earliest: Vec<i64>,
    /// Positions from one kept state to the next.
    stride: usize,
    state: State,
    tally: Tally,
    trail: Trail,
    /// Assets of which a job did not fit.
    dead: Vec<usize>,
    track: Track,
    /// By job: how far it is placed in the trial.
    placed: Vec<usize>,
}

impl Bench {
    pub fn new(rules: &Rules, earliest: Vec<i64>) -> Self {
        Self {
            stride: (rules.jobs.len() / KEPT_STATES).max(1),
            state: State::new(rules),
            tally: Tally::new(rules),
            trail: Trail::default(),
            dead: Vec::new(),
            track: Track::default(),
            placed: vec![0; rules.jobs.len()],
            earliest,
        }
    }
}

/// About so many states are kept for an order: more cost more to copy than they spare.
const KEPT_STATES: usize = 12;

impl Order {
    /// Decodes an order from the beginning; jobs of assets that do not fit as a whole are parked.
    pub fn new(rules: &Rules, bench: &mut Bench, chunks: &[Chunk]) -> Self {
        let mut named = vec![false; rules.jobs.len()];
        for chunk in chunks {
            named[chunk.job] = true;
        }
        let parked: Vec<bool> = rules
            .assets
            .iter()
            .map(|asset| !asset.jobs.is_empty() && !asset.jobs.iter().all(|job| named[*job]))
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
            tally: Tally::new(rules),
        };
        let empty = State::new(rules);
        order.track.reserve(0, &empty, bench.stride);
        order.track.states[0] = empty;
        order.settle(rules, bench, 0);
        order
    }

    /// The same operations in the order in which they begin, those of one job together where nothing begins
    /// between them. Decoded, they begin when they did or sooner.
    pub fn by_begin(&self, rules: &Rules, bench: &mut Bench) -> Vec<Chunk> {
        let mut begun = Vec::new();
        let mut upto = vec![0; rules.jobs.len()];
        bench.state.copy_from(&self.track.states[0]);
        for chunk in &self.chunks {
            bench.state.place_chunk(rules, *chunk, &mut bench.trail);
            if chunk.upto == 0 {
                begun.push((0, *chunk));
            }
            for placed in &bench.trail.placed {
                upto[chunk.job] += 1;
                let upto = upto[chunk.job];
                begun.push((placed.begin, Chunk { upto, ..*chunk }));
            }
        }
        sorted_by_begin(rules, begun)
    }

    /// Takes over the trial that was tried out last.
    pub fn accept(&mut self, rules: &Rules, bench: &mut Bench, trial: &mut Trial) {
        std::mem::swap(&mut self.chunks, &mut trial.chunks);
        let resized = self.chunks.len() != trial.chunks.len();
        if let Some(to) = trial.alike_from.filter(|_| !resized) {
            return self
                .track
                .take_over(&mut bench.track, (trial.from, to), bench.stride);
        }
        if trial.alike_from.is_some() {
            return self.settle(rules, bench, trial.from);
        }
        std::mem::swap(&mut self.tally, &mut bench.tally);
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
            .reserve(self.chunks.len(), &bench.state, bench.stride);
        let behind = (trial.from, self.chunks.len());
        self.track.take_over(&mut bench.track, behind, bench.stride);
        self.loss = self.tally.loss();
    }

    /// Decodes from a position on and keeps the states; parks what does not fit and decodes again.
    fn settle(&mut self, rules: &Rules, bench: &mut Bench, from: usize) {
        let stride = bench.stride;
        let mut from = from;
        loop {
            bench.dead.clear();
            self.track.reserve(self.chunks.len(), &bench.state, stride);
            let first = from / stride * stride;
            bench.state.copy_from(&self.track.states[first / stride]);
            let mut so_far = self.track.prints[first];
            for at in first..self.chunks.len() {
                self.track.keep(at, &bench.state, so_far, stride);
                let chunk = self.chunks[at];
                match bench.state.place_chunk(rules, chunk, &mut bench.trail) {
                    Outcome::Finished(end) => self.tally.finish(rules, chunk, end),
                    Outcome::Begun => {}
                    Outcome::DoesNotFit => bench.dead.push(chunk.asset(rules)),
                }
                so_far = so_far.wrapping_add(print(chunk, &bench.trail));
            }
            self.track
                .keep(self.chunks.len(), &bench.state, so_far, stride);
            if bench.dead.is_empty() {
                break;
            }
            let dead = |chunk: &Chunk| bench.dead.contains(&chunk.asset(rules));
            from = self.chunks.iter().position(dead).unwrap_or(0).min(from);
            self.chunks.retain(|chunk| !dead(chunk));
            for asset in &bench.dead {
                self.parked[*asset] = true;
                self.tally.leave_out(rules, *asset);
            }
        }
        self.loss = self.tally.loss();
    }

    /// The loss of a trial; none if it exceeds `most`, or most likely will.
    ///
    /// Jobs that are not placed yet count as finished when they are in this order. Once a trial is dearer
    /// than `most`, with no cell free sooner for what is to come, it hardly ever makes up for it.
    pub fn try_out(
        &self,
        rules: &Rules,
        bench: &mut Bench,
        trial: &mut Trial,
        most: i64,
    ) -> Option<i64> {
        self.make_ready(rules, bench, trial);
        let Bench {
            state,
            tally,
            trail,
            dead,
            stride,
            track,
            placed,
            ..
        } = bench;
        let (suffix, suffix_here) = self.suffix(trial);
        if suffix.max(suffix_here) <= trial.from {
            return None;
        }
        let first = trial.from / *stride * *stride;
        let mut so_far = self.track.prints[first];
        // So much of this order is placed in the trial too, whatever else is.
        let mut here = trial.from;
        for at in first..trial.chunks.len() {
            let chunk = trial.chunks[at];
            if at > trial.from {
                let is_placed = |chunk: &Chunk| placed[chunk.job] >= chunk.upto.max(1);
                while self.chunks.get(here).is_some_and(is_placed) {
                    here += 1;
                }
                if tally.loss() > most && self.track.no_cell_sooner(state, here) {
                    return None;
                }
            }
            if at == suffix && dead.is_empty() && so_far == self.track.prints[suffix_here] {
                track.keep(at, state, so_far, *stride);
                trial.alike_from = Some(suffix);
                return Some(self.loss);
            }
            if at >= trial.from {
                track.keep(at, state, so_far, *stride);
            }
            let asset = chunk.asset(rules);
            if !dead.contains(&asset) {
                match state.place_chunk(rules, chunk, trail) {
                    Outcome::Finished(end) => tally.finish(rules, chunk, end),
                    Outcome::Begun => {}
                    Outcome::DoesNotFit => {
                        dead.push(asset);
                        tally.leave_out(rules, asset);
                    }
                }
                so_far = so_far.wrapping_add(print(chunk, trail));
            }
            placed[chunk.job] = chunk.upto.max(1);
        }
        track.keep(trial.chunks.len(), state, so_far, *stride);
        Some(tally.loss()).filter(|loss| *loss <= most)
    }

    fn make_ready(&self, rules: &Rules, bench: &mut Bench, trial: &mut Trial) {
        let kept = trial.from / bench.stride;
        bench
            .track
            .reserve(trial.chunks.len(), &bench.state, bench.stride);
        bench.state.copy_from(&self.track.states[kept]);
        bench.tally.copy_from(&self.tally);
        bench.dead.clear();
        bench.placed.fill(0);
        trial.alike_from = None;
        if let Some(asset) = trial.unpark {
            for job in &rules.assets[asset].jobs {
                bench.tally.set_end(rules, *job, bench.earliest[*job]);
            }
        }
        if let Some(asset) = trial.park {
            bench.tally.leave_out(rules, asset);
            for job in &rules.assets[asset].jobs {
                bench.placed[*job] = usize::MAX;
            }
        }
    }

    /// From which position on a trial goes on like this order, and which one that is here.
    fn suffix(&self, trial: &Trial) -> (usize, usize) {
        let pairs = self.chunks.iter().rev().zip(trial.chunks.iter().rev());
        let same = pairs.take_while(|(a, b)| a == b).count();
        (trial.chunks.len() - same, self.chunks.len() - same)
    }
}

/// Puts operations in the order in which they begin; each comes as a chunk of its job up to it. What may not
/// be parted goes where the last of it begins.
pub(super) fn sorted_by_begin(rules: &Rules, mut begun: Vec<(i64, Chunk)>) -> Vec<Chunk> {
    begun.retain(|(_, chunk)| rules.jobs[chunk.job].options[chunk.option].may_part(chunk.upto));
    begun.sort_by_key(|(begin, chunk)| (*begin, chunk.job, chunk.upto));
    let mut chunks: Vec<Chunk> = Vec::new();
    // Set-up may begin before the operation in front of it does: then both go together.
    let mut placed = vec![None; rules.jobs.len()];
    for (_, chunk) in begun {
        if placed[chunk.job].is_some_and(|upto| chunk.upto <= upto) {
            continue;
        }
        placed[chunk.job] = Some(chunk.upto);
        match chunks.last_mut() {
            Some(last) if last.job == chunk.job => *last = chunk,
            _ => chunks.push(chunk),
        }
    }
    chunks
}
