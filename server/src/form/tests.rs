use chrono_tz::{Europe, Pacific};
use proptest::prelude::*;

use super::*;

#[test]
fn text_is_trimmed_counted_in_characters_and_asked_for() {
    assert_eq!(text("  pump 2 ", 6), Ok("pump 2".to_owned()));
    assert_eq!(text(" \t ", 6), Err(FieldError::Missing));
    assert_eq!(text("hälfte", 6), Ok("hälfte".to_owned()));
    assert_eq!(
        text("pump 22", 6),
        Err(FieldError::TooLong { given: 7, max: 6 })
    );
    assert_eq!(optional_text("", 6), Ok(None));
}

#[test]
fn whole_numbers_keep_to_their_range() {
    assert_eq!(integer(" 6 480 ", 1..=9999), Ok(6480));
    assert_eq!(integer("6\u{202f}480", 1..=9999), Ok(6480));
    assert!(matches!(
        integer("6.5", 1..=9999),
        Err(FieldError::NotWhole { .. })
    ));
    assert!(matches!(integer("", 1..=9999), Err(FieldError::Missing)));
    let error = integer("10000", 1..=9999).expect_err("one too many");
    assert_eq!(
        error.to_string(),
        "10\u{202f}000 is out of range; enter 1 to 9\u{202f}999"
    );
}

/// 2.4 kg = 2 400 000 mg; a milligram is the smallest that kilograms can say, at 6 places.
#[test]
fn kilograms_become_milligrams_exactly() {
    let range = 1..=50_000_000;
    assert_eq!(decimal("2.4", 6, range.clone()), Ok(2_400_000));
    assert_eq!(decimal("2,4", 6, range.clone()), Ok(2_400_000));
    assert_eq!(decimal(".000001", 6, range.clone()), Ok(1));
    assert_eq!(decimal("2.400000000", 6, range.clone()), Ok(2_400_000));
    assert!(matches!(
        decimal("2.4000001", 6, range.clone()),
        Err(FieldError::TooFine { .. })
    ));
    for typed in ["2.4.1", "1e3", "two", "-", ".", "2.4 kg", "--2"] {
        let error = decimal(typed, 6, range.clone());
        assert!(
            matches!(error, Err(FieldError::NotNumber { .. })),
            "{typed}: {error:?}"
        );
    }
    let error = decimal("50.5", 6, range).expect_err("half a kilogram too many");
    assert_eq!(
        error.to_string(),
        "50.5 is out of range; enter 0.000001 to 50"
    );
}

#[test]
fn a_number_too_long_for_the_machine_is_refused_and_not_a_panic() {
    let long = "9".repeat(40);
    assert!(matches!(
        decimal(&long, 6, 0..=1),
        Err(FieldError::NotNumber { .. })
    ));
    assert!(matches!(
        integer(&long, 0..=1),
        Err(FieldError::NotWhole { .. })
    ));
}

/// Port Moresby is ten hours ahead of UTC all year: 14:40 there is 04:40 UTC.
/// 2026-11-25 04:40 UTC = 1 795 581 600 s (checked with `date -ud '2026-11-25 04:40' +%s`).
#[test]
fn times_are_typed_in_the_zone_of_the_site() {
    let expected = Ok(1_795_581_600_000);
    assert_eq!(
        local_time("2026-11-25T14:40", Pacific::Port_Moresby),
        expected
    );
    assert_eq!(
        local_time("2026-11-25 14:40", Pacific::Port_Moresby),
        expected
    );
    assert!(matches!(
        local_time("25.11.2026", Pacific::Port_Moresby),
        Err(FieldError::NotTime { .. })
    ));
    assert!(matches!(
        date("2026-02-30"),
        Err(FieldError::NotDate { .. })
    ));
}

/// Lisbon puts its clocks forward at 01:00 on 29 March 2026, and back at 02:00 on 25 October: 01:30
/// does not exist on the one day, and comes twice on the other, first at 00:30 UTC
/// (`date -ud '2026-10-25 00:30' +%s` = 1792888200).
#[test]
fn skipped_hours_are_refused_and_of_double_ones_the_first_is_meant() {
    let skipped = local_time("2026-03-29T01:30", Europe::Lisbon);
    assert!(matches!(skipped, Err(FieldError::SkippedTime { .. })));
    assert_eq!(
        local_time("2026-10-25T01:30", Europe::Lisbon),
        Ok(1_792_888_200_000)
    );
}

#[test]
fn faults_keep_the_order_of_the_form_and_the_first_of_each_field() {
    let mut errors = FieldErrors::default();
    assert_eq!(errors.check("title", text("", 9)), None);
    assert_eq!(errors.check("pieces", integer("3", 1..=9)), Some(3));
    errors.check("mass", decimal("x", 6, 0..=1));
    errors.add("title", "something else");
    let fields: Vec<&str> = errors.iter().map(|(field, _)| field).collect();
    assert_eq!(fields, ["title", "mass"]);
    assert_eq!(errors.of("title"), "enter something here");
    assert_eq!(errors.of("pieces"), "");
}

proptest! {
    /// Whatever whole number of milligrams is written out in kilograms reads back as itself.
    #[test]
    fn decimals_read_back_as_written(value in -1_000_000_000_000_i64..1_000_000_000_000, places in 0_usize..7) {
        let written = plain_decimal(value, places);
        prop_assert_eq!(decimal(&written, places, i64::MIN..=i64::MAX), Ok(value));
    }

    #[test]
    fn no_typed_text_is_ever_a_panic(typed in ".*") {
        let _ = (decimal(&typed, 6, 0..=9), integer(&typed, 0..=9), local_time(&typed, Europe::Lisbon), date(&typed));
    }
}
