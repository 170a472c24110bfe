use askama::Template;
use mendpost_core::catalogue::Skill;
use mendpost_core::situation::Situation;

use super::form::{ANYBODY, CELL, Parsed, Typed, of_delivery};
use super::{PATH, Worked};
use crate::form::FieldErrors;
use crate::lineup::beside::{AS_MUCH, Beside, beside, difference};
use crate::lineup::pages::wait;
use crate::lineup::queries::Stored;
use crate::lineup::timeline::Shape;
use crate::page::Layout;
use crate::words::Words;
use crate::words::authority::skill_word;
use crate::words::work::sentence;

type Choices = Vec<(String, String)>;

#[derive(Template)]
#[template(path = "line-up/what-if.html")]
pub struct WhatIfPage {
    page: Layout,
    path: &'static str,
    answer: String,
    reason: String,
    unit: String,
    number: i64,
    until: String,
    assumed: Vec<String>,
    beside: Option<Beside>,
    deliveries: Vec<Coming>,
    typed: Typed,
    errors: FieldErrors,
    places: Choices,
    people: Choices,
    powders: Choices,
    banks: Choices,
    keep_backs: Choices,
    requests: Choices,
    capabilities: Choices,
}

/// A delivery on its way, with its two fields.
struct Coming {
    name: String,
    late: String,
    never: String,
}

impl WhatIfPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        shown: &Stored,
        typed: &Typed,
        parsed: Parsed,
        worked: Option<&Worked>,
    ) -> Self {
        let words = Words::new(situation);
        let unit = situation.site.loss_word.clone();
        let made = parsed.made.iter().map(|(_, made)| words.assumption(made));
        let mut reason = format!(
            "Only worked out: nothing changes, and order {} stands as it is.",
            shown.number
        );
        let answer = worked.map_or_else(
            || "Say what to assume, and see what it would change.".to_owned(),
            |worked| answer(&words, worked, &unit),
        );
        if let Some(worked) = worked {
            if worked.best.plan.proven == Some(true) {
                reason.push_str(" No order does better.");
            }
            reason.push_str(&missed(worked, shown.number, &unit));
        }
        WhatIfPage {
            path: PATH,
            answer,
            reason,
            number: shown.number,
            until: words.moment(situation.moment(situation.horizon())),
            assumed: made.collect(),
            beside: worked.map(|worked| sides(&words, worked)),
            deliveries: situation
                .deliveries
                .iter()
                .map(|d| {
                    let [late, never] = of_delivery(&d.code);
                    Coming {
                        name: format!("{}, {}", sentence(&d.name), words.clock(d.expected)),
                        late,
                        never,
                    }
                })
                .collect(),
            typed: typed.clone(),
            errors: parsed.errors,
            places: places(situation),
            people: people(),
            powders: pairs(situation.powders.iter().map(|p| (&p.code, &p.name))),
            banks: situation
                .banks
                .iter()
                .map(|b| (b.code.to_string(), format!("like bank {}", b.code)))
                .collect(),
            keep_backs: situation
                .keep_backs
                .iter()
                .map(|it| (it.number.to_string(), words.kept_briefly(it)))
                .collect(),
            requests: situation
                .requests
                .iter()
                .map(|r| (r.code.to_string(), words.request(r.code.as_str())))
                .collect(),
            capabilities: pairs(situation.capabilities.iter().map(|c| (&c.code, &c.name))),
            unit,
            page,
        }
    }
}

fn answer(words: &Words<'_>, worked: &Worked, unit: &str) -> String {
    match worked.without_place().next() {
        Some(waits) => {
            let first = words.request(waits.request.as_str());
            format!("{first} cannot be done first: it has no place.")
        }
        None => {
            let by = difference(worked.best.plan.loss - worked.unchanged, unit);
            format!("As assumed, the site would lose {by}.")
        }
    }
}

/// That the order shown could be better with nothing assumed; empty where no better one was found.
fn missed(worked: &Worked, number: i64, unit: &str) -> String {
    match difference(-worked.missed().max(0), unit) {
        by if by == AS_MUCH => String::new(),
        by => format!(
            " With nothing assumed, a longer search finds an order that loses {by} than order {number}, and that is \
             not counted as a gain: plan again."
        ),
    }
}

fn sides(words: &Words<'_>, worked: &Worked) -> Beside {
    let mut bars = vec![("As things stand", "ours", worked.planned.plan.loss)];
    if worked.missed() > 0 {
        bars.push(("Other order, now", "crew", worked.unchanged));
    }
    if let Some(kept) = worked.kept {
        bars.push(("Same order, then", "crew", kept));
    }
    if worked.without_place().next().is_none() {
        bars.push(("Other order, then", "crew", worked.best.plan.loss));
    }
    let nothing = worked.best.line_up.losses.nothing;
    bars.push(("Do nothing, then", "nothing", nothing));
    let mut sides = beside(words, &worked.planned, &worked.best, "As assumed", &bars);
    let left_out = |path: &str| {
        let mut left_out = worked.left_out.iter();
        left_out.any(|code| crate::requests::path(code) == path)
    };
    sides.fallen.retain(|wait| !left_out(&wait.path));
    for waits in worked.without_place() {
        let waits = wait(words, waits);
        if sides.fallen.iter().all(|fallen| fallen.path != waits.path) {
            sides.fallen.insert(0, waits);
        }
    }
    sides
}

fn pairs<'a>(all: impl Iterator<Item = (&'a (impl ToString + 'a), &'a String)>) -> Choices {
    all.map(|(code, name)| (code.to_string(), sentence(name)))
        .collect()
}

fn places(situation: &Situation) -> Choices {
    let cell = (CELL.to_owned(), "The cell".to_owned());
    let stations = situation.stations.iter();
    let stations = stations.map(|s| (s.code.to_string(), s.name.clone()));
    [cell].into_iter().chain(stations).collect()
}

fn people() -> Choices {
    let anybody = (
        ANYBODY.to_owned(),
        "somebody without these skills".to_owned(),
    );
    let skilled = Skill::ALL.iter().map(|skill| {
        let words = format!("one who can {}", skill_word(*skill));
        (skill.to_string(), words)
    });
    skilled.chain([anybody]).collect()
}
