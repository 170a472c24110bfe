//! Histories of powder, as a crew makes them and as nobody would.

use super::{Book, Movement, NoMovement, Place, Reason, from_mix, take};
use crate::quantity::Milligrams;
use proptest::prelude::*;

fn container(code: &str) -> Place {
    Place::Container(code.parse().expect("a code"))
}

fn moved(lot: &str, from: Place, to: Place, grams: i64, reason: Reason) -> Movement {
    let lot: crate::code::LotCode = lot.parse().expect("a code");
    Movement {
        into: lot.clone(),
        lot,
        from,
        to,
        mass: Milligrams::from_grams(grams),
        reason,
    }
}

fn grams_of(book: &Book, place: &Place, lot: &str) -> i64 {
    book.of(place, &lot.parse().expect("a code")).0 / 1000
}

/// 5 000 g come, 3 000 go into the feeder, 2 600 of them are fed: 40 to coupons, 900 are swept. 400 go back into
/// the container, which then holds 5 000 - 3 000 + 400 = 2 400 g, and the build keeps 2 600 - 40 - 900 = 1 660.
#[test]
fn a_build_from_receipt_to_sweeping() {
    let (can, build) = (container("L1-1"), Place::Build(7));
    let history = [
        moved("L1", Place::Depot, can.clone(), 5_000, Reason::Receipt),
        moved("L1", can.clone(), Place::Feeder, 3_000, Reason::Draw),
        moved("L1", Place::Feeder, build.clone(), 2_600, Reason::Spray),
        moved("L1", build.clone(), Place::Coupon(7), 40, Reason::Coupon),
        moved("L1", build.clone(), Place::Waste, 900, Reason::Sweep),
        moved("L1", Place::Feeder, can.clone(), 400, Reason::Return),
    ];
    let mut book = Book::default();
    for movement in &history {
        book.enter(movement).expect("it can be");
    }
    assert_eq!(grams_of(&book, &can, "L1"), 2_400);
    assert_eq!(grams_of(&book, &build, "L1"), 1_660);
    assert_eq!(grams_of(&book, &Place::Feeder, "L1"), 0);
    assert_eq!(grams_of(&book, &Place::Depot, "L1"), -5_000);
}

/// What a container does not hold cannot leave it, and the answer says both figures.
#[test]
fn a_container_gives_no_more_than_it_holds() {
    let can = container("L1-1");
    let mut book = Book::default();
    let receipt = moved("L1", Place::Depot, can.clone(), 500, Reason::Receipt);
    book.enter(&receipt).expect("it can be");
    let before = book.clone();
    let draw = Movement {
        mass: Milligrams(500_001),
        ..moved("L1", can.clone(), Place::Feeder, 500, Reason::Draw)
    };
    let told = book.enter(&draw).map_err(|fault| fault.to_string());
    let expected =
        "500.000 g of lot L1 are there, 500.001 g are asked for; take less, or count first";
    assert_eq!(told, Err(expected.to_owned()));
    assert_eq!(book, before, "the book is as it was");
}

/// Each reason has its places: nothing is sprayed from a container, or brought back from a part.
#[test]
fn a_reason_goes_with_its_places() {
    let mut book = Book::default();
    let (can, build) = (container("L1-1"), Place::Build(7));
    for (from, to, reason) in [
        (can.clone(), build.clone(), Reason::Spray),
        (build.clone(), can.clone(), Reason::Return),
        (Place::Depot, Place::Waste, Reason::Receipt),
        (can.clone(), can.clone(), Reason::Repack),
        (Place::Gap, Place::Gap, Reason::Count),
    ] {
        let told = book.enter(&moved("L1", from.clone(), to.clone(), 1, reason));
        assert_eq!(told, Err(NoMovement::NotSo { reason, from, to }));
    }
}

/// A blend of 600 g of aluminium bronze and 400 g of nickel is a lot of its own; nothing else makes one lot of
/// another.
#[test]
fn only_a_blend_makes_one_lot_of_another() {
    let mut book = Book::default();
    for (lot, can) in [("B1", "B1-1"), ("N1", "N1-1")] {
        let receipt = moved(lot, Place::Depot, container(can), 1_000, Reason::Receipt);
        book.enter(&receipt).expect("it can be");
    }
    let into = |lot: &str, can: &str, grams, reason| Movement {
        into: "X1".parse().expect("a code"),
        ..moved(lot, container(can), container("X1-1"), grams, reason)
    };
    let repacked = book.enter(&into("B1", "B1-1", 600, Reason::Repack));
    assert!(matches!(repacked, Err(NoMovement::OtherLot { .. })));
    let bronze = into("B1", "B1-1", 600, Reason::Blend);
    book.enter(&bronze).expect("it can be");
    let nickel = into("N1", "N1-1", 400, Reason::Blend);
    book.enter(&nickel).expect("it can be");
    assert_eq!(grams_of(&book, &container("X1-1"), "X1"), 1_000);
    book.enter(&bronze.taken_back()).expect("it can be");
    assert_eq!(grams_of(&book, &container("X1-1"), "X1"), 400);
    assert_eq!(grams_of(&book, &container("B1-1"), "B1"), 1_000);
}

/// A heel of 300 g under 700 g of the next lot, 500 g fed: 150 and 350. Of three equal shares of 100 mg the
/// first gives the milligram that cannot be parted: 34, 33 and 33.
#[test]
fn a_mix_gives_of_each_lot_as_its_share_is() {
    let mix = |lots: &[(&str, i64)]| -> Vec<_> {
        let each = lots.iter();
        each.map(|(lot, mg)| (lot.parse().expect("a code"), Milligrams(*mg)))
            .collect()
    };
    let heel = mix(&[("L1", 300_000), ("L2", 700_000)]);
    let fed = from_mix(&heel, Milligrams(500_000));
    assert_eq!(fed, Ok(mix(&[("L1", 150_000), ("L2", 350_000)])));
    let thirds = mix(&[("L1", 50), ("L2", 50), ("L3", 50)]);
    let fed = from_mix(&thirds, Milligrams(100));
    assert_eq!(fed, Ok(mix(&[("L1", 34), ("L2", 33), ("L3", 33)])));
    let all = from_mix(&thirds, Milligrams(151));
    assert!(matches!(all, Err(NoMovement::TooMuch { .. })));
    // Taken out one after the other, all of it goes and no lot gives more than it has.
    let mut left = thirds.clone();
    assert_eq!(take(&mut left, Milligrams(100)), fed);
    assert_eq!(take(&mut left, Milligrams(0)), Ok(Vec::new()));
    let rest = take(&mut left, Milligrams(50));
    assert_eq!(rest, Ok(mix(&[("L1", 16), ("L2", 17), ("L3", 17)])));
    assert_eq!(left, mix(&[("L1", 0), ("L2", 0), ("L3", 0)]));
}

fn any_place() -> impl Strategy<Value = Place> {
    prop_oneof![
        Just(Place::Depot),
        (1..6_u8).prop_map(|n| container(&format!("C{n}"))),
        Just(Place::Feeder),
        (1..4_i64).prop_map(Place::Build),
        (1..4_i64).prop_map(Place::Coupon),
        Just(Place::Waste),
        Just(Place::Gap),
        Just(Place::Before),
    ]
}

/// Anything, most of which cannot be: any places, lots and reasons, masses from below nothing to too much.
fn any_movement() -> impl Strategy<Value = Movement> {
    let reason = prop::sample::select(Reason::ALL);
    let lot = || (1..4_u8).prop_map(|n| format!("L{n}").parse().expect("a code"));
    let lots = (lot(), lot(), any::<bool>());
    (reason, lots, any_place(), any_place(), -5..400_i64).prop_map(
        |(reason, (lot, into, other), from, to, mg)| Movement {
            into: if other { into } else { lot.clone() },
            lot,
            from,
            to,
            mass: Milligrams(mg),
            reason,
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    /// Whatever is tried: the sum over all places stays 0, so that what is on the site is what came less what
    /// was sent back; no vessel holds less than nothing; entered again from the record, the movements make the
    /// same book; and all of them taken back, the last one first, leave it empty.
    #[test]
    fn nothing_is_made_and_nothing_is_lost(tried in prop::collection::vec(any_movement(), 1..120)) {
        let mut book = Book::default();
        let mut record = Vec::new();
        for movement in tried {
            if book.enter(&movement).is_ok() {
                record.push(movement);
            }
            let all: i64 = book.all().map(|(_, _, mass)| mass.0).sum();
            prop_assert_eq!(all, 0);
            for (place, lot, mass) in book.all() {
                prop_assert!(!place.is_a_vessel() || mass.0 > 0, "{:?} {}", place, lot);
            }
        }
        let mut again = Book::default();
        for movement in &record {
            prop_assert!(again.enter(movement).is_ok());
        }
        prop_assert_eq!(&again, &book);
        for movement in record.iter().rev() {
            prop_assert!(again.enter(&movement.taken_back()).is_ok());
        }
        prop_assert_eq!(again.all().count(), 0);
    }

    /// What comes out of a mix adds up to the milligram, and no lot gives more than it holds.
    #[test]
    fn a_mix_gives_what_is_asked(held in prop::collection::vec(1..5_000_000_i64, 1..6), part in 0.0..1.0_f64) {
        let mix: Vec<_> = held
            .iter()
            .enumerate()
            .map(|(n, mg)| (format!("L{n}").parse().expect("a code"), Milligrams(*mg)))
            .collect();
        #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "any share will do")]
        let asked = ((held.iter().sum::<i64>() as f64 * part) as i64).max(1);
        let given = from_mix(&mix, Milligrams(asked)).expect("it holds so much");
        prop_assert_eq!(given.iter().map(|(_, mass)| mass.0).sum::<i64>(), asked);
        for (lot, mass) in &given {
            let held = mix.iter().find(|(other, _)| other == lot).expect("of the mix").1;
            prop_assert!(*mass <= held);
        }
    }
}
