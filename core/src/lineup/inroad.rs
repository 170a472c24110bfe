//! What work that is begun by hand takes of powder and gas that is kept back for other machines.

use super::hold::{for_others, kept_level_g};
use super::need::{GasSource, stage_need};
use super::stock::stock;
use super::supply::content_g;
use crate::catalogue::{Recipe, Spray};
use crate::code::{AssetCode, PowderCode};
use crate::situation::{Held, KeepBack, Situation};
use std::collections::{BTreeMap, BTreeSet};

/// Powder or gas of which less would be left than is kept back for other machines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inroad<'a> {
    /// Of what.
    pub held: Held,
    /// Grams that the work takes.
    pub takes_g: i64,
    /// Grams that are left of it now; of gas, above the pressure that the machines' recipes ask for.
    pub left_g: i64,
    /// What is kept back of it for other machines, by number.
    pub keep_backs: Vec<&'a KeepBack>,
}

impl Inroad<'_> {
    /// Grams that are kept back of it for other machines.
    #[must_use]
    pub fn held_g(&self) -> i64 {
        self.keep_backs.iter().map(|it| it.grams).sum()
    }
}

/// What the stages of a recipe from one of its operations on take of what other machines' keep-backs hold, were
/// they all sprayed now for a machine.
#[must_use]
pub fn inroads<'a>(
    situation: &'a Situation,
    asset: &AssetCode,
    recipe: &Recipe,
    from: usize,
) -> Vec<Inroad<'a>> {
    let operations = recipe.operations.iter().skip(from);
    let sprays = operations.filter_map(|operation| operation.spray.as_ref());
    let mut takes: BTreeMap<Held, i64> = BTreeMap::new();
    for (held, grams) in sprays.flat_map(|spray| taken(situation, spray)) {
        *takes.entry(held).or_default() += grams;
    }
    let each = takes.into_iter().map(|(held, takes_g)| {
        let keep_backs = for_others(&situation.keep_backs, asset.as_str(), &held);
        let keep_backs: Vec<&KeepBack> = keep_backs.collect();
        Inroad {
            left_g: (there_g(situation, &held, &keep_backs) - takes_g).max(0),
            held,
            takes_g,
            keep_backs,
        }
    });
    each.filter(|it| it.left_g < it.held_g()).collect()
}

/// Grams of a powder that a machine may draw beside what is kept back for others; none if nothing is.
#[must_use]
pub fn free_for(situation: &Situation, asset: &AssetCode, powder: &PowderCode) -> Option<i64> {
    let held = Held::Powder(powder.clone());
    let for_others = for_others(&situation.keep_backs, asset.as_str(), &held);
    let kept: i64 = for_others.map(|it| it.grams).sum();
    (kept > 0).then(|| (there_g(situation, &held, &[]) - kept).max(0))
}

/// What a stage takes; nothing where no figure can be given.
fn taken(situation: &Situation, spray: &Spray) -> Vec<(Held, i64)> {
    let Ok(need) = stage_need(situation, spray) else {
        return Vec::new();
    };
    let mut taken = vec![(Held::Powder(spray.powder.clone()), need.powder_g)];
    if let GasSource::Bank(bank) = need.source {
        taken.push((Held::Gas(bank), need.gas_g));
    }
    taken
}

/// Grams that may be drawn now; of gas, above the pressure for which it is kept back.
fn there_g(situation: &Situation, held: &Held, keep_backs: &[&KeepBack]) -> i64 {
    match held {
        Held::Powder(powder) => stock(situation, None, powder).usable_g(),
        Held::Gas(code) => {
            let bank = situation.banks.iter().find(|it| it.code == *code);
            bank.map_or(0, |bank| {
                let assets: BTreeSet<&AssetCode> =
                    keep_backs.iter().flat_map(|it| &it.assets).collect();
                let grams = keep_backs.iter().map(|it| it.grams).sum();
                content_g(bank) - (kept_level_g(situation, bank, grams, &assets) - grams)
            })
        }
    }
}
