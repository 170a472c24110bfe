//! What drawings share: how wide a text is, so that labels can be placed without touching.

mod advances;
mod canvas;

pub use canvas::{Canvas, Drawing, Mark};

use advances::{BOLD, REGULAR};

/// Width of a text in pixels, set in B612 at this size.
///
/// Measured from the font's own advances; a character outside of printable ASCII counts as an
/// average one, but for the narrow space that parts thousands.
pub fn width(text: &str, px: f64, bold: bool) -> f64 {
    let table = if bold { &BOLD } else { &REGULAR };
    let units: u32 = text.chars().map(|letter| advance(table, letter)).sum();
    f64::from(units) * px / UNITS_PER_EM
}

/// As many whole words of a text as fit, without a comma or colon at the end.
pub fn fitted(text: &str, px: f64, bold: bool, room: f64) -> String {
    let mut fitted = String::new();
    for word in text.split(' ') {
        let longer = if fitted.is_empty() {
            word.to_owned()
        } else {
            format!("{fitted} {word}")
        };
        if width(&longer, px, bold) > room {
            break;
        }
        fitted = longer;
    }
    fitted.trim_end_matches([',', ':', ';']).to_owned()
}

/// A whole number as a length on a page.
#[expect(clippy::cast_precision_loss, reason = "lengths on a page are small")]
pub const fn px(value: i64) -> f64 {
    value as f64
}

/// A length in whole pixels, rounded up.
#[expect(
    clippy::cast_possible_truncation,
    reason = "lengths on a page are small"
)]
pub const fn whole_px(length: f64) -> i64 {
    length.ceil() as i64
}

const UNITS_PER_EM: f64 = 2000.0;
const NARROW_SPACE: u32 = 350;
const AVERAGE: u32 = 1200;

fn advance(table: &[u16], letter: char) -> u32 {
    let printable = u32::from(letter)
        .checked_sub(32)
        .and_then(|n| usize::try_from(n).ok());
    match (letter, printable.and_then(|n| table.get(n))) {
        ('\u{202f}' | '\u{2009}', _) => NARROW_SPACE,
        (_, Some(units)) => u32::from(*units),
        _ => AVERAGE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All figures of B612 are 0.650 em wide: four of them at 15 px are 39 px.
    #[test]
    fn figures_are_of_one_width() {
        assert!((width("0417", 15.0, false) - 39.0).abs() < 0.01);
        assert!((width("1111", 15.0, true) - 39.0).abs() < 0.01);
    }
}
