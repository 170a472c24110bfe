use super::steps::Steps;

/// Room for few at a time: for each minute one bit at each level, set where more than the level is free.
///
/// Sixty-four minutes are a word, the words of one stretch of minutes lie together, lowest level first. To
/// look for room is to look for a run of ones; to take some is to move each level of a stretch down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) struct Bits {
    words: Vec<u64>,
    levels: usize,
    horizon: usize,
    /// Words from here on are as they were at first.
    reach: usize,
}

/// More levels than this are not worth their words.
const MOST_LEVELS: i64 = 8;

impl Bits {
    /// The room of steps within the horizon; none if too much is free at a time, or less than nothing.
    pub fn new(steps: &Steps, horizon: i64) -> Option<Self> {
        let stretches: Vec<(i64, i64)> = steps.steps().collect();
        let most = stretches.iter().map(|(_, free)| *free).max()?;
        let least = stretches.iter().map(|(_, free)| *free).min()?;
        if !(1..=MOST_LEVELS).contains(&most) || least < 0 {
            return None;
        }
        let (levels, horizon) = (usize::try_from(most).ok()?, usize::try_from(horizon).ok()?);
        let mut bits = Self {
            words: vec![0; horizon.div_ceil(64) * levels],
            levels,
            horizon,
            reach: 0,
        };
        let ends = stretches.iter().skip(1).map(|next| next.0);
        for ((from, free), to) in stretches.iter().zip(ends.chain([i64::MAX])) {
            bits.take(*from, to, -free);
        }
        bits.reach = 0;
        Some(bits)
    }

    /// What is free from each minute on, until the next; nothing from the horizon on.
    pub fn steps(&self) -> Vec<(i64, i64)> {
        let whole = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        let mut steps = Vec::new();
        let mut at = 0;
        while at < self.horizon {
            let free = (0..self.levels).filter(|level| self.is_free(*level, at));
            steps.push((whole(at), whole(free.count())));
            let changes = (0..self.levels).map(|level| {
                let now = if self.is_free(level, at) { !0 } else { 0 };
                self.next(level, at, self.horizon, now)
            });
            at = changes.min().unwrap_or(self.horizon);
        }
        steps.push((whole(self.horizon), 0));
        steps
    }

    fn is_free(&self, level: usize, at: usize) -> bool {
        self.words[at / 64 * self.levels + level] >> (at % 64) & 1 == 1
    }

    /// The first minute from `from` on at which `need` stays free for `minutes`, to the horizon.
    pub fn earliest(&self, from: i64, minutes: i64, need: i64) -> Option<i64> {
        let Ok(level) = usize::try_from(need - 1) else {
            return Some(from);
        };
        if level >= self.levels {
            return None;
        }
        let minutes = usize::try_from(minutes).unwrap_or(0);
        let mut start = usize::try_from(from).unwrap_or(0);
        loop {
            start = self.next(level, start, self.horizon, 0);
            let end = start + minutes;
            if end > self.horizon {
                return None;
            }
            let free_to = self.next(level, start, end, !0);
            if free_to >= end {
                return i64::try_from(start).ok();
            }
            start = free_to;
        }
    }

    /// The first minute from `from` on whose bit at a level differs from those of `but`; `to` if none is
    /// before it.
    fn next(&self, level: usize, from: usize, to: usize, but: u64) -> usize {
        if from >= to {
            return to;
        }
        let mut word = from / 64;
        let mut bits = (self.words[word * self.levels + level] ^ but) & (!0 << (from % 64));
        while bits == 0 {
            word += 1;
            if word * 64 >= to {
                return to;
            }
            bits = self.words[word * self.levels + level] ^ but;
        }
        (word * 64 + bits.trailing_zeros() as usize).min(to)
    }

    /// Takes `amount` from `from` to `to`; a negative amount gives room. Nothing beyond the horizon changes.
    pub fn take(&mut self, from: i64, to: i64, amount: i64) {
        let from = usize::try_from(from).unwrap_or(0);
        let to = usize::try_from(to).unwrap_or(0).min(self.horizon);
        if from >= to || amount == 0 {
            return;
        }
        let (first, last) = (from / 64, (to - 1) / 64);
        for word in first..=last {
            let mut mask = !0;
            if word == first {
                mask &= !0 << (from % 64);
            }
            if word == last {
                mask &= !0 >> (63 - (to - 1) % 64);
            }
            self.shift(word, mask, amount);
        }
        self.reach = self.reach.max(last + 1);
    }

    /// Moves the levels of a word down by `amount`, or up, where the mask is set.
    fn shift(&mut self, word: usize, mask: u64, amount: i64) {
        let words = &mut self.words[word * self.levels..][..self.levels];
        let by = usize::try_from(amount.unsigned_abs()).unwrap_or(usize::MAX);
        for n in 0..words.len() {
            let (level, moved) = if amount > 0 {
                (
                    n,
                    n.checked_add(by)
                        .and_then(|from| words.get(from))
                        .copied()
                        .unwrap_or(0),
                )
            } else {
                let level = words.len() - 1 - n;
                (level, level.checked_sub(by).map_or(!0, |from| words[from]))
            };
            words[level] = words[level] & !mask | moved & mask;
        }
    }

    /// Becomes a copy of another room that was the same at first.
    pub fn copy_from(&mut self, other: &Self) {
        let reach = self.reach.max(other.reach) * self.levels;
        self.words[..reach].copy_from_slice(&other.words[..reach]);
        self.reach = other.reach;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// People on duty from 10 to 200, two of them, one more from 60 to 70.
    fn crew() -> Steps {
        let mut crew = Steps::constant(0);
        crew.take(10, 200, -2);
        crew.take(60, 70, -1);
        crew
    }

    fn bits() -> Bits {
        Bits::new(&crew(), 300).expect("few people")
    }

    /// Three are there only from 60 to 70; 190 minutes fit from 10 on, 191 nowhere.
    #[test]
    fn room_is_found_across_words() {
        let bits = bits();
        assert_eq!(bits.earliest(0, 10, 3), Some(60));
        assert_eq!(bits.earliest(61, 10, 3), None);
        assert_eq!(bits.earliest(0, 190, 2), Some(10));
        assert_eq!(bits.earliest(0, 191, 1), None);
        assert_eq!(bits.earliest(0, 10, 4), None, "nobody has four people");
    }

    /// Steps and bits of the same room: whatever is taken and given back, they find the same places.
    #[test]
    fn steps_and_bits_agree() {
        let mut rng = fastrand::Rng::with_seed(7);
        for _ in 0..200 {
            let (mut steps, mut bits) = (crew(), bits());
            let mut taken = Vec::new();
            for _ in 0..30 {
                let (from, minutes, need) = (rng.i64(0..250), rng.i64(1..90), rng.i64(1..4));
                let found = steps.earliest(from, minutes, need);
                let found = found.filter(|at| at + minutes <= 300);
                assert_eq!(bits.earliest(from, minutes, need), found);
                if let Some(at) = found {
                    steps.take(at, at + minutes, need);
                    bits.take(at, at + minutes, need);
                    taken.push((at, at + minutes, need));
                }
                if rng.u8(0..3) == 0 && !taken.is_empty() {
                    let (from, to, need) = taken.swap_remove(rng.usize(0..taken.len()));
                    steps.take(from, to, -need);
                    bits.take(from, to, -need);
                }
            }
            let within: Vec<_> = steps.steps().filter(|step| step.0 < 300).collect();
            assert_eq!(bits.steps()[..within.len()], within);
        }
    }

    /// A copy is the same everywhere, also where only the copied-to room was changed.
    #[test]
    fn a_copy_is_the_same() {
        let (mut one, mut other) = (bits(), bits());
        one.take(150, 190, 1);
        other.take(20, 30, 2);
        one.copy_from(&other);
        assert_eq!(one, other);
    }
}
