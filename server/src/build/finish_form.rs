//! What is weighed at the end of a build.

use mendpost_core::powder::{Allowance, MassBalance};
use mendpost_core::quantity::Milligrams;
use serde::Deserialize;

use crate::form::{FieldErrors, MOST_WEIGHED_MG, decimal, optional_text, plain_decimal};
use crate::page::grams_exact;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct FinishForm {
    /// 'done' or 'scrapped'.
    pub outcome: String,
    pub part: String,
    pub coupon: String,
    pub left: String,
    /// Empty: weighed later.
    pub swept: String,
    pub division: String,
    pub note: String,
}

/// What was weighed, in milligrams.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighed {
    pub scrapped: bool,
    pub part: i64,
    pub coupon: i64,
    /// Left in the feeder.
    pub left: i64,
    /// Went out of it: what it held by the book, less what is left.
    pub fed: i64,
    pub swept: Option<i64>,
    pub division: i64,
}

impl Weighed {
    pub fn balance(self) -> MassBalance {
        MassBalance {
            drawn: Milligrams(self.fed + self.left),
            part: Milligrams(self.part),
            coupon: Milligrams(self.coupon),
            returned: Milligrams(self.left),
            swept: Milligrams(self.swept.unwrap_or(0)),
        }
    }

    pub fn allowance(self, site: Allowance) -> Allowance {
        Allowance {
            division: Milligrams(self.division),
            ..site
        }
    }
}

impl FinishForm {
    /// What was weighed, held against what the feeder held by the book.
    pub fn parse(&self, in_feeder: i64, errors: &mut FieldErrors) -> Option<(Weighed, String)> {
        let scrapped = match self.outcome.as_str() {
            "done" => Some(false),
            "scrapped" => Some(true),
            _ => {
                errors.add("outcome", "say whether the part goes on, or is scrapped");
                None
            }
        };
        let mass = |errors: &mut FieldErrors, name: &str, typed: &str| {
            errors.check(name, decimal(typed, 3, 0..=MOST_WEIGHED_MG))
        };
        let part = mass(errors, "part", &self.part);
        let coupon = mass(errors, "coupon", &self.coupon);
        let left = mass(errors, "left", &self.left);
        let swept = match self.swept.trim() {
            "" => Some(None),
            typed => mass(errors, "swept", typed).map(Some),
        };
        let division = errors.check("division", decimal(&self.division, 3, 1..=1_000_000));
        let note = errors.check("note", optional_text(&self.note, 400));
        let note = note?.unwrap_or_default();
        if scrapped == Some(true) && note.is_empty() {
            errors.add("note", "say why it is scrapped");
        }
        let (scrapped, part, coupon, left, swept, division) =
            (scrapped?, part?, coupon?, left?, swept?, division?);
        if left > in_feeder {
            errors.add(
                "left",
                format!(
                    "by the book the feeder held {}, and {} cannot be left of it; book what was drawn first, or weigh again",
                    grams_exact(in_feeder),
                    grams_exact(left)
                ),
            );
        }
        let fed = in_feeder - left;
        let found = coupon + swept.unwrap_or(0);
        if left <= in_feeder && found > fed {
            errors.add(
                if swept.is_some() { "swept" } else { "coupon" },
                format!(
                    "{} were fed, and {} cannot be on coupons and swept up of it; weigh again, or book what was drawn first",
                    grams_exact(fed),
                    grams_exact(found)
                ),
            );
        }
        let weighed = Weighed {
            scrapped,
            part,
            coupon,
            left,
            fed,
            swept,
            division,
        };
        errors.is_empty().then_some((weighed, note))
    }

    /// With the site's division where none was typed.
    pub fn with_division(mut self, site: Allowance) -> Self {
        if self.division.is_empty() {
            self.division = plain_decimal(site.division.0, 3);
        }
        self
    }
}
