/// The batches of one station so far, in the order of time; none overlaps another.
///
/// Which slots are free is not known here.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(in crate::planner) struct Batches(Vec<Batch>);

/// The batch that a step needs: alike are those of one cycle and length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::planner) struct BatchRule {
    /// Position among the batch stations.
    pub station: usize,
    pub cycle: Option<usize>,
    pub minutes: i64,
}

/// A step that begins a batch, or only one that joins a batch that is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::planner) enum Entry {
    BeginOrJoin,
    Join,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Batch {
    start: i64,
    rule: BatchRule,
    steps: usize,
}

impl Batch {
    fn end(&self) -> i64 {
        self.start + self.rule.minutes
    }
}

impl Batches {
    /// The first minute from `from` on at which such a batch begins, or at which one can be begun.
    pub fn earliest(&self, from: i64, rule: BatchRule, entry: Entry) -> Option<i64> {
        let next = self.0.partition_point(|batch| batch.start < from);
        let running = next.checked_sub(1).map_or(from, |n| self.0[n].end());
        let mut start = from.max(running);
        for batch in &self.0[next..] {
            if entry == Entry::BeginOrJoin && start + rule.minutes <= batch.start {
                return Some(start);
            }
            if batch.rule == rule {
                return Some(batch.start);
            }
            start = batch.end();
        }
        (entry == Entry::BeginOrJoin).then_some(start)
    }

    /// Puts a step into the batch that begins at a minute, or begins one.
    pub fn put(&mut self, start: i64, rule: BatchRule) {
        let at = self.0.partition_point(|batch| batch.start < start);
        match self.0.get_mut(at).filter(|batch| batch.start == start) {
            Some(batch) => batch.steps += 1,
            None => self.0.insert(
                at,
                Batch {
                    start,
                    rule,
                    steps: 1,
                },
            ),
        }
    }

    /// Undoes a step that was put.
    pub fn take_out(&mut self, start: i64) {
        let at = self.0.partition_point(|batch| batch.start < start);
        if let Some(batch) = self.0.get_mut(at) {
            batch.steps -= 1;
            if batch.steps == 0 {
                self.0.remove(at);
            }
        }
    }

    /// How long the station is taken by all of them.
    pub fn minutes(&self) -> i64 {
        self.0.iter().map(|batch| batch.rule.minutes).sum()
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.0.clone_from(&other.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn soak(minutes: i64) -> BatchRule {
        BatchRule {
            station: 0,
            cycle: Some(0),
            minutes,
        }
    }

    /// One of 20 min from 30 to 50 and one of 10 from 60 to 70. Another of 20 goes before the first up to
    /// minute 10, then into it up to 30, then behind the second: 50 to 70 would overlap it.
    #[test]
    fn a_step_begins_a_batch_in_a_gap_or_joins_one_that_is_alike() {
        let mut furnace = Batches::default();
        furnace.put(60, soak(10));
        furnace.put(30, soak(20));
        let begin_or_join = |from| furnace.earliest(from, soak(20), Entry::BeginOrJoin);
        assert_eq!(begin_or_join(10), Some(10));
        assert_eq!(begin_or_join(11), Some(30));
        assert_eq!(begin_or_join(31), Some(70));
        let join = |from, minutes| furnace.earliest(from, soak(minutes), Entry::Join);
        assert_eq!(join(0, 20), Some(30), "no batch of its own");
        assert_eq!(join(0, 10), Some(60));
        assert_eq!(join(31, 20), None);
    }

    /// Two in one batch: it stays until both are taken out.
    #[test]
    fn taking_out_undoes_putting() {
        let mut furnace = Batches::default();
        furnace.put(30, soak(20));
        furnace.put(30, soak(20));
        assert_eq!(furnace.minutes(), 20);
        furnace.take_out(30);
        assert_eq!(furnace.earliest(20, soak(5), Entry::BeginOrJoin), Some(20));
        assert_eq!(furnace.earliest(30, soak(5), Entry::BeginOrJoin), Some(50));
        furnace.take_out(30);
        assert_eq!(furnace, Batches::default());
    }
}
