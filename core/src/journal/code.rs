//! A short code that names a place in the journal and its hash, for paper and for reading aloud.
//!
//! As `812-7K3M-9QXT-2HVB-4C5X`: the number of the entry, the first 70 bits of its hash in fourteen
//! characters, and two check characters over all before them, so that a slip in typing is told from a
//! journal that is not the one that was printed. The alphabet is 0-9 and A-Z without I, L, O and U, which
//! a hand or an eye takes for others; typed, I and L are read as 1 and O as 0. Small letters, blanks,
//! hyphens and points do not matter.
//!
//! **How sure it is.** Each entry is sealed over the hash of the one before it, so whoever changes
//! anything up to entry 812 has another hash there. That it begins with the same 70 bits happens by chance
//! once in 2^70 (1.2 * 10^21) journals. Somebody who means to forge one must seal about as many variants of
//! it: at ten thousand million sums a second (a fast graphics processor, from memory) 3700 years, and for
//! each further sheet with a later code as long again.
//!
//! **How the check works.** As the pure systems of ISO/IEC 7064 do, with radix 32 and modulus 1021: each
//! character is weighed by 32 to the power of how many stand behind it, and the sum leaves 1. 1021 is
//! prime and larger than 32, so that one wrong character, or two neighbours swapped, always change what is
//! left. Of other slips one in 1021 would pass, if they came at random.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

use super::Hash;

/// A place in the journal and the hash that it must have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeadCode {
    sequence: i64,
    /// The first [`BITS`] bits of the hash.
    bits: u128,
}

/// Characters, by their values.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// Characters for the hash, and the bits that they hold at 5 each.
const OF_HASH: usize = 14;
const BITS: u32 = 70;
/// Check characters.
const CHECKS: usize = 2;
const MODULUS: u32 = 1021;
const RADIX: u32 = 32;
/// Characters in a group, as printed.
const GROUP: usize = 4;

impl HeadCode {
    /// The code of an entry, by its number and hash.
    #[must_use]
    pub fn new(sequence: i64, hash: Hash) -> HeadCode {
        HeadCode {
            sequence,
            bits: first_bits(hash),
        }
    }

    /// Number of the entry.
    #[must_use]
    pub fn sequence(self) -> i64 {
        self.sequence
    }

    /// Whether an entry of this number and hash has this code.
    #[must_use]
    pub fn fits(self, sequence: i64, hash: Hash) -> bool {
        self == HeadCode::new(sequence, hash)
    }
}

fn first_bits(Hash(bytes): Hash) -> u128 {
    let (first, _) = bytes.split_at(16);
    let all = first
        .iter()
        .fold(0_u128, |sum, byte| (sum << 8) | u128::from(*byte));
    all >> (u128::BITS - BITS)
}

impl fmt::Display for HeadCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = self.sequence.to_string();
        let number = text.len();
        for place in (0..OF_HASH).rev() {
            let five = (self.bits >> (5 * place)) & 31;
            text.extend(character(u32::try_from(five).unwrap_or(0)));
        }
        let behind = remainder(&text, CHECKS);
        let check = (MODULUS + 1 - behind) % MODULUS;
        text.extend(character(check / RADIX));
        text.extend(character(check % RADIX));
        let (number, rest) = text.split_at(number);
        f.write_str(number)?;
        for (at, character) in rest.chars().enumerate() {
            let sign = if at % GROUP == 0 { "-" } else { "" };
            write!(f, "{sign}{character}")?;
        }
        Ok(())
    }
}

impl FromStr for HeadCode {
    type Err = InvalidCode;

    /// Reads what was typed from paper.
    fn from_str(given: &str) -> Result<HeadCode, InvalidCode> {
        let mut text = String::new();
        for typed in given.chars().filter(|it| !is_between(*it)) {
            text.push(meant(typed).ok_or_else(|| InvalidCode::Character {
                given: shown(given),
                character: typed,
            })?);
        }
        let number = text.len().checked_sub(OF_HASH + CHECKS);
        let number = number
            .filter(|digits| (1..=MOST_DIGITS).contains(digits))
            .ok_or_else(|| InvalidCode::Length {
                given: shown(given),
                length: text.len(),
            })?;
        if remainder(&text, 0) != 1 {
            return Err(InvalidCode::Check {
                given: shown(given),
            });
        }
        let (number, rest) = text.split_at(number);
        let sequence: Option<i64> = number.parse().ok();
        let sequence =
            sequence
                .filter(|number| *number > 0)
                .ok_or_else(|| InvalidCode::Number {
                    given: number.to_owned(),
                })?;
        let of_hash = rest.chars().take(OF_HASH).filter_map(value);
        let bits = of_hash.fold(0_u128, |sum, five| (sum << 5) | u128::from(five));
        Ok(HeadCode { sequence, bits })
    }
}

/// Digits of the largest number of an entry.
const MOST_DIGITS: usize = 18;
/// Characters of what was typed that an error repeats.
const SHOWN: usize = 60;

fn shown(given: &str) -> String {
    given.trim().chars().take(SHOWN).collect()
}

fn is_between(typed: char) -> bool {
    // A hyphen may come as one of its kin from a text that was set or mended by a program.
    typed.is_whitespace() || "-.\u{2010}\u{2011}\u{2012}\u{2013}\u{2014}".contains(typed)
}

/// The character of the alphabet for which one stands that was typed.
fn meant(typed: char) -> Option<char> {
    let capital = typed.to_ascii_uppercase();
    let meant = match capital {
        'I' | 'L' => '1',
        'O' => '0',
        other => other,
    };
    value(meant).map(|_| meant)
}

fn character(value: u32) -> Option<char> {
    let at = usize::try_from(value).ok()?;
    ALPHABET.get(at).map(|byte| char::from(*byte))
}

fn value(character: char) -> Option<u32> {
    let at = ALPHABET
        .iter()
        .position(|it| char::from(*it) == character)?;
    u32::try_from(at).ok()
}

/// What is left of a text's sum when it has so many characters more, all of the value 0.
fn remainder(text: &str, more: usize) -> u32 {
    let values = text.chars().filter_map(value);
    let zeros = std::iter::repeat_n(0, more);
    values
        .chain(zeros)
        .fold(0, |sum, value| (sum * RADIX + value) % MODULUS)
}

/// Why what was typed is no code of a journal's head. None of these says anything of the journal.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum InvalidCode {
    /// A character that no code has.
    #[error(
        "'{given}' has the character {character:?}, and codes are 0-9 and A-Z without U; look at the paper \
         again"
    )]
    Character {
        /// What was typed.
        given: String,
        /// The first that is not in the alphabet.
        character: char,
    },
    /// Too few or too many characters.
    #[error(
        "'{given}' has {length} characters; a code is the entry's number, and 16 more in groups of four"
    )]
    Length {
        /// What was typed.
        given: String,
        /// How many characters it has, without what stands between groups.
        length: usize,
    },
    /// The check characters do not fit.
    #[error(
        "'{given}' is not typed as it was printed: its check characters do not fit; compare it with the \
         paper, group by group"
    )]
    Check {
        /// What was typed.
        given: String,
    },
    /// What stands before the hash is no number of an entry.
    #[error("a code begins with the entry's number, from 1 on; '{given}' is none")]
    Number {
        /// What stands there.
        given: String,
    },
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A hash whose first nine bytes are told, 72 bits; the rest is 0.
    fn hash(first: [u8; 9]) -> Hash {
        let mut bytes = [0; 32];
        bytes[..9].copy_from_slice(&first);
        Hash(bytes)
    }

    /// Bits in fives: 00001 00010 00011 ... 01110 are the values 1 to 14, the characters 1 to 9 and A to E.
    /// Of entry 7 the check is over 7 1 2 ... 9 A ... E; each sum is 32 times the one before and the next
    /// value, modulo 1021: 7, 225, 55, 742, 265, 317, 961, 129, 52, 652, 454, 245, 705, 111, 503; twice
    /// 32 times more: 781, 488. So the check is 1022 - 488 = 534 = 16 * 32 + 22, the characters G and P.
    #[test]
    fn a_code_is_number_hash_and_check() {
        let mut bits: u128 = 0;
        for five in 1..=14 {
            bits = (bits << 5) | five;
        }
        let bytes = (bits << 2).to_be_bytes();
        let hash = hash(bytes[7..].try_into().expect("nine bytes"));
        let code = HeadCode::new(7, hash);
        assert_eq!(code.to_string(), "7-1234-5678-9ABC-DEGP");
        assert_eq!(code.to_string().parse(), Ok(code));
        assert_eq!(code.sequence(), 7);
    }

    /// What a hand makes of it is read all the same: no hyphens, blanks, small letters, I and L for 1, O for
    /// 0.
    #[test]
    fn a_code_is_read_as_a_hand_writes_it() {
        let code = HeadCode::new(
            1_010,
            hash([0x08, 0x42, 0x10, 0x84, 0x21, 0x08, 0x42, 0x10, 0x00]),
        );
        let printed = code.to_string();
        assert!(printed.starts_with("1010-1111-1111-1111-"), "{printed}");
        let plain = printed.replace('-', "");
        for typed in [
            plain.clone(),
            plain.to_lowercase(),
            printed.replace('-', " "),
            printed.replace('-', " \u{2013} "),
            printed.replace('1', "l"),
            printed.replace('1', "I").replace('0', "O"),
            format!("  {printed}\n"),
        ] {
            assert_eq!(typed.parse(), Ok(code), "{typed}");
        }
    }

    /// Each refusal says what was given, and that it is a matter of typing.
    #[test]
    fn a_slip_is_told_as_one() {
        let told = |typed: &str| typed.parse::<HeadCode>().expect_err(typed).to_string();
        assert!(told("").contains("'' has 0 characters"));
        assert!(told("7-1234-5678").contains("has 9 characters"));
        assert!(told("7-1234-5678-9ABC-DEU0").contains("the character 'U'"));
        assert!(told("7-1234-5678-9ABC-DE*0").contains("the character '*'"));
        let right = HeadCode::new(7, hash([0x12; 9])).to_string();
        let other = if right.ends_with('0') { "1" } else { "0" };
        let wrong = format!("{}{other}", &right[..right.len() - 1]);
        assert!(
            told(&wrong).contains("compare it with the paper"),
            "{wrong}"
        );
        assert!(told(&"7".repeat(900)).len() < 300);
    }

    /// The check is over the number too: another entry's number before the same hash does not pass.
    #[test]
    fn another_number_does_not_pass() {
        let right = HeadCode::new(812, hash([0x5a; 9])).to_string();
        let (_, rest) = right.split_once('-').expect("a hyphen");
        for number in ["811", "813", "821", "81", "182"] {
            let typed = format!("{number}-{rest}");
            assert!(typed.parse::<HeadCode>().is_err(), "{typed}");
        }
    }

    proptest! {
        /// Any code is read again, and fits its own entry alone.
        #[test]
        fn every_code_is_read_again(
            sequence in 1..=999_999_999_999_i64, bytes in any::<[u8; 32]>(), bit in 0..70_usize
        ) {
            let code = HeadCode::new(sequence, Hash(bytes));
            prop_assert_eq!(code.to_string().parse(), Ok(code));
            prop_assert!(code.fits(sequence, Hash(bytes)));
            prop_assert!(!code.fits(sequence + 1, Hash(bytes)));
            // Each of the first 70 bits counts.
            let mut other = bytes;
            other[bit / 8] ^= 0x80 >> (bit % 8);
            prop_assert!(!code.fits(sequence, Hash(other)));
        }

        /// One wrong character anywhere, or two neighbours swapped: never a code.
        #[test]
        fn any_slip_is_found(sequence in 1..=9_999_999_i64, bytes in any::<[u8; 32]>()) {
            let right = HeadCode::new(sequence, Hash(bytes)).to_string().replace('-', "");
            for at in 0..right.len() {
                for wrong in ALPHABET.iter().map(|it| char::from(*it)) {
                    if right.chars().nth(at) != Some(wrong) {
                        let mut typed = right.clone();
                        typed.replace_range(at..=at, &wrong.to_string());
                        prop_assert!(typed.parse::<HeadCode>().is_err(), "{} for {}", typed, right);
                    }
                }
                if at > 0 {
                    let mut typed: Vec<char> = right.chars().collect();
                    typed.swap(at - 1, at);
                    let typed: String = typed.into_iter().collect();
                    prop_assert!(typed == right || typed.parse::<HeadCode>().is_err(), "{} for {}", typed, right);
                }
            }
        }

        /// Whatever is typed, reading it ends in an answer, and what is read is written as it is printed.
        #[test]
        fn anything_may_be_typed(typed in "\\PC{0,60}") {
            if let Ok(code) = typed.parse::<HeadCode>() {
                prop_assert_eq!(code.to_string().parse(), Ok(code));
            }
        }
    }
}
