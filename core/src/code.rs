//! Codes: the short human numbers by which the crew, the files and the plans name things.
//!
//! The database has ids of its own; the computation knows only codes, so that a problem, a plan
//! and a reason can be read aloud as they stand.

use serde::{Deserialize, Serialize};

/// The longest code, in characters: what still fits on a label and in a column of the line-up.
pub const CODE_MAX: usize = 40;

/// Why a text is no code.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum InvalidCode {
    /// Nothing was given.
    #[error("a code is missing; give 1 to {CODE_MAX} characters")]
    Empty,
    /// More than [`CODE_MAX`] characters.
    #[error("'{given}' has {length} characters; a code has at most {CODE_MAX}")]
    TooLong {
        /// The text as given.
        given: String,
        /// Its length in characters.
        length: usize,
    },
    /// A character that cannot be read aloud or printed on a label.
    #[error("'{given}' has the character {character:?}; use letters, figures, {allowed}")]
    Character {
        /// The text as given.
        given: String,
        /// The first character that is not allowed.
        character: char,
        /// What is allowed besides letters and figures.
        allowed: &'static str,
    },
    /// Nothing would be found under it: see [`new_code`].
    #[error(
        "'{given}' cannot be found by an address; leave out '/', and do not call it '.', '..' or 'new'"
    )]
    NoAddress {
        /// The text as given.
        given: String,
    },
    /// Nothing would be found under it: see [`new_label`].
    #[error("'{given}' cannot be found by an address; call it something else than '.' and '..'")]
    Dots {
        /// The text as given.
        given: String,
    },
}

/// The code of something that is not listed yet: as any code, and one step of an address, so that what it
/// names has a page of its own.
///
/// A code that stands on record is read as it is.
///
/// '.' and '..' are taken out of an address on its way (RFC 3986, 5.2.4), '/' parts two steps, and under
/// 'new' stands the form for something new.
///
/// # Errors
/// What is wrong with it, and what is allowed.
pub fn new_code<T: std::str::FromStr<Err = InvalidCode>>(text: &str) -> Result<T, InvalidCode> {
    let code = text.parse().map_err(without_slash)?;
    let given = text.trim();
    let no_step = given.contains('/') || matches!(given, "." | "..");
    if no_step || given.eq_ignore_ascii_case("new") {
        return Err(InvalidCode::NoAddress {
            given: given.to_owned(),
        });
    }
    Ok(code)
}

fn without_slash(mut fault: InvalidCode) -> InvalidCode {
    if let InvalidCode::Character { allowed, .. } = &mut fault {
        *allowed = "'-', '.' and '+'";
    }
    fault
}

/// The code on the label of something that is not listed yet: an asset, a capability or a lot. Their pages
/// write '/' in an address as '%2F', so that only '.' and '..' name no page.
///
/// # Errors
/// What is wrong with it, and what is allowed.
pub fn new_label<T: std::str::FromStr<Err = InvalidCode>>(text: &str) -> Result<T, InvalidCode> {
    let code = text.parse()?;
    let given = text.trim();
    match given {
        "." | ".." => Err(InvalidCode::Dots {
            given: given.to_owned(),
        }),
        _ => Ok(code),
    }
}

/// A code as written, without the spaces around it.
pub(crate) fn checked(text: &str) -> Result<String, InvalidCode> {
    let text = text.trim();
    let length = text.chars().count();
    if length == 0 {
        return Err(InvalidCode::Empty);
    }
    if length > CODE_MAX {
        return Err(InvalidCode::TooLong {
            given: text.to_owned(),
            length,
        });
    }
    let bad = text
        .chars()
        .find(|c| !(c.is_ascii_alphanumeric() || "-./+".contains(*c)));
    match bad {
        Some(character) => Err(InvalidCode::Character {
            given: text.to_owned(),
            character,
            allowed: "'-', '.', '/' and '+'",
        }),
        None => Ok(text.to_owned()),
    }
}

macro_rules! codes {
    ($($(#[$doc:meta])* $name:ident;)+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// The code as written.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl std::str::FromStr for $name {
            type Err = InvalidCode;
            fn from_str(text: &str) -> Result<Self, InvalidCode> {
                checked(text).map(Self)
            }
        }

        impl TryFrom<String> for $name {
            type Error = InvalidCode;
            fn try_from(text: String) -> Result<Self, InvalidCode> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(code: $name) -> String {
                code.0
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&self.0)
            }
        }
    )+};
}

codes! {
    /// A machine of the site.
    AssetCode;
    /// Something the site needs done.
    CapabilityCode;
    /// A delivery expected.
    DeliveryCode;
    /// A container of powder.
    ContainerCode;
    /// A numbered lot of powder.
    LotCode;
    /// A catalogue entry.
    PartCode;
    /// A metal that parts are made of.
    MetalCode;
    /// A powder: one alloy in one size range.
    PowderCode;
    /// How a part is made; its revisions share the code.
    RecipeCode;
    /// One part damaged.
    RequestCode;
    /// A furnace, mill, bench.
    StationCode;
    /// A bank of gas bottles.
    BankCode;
    /// A plate that is sprayed on, or a fixture that holds a part.
    KitCode;
    /// A stock number of the depot.
    ItemCode;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is on record keeps a code that nothing new is given.
    #[test]
    fn a_new_code_can_be_found_by_an_address() {
        for no_step in [".", " .. ", "/", "AB/1", "new", "New"] {
            let given = no_step.trim().to_owned();
            let told = Err(InvalidCode::NoAddress { given });
            assert_eq!(new_code::<PartCode>(no_step), told);
            assert!(no_step.parse::<PartCode>().is_ok(), "{no_step}");
        }
        for step in ["...", "newer", "A.1", "+"] {
            assert_eq!(new_code(step), step.parse::<PartCode>());
        }
        assert_eq!(new_code::<PartCode>(""), Err(InvalidCode::Empty));
    }

    /// What stands on a label may have '/' in it, as 26/0417 for the 417th lot of 2026.
    #[test]
    fn a_new_label_is_no_dots() {
        for dots in [".", " .. "] {
            let given = dots.trim().to_owned();
            assert_eq!(new_label::<LotCode>(dots), Err(InvalidCode::Dots { given }));
        }
        for label in ["26/0417", "new", "...", "/"] {
            assert_eq!(new_label(label), label.parse::<LotCode>());
        }
        assert_eq!(new_label::<LotCode>(""), Err(InvalidCode::Empty));
    }

    /// A code says what is wrong with it, and what is allowed.
    #[test]
    fn a_code_is_short_and_can_be_read_aloud() {
        assert_eq!(
            " L0417 ".parse::<LotCode>().map(String::from),
            Ok("L0417".to_owned())
        );
        assert_eq!("".parse::<LotCode>(), Err(InvalidCode::Empty));
        let told = |fault: Option<InvalidCode>| fault.map(|fault| fault.to_string());
        assert_eq!(
            told(new_label::<LotCode>("L 0417").err()).as_deref(),
            Some("'L 0417' has the character ' '; use letters, figures, '-', '.', '/' and '+'")
        );
        assert_eq!(
            told(new_code::<PartCode>("P 1").err()).as_deref(),
            Some("'P 1' has the character ' '; use letters, figures, '-', '.' and '+'")
        );
        let long = "x".repeat(41);
        assert_eq!(
            long.parse::<LotCode>(),
            Err(InvalidCode::TooLong {
                given: long,
                length: 41
            })
        );
    }
}
