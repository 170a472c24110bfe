//! The page on which an operation is entered as done.

use askama::Template;
use axum::response::Response;
use mendpost_core::catalogue::{Operation, OperationKind};
use mendpost_core::finish::cycle;
use mendpost_core::lineup::inroads;
use mendpost_core::signature::Meaning;

use super::decision::{History, Named};
use super::work::{Next, forbidden, next, open_in};
use super::work_form::{AGAIN, IN_TIME, WorkForm};
use crate::AppState;
use crate::build;
use crate::caution::{Caution, cautions};
use crate::error::AppError;
use crate::finish;
use crate::form::FieldErrors;
use crate::page::{Layout, Screen, field_time, minutes, page_with};
use crate::people::{Visit, Who};
use crate::signature::{Ask, Secret, ask};
use crate::situation;
use crate::words::Words;
use crate::words::catalogue::{place, setting};
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "requests/work.html")]
struct WorkPage {
    page: Layout,
    number: i64,
    what: String,
    answer: String,
    /// Where several recipes are open: code and words of each.
    recipes: Vec<(String, String)>,
    pairs: Vec<(&'static str, String)>,
    /// Why it may not be done now.
    shut: Vec<String>,
    /// What it takes of what is kept back for other machines.
    inroads: Vec<String>,
    cautions: Vec<Caution>,
    is_release: bool,
    /// It is sprayed, and can be begun as a build.
    is_spray: bool,
    /// The page of the build under way.
    build: Option<String>,
    /// The next one will take about as long as this one.
    learns: bool,
    /// It is entered by a load of the furnace.
    by_load: bool,
    /// What is done again, or what waited for it: which of them was done.
    done: Vec<(&'static str, String)>,
    form: WorkForm,
    errors: FieldErrors,
    ask: Option<Ask>,
    /// What is asked for of what was found.
    found: finish::Page,
}

impl WorkPage {
    fn ends(&self) -> [(&'static str, &'static str); 3] {
        [
            ("full", "stays"),
            ("date", "off by a date"),
            ("hours", "off after running hours"),
        ]
    }
}

pub(super) async fn work_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    request: &Named,
    history: &History,
    mut form: WorkForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let situation = situation::now(state).await?;
    let words = Words::new(&situation);
    let stands = open_in(&situation, request)?;
    let found = next(&situation, stands, &form.recipe, form.in_time());
    let layout = visit
        .layout(Screen::Requests, &format!("Request R{}", request.number))
        .await?;
    let mut shown = WorkPage {
        page: layout,
        number: request.number,
        what: words.request(stands.code.as_str()),
        answer: format!("Nothing is left to do for R{}.", request.number),
        recipes: Vec::new(),
        pairs: Vec::new(),
        shut: Vec::new(),
        inroads: Vec::new(),
        cautions: Vec::new(),
        is_release: false,
        is_spray: false,
        learns: false,
        build: stands.building.map(build::path),
        by_load: false,
        done: Vec::new(),
        form: WorkForm::default(),
        ask: None,
        found: finish::Page::default(),
        errors,
    };
    match found {
        Err(codes) => {
            shown.answer = format!("Choose the recipe by which R{} is built.", request.number);
            shown.recipes = codes.into_iter().map(|code| (code.clone(), code)).collect();
        }
        Ok(None) => {}
        Ok(Some(next)) => {
            form.recipe = next.recipe.code.to_string();
            form.position = (next.at + 1).to_string();
            if let (Some(stand_in), true) = (next.stand_in(), form.end.limit.is_empty()) {
                "date".clone_into(&mut form.end.limit);
                form.end.off_by = field_time(stand_in.off_by.timestamp_millis(), visit.site.zone);
            }
            tell(&mut shown, &words, &situation, &next);
            let asset = &next.request.asset;
            let inroads = inroads(&situation, asset, next.recipe, next.at);
            shown.inroads = inroads.iter().map(|it| words.inroad(it)).collect();
            let asks = finish::asks(next.recipe, next.at);
            let mut reading = state.db.read.acquire().await?;
            let (typed, now) = (&form.sizes, situation.now);
            shown.found = finish::page(&mut reading, asks, typed, &shown.errors, now).await?;
            drop(reading);
            shown.shut = forbidden(&situation, &next, history, who);
            if shown.is_release && shown.shut.is_empty() {
                shown.ask = Some(ask(state, visit, who, Meaning::ReleasePart).await?);
            }
        }
    }
    shown.form = form;
    if let Some(ask) = &mut shown.ask {
        ask.error = shown.errors.of(crate::page::act::SIGN_FIELD).to_owned();
    }
    page_with(shown.errors.status(), &shown)
}

/// What is to be done: the operation, by which recipe, where, and with which cautions.
fn tell(
    shown: &mut WorkPage,
    words: &Words<'_>,
    situation: &mendpost_core::situation::Situation,
    next: &Next<'_>,
) {
    let operation = &next.recipe.operations[next.at];
    let number = shown.number;
    shown.is_release = next.kind() == OperationKind::Release;
    shown.is_spray = operation.spray.is_some();
    shown.learns = operation.learns() && operation.spray.is_none();
    shown.by_load = cycle(next.recipe, next.at).is_some();
    shown.answer = format!("{} for R{number}.", sentence(&operation.name));
    shown.pairs = vec![
        (
            "Recipe",
            format!("{} rev {}", next.recipe.code, next.recipe.revision),
        ),
        (
            "Operation",
            format!("{} of {}", next.at + 1, next.recipe.operations.len()),
        ),
        ("Where", at(words, operation)),
        ("People", operation.crew.to_string()),
    ];
    if let Some((again, late)) = next.waits_too_long(situation) {
        let within = minutes(late.within_min.unwrap_or_default());
        let why = format!("{} waited longer than {within}", late.name);
        shown.pairs.push(("Done again", why));
        shown.done = vec![
            (AGAIN, format!("{}, again", again.name)),
            (IN_TIME, format!("{}, begun in time", late.name)),
        ];
    }
    if operation.minutes > 0 {
        shown.pairs.push(("Takes", minutes(operation.step_min())));
    }
    if let Some(spray) = &operation.spray {
        shown
            .pairs
            .push(("Powder", words.powder(spray.powder.as_str())));
        shown.pairs.push(("Setting", setting(spray)));
    }
    if !next.recipe.text.inspection.is_empty()
        && matches!(
            next.kind(),
            OperationKind::Measure | OperationKind::CrackCheck | OperationKind::Release
        )
    {
        shown
            .pairs
            .push(("Inspection plan", next.recipe.text.inspection.clone()));
    }
    let part = next.request.part.as_ref().and_then(|p| situation.part(p));
    let all = cautions(
        &situation.rules,
        Some(next.recipe),
        part,
        next.request.damage,
    );
    shown.cautions = all
        .into_iter()
        .filter(|caution| caution.steps.contains(&operation.name))
        .collect();
}

/// The station, or where work of this kind is done.
fn at(words: &Words<'_>, operation: &Operation) -> String {
    operation.station.as_ref().map_or_else(
        || place(operation.kind).to_owned(),
        |station| sentence(&words.station(station.as_str())),
    )
}
