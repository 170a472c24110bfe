/// How much of something that is shared at the same time (people, slots) is free, minute by minute.
///
/// Kept as steps: each holds from its minute to the next one's, the last one for ever.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) struct Steps {
    steps: Vec<Step>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Step {
    at: i64,
    free: i64,
}

impl Steps {
    /// The same amount free from minute 0 on.
    pub fn constant(free: i64) -> Self {
        Self {
            steps: vec![Step { at: 0, free }],
        }
    }

    /// The first minute from `from` on at which `need` stays free for `minutes`.
    pub fn earliest(&self, from: i64, minutes: i64, need: i64) -> Option<i64> {
        let mut at = self.step_of(from);
        let mut start = from;
        loop {
            while self.steps[at].free < need {
                at += 1;
                start = self.steps.get(at)?.at;
            }
            let end = start + minutes;
            loop {
                match self.steps.get(at + 1) {
                    Some(next) if next.at < end => at += 1,
                    _ => return Some(start),
                }
                if self.steps[at].free < need {
                    break;
                }
            }
        }
    }

    /// The minute at which the first step ends that has less than nothing free between `from` and `to`.
    pub fn overdrawn(&self, from: i64, to: i64) -> Option<i64> {
        let first = self.step_of(from);
        let within = self.steps[first..].iter().take_while(|step| step.at < to);
        let at = first + within.into_iter().position(|step| step.free < 0)?;
        Some(self.steps.get(at + 1).map_or(i64::MAX, |step| step.at))
    }

    /// Takes `amount` from `from` to `to`; a negative amount gives room.
    pub fn take(&mut self, from: i64, to: i64, amount: i64) {
        if from >= to || amount == 0 {
            return;
        }
        let first = self.cut(from);
        let mut last = first;
        while last < self.steps.len() && self.steps[last].at < to {
            last += 1;
        }
        if self.steps.get(last).is_none_or(|step| step.at > to) {
            self.steps.insert(
                last,
                Step {
                    at: to,
                    free: self.steps[last - 1].free,
                },
            );
        }
        for step in &mut self.steps[first..last] {
            step.free -= amount;
        }
        self.join(last);
        self.join(first);
    }

    /// Makes a step begin at `minute` and says which.
    fn cut(&mut self, minute: i64) -> usize {
        let at = self.step_of(minute);
        if self.steps[at].at == minute {
            return at;
        }
        self.steps.insert(
            at + 1,
            Step {
                at: minute,
                free: self.steps[at].free,
            },
        );
        at + 1
    }

    fn join(&mut self, at: usize) {
        if at > 0 && at < self.steps.len() && self.steps[at - 1].free == self.steps[at].free {
            self.steps.remove(at);
        }
    }

    /// What is free from each minute on, until the next.
    pub fn steps(&self) -> impl Iterator<Item = (i64, i64)> {
        self.steps.iter().map(|step| (step.at, step.free))
    }

    fn step_of(&self, minute: i64) -> usize {
        self.steps
            .partition_point(|step| step.at <= minute)
            .saturating_sub(1)
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.steps.clone_from(&other.steps);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two people from 10 to 20, one taken from 12 to 15: two are next free together at 15.
    #[test]
    fn room_is_found_around_what_is_taken() {
        let mut room = Steps::constant(0);
        room.take(10, 20, -2);
        room.take(12, 15, 1);
        assert_eq!(room.earliest(0, 2, 2), Some(10));
        assert_eq!(room.earliest(0, 3, 2), Some(15));
        assert_eq!(room.earliest(11, 5, 1), Some(11));
        assert_eq!(room.earliest(0, 6, 2), None);
    }

    /// One plate, taken from 10 to 20 and once more from 15 on: overdrawn to 20, and not behind that.
    #[test]
    fn what_is_overdrawn_is_found() {
        let mut room = Steps::constant(1);
        room.take(10, 20, 1);
        room.take(15, 40, 1);
        assert_eq!(room.overdrawn(0, 15), None);
        assert_eq!(room.overdrawn(0, 16), Some(20));
        assert_eq!(room.overdrawn(19, 50), Some(20));
        assert_eq!(room.overdrawn(20, 50), None);
    }

    /// What is taken and given back leaves the steps as they were.
    #[test]
    fn taking_and_giving_back_changes_nothing() {
        let mut room = Steps::constant(3);
        let before = room.clone();
        room.take(5, 9, 2);
        room.take(7, 12, 1);
        room.take(5, 9, -2);
        room.take(7, 12, -1);
        assert_eq!(room, before);
    }
}
