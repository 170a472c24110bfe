//! What came against what was expected, and whether scale and certificate say the same.

use thiserror::Error;

use super::{Allowance, Gap};
use crate::code::LotCode;
use crate::quantity::Milligrams;

/// What is known of the powder in a container as it came.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Weighing {
    /// On the scale, container and powder.
    pub gross: Option<Milligrams>,
    /// What the container alone weighs.
    pub tare: Option<Milligrams>,
    /// As certificate or label say.
    pub net: Option<Milligrams>,
}

/// The powder in a container, and how far scale and paper are apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Net {
    /// What is booked.
    pub mass: Milligrams,
    /// Scale less paper, where both are known.
    pub difference: Option<Milligrams>,
    /// What that asks for.
    pub gap: Gap,
}

/// Why nobody knows how much powder is in a container.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NoNet {
    /// Neither the net mass nor both others.
    #[error("give the net mass, or gross weight and tare")]
    Unknown,
    /// The empty container weighs as much as the full one.
    #[error("a tare of {} g leaves nothing of a gross weight of {} g; weigh it again", grams(*.tare), grams(*.gross))]
    NothingIn {
        /// As weighed.
        gross: Milligrams,
        /// As told.
        tare: Milligrams,
    },
    /// More powder than container and powder together.
    #[error("a net mass of {} g is more than the gross weight of {} g; weigh it again", grams(*.net), grams(*.gross))]
    MoreThanGross {
        /// As weighed.
        gross: Milligrams,
        /// As told.
        net: Milligrams,
    },
    /// Scale and paper are too far apart.
    #[error(
        "gross less tare is {} g, {} g off the net mass of {} g, and {} g are allowed; weigh it again, or enter as net what is there",
        grams(*.weighed), grams(Milligrams((.weighed.0 - .net.0).abs())), grams(*.net), grams(*.allowed)
    )]
    Differs {
        /// Gross less tare.
        weighed: Milligrams,
        /// As told.
        net: Milligrams,
        /// How far apart they may be.
        allowed: Milligrams,
    },
}

/// Grams, without decimals that say nothing.
fn grams(mass: Milligrams) -> String {
    let (whole, rest) = (mass.0 / 1000, (mass.0 % 1000).abs());
    match format!("{rest:03}").trim_end_matches('0') {
        "" => whole.to_string(),
        rest => format!("{whole}.{rest}"),
    }
}

impl Weighing {
    /// The powder in it, by the paper if that says so, else by the scale. They may be apart by no more than the
    /// site's allowance up to its stop line, reckoned as if the net mass had been drawn.
    ///
    /// # Errors
    /// Why that is not known.
    pub fn net(&self, allowance: &Allowance) -> Result<Net, NoNet> {
        let weighed = match (self.gross, self.tare) {
            (Some(gross), Some(tare)) if tare >= gross => {
                return Err(NoNet::NothingIn { gross, tare });
            }
            (Some(gross), Some(tare)) => Some(Milligrams(gross.0 - tare.0)),
            _ => None,
        };
        let net = match (self.net, self.gross) {
            (Some(net), Some(gross)) if net > gross => {
                return Err(NoNet::MoreThanGross { gross, net });
            }
            (net, _) => net,
        };
        let (mass, difference) = match (net, weighed) {
            (Some(net), Some(weighed)) => (net, Some(Milligrams(weighed.0 - net.0))),
            (Some(net), None) => (net, None),
            (None, Some(weighed)) => (weighed, None),
            (None, None) => return Err(NoNet::Unknown),
        };
        let gap = difference.map_or(Gap::Allowed, |it| allowance.judge(it, mass));
        match (gap, weighed) {
            (Gap::Stop, Some(weighed)) => Err(NoNet::Differs {
                weighed,
                net: mass,
                allowed: allowance.stop_line(mass),
            }),
            _ => Ok(Net {
                mass,
                difference,
                gap,
            }),
        }
    }
}

/// What came of one line of a delivery, in the line's own unit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Came {
    /// How much was expected.
    pub expected: i64,
    /// How much was taken in, what is damaged included.
    pub taken: i64,
    /// How much of that is damaged and set aside.
    pub damaged: i64,
    /// How much came and was refused.
    pub refused: i64,
}

impl Came {
    /// How much less came than was expected.
    #[must_use]
    pub const fn short(&self) -> i64 {
        at_least_none(self.expected - self.taken - self.refused)
    }

    /// How much more came than was expected.
    #[must_use]
    pub const fn over(&self) -> i64 {
        at_least_none(self.taken + self.refused - self.expected)
    }

    /// What is still missing: what did not come, and what was refused.
    #[must_use]
    pub const fn missing(&self) -> i64 {
        at_least_none(self.expected - self.taken)
    }

    /// The same with what came of the line later.
    #[must_use]
    pub const fn and(&self, later: &Came) -> Came {
        Came {
            expected: self.expected,
            taken: self.taken + later.taken,
            damaged: self.damaged + later.damaged,
            refused: self.refused + later.refused,
        }
    }
}

const fn at_least_none(amount: i64) -> i64 {
    if amount < 0 { 0 } else { amount }
}

/// To which lines of one powder so much belongs: each is filled in turn, and the last has what is left.
#[must_use]
pub fn spread(open: &[i64], amount: i64) -> Vec<i64> {
    let mut left = amount;
    let last = open.len().saturating_sub(1);
    let each = open.iter().enumerate().map(|(at, open)| {
        let taken = if at == last { left } else { left.min(*open) };
        left -= taken;
        taken
    });
    each.collect()
}

/// The number to suggest for the next lot: one more than the newest, written alike, and not yet given away. None
/// where the newest does not end in figures.
#[must_use]
pub fn next_lot(newest: &LotCode, is_taken: impl Fn(&str) -> bool) -> Option<LotCode> {
    let code = newest.as_str();
    let head = code.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let figures = &code[head.len()..];
    let number: u64 = figures.parse().ok()?;
    let wide = figures.len();
    let mut codes = (number + 1..).map(|number| format!("{head}{number:0wide$}"));
    codes.find(|code| !is_taken(code))?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const fn g(grams: i64) -> Milligrams {
        Milligrams::from_grams(grams)
    }

    fn weighed(gross: i64, tare: i64, net: i64) -> Result<Net, NoNet> {
        let told = |grams| Some(g(grams)).filter(|mass| mass.0 > 0);
        let (gross, tare, net) = (told(gross), told(tare), told(net));
        Weighing { gross, tare, net }.net(&Allowance::usual(g(10)))
    }

    /// A can of 5 000 g. The watch line is 2 x 10 g + 1 % = 70 g, the stop line 20 + 150 = 170 g.
    #[test]
    fn scale_and_paper_are_held_against_each_other() {
        let net = |difference, gap| {
            Ok(Net {
                mass: g(5000),
                difference: Some(g(difference)),
                gap,
            })
        };
        assert_eq!(weighed(5420, 420, 5000), net(0, Gap::Allowed));
        assert_eq!(weighed(5350, 420, 5000), net(-70, Gap::Allowed));
        assert_eq!(weighed(5349, 420, 5000), net(-71, Gap::Watch));
        assert_eq!(weighed(5590, 420, 5000), net(170, Gap::Watch));
        let (weighed_mg, net_mg, allowed) = (g(5171), g(5000), g(170));
        assert_eq!(
            weighed(5591, 420, 5000),
            Err(NoNet::Differs {
                weighed: weighed_mg,
                net: net_mg,
                allowed
            })
        );
        let fault = weighed(5591, 420, 5000).expect_err("too far apart");
        assert!(
            fault
                .to_string()
                .starts_with("gross less tare is 5171 g, 171 g off")
        );
    }

    #[test]
    fn one_of_the_two_is_enough() {
        assert_eq!(weighed(5420, 420, 0).map(|net| net.mass), Ok(g(5000)));
        assert_eq!(weighed(0, 0, 5000).map(|net| net.mass), Ok(g(5000)));
        assert_eq!(weighed(5420, 0, 0), Err(NoNet::Unknown));
        assert_eq!(weighed(0, 0, 0), Err(NoNet::Unknown));
        let nothing = weighed(420, 420, 0).expect_err("nothing in it");
        assert!(matches!(nothing, NoNet::NothingIn { .. }));
        let more = weighed(4000, 0, 5000).expect_err("more than gross");
        assert!(matches!(more, NoNet::MoreThanGross { .. }));
    }

    /// 12 000 g were expected. 9 000 g were taken in, 1 000 g of them damaged, and 2 000 g refused: 11 000 came,
    /// 1 000 short, and 3 000 are still missing. The rest comes later with 500 g too much.
    #[test]
    fn what_came_is_held_against_what_was_expected() {
        let came = Came {
            expected: 12_000,
            taken: 9_000,
            damaged: 1_000,
            refused: 2_000,
        };
        assert_eq!(
            (came.short(), came.over(), came.missing()),
            (1_000, 0, 3_000)
        );
        let rest = Came {
            taken: 3_500,
            ..Came::default()
        };
        let all = came.and(&rest);
        assert_eq!((all.short(), all.over(), all.missing()), (0, 2_500, 0));
    }

    /// Two lines of one powder, 4 000 and 2 000 g: of 5 000 the second is 1 000 short, of 7 000 it has the 1 000
    /// too many.
    #[test]
    fn lines_of_one_powder_are_filled_in_turn() {
        assert_eq!(spread(&[4_000, 2_000], 5_000), [4_000, 1_000]);
        assert_eq!(spread(&[4_000, 2_000], 7_000), [4_000, 3_000]);
        assert_eq!(spread(&[], 7_000), Vec::<i64>::new());
    }

    #[test]
    fn the_next_number_is_written_as_the_newest() {
        let next = |newest: &str, taken: &[&str]| {
            let newest = newest.parse().expect("a code");
            next_lot(&newest, |code| taken.contains(&code)).map(String::from)
        };
        assert_eq!(next("L0415", &[]).as_deref(), Some("L0416"));
        assert_eq!(next("L0415", &["L0416", "L0417"]).as_deref(), Some("L0418"));
        assert_eq!(next("26/0999", &[]).as_deref(), Some("26/1000"));
        assert_eq!(next("99", &[]).as_deref(), Some("100"));
        assert_eq!(next("SPARE", &[]), None);
    }

    proptest! {
        /// Nothing is lost between lines, whatever comes.
        #[test]
        fn all_that_came_belongs_to_a_line(
            open in prop::collection::vec(0_i64..10_000, 1..5),
            amount in 0_i64..100_000,
        ) {
            let spread = spread(&open, amount);
            prop_assert_eq!(spread.iter().sum::<i64>(), amount);
            prop_assert!(spread.iter().all(|taken| *taken >= 0));
        }
    }
}
