//! What stops the release of a part: an open hold, a blank, and a miss that nobody has answered.

use super::coupon::{Expected, Measured};
use super::length::Length;
use super::size::Finding;
use crate::catalogue::{OperationKind, Recipe};
use std::collections::BTreeMap;

/// Something found, and whether a named person has judged the part fit with it, should it be a miss.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Out<T> {
    /// What was found.
    pub found: T,
    /// Judged fit all the same.
    pub answered: bool,
}

/// A look for cracks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crack {
    /// None found.
    Absent,
    /// Found.
    Found,
}

/// A heat treatment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Soak {
    /// The number of the furnace's load.
    pub load: i64,
    /// It was broken off or disturbed: void until it is judged.
    pub void: bool,
}

/// What is on record of a part since it was last begun anew, as far as it counts still.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Checked {
    /// What was found of each dimension, by its name.
    pub sizes: BTreeMap<String, Out<Length>>,
    /// Every result of its coupons.
    pub coupons: Vec<Out<Measured>>,
    /// Looks for cracks, by the place of their operation, from 1.
    pub cracks: BTreeMap<usize, Out<Crack>>,
    /// Heat treatments, by the place of their operation, from 1.
    pub soaks: BTreeMap<usize, Out<Soak>>,
    /// Numbers of the holds that nobody has judged.
    pub holds: Vec<i64>,
}

/// One thing that stops the release.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stop {
    /// The part is on hold.
    Hold {
        /// The number of the hold.
        number: i64,
    },
    /// Nobody has measured it.
    SizeMissing {
        /// The dimension.
        name: String,
    },
    /// It is out of its limits, and nobody has judged the part fit with it.
    SizeOut {
        /// The dimension.
        name: String,
        /// By how much.
        finding: Finding,
    },
    /// No coupon was tested for it.
    CouponMissing {
        /// What the approver expects.
        expected: Expected,
    },
    /// A coupon misses it, and nobody has judged the part fit with it.
    CouponMissed {
        /// What the approver expects.
        expected: Expected,
        /// What was found.
        found: Measured,
    },
    /// Nobody has looked for cracks.
    CrackCheckMissing {
        /// Place of the operation, from 1.
        position: usize,
    },
    /// Cracks, and nobody has judged the part fit with them.
    CrackFound {
        /// Place of the operation, from 1.
        position: usize,
    },
    /// It was in no load of the furnace.
    SoakMissing {
        /// Place of the operation, from 1.
        position: usize,
    },
    /// The soak is void, and nobody has judged the part fit with it.
    SoakVoid {
        /// The number of the load.
        load: i64,
    },
}

/// Everything that stops the release of a part built by a recipe; empty if nothing is open.
///
/// A heat treatment that is sent out is in no load here.
#[must_use]
pub fn stops(recipe: &Recipe, checked: &Checked) -> Vec<Stop> {
    let holds = checked.holds.iter();
    let mut stops: Vec<Stop> = holds.map(|number| Stop::Hold { number: *number }).collect();
    stops.extend(sizes(recipe, checked));
    stops.extend(recipe.coupons.iter().flat_map(|it| coupons(it, checked)));
    for (position, operation) in (1..).zip(&recipe.operations) {
        let stop = match operation.kind {
            OperationKind::CrackCheck => match checked.cracks.get(&position) {
                None => Some(Stop::CrackCheckMissing { position }),
                Some(it) if it.found == Crack::Found && !it.answered => {
                    Some(Stop::CrackFound { position })
                }
                Some(_) => None,
            },
            OperationKind::HeatTreat if operation.station.is_some() => {
                match checked.soaks.get(&position) {
                    None => Some(Stop::SoakMissing { position }),
                    Some(it) if it.found.void && !it.answered => Some(Stop::SoakVoid {
                        load: it.found.load,
                    }),
                    Some(_) => None,
                }
            }
            _ => None,
        };
        stops.extend(stop);
    }
    stops
}

fn sizes<'a>(recipe: &'a Recipe, checked: &'a Checked) -> impl Iterator<Item = Stop> + 'a {
    recipe.sizes.iter().filter_map(|dimension| {
        let name = dimension.name.clone();
        let Some(it) = checked.sizes.get(&name) else {
            return Some(Stop::SizeMissing { name });
        };
        match dimension.judge(it.found) {
            Finding::Within => None,
            _ if it.answered => None,
            finding => Some(Stop::SizeOut { name, finding }),
        }
    })
}

fn coupons(expected: &Expected, checked: &Checked) -> Vec<Stop> {
    let mut of_it = checked
        .coupons
        .iter()
        .filter(|it| expected.is_of(&it.found))
        .peekable();
    if of_it.peek().is_none() {
        let expected = expected.clone();
        return vec![Stop::CouponMissing { expected }];
    }
    of_it
        .filter(|it| !expected.accepts(it.found.figure) && !it.answered)
        .map(|it| Stop::CouponMissed {
            expected: expected.clone(),
            found: it.found.clone(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Operation;
    use crate::catalogue::recipe_of;
    use crate::finish::{Condition, Property, Unit};
    use OperationKind::{Carry, CrackCheck, FirstRun, Fit, HeatTreat, Measure, Release, Spray};
    use proptest::prelude::*;

    /// Sprayed, heated here, looked at, measured; a bore and a bond strength are asked for.
    fn recipe() -> Recipe {
        let mut recipe = recipe_of(&[
            Spray, HeatTreat, CrackCheck, Measure, Release, Carry, Fit, FirstRun,
        ]);
        recipe.operations[1].station = Some("furnace".parse().expect("a code"));
        recipe.sizes = vec!["bore: 60 (59.99 to 60.03) mm".parse().expect("a dimension")];
        recipe.coupons = vec![
            "strength as-sprayed: at least 30 MPa"
                .parse()
                .expect("an expectation"),
        ];
        recipe
    }

    fn fine() -> Checked {
        let bore = Length::parse("60.01", Unit::Millimetre).expect("a length");
        let plain = |found| Out {
            found,
            answered: false,
        };
        Checked {
            sizes: BTreeMap::from([("bore".to_owned(), plain(bore))]),
            coupons: vec![strength(32_000)],
            cracks: BTreeMap::from([(
                3,
                Out {
                    found: Crack::Absent,
                    answered: false,
                },
            )]),
            soaks: BTreeMap::from([(2, soak(false))]),
            holds: Vec::new(),
        }
    }

    fn strength(figure: i64) -> Out<Measured> {
        Out {
            found: Measured {
                property: Property::Strength,
                condition: Condition::AsSprayed,
                figure,
                load_gf: None,
            },
            answered: false,
        }
    }

    fn soak(void: bool) -> Out<Soak> {
        Out {
            found: Soak { load: 7, void },
            answered: false,
        }
    }

    #[test]
    fn a_whole_record_in_limits_stops_nothing() {
        assert_eq!(stops(&recipe(), &fine()), []);
    }

    /// Nothing on record: each of the four that are asked for is told as missing, none as fine.
    #[test]
    fn a_blank_is_never_fine() {
        let recipe = recipe();
        assert_eq!(
            stops(&recipe, &Checked::default()),
            [
                Stop::SizeMissing {
                    name: "bore".to_owned()
                },
                Stop::CouponMissing {
                    expected: recipe.coupons[0].clone()
                },
                Stop::SoakMissing { position: 2 },
                Stop::CrackCheckMissing { position: 3 },
            ]
        );
    }

    /// 60.05 is 0.02 mm over 60.03; a crack, 28 MPa, a void soak and an open hold: five things stop it, and
    /// judged fit only the open hold is left.
    #[test]
    fn a_miss_stops_until_it_is_answered() {
        let recipe = recipe();
        let over = Length::parse("60.05", Unit::Millimetre).expect("a length");
        let mut checked = fine();
        checked.holds = vec![12];
        checked.sizes.get_mut("bore").expect("measured").found = over;
        checked.coupons.push(strength(28_000));
        checked.cracks.get_mut(&3).expect("looked at").found = Crack::Found;
        checked.soaks.insert(2, soak(true));
        let found = stops(&recipe, &checked);
        assert_eq!(
            found,
            [
                Stop::Hold { number: 12 },
                Stop::SizeOut {
                    name: "bore".to_owned(),
                    finding: Finding::Over(Length(20_000)),
                },
                Stop::CouponMissed {
                    expected: recipe.coupons[0].clone(),
                    found: strength(28_000).found,
                },
                Stop::SoakVoid { load: 7 },
                Stop::CrackFound { position: 3 },
            ]
        );
        checked.sizes.get_mut("bore").expect("measured").answered = true;
        checked.coupons[1].answered = true;
        checked.cracks.get_mut(&3).expect("looked at").answered = true;
        checked.soaks.get_mut(&2).expect("heated").answered = true;
        assert_eq!(stops(&recipe, &checked), [Stop::Hold { number: 12 }]);
    }

    /// What is sent out to be heated is in no load of the furnace here.
    #[test]
    fn a_heat_treatment_elsewhere_is_no_load() {
        let mut recipe = recipe();
        recipe.operations[1] = Operation {
            away_days: Some(3),
            ..Operation::step(HeatTreat, "stress relief", 4320)
        };
        let mut checked = fine();
        checked.soaks.clear();
        assert_eq!(stops(&recipe, &checked), []);
    }

    proptest! {
        /// However a part was found: a release is stopped by nothing exactly if every figure is there and
        /// each is within its limits or answered.
        #[test]
        fn nothing_stops_only_what_is_whole_and_fine_or_answered(
            bore in prop::option::of((59_900_000_i64..60_100_000, any::<bool>())),
            bond in prop::option::of((20_000_i64..40_000, any::<bool>())),
        ) {
            let recipe = recipe();
            let mut checked = fine();
            checked.sizes.clear();
            checked.coupons.clear();
            if let Some((nm, answered)) = bore {
                let found = Length(nm);
                checked.sizes.insert("bore".to_owned(), Out { found, answered });
            }
            if let Some((figure, answered)) = bond {
                checked.coupons.push(Out { answered, ..strength(figure) });
            }
            let fine = bore.is_some_and(|(nm, answered)| answered || (59_990_000..=60_030_000).contains(&nm))
                && bond.is_some_and(|(figure, answered)| answered || figure >= 30_000);
            prop_assert_eq!(stops(&recipe, &checked).is_empty(), fine);
        }
    }
}
