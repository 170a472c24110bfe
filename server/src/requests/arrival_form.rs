//! The form on which a broken part is received, and what was reported of it is put right.

use chrono_tz::Tz;
use mendpost_core::situation::{CrackCheck, Damage};
use serde::Deserialize;

use super::detail::{Detail, Told};
use super::form::NOT_LISTED;
use super::particulars::{self, NewMetal};
use super::queries::Choice;
use super::times::Times;
use crate::finish::{CrackForm, NewCrack};
use crate::form::{FieldErrors, choice, optional_text, text};
use crate::page::field_time;

/// What was typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ArrivalForm {
    pub version: String,
    pub broken_part: String,
    pub arrived_at: String,
    pub arrives_at: String,
    pub tag: String,
    pub mass: String,
    pub base_metal: String,
    pub base_metal_known: String,
    pub serial: String,
    pub crack_check: String,
    /// How it was looked at for cracks, with what, and where any is.
    pub method: String,
    pub agent: String,
    pub crack_words: String,
    pub part: String,
    pub part_name: String,
    pub damage: String,
    pub description: String,
    pub danger: String,
    pub asked_by: String,
    pub needed_by: String,
    pub spare: String,
    pub spare_where: String,
    pub why: String,
}

/// What may be named.
pub struct Known {
    pub metals: Vec<Choice>,
    /// Those that the catalogue offers.
    pub parts: Vec<Choice>,
    /// Why the part may not be chosen otherwise any more.
    pub part_fixed: Option<String>,
}

/// What is told now; part and metal by their codes alone.
pub struct Read {
    pub told: Told,
    pub part: Option<String>,
    pub metal: Option<NewMetal>,
    pub why: String,
    /// How it was looked at for cracks, where that is told now.
    pub look: Option<NewCrack>,
}

impl ArrivalForm {
    /// The form as the newest saying fills it.
    pub fn of(newest: &Detail, zone: Tz) -> Self {
        let told = &newest.told;
        let time = |at: Option<i64>| at.map(|at| field_time(at, zone)).unwrap_or_default();
        let sure = |known: bool| if known { "known" } else { "assumed" };
        let metal = told.metal.as_ref();
        ArrivalForm {
            version: newest.sequence.to_string(),
            broken_part: match (told.arrived_ms, told.at_cell_ms) {
                (Some(_), _) => "received",
                (None, None) => "here",
                (None, Some(_)) => "arrives",
            }
            .to_owned(),
            arrived_at: time(told.arrived_ms),
            arrives_at: time(told.at_cell_ms),
            tag: told.tag.clone().unwrap_or_default(),
            mass: told.mass_g.map(kilograms).unwrap_or_default(),
            base_metal: metal.map(|metal| metal.code.clone()).unwrap_or_default(),
            base_metal_known: metal.map_or("", |metal| sure(metal.known)).to_owned(),
            serial: told.serial.clone(),
            crack_check: told.crack_check.to_string(),
            method: String::new(),
            agent: String::new(),
            crack_words: String::new(),
            part: told
                .part
                .as_ref()
                .map_or(NOT_LISTED, |part| &part.code)
                .to_owned(),
            part_name: told.part_name.clone(),
            damage: told.damage.to_string(),
            description: told.description.clone(),
            danger: if told.danger { "yes" } else { "no" }.to_owned(),
            asked_by: told.asked_by.clone(),
            needed_by: time(told.needed_by_ms),
            spare: told.spare.clone(),
            spare_where: told.spare_where.clone(),
            why: String::new(),
        }
    }

    /// What is told now, or every fault; `photos` is how many came with it.
    pub fn parse(
        &self,
        newest: &Detail,
        known: &Known,
        photos: usize,
        times: &Times,
    ) -> Result<Read, FieldErrors> {
        let mut errors = FieldErrors::default();
        let before = &newest.told;
        let (arrived_ms, at_cell_ms) = self.whereabouts(before, times, &mut errors);
        let tag = particulars::tag(&self.tag, &mut errors);
        let mass_g = particulars::mass_g(&self.mass, &mut errors);
        let (metal, sure) = (&self.base_metal, &self.base_metal_known);
        let metal = particulars::base_metal(metal, sure, &known.metals, &mut errors);
        let serial = particulars::serial(&self.serial, &mut errors);
        let crack_check = errors.check("crack_check", choice::<CrackCheck>(&self.crack_check));
        let look = self.look(crack_check, before, &mut errors);
        let part = self.part(before, known, &mut errors);
        let part_name = errors.check("part_name", text(self.name(before, known), 80));
        let damage = errors.check("damage", choice::<Damage>(&self.damage));
        let description = errors.check("description", optional_text(&self.description, 2000));
        let danger = particulars::danger(&self.danger, &mut errors);
        let asked_by = errors.check("asked_by", text(&self.asked_by, 80));
        let needed_by_ms = self.needed_by(before, times, &mut errors);
        let spare = particulars::spare(&self.spare, &self.spare_where, &mut errors);
        let why = errors.check("why", optional_text(&self.why, 200));
        let whole = || {
            let (spare, metal, part) = (spare?, metal?, part?);
            let told = Told {
                // Its row is looked up when it is written, as that of its metal.
                part: before
                    .part
                    .clone()
                    .filter(|_| same_part(before, part.as_deref())),
                part_name: part_name?,
                damage: damage?,
                description: description?.unwrap_or_default(),
                asked_by: asked_by?,
                needed_by_ms: needed_by_ms?,
                danger: danger?,
                at_cell_ms: at_cell_ms?,
                arrived_ms: arrived_ms?,
                spare: spare.spare.to_owned(),
                spare_where: spare.spare_where,
                tag: tag?,
                mass_g: mass_g?,
                metal: before
                    .metal
                    .clone()
                    .filter(|_| same_metal(before, metal.as_ref())),
                serial: serial?,
                crack_check: crack_check?,
            };
            let why = why?.unwrap_or_default();
            Some(Read {
                told,
                part,
                metal,
                why,
                look: look?,
            })
        };
        let read = whole().filter(|_| errors.is_empty()).ok_or(errors)?;
        read.judge(before, photos)
    }

    /// How it was looked at for cracks, where that is told for the first time or otherwise than before; within:
    /// none, nobody has looked.
    fn look(
        &self,
        check: Option<CrackCheck>,
        before: &Told,
        errors: &mut FieldErrors,
    ) -> Option<Option<NewCrack>> {
        let check = check?;
        if check == CrackCheck::NotDone || check == before.crack_check {
            return Some(None);
        }
        let cracks = if check == CrackCheck::Found {
            "found"
        } else {
            "none"
        };
        let form = CrackForm {
            method: self.method.clone(),
            cracks: cracks.to_owned(),
            crack_words: self.crack_words.clone(),
            agent: self.agent.clone(),
        };
        form.parse(errors).map(Some)
    }

    /// The part of the catalogue; within: none, it is not listed. What stands may be retired by now, or no
    /// longer to be chosen otherwise.
    fn part(
        &self,
        before: &Told,
        known: &Known,
        errors: &mut FieldErrors,
    ) -> Option<Option<String>> {
        let part = Some(self.part.as_str()).filter(|part| *part != NOT_LISTED);
        if same_part(before, part) {
            return Some(part.map(str::to_owned));
        }
        if let Some(fixed) = &known.part_fixed {
            errors.add("part", fixed.clone());
            return None;
        }
        let is_listed = |part| known.parts.iter().any(|known| known.code == part);
        if part.is_some_and(|part| !is_listed(part)) {
            errors.add(
                "part",
                "the catalogue has no such part; choose from the list, or 'not listed'",
            );
            return None;
        }
        Some(part.map(str::to_owned))
    }

    /// What the part is called: as typed. One put right goes by its name in the catalogue where nobody
    /// typed another than it had.
    fn name<'a>(&'a self, before: &Told, known: &'a Known) -> &'a str {
        let typed = self.part_name.trim();
        let is_kept = typed.is_empty() || typed == before.part_name;
        let part = known.parts.iter().find(|part| part.code == self.part);
        let other = part.filter(|part| !same_part(before, Some(&part.code)));
        other
            .filter(|_| is_kept)
            .map_or(typed, |part| part.name.as_str())
    }

    /// When it came, and when it is expected.
    fn whereabouts(
        &self,
        before: &Told,
        times: &Times,
        errors: &mut FieldErrors,
    ) -> (Option<Option<i64>>, Option<Option<i64>>) {
        let (at, expected_at) = (self.arrived_at.trim(), self.arrives_at.trim());
        let expected = match (self.broken_part.as_str(), before.at_cell_ms) {
            // Late: what stands may lie in the past, what is typed anew may not.
            ("arrives", Some(stands)) if expected_at == field_time(stands, times.zone) => {
                Some(Some(stands))
            }
            // Received, it is expected no more.
            ("received", _) => Some(None),
            (word, _) => times.at_cell(word, expected_at, errors),
        };
        let arrived = match (self.broken_part.as_str(), at, before.arrived_ms) {
            ("received", "", _) => Some(Some(times.this_minute())),
            // A field for a time knows no seconds.
            ("received", at, Some(stands)) if at == field_time(stands, times.zone) => {
                Some(Some(stands))
            }
            ("received", at, _) => times.received("arrived_at", at, errors).map(Some),
            (_, "", _) => Some(None),
            _ => {
                errors.add("arrived_at", "leave this empty, or choose 'received here'");
                None
            }
        };
        (arrived, expected)
    }

    /// A date that stands may be past; one that is typed anew may not.
    fn needed_by(
        &self,
        before: &Told,
        times: &Times,
        errors: &mut FieldErrors,
    ) -> Option<Option<i64>> {
        match before.needed_by_ms {
            Some(stands) if self.needed_by.trim() == field_time(stands, times.zone) => {
                Some(Some(stands))
            }
            _ => times.to_come_if("needed_by", &self.needed_by, errors),
        }
    }
}

impl Read {
    /// Refuses what changes nothing, and what is put right without saying why.
    fn judge(self, before: &Told, photos: usize) -> Result<Read, FieldErrors> {
        let mut errors = FieldErrors::default();
        let same_metal = same_metal(before, self.metal.as_ref());
        let same_part = same_part(before, self.part.as_deref());
        if self.told == *before && same_metal && same_part && photos == 0 {
            errors.add_whole("Nothing is changed: enter what is new, or leave the page.");
            return Err(errors);
        }
        if self.why.is_empty() && self.puts_right(before) {
            errors.add(
                "why",
                "something that was told before is changed: say in a few words why",
            );
            return Err(errors);
        }
        Ok(self)
    }

    /// Whether it takes back anything, rather than adding what nobody had told.
    fn puts_right(&self, before: &Told) -> bool {
        let told = &self.told;
        let given = |old: &str, new: &str| !old.is_empty() && old != new;
        let either = |old: Option<i64>, new: Option<i64>| old.is_some() && old != new;
        let tag = |told: &Told| told.tag.clone().unwrap_or_default();
        !same_part(before, self.part.as_deref())
            || given(&before.part_name, &told.part_name)
            || before.damage != told.damage
            || given(&before.description, &told.description)
            || given(&before.asked_by, &told.asked_by)
            || either(before.needed_by_ms, told.needed_by_ms)
            || before.danger != told.danger
            || either(before.arrived_ms, told.arrived_ms)
            || (before.spare != "unknown"
                && (&before.spare, &before.spare_where) != (&told.spare, &told.spare_where))
            || given(&tag(before), &tag(told))
            || either(before.mass_g, told.mass_g)
            || (before.metal.is_some() && !same_metal(before, self.metal.as_ref()))
            || given(&before.serial, &told.serial)
            || (before.crack_check != CrackCheck::NotDone && before.crack_check != told.crack_check)
    }
}

fn same_part(before: &Told, part: Option<&str>) -> bool {
    before.part.as_ref().map(|part| part.code.as_str()) == part
}

fn same_metal(before: &Told, metal: Option<&NewMetal>) -> bool {
    let stands = before
        .metal
        .as_ref()
        .map(|metal| (metal.code.as_str(), metal.known));
    stands == metal.map(|metal| (metal.metal.as_str(), metal.known))
}

/// Grams as a field for kilograms takes them.
fn kilograms(grams: i64) -> String {
    let text = format!("{}.{:03}", grams / 1000, grams.rem_euclid(1000));
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
