//! What the yeses on record let a recipe do for a request: which are missing, on which the line-up
//! counts before they are given, and within which stretch of time they hold.

use super::draft::approval_gate;
use super::gate::{Gate, Opens, Shut};
use super::part_gates::{base_metal_gate, refusal_gates, size_gates};
use crate::catalogue::{
    About, Answer, NoYes, Operation, OperationKind, Part, Question, Recipe, Said, Who, answered,
};
use crate::planner::{self, Limit, Load};
use crate::situation::{Request, Situation};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// A yes on which the line-up counts, and which is not given yet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct IfYes {
    /// To what.
    pub about: About,
    /// Whose.
    pub who: Who,
    /// When it is expected; none if nobody has asked, or said when.
    pub expected: Option<DateTime<Utc>>,
    /// Why the one on record does not count; none while an answer is awaited.
    pub why: Option<NoYes>,
}

/// What the yeses on record come to.
#[derive(Debug, Default)]
pub(super) struct Yeses {
    /// Nothing starts before this minute.
    pub(super) earliest: i64,
    pub(super) shut: Vec<Shut>,
    pub(super) if_yes: Vec<IfYes>,
    pub(super) windows: Vec<Window>,
}

impl Yeses {
    /// What was asked about building matters no more.
    pub(super) fn forget_build(&mut self) {
        self.earliest = 0;
        self.shut.retain(|shut| !is_about(shut, About::Build));
        self.if_yes.retain(|yes| yes.about != About::Build);
        self.windows.retain(|window| window.about != About::Build);
    }
}

fn is_about(shut: &Shut, about: About) -> bool {
    matches!(shut.gate, Gate::NoYes { about: told, .. } if told == about)
}

/// A stretch within which something may be done.
#[derive(Debug)]
pub(super) struct Window {
    about: About,
    pub(super) limit: Limit,
}

/// How the limits of yeses begin.
pub(super) const YES: &str = "yes/";

/// A yes to build that is missing is a gate; one that is awaited puts the start off until then. A yes to
/// release that is missing is no gate, since the part may be built meanwhile, unless it was declined.
pub(super) fn yeses(
    situation: &Situation,
    request: &Request,
    part: &Part,
    recipe: &Recipe,
) -> Yeses {
    let authority = situation.rules.authority(&part.flags);
    let authors = recipe.authors();
    let mut yeses = Yeses::default();
    for about in [About::Build, About::Release] {
        let (mut from, mut until) = (0, None);
        let written = authority.is_written(about);
        let whose = authority.whose(about).iter().copied();
        let whose: BTreeSet<Who> = whose.chain(declined(request, about)).collect();
        for who in whose {
            let question = Question {
                about,
                who,
                recipe: Some((&recipe.code, recipe.revision)),
                authors: &authors,
                written,
            };
            let if_yes = |expected, why| IfYes {
                about,
                who,
                expected,
                why,
            };
            match answered(&question, &request.answers, situation.now) {
                Ok(holds) => {
                    if let Some(at) = holds.expected {
                        from = situation.minute_from(at).max(from);
                        yeses.if_yes.push(if_yes(Some(at), None));
                    }
                    until = until.into_iter().chain(holds.until).min();
                }
                Err(why) if about == About::Release && why != NoYes::Declined => {
                    yeses.if_yes.push(if_yes(None, Some(why)));
                }
                Err(why) => {
                    let gate = Gate::NoYes { about, who, why };
                    yeses
                        .shut
                        .push(Shut::new(gate, Opens::Yes { who, written }));
                }
            }
        }
        if about == About::Build {
            yeses.earliest = from;
            from = 0;
        }
        yeses
            .windows
            .extend(window(situation, request, recipe, about, from, until));
    }
    yeses
}

/// Who has said no, asked or not.
fn declined(request: &Request, about: About) -> impl Iterator<Item = Who> {
    Who::ALL.iter().copied().filter(move |who| {
        let mine = |a: &&Answer| a.about == about && a.who == *who;
        let last = request.answers.iter().rfind(mine);
        last.is_some_and(|answer| answer.said == Said::No)
    })
}

/// What keeps a request from being begun by this recipe now, whatever is on hand; empty if it may be.
///
/// Stricter than the line-up: a yes that is awaited is not there yet.
#[must_use]
pub fn begin_gates(situation: &Situation, request: &Request, recipe: &Recipe) -> Vec<Shut> {
    let Some(part) = request.part.as_ref().and_then(|p| situation.part(p)) else {
        return vec![Shut::new(Gate::NotListed, Opens::ListPart)];
    };
    let mut shut = refusal_gates(situation, part);
    shut.extend(asked(situation, request, part, recipe, About::Build));
    shut.extend(size_gates(situation, part, request.mass_g));
    shut.extend(approval_gate(recipe));
    shut.extend(base_metal_gate(request, recipe));
    shut
}

/// What keeps a built part from being released; empty if it may be.
#[must_use]
pub fn release_gates(situation: &Situation, request: &Request, recipe: &Recipe) -> Vec<Shut> {
    let Some(part) = request.part.as_ref().and_then(|p| situation.part(p)) else {
        return vec![Shut::new(Gate::NotListed, Opens::ListPart)];
    };
    let mut shut = refusal_gates(situation, part);
    shut.extend(asked(situation, request, part, recipe, About::Release));
    shut
}

/// Every yes to one thing that is not given at this moment.
fn asked(
    situation: &Situation,
    request: &Request,
    part: &Part,
    recipe: &Recipe,
    about: About,
) -> Vec<Shut> {
    let given = yeses(situation, request, part, recipe);
    let written = situation.rules.authority(&part.flags).is_written(about);
    let mut shut = given.shut;
    shut.retain(|shut| is_about(shut, about));
    for if_yes in given.if_yes.into_iter().filter(|y| y.about == about) {
        let why = match (if_yes.why, if_yes.expected) {
            (Some(why), _) => why,
            (None, Some(at)) => NoYes::Awaited(at),
            (None, None) => NoYes::Missing,
        };
        let who = if_yes.who;
        let gate = Gate::NoYes { about, who, why };
        shut.push(Shut::new(gate, Opens::Yes { who, written }));
    }
    shut
}

fn window(
    situation: &Situation,
    request: &Request,
    recipe: &Recipe,
    about: About,
    from: i64,
    until: Option<DateTime<Utc>>,
) -> Option<Window> {
    let horizon = situation.horizon();
    let until = until.map_or(horizon, |at| situation.minute_until(at).min(horizon));
    let until = until.max(0);
    let from = if from < until { from } else { until };
    let windows: Vec<_> = [(0, from, 0), (until, horizon, 0)]
        .into_iter()
        .filter(|(from, to, _)| from < to)
        .collect();
    let (code, revision) = (&recipe.code, recipe.revision);
    (!windows.is_empty()).then(|| Window {
        about,
        limit: Limit {
            id: format!("{YES}{}/{code}.r{revision}/{about}", request.code),
            capacity: 1,
            windows,
        },
    })
}

impl Window {
    /// Makes what the yes is to keep to it: spraying, or the release.
    pub(super) fn load(&self, written: &[Operation], operations: &mut [planner::Operation]) {
        for (written, operation) in written.iter().zip(operations) {
            let kept = match self.about {
                About::Build => written.kind == OperationKind::Spray,
                About::Release => written.kind == OperationKind::Release,
            };
            if kept {
                operation.loads.push(Load {
                    limit: self.limit.id.clone(),
                    amount: 1,
                    through: None,
                });
            }
        }
    }
}
