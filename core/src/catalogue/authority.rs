//! Who must say yes before a part is built, and before it is released: the rules of its flags together.
//!
//! Mendpost records a yes and never gives one. The rules are the site's usual caution, not law:
//! local codes and the licensed person responsible come first.

use crate::word_enum;
use std::collections::{BTreeMap, BTreeSet};

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

word_enum! {
    /// What a yes is to.
    About {
        /// To building the part.
        Build = "build",
        /// To letting it go and fitting it.
        Release = "release",
    }
}

word_enum! {
    /// Whether a flag lets a part be built.
    BuildRule {
        /// The crew may build it.
        Crew = "crew",
        /// The crew may build a trial piece.
        Trial = "trial",
        /// Not before everybody named has said yes.
        Ask = "ask",
        /// Not here, whoever says yes.
        Refuse = "refuse",
    }
}

/// What one flag asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FlagRule {
    /// Whether it may be built.
    pub build: BuildRule,
    /// Whose yes it takes to build it; where it is refused, who alone may decide elsewhere.
    pub to_build: BTreeSet<Who>,
    /// A yes to build counts only on paper or by mail.
    pub build_written: bool,
    /// Whose yes it takes to release it, all of them; empty: a checker or lead who did not build it.
    pub to_release: BTreeSet<Who>,
    /// A yes to release counts only on paper or by mail.
    pub release_written: bool,
}

impl FlagRule {
    /// Whether it asks for less than another in any point: it lets more be built, counts without
    /// somebody's yes that the other asks for, or takes one that was only said.
    ///
    /// Common practice, no source: a trial piece asks for less than a yes, since it is begun without one.
    #[must_use]
    pub fn asks_less_than(&self, other: &Self) -> bool {
        let both_ask = self.build == BuildRule::Ask && other.build == BuildRule::Ask;
        let to_build = !self.to_build.is_superset(&other.to_build)
            || (other.build_written && !self.build_written);
        self.build < other.build
            || (both_ask && to_build)
            || !self.to_release.is_superset(&other.to_release)
            || (other.release_written && !self.release_written)
    }

    /// Whose yes it takes to build, or who alone may decide elsewhere: a rule that names nobody leaves it
    /// to the engineer of the owner, so that it never lets a part through.
    fn asked_to_build(&self) -> BTreeSet<Who> {
        match self.to_build.is_empty() {
            true => BTreeSet::from([Who::OwnersEngineer]),
            false => self.to_build.clone(),
        }
    }
}

/// What each flag asks for on a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules(BTreeMap<Flag, FlagRule>);

impl Rules {
    /// The usual rules, common practice without a source: form and guards are the crew's own; what
    /// carries load, turns or touches food is released on the written yes of the owner's engineer; what
    /// can injure is not begun before it; what lifts is a trial piece until engineer and examiner have
    /// said yes; pressure, steering, brakes and explosive areas are refused, and so is what nobody has
    /// spoken about.
    #[must_use]
    pub fn usual() -> Self {
        let rule = |flag: &Flag| (*flag, usual(*flag));
        Self(Flag::ALL.iter().map(rule).collect())
    }

    /// The usual rules with some of them replaced.
    #[must_use]
    pub fn with(mut self, rules: impl IntoIterator<Item = (Flag, FlagRule)>) -> Self {
        self.0.extend(rules);
        self
    }

    /// The rule of a flag.
    #[must_use]
    pub fn of(&self, flag: Flag) -> FlagRule {
        self.0.get(&flag).cloned().unwrap_or_else(|| usual(flag))
    }

    /// What a part with these flags asks for: everything that any of them asks for, and none counts as
    /// unknown.
    #[must_use]
    pub fn authority(&self, flags: &BTreeSet<Flag>) -> Authority {
        let unknown = BTreeSet::from([Flag::Unknown]);
        let flags = if flags.is_empty() { &unknown } else { flags };
        let mut all = Authority::default();
        for flag in flags {
            let rule = self.of(*flag);
            match rule.build {
                BuildRule::Crew => {}
                BuildRule::Trial => all.trial = true,
                BuildRule::Ask => {
                    all.build_written |= rule.build_written;
                    all.to_build.extend(rule.asked_to_build());
                }
                BuildRule::Refuse => all.refused.extend([(*flag, rule.asked_to_build())]),
            }
            all.release_written |= rule.release_written && !rule.to_release.is_empty();
            all.to_release.extend(rule.to_release);
        }
        all
    }
}

fn usual(flag: Flag) -> FlagRule {
    use BuildRule::{Ask, Crew, Refuse, Trial};
    use Who::{LicensedBody, LiftingExaminer, OwnersEngineer, PressureInspector};
    let (build, to_build, to_release): (_, &[Who], &[Who]) = match flag {
        Flag::FormOnly | Flag::Guard => (Crew, &[], &[]),
        Flag::FoodOrWater | Flag::CarriesLoad => (Crew, &[], &[OwnersEngineer]),
        Flag::CanInjure => (Ask, &[OwnersEngineer], &[OwnersEngineer]),
        Flag::Unknown => (Refuse, &[OwnersEngineer], &[OwnersEngineer]),
        Flag::Lifts => (Trial, &[], &[OwnersEngineer, LiftingExaminer]),
        Flag::HoldsPressure => (Refuse, &[PressureInspector], &[PressureInspector]),
        Flag::SteersOrBrakes | Flag::ExplosiveArea => (Refuse, &[LicensedBody], &[LicensedBody]),
    };
    FlagRule {
        build,
        to_build: to_build.iter().copied().collect(),
        to_release: to_release.iter().copied().collect(),
        build_written: build == Refuse,
        release_written: !to_release.is_empty(),
    }
}

/// What a part asks for, by all its flags.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Authority {
    /// Flags for which it is not made here, each with who alone may decide elsewhere.
    pub refused: BTreeMap<Flag, BTreeSet<Who>>,
    /// It may be built as a trial piece only.
    pub trial: bool,
    /// Whose yes it takes to build it.
    pub to_build: BTreeSet<Who>,
    /// Those to build count only in writing.
    pub build_written: bool,
    /// Whose yes it takes to release it.
    pub to_release: BTreeSet<Who>,
    /// Those to release count only in writing.
    pub release_written: bool,
}

impl Authority {
    /// Whose yes it takes.
    #[must_use]
    pub const fn whose(&self, about: About) -> &BTreeSet<Who> {
        match about {
            About::Build => &self.to_build,
            About::Release => &self.to_release,
        }
    }

    /// Whether a yes counts only in writing.
    #[must_use]
    pub const fn is_written(&self, about: About) -> bool {
        match about {
            About::Build => self.build_written,
            About::Release => self.release_written,
        }
    }

    /// The crew may build and release it by themselves.
    #[must_use]
    pub fn is_free(&self) -> bool {
        self.refused.is_empty() && self.to_build.is_empty() && self.to_release.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(flags: &[Flag]) -> Authority {
        Rules::usual().authority(&flags.iter().copied().collect())
    }

    /// Common practice, no source: what lifts may be built as a trial, what holds pressure may not.
    #[test]
    fn every_flag_adds_what_it_asks_for() {
        assert!(of(&[Flag::FormOnly, Flag::Guard]).is_free());
        let load = of(&[Flag::FormOnly, Flag::CarriesLoad]);
        assert_eq!(load.to_build, BTreeSet::new());
        assert_eq!(load.to_release, BTreeSet::from([Who::OwnersEngineer]));
        let lifts = of(&[Flag::CarriesLoad, Flag::Lifts]);
        assert!(lifts.trial && lifts.release_written && !lifts.build_written);
        assert_eq!(
            lifts.to_release,
            BTreeSet::from([Who::OwnersEngineer, Who::LiftingExaminer])
        );
        let pressure = of(&[Flag::Lifts, Flag::HoldsPressure]);
        assert_eq!(
            pressure.refused,
            BTreeMap::from([(
                Flag::HoldsPressure,
                BTreeSet::from([Who::PressureInspector])
            )])
        );
    }

    /// A part about which nobody said anything is not begun; what it would take is as of one that can injure.
    #[test]
    fn no_flag_counts_as_unknown() {
        let unknown = of(&[]);
        assert_eq!(unknown, of(&[Flag::Unknown]));
        assert!(unknown.refused.contains_key(&Flag::Unknown));
        assert_eq!(unknown.to_release, of(&[Flag::CanInjure]).to_release);
    }

    /// Where an inspector has agreed to give written plans, the site may ask instead of refusing.
    #[test]
    fn a_site_may_have_a_rule_of_its_own() {
        let asks = FlagRule {
            build: BuildRule::Ask,
            ..usual(Flag::HoldsPressure)
        };
        let rules = Rules::usual().with([(Flag::HoldsPressure, asks)]);
        let pressure = rules.authority(&BTreeSet::from([Flag::HoldsPressure]));
        assert!(pressure.refused.is_empty());
        assert_eq!(pressure.to_build, BTreeSet::from([Who::PressureInspector]));
        assert!(pressure.build_written, "their plan is a written one");
    }

    /// Asking for a yes where it was refused is less, and so is a trial where a yes was asked for; one
    /// more person to ask is not.
    #[test]
    fn less_is_less_in_any_point() {
        let injures = usual(Flag::CanInjure);
        assert!(!injures.asks_less_than(&injures));
        let ask = FlagRule {
            build: BuildRule::Ask,
            ..usual(Flag::HoldsPressure)
        };
        assert!(ask.asks_less_than(&usual(Flag::HoldsPressure)));
        assert!(!usual(Flag::HoldsPressure).asks_less_than(&ask));
        let with = |change: &dyn Fn(&mut FlagRule)| {
            let mut rule = injures.clone();
            change(&mut rule);
            rule.asks_less_than(&injures)
        };
        assert!(with(&|rule| rule.build = BuildRule::Trial));
        assert!(with(&|rule| rule.to_build.clear()));
        assert!(with(&|rule| rule.to_release.clear()));
        assert!(with(&|rule| rule.release_written = false));
        assert!(!with(&|rule| rule.build = BuildRule::Refuse));
        assert!(!with(&|rule| rule.build_written = true));
        assert!(!with(&|rule| {
            rule.to_build.insert(Who::CellLead);
            rule.to_release.insert(Who::LicensedBody);
        }));
    }

    /// A rule that asks, or refuses, and names nobody must not open the door.
    #[test]
    fn a_rule_without_anybody_is_left_to_the_engineer() {
        for build in [BuildRule::Ask, BuildRule::Refuse] {
            let nobody = FlagRule {
                build,
                to_build: BTreeSet::new(),
                ..usual(Flag::FormOnly)
            };
            let rules = Rules::usual().with([(Flag::FormOnly, nobody)]);
            let authority = rules.authority(&BTreeSet::from([Flag::FormOnly]));
            let engineer = BTreeSet::from([Who::OwnersEngineer]);
            match build {
                BuildRule::Ask => assert_eq!(authority.to_build, engineer),
                _ => assert_eq!(authority.refused[&Flag::FormOnly], engineer),
            }
        }
    }
}
