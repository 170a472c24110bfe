//! Who must say yes before a part is built: the strictest of its flags rules.
//!
//! Mendpost records a yes and never gives one. The rules are the site's usual caution, not law:
//! local codes and the licensed person responsible come first.

use crate::word_enum;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;

word_enum! {
    /// What a part does that someone may have to answer for.
    Flag {
        /// A cover, a bracket, a knob: nothing depends on its strength.
        FormOnly = "form-only",
        /// Keeps people away from something that moves.
        Guard = "guard",
        /// Touches food or drinking water.
        FoodOrWater = "food-or-water",
        /// Carries load or turns fast.
        CarriesLoad = "carries-load",
        /// Its failure can injure.
        CanInjure = "can-injure",
        /// Lifts people or loads.
        Lifts = "lifts",
        /// Holds pressure.
        HoldsPressure = "holds-pressure",
        /// Steers or brakes.
        SteersOrBrakes = "steers-or-brakes",
        /// Works where the air can explode.
        ExplosiveArea = "explosive-area",
        /// Nobody has said yet.
        Unknown = "unknown",
    }
}

word_enum! {
    /// Who may say yes.
    Who {
        /// The cell lead, with the checker.
        CellLead = "cell-lead",
        /// The engineer who answers for the machine at its owner.
        OwnersEngineer = "owners-engineer",
        /// The examiner of lifting gear.
        LiftingExaminer = "lifting-examiner",
        /// The inspector licensed for pressure parts.
        PressureInspector = "pressure-inspector",
        /// The body licensed for that field alone.
        LicensedBody = "licensed-body",
    }
}

/// A yes that was given and recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Yes {
    /// Who gave it.
    pub who: Who,
    /// The person's name or position.
    pub name: String,
    /// What was said or written, with its limits.
    pub words: String,
    /// Until when it holds; without end if nothing was said.
    pub until: Option<DateTime<Utc>>,
}

/// What the flags of a part ask for before it may be built.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Authority {
    /// The crew may build it.
    Free,
    /// The crew may build it; it is fitted only after this person's yes.
    BuildThenAsk(Who),
    /// Not before this person's yes.
    AskFirst(Who),
    /// Not here, unless this person plans it in writing.
    Refused(Who),
}

/// What a part with these flags asks for: the strictest flag rules, and none counts as unknown.
#[must_use]
pub fn authority(flags: &BTreeSet<Flag>) -> Authority {
    flags
        .iter()
        .map(|flag| of_flag(*flag))
        .max_by_key(|a| strictness(*a))
        .unwrap_or_else(|| of_flag(Flag::Unknown))
}

const fn of_flag(flag: Flag) -> Authority {
    match flag {
        Flag::FormOnly | Flag::Guard => Authority::Free,
        Flag::FoodOrWater | Flag::CarriesLoad => Authority::BuildThenAsk(Who::OwnersEngineer),
        Flag::Lifts => Authority::BuildThenAsk(Who::LiftingExaminer),
        Flag::CanInjure | Flag::Unknown => Authority::AskFirst(Who::OwnersEngineer),
        Flag::HoldsPressure => Authority::Refused(Who::PressureInspector),
        Flag::SteersOrBrakes | Flag::ExplosiveArea => Authority::Refused(Who::LicensedBody),
    }
}

const fn strictness(authority: Authority) -> u8 {
    match authority {
        Authority::Free => 0,
        Authority::BuildThenAsk(Who::LiftingExaminer) => 2,
        Authority::BuildThenAsk(_) => 1,
        Authority::AskFirst(_) => 3,
        Authority::Refused(_) => 4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: what lifts may be built as a trial, what holds pressure may not.
    #[test]
    fn the_strictest_flag_rules() {
        let of = |flags: &[Flag]| authority(&flags.iter().copied().collect());
        assert_eq!(of(&[Flag::FormOnly]), Authority::Free);
        assert_eq!(
            of(&[Flag::FormOnly, Flag::CarriesLoad]),
            Authority::BuildThenAsk(Who::OwnersEngineer)
        );
        assert_eq!(
            of(&[Flag::CarriesLoad, Flag::Lifts]),
            Authority::BuildThenAsk(Who::LiftingExaminer)
        );
        assert_eq!(
            of(&[Flag::Lifts, Flag::HoldsPressure]),
            Authority::Refused(Who::PressureInspector)
        );
    }

    /// A part about which nobody said anything counts as one that can injure.
    #[test]
    fn no_flag_counts_as_unknown() {
        assert_eq!(
            authority(&BTreeSet::new()),
            Authority::AskFirst(Who::OwnersEngineer)
        );
        assert_eq!(
            authority(&BTreeSet::new()),
            authority(&BTreeSet::from([Flag::CanInjure]))
        );
    }
}
