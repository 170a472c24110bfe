use chrono_tz::Tz;
use mendpost_core::situation::Damage;
use serde::{Deserialize, Serialize};

use super::particulars::{self, NewMetal, NewSpare};
use super::queries::Choice;
use super::times::Times;
use crate::form::{FieldErrors, choice, optional_text, text};

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
    /// Damaged: since when the machine is down.
    pub down_since: String,
    /// Worn: when it will fail, or 'yes' if nobody can say.
    pub fails_at: String,
    pub no_date: String,
    /// Interim: when it must come off.
    pub take_off_at: String,
    pub description: String,
    pub danger: String,
    pub asked_by: String,
    pub needed_by: String,
    pub broken_part: String,
    pub arrives_at: String,
    pub spare: String,
    pub spare_where: String,
    pub base_metal: String,
    pub base_metal_known: String,
    pub tag: String,
    pub mass: String,
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
    #[serde(flatten)]
    pub spare: NewSpare,
    pub base_metal: Option<NewMetal>,
    pub tag: Option<String>,
    pub mass_g: Option<i64>,
}

/// How the machine stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(tag = "machine", rename_all = "kebab-case")]
pub enum Machine {
    /// Stopped at this time.
    Down { since_ms: i64 },
    /// Runs, and is expected to stop at this time.
    Expected { fails_ms: i64 },
    /// Runs on an interim part until that must come off.
    Interim { take_off_ms: i64 },
    /// Runs, and nobody can say for how long.
    Runs,
}

/// What a request may name.
pub struct Known {
    pub assets: Vec<Choice>,
    pub parts: Vec<Choice>,
    pub metals: Vec<Choice>,
}

impl RequestForm {
    /// A blank form: most parts are reported because a machine has stopped.
    pub fn blank(asset: String) -> Self {
        RequestForm {
            asset,
            damage: Damage::Damaged.to_string(),
            broken_part: "here".to_owned(),
            spare: "unknown".to_owned(),
            ..RequestForm::default()
        }
    }

    /// The request, or every fault of the form; `files` is how many photos came with it.
    pub fn parse(
        &self,
        known: &Known,
        files: usize,
        zone: Tz,
        now: i64,
    ) -> Result<NewRequest, FieldErrors> {
        let mut errors = FieldErrors::default();
        let times = Times { zone, now };
        let asset = self.asset(&known.assets, &mut errors);
        let (part, part_name) = self.part(&known.parts, &mut errors);
        let damage = errors.check("damage", choice(&self.damage));
        let machine = damage.and_then(|damage| self.machine(damage, &times, &mut errors));
        let description = self.description(files, &mut errors);
        let danger = particulars::danger(&self.danger, &mut errors);
        let asked_by = errors.check("asked_by", text(&self.asked_by, 80));
        let needed_by_ms = self.needed_by(machine, &times, &mut errors);
        let at_cell_ms = times.at_cell(&self.broken_part, &self.arrives_at, &mut errors);
        let spare = particulars::spare(&self.spare, &self.spare_where, &mut errors);
        let (metal, sure) = (&self.base_metal, &self.base_metal_known);
        let base_metal = particulars::base_metal(metal, sure, &known.metals, &mut errors);
        let tag = particulars::tag(&self.tag, &mut errors);
        let mass_g = particulars::mass_g(&self.mass, &mut errors);
        let whole = || {
            Some(NewRequest {
                asset: asset?,
                part: part?,
                part_name: part_name?,
                damage: damage?,
                description: description?,
                machine: machine?,
                asked_by: asked_by?,
                needed_by_ms: needed_by_ms?,
                danger: danger?,
                at_cell_ms: at_cell_ms?,
                spare: spare?,
                base_metal: base_metal?,
                tag: tag?,
                mass_g: mass_g?,
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

    /// A part of the catalogue, or that it is not listed; and what the crew calls it.
    fn part(
        &self,
        parts: &[Choice],
        errors: &mut FieldErrors,
    ) -> (Option<Option<String>>, Option<Option<String>>) {
        let part = match self.part.as_str() {
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
        };
        let name = errors.check("part_name", optional_text(&self.part_name, 80));
        if part == Some(None) && name == Some(None) {
            errors.add(
                "part_name",
                "say what the part is called; it is not in the list",
            );
        }
        (part, name)
    }

    /// What the matter is says which of the dates counts; the others must be empty.
    fn machine(&self, damage: Damage, times: &Times, errors: &mut FieldErrors) -> Option<Machine> {
        let before = errors.iter().count();
        let dates = [
            (
                Damage::Damaged,
                "down_since",
                self.down_since.trim(),
                "damaged",
            ),
            (Damage::Worn, "fails_at", self.fails_at.trim(), "worn"),
            (Damage::Worn, "no_date", self.no_date.trim(), "worn"),
            (
                Damage::Interim,
                "take_off_at",
                self.take_off_at.trim(),
                "interim",
            ),
        ];
        for (of, field, typed, word) in dates {
            if of != damage && !typed.is_empty() {
                errors.add(field, format!("leave this empty, or choose '{word}'"));
            }
        }
        let machine = match damage {
            Damage::Damaged if self.down_since.trim().is_empty() => Some(Machine::Down {
                since_ms: times.this_minute(),
            }),
            Damage::Damaged => times
                .past("down_since", &self.down_since, errors)
                .map(|since_ms| Machine::Down { since_ms }),
            Damage::Worn => self.worn(times, errors),
            Damage::Interim if self.take_off_at.trim().is_empty() => {
                errors.add("take_off_at", "enter the date by which it must come off");
                None
            }
            Damage::Interim => times
                .to_come("take_off_at", &self.take_off_at, errors)
                .map(|take_off_ms| Machine::Interim { take_off_ms }),
        };
        machine.filter(|_| errors.iter().count() == before)
    }

    fn worn(&self, times: &Times, errors: &mut FieldErrors) -> Option<Machine> {
        match (self.fails_at.trim(), self.no_date.as_str()) {
            ("", "yes") => Some(Machine::Runs),
            ("", _) => {
                errors.add(
                    "fails_at",
                    "enter when it is expected to fail, or tick 'no date known'",
                );
                None
            }
            (_, "yes") => {
                errors.add(
                    "fails_at",
                    "leave the date empty, or take off 'no date known'",
                );
                None
            }
            (at, _) => times
                .to_come("fails_at", at, errors)
                .map(|fails_ms| Machine::Expected { fails_ms }),
        }
    }

    /// In words, unless a photo shows it.
    fn description(&self, files: usize, errors: &mut FieldErrors) -> Option<String> {
        let told = errors.check("description", optional_text(&self.description, 2000))?;
        if told.is_none() && files == 0 {
            errors.add(
                "description",
                "say in a few words what is broken, or add a photo",
            );
            return None;
        }
        Some(told.unwrap_or_default())
    }

    /// An interim part is wanted replaced by the day on which it must come off.
    fn needed_by(
        &self,
        machine: Option<Machine>,
        times: &Times,
        errors: &mut FieldErrors,
    ) -> Option<Option<i64>> {
        match machine {
            Some(Machine::Interim { take_off_ms }) => {
                if self.needed_by.trim().is_empty() {
                    return Some(Some(take_off_ms));
                }
                let words = "leave this empty: an interim part is replaced by its take-off date";
                errors.add("needed_by", words);
                None
            }
            _ => times.to_come_if("needed_by", &self.needed_by, errors),
        }
    }
}

/// What somebody sent in place of a code, cut to what fits on a line.
fn short(given: &str) -> String {
    let cut: String = given.chars().take(40).collect();
    format!("'{cut}'")
}
