use super::DrawSize;

/// A store of which draws leave different floors: its level after each arrival and draw, and what must be
/// left then.
///
/// Events are sorted by minute; all events of one minute carry the same level, the one after all of them,
/// since a floor counts every draw up to and including its minute.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) struct Floors {
    events: Vec<Event>,
    /// Draws that are not among the events yet. There are some only while `spare` covers the largest draw,
    /// so that whoever looks at the events finds them complete.
    pending: Vec<(i64, DrawSize)>,
    /// Never more than the least level less the highest floor: draws within it need no look at the events.
    spare: i64,
    /// The highest floor and the largest amount of any draw on this store.
    limits: DrawSize,
    /// Whether all draws are among the events at any time.
    exact: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Event {
    at: i64,
    level: i64,
    floor: i64,
}

impl Floors {
    /// A store without draws; `arrivals` as `(minute, amount)` in any order, less than 0 where something leaves
    /// it; no draw exceeds the limits.
    pub fn new(level: i64, arrivals: &[(i64, i64)], limits: DrawSize) -> Self {
        let mut balance = Self {
            events: vec![Event {
                at: 0,
                level,
                floor: i64::MIN / 2,
            }],
            pending: Vec::new(),
            spare: level - limits.floor,
            limits,
            exact: false,
        };
        for (minute, amount) in arrivals {
            balance.insert(*minute, -amount, i64::MIN / 2);
        }
        let levels = balance.events.iter().map(|event| event.level);
        balance.spare = levels.min().unwrap_or(level) - limits.floor;
        balance
    }

    /// The same store, ready to be asked for its level between draws.
    pub fn exact(self) -> Self {
        Self {
            exact: true,
            ..self
        }
    }

    /// The least that is in it from a minute on, by the draws so far; the store is an exact one.
    pub fn least_from(&self, minute: i64) -> i64 {
        debug_assert!(
            self.exact,
            "other stores may have draws that are not counted yet"
        );
        let now = self.events.partition_point(|event| event.at <= minute) - 1;
        let levels = self.events[now..].iter().map(|event| event.level);
        levels.min().unwrap_or(0)
    }

    /// The first minute from `from` on at which `amount` can be drawn so that `floor` is left, and so
    /// that every draw already there still leaves its own.
    pub fn earliest(&self, from: i64, DrawSize { amount, floor }: DrawSize) -> Option<i64> {
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

    /// What comes when, beginning with what is there at first; the store is one without draws.
    pub fn comings(&self) -> impl Iterator<Item = (i64, i64)> {
        let before = std::iter::once(0).chain(self.events.iter().map(|event| event.level));
        let of = |(event, before): (&Event, i64)| (event.at, event.level - before);
        self.events.iter().zip(before).map(of)
    }

    /// What there is and what comes, less what has been drawn.
    pub fn in_all(&self) -> i64 {
        self.events.last().map_or(0, |event| event.level)
    }

    pub fn take(&mut self, minute: i64, draw: DrawSize) {
        debug_assert!(
            draw.floor <= self.limits.floor && draw.amount <= self.limits.amount,
            "limits are of all draws"
        );
        self.spare -= draw.amount;
        if !self.exact && self.spare >= self.limits.amount {
            self.pending.push((minute, draw));
            return;
        }
        for (minute, draw) in std::mem::take(&mut self.pending) {
            self.insert(minute, draw.amount, draw.floor);
        }
        self.insert(minute, draw.amount, draw.floor);
        self.spare = self
            .events
            .iter()
            .map(|event| event.level)
            .min()
            .unwrap_or(0)
            - self.limits.floor;
    }

    /// Undoes a draw that was taken.
    pub fn give_back(&mut self, minute: i64, draw: DrawSize) {
        self.spare += draw.amount;
        if let Some(at) = self
            .pending
            .iter()
            .rposition(|pending| *pending == (minute, draw))
        {
            self.pending.remove(at);
            return;
        }
        let from = self.events.partition_point(|event| event.at < minute);
        if let Some(at) = self.events[from..]
            .iter()
            .position(|event| event.floor == draw.floor)
        {
            self.events.remove(from + at);
        }
        for event in &mut self.events[from..] {
            event.level += draw.amount;
        }
        // Other minutes may now be the tightest ones.
        self.spare = self.spare.min(
            self.events
                .iter()
                .map(|event| event.level)
                .min()
                .unwrap_or(0)
                - self.limits.floor,
        );
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
        self.pending.clone_from(&other.pending);
        self.spare = other.spare;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draw(amount: i64, floor: i64) -> DrawSize {
        DrawSize { amount, floor }
    }

    /// 10 now and 5 at minute 100; 4 drawn at 50 with 6 to be left. Drawing 1 before 50 would break that
    /// floor (10 - 4 - 1 = 5 < 6), so it waits for minute 51.
    #[test]
    fn a_draw_waits_behind_one_whose_floor_it_would_break() {
        let mut gas = Floors::new(10, &[(100, 5)], draw(7, 6));
        gas.take(50, draw(4, 6));
        assert_eq!(gas.earliest(0, draw(1, 0)), Some(51));
        assert_eq!(gas.earliest(0, draw(7, 0)), Some(100));
        assert_eq!(gas.earliest(0, draw(7, 5)), None);
    }

    /// Draws of one minute count together, whichever was placed first.
    #[test]
    fn a_floor_counts_the_draws_of_its_own_minute() {
        let mut gas = Floors::new(10, &[], draw(4, 6));
        gas.take(50, draw(4, 6));
        assert_eq!(gas.earliest(50, draw(1, 0)), Some(51));
    }

    /// Plenty at first (100 for draws of at most 10), so that draws are only noted; the later ones make the
    /// store tight, and then the early ones count too: 100 - 85 = 15, and 10 more leave 5.
    #[test]
    fn draws_taken_while_there_was_plenty_count_later() {
        let mut fuel = Floors::new(100, &[], draw(10, 5));
        (0..8).for_each(|n| fuel.take(n * 10, draw(10, 5)));
        fuel.take(100, draw(5, 5));
        assert_eq!(fuel.earliest(0, draw(10, 5)), Some(0));
        fuel.take(0, draw(10, 5));
        assert_eq!(fuel.earliest(0, draw(1, 0)), Some(101));
    }

    /// 10 now, 4 drawn at 50, 20 more at 100: from 0 on there are 6 at the least, from 100 on 26.
    #[test]
    fn what_is_planned_later_counts_in_what_is_left() {
        let mut gas = Floors::new(10, &[(100, 20)], draw(4, 0)).exact();
        gas.take(50, draw(4, 0));
        assert_eq!((gas.least_from(0), gas.least_from(50)), (6, 6));
        assert_eq!(gas.least_from(100), 26);
    }

    /// Taking and giving back restores every level.
    #[test]
    fn giving_back_undoes_a_draw() {
        let mut gas = Floors::new(10, &[(5, 5)], draw(3, 2));
        let before = gas.clone();
        gas.take(5, draw(3, 2));
        gas.take(5, draw(1, 0));
        gas.give_back(5, draw(3, 2));
        gas.give_back(5, draw(1, 0));
        assert_eq!(gas.events, before.events);
    }
}
