//! A handover as it is told, signed and kept.

use serde::{Deserialize, Serialize};

use super::{Fact, Record, Risk, Trigger, facts, risk, triggers};

/// A handover as it was told: its record, with what follows from it as it was found then.
///
/// What it is judged by when it is taken over stands in it, and is not found anew by a later program.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Told {
    /// What is told.
    pub record: Record,
    /// What makes it one of higher risk.
    pub triggers: Vec<Trigger>,
    /// What the receiver looks at.
    pub facts: Vec<Fact>,
}

impl Told {
    /// A record that is told now.
    #[must_use]
    pub fn of(record: Record) -> Told {
        Told {
            triggers: triggers(&record),
            facts: facts(&record),
            record,
        }
    }

    /// How it must be heard.
    #[must_use]
    pub fn risk(&self) -> Risk {
        risk(&self.triggers)
    }
}
