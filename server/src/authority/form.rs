use std::collections::BTreeSet;

use mendpost_core::catalogue::{BuildRule, Flag, FlagRule, Rules, Who};
use serde::Deserialize;

use crate::form::{FieldErrors, choice, text};
use crate::words::authority::rule as rule_words;

/// What was typed of a rule.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct RuleForm {
    pub build: String,
    pub to_build: Vec<String>,
    pub build_written: String,
    pub to_release: Vec<String>,
    pub release_written: String,
    pub reason: String,
    /// The words of the rule that asks for less than usual, where somebody answers for it.
    pub confirm: String,
    pub version: String,
    pub sign_passphrase: String,
}

/// A ticked box.
pub(super) const YES: &str = "yes";

impl RuleForm {
    /// The form of what stands; why it is set is asked anew.
    pub fn of(rule: &FlagRule, version: i64) -> Self {
        let words = |whose: &BTreeSet<Who>| whose.iter().map(ToString::to_string).collect();
        let ticked = |is: bool| if is { YES.to_owned() } else { String::new() };
        RuleForm {
            build: rule.build.to_string(),
            to_build: words(&rule.to_build),
            build_written: ticked(rule.build_written),
            to_release: words(&rule.to_release),
            release_written: ticked(rule.release_written),
            version: version.to_string(),
            ..RuleForm::default()
        }
    }

    /// The rule and its reason, or every fault. One that asks for less than usual takes a box that names
    /// it, so that nobody answers for another one than they have read.
    pub fn parse(&self, flag: Flag, errors: &mut FieldErrors) -> Option<(FlagRule, String)> {
        let rule = self.rule(errors);
        let reason = errors.check("reason", text(&self.reason, 400));
        if let Some(here) = rule.as_ref().and_then(|rule| less_than_usual(flag, rule))
            && self.confirm != here
        {
            let fault = "this asks for less than usual; tick it if you answer for that";
            errors.add("confirm", fault);
        }
        Some((rule?, reason?))
    }

    /// The rule as it is typed.
    pub fn rule(&self, errors: &mut FieldErrors) -> Option<FlagRule> {
        let build = match self.build.is_empty() {
            true => {
                errors.add("build", "choose one of the four");
                None
            }
            false => errors.check("build", choice(&self.build)),
        };
        let to_build = whose("to_build", &self.to_build, errors);
        if let (Some(build), Some(to_build)) = (build, &to_build) {
            let fault = match (build, to_build.is_empty()) {
                (BuildRule::Ask, true) => "tick whose yes it takes; everybody ticked must give it",
                (BuildRule::Refuse, true) => "tick who alone may decide, so that the crew can ask",
                (BuildRule::Crew | BuildRule::Trial, false) => {
                    "nobody is asked before it is built; untick, or choose ‘not before a yes’"
                }
                _ => "",
            };
            if !fault.is_empty() {
                errors.add("to_build", fault);
            }
        }
        let to_release = whose("to_release", &self.to_release, errors);
        let (to_build, to_release) = (to_build?, to_release?);
        Some(FlagRule {
            build: build?,
            build_written: self.build_written == YES && !to_build.is_empty(),
            to_build,
            release_written: self.release_written == YES && !to_release.is_empty(),
            to_release,
        })
    }
}

/// The words of a rule, if it asks for less than the usual one of its flag.
pub(super) fn less_than_usual(flag: Flag, rule: &FlagRule) -> Option<String> {
    let usual = Rules::usual().of(flag);
    rule.asks_less_than(&usual).then(|| rule_words(rule))
}

fn whose(field: &str, typed: &[String], errors: &mut FieldErrors) -> Option<BTreeSet<Who>> {
    let whose = typed.iter().map(|word| word.parse().ok());
    let whose: Option<BTreeSet<Who>> = whose.collect();
    if whose.is_none() {
        errors.add(field, "one of these is not in the list; tick from the list");
    }
    whose
}
