//! Quantities as text: thousands parted by a thin space that never breaks a line, the unit after a plain one.

/// A whole number, as '6 480'.
pub fn whole(value: i64) -> String {
    let figures = value.unsigned_abs().to_string();
    let mut text = String::from(if value < 0 { "-" } else { "" });
    for (place, figure) in figures.chars().enumerate() {
        if place > 0 && (figures.len() - place).is_multiple_of(3) {
            text.push(THIN_SPACE);
        }
        text.push(figure);
    }
    text
}

/// Milligrams in grams, rounded down: what is on hand, as '6 480 g'.
pub fn grams_down(milligrams: i64) -> String {
    format!("{} g", whole(milligrams.div_euclid(1000)))
}

/// Milligrams in grams, rounded up: what is needed.
pub fn grams_up(milligrams: i64) -> String {
    format!("{} g", whole(ceiling(milligrams, 1000)))
}

/// Milligrams in grams, exactly: what moved, as '1 204.5 g'.
pub fn grams_exact(milligrams: i64) -> String {
    let sign = if milligrams < 0 { "-" } else { "" };
    let (grams, rest) = (
        milligrams.unsigned_abs() / 1000,
        milligrams.unsigned_abs() % 1000,
    );
    let grams = whole(i64::try_from(grams).unwrap_or(i64::MAX));
    match rest {
        0 => format!("{sign}{grams} g"),
        rest => format!(
            "{sign}{grams}.{} g",
            format!("{rest:03}").trim_end_matches('0')
        ),
    }
}

/// Milligrams in kilograms with one decimal, rounded down: what is on hand, as '2.4 kg'.
pub fn kilograms_down(milligrams: i64) -> String {
    format!("{} kg", tenths(milligrams.div_euclid(100_000)))
}

/// Milligrams in kilograms with one decimal, rounded up: what is needed.
pub fn kilograms_up(milligrams: i64) -> String {
    format!("{} kg", tenths(ceiling(milligrams, 100_000)))
}

/// Minutes, as '45 min', '2 h 10 min' or '3 d 4 h'; from three days on, minutes are rounded off.
pub fn minutes(minutes: i64) -> String {
    let sign = if minutes < 0 { "-" } else { "" };
    let minutes = minutes.unsigned_abs();
    let (large, small) = match minutes {
        0..60 => return format!("{sign}{minutes} min"),
        60..4320 => ((minutes / 60, "h"), (minutes % 60, "min")),
        _ => {
            let hours = (minutes + 30) / 60;
            ((hours / 24, "d"), (hours % 24, "h"))
        }
    };
    match small {
        (0, _) => format!("{sign}{} {}", large.0, large.1),
        (rest, unit) => format!("{sign}{} {} {rest} {unit}", large.0, large.1),
    }
}

/// Loss as plans count it, rate per hour times minutes, in units of the hourly rate, rounded to whole
/// ones: 90 an hour over 50 minutes are 4 500, shown as '75'.
pub fn loss(rate_minutes: i64) -> String {
    whole((rate_minutes.saturating_add(30)).div_euclid(60))
}

/// The same as filters, for templates: `{{ lot.on_hand_mg|grams_down }}`. A page module brings them in
/// with `use crate::page::filters;`.
pub mod filters {
    use std::borrow::Borrow;

    use askama::{Result, Values};

    #[askama::filter_fn]
    pub fn whole<I: Borrow<i64>>(value: I, _: &dyn Values) -> Result<String> {
        Ok(super::whole(*value.borrow()))
    }

    #[askama::filter_fn]
    pub fn grams_down<I: Borrow<i64>>(milligrams: I, _: &dyn Values) -> Result<String> {
        Ok(super::grams_down(*milligrams.borrow()))
    }

    #[askama::filter_fn]
    pub fn grams_up<I: Borrow<i64>>(milligrams: I, _: &dyn Values) -> Result<String> {
        Ok(super::grams_up(*milligrams.borrow()))
    }

    #[askama::filter_fn]
    pub fn kilograms_down<I: Borrow<i64>>(milligrams: I, _: &dyn Values) -> Result<String> {
        Ok(super::kilograms_down(*milligrams.borrow()))
    }

    #[askama::filter_fn]
    pub fn kilograms_up<I: Borrow<i64>>(milligrams: I, _: &dyn Values) -> Result<String> {
        Ok(super::kilograms_up(*milligrams.borrow()))
    }

    #[askama::filter_fn]
    pub fn minutes<I: Borrow<i64>>(minutes: I, _: &dyn Values) -> Result<String> {
        Ok(super::minutes(*minutes.borrow()))
    }

    #[askama::filter_fn]
    pub fn loss<I: Borrow<i64>>(rate_minutes: I, _: &dyn Values) -> Result<String> {
        Ok(super::loss(*rate_minutes.borrow()))
    }
}

const THIN_SPACE: char = '\u{202f}';

fn ceiling(value: i64, unit: i64) -> i64 {
    value.div_euclid(unit) + i64::from(value.rem_euclid(unit) > 0)
}

fn tenths(tenths: i64) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    let magnitude = tenths.unsigned_abs();
    let whole_part = i64::try_from(magnitude / 10).map(whole).unwrap_or_default();
    format!("{sign}{whole_part}.{}", magnitude % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_parted_by_thin_spaces() {
        for (value, text) in [
            (0, "0"),
            (999, "999"),
            (6480, "6\u{202f}480"),
            (-1_234_567, "-1\u{202f}234\u{202f}567"),
            (
                i64::MIN,
                "-9\u{202f}223\u{202f}372\u{202f}036\u{202f}854\u{202f}775\u{202f}808",
            ),
        ] {
            assert_eq!(whole(value), text);
        }
    }

    /// 2 400 001 mg: on hand are 2 400 g, needed are 2 401 g; in kilograms 2.4 and 2.5.
    #[test]
    fn stock_rounds_down_and_need_rounds_up() {
        assert_eq!(grams_down(2_400_001), "2\u{202f}400 g");
        assert_eq!(grams_up(2_400_001), "2\u{202f}401 g");
        assert_eq!(kilograms_down(2_400_001), "2.4 kg");
        assert_eq!(kilograms_up(2_400_001), "2.5 kg");
        assert_eq!(grams_up(2_400_000), "2\u{202f}400 g");
        // What moved is exact.
        assert_eq!(grams_exact(-2_400_050), "-2\u{202f}400.05 g");
        assert_eq!(grams_exact(1_000), "1 g");
        // A count below nothing is never shown as nothing.
        assert_eq!(grams_down(-1), "-1 g");
        assert_eq!(kilograms_down(-1), "-0.1 kg");
    }

    #[test]
    fn durations_use_two_units_at_most() {
        for (given, text) in [
            (0, "0 min"),
            (45, "45 min"),
            (60, "1 h"),
            (130, "2 h 10 min"),
            (4319, "71 h 59 min"),
            (4320, "3 d"),
            (4590, "3 d 5 h"),
            (-130, "-2 h 10 min"),
        ] {
            assert_eq!(minutes(given), text);
        }
    }

    /// 90 an hour x 50 min = 4 500 / 60 = 75. 90 x 51 = 4 590 / 60 = 76.5, rounded up to 77.
    #[test]
    fn loss_is_rate_times_hours() {
        assert_eq!(loss(90 * 50), "75");
        assert_eq!(loss(90 * 51), "77");
        assert_eq!(loss(1_000 * 60 * 12), "12\u{202f}000");
    }
}
