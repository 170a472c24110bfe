//! Cautions, each at the steps that it belongs to.
//!
//! Common practice in the trade, worded for the step. They warn; local codes and the licensed person
//! responsible decide.

use mendpost_core::catalogue::{OperationKind, Part, Recipe, Rules};
use mendpost_core::gas::Gas;
use mendpost_core::situation::Damage;

use crate::words::authority::whose_words;
use crate::words::kilograms;

/// One line to heed, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// What is dangerous, in bold.
    pub head: &'static str,
    /// What to do about it.
    pub text: String,
    /// The steps, by name.
    pub steps: Vec<String>,
}

/// The cautions of a part's way from the powder to the machine, in the order of its steps.
pub fn cautions(
    rules: &Rules,
    recipe: Option<&Recipe>,
    part: Option<&Part>,
    damage: Damage,
) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut add = |head, text: String, kinds: &[OperationKind]| {
        let steps = recipe
            .map(|recipe| names(recipe, kinds))
            .unwrap_or_default();
        if !steps.is_empty() {
            cautions.push(Caution { head, text, steps });
        }
    };
    for (head, text, kinds) in ALWAYS {
        add(head, (*text).to_owned(), kinds);
    }
    for gas in recipe.map(bottled).unwrap_or_default() {
        add(
            "No smell, no warning.",
            format!(
                "Escaped {gas} takes the air's place: into the booth only with the extraction on and \
                 19.5 % oxygen or more on the meter. Bottles stand chained, and capped when moved."
            ),
            &[OperationKind::Spray],
        );
    }
    if let Some(part) = part.filter(|part| part.mass_g > ALONE_G) {
        add(
            "Heavy.",
            format!("{}: two people, or the hoist.", kilograms(part.mass_g)),
            &HANDLING,
        );
    }
    if let Some(text) = part.and_then(|part| check(part, rules)) {
        add("Not to be used unchecked.", text, &TO_THE_MACHINE);
    }
    if damage == Damage::Interim {
        add(
            "An interim part is on the machine.",
            "Take it off by the date or hours on its tag; tag it out of use.".to_owned(),
            &[OperationKind::Fit],
        );
    }
    cautions
}

/// What stands beside an interim part wherever it is shown or printed; `take_off` reads on after
/// 'take off'.
pub fn interim(take_off: &str) -> Caution {
    Caution {
        head: "INTERIM PART:",
        text: format!("take off {take_off}; tag it out of use then."),
        steps: vec!["on its machine".to_owned()],
    }
}

/// What one person lifts alone at most, in grams: a usual filter for manual handling, from memory; a
/// site's own rule goes before it.
const ALONE_G: i64 = 25_000;

const HANDLING: [OperationKind; 3] = [
    OperationKind::Mask,
    OperationKind::Carry,
    OperationKind::Fit,
];

const TO_THE_MACHINE: [OperationKind; 2] = [OperationKind::Release, OperationKind::Fit];

/// Head, text and steps of those that need no figure.
const ALWAYS: &[(&str, &str, &[OperationKind])] = &[
    (
        "Loud.",
        "Ears on before the gas is opened.",
        &[OperationKind::Blast, OperationKind::Spray],
    ),
    (
        "Fine metal burns and explodes.",
        "Earth can and hopper. No dry sweeping, no compressed air, no ordinary vacuum; clean before \
         dust hides the colour beneath. On burning metal never water: class D only, get out, call.",
        &[OperationKind::Spray, OperationKind::Cut],
    ),
    (
        "Extraction stops: gas off, out.",
        "Nobody goes back in before the meter says so, nor to help somebody.",
        &[OperationKind::Spray],
    ),
    (
        "High pressure.",
        "Vent, read zero, then open feeder or hose.",
        &[OperationKind::Spray],
    ),
    (
        "Lot in doubt: stop, hold, tell.",
        "The label on the can is read aloud against the draw.",
        &[OperationKind::Spray],
    ),
    (
        "Hot.",
        "Part, nozzle, heater, furnace: gloves, and a tag HOT with the time.",
        &[OperationKind::Spray, OperationKind::HeatTreat],
    ),
];

fn names(recipe: &Recipe, kinds: &[OperationKind]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for operation in recipe.operations.iter().filter(|o| kinds.contains(&o.kind)) {
        if !names.contains(&operation.name) {
            names.push(operation.name.clone());
        }
    }
    names
}

/// Gases other than air that its stages take.
fn bottled(recipe: &Recipe) -> Vec<Gas> {
    let mut gases = Vec::new();
    for spray in recipe.sprays().filter(|s| s.gas != Gas::Air) {
        if !gases.contains(&spray.gas) {
            gases.push(spray.gas);
        }
    }
    gases
}

fn check(part: &Part, rules: &Rules) -> Option<String> {
    let authority = rules.authority(&part.flags);
    let whose = match authority.to_release.is_empty() {
        true => authority.to_build,
        false => authority.to_release,
    };
    (!whose.is_empty()).then(|| {
        let whose = whose_words(&whose);
        format!("Fitted only when the yes of {whose} is on its tag.")
    })
}

#[cfg(test)]
mod tests {
    use mendpost_core::catalogue::{Flag, Motion, Operation, RecipeState, RecipeText, Spray};

    use super::*;

    fn operation(kind: OperationKind, spray: Option<Spray>) -> Operation {
        Operation {
            spray,
            ..Operation::step(kind, kind.as_str(), 30)
        }
    }

    fn recipe(gas: Gas) -> Recipe {
        let spray = Spray {
            powder: "316L".parse().expect("a code"),
            deposited_g: 4000,
            volume: None,
            one_lot: true,
            gas,
            pressure_mbar: 30_000,
            temperature_c: 500,
            feed_g_per_min: 50,
            efficiency_permille: 800,
            efficiency_sd_permille: 0,
            approval_builds: 4,
            start_stop_loss_g: 0,
            coupon_g: 0,
            handling_min: 20,
            gas_only_min: 5,
            motion: Motion::default(),
            weighed: vec![],
            timed: vec![],
        };
        Recipe {
            code: "P-1-A".parse().expect("a code"),
            part: "P-1".parse().expect("a code"),
            revision: 1,
            state: RecipeState::Approved,
            written_by: String::new(),
            also_written_by: [].into(),
            approved_by: "cell lead".to_owned(),
            base_metals: [].into(),
            sizes: Vec::new(),
            coupons: Vec::new(),
            operations: vec![
                operation(OperationKind::Spray, Some(spray)),
                operation(OperationKind::HeatTreat, None),
                operation(OperationKind::Fit, None),
            ],
            flags: [].into(),
            text: RecipeText::default(),
        }
    }

    fn part(mass_g: i64, flag: Flag) -> Part {
        Part {
            code: "P-1".parse().expect("a code"),
            name: "impeller".to_owned(),
            envelope_mm: [200, 200, 90],
            mass_g,
            flags: [flag].into(),
            assets: [].into(),
            allowance_um: 0,
            retired: false,
        }
    }

    fn heads(recipe: &Recipe, part: &Part) -> Vec<&'static str> {
        let cautions = cautions(&Rules::usual(), Some(recipe), Some(part), Damage::Damaged);
        cautions.iter().map(|c| c.head).collect()
    }

    /// Air does not take the place of air; what lifts is checked before it is fitted; 25 kg is one
    /// person's, a gram more is not.
    #[test]
    fn each_caution_is_there_where_it_is_due_and_nowhere_else() {
        let light = heads(&recipe(Gas::Air), &part(25_000, Flag::FormOnly));
        for absent in [
            "No smell, no warning.",
            "Heavy.",
            "Not to be used unchecked.",
        ] {
            assert!(!light.contains(&absent), "{absent}");
        }
        let heavy = heads(&recipe(Gas::Nitrogen), &part(25_001, Flag::Lifts));
        for present in [
            "No smell, no warning.",
            "Heavy.",
            "Not to be used unchecked.",
        ] {
            assert!(heavy.contains(&present), "{present}");
        }
    }

    #[test]
    fn an_interim_part_says_when_it_must_come_off() {
        let caution = interim("by 29 Nov 2026 15:40");
        assert_eq!(
            format!("{} {}", caution.head, caution.text),
            "INTERIM PART: take off by 29 Nov 2026 15:40; tag it out of use then."
        );
    }

    #[test]
    fn a_caution_names_its_steps() {
        let all = cautions(
            &Rules::usual(),
            Some(&recipe(Gas::Air)),
            None,
            Damage::Interim,
        );
        let hot = all.iter().find(|c| c.head == "Hot.").expect("hot");
        assert_eq!(hot.steps, ["spray", "heat-treat"]);
        let interim = all.last().expect("the interim part");
        assert_eq!(interim.steps, ["fit"]);
        assert_eq!(cautions(&Rules::usual(), None, None, Damage::Interim), []);
    }
}
