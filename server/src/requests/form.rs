use chrono_tz::Tz;
use mendpost_core::situation::Damage;
use serde::{Deserialize, Serialize};

use super::queries::Choice;
use crate::form::{FieldErrors, choice, local_time, optional_text, text};
use crate::page::age;

/// The choice for a part that the catalogue does not hold.
pub const NOT_LISTED: &str = "not-listed";

/// What was typed about a damaged part.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct RequestForm {
    pub asset: String,
    pub part: String,
    pub part_name: String,
    pub damage: String,
    pub description: String,
    pub machine: String,
    pub machine_at: String,
    pub asked_by: String,
    pub needed_by: String,
    pub danger: String,
    pub broken_part: String,
    pub arrives_at: String,
}

/// A request as it will be filed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NewRequest {
    pub asset: String,
    /// Code of the catalogue entry; none if it is not listed.
    pub part: Option<String>,
    /// What the crew calls the part; the catalogue's name if nothing was typed.
    pub part_name: Option<String>,
    pub damage: Damage,
    pub description: String,
    #[serde(flatten)]
    pub machine: Machine,
    pub asked_by: String,
    pub needed_by_ms: Option<i64>,
    pub danger: bool,
    pub at_cell_ms: Option<i64>,
}

/// How the machine stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(tag = "machine", rename_all = "kebab-case")]
pub enum Machine {
    /// Stopped at this time.
    Down { since_ms: i64 },
    /// Runs, and is expected to stop at this time.
    Expected { fails_ms: i64 },
    /// Runs, and nobody can say for how long.
    Runs,
}

impl RequestForm {
    /// A blank form: most parts are reported because a machine has stopped.
    pub fn blank() -> Self {
        RequestForm {
            damage: Damage::Damaged.to_string(),
            machine: "down".to_owned(),
            danger: "no".to_owned(),
            broken_part: "here".to_owned(),
            ..RequestForm::default()
        }
    }

    /// The request, or every fault of the form.
    pub fn parse(
        &self,
        assets: &[Choice],
        parts: &[Choice],
        zone: Tz,
        now: i64,
    ) -> Result<NewRequest, FieldErrors> {
        let mut errors = FieldErrors::default();
        let times = Times { zone, now };
        let asset = self.asset(assets, &mut errors);
        let part = self.part(parts, &mut errors);
        let part_name = errors.check("part_name", optional_text(&self.part_name, 80));
        if part == Some(None) && part_name == Some(None) {
            errors.add(
                "part_name",
                "say what the part is called; it is not in the list",
            );
        }
        let damage = errors.check("damage", choice(&self.damage));
        let description = errors.check("description", optional_text(&self.description, 2000));
        let machine = self.machine(&times, &mut errors);
        let asked_by = errors.check("asked_by", text(&self.asked_by, 80));
        let needed_by_ms = times.to_come_if("needed_by", &self.needed_by, &mut errors);
        let danger = self.danger(&mut errors);
        let at_cell_ms = self.at_cell(&times, &mut errors);
        let whole = || {
            Some(NewRequest {
                asset: asset?,
                part: part?,
                part_name: part_name?,
                damage: damage?,
                description: description?.unwrap_or_default(),
                machine: machine?,
                asked_by: asked_by?,
                needed_by_ms: needed_by_ms?,
                danger: danger?,
                at_cell_ms: at_cell_ms?,
            })
        };
        whole().filter(|_| errors.is_empty()).ok_or(errors)
    }

    fn asset(&self, assets: &[Choice], errors: &mut FieldErrors) -> Option<String> {
        if self.asset.is_empty() {
            errors.add("asset", "choose the machine");
            return None;
        }
        let known = assets.iter().any(|asset| asset.code == self.asset);
        if !known {
            errors.add(
                "asset",
                format!(
                    "there is no machine {}; choose from the list",
                    short(&self.asset)
                ),
            );
        }
        known.then(|| self.asset.clone())
    }

    /// A part of the catalogue, or that it is not listed.
    fn part(&self, parts: &[Choice], errors: &mut FieldErrors) -> Option<Option<String>> {
        match self.part.as_str() {
            "" => {
                errors.add("part", "choose the part, or 'not listed'");
                None
            }
            NOT_LISTED => Some(None),
            code if parts.iter().any(|part| part.code == code) => Some(Some(code.to_owned())),
            code => {
                errors.add(
                    "part",
                    format!(
                        "the catalogue has no part {}; choose from the list, or 'not listed'",
                        short(code)
                    ),
                );
                None
            }
        }
    }

    fn machine(&self, times: &Times, errors: &mut FieldErrors) -> Option<Machine> {
        let at = self.machine_at.trim();
        match self.machine.as_str() {
            "down" if at.is_empty() => Some(Machine::Down {
                since_ms: times.this_minute(),
            }),
            "down" => times
                .past("machine_at", at, errors)
                .map(|since_ms| Machine::Down { since_ms }),
            "expected" => times
                .to_come("machine_at", at, errors)
                .map(|fails_ms| Machine::Expected { fails_ms }),
            "runs" if at.is_empty() => Some(Machine::Runs),
            "runs" => {
                errors.add(
                    "machine_at",
                    "leave the time empty, or choose 'runs, will fail at'",
                );
                None
            }
            _ => {
                errors.add("machine", "say whether the machine is down or still runs");
                None
            }
        }
    }

    fn danger(&self, errors: &mut FieldErrors) -> Option<bool> {
        match self.danger.as_str() {
            "yes" => Some(true),
            "no" => Some(false),
            _ => {
                errors.add("danger", "say yes or no");
                None
            }
        }
    }

    /// When the broken part comes to the cell; within: none if it is there.
    fn at_cell(&self, times: &Times, errors: &mut FieldErrors) -> Option<Option<i64>> {
        let at = self.arrives_at.trim();
        match self.broken_part.as_str() {
            "here" if at.is_empty() => Some(None),
            "here" => {
                errors.add(
                    "arrives_at",
                    "leave the time empty, or choose 'arrives later'",
                );
                None
            }
            "arrives" => times.to_come("arrives_at", at, errors).map(Some),
            _ => {
                errors.add("broken_part", "say whether the broken part is at the cell");
                None
            }
        }
    }
}

/// A year: what lies further away than that is a slip of the finger.
const FARTHEST_MS: i64 = 366 * 24 * 3_600_000;

struct Times {
    zone: Tz,
    now: i64,
}

impl Times {
    /// What is seen at a moment is seen by whole minutes: what stops now is down in this one.
    fn this_minute(&self) -> i64 {
        self.now - self.now.rem_euclid(60_000)
    }

    fn past(&self, field: &str, typed: &str, errors: &mut FieldErrors) -> Option<i64> {
        let at = errors.check(field, local_time(typed, self.zone))?;
        if at > self.now {
            errors.add(
                field,
                format!(
                    "that is {}; give a time up to now, or choose that the machine runs",
                    self.distance(at)
                ),
            );
            return None;
        }
        self.within_a_year(field, at, errors)
    }

    fn to_come(&self, field: &str, typed: &str, errors: &mut FieldErrors) -> Option<i64> {
        let at = errors.check(field, local_time(typed, self.zone))?;
        if at <= self.now {
            errors.add(
                field,
                format!("that was {}; give a time to come", self.distance(at)),
            );
            return None;
        }
        self.within_a_year(field, at, errors)
    }

    fn to_come_if(
        &self,
        field: &str,
        typed: &str,
        errors: &mut FieldErrors,
    ) -> Option<Option<i64>> {
        if typed.trim().is_empty() {
            return Some(None);
        }
        self.to_come(field, typed, errors).map(Some)
    }

    fn within_a_year(&self, field: &str, at: i64, errors: &mut FieldErrors) -> Option<i64> {
        if at.abs_diff(self.now) > FARTHEST_MS.unsigned_abs() {
            errors.add(
                field,
                format!(
                    "that is more than a year away, {}; look at the year",
                    self.distance(at)
                ),
            );
            return None;
        }
        Some(at)
    }

    fn distance(&self, at: i64) -> String {
        age(at, self.now)
    }
}

/// What somebody sent in place of a code, cut to what fits on a line.
fn short(given: &str) -> String {
    let cut: String = given.chars().take(40).collect();
    format!("'{cut}'")
}
