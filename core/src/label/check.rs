//! Check characters by ISO/IEC 7064, MOD 1271-36: two for a text of 0-9 and A-Z.
//!
//! The values of the characters are 0 to 9 for the figures and 10 to 35 for A to Z. Each character is
//! weighed by 36 to the power of how many stand behind it, and of a text with its check characters the
//! sum leaves 1 when divided by 1271. 36 and 1271 have no factor in common, nor have 35 and 1271; so
//! one wrong character, or two neighbours swapped, always change what is left. Of all other faults one
//! in 1271 would pass, if they came at random.
//!
//! MOD 37,36 of the same standard has one character only, but misses 36 of the 22 680 ways in which two
//! neighbours can be swapped, as 01 for 10 where the sum before them is right for it.

/// How many check characters there are.
pub(crate) const LENGTH: usize = 2;

const MODULUS: u32 = 1271;
const RADIX: u32 = 36;

/// The check characters of a text of 0-9 and A-Z.
pub(crate) fn characters(text: &str) -> String {
    let behind = remainder(text, LENGTH);
    let value = (MODULUS + 1 - behind) % MODULUS;
    [value / RADIX, value % RADIX]
        .into_iter()
        .filter_map(|digit| char::from_digit(digit, RADIX))
        .map(|digit| digit.to_ascii_uppercase())
        .collect()
}

/// The text before its check characters, if they fit and all of it is 0-9 and A-Z.
pub(crate) fn checked(text: &str) -> Option<&str> {
    let of_ours = |c: char| c.is_ascii_digit() || c.is_ascii_uppercase();
    let length = text.len().checked_sub(LENGTH)?;
    let fits = text.chars().all(of_ours) && remainder(text, 0) == 1;
    fits.then(|| &text[..length])
}

/// What is left of a text's sum when it has so many characters more, all of the value 0.
fn remainder(text: &str, more: usize) -> u32 {
    let values = text.chars().filter_map(|c| c.to_digit(RADIX));
    let zeros = std::iter::repeat_n(0, more);
    values
        .chain(zeros)
        .fold(0, |sum, value| (sum * RADIX + value) % MODULUS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The standard's own example: 'ISO 79' is followed by '3W' (from memory).
    #[test]
    fn the_published_example_has_its_check_characters() {
        assert_eq!(characters("ISO79"), "3W");
        assert_eq!(checked("ISO793W"), Some("ISO79"));
    }

    /// What is too short, or has other characters in it, has no check characters that fit.
    #[test]
    fn other_texts_do_not_fit() {
        for text in [
            "", "1", "W", "iso793w", "ISO 793W", "ISO79", "ISO793V", "ÄSO793W",
        ] {
            assert_eq!(checked(text), None, "{text}");
        }
    }
}
