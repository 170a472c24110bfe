use super::Shuffle;
use crate::planner::decode::{BatchRule, Chunk};

impl Shuffle<'_> {
    /// Changes which batch a step is in: it joins one that is there, or begins its own; often it is placed
    /// anew behind another job that needs such a batch, so as to join that one's.
    pub fn rebatch(&mut self) -> Option<usize> {
        let (at, (step, batch)) = (0..8).find_map(|_| {
            let at = self.anywhere();
            Some((at, self.step_of(at)?))
        })?;
        if self.rng.u32(0..3) == 0 {
            self.chunks[at].join = !self.chunks[at].join;
            return Some(at);
        }
        let other = self.alike(at, batch)?;
        if other < at {
            self.chunks[at].join = true;
            return Some(at);
        }
        self.place_behind(at, step, other);
        Some(at)
    }

    /// Another job's chunk that needs such a batch.
    fn alike(&mut self, at: usize, batch: BatchRule) -> Option<usize> {
        let (start, len) = (self.anywhere(), self.chunks.len());
        let alike = |other: &usize| {
            let needs = self.step_of(*other).map(|(_, batch)| batch);
            self.chunks[*other].job != self.chunks[at].job && needs == Some(batch)
        };
        (0..len).map(|k| (start + k) % len).find(alike)
    }

    /// Places a chunk from its step on behind another chunk, to join its batch.
    fn place_behind(&mut self, at: usize, step: usize, other: usize) {
        let chunk = self.chunks[at];
        let option = &self.rules.jobs[chunk.job].options[chunk.option];
        let mut cuts = (begin_of(self.chunks, at) + 1..=step).rev();
        let cut = cuts.find(|n| option.may_part(*n));
        let later = Chunk {
            join: true,
            ..chunk
        };
        match cut {
            Some(cut) => {
                self.chunks[at].upto = cut;
                self.chunks.insert(other + 1, later);
            }
            None => {
                self.chunks[at..=other].rotate_left(1);
                self.chunks[other] = later;
            }
        }
    }

    /// The first step of a chunk that needs a batch, and which.
    fn step_of(&self, at: usize) -> Option<(usize, BatchRule)> {
        let Chunk {
            job, option, upto, ..
        } = self.chunks[at];
        let operations = &self.rules.jobs[job].options[option].operations[..upto];
        let mut needed = operations
            .iter()
            .map(|operation| operation.batch)
            .enumerate();
        let begin = begin_of(self.chunks, at);
        needed.find_map(|(n, batch)| batch.filter(|_| n >= begin).map(|batch| (n, batch)))
    }
}

/// How many operations of a chunk's job earlier chunks place.
pub(super) fn begin_of(order: &[Chunk], at: usize) -> usize {
    let earlier = order[..at]
        .iter()
        .filter(|chunk| chunk.job == order[at].job);
    earlier.map(|chunk| chunk.upto).max().unwrap_or(0)
}
