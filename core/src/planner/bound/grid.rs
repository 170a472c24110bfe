/// Minutes in steps: step `n` ends at minute `n * unit`; prices change only every so many steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Grid {
    /// Minutes of a step.
    pub unit: i64,
    /// The last step: the first that ends at the horizon or behind it.
    pub last: usize,
    /// Steps for which one price holds.
    pub steps_per_price: usize,
    /// Minutes for which one price holds.
    pub price_minutes: i64,
    pub horizon: i64,
}

impl Grid {
    /// Steps of so many minutes, and prices that hold for a multiple of it.
    pub fn new(horizon: i64, unit: i64, price_minutes: i64) -> Self {
        debug_assert_eq!(price_minutes % unit, 0, "a price holds for whole steps");
        Self {
            unit,
            last: index((horizon + unit - 1) / unit),
            steps_per_price: index(price_minutes / unit),
            price_minutes,
            horizon,
        }
    }

    /// When a step ends.
    pub fn minute(&self, step: usize) -> i64 {
        self.unit * i64::try_from(step).unwrap_or(0)
    }

    /// The first step that ends at `minute + phase` or behind it, if steps end so many minutes later.
    pub fn step_by(&self, minute: i64, phase: i64) -> usize {
        index((minute - phase + self.unit - 1).div_euclid(self.unit))
    }

    /// Whole steps, and the minutes left over, of which there are never less than none.
    pub fn split(&self, minutes: i64) -> (isize, i64) {
        let steps = isize::try_from(minutes.div_euclid(self.unit)).unwrap_or(0);
        (steps, minutes.rem_euclid(self.unit))
    }

    /// The end of the step that a minute is in.
    pub fn end_of(&self, minute: i64) -> i64 {
        (minute + self.unit - 1).div_euclid(self.unit) * self.unit
    }

    /// The steps, from the first to before the second, with a minute behind the one given and by the other,
    /// the step behind the last among them for the horizon.
    pub fn steps_within(&self, (behind, by): (i64, i64)) -> (usize, usize) {
        let first = index((behind + self.unit).div_euclid(self.unit));
        let after = if by < self.horizon {
            index((by - 1).div_euclid(self.unit) + 2)
        } else {
            self.last + 2
        };
        (first.min(after), after)
    }

    /// The earliest minute of those that end with a step; of the step behind the last, the horizon.
    pub fn first_minute(&self, step: usize) -> i64 {
        let before = i64::try_from(step).unwrap_or(i64::MAX).saturating_sub(1);
        match step {
            0 => 0,
            _ if step > self.last => self.horizon,
            _ => before * self.unit + 1,
        }
    }
}

/// A position from a minute count that is none below zero.
pub(super) fn index(count: impl TryInto<usize>) -> usize {
    count.try_into().unwrap_or(0)
}

/// Lengths in minutes, each of which divides the longer ones but 10 the 15.
const LENGTHS: [i64; 10] = [1, 5, 10, 15, 30, 60, 120, 360, 720, 1440];

/// The shortest length of which no more than so many reach to the horizon.
pub(super) fn length_for(horizon: i64, count: i64) -> i64 {
    let least = horizon / count + 1;
    let days = || (least + 1439) / 1440 * 1440;
    LENGTHS
        .into_iter()
        .find(|length| *length >= least)
        .unwrap_or_else(days)
}

/// The longest length of no more than so many minutes.
pub(super) fn length_within(minutes: i64) -> i64 {
    let within = LENGTHS.into_iter().rev().find(|length| *length <= minutes);
    within.unwrap_or(1)
}
