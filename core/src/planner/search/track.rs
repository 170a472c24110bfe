use crate::planner::decode::{Chunk, State, Trail};

/// What decoding an order leaves behind.
#[derive(Default)]
pub(super) struct Track {
    /// The state before each position that is a multiple of the stride.
    pub states: Vec<State>,
    /// From when each cell is free, before each position.
    free: Vec<i64>,
    /// What is placed before each position, as a print that does not depend on the order.
    pub prints: Vec<u64>,
    cells: usize,
}

impl Track {
    pub fn reserve(&mut self, chunks: usize, like: &State, stride: usize) {
        let kept = chunks / stride + 1;
        if self.states.len() < kept {
            self.states.resize_with(kept, || like.clone());
        }
        self.cells = like.cells_free().count();
        self.free.resize((chunks + 1) * self.cells, 0);
        self.prints.resize(chunks + 1, 0);
    }

    /// Keeps what is known before a position.
    pub fn keep(&mut self, at: usize, state: &State, print: u64, stride: usize) {
        self.free[at * self.cells..(at + 1) * self.cells]
            .iter_mut()
            .zip(state.cells_free())
            .for_each(|(kept, free)| *kept = free);
        self.prints[at] = print;
        if at.is_multiple_of(stride) {
            self.states[at / stride].copy_from(state);
        }
    }

    pub fn no_cell_sooner(&self, state: &State, at: usize) -> bool {
        let here = &self.free[at * self.cells..];
        state
            .cells_free()
            .zip(here)
            .all(|(mine, here)| mine >= *here)
    }

    /// Takes over what another track has behind a position and up to another one.
    pub fn take_over(&mut self, other: &mut Self, (from, to): (usize, usize), stride: usize) {
        for kept in from / stride + 1..=to / stride {
            std::mem::swap(&mut self.states[kept], &mut other.states[kept]);
        }
        let free = from * self.cells..(to + 1) * self.cells;
        self.free[free.clone()].copy_from_slice(&other.free[free]);
        self.prints[from..=to].copy_from_slice(&other.prints[from..=to]);
    }
}

/// A print of where and when the operations of a chunk are placed, and of the lots they take: the sum of
/// prints tells, but for a chance of one in 2^64, whether two sets of chunks are placed alike.
pub(super) fn print(chunk: Chunk, trail: &Trail) -> u64 {
    let job = mix(number(chunk.job) << 8 | number(chunk.option));
    let placed = trail.placed.iter().map(|it| {
        let cell = it.cell.map_or(0, |(cell, _)| number(cell) + 1);
        let minutes = it.start.unsigned_abs() << 32 | it.begin.unsigned_abs();
        mix(mix(minutes ^ job) ^ (cell << 32 | number(it.way)))
    });
    let lots = trail
        .lots
        .iter()
        .map(|(lot, grams)| mix(mix(number(*lot) ^ job) ^ grams.unsigned_abs()));
    placed.chain(lots).fold(0, u64::wrapping_add)
}

fn number(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// Spreads the bits of a number over all bits, each number to another one.
const fn mix(n: u64) -> u64 {
    let n = (n ^ n >> 32).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    (n ^ n >> 29).wrapping_mul(0xBF58_476D_1CE4_E5B9)
}
