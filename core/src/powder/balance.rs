//! What became of the powder that was drawn for a build, and when the difference is too large.

use crate::quantity::Milligrams;

/// What a build drew, and what was found of it again.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct MassBalance {
    /// Drawn for it, the heel of the feeder included.
    pub drawn: Milligrams,
    /// What the part weighs more.
    pub part: Milligrams,
    /// What its coupons weigh more.
    pub coupon: Milligrams,
    /// Returned to a container, or left in the feeder.
    pub returned: Milligrams,
    /// Swept up and taken from the collector.
    pub swept: Milligrams,
}

impl MassBalance {
    /// What nobody found again; below 0 where more was found than drawn.
    #[must_use]
    pub const fn unexplained(&self) -> Milligrams {
        let found = self.part.0 + self.coupon.0 + self.returned.0 + self.swept.0;
        Milligrams(self.drawn.0 - found)
    }
}

/// How far a book may be from what is weighed.
///
/// No public figure was found for either; two divisions and 1 or 3 % are common practice, no source. With
/// divisions of 10 g the difference of two weighings alone is uncertain by 8 g (k = 2: each is out by up to half
/// a division, evenly spread, so that its standard uncertainty is 10 / sqrt(12) = 2.9 g).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Allowance {
    /// Of the scale.
    pub division: Milligrams,
    /// So many divisions, and ...
    pub divisions: i64,
    /// ... so many thousandths of what was drawn: from there on somebody looks for it.
    pub watch_permille: i64,
    /// With so many thousandths the lot is held until it is counted again.
    pub stop_permille: i64,
}

impl Allowance {
    /// Two divisions, 1 % and 3 %.
    #[must_use]
    pub const fn usual(division: Milligrams) -> Self {
        Self {
            division,
            divisions: 2,
            watch_permille: 10,
            stop_permille: 30,
        }
    }

    /// Up to here nobody looks for it.
    #[must_use]
    pub const fn watch_line(&self, drawn: Milligrams) -> Milligrams {
        self.line(drawn, self.watch_permille)
    }

    /// Up to here the lot may be sprayed on.
    #[must_use]
    pub const fn stop_line(&self, drawn: Milligrams) -> Milligrams {
        self.line(drawn, self.stop_permille)
    }

    const fn line(&self, drawn: Milligrams, permille: i64) -> Milligrams {
        let share = drawn.0.saturating_mul(permille) / 1000;
        Milligrams(self.divisions.saturating_mul(self.division.0) + share)
    }

    /// What a difference asks for, after so much was drawn. More than the book says counts as less does.
    #[must_use]
    pub const fn judge(&self, difference: Milligrams, drawn: Milligrams) -> Gap {
        let size = difference.0.saturating_abs();
        if size > self.stop_line(drawn).0 {
            Gap::Stop
        } else if size > self.watch_line(drawn).0 {
            Gap::Watch
        } else {
            Gap::Allowed
        }
    }
}

/// What a difference between book and scale asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gap {
    /// Nothing: scales are not better than that.
    Allowed,
    /// That somebody looks for it.
    Watch,
    /// That the lot is held until it is counted again by two people.
    Stop,
}

#[cfg(test)]
mod tests {
    use super::{Allowance, Gap, MassBalance};
    use crate::quantity::Milligrams;

    /// Of 2 600 g drawn the part has 1 520, coupons 40, the container 400 again, the collector 615: 25 g are
    /// missing. With divisions of 10 g the watch line is 2 x 10 + 26 = 46 g, the stop line 20 + 78 = 98 g.
    #[test]
    fn what_is_missing_is_judged_by_two_lines() {
        let g = Milligrams::from_grams;
        let balance = MassBalance {
            drawn: g(2_600),
            part: g(1_520),
            coupon: g(40),
            returned: g(400),
            swept: g(615),
        };
        assert_eq!(balance.unexplained(), g(25));
        let allowance = Allowance::usual(g(10));
        assert_eq!(allowance.watch_line(g(2_600)), g(46));
        assert_eq!(allowance.stop_line(g(2_600)), g(98));
        for (missing, gap) in [
            (25, Gap::Allowed),
            (46, Gap::Allowed),
            (47, Gap::Watch),
            (98, Gap::Watch),
            (99, Gap::Stop),
        ] {
            assert_eq!(allowance.judge(g(missing), g(2_600)), gap, "{missing}");
            assert_eq!(allowance.judge(g(-missing), g(2_600)), gap, "-{missing}");
        }
    }
}
