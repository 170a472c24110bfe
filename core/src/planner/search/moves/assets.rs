use super::Shuffle;
use crate::planner::decode::Chunk;

/// Changes of whole machines, since a machine is back only with its last part.
impl Shuffle<'_> {
    /// Brings all parts of one machine together.
    pub fn gather_asset(&mut self) -> Option<usize> {
        let pivot = self.anywhere();
        let asset = self.asset(pivot);
        if self.rules.assets[asset].jobs.len() < 2 {
            return None;
        }
        self.gather(pivot, |it| it == asset)
    }

    /// Brings all parts of the machines of one capability together: its table may pay for the last one only.
    pub fn gather_capability(&mut self) -> Option<usize> {
        let pivot = self.anywhere();
        let rules = self.rules;
        let capabilities = &rules.assets[self.asset(pivot)].capabilities;
        let capability = *self.rng.choice(capabilities)?;
        let assets = &rules.capabilities[capability].assets;
        if assets.len() < 2 {
            return None;
        }
        self.gather(pivot, |it| assets.contains(&it))
    }

    fn gather(&mut self, pivot: usize, wanted: impl Fn(usize) -> bool) -> Option<usize> {
        let to = self.target(pivot, self.chunks.len());
        let rules = self.rules;
        let of_wanted = |chunk: &&Chunk| wanted(chunk.asset(rules));
        let (with, mut new): (Vec<_>, Vec<Chunk>) = self.chunks.iter().partition(of_wanted);
        let to = to.min(new.len());
        new.splice(to..to, with);
        self.become_new(new)
    }

    /// Moves every chunk of one machine by as many places, so that they stay apart as they are.
    pub fn shift_asset(&mut self) -> Option<usize> {
        let pivot = self.anywhere();
        let asset = self.asset(pivot);
        if self.rules.assets[asset].jobs.len() < 2 {
            return None;
        }
        let to = self.target(pivot, self.chunks.len());
        let last = self.chunks.len() - 1;
        let moved = |at: usize| (at + to).saturating_sub(pivot).min(last);
        let places = (0..=last).filter(|at| self.asset(*at) == asset);
        let mut mine = places.map(|at| (moved(at), self.chunks[at])).peekable();
        let mut others = self
            .chunks
            .iter()
            .filter(|it| it.asset(self.rules) != asset);
        let mut new = Vec::with_capacity(last + 1);
        for at in 0..=last {
            let here = mine.next_if(|(wanted, _)| *wanted <= at);
            let next = here
                .map(|(_, chunk)| chunk)
                .or_else(|| others.next().copied());
            new.push(next.or_else(|| mine.next().map(|(_, chunk)| chunk))?);
        }
        self.become_new(new)
    }

    /// Puts the chunks of two machines where those of the other one are, as far as their numbers go.
    pub fn swap_assets(&mut self) -> Option<usize> {
        let a = self.anywhere();
        let b = self.target(a, self.chunks.len());
        let (one, other) = (self.asset(a), self.asset(b));
        if one == other {
            return None;
        }
        let rules = self.rules;
        let of = |asset: usize| {
            self.chunks
                .iter()
                .copied()
                .filter(move |it| it.asset(rules) == asset)
        };
        let (mut ones, mut others) = (
            of(one).collect::<Vec<_>>().into_iter(),
            of(other).collect::<Vec<_>>().into_iter(),
        );
        let mut first = None;
        for (at, chunk) in self.chunks.iter_mut().enumerate() {
            let asset = chunk.asset(rules);
            let next = if asset == one {
                others.next().or_else(|| ones.next())
            } else if asset == other {
                ones.next().or_else(|| others.next())
            } else {
                continue;
            };
            *chunk = next?;
            first = first.or(Some(at));
        }
        first
    }

    fn asset(&self, at: usize) -> usize {
        self.chunks[at].asset(self.rules)
    }

    /// Takes a new order of the same chunks; none if it is the one that is there.
    fn become_new(&mut self, new: Vec<Chunk>) -> Option<usize> {
        let first = self
            .chunks
            .iter()
            .zip(&new)
            .position(|(old, new)| old != new);
        *self.chunks = new;
        first
    }
}
