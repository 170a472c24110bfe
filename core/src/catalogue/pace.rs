//! How long an operation takes, learned from how long it took.

/// One time that an operation was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timed {
    /// Minutes by the recipe's figures as they were then.
    pub reckoned_min: i64,
    /// Minutes that it took, waits that have nothing to do with it left out.
    pub took_min: i64,
}

impl Timed {
    /// What it took of what was reckoned, in thousandths, within [`LEAST_PERMILLE`] and [`MOST_PERMILLE`].
    #[must_use]
    pub fn permille(self) -> i64 {
        let permille = self.took_min.saturating_mul(1000) / self.reckoned_min.max(1);
        permille.clamp(LEAST_PERMILLE, MOST_PERMILLE)
    }
}

/// The recipe's own figure counts as having come true so many times. Our choice, no source.
pub const RECIPE_COUNTS_AS: i64 = 4;

/// One time counts for no less, in thousandths of what was reckoned, so that one slip of the pen does not carry the
/// mean. Our choice, no source.
pub const LEAST_PERMILLE: i64 = 250;

/// One time counts for no more, for the same reason: a night's wait that nobody marked is no pace.
pub const MOST_PERMILLE: i64 = 4000;

/// How an operation is planned beside its recipe's figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// How many times it rests on.
    pub times: usize,
    /// Of the recipe's figure, in thousandths.
    pub permille: i64,
}

impl Pace {
    /// The mean of what it took each time, with the recipe's own figure as [`RECIPE_COUNTS_AS`] of them.
    ///
    /// This is the posterior mean of a normal mean under a conjugate prior of that weight, as in Gelman et al.,
    /// 'Bayesian Data Analysis', chapter 2; from memory.
    #[must_use]
    pub fn of(timed: &[Timed]) -> Self {
        let times = i64::try_from(timed.len()).unwrap_or(i64::MAX / 8000);
        let all: i64 = timed.iter().map(|it| it.permille()).sum();
        let weight = RECIPE_COUNTS_AS + times;
        Self {
            times: timed.len(),
            permille: (RECIPE_COUNTS_AS * 1000 + all + weight / 2) / weight,
        }
    }

    /// Minutes to plan for so many reckoned, rounded up; as reckoned while nothing was timed.
    #[must_use]
    pub fn minutes(self, reckoned_min: i64) -> i64 {
        match self.times {
            0 => reckoned_min,
            _ => (reckoned_min.saturating_mul(self.permille) + 999).div_euclid(1000),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{LEAST_PERMILLE, MOST_PERMILLE, Pace, Timed};
    use proptest::prelude::*;

    fn took(reckoned_min: i64, took_min: i64) -> Timed {
        Timed {
            reckoned_min,
            took_min,
        }
    }

    /// Reckoned at 100, it took 130 and 150. The recipe counts as four times 1: (4 + 1.3 + 1.5) / 6 = 1.133, so
    /// that 100 minutes are planned as 114. Had the recipe said 200 then, the same minutes are 0.65 and 0.75 of it:
    /// (4 + 1.4) / 6 = 0.9, and what is reckoned now at 100 is planned as 90.
    #[test]
    fn what_it_took_is_held_against_what_was_reckoned_then() {
        let pace = Pace::of(&[took(100, 130), took(100, 150)]);
        assert_eq!((pace.times, pace.permille), (2, 1133));
        assert_eq!(pace.minutes(100), 114);
        let pace = Pace::of(&[took(200, 130), took(200, 150)]);
        assert_eq!((pace.permille, pace.minutes(100)), (900, 90));
    }

    /// 6000 typed for 60 minutes counts as four times what was reckoned: (4 + 4) / 5 = 1.6.
    #[test]
    fn a_slip_of_the_pen_does_not_carry_the_mean() {
        assert_eq!(Pace::of(&[took(60, 6000)]).permille, 1600);
    }

    #[test]
    fn nothing_timed_changes_nothing() {
        assert_eq!(Pace::of(&[]).minutes(47), 47);
        assert_eq!(Pace::of(&[]).minutes(0), 0);
    }

    proptest! {
        /// However it went, the pace lies within what one time may count for, and the longer it took the more is
        /// planned.
        #[test]
        fn the_pace_stays_in_bounds_and_follows(
            timed in prop::collection::vec((1..2000_i64, 1..5000_i64), 0..60),
            more in 0..500_i64,
        ) {
            let timed: Vec<Timed> = timed.into_iter().map(|(r, t)| took(r, t)).collect();
            let pace = Pace::of(&timed);
            prop_assert!((LEAST_PERMILLE..=MOST_PERMILLE).contains(&pace.permille));
            let longer: Vec<Timed> = timed.iter().map(|it| took(it.reckoned_min, it.took_min + more)).collect();
            prop_assert!(Pace::of(&longer).permille >= pace.permille);
        }
    }
}
