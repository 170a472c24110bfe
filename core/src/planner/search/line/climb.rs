use super::{Line, Move};
use fastrand::Rng;

/// From order to order by changes that lose less, until none does; then some changes at random, and up again.
///
/// Every change of one stage, and of two that change places, is tried, of those stages that something near was
/// changed of since (the 'don't look bits' of Bentley 1992). The order is gone back to from which a climb led to
/// a worse one. On problems of one machine it is the better way once annealing has found a good order (Congram,
/// Potts & van de Velde 2002; from memory).
pub(super) struct Climb {
    /// By job: whether changes of it may help.
    promising: Vec<bool>,
    /// Which place is looked at, and behind how many others nothing helped.
    at: usize,
    quiet: usize,
    /// Where the climb began: in an order from which no change helps.
    before: Vec<usize>,
    before_loss: i64,
}

/// So many changes at random, each over so many places at most.
const KICKS: usize = 10;
const KICK_FAR: usize = 40;

impl Line {
    /// Tries so many changes, or some more.
    pub(super) fn climb(&mut self, rng: &mut Rng, changes: u64) {
        let mut climb = self.climb.take().unwrap_or_else(|| self.begin_climb());
        let count = self.order.len();
        let mut tried = 0;
        while tried < changes {
            if climb.quiet >= count {
                self.kick(rng, &mut climb);
            }
            let job = self.order[climb.at];
            if climb.promising[job] && self.improve(&mut climb, &mut tried) {
                continue;
            }
            climb.promising[job] = false;
            climb.quiet += 1;
            climb.at = (climb.at + 1) % count;
        }
        self.climb = Some(climb);
    }

    /// From the best order.
    fn begin_climb(&mut self) -> Climb {
        self.order.clone_from(&self.best);
        self.settle();
        Climb {
            promising: vec![true; self.order.len()],
            at: 0,
            quiet: 0,
            before: self.order.clone(),
            before_loss: self.loss(),
        }
    }

    /// Makes the first change found that loses less; whether there is one.
    fn improve(&mut self, climb: &mut Climb, tried: &mut u64) -> bool {
        let (from, count) = (climb.at, self.order.len());
        let most = self.loss() - 1;
        for step in 1..count.min(self.cooling.far) {
            let places = [from.checked_sub(step), Some(from + step)];
            for to in places.into_iter().flatten().filter(|to| *to < count) {
                for swap in [false, true] {
                    let change = Move {
                        from,
                        to,
                        size: 1,
                        swap,
                    };
                    *tried += 1;
                    if self.make(change, most) {
                        self.look_near(climb, change);
                        climb.quiet = 0;
                        return true;
                    }
                }
            }
        }
        false
    }

    /// Where the climb has ended: keeps the order, or goes back to the one before, and changes it at random.
    fn kick(&mut self, rng: &mut Rng, climb: &mut Climb) {
        if self.loss() > climb.before_loss {
            self.order.copy_from_slice(&climb.before);
            self.settle();
        } else {
            self.keep_if_best();
            climb.before.copy_from_slice(&self.order);
            climb.before_loss = self.loss();
        }
        let count = self.order.len();
        for _ in 0..KICKS {
            let from = rng.usize(0..count);
            let to = self.place_near(rng, from, 1, KICK_FAR);
            let change = Move {
                from,
                to,
                size: 1,
                swap: rng.bool(),
            };
            if from != to && self.make(change, i64::MAX) {
                self.look_near(climb, change);
            }
        }
        climb.quiet = 0;
        climb.at = rng.usize(0..count);
    }

    fn look_near(&self, climb: &mut Climb, change: Move) {
        let (first, last) = (change.from.min(change.to), change.from.max(change.to));
        let near = first.saturating_sub(1)..self.order.len().min(last + 2);
        for job in &self.order[near] {
            climb.promising[*job] = true;
        }
    }
}
