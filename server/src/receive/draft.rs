//! What was typed of what came: lots with their containers, and lines of the delivery. Nothing typed is lost from
//! one showing of the form to the next.

use std::collections::BTreeMap;

use mendpost_core::code::LotCode;
use mendpost_core::powder::certificate::Limits;
use mendpost_core::powder::receipt::next_lot;

use crate::certificate::form::Draft as Certificate;
use crate::form::section::{Fields, Section, numbered};

/// The most that one form takes.
const MOST_LOTS: usize = 20;
const MOST_CANS: usize = 40;

#[derive(Debug, Clone, Default)]
pub struct Draft {
    /// All fields as sent; the form's own are read from here.
    pub fields: Fields,
    /// Of the lines of the delivery, by their place in it.
    pub lines: BTreeMap<usize, Fields>,
    pub lots: Vec<Lot>,
}

/// A lot: its own fields are among those of its certificate.
#[derive(Debug, Clone, Default)]
pub struct Lot {
    pub certificate: Certificate,
    pub cans: Vec<Fields>,
}

/// What is asked of a form beside booking it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Book it.
    Receive,
    /// Show it again: what the Enter of a scanner asks for.
    Look,
    AddLot,
    TakeLotOut(usize),
    AddCan(usize),
    TakeCanOut(usize, usize),
    AddElement(usize),
    DropFiles(usize),
}

impl Draft {
    pub fn of(fields: Fields) -> Draft {
        let lots = numbered(&fields, 'l').into_values().take(MOST_LOTS);
        let lots = lots.map(|fields| {
            let mut cans: Vec<Fields> = numbered(&fields, 'c').into_values().collect();
            cans.truncate(MOST_CANS);
            let certificate = Certificate::of(fields);
            Lot { certificate, cans }
        });
        Draft {
            lines: numbered(&fields, 'd'),
            lots: lots.collect(),
            fields,
        }
    }

    pub fn own(&self) -> Section<'_> {
        Section::new(String::new(), &self.fields)
    }

    /// What the button that was pressed asks for: 'add-can.0', 'receive'.
    pub fn step(&self) -> Step {
        let typed = self.fields.get("do").map_or("look", String::as_str);
        let mut words = typed.split('.');
        let word = words.next().unwrap_or_default();
        let mut number = || words.next().and_then(|word| word.parse().ok());
        let (first, second): (Option<usize>, Option<usize>) = (number(), number());
        match (word, first, second) {
            ("receive", ..) => Step::Receive,
            ("add-lot", ..) => Step::AddLot,
            ("take-lot-out", Some(lot), _) => Step::TakeLotOut(lot),
            ("add-can", Some(lot), _) => Step::AddCan(lot),
            ("take-can-out", Some(lot), Some(can)) => Step::TakeCanOut(lot, can),
            ("add-element", Some(lot), _) => Step::AddElement(lot),
            ("drop-files", Some(lot), _) => Step::DropFiles(lot),
            _ => Step::Look,
        }
    }

    /// Does what is asked, as far as there is such a lot or container.
    pub fn apply(&mut self, step: Step, numbers: &Numbers) {
        match step {
            Step::AddLot if self.lots.len() < MOST_LOTS => {
                self.add_lot("", &Limits::default(), numbers)
            }
            Step::TakeLotOut(lot) if lot < self.lots.len() => drop(self.lots.remove(lot)),
            Step::AddCan(lot) => {
                if let Some(lot) = self
                    .lots
                    .get_mut(lot)
                    .filter(|it| it.cans.len() < MOST_CANS)
                {
                    lot.cans.push(Fields::new());
                }
            }
            Step::TakeCanOut(lot, can) => {
                if let Some(lot) = self.lots.get_mut(lot).filter(|it| can < it.cans.len()) {
                    lot.cans.remove(can);
                }
            }
            Step::AddElement(lot) => {
                if let Some(lot) = self.lots.get_mut(lot) {
                    lot.certificate.add_row();
                }
            }
            Step::DropFiles(lot) => {
                if let Some(lot) = self.lots.get_mut(lot) {
                    lot.certificate.fields.remove("kept");
                    lot.certificate.fields.remove("kept_names");
                }
            }
            Step::Receive | Step::Look | Step::AddLot | Step::TakeLotOut(_) => {}
        }
    }

    /// A further lot with a number of its own, of a powder if that is known.
    pub fn add_lot(&mut self, powder: &str, limits: &Limits, numbers: &Numbers) {
        let mut lot = Lot {
            certificate: Certificate::blank(limits),
            cans: vec![Fields::new()],
        };
        let fields = &mut lot.certificate.fields;
        fields.insert("powder".to_owned(), powder.to_owned());
        fields.insert("date_kind".to_owned(), "use-by".to_owned());
        let here: Vec<&str> = self
            .lots
            .iter()
            .map(|lot| lot.own("").typed("code"))
            .collect();
        let code = numbers.next(&here).map(String::from);
        fields.insert("code".to_owned(), code.unwrap_or_default());
        self.lots.push(lot);
    }

    /// The sections of the lots, each with its head in the page.
    pub fn lots(&self) -> impl Iterator<Item = (String, &Lot)> {
        let lots = self.lots.iter().enumerate();
        lots.map(|(at, lot)| (format!("l{at}_"), lot))
    }
}

impl Lot {
    pub fn own(&self, head: &str) -> Section<'_> {
        Section::new(head.to_owned(), &self.certificate.fields)
    }

    pub fn cans(&self, head: &str) -> Vec<Section<'_>> {
        let cans = self.cans.iter().enumerate();
        cans.map(|(at, fields)| Section::new(format!("{head}c{at}_"), fields))
            .collect()
    }
}

/// Lot numbers that are given away, and the newest of them.
#[derive(Debug, Clone, Default)]
pub struct Numbers {
    pub newest: Option<LotCode>,
    pub taken: Vec<String>,
}

impl Numbers {
    /// The number to suggest beside those of a form.
    pub fn next(&self, here: &[&str]) -> Option<LotCode> {
        let last = here
            .iter()
            .rev()
            .find_map(|code| code.parse::<LotCode>().ok());
        let newest = last.or_else(|| self.newest.clone())?;
        let is_taken =
            |code: &str| here.contains(&code) || self.taken.iter().any(|taken| taken == code);
        next_lot(&newest, is_taken)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draft(typed: &[(&str, &str)]) -> Draft {
        let typed = typed.iter();
        Draft::of(typed.map(|(a, b)| (a.to_string(), b.to_string())).collect())
    }

    fn numbers() -> Numbers {
        Numbers {
            newest: "L0415".parse().ok(),
            taken: vec!["L0417".to_owned()],
        }
    }

    /// Two lots are typed, the first with two cans. A can is added to the second, a lot is added, and the first is
    /// taken out: all else stays as it was.
    #[test]
    fn what_was_typed_stays_whatever_is_added() {
        let mut draft = draft(&[
            ("l0_code", "L0416"),
            ("l0_c0_seal", "S1"),
            ("l0_c1_seal", "S2"),
            ("l0_e0_symbol", "Al"),
            ("l1_code", "L0418"),
            ("l1_c0_net", "5000"),
            ("do", "add-can.1"),
        ]);
        let step = draft.step();
        assert_eq!(step, Step::AddCan(1));
        draft.apply(step, &numbers());
        assert_eq!(draft.lots[1].cans.len(), 2);
        assert_eq!(draft.lots[1].cans[0]["net"], "5000");
        draft.apply(Step::AddLot, &numbers());
        let code = draft.lots[2].own("").typed("code");
        assert_eq!(
            code, "L0419",
            "after the last of the form, and not given away"
        );
        draft.apply(Step::TakeLotOut(0), &numbers());
        let codes: Vec<&str> = draft
            .lots
            .iter()
            .map(|lot| lot.own("").typed("code"))
            .collect();
        assert_eq!(codes, ["L0418", "L0419"]);
        draft.apply(Step::TakeCanOut(0, 7), &numbers());
        assert_eq!(draft.lots[0].cans.len(), 2, "there is no such can");
    }

    /// A scanner's Enter presses the first button, which only looks.
    #[test]
    fn an_unknown_button_only_looks() {
        for typed in ["look", "", "add-can", "add-can.x", "burn"] {
            assert_eq!(draft(&[("do", typed)]).step(), Step::Look, "{typed}");
        }
        assert_eq!(draft(&[]).step(), Step::Look);
        assert_eq!(draft(&[("do", "receive")]).step(), Step::Receive);
    }
}
