//! What is told of the broken part itself, on the report and when it comes to the cell: read one way.

use serde::Serialize;

use super::queries::Choice;
use crate::form::{FieldErrors, decimal, optional_text};

/// Whether the site has a spare, and where it lies.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NewSpare {
    /// 'yes', 'no' or 'unknown'.
    pub spare: &'static str,
    pub spare_where: String,
}

impl Default for NewSpare {
    fn default() -> Self {
        NewSpare {
            spare: "unknown",
            spare_where: String::new(),
        }
    }
}

pub const SPARES: [(&str, &str); 3] = [
    ("no", "none"),
    ("yes", "yes, there is"),
    ("unknown", "not known"),
];

/// Reads whether there is a spare; it is not known unless said.
pub fn spare(said: &str, place: &str, errors: &mut FieldErrors) -> Option<NewSpare> {
    let place = errors.check("spare_where", optional_text(place, 80))?;
    let spare = match said {
        "" | "unknown" => "unknown",
        "no" => "no",
        "yes" => "yes",
        _ => {
            errors.add(
                "spare",
                "say whether there is a spare: yes, none, or not known",
            );
            return None;
        }
    };
    match (spare, place) {
        ("yes", None) => {
            errors.add("spare_where", "say where the spare lies");
            None
        }
        ("yes", Some(place)) => Some(NewSpare {
            spare,
            spare_where: place,
        }),
        (_, Some(_)) => {
            errors.add(
                "spare_where",
                "leave the place empty, or say that there is a spare",
            );
            None
        }
        (_, None) => Some(NewSpare {
            spare,
            spare_where: String::new(),
        }),
    }
}

/// What the broken part is made of, by the metal's code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NewMetal {
    pub metal: String,
    pub known: bool,
}

pub const SURE: [(&str, &str); 2] = [("known", "known: papers or a test"), ("assumed", "assumed")];

/// Reads the base metal; within: none if nobody can say.
pub fn base_metal(
    metal: &str,
    sure: &str,
    metals: &[Choice],
    errors: &mut FieldErrors,
) -> Option<Option<NewMetal>> {
    if metal.is_empty() {
        if sure.is_empty() {
            return Some(None);
        }
        errors.add(
            "base_metal",
            "choose the metal that is known or assumed, or leave both open",
        );
        return None;
    }
    if !metals.iter().any(|known| known.code == metal) {
        errors.add("base_metal", "there is no such metal; choose from the list");
        return None;
    }
    let known = match sure {
        "known" => true,
        "assumed" => false,
        _ => {
            errors.add(
                "base_metal_known",
                "say whether the metal is known or assumed",
            );
            return None;
        }
    };
    Some(Some(NewMetal {
        metal: metal.to_owned(),
        known,
    }))
}

/// Reads the number of the tag that hangs on the part, as it is stored: in capitals.
pub fn tag(typed: &str, errors: &mut FieldErrors) -> Option<Option<String>> {
    let tag = errors.check("tag", optional_text(typed, 20))?;
    let Some(tag) = tag else {
        return Some(None);
    };
    let plain = tag
        .chars()
        .all(|letter| letter.is_ascii_alphanumeric() || "-/".contains(letter));
    if !plain {
        errors.add(
            "tag",
            "a tag has letters, figures, hyphens and strokes only, as 0417 or A-12",
        );
        return None;
    }
    Some(Some(tag.to_uppercase()))
}

/// Reads what the part weighs, in grams.
pub fn mass_g(typed: &str, errors: &mut FieldErrors) -> Option<Option<i64>> {
    if typed.trim().is_empty() {
        return Some(None);
    }
    errors
        .check("mass", decimal(typed, 3, 1..=HEAVIEST_G))
        .map(Some)
}

/// Fifty tonnes: what lies beyond is a slip of the finger.
const HEAVIEST_G: i64 = 50_000_000;

/// Reads yes or no.
pub fn danger(said: &str, errors: &mut FieldErrors) -> Option<bool> {
    match said {
        "yes" => Some(true),
        "no" => Some(false),
        _ => {
            errors.add("danger", "say whether anybody is in danger now");
            None
        }
    }
}

/// Reads the number that the maker put on the part; empty: none was found.
pub fn serial(typed: &str, errors: &mut FieldErrors) -> Option<String> {
    let serial = errors.check("serial", optional_text(typed, 40))?;
    Some(serial.unwrap_or_default())
}

pub const DANGERS: [(&str, &str); 2] = [("no", "nobody"), ("yes", "yes, somebody")];

pub const WHEREABOUTS: [(&str, &str); 2] = [("here", "at the cell"), ("arrives", "arrives later")];
