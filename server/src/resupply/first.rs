//! A cell about to leave: what it takes along, and what finished spares would weigh for the same chance.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::code::DeliveryCode;
use mendpost_core::people::Act;
use serde::Deserialize;

use super::item::words::mass;
use super::proposal::{ProposalRows, Told};
use super::run::{self, FirstLoad};
use super::show::{RunningRow, running};
use super::trip;
use crate::AppState;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Screen, page_with, whole};
use crate::people::{Visit, Who};
use crate::situation;
use crate::words::Words;
use axum::http::StatusCode;

const PATH: &str = "/resupply/first";

/// The longest that a cell is reckoned to be alone.
const MOST_DAYS: i64 = 120;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct FirstForm {
    trip: String,
    days: String,
}

#[derive(Template)]
#[template(path = "resupply/first.html")]
struct FirstPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    form: FirstForm,
    errors: FieldErrors,
    /// Code and words of each vehicle that is announced.
    vehicles: Vec<(String, String)>,
    running: Option<RunningRow>,
    failed: bool,
    found: Option<FirstRows>,
    may_start: bool,
}

struct FirstRows {
    head: String,
    proposal: ProposalRows,
    chance: String,
    load_mass: String,
    spares_mass: String,
    /// Part and how many.
    spares: Vec<(String, String)>,
    case: String,
    assumed: String,
}

pub async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let form = FirstForm {
        days: "30".to_owned(),
        ..FirstForm::default()
    };
    answer(&state, &visit, form, FieldErrors::default()).await
}

pub async fn start(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<FirstForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let days = form.days.trim().parse::<i64>().ok();
    let days = days.filter(|days| (1..=MOST_DAYS).contains(days));
    if days.is_none() {
        let told = format!(
            "'{}' is no number of days; give 1 to {MOST_DAYS}",
            form.days.trim()
        );
        errors.add("days", told);
    }
    let mut reading = state.db.read.begin().await?;
    let trips = trip::queries::all(&mut reading).await?;
    drop(reading);
    let code = trips.iter().find(|it| it.code.as_str() == form.trip);
    if code.is_none() {
        errors.add("trip", "choose one of the vehicles that are announced");
    }
    match (code, days) {
        (Some(trip), Some(days)) => {
            run::start_first(&state, &trip.code, days, who.name.clone()).await?;
            Ok(Redirect::to(PATH).into_response())
        }
        _ => answer(&state, &visit, form, errors).await,
    }
}

pub async fn stop(State(state): State<AppState>) -> Response {
    state.first_loads.stop();
    state.first_loads.finished().await;
    Redirect::to(PATH).into_response()
}

async fn answer(
    state: &AppState,
    visit: &Visit,
    form: FirstForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let trips = trip::queries::all(&mut reading).await?;
    let situation = situation::load(&mut reading, visit.moment()?).await?;
    drop(reading);
    let shown = state.first_loads.shown();
    let words = Words::new(&situation);
    let found = shown.found.as_deref();
    let status = if errors.is_empty() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let layout = visit.layout(Screen::Resupply, "First load-out").await?;
    let told = found.map(|found| rows(words, found));
    page_with(
        status,
        &FirstPage {
            answer: match &told {
                Some(rows) => rows.case.clone(),
                None => "Say how long the cell is alone, and what carries it.".to_owned(),
            },
            reason: "As if nothing were here yet: the machines, parts and failure rates of this site, no stock, and one vehicle.".to_owned(),
            unit: situation.site.loss_word.clone(),
            vehicles: trips
                .iter()
                .map(|it| {
                    let words = format!("{}, {}, {}", it.code, it.name, mass(it.mass_limit_g()));
                    (it.code.to_string(), words)
                })
                .collect(),
            form,
            errors,
            running: shown.running.as_ref().map(running::<DeliveryCode>),
            failed: shown.failed,
            found: told,
            may_start: visit.may(Act::Plan),
            page: layout,
        },
    )
}

fn rows(words: Words<'_>, found: &FirstLoad) -> FirstRows {
    let told = Told {
        words,
        basis: &found.basis,
    };
    let outlook = &found.proposal.truly.outlook;
    let taken = &found.basis.items;
    let gross = mendpost_core::resupply::loaded(taken, &found.proposal.load);
    let load_g: i64 = gross.map(|(item, units)| item.gross_g * units).sum();
    let spares = &found.spares;
    let chance = found.chance_permille / 10;
    let part = |code: &mendpost_core::code::PartCode| {
        let known = words.part_name(code);
        format!("{code} {known}")
    };
    FirstRows {
        head: format!(
            "{} days alone with {}, {}",
            found.days, found.basis.trip.code, found.basis.trip.name
        ),
        proposal: told.rows(&found.proposal, &found.needs),
        chance: format!(
            "Nothing lacks for {} days in {chance} of 100 cases; {} of 100 failures that this cell can make are served at all. {} failures are to be expected, {} of them of parts that it cannot make.",
            found.days,
            outlook.served_permille / 10,
            crate::form::plain_decimal((outlook.failures_milli + 50) / 100, 1),
            crate::form::plain_decimal((outlook.not_made_milli + 50) / 100, 1),
        ),
        load_mass: mass(load_g),
        spares_mass: mass(spares.mass_g),
        spares: spares
            .count
            .iter()
            .map(|(code, count)| (part(code), whole(*count)))
            .collect(),
        case: if spares.mass_g > load_g {
            format!(
                "Take powder: {} do what {} of finished spares would, in {chance} of 100 cases.",
                mass(load_g),
                mass(spares.mass_g)
            )
        } else {
            format!(
                "Finished spares weigh less here: {} against {} for the same {chance} of 100 cases.",
                mass(spares.mass_g),
                mass(load_g)
            )
        },
        assumed: "Spares weigh what the parts weigh, without boxes, and are the lightest found that suffice as often, part by part; the cell itself is not weighed, nor what the set burns for the camp taken off the load. Failures of different parts are independent, and as many as the records say. Powder pools the demand of all parts of an alloy; spares do not.".to_owned(),
    }
}
