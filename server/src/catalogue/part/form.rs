//! The form of a part.

use std::collections::BTreeSet;

use mendpost_core::catalogue::{Flag, Part, Rules};
use mendpost_core::code::{AssetCode, PartCode};
use mendpost_core::shape::Figures;
use mendpost_core::situation::Situation;
use serde::Deserialize;

use crate::form::{
    FieldErrors, decimal, integer, new_code, optional_text, plain_decimal, text, ticked,
};
use crate::words::authority::lost;

/// What was typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct PartForm {
    pub code: String,
    pub name: String,
    pub asset: Vec<String>,
    pub x: String,
    pub y: String,
    pub z: String,
    pub mass: String,
    pub allowance: String,
    pub flag: Vec<String>,
    /// Why a flag is taken off.
    pub reason: String,
    /// What is taken over from the shape: the box, or the mass in a powder's metal.
    pub take: String,
    pub version: String,
}

/// The button that takes over the shape's box.
pub const BOX: &str = "box";

impl PartForm {
    pub fn of(part: &Part, version: i64) -> PartForm {
        let [x, y, z] = part.envelope_mm.map(|mm| mm.to_string());
        PartForm {
            name: part.name.clone(),
            asset: part.assets.iter().map(ToString::to_string).collect(),
            x,
            y,
            z,
            mass: plain_decimal(part.mass_g, 3),
            allowance: plain_decimal(part.allowance_um, 3),
            flag: part.flags.iter().map(ToString::to_string).collect(),
            version: version.to_string(),
            ..PartForm::default()
        }
    }

    /// Puts in what a button takes over from the shape, if there is one.
    pub fn take_over(&mut self, figures: Option<&Figures>, situation: &Situation) {
        let taken = std::mem::take(&mut self.take);
        let Some(figures) = figures else {
            return;
        };
        if taken == BOX {
            let [x, y, z] = sprayed_mm(figures).map(|mm| mm.to_string());
            (self.x, self.y, self.z) = (x, y, z);
        } else if let Some((_, grams)) = masses(figures, situation)
            .into_iter()
            .find(|(code, _)| *code == taken)
        {
            self.mass = plain_decimal(grams, 3);
        }
    }

    /// The part as typed, or every fault. Its number is asked for only where it is new; taking a flag
    /// off one that stands takes a reason.
    pub fn parse(
        &self,
        stands: Option<&Part>,
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<(Part, String)> {
        let code: Option<PartCode> = match stands {
            Some(part) => Some(part.code.clone()),
            None => new_code(&self.code, "code", errors),
        };
        let name = errors.check("name", text(&self.name, 80));
        let assets = self.assets(stands, situation, errors);
        let x = errors.check("x", integer(&self.x, 1..=100_000));
        let y = errors.check("y", integer(&self.y, 1..=100_000));
        let z = errors.check("z", integer(&self.z, 1..=100_000));
        let mass = errors.check("mass", decimal(&self.mass, 3, 1..=100_000_000));
        let allowance = errors.check("allowance", decimal(&self.allowance, 3, 0..=50_000));
        let flags = self.flags(errors);
        let reason = errors.check("reason", optional_text(&self.reason, 500));
        let reason = reason.flatten().unwrap_or_default();
        if let (Some(stands), Some(flags)) = (stands, &flags)
            && reason.is_empty()
            && let Some(relaxed) = relaxes(&situation.rules, stands, flags)
        {
            errors.add("reason", format!("{relaxed}; say why"));
        }
        let part = Part {
            code: code?,
            name: name?,
            envelope_mm: [x?, y?, z?],
            mass_g: mass?,
            flags: flags?,
            assets: assets?,
            allowance_um: allowance?,
            retired: stands.is_some_and(|part| part.retired),
        };
        errors.is_empty().then_some((part, reason))
    }

    /// Those chosen, and those that it fits and that are retired: the form does not offer these, and they
    /// may be brought back.
    fn assets(
        &self,
        stands: Option<&Part>,
        situation: &Situation,
        errors: &mut FieldErrors,
    ) -> Option<BTreeSet<AssetCode>> {
        let fits = stands.into_iter().flat_map(|part| &part.assets);
        let retired = fits.filter(|code| situation.asset(code).is_none()).cloned();
        let assets = situation.assets.iter().map(|asset| &asset.code);
        let chosen: BTreeSet<AssetCode> = errors.check("asset", ticked(&self.asset, assets))?;
        Some(chosen.into_iter().chain(retired).collect())
    }

    fn flags(&self, errors: &mut FieldErrors) -> Option<BTreeSet<Flag>> {
        let flags = errors.check("flag", ticked(&self.flag, Flag::ALL))?;
        if flags.is_empty() {
            errors.add(
                "flag",
                "tick at least one; 'use not known' if nobody can say yet",
            );
        }
        Some(flags)
    }
}

/// What is relaxed when flags are taken off, in plain words; none if none is.
pub fn relaxes(rules: &Rules, stands: &Part, flags: &BTreeSet<Flag>) -> Option<String> {
    let lost = lost(rules, &stands.flags, flags)?;
    let rule = match lost.same {
        true => format!("the rule stays: {}", lost.now),
        false => format!("before: {}; now: {}", lost.was, lost.now),
    };
    Some(format!(
        "'{}' is taken off; {rule}",
        lost.flags.join("', '")
    ))
}

/// What the part measures as sprayed, by its shape: the box with the allowance on every side, rounded
/// up to the millimetre.
pub fn sprayed_mm(figures: &Figures) -> [i64; 3] {
    figures.size_um.map(|um| {
        (um + 2 * figures.allowance_um + 999)
            .div_euclid(1000)
            .max(1)
    })
}

/// Finished mass in the metal of each powder whose density is known, in grams.
#[expect(clippy::cast_precision_loss, reason = "densities are small")]
pub fn masses(figures: &Figures, situation: &Situation) -> Vec<(String, i64)> {
    let known = situation.powders.iter().filter_map(|powder| {
        let density = powder.solid?.density_kg_m3 as f64;
        let [finished, _] = figures.grams(density).ok().flatten()?;
        Some((powder.code.to_string(), finished))
    });
    known.filter(|(_, grams)| *grams > 0).collect()
}
