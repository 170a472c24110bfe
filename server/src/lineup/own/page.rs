use askama::Template;
use mendpost_core::situation::Situation;

use super::{Own, PATH, Typed, field};
use crate::form::FieldErrors;
use crate::lineup::beside::{Beside, beside, difference};
use crate::lineup::queries::Stored;
use crate::lineup::timeline::Shape;
use crate::page::Layout;
use crate::words::Words;

#[derive(Template)]
#[template(path = "line-up/own.html")]
pub struct OwnPage {
    page: Layout,
    path: &'static str,
    answer: String,
    reason: String,
    unit: String,
    number: i64,
    until: String,
    rows: Vec<Numbered>,
    errors: FieldErrors,
    beside: Option<Beside>,
}

/// An open request and its number.
struct Numbered {
    field: String,
    number: String,
    asset: String,
    part: String,
    /// How it stands by the order that is shown.
    standing: String,
}

impl OwnPage {
    pub(super) fn new(
        page: Layout,
        situation: &Situation,
        shown: &Stored,
        typed: &Typed,
        errors: FieldErrors,
        own: Option<&Own>,
    ) -> Self {
        let words = Words::new(situation);
        let unit = situation.site.loss_word.clone();
        let (answer, reason) = own.map_or_else(
            || {
                let reason = "What has no number is left out. Nothing changes until you keep it.";
                let answer = "Number the requests in the order in which you would do them.";
                (answer.to_owned(), reason.to_owned())
            },
            |own| said(own, &unit),
        );
        let mut rows: Vec<(usize, Numbered)> = situation
            .requests
            .iter()
            .map(|request| {
                let places = &shown.line_up.places;
                let place = places.iter().find(|place| place.request == request.code);
                let planned = place.map(|place| place.number.to_string());
                let number = match typed.is_sent() {
                    true => typed.of(&request.code).to_owned(),
                    false => planned.clone().unwrap_or_default(),
                };
                let standing = planned
                    .map_or_else(|| "no place".to_owned(), |number| format!("place {number}"));
                let row = Numbered {
                    field: field(&request.code),
                    number,

                    asset: words.asset(request.asset.as_str()),
                    part: format!("{} ({})", request.part_name, request.code),
                    standing,
                };
                (place.map_or(usize::MAX, |place| place.number), row)
            })
            .collect();
        rows.sort_by_key(|(place, _)| *place);
        OwnPage {
            path: PATH,
            answer,
            reason,
            number: shown.number,
            until: words.moment(situation.moment(situation.horizon())),
            rows: rows.into_iter().map(|(_, row)| row).collect(),
            errors,
            beside: own.map(|own| sides(&words, own)),
            unit,
            page,
        }
    }
}

fn said(own: &Own, unit: &str) -> (String, String) {
    let loss = own.laid.plan.loss;
    let by = difference(loss - own.planners, unit);
    let answer = match by.as_str() {
        "as much" => "Your own order loses no more than the planner's best.".to_owned(),
        by => format!("Your own order loses {by} than the planner's best."),
    };
    if own.laid.line_up.places.is_empty() {
        let answer = "Number others: none of these can be built.".to_owned();
        return (answer, "Nothing has changed yet.".to_owned());
    }
    let missing = own.order.len() - own.laid.line_up.places.len();
    let reason = match missing {
        0 => "Every request that you numbered has its place. Nothing has changed yet.".to_owned(),
        1 => "One that you numbered cannot be built. Nothing has changed yet.".to_owned(),
        n => format!("{n} that you numbered cannot be built. Nothing has changed yet."),
    };
    (answer, reason)
}

fn sides(words: &Words<'_>, own: &Own) -> Beside {
    let losses = &own.laid.line_up.losses;
    let bars = [
        ("Your own order", "ours", losses.ours),
        ("The planner's best", "crew", own.planners),
        ("The order shown", "crew", own.planned.plan.loss),
        ("Largest rate first", "crew", losses.largest_rate_first),
        ("Oldest first", "crew", losses.oldest_first),
        ("Do nothing", "nothing", losses.nothing),
    ];
    let mut sides = beside(words, &own.planned, &own.laid, "Your order", &bars);
    let waiting = own.laid.line_up.waiting.iter();
    sides.fallen = waiting
        .filter(|waits| own.order.contains(&waits.request))
        .map(|waits| crate::lineup::pages::wait(words, waits))
        .collect();
    sides
}
