/// A store of which every draw leaves the same floor.
///
/// Between two arrivals the level only falls, so that the floor holds throughout if it holds before the next
/// arrival: what is left then is all that need be known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) struct Plain {
    /// By stretch: the minute of the arrival that begins it, and what is left at its end above the floor.
    stretches: Vec<(i64, i64)>,
    floor: i64,
}

impl Plain {
    /// A store without draws; `arrivals` as `(minute, amount)` in any order.
    pub fn new(level: i64, arrivals: &[(i64, i64)], floor: i64) -> Self {
        let mut arrivals = arrivals.to_vec();
        arrivals.sort_unstable();
        let mut stretches = vec![(0, level - floor)];
        let mut left = level - floor;
        for (minute, amount) in arrivals {
            left += amount;
            stretches.push((minute, left));
        }
        Self { stretches, floor }
    }

    /// The first minute from `from` on at which `amount` can be drawn with the floor left then and later.
    pub fn earliest(&self, from: i64, amount: i64) -> Option<i64> {
        let mut start = None;
        for (begin, left) in self.stretches.iter().rev() {
            if *left < amount {
                break;
            }
            start = Some(from.max(*begin));
            if *begin <= from {
                break;
            }
        }
        start
    }

    /// Takes from the stretch of a minute and from those behind it; a negative amount gives back.
    pub fn take(&mut self, minute: i64, amount: i64) {
        for (begin, left) in self.stretches.iter_mut().rev() {
            *left -= amount;
            if *begin <= minute {
                break;
            }
        }
    }

    /// What comes when, beginning with what is there at first; the store is one without draws.
    pub fn comings(&self) -> impl Iterator<Item = (i64, i64)> {
        let lefts = self.stretches.iter().map(|(_, left)| *left);
        let before = std::iter::once(-self.floor).chain(lefts);
        let stretches = self.stretches.iter().zip(before);
        stretches.map(|((begin, left), before)| (*begin, left - before))
    }

    /// What there is and what comes, less what has been drawn.
    pub fn in_all(&self) -> i64 {
        self.stretches
            .last()
            .map_or(0, |(_, left)| left + self.floor)
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.stretches.clone_from(&other.stretches);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10 now and 5 more at 100, of which 2 stay: 8 may go before 100, and 13 in all.
    fn gas() -> Plain {
        Plain::new(10, &[(100, 5)], 2)
    }

    /// 9 has to wait for the arrival, 14 never comes together.
    #[test]
    fn a_draw_waits_for_what_it_lacks() {
        assert_eq!(gas().earliest(20, 8), Some(20));
        assert_eq!(gas().earliest(20, 9), Some(100));
        assert_eq!(gas().earliest(120, 9), Some(120));
        assert_eq!(gas().earliest(20, 14), None);
    }

    /// 12 is drawn behind the arrival; then 1 is left for any time before it, though 8 were there.
    #[test]
    fn what_is_drawn_later_is_kept_for_it() {
        let mut gas = gas();
        gas.take(150, 12);
        assert_eq!((gas.earliest(0, 1), gas.earliest(0, 2)), (Some(0), None));
        gas.take(150, -12);
        assert_eq!(gas, self::gas());
    }

    /// It tells what it was made from.
    #[test]
    fn comings_are_what_it_began_with() {
        let comings: Vec<_> = gas().comings().collect();
        assert_eq!(comings, [(0, 10), (100, 5)]);
        assert_eq!(gas().in_all(), 15);
    }
}
