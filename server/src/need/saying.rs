//! Entering what the site needs: a capability, or new figures for one.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::code::AssetCode;
use mendpost_core::journal::Subject;
use mendpost_core::situation::{Capability, Figure, Situation};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::capability_path;
use super::form::{NeedForm, field_name};
use super::item::{Item, Thing};
use super::queries::{self, Said};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::{self, Stale, is_current};
use crate::words::work::{count, sentence};

#[derive(Template)]
#[template(path = "need/form.html")]
struct FormPage {
    page: Layout,
    answer: String,
    unit: String,
    /// Where the form goes, and where to go instead.
    action: String,
    back: String,
    is_new: bool,
    assets: Vec<Choice>,
    rows: Vec<Row>,
    form: NeedForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

struct Choice {
    code: String,
    name: String,
    chosen: bool,
}

/// The figures for one number of assets down.
struct Row {
    down: String,
    low: Field,
    likely: Field,
    high: Field,
}

struct Field {
    id: String,
    typed: String,
    fault: String,
}

pub async fn blank(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let mut form = NeedForm {
        must_run: "1".to_owned(),
        said_at: crate::page::field_time(visit.now, visit.site.zone),
        ..NeedForm::default()
    };
    form.fit();
    let shown = Shown::new(StatusCode::OK, FieldErrors::default());
    form_page(&visit, &situation, None, form, shown).await
}

pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(mut form): Posted<NeedForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let new = match read(&mut form, None, &situation, &visit) {
        Ok(new) => new,
        Err(errors) => {
            drop(change);
            let shown = Shown::new(errors.status(), errors);
            return form_page(&visit, &situation, None, form, shown).await;
        }
    };
    let taken = queries::item(change.connection(), Thing::Capability, new.code.as_str()).await?;
    if let Some(taken) = taken {
        drop(change);
        let mut errors = FieldErrors::default();
        errors.add("code", taken.taken());
        let shown = Shown::new(errors.status(), errors);
        return form_page(&visit, &situation, None, form, shown).await;
    }
    let capability = queries::insert_capability(&mut change, &new).await?;
    enter(change, &who, (capability, 1), &new).await
}

pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let now = visit.moment()?;
    // Figures and version are of one moment, or the form would write over what it never showed.
    let mut reading = state.db.read.begin().await?;
    let situation = situation::load(&mut reading, now).await?;
    let item = Item::find(Thing::Capability, &mut *reading, &code).await?;
    drop(reading);
    item.in_use()?;
    let stands = find(&situation, &code)?;
    let form = NeedForm::of(stands, item.version, visit.site.zone, visit.now);
    let shown = Shown::new(StatusCode::OK, FieldErrors::default());
    form_page(&visit, &situation, Some(stands), form, shown).await
}

pub async fn change(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<NeedForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let item = Item::find(Thing::Capability, change.connection(), &code).await?;
    item.in_use()?;
    let stands = find(&situation, &code)?;
    let new = match read(&mut form, Some(stands), &situation, &visit) {
        Ok(new) => new,
        Err(errors) => {
            drop(change);
            let shown = Shown::new(errors.status(), errors);
            return form_page(&visit, &situation, Some(stands), form, shown).await;
        }
    };
    if !is_current(&form.version, item.version) {
        drop(change);
        let subject = Subject::new("capability", &stands.code);
        let fields = both(stands, &new);
        let stale = Stale::of(&state.db.read, &subject, item.version, fields).await?;
        form.version = stale.version.to_string();
        let shown = Shown {
            stale: Some(stale),
            ..Shown::new(StatusCode::CONFLICT, FieldErrors::default())
        };
        return form_page(&visit, &situation, Some(stands), form, shown).await;
    }
    enter(change, &who, (item.id, item.version + 1), &new).await
}

/// The capability as typed, or every fault. Other assets than before ask for other figures.
fn read(
    form: &mut NeedForm,
    stands: Option<&Capability>,
    situation: &Situation,
    visit: &Visit,
) -> Result<Capability, FieldErrors> {
    let mut errors = FieldErrors::default();
    let refitted = form.fit();
    let known: Vec<AssetCode> = situation.assets.iter().map(|a| a.code.clone()).collect();
    let read = form.parse(stands, &known, (visit.site.zone, visit.now), &mut errors);
    if refitted && !form.asset.is_empty() {
        errors.add_whole(format!(
            "{} now, so {} figures: enter what is lost with none down, one down, and so on.",
            match form.asset.len() {
                1 => "One asset".to_owned(),
                many => format!("{} assets", sentence(&count(many))),
            },
            count(form.likely.len()),
        ));
    }
    read.filter(|_| errors.is_empty()).ok_or(errors)
}

async fn enter(
    mut change: Change,
    who: &Who,
    (capability, version): (Uuid, i64),
    new: &Capability,
) -> Result<Response, AppError> {
    let ids = ids(change.connection(), &new.assets).await?;
    let said = Said {
        capability,
        version,
        assets: &ids,
        entered_by: &who.name,
    };
    queries::say(&mut change, &said, new).await?;
    let kind = match version {
        1 => "capability.listed",
        _ => "capability.said",
    };
    let subject = Subject::new("capability", &new.code);
    let content = queries::content(new, version);
    let journal = change.journal(kind, subject, content).await?;
    let text = format!(
        "what is needed of {}, as {} said. Journal {journal}. Plan again to count with it.",
        new.name, new.said_by
    );
    let path = capability_path(new.code.as_str());
    change.finish(who, &path, Notice::done("SAVED", text)).await
}

async fn ids(
    connection: &mut SqliteConnection,
    assets: &[AssetCode],
) -> Result<Vec<Uuid>, AppError> {
    let known = queries::asset_ids(connection).await?;
    let id = |asset: &AssetCode| {
        let found = known.iter().find(|(_, code)| code == asset.as_str());
        found.map(|(id, _)| *id).ok_or_else(|| {
            AppError::Conflict(format!("there is no asset {asset}; open the form again"))
        })
    };
    assets.iter().map(id).collect()
}

fn both(stands: &Capability, yours: &Capability) -> Vec<version::Field> {
    let list = |items: &[String]| items.join(", ");
    let assets = |c: &Capability| -> String {
        list(&c.assets.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    let rates = |c: &Capability, figure| match c.rates(figure) {
        Some(rates) => list(&rates.iter().map(ToString::to_string).collect::<Vec<_>>()),
        None => "not said".to_owned(),
    };
    let field =
        |name, figure| version::Field::new(name, &rates(stands, figure), &rates(yours, figure));
    vec![
        version::Field::new("Assets", &assets(stands), &assets(yours)),
        version::Field::new("Must run", &stands.must_run, &yours.must_run),
        field("Likely, by number down", Figure::Likely),
        field("Low", Figure::Low),
        field("High", Figure::High),
        version::Field::new("Said by", &stands.said_by, &yours.said_by),
    ]
}

pub(super) fn find<'a>(situation: &'a Situation, code: &str) -> Result<&'a Capability, AppError> {
    let mut capabilities = situation.capabilities.iter();
    let found = capabilities.find(|c| c.code.as_str() == code);
    found.ok_or_else(|| Thing::Capability.none(code))
}

/// How the form is shown.
struct Shown {
    status: StatusCode,
    errors: FieldErrors,
    stale: Option<Stale>,
}

impl Shown {
    fn new(status: StatusCode, errors: FieldErrors) -> Shown {
        Shown {
            status,
            errors,
            stale: None,
        }
    }
}

async fn form_page(
    visit: &Visit,
    situation: &Situation,
    stands: Option<&Capability>,
    form: NeedForm,
    shown: Shown,
) -> Result<Response, AppError> {
    let Shown {
        status,
        errors,
        stale,
    } = shown;
    let (title, back) = match stands {
        Some(stands) => (
            sentence(&stands.name),
            capability_path(stands.code.as_str()),
        ),
        None => ("Add a capability".to_owned(), super::PATH.to_owned()),
    };
    let answer = match (stands, &stale) {
        (_, Some(_)) => "Choose which of the two stands.".to_owned(),
        (Some(stands), None) => format!("Say what is needed of {}.", stands.name),
        (None, None) => "Add something that the site needs done.".to_owned(),
    };
    let page = FormPage {
        page: visit.layout(Screen::Site, &title).await?,
        answer,
        unit: format!("{}/h", situation.site.loss_word),
        action: match stands {
            Some(_) => format!("{back}/change"),
            None => "/site/add-need".to_owned(),
        },
        back,
        is_new: stands.is_none(),
        assets: choices(situation, &form),
        rows: rows(&form, &errors),
        form,
        errors,
        stale,
    };
    page_with(status, &page)
}

/// Every asset, the chosen ones first and in the order in which they were chosen.
fn choices(situation: &Situation, form: &NeedForm) -> Vec<Choice> {
    let place = |code: &str| form.asset.iter().position(|chosen| chosen == code);
    let mut choices: Vec<Choice> = situation
        .assets
        .iter()
        .map(|asset| Choice {
            code: asset.code.to_string(),
            name: sentence(&asset.name),
            chosen: place(asset.code.as_str()).is_some(),
        })
        .collect();
    choices.sort_by_key(|choice| place(&choice.code).unwrap_or(usize::MAX));
    choices
}

fn rows(form: &NeedForm, errors: &FieldErrors) -> Vec<Row> {
    let field = |figure, down: usize, typed: &[String]| {
        let id = field_name(figure, down);
        Field {
            typed: typed.get(down).cloned().unwrap_or_default(),
            fault: errors.of(&id).to_owned(),
            id,
        }
    };
    (0..form.likely.len())
        .map(|down| Row {
            down: sentence(&match down {
                0 => "none down".to_owned(),
                down => format!("{} down", count(down)),
            }),
            low: field(Figure::Low, down, &form.low),
            likely: field(Figure::Likely, down, &form.likely),
            high: field(Figure::High, down, &form.high),
        })
        .collect()
}
