use super::Shuffle;
use crate::planner::decode::Chunk;
use crate::planner::rules::WorkRule;

/// Changes of places, whatever job they are of.
impl Shuffle<'_> {
    pub fn relocate(&mut self) -> Option<usize> {
        let from = self.anywhere();
        let to = self.target(from, self.chunks.len());
        self.shift(from, to)
    }

    pub fn swap(&mut self) -> Option<usize> {
        let a = self.anywhere();
        let b = self.target(a, self.chunks.len());
        self.chunks.swap(a, b);
        (self.chunks[a].job != self.chunks[b].job).then_some(a.min(b))
    }

    pub fn relocate_block(&mut self) -> Option<usize> {
        let len = self.chunks.len();
        let size = self.rng.usize(2..=8).min(len);
        let from = self.rng.usize(0..=len - size);
        let to = self.target(from, len - size + 1);
        self.shift_block(from, size, to)
    }

    /// Moves a whole run of chunks of one powder.
    pub fn relocate_run(&mut self) -> Option<usize> {
        let at = self.anywhere();
        let powder = self.powder(self.chunks[at]);
        let same = |n: &usize| self.powder(self.chunks[*n]) == powder;
        let from = (0..=at).rev().take_while(same).last()?;
        let end = (at..self.chunks.len()).take_while(same).last()? + 1;
        let to = self.target(from, self.chunks.len() - (end - from) + 1);
        self.shift_block(from, end - from, to)
    }

    /// Puts a chunk where another one of its powder is, to spare a changeover.
    pub fn join_powder(&mut self) -> Option<usize> {
        let from = self.anywhere();
        let powder = self.powder(self.chunks[from])?;
        let step = self.step();
        let later = self.rng.bool();
        let same = |n: &usize| self.powder(self.chunks[*n]) == Some(powder);
        let to = if later {
            (from + step..self.chunks.len()).find(same)?
        } else {
            (0..=from.checked_sub(step)?).rev().find(same)?
        };
        self.shift(from, to)
    }

    /// The powder that a chunk's job sprays first.
    fn powder(&self, chunk: Chunk) -> Option<usize> {
        let option = &self.rules.jobs[chunk.job].options[chunk.option];
        option
            .operations
            .iter()
            .find_map(|operation| match operation.work {
                WorkRule::Stage { powder, .. } => Some(powder),
                WorkRule::Step => None,
            })
    }
}
