//! A cell about to leave: what it takes along, and what finished spares would weigh for the same chance.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::people::Act;
use mendpost_core::resupply::Trip;
use serde::Deserialize;

use super::form::Typed;
use super::item::words::mass;
use super::proposal::{ProposalRows, Told};
use super::run::{self, FirstLoad};
use super::show::{RunningRow, running};
use super::trip;
use crate::AppState;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted, plain_decimal};
use crate::page::act::{Field, Kind};
use crate::page::{Layout, Screen, page_with, whole};
use crate::people::{Visit, Who};
use crate::situation;
use crate::words::Words;

const PATH: &str = "/resupply/first";

/// The longest that a cell is reckoned to be alone.
const MOST_DAYS: i64 = 120;

/// What a vehicle that is not announced is called in place of a trip's code; nobody sees it.
const VEHICLE: &str = "FIRST";

/// Days alone that the form begins with.
const DAYS: &str = "30";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Like {
    like: String,
}

#[derive(Template)]
#[template(path = "resupply/first.html")]
struct FirstPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    days: String,
    vehicle: Vec<Field>,
    errors: FieldErrors,
    /// Address and words of each trip that is announced, by which the form can be filled in.
    announced: Vec<(String, String)>,
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

/// The form is filled in as an announced trip, or else as it was for the last run.
pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(Like { like }): Query<Like>,
) -> Result<Response, AppError> {
    let trips = announced(&state).await?;
    let last = state.first_loads.shown().found;
    let named = trips.iter().find(|it| it.code.as_str() == like);
    let vehicle = named.or(last.as_deref().map(|last| &last.basis.trip));
    let mut fields = vehicle.map_or_else(Fields::default, trip::form::vehicle_fields);
    let days = last.map_or_else(|| DAYS.to_owned(), |last| last.days.to_string());
    fields.insert("days".to_owned(), days);
    answer(&state, &visit, &trips, (&fields, FieldErrors::default())).await
}

async fn announced(state: &AppState) -> Result<Vec<Trip>, AppError> {
    let mut reading = state.db.read.acquire().await?;
    Ok(trip::queries::all(&mut reading).await?)
}

pub async fn start(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let typed = fields.get("days").map_or("", |typed| typed.trim());
    let days = typed.parse::<i64>().ok();
    let days = days.filter(|days| (1..=MOST_DAYS).contains(days));
    if days.is_none() {
        let told = format!("'{typed}' is no number of days; give 1 to {MOST_DAYS}");
        errors.add("days", told);
    }
    let code = VEHICLE.parse().map_err(AppError::internal)?;
    let typed = &mut Typed::new(&fields, &mut errors);
    let vehicle = trip::form::vehicle(code, typed, visit.moment()?);
    match (vehicle, days) {
        (Some(vehicle), Some(days)) => {
            run::start_first(&state, vehicle, days, who.name.clone()).await?;
            Ok(Redirect::to(PATH).into_response())
        }
        _ => {
            let trips = announced(&state).await?;
            answer(&state, &visit, &trips, (&fields, errors)).await
        }
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
    trips: &[Trip],
    (fields, errors): (&Fields, FieldErrors),
) -> Result<Response, AppError> {
    let situation = situation::now(state).await?;
    let shown = state.first_loads.shown();
    let words = Words::new(&situation);
    let found = shown.found.as_deref();
    let layout = visit.layout(Screen::Resupply, "First load-out").await?;
    let told = found.map(|found| rows(words, found));
    page_with(
        errors.status(),
        &FirstPage {
            answer: match &told {
                Some(rows) => rows.case.clone(),
                None => "Say how long the cell is alone, and what carries it.".to_owned(),
            },
            reason: "As if nothing were here yet: the machines, parts and failure rates of this site, no stock, and one vehicle.".to_owned(),
            unit: situation.site.loss_word.clone(),
            announced: trips
                .iter()
                .map(|it| {
                    let words = format!("Fill it in as {}, {}", it.code, it.name);
                    (format!("{PATH}?like={}", it.code), words)
                })
                .collect(),
            days: fields.get("days").cloned().unwrap_or_default(),
            vehicle: trip::form::vehicle_form(fields),
            errors,
            running: shown.running.as_ref().map(running),
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
    let served = outlook.served_permille / 10;
    let part = |code: &mendpost_core::code::PartCode| {
        let known = words.part_name(code);
        format!("{code} {known}")
    };
    FirstRows {
        head: format!(
            "{} days alone with {}",
            found.days, found.basis.trip.name
        ),
        proposal: told.rows(&found.proposal, &found.needs),
        chance: format!(
            "{served} of 100 failures that this cell can make are served; nothing lacks at all for {} days in {} of 100 cases. {} failures are to be expected, {} of them of parts that it cannot make.",
            found.days,
            outlook.enough_permille / 10,
            plain_decimal((outlook.failures_milli + 50) / 100, 1),
            plain_decimal((outlook.not_made_milli + 50) / 100, 1),
        ),
        load_mass: mass(load_g),
        spares_mass: mass(spares.mass_g),
        spares: spares
            .count
            .iter()
            .map(|(code, count)| (part(code), whole(*count)))
            .collect(),
        case: match (outlook.served_permille, spares.mass_g > load_g) {
            (0, _) => "Nothing that this vehicle carries serves a failure: look below at what lacks.".to_owned(),
            (_, true) => format!(
                "Take powder: {} serve {served} of 100 failures, as {} of finished spares would.",
                mass(load_g),
                mass(spares.mass_g)
            ),
            (_, false) => format!(
                "Finished spares weigh less here: {} serve {served} of 100 failures, as {} of this load do.",
                mass(spares.mass_g),
                mass(load_g)
            ),
        },
        assumed: "Spares weigh what the parts weigh, without boxes, and are the lightest found that serve as many failures; the cell itself is not weighed, and what the set burns for the camp is carried apart. Failures of different parts are independent, and as many as the records say. Powder pools the demand of all parts of an alloy; spares do not.".to_owned(),
    }
}
