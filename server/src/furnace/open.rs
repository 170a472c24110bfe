//! A load is opened, and more goes into it while it is open.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::StationCode;
use mendpost_core::journal::Subject;
use mendpost_core::situation::Situation;
use serde_json::json;
use uuid::Uuid;

use super::form::{Contents, OpenForm};
use super::queries::{Load, open_loads};
use super::ready::{Ready, ready};
use super::{PATH, find_open, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, integer};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::words::Words;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "furnace/open.html")]
struct OpenPage {
    page: Layout,
    answer: String,
    action: String,
    back: String,
    verb: &'static str,
    /// None where a load is open already.
    stations: Option<Vec<(String, String)>>,
    parts: Vec<Choice>,
    /// Whether containers may go in.
    dries: bool,
    form: OpenForm,
    errors: FieldErrors,
}

struct Choice {
    value: String,
    name: String,
    detail: String,
    chosen: bool,
}

pub(super) async fn ask(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    open_page(
        &state,
        &visit,
        None,
        OpenForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn ask_more(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let load = find_open(&mut reading, &number).await?;
    drop(reading);
    let form = OpenForm::default();
    open_page(&state, &visit, Some(&load), form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<OpenForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let set_c = errors.check("set_c", integer(&form.set_c, 20..=1600));
    let mut change = Change::begin(&state, &who).await?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let all = open_loads(change.connection()).await?;
    let waiting = ready(&situation, &all);
    let mut stations = situation.stations.iter();
    let station = stations.find(|station| station.code.as_str() == form.station);
    if station.is_none() {
        errors.add("station", "choose the furnace");
    }
    let slots = station.map_or(i64::MAX, |station| station.slots);
    let connection = change.connection();
    let contents = form
        .contents(connection, &waiting, None, slots, &mut errors)
        .await?;
    if let Some(part) = contents.parts.first()
        && station.is_some_and(|station| station.code != part.station)
    {
        let words = Words::new(&situation);
        let fault = format!(
            "{} goes into {}",
            part.code,
            words.station(part.station.as_str())
        );
        errors.add("station", fault);
    }
    let busy = all
        .iter()
        .find(|load| load.is_open() && load.station.as_str() == form.station);
    if let Some(load) = busy {
        let fault = format!(
            "load {} is in it; add to that, or close it first",
            load.code()
        );
        errors.add("station", fault);
    }
    let (Some(set_c), Some(station), true) = (set_c, station, errors.is_empty()) else {
        drop(change);
        return open_page(&state, &visit, None, form, errors).await;
    };
    let cycle = contents
        .parts
        .first()
        .map_or("", |part| part.cycle.as_str())
        .to_owned();
    let number = next_number(&mut change).await?;
    let new = New {
        number,
        station: &station.code,
        cycle: &cycle,
        set_c,
    };
    let journal = insert(&mut change, &new, &contents, &who).await?;
    let text = format!("load F{number}, set to {set_c} °C. Journal {journal}.");
    change
        .finish(&who, &path(number), Notice::done("OPENED", text))
        .await
}

pub(super) async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<OpenForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let load = find_open(change.connection(), &number).await?;
    if let Some(excursion) = load.excursions.first() {
        return Err(AppError::Conflict(format!(
            "load {} was disturbed ({}); nothing more goes in, open another",
            load.code(),
            excursion.what
        )));
    }
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let all = open_loads(change.connection()).await?;
    let waiting = ready(&situation, &all);
    let connection = change.connection();
    let (slots, into) = (load.slots, Some(&load));
    let contents = form
        .contents(connection, &waiting, into, slots, &mut errors)
        .await?;
    if !errors.is_empty() {
        drop(change);
        return open_page(&state, &visit, Some(&load), form, errors).await;
    }
    let content = said(&contents);
    let subject = Subject::new("furnace-load", load.code());
    let journal = change.journal("furnace.added", subject, content).await?;
    fill(&mut change, load.number, &contents, &who, journal).await?;
    let text = format!("to load {}. Journal {journal}.", load.code());
    change
        .finish(&who, &path(load.number), Notice::done("ADDED", text))
        .await
}

async fn next_number(change: &mut Change) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from furnace_load"#
    )
    .fetch_one(change.connection())
    .await
}

struct New<'a> {
    number: i64,
    station: &'a StationCode,
    cycle: &'a str,
    set_c: i64,
}

fn said(contents: &Contents<'_>) -> serde_json::Value {
    let parts: Vec<String> = contents
        .parts
        .iter()
        .map(|part| part.code.to_string())
        .collect();
    let containers: Vec<&String> = contents.containers.iter().map(|(_, code)| code).collect();
    json!({ "parts": parts, "containers": containers })
}

async fn insert(
    change: &mut Change,
    new: &New<'_>,
    contents: &Contents<'_>,
    who: &Who,
) -> Result<i64, AppError> {
    let mut content = said(contents);
    content["station"] = json!(new.station);
    content["cycle"] = json!(new.cycle);
    content["set_c"] = json!(new.set_c);
    let subject = Subject::new("furnace-load", format!("F{}", new.number));
    let journal = change.journal("furnace.opened", subject, content).await?;
    let (station, now) = (new.station.as_str(), change.now());
    let kind = if new.cycle.is_empty() {
        "drying"
    } else {
        "heat"
    };
    sqlx::query!(
        "insert into furnace_load (number, station_id, kind, cycle, set_c, opened_by, opened_ms, journal_sequence)
         values (?, (select id from station where code = ?), ?, ?, ?, ?, ?, ?)",
        new.number,
        station,
        kind,
        new.cycle,
        new.set_c,
        who.name,
        now,
        journal,
    )
    .execute(change.connection())
    .await?;
    fill(change, new.number, contents, who, journal).await?;
    Ok(journal)
}

async fn fill(
    change: &mut Change,
    load: i64,
    contents: &Contents<'_>,
    who: &Who,
    journal: i64,
) -> Result<(), AppError> {
    let now = change.now();
    for part in &contents.parts {
        let (number, code, revision) = (
            part.number(),
            part.recipe.code.as_str(),
            part.recipe.revision,
        );
        let position = i64::try_from(part.at + 1).map_err(AppError::internal)?;
        sqlx::query!(
            "insert into furnace_part (load_number, request_id, recipe_id, position, added_by, added_ms,
               journal_sequence)
             values (?, (select id from request where number = ?),
               (select id from recipe where code = ? and revision = ?), ?, ?, ?, ?)",
            load,
            number,
            code,
            revision,
            position,
            who.name,
            now,
            journal,
        )
        .execute(change.connection())
        .await?;
    }
    for (id, _) in &contents.containers {
        let id: Uuid = *id;
        sqlx::query!(
            "insert or ignore into furnace_container (load_number, container_id, added_by, added_ms,
               journal_sequence)
             values (?, ?, ?, ?, ?)",
            load,
            id,
            who.name,
            now,
            journal,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

async fn open_page(
    state: &AppState,
    visit: &Visit,
    load: Option<&Load>,
    form: OpenForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let now = visit.moment()?;
    let mut reading = state.db.read.begin().await?;
    let situation = situation::load(&mut reading, now).await?;
    let all = open_loads(&mut reading).await?;
    drop(reading);
    let waiting = ready(&situation, &all);
    let fits = |part: &&Ready<'_>| match load {
        Some(load) => load.station == part.station && load.cycle == part.cycle,
        None => true,
    };
    let words = Words::new(&situation);
    let title = load.map_or_else(|| "Open a furnace load".to_owned(), |load| load.code());
    let page = OpenPage {
        page: visit.layout(Screen::Cell, &title).await?,
        answer: match load {
            Some(load) => format!("Add to load {}, set to {} °C.", load.code(), load.set_c),
            None => "Open a load: say what goes in, and what the furnace is set to.".to_owned(),
        },
        action: match load {
            Some(load) => format!("{}/add", path(load.number)),
            None => format!("{PATH}/open"),
        },
        back: load.map_or_else(|| PATH.to_owned(), |load| path(load.number)),
        verb: if load.is_some() {
            "Add them"
        } else {
            "Open the load"
        },
        stations: load.is_none().then(|| furnaces(&situation)),
        parts: waiting
            .iter()
            .filter(fits)
            .map(|part| choice(&words, part, &form))
            .collect(),
        dries: load.is_none_or(Load::dries),
        form,
        errors,
    };
    page_with(page.errors.status(), &page)
}

/// Stations that hold a load, and those in which a recipe heats.
fn furnaces(situation: &Situation) -> Vec<(String, String)> {
    let heats = |code: &StationCode| {
        let recipes = situation.recipes.iter();
        recipes.into_iter().any(|recipe| {
            let places = 0..recipe.operations.len();
            places
                .filter_map(|at| mendpost_core::finish::cycle(recipe, at))
                .any(|(station, _)| station == *code)
        })
    };
    let stations = situation.stations.iter();
    let stations = stations.filter(|station| station.batch || heats(&station.code));
    stations
        .map(|station| (station.code.to_string(), station.name.clone()))
        .collect()
}

fn choice(words: &Words<'_>, part: &Ready<'_>, form: &OpenForm) -> Choice {
    let value = part.number().to_string();
    Choice {
        chosen: form.part.contains(&value),
        name: sentence(&words.request(part.code.as_str())),
        detail: format!(
            "{}, {}, cycle {}",
            part.recipe.operations[part.at].name,
            words.station(part.station.as_str()),
            part.cycle
        ),
        value,
    }
}
