use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{BuildRule, Flag, FlagRule, Rules, Who as Authority};
use mendpost_core::people::Act;
use mendpost_core::signature::Meaning;

use super::form::{RuleForm, YES, less_than_usual};
use super::queries::Set;
use super::{PATH, Stands};
use crate::AppState;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Screen, page, page_with};
use crate::people::{Visit, Who};
use crate::signature::{Ask, Secret, ask};
use crate::version::{Field, Stale};
use crate::words::authority::{build_rule_word, rule as rule_words, who_word, whose_words};
use crate::words::recipe::flag_means;
use crate::words::work::{count, flag as flag_word, sentence};

#[derive(Template)]
#[template(path = "authority/list.html")]
struct TablePage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
}

/// What one flag asks for, in words.
struct Row {
    /// Where it is set; none where it is not for the site, or not for this person, to set.
    path: Option<String>,
    name: String,
    means: &'static str,
    build: String,
    to_build: Whose,
    to_release: Whose,
    is_own: bool,
    /// By whom, and when; empty if the site has never said anything.
    set: String,
    why: String,
}

/// Whose yes, and how it must come.
struct Whose {
    who: String,
    how: &'static str,
}

pub(super) async fn table_page(
    visit: &Visit,
    rules: &Rules,
    set: &BTreeMap<Flag, Set>,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Site, "Who says yes").await?;
    let usual = Rules::usual();
    let is_lead = visit.may(Act::SetUpSite);
    let row = |flag: &Flag| {
        let rule = rules.of(*flag);
        let set = set.get(flag);
        Row {
            path: (is_lead && *flag != Flag::Unknown).then(|| format!("{PATH}/{flag}")),
            name: sentence(name(*flag)),
            means: flag_means(*flag),
            build: sentence(build_rule_word(rule.build)),
            to_build: to_build(*flag, &rule),
            to_release: to_release(&rule),
            is_own: rule != usual.of(*flag),
            set: set.map_or_else(String::new, |set| said(&layout, set)),
            why: set.map_or_else(String::new, |set| set.reason.clone()),
        }
    };
    let rows: Vec<Row> = Flag::ALL.iter().map(row).collect();
    let own = rows.iter().filter(|row| row.is_own).count();
    page(&TablePage {
        answer: match own {
            0 => "Follow the usual rules: this site has set none of its own.".to_owned(),
            1 => "Follow the usual rules but one: that is the site’s own.".to_owned(),
            many => format!(
                "Follow the usual rules but {}: those are the site’s own.",
                count(many)
            ),
        },
        page: layout,
        rows,
    })
}

/// A flag without what it counts as: that stands beside it.
fn name(flag: Flag) -> &'static str {
    match flag {
        Flag::Unknown => "use not known",
        known => flag_word(known),
    }
}

fn said(page: &Layout, set: &Set) -> String {
    format!("{}, {}", set.by, page.moment(&set.at_ms))
}

fn to_build(flag: Flag, rule: &FlagRule) -> Whose {
    match rule.build {
        _ if flag == Flag::Unknown => Whose {
            who: "Say what the part does".to_owned(),
            how: "that opens it",
        },
        BuildRule::Crew | BuildRule::Trial => Whose {
            who: "Nobody’s".to_owned(),
            how: "",
        },
        BuildRule::Ask => Whose {
            who: sentence(&whose_words(&rule.to_build)),
            how: how(rule.build_written),
        },
        BuildRule::Refuse => Whose {
            who: sentence(&whose_words(&rule.to_build)),
            how: "alone may decide, elsewhere",
        },
    }
}

fn to_release(rule: &FlagRule) -> Whose {
    match rule.to_release.is_empty() {
        true => Whose {
            who: "A checker or lead".to_owned(),
            how: "who did not build it",
        },
        false => Whose {
            who: sentence(&whose_words(&rule.to_release)),
            how: how(rule.release_written),
        },
    }
}

fn how(written: bool) -> &'static str {
    if written {
        "in writing"
    } else {
        "said or written"
    }
}

#[derive(Template)]
#[template(path = "authority/edit.html")]
struct EditPage {
    page: Layout,
    answer: String,
    path: String,
    builds: Vec<Case>,
    to_build: Vec<(&'static str, String, bool)>,
    to_release: Vec<(&'static str, String, bool)>,
    build_written: bool,
    release_written: bool,
    /// What is typed asks for less than usual: its words, and whether somebody answers for it.
    less: Option<(String, bool)>,
    usual: String,
    stands: String,
    set: String,
    why: String,
    form: RuleForm,
    ask: Ask,
    errors: FieldErrors,
    stale: Option<Stale>,
}

/// One of the four ways in which a flag lets a part be built.
struct Case {
    value: &'static str,
    name: String,
    means: &'static str,
    chosen: bool,
}

/// How the form is shown.
#[derive(Default)]
pub(super) struct Shown {
    status: StatusCode,
    errors: FieldErrors,
    stale: Option<Stale>,
}

impl Shown {
    pub fn faulty(errors: FieldErrors) -> Self {
        Shown {
            status: errors.status(),
            errors,
            stale: None,
        }
    }

    pub fn stale(stale: Stale) -> Self {
        Shown {
            status: StatusCode::CONFLICT,
            stale: Some(stale),
            ..Shown::default()
        }
    }
}

pub(super) async fn edit_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    (flag, stands): (Flag, &Stands),
    form: RuleForm,
    shown: Shown,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Site, "Who says yes").await?;
    let mut asked = ask(state, visit, who, Meaning::SetRule).await?;
    shown.errors.of(SIGN_FIELD).clone_into(&mut asked.error);
    let typed = form.rule(&mut FieldErrors::default());
    let less = typed.and_then(|rule| less_than_usual(flag, &rule));
    let set = stands.set.as_ref();
    let edit = EditPage {
        answer: match shown.stale {
            Some(_) => "Choose which of the two stands.".to_owned(),
            None => format!("Say what is asked of a part: {}.", flag_word(flag)),
        },
        path: format!("{PATH}/{flag}"),
        builds: cases(&form.build),
        to_build: boxes(&form.to_build),
        to_release: boxes(&form.to_release),
        build_written: form.build_written == YES,
        release_written: form.release_written == YES,
        less: less.map(|words| {
            let answered = form.confirm == words;
            (words, answered)
        }),
        usual: sentence(&rule_words(&Rules::usual().of(flag))),
        stands: sentence(&rule_words(&stands.rule)),
        set: set.map_or_else(String::new, |set| said(&layout, set)),
        why: set.map_or_else(String::new, |set| set.reason.clone()),
        page: layout,
        form,
        ask: asked,
        errors: shown.errors,
        stale: shown.stale,
    };
    page_with(shown.status, &edit)
}

fn cases(chosen: &str) -> Vec<Case> {
    let case = |rule: &BuildRule| Case {
        value: rule.as_str(),
        name: sentence(build_rule_word(*rule)),
        means: match rule {
            BuildRule::Crew => "without asking anybody",
            BuildRule::Trial => "begun without asking, and fitted only after every yes to release",
            BuildRule::Ask => "everybody ticked below says yes first",
            BuildRule::Refuse => "whoever says yes; those ticked below may have it made elsewhere",
        },
        chosen: rule.as_str() == chosen,
    };
    BuildRule::ALL.iter().map(case).collect()
}

fn boxes(ticked: &[String]) -> Vec<(&'static str, String, bool)> {
    let one = |who: &Authority| {
        let is_ticked = ticked.iter().any(|word| word == who.as_str());
        (who.as_str(), sentence(who_word(*who)), is_ticked)
    };
    Authority::ALL.iter().map(one).collect()
}

/// What stands now beside what was typed.
pub(super) fn both(stands: &Stands, yours: &FlagRule, reason: &str) -> Vec<Field> {
    let whose = |whose: &BTreeSet<Authority>| match whose.is_empty() {
        true => "nobody".to_owned(),
        false => whose_words(whose),
    };
    let field =
        |name, say: &dyn Fn(&FlagRule) -> String| Field::new(name, &say(&stands.rule), &say(yours));
    let why = stands.set.as_ref().map_or("", |set| set.reason.as_str());
    vec![
        field("Building it", &|rule| {
            build_rule_word(rule.build).to_owned()
        }),
        field("Yes to build", &|rule| whose(&rule.to_build)),
        field("That yes", &|rule| how(rule.build_written).to_owned()),
        field("Yes to release", &|rule| whose(&rule.to_release)),
        field("And that yes", &|rule| how(rule.release_written).to_owned()),
        Field::new("Why", &why, &reason),
    ]
}
