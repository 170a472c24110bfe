//! What was typed of a keep-back.

use std::collections::BTreeSet;

use mendpost_core::code::AssetCode;
use mendpost_core::lineup::MOST_GRAMS;
use mendpost_core::situation::{Held, Situation};
use serde::Deserialize;

use crate::form::{FieldErrors, decimal, text, ticked};

/// How the values begin by which a powder and a bank are chosen.
const POWDER: &str = "powder/";
const BANK: &str = "bank/";

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct NewForm {
    pub held: String,
    pub asset: Vec<String>,
    pub kg: String,
    pub reason: String,
    /// Set where advice is asked for, and nothing is to be held yet.
    pub advise: String,
}

/// What is to be held.
pub(super) struct New {
    pub held: Held,
    pub assets: BTreeSet<AssetCode>,
    pub grams: i64,
    pub reason: String,
}

impl NewForm {
    /// Of what and for whom, or every fault.
    pub fn subject(
        &self,
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<(Held, BTreeSet<AssetCode>)> {
        let known = choices(situation);
        let held = known.into_iter().find(|held| value(held) == self.held);
        if held.is_none() {
            errors.add("held", "choose a powder or a bank of the list");
        }
        let codes = situation.assets.iter().map(|asset| &asset.code);
        let assets = errors.check("asset", ticked(&self.asset, codes));
        if assets.as_ref().is_some_and(BTreeSet::is_empty) {
            errors.add("asset", "tick the machines for which it is held");
            return None;
        }
        Some((held?, assets?))
    }

    pub fn parse(&self, situation: &Situation, errors: &mut FieldErrors) -> Option<New> {
        let subject = self.subject(situation, errors);
        let grams = errors.check("kg", decimal(&self.kg, 3, 1..=MOST_GRAMS));
        let reason = errors.check("reason", text(&self.reason, 400));
        let (held, assets) = subject?;
        Some(New {
            held,
            assets,
            grams: grams?,
            reason: reason?,
        })
    }
}

/// All that something can be held of.
pub(super) fn choices(situation: &Situation) -> Vec<Held> {
    let powders = situation.powders.iter();
    let powders = powders.map(|powder| Held::Powder(powder.code.clone()));
    let banks = situation.banks.iter();
    let banks = banks.map(|bank| Held::Gas(bank.code.clone()));
    powders.chain(banks).collect()
}

/// By which it is chosen.
pub(super) fn value(held: &Held) -> String {
    match held {
        Held::Powder(powder) => format!("{POWDER}{powder}"),
        Held::Gas(bank) => format!("{BANK}{bank}"),
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct GiveUpForm {
    pub kg: String,
    pub reason: String,
    /// Grams that it held on the page that was looked at.
    pub held_g: String,
    pub sign_passphrase: String,
}

impl GiveUpForm {
    /// How much of so many grams, and why.
    pub fn parse(&self, held_g: i64, errors: &mut FieldErrors) -> Option<(i64, String)> {
        let grams = errors.check("kg", decimal(&self.kg, 3, 1..=held_g));
        let reason = errors.check("reason", text(&self.reason, 400));
        Some((grams?, reason?))
    }
}
