/// A store over time: its level after each arrival and draw, and what must be left then.
///
/// Events are sorted by minute; all events of one minute carry the same level, the one after all of them,
/// since a floor counts every draw up to and including its minute.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) struct Balance {
    events: Vec<Event>,
    /// Never more than the least level less the highest floor: draws within it need no look at the events.
    spare: i64,
    highest_floor: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Event {
    at: i64,
    level: i64,
    floor: i64,
}

impl Balance {
    /// A store without draws; `arrivals` as `(minute, amount)` in any order; no draw asks for more than the
    /// highest floor to be left.
    pub fn new(level: i64, arrivals: &[(i64, i64)], highest_floor: i64) -> Self {
        let mut balance = Self {
            events: vec![Event {
                at: 0,
                level,
                floor: i64::MIN / 2,
            }],
            spare: level - highest_floor,
            highest_floor,
        };
        for (minute, amount) in arrivals {
            balance.insert(*minute, -amount, i64::MIN / 2);
        }
        balance
    }

    /// The first minute from `from` on at which `amount` can be drawn so that `floor` is left, and so
    /// that every draw already there still leaves its own.
    pub fn earliest(&self, from: i64, amount: i64, floor: i64) -> Option<i64> {
        if amount <= self.spare {
            return Some(from);
        }
        let mut start = from;
        for event in self.events.iter().rev() {
            if event.at < from {
                break;
            }
            if event.level - event.floor < amount {
                start = event.at + 1;
                break;
            }
        }
        let mut at = self.events.partition_point(|event| event.at <= start) - 1;
        while self.events[at].level - amount < floor {
            at += 1;
            start = self.events.get(at)?.at;
        }
        Some(start)
    }

    pub fn take(&mut self, minute: i64, amount: i64, floor: i64) {
        debug_assert!(
            floor <= self.highest_floor,
            "the highest floor is one of all draws"
        );
        self.spare -= amount;
        self.insert(minute, amount, floor);
    }

    /// Undoes a draw that was taken.
    pub fn give_back(&mut self, minute: i64, amount: i64, floor: i64) {
        self.spare += amount;
        let from = self.events.partition_point(|event| event.at < minute);
        if let Some(at) = self.events[from..]
            .iter()
            .position(|event| event.floor == floor)
        {
            self.events.remove(from + at);
        }
        for event in &mut self.events[from..] {
            event.level += amount;
        }
    }

    fn insert(&mut self, minute: i64, amount: i64, floor: i64) {
        let first = self.events.partition_point(|event| event.at < minute);
        let after = first
            + self.events[first..]
                .iter()
                .take_while(|event| event.at == minute)
                .count();
        let level = if after == 0 {
            0
        } else {
            self.events[after - 1].level
        };
        self.events.insert(
            after,
            Event {
                at: minute,
                level,
                floor,
            },
        );
        for event in &mut self.events[first..] {
            event.level -= amount;
        }
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.events.clone_from(&other.events);
        self.spare = other.spare;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10 now and 5 at minute 100; 4 drawn at 50 with 6 to be left. Drawing 1 before 50 would break that
    /// floor (10 - 4 - 1 = 5 < 6), so it waits for minute 51.
    #[test]
    fn a_draw_waits_behind_one_whose_floor_it_would_break() {
        let mut gas = Balance::new(10, &[(100, 5)], 6);
        gas.take(50, 4, 6);
        assert_eq!(gas.earliest(0, 1, 0), Some(51));
        assert_eq!(gas.earliest(0, 7, 0), Some(100));
        assert_eq!(gas.earliest(0, 7, 5), None);
    }

    /// Draws of one minute count together, whichever was placed first.
    #[test]
    fn a_floor_counts_the_draws_of_its_own_minute() {
        let mut gas = Balance::new(10, &[], 6);
        gas.take(50, 4, 6);
        assert_eq!(gas.earliest(50, 1, 0), Some(51));
    }

    /// Taking and giving back restores every level.
    #[test]
    fn giving_back_undoes_a_draw() {
        let mut gas = Balance::new(10, &[(5, 5)], 2);
        let before = gas.clone();
        gas.take(5, 3, 2);
        gas.take(5, 1, 0);
        gas.give_back(5, 3, 2);
        gas.give_back(5, 1, 0);
        assert_eq!(gas, before);
    }
}
