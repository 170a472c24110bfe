//! The list of keep-backs, the form for another one, and the act of giving up.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::signature::Meaning;
use mendpost_core::situation::{KeepBack, Situation};

use super::form::{GiveUpForm, NewForm, choices, value};
use super::{Advice, PATH, Row, queries, rows};
use crate::AppState;
use crate::error::AppError;
use crate::form::{FieldErrors, plain_decimal};
use crate::lineup;
use crate::page::act::{ActPage, Field};
use crate::page::{Layout, Screen, minutes, page, page_with};
use crate::people::{Visit, Who};
use crate::signature::ask;
use crate::situation;
use crate::words::Words;
use crate::words::keep_back::numbered;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "keep-back/list.html")]
struct ListPage {
    page: Layout,
    answer: String,
    reason: &'static str,
    rows: Vec<Row>,
    past: Vec<PastRow>,
    may_hold: bool,
    planned: bool,
}

struct PastRow {
    line: String,
    reason: String,
}

pub(super) async fn list(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let newest = lineup::queries::latest(&state.db.read).await?;
    let order = newest.as_ref().map(|it| (it.number, &it.line_up));
    let rows = rows(&situation, order, &state.worths);
    let layout = visit.layout(Screen::LineUp, "Kept back").await?;
    let past = past(&state, &situation, &layout).await?;
    page(&ListPage {
        answer: answer(&rows),
        reason: "What is kept back goes to the named machines alone, until somebody gives it up.",
        past,
        rows,
        may_hold: visit.may(Act::KeepBack),
        planned: newest.is_some(),
        page: layout,
    })
}

/// What was given up, each time of what and of whose.
async fn past(
    state: &AppState,
    situation: &Situation,
    layout: &Layout,
) -> Result<Vec<PastRow>, AppError> {
    let words = Words::new(situation);
    let mut reading = state.db.read.begin().await?;
    let all = queries::all(&mut reading).await?;
    let past = queries::past(&mut *reading).await?;
    let row = |it: queries::Past| {
        let of = all.iter().find(|of| of.number == it.number)?;
        let given = KeepBack {
            grams: it.grams,
            ..of.clone()
        };
        let (what, at) = (words.kept(&given), layout.moment(&it.at_ms));
        Some(PastRow {
            line: format!("{what}: given up {at}, {}", it.by),
            reason: it.reason,
        })
    };
    Ok(past.into_iter().filter_map(row).collect())
}

fn answer(rows: &[Row]) -> String {
    let short = rows.iter().filter(|row| !row.whole);
    let short: Vec<i64> = short.map(|row| row.number).collect();
    let less = numbered(&short);
    match (rows.is_empty(), short.as_slice()) {
        (true, _) => "Keep powder or gas back for a machine that must not wait.".to_owned(),
        (_, []) => "Leave what is kept back: all of it is here.".to_owned(),
        (_, [_]) => format!("Fill {less}: it holds less than it should."),
        (_, _) => format!("Fill {less}: they hold less than they should."),
    }
}

#[derive(Template)]
#[template(path = "keep-back/new.html")]
struct NewPage {
    page: Layout,
    held: Vec<(String, String)>,
    assets: Vec<(String, String, bool)>,
    form: NewForm,
    advice: Vec<String>,
    errors: FieldErrors,
}

pub(super) async fn new(
    visit: &Visit,
    situation: &Situation,
    form: NewForm,
    errors: FieldErrors,
    advice: Option<&Advice>,
) -> Result<Response, AppError> {
    let words = Words::new(situation);
    let held = choices(situation).into_iter();
    let held = held.map(|held| (value(&held), sentence(&words.substance(&held))));
    let assets = situation.assets.iter().map(|asset| {
        let code = asset.code.to_string();
        let chosen = form.asset.contains(&code);
        (code, sentence(&asset.name), chosen)
    });
    let new = NewPage {
        page: visit.layout(Screen::LineUp, "Keep something back").await?,
        held: held.collect(),
        assets: assets.collect(),
        advice: advice.map_or_else(Vec::new, |advice| advised(situation, &words, advice)),
        form,
        errors,
    };
    page_with(new.errors.status(), &new)
}

/// How much, and what that rests on.
fn advised(situation: &Situation, words: &Words<'_>, advice: &Advice) -> Vec<String> {
    let Some(provision) = &advice.provision else {
        let untaken = words.untaken(&advice.held, &advice.assets);
        let nothing = "There is nothing to advise.".to_owned();
        return untaken.into_iter().chain([nothing]).collect();
    };
    let seen = advice.seen;
    let record = match seen.failures {
        0 => "No failure of these machines is on record, so this is one rebuild.".to_owned(),
        failures => {
            let word = if failures == 1 { "report" } else { "reports" };
            let most = match provision.rebuilds {
                0 => "no failure comes".to_owned(),
                1 => "no more than one failure comes".to_owned(),
                most => format!("no more than {most} failures come"),
            };
            format!(
                "{failures} {word} of damage in {}: until the trip after next, in {}, {most} in nine of ten cases.",
                minutes(seen.minutes),
                minutes(provision.ahead_min)
            )
        }
    };
    let amount = match provision.rebuilds {
        0 => "Advised: nothing.".to_owned(),
        _ => format!("Advised: {} kg.", plain_decimal(provision.grams(), 3)),
    };
    let rebuild = words.held(&advice.held, provision.rebuild_g);
    let largest = format!("The rebuild that takes most takes {rebuild}.");
    let mut lines = vec![amount];
    lines.extend(held_of_it(situation, advice, provision.grams()));
    lines.extend([record, largest]);
    lines
}

/// What of the advised grams is held for the same machines already, and how much that leaves.
fn held_of_it(situation: &Situation, advice: &Advice, advised_g: i64) -> Option<String> {
    let live = situation.keep_backs.iter();
    let same = live.filter(|it| it.held == advice.held && it.assets == advice.assets);
    let same: Vec<&KeepBack> = same.collect();
    let held_g: i64 = same.iter().map(|it| it.grams).sum();
    if same.is_empty() {
        return None;
    }
    let numbers: Vec<i64> = same.iter().map(|it| it.number).collect();
    let by = numbered(&numbers);
    let kg = |grams| plain_decimal(grams, 3);
    Some(match advised_g - held_g {
        ..=0 => format!("{} kg are held by {by}: no more.", kg(held_g)),
        more => format!(
            "{} kg of it are held by {by}: {} kg more.",
            kg(held_g),
            kg(more)
        ),
    })
}

pub(super) async fn give_up(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    (situation, keep_back): (&Situation, &KeepBack),
    form: GiveUpForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let words = Words::new(situation);
    let newest = lineup::queries::latest(&state.db.read).await?;
    let order = newest.as_ref().map(|it| (it.number, &it.line_up));
    let rows = rows(situation, order, &state.worths);
    let row = rows.into_iter().find(|row| row.number == keep_back.number);
    let mut pairs = vec![
        ("Holds", words.held(&keep_back.held, keep_back.grams)),
        ("For", words.machines(&keep_back.assets)),
        ("Why", keep_back.reason.clone()),
    ];
    if let Some(row) = row {
        pairs.push(("Said", row.since));
        let untaken = Some(row.untaken).filter(|it| !it.is_empty());
        let lines = row.lines.into_iter().chain(untaken);
        pairs.push(("Now", lines.collect::<Vec<_>>().join(" ")));
        pairs.push(("Costs", row.cost));
    }
    let typed = match form.kg.as_str() {
        "" if errors.is_empty() => plain_decimal(keep_back.grams, 3),
        typed => typed.to_owned(),
    };
    let act = ActPage {
        page: visit.layout(Screen::LineUp, "Give up a keep-back").await?,
        answer: format!("Sign that keep-back {} is given up.", keep_back.number),
        reason: "All of it, or a part: what is given up may go to any machine.".to_owned(),
        pairs,
        fields: vec![
            Field::hidden("held_g", &keep_back.grams),
            Field::amount("kg", "How much", &typed, "kg", "what is left stays held"),
            Field::area(
                "reason",
                "Why",
                &form.reason,
                "stands in the journal with your name",
            ),
        ],
        action: format!("{PATH}/{}", keep_back.number),
        verb: "Give it up",
        detail: "it may be sprayed for any machine".to_owned(),
        back: ("Keep it back", PATH.to_owned()),
        ask: Some(ask(state, visit, who, Meaning::GiveUp).await?),
        errors,
    };
    act.answer()
}
