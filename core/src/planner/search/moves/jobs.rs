use super::super::starts::whole;
use super::Shuffle;
use super::batching::begin_of;
use crate::planner::decode::Chunk;

/// Changes of one job: its place, its option, and how far it is carried before the next.
impl Shuffle<'_> {
    /// Moves all of a job to one place.
    pub fn relocate_job(&mut self) -> Option<usize> {
        let at = self.anywhere();
        let Chunk { job, option, .. } = self.chunks[at];
        let first = self.make_whole(job, option)?;
        let to = self.target(first, self.chunks.len());
        self.shift(first, to).or(Some(first))
    }

    pub fn take_other_option(&mut self) -> Option<usize> {
        let at = (0..8).find_map(|_| {
            let at = self.anywhere();
            (self.rules.jobs[self.chunks[at].job].options.len() > 1).then_some(at)
        })?;
        let Chunk { job, option, .. } = self.chunks[at];
        let options = self.rules.jobs[job].options.len();
        let other = (option + self.rng.usize(1..options)) % options;
        let first = self.make_whole(job, other)?;
        if self.rng.bool() {
            let to = self.target(first, self.chunks.len());
            return self.shift(first, to).or(Some(first));
        }
        Some(first)
    }

    /// Takes what a chunk draws from the fuller of its stores, or no longer.
    pub fn take_other_store(&mut self) -> Option<usize> {
        let at = (0..8).find_map(|_| {
            let at = self.anywhere();
            let Chunk { job, option, .. } = self.chunks[at];
            let mut operations = self.rules.jobs[job].options[option].operations.iter();
            operations.any(|it| it.ways.len() > 1).then_some(at)
        })?;
        self.chunks[at].fuller = !self.chunks[at].fuller;
        Some(at)
    }

    /// Places the later operations of a job behind other jobs, so that these go first at a station or cell.
    pub fn split(&mut self) -> Option<usize> {
        let at = self.anywhere();
        let later = self.chunks[at];
        let from = begin_of(self.chunks, at);
        if later.upto < from + 2 {
            return None;
        }
        let cut = self.rng.usize(from + 1..later.upto);
        if !self.rules.jobs[later.job].options[later.option].may_part(cut) {
            return None;
        }
        let to = self.target(at, self.chunks.len()).max(at) + 1;
        self.chunks[at].upto = cut;
        self.chunks.insert(to, later);
        Some(at)
    }

    /// Carries a job that is split through in one go, from the place of its first chunk.
    pub fn unite(&mut self) -> Option<usize> {
        let start = self.anywhere();
        let parted = |at: &usize| self.chunks[*at].upto < self.operations(self.chunks[*at]);
        let len = self.chunks.len();
        let at = (0..len).map(|k| (start + k) % len).find(parted)?;
        let Chunk { job, option, .. } = self.chunks[at];
        self.make_whole(job, option)
    }

    /// Leaves one chunk of a job, at the place of its first, and returns where.
    fn make_whole(&mut self, job: usize, option: usize) -> Option<usize> {
        let first = self.chunks.iter().position(|chunk| chunk.job == job)?;
        let mut at = 0;
        self.chunks.retain(|chunk| {
            at += 1;
            chunk.job != job || at - 1 == first
        });
        self.chunks[first] = whole(self.rules, job, option);
        Some(first)
    }
}
