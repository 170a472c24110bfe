//! A lot made of weighed shares of others.

use chrono::{DateTime, Utc};
use thiserror::Error;

use super::chemistry::WHOLE_PPM;
use crate::code::LotCode;
use crate::powder::LotState;
use crate::quantity::Milligrams;

/// Parts of a whole number in proportion to weights, which sum to it: each as its share is, what is left over to
/// the largest remainders, the first of equals first. None where nothing is to be parted by.
#[must_use]
pub fn apportion(weights: &[i64], whole: i64) -> Option<Vec<i64>> {
    let all: i128 = weights.iter().map(|weight| i128::from(*weight)).sum();
    if all <= 0 || whole < 0 || weights.iter().any(|weight| *weight < 0) {
        return None;
    }
    let share = |weight: &i64| {
        let exact = i128::from(*weight) * i128::from(whole);
        (i64::try_from(exact / all).unwrap_or(0), exact % all)
    };
    let shares: Vec<(i64, i128)> = weights.iter().map(share).collect();
    let mut parts: Vec<i64> = shares.iter().map(|(floor, _)| *floor).collect();
    let missing = whole - parts.iter().sum::<i64>();
    let mut by_rest: Vec<usize> = (0..parts.len()).collect();
    by_rest.sort_by_key(|at| std::cmp::Reverse(shares[*at].1));
    for at in by_rest
        .into_iter()
        .take(usize::try_from(missing).unwrap_or(0))
    {
        parts[at] += 1;
    }
    Some(parts)
}

/// A parent of a blend, as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parent {
    /// Its number.
    pub lot: LotCode,
    /// Whether it may be drawn.
    pub state: LotState,
    /// The last moment at which it may be sprayed.
    pub use_by: Option<DateTime<Utc>>,
}

/// Why a lot is no parent of a blend.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NoParent {
    /// It may not be drawn.
    #[error("lot {lot} is {state}; only a released lot goes into a blend")]
    State {
        /// Which lot.
        lot: LotCode,
        /// As it stands.
        state: LotState,
    },
    /// Its date has passed.
    #[error("the date of lot {lot} has passed; leave it out, or have it tested again")]
    Expired {
        /// Which lot.
        lot: LotCode,
    },
}

impl Parent {
    /// Whether it may go into a blend at this moment.
    ///
    /// # Errors
    /// Why not.
    pub fn check(&self, now: DateTime<Utc>) -> Result<(), NoParent> {
        let lot = || self.lot.clone();
        match self.state {
            LotState::Released if self.use_by.is_some_and(|until| until <= now) => {
                Err(NoParent::Expired { lot: lot() })
            }
            LotState::Released => Ok(()),
            state => Err(NoParent::State { lot: lot(), state }),
        }
    }
}

/// The last moment at which a blend may be sprayed: the earliest of its parents'; none where none is told.
#[must_use]
pub fn use_by(parents: impl IntoIterator<Item = Option<DateTime<Utc>>>) -> Option<DateTime<Utc>> {
    parents.into_iter().flatten().min()
}

/// What of each parent went in, in parts per million of the blend, which sum to the whole.
#[must_use]
pub fn shares(masses: &[Milligrams]) -> Vec<i64> {
    let weights: Vec<i64> = masses.iter().map(|mass| mass.0).collect();
    apportion(&weights, WHOLE_PPM).unwrap_or_default()
}

/// What was weighed out and what was weighed in are not the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("{} mg were weighed out and {} mg have a place; say where the rest is", .out.0, .placed.0)]
pub struct NotAll {
    /// Out of the parents.
    pub out: Milligrams,
    /// In containers, and spilt.
    pub placed: Milligrams,
}

/// How much of each parent's share goes to each of several places that a mix is poured into: a row for each place.
///
/// In it the shares are those of the mix to the milligram. What leaves a parent is what was weighed out of it, and
/// what comes to a place is what was weighed there.
///
/// # Errors
/// [`NotAll`] where the two sums differ.
pub fn pour(out: &[Milligrams], places: &[Milligrams]) -> Result<Vec<Vec<Milligrams>>, NotAll> {
    let (all, placed) = (out.iter().copied().sum(), places.iter().copied().sum());
    if all != placed || places.iter().chain(out).any(|mass| mass.0 < 0) {
        return Err(NotAll { out: all, placed });
    }
    let mut left: Vec<i64> = out.iter().map(|mass| mass.0).collect();
    let mut rows = Vec::with_capacity(places.len());
    for place in places {
        let taken = apportion(&left, place.0).unwrap_or_else(|| vec![0; left.len()]);
        for (left, taken) in left.iter_mut().zip(&taken) {
            *left -= taken;
        }
        rows.push(taken.into_iter().map(Milligrams).collect());
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn g(grams: i64) -> Milligrams {
        Milligrams::from_grams(grams)
    }

    /// 3 000 g and 1 000 g are three quarters and one; a third of each of three leaves one part per million,
    /// which the first gets.
    #[test]
    fn shares_are_by_mass_and_sum_to_the_whole() {
        assert_eq!(shares(&[g(3000), g(1000)]), [750_000, 250_000]);
        assert_eq!(shares(&[g(1), g(1), g(1)]), [333_334, 333_333, 333_333]);
        assert_eq!(shares(&[]), Vec::<i64>::new());
    }

    /// 3 000 g and 1 000 g into cans of 2 500 and 1 480 g, 20 g spilt: the first can holds 1 875 + 625, the
    /// second 1 110 + 370, and 15 + 5 are on the floor.
    #[test]
    fn a_mix_is_poured_out_as_it_was_weighed_in() {
        let rows = pour(&[g(3000), g(1000)], &[g(2500), g(1480), g(20)]);
        assert_eq!(
            rows,
            Ok(vec![
                vec![g(1875), g(625)],
                vec![g(1110), g(370)],
                vec![g(15), g(5)],
            ])
        );
        let (out, placed) = (g(4000), g(3980));
        assert_eq!(
            pour(&[g(3000), g(1000)], &[g(3980)]),
            Err(NotAll { out, placed })
        );
    }

    #[test]
    fn only_a_released_lot_in_date_is_a_parent() {
        let now = DateTime::UNIX_EPOCH + chrono::TimeDelta::days(20_000);
        let lot: LotCode = "L0401".parse().expect("a code");
        let parent = |state, use_by| Parent {
            lot: lot.clone(),
            state,
            use_by,
        };
        let later = now + chrono::TimeDelta::days(1);
        assert_eq!(parent(LotState::Released, Some(later)).check(now), Ok(()));
        assert_eq!(parent(LotState::Released, None).check(now), Ok(()));
        let expired = NoParent::Expired { lot: lot.clone() };
        assert_eq!(
            parent(LotState::Released, Some(now)).check(now),
            Err(expired)
        );
        for state in LotState::ALL.iter().filter(|s| **s != LotState::Released) {
            let fault = NoParent::State {
                lot: lot.clone(),
                state: *state,
            };
            assert_eq!(parent(*state, None).check(now), Err(fault));
        }
        assert_eq!(use_by([None, Some(later), Some(now)]), Some(now));
        assert_eq!(use_by([None]), None);
    }

    proptest! {
        /// Whatever is weighed out arrives, and nothing else: row by row and column by column.
        #[test]
        fn a_blend_conserves_mass(
            out in prop::collection::vec(1_i64..50_000_000, 1..6),
            cuts in prop::collection::vec(0_i64..=1000, 0..5),
        ) {
            let all: i64 = out.iter().sum();
            let mut edges: Vec<i64> = cuts.iter().map(|cut| all * cut / 1000).collect();
            edges.extend([0, all]);
            edges.sort_unstable();
            let places: Vec<Milligrams> = edges.windows(2).map(|edge| Milligrams(edge[1] - edge[0])).collect();
            let weighed: Vec<Milligrams> = out.iter().copied().map(Milligrams).collect();
            let rows = pour(&weighed, &places).expect("the sums agree");
            for (row, place) in rows.iter().zip(&places) {
                prop_assert_eq!(row.iter().copied().sum::<Milligrams>(), *place);
                prop_assert!(row.iter().all(|mass| mass.0 >= 0));
            }
            for (parent, weighed) in weighed.iter().enumerate() {
                prop_assert_eq!(rows.iter().map(|row| row[parent]).sum::<Milligrams>(), *weighed);
            }
        }

        #[test]
        fn shares_sum_to_the_whole(masses in prop::collection::vec(1_i64..100_000_000, 1..8)) {
            let masses: Vec<Milligrams> = masses.into_iter().map(Milligrams).collect();
            prop_assert_eq!(shares(&masses).iter().sum::<i64>(), WHOLE_PPM);
        }
    }
}
