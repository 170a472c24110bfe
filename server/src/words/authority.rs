//! Words for what a part asks for, who answers for it, and what they answered.

use mendpost_core::catalogue::{
    About, Answer, Authority, BuildRule, Came, Flag, FlagRule, NoYes, Rules, Said, Skill, Who,
};
use mendpost_core::lineup::IfYes;
use std::collections::BTreeSet;

use super::Words;
use super::work::flag;

/// Who may say yes, as the crew calls them.
pub const fn who_word(who: Who) -> &'static str {
    match who {
        Who::CellLead => "the cell lead",
        Who::OwnersEngineer => "the owner’s engineer",
        Who::LiftingExaminer => "the lifting examiner",
        Who::PressureInspector => "the licensed pressure inspector",
        Who::LicensedBody => "the body licensed for that field",
    }
}

/// 'the owner’s engineer and the lifting examiner'.
pub fn whose_words(whose: &BTreeSet<Who>) -> String {
    let words: Vec<&str> = whose.iter().map(|who| who_word(*who)).collect();
    words.join(" and ")
}

/// What a yes is to.
pub const fn about_word(about: About) -> &'static str {
    match about {
        About::Build => "building it",
        About::Release => "releasing it",
    }
}

/// What somebody must be able to do.
pub const fn skill_word(skill: Skill) -> &'static str {
    match skill {
        Skill::Sprayer => "spray",
        Skill::Machinist => "cut and check",
    }
}

/// How an answer came.
pub const fn came_word(came: Came) -> &'static str {
    match came {
        Came::InPerson => "face to face",
        Came::Paper => "on signed paper",
        Came::Radio => "by radio or telephone",
        Came::Mail => "by mail",
    }
}

/// What was answered, by its word in storage.
pub fn said_word(said: &str) -> &'static str {
    match said {
        "yes" => "yes",
        "no" => "no, or a yes taken back",
        _ => "not yet",
    }
}

/// Whether a flag lets a part be built.
pub const fn build_rule_word(rule: BuildRule) -> &'static str {
    match rule {
        BuildRule::Crew => "the crew may build it",
        BuildRule::Trial => "a trial piece only",
        BuildRule::Ask => "not before a yes",
        BuildRule::Refuse => "not built here",
    }
}

/// A rule in one line.
pub fn rule(rule: &FlagRule) -> String {
    let build = match rule.build {
        BuildRule::Ask => format!(
            "not built before {}",
            say_yes(&rule.to_build, rule.build_written)
        ),
        BuildRule::Refuse if !rule.to_build.is_empty() => {
            format!(
                "not built here: {} alone may decide",
                whose_words(&rule.to_build)
            )
        }
        other => build_rule_word(other).to_owned(),
    };
    let release = match rule.to_release.is_empty() {
        true => "released by a checker or lead who did not build it".to_owned(),
        false => format!(
            "released when {}",
            say_yes(&rule.to_release, rule.release_written)
        ),
    };
    format!("{build}; {release}")
}

/// 'the owner's engineer says yes', 'the owner's engineer and the lifting examiner say yes in writing'.
fn say_yes(whose: &BTreeSet<Who>, written: bool) -> String {
    let say = if whose.len() == 1 { "says" } else { "say" };
    let in_writing = if written { " in writing" } else { "" };
    format!("{} {say} yes{in_writing}", whose_words(whose))
}

/// What a part that loses flags is no longer marked for, and what that does to who must say yes.
pub struct Lost {
    pub flags: Vec<&'static str>,
    pub was: String,
    pub now: String,
    /// Nothing less is asked for.
    pub same: bool,
}

/// None if nothing is lost but that nothing depends on it. No flag at all counts as unknown, so a first
/// flag takes that away.
pub fn lost(rules: &Rules, before: &BTreeSet<Flag>, after: &BTreeSet<Flag>) -> Option<Lost> {
    let marks = |flags: &BTreeSet<Flag>| match flags.is_empty() {
        true => BTreeSet::from([Flag::Unknown]),
        false => flags.clone(),
    };
    let gone = &marks(before) - &marks(after);
    let gone = gone.into_iter().filter(|gone| *gone != Flag::FormOnly);
    let flags: Vec<&str> = gone.map(flag).collect();
    if flags.is_empty() {
        return None;
    }
    let (was, now) = (rules.authority(before), rules.authority(after));
    Some(Lost {
        flags,
        same: was == now,
        was: authority(&was),
        now: authority(&now),
    })
}

/// Who must say yes, and to what.
pub fn authority(authority: &Authority) -> String {
    if !authority.refused.is_empty() {
        let refused = authority.refused.iter().map(|(why, whose)| match why {
            Flag::Unknown => "nobody has said what it does: not built before".to_owned(),
            other => format!(
                "not built here, it {}: {} alone may decide",
                flag(*other),
                whose_words(whose)
            ),
        });
        return refused.collect::<Vec<_>>().join("; ");
    }
    if authority.is_free() {
        return "the crew may build and release it".to_owned();
    }
    let mut parts = Vec::new();
    if !authority.to_build.is_empty() {
        parts.push(format!(
            "not built before {}",
            say_yes(&authority.to_build, authority.build_written)
        ));
    } else if authority.trial {
        parts.push("built as a trial piece".to_owned());
    } else {
        parts.push("may be built".to_owned());
    }
    if !authority.to_release.is_empty() {
        parts.push(format!(
            "fitted only after {}",
            say_yes(&authority.to_release, authority.release_written)
        ));
    }
    parts.join("; ")
}

impl Words<'_> {
    /// Why there is no yes that counts.
    pub fn no_yes(&self, why: &NoYes) -> String {
        match why {
            NoYes::Missing => "nobody has answered".to_owned(),
            NoYes::Declined => "the answer was no".to_owned(),
            NoYes::Expired(at) => format!("it ran out {}", self.when(*at)),
            NoYes::Limited(recipe, revision) => {
                format!("it holds for {recipe} rev {revision} alone")
            }
            NoYes::OfAuthor(name) => format!("{name} wrote on the recipe"),
            NoYes::NotWritten => "it was said, not written".to_owned(),
            NoYes::Overdue(at) => format!("the answer was expected {}", self.when(*at)),
            NoYes::Awaited(at) => format!("the answer is expected {}", self.when(*at)),
        }
    }

    /// 'if the owner’s engineer says yes to building it, expected Thu 26 15:00'.
    pub fn if_yes(&self, yes: &IfYes) -> String {
        let (who, about) = (who_word(yes.who), about_word(yes.about));
        match (yes.expected, &yes.why) {
            (Some(at), _) => format!("if {who} says yes to {about}, expected {}", self.when(at)),
            (None, Some(why)) if *why != NoYes::Missing => {
                format!("if {who} says yes to {about}: {}", self.no_yes(why))
            }
            _ => format!("if {who} says yes to {about}: nobody has asked yet"),
        }
    }

    /// 'yes, until Thu 26 15:00, for BR-031 rev 2 alone'.
    pub fn said(&self, answer: &Answer) -> String {
        match &answer.said {
            Said::No => "No".to_owned(),
            Said::Awaited { expected: None } => "Not yet; nobody said when".to_owned(),
            Said::Awaited { expected: Some(at) } => {
                format!("Not yet; expected {}", self.when(*at))
            }
            Said::Yes { until, only } => {
                let mut text = "Yes".to_owned();
                if let Some((recipe, revision)) = only {
                    text.push_str(&format!(", for {recipe} rev {revision} alone"));
                }
                match until {
                    Some(at) => text.push_str(&format!(", until {}", self.moment(*at))),
                    None => text.push_str(", without end"),
                }
                text
            }
        }
    }
}
