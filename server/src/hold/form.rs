//! What was typed about a part on hold.

use mendpost_core::catalogue::Came;
use serde::Deserialize;

use super::Verdict;
use super::rework::Back;
use crate::form::{FieldErrors, choice, text};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct JudgeForm {
    pub verdict: String,
    pub position: String,
    pub said_by: String,
    pub came: String,
    pub reason: String,
    pub sign_passphrase: String,
}

/// What was judged, as it will be recorded.
pub struct New {
    pub verdict: Verdict,
    /// Place and name of the operation to which it goes back.
    pub position: Option<(i64, String)>,
    pub said_by: String,
    pub came: Came,
    pub reason: String,
}

impl JudgeForm {
    pub fn parse(&self, back: Option<&Back>, errors: &mut FieldErrors) -> Option<New> {
        let verdict = errors.check("verdict", choice::<Verdict>(&self.verdict));
        let said_by = errors.check("said_by", text(&self.said_by, 80));
        let came = errors.check("came", choice::<Came>(&self.came));
        let reason = errors.check("reason", text(&self.reason, 400));
        let position = match (verdict, back) {
            (Some(Verdict::Rework), Some(back)) => match back.chosen(&self.position) {
                Ok(chosen) => Some(Some(chosen.clone())),
                Err(fault) => {
                    errors.add("position", fault);
                    None
                }
            },
            (Some(Verdict::Rework), None) => {
                errors.add("verdict", "nothing is done of it that could be done again");
                None
            }
            _ => Some(None),
        };
        Some(New {
            verdict: verdict?,
            position: position?,
            said_by: said_by?,
            came: came?,
            reason: reason?,
        })
    }
}
