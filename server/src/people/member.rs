//! The people of the site as the lead sees them: adding somebody, and each one's page.

mod acts;
mod pages;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::{Act, Role};
use mendpost_core::signature::Meaning;

use super::account::rows;
use super::codes::{self, StartCode};
use super::form::PersonForm;
use super::{Person, Visit, Who, queries, roster, session};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::act::SIGN_FIELD;
use crate::page::{Notice, Screen, page, page_with};
use crate::routes::Routes;
use crate::signature::{Ask, Proof, ask, give, prove};
use crate::version::{Field, Stale, is_current};

pub fn routes() -> Routes {
    Routes::default()
        .get("/site/people/new", Act::SetUpSite, blank)
        .post("/site/people/new", Act::SetUpSite, add)
        .get("/site/people/{number}", Act::SetUpSite, show)
        .post("/site/people/{number}", Act::SetUpSite, edit)
        .merge(acts::routes())
}

/// Where the page of a person stands.
fn path(person: &Person) -> String {
    format!("/site/people/{}", person.number)
}

async fn blank(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
) -> Result<Response, AppError> {
    let (form, errors) = (PersonForm::default(), FieldErrors::default());
    new_page(&state, &visit, &who, form, errors).await
}

async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<PersonForm>,
) -> Result<Response, AppError> {
    let ((name, role), proof) = match signed(&state, &visit, &who, &form).await? {
        Ok(signed) => signed,
        Err(errors) => return new_page(&state, &visit, &who, form, errors).await,
    };
    let mut change = Change::begin(&state, &who).await?;
    if let Some(taken) = queries::person_named(change.connection(), &name).await? {
        drop(change);
        let errors = name_taken(&taken);
        return new_page(&state, &visit, &who, form, errors).await;
    }
    let person = roster::add(&mut change, &name, role, None).await?;
    give(&mut change, person.subject(), Meaning::LetIn, &proof).await?;
    if state.config.demonstration {
        let text = format!("{name} is {role}, and signs in by a button.");
        let notice = Notice::done("SAVED", text);
        return change.finish(&who, Screen::Site.path(), notice).await;
    }
    let start = codes::give_start(&mut change, &person).await?;
    show_start_code(change, &visit, person, start).await
}

/// What was typed and who signs it, or every fault.
async fn signed(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    form: &PersonForm,
) -> Result<Result<((String, Role), Proof), FieldErrors>, AppError> {
    let (parsed, mut errors) = match form.parse() {
        Ok(parsed) => (Some(parsed), FieldErrors::default()),
        Err(errors) => (None, errors),
    };
    let proof = prove(state, visit, who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    Ok(parsed.zip(proof).ok_or(errors))
}

async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let person = find(&state, &number).await?;
    let form = PersonForm::of(&person);
    let shown = Shown::plain(StatusCode::OK, FieldErrors::default());
    person_page(&state, &visit, &who, person, form, shown).await
}

async fn edit(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(mut form): Posted<PersonForm>,
) -> Result<Response, AppError> {
    let refused = StatusCode::UNPROCESSABLE_ENTITY;
    let ((name, role), proof) = match signed(&state, &visit, &who, &form).await? {
        Ok(signed) => signed,
        Err(errors) => {
            let person = find(&state, &number).await?;
            let shown = Shown::plain(refused, errors);
            return person_page(&state, &visit, &who, person, form, shown).await;
        }
    };
    let mut change = Change::begin(&state, &who).await?;
    let person = find_in(&mut change, &number).await?;
    if !is_current(&form.version, person.version) {
        drop(change);
        let fields = vec![
            Field::new("Name", &person.name, &name),
            Field::new("Role", &person.role, &role),
        ];
        let subject = person.subject();
        let stale = Stale::of(&state.db.read, &subject, person.version, fields).await?;
        form.version = stale.version.to_string();
        return person_page(&state, &visit, &who, person, form, Shown::stale(stale)).await;
    }
    let errors = contradictions(&mut change, &person, &name, role).await?;
    if !errors.is_empty() {
        drop(change);
        let shown = Shown::plain(refused, errors);
        return person_page(&state, &visit, &who, person, form, shown).await;
    }
    give(&mut change, person.subject(), Meaning::LetIn, &proof).await?;
    let journal = roster::edit(&mut change, &person, &name, role).await?;
    let text = format!("{name} is {role}. Journal {journal}.");
    let notice = Notice::done("SAVED", text);
    change.finish(&who, &path(&person), notice).await
}

/// What a name or role of their own right contradicts at the site.
async fn contradictions(
    change: &mut Change,
    person: &Person,
    name: &str,
    role: Role,
) -> Result<FieldErrors, AppError> {
    let mut errors = FieldErrors::default();
    let taken = queries::person_named(change.connection(), name).await?;
    if let Some(other) = taken.filter(|other| other.id != person.id) {
        errors = name_taken(&other);
    }
    if role != person.role
        && let Some(only) = roster::only_lead(change.connection(), person).await?
    {
        errors.add("role", only.to_string());
    }
    Ok(errors)
}

fn name_taken(taken: &Person) -> FieldErrors {
    let mut errors = FieldErrors::default();
    let text = format!(
        "{} is number {} already; add a second name or a letter",
        taken.name, taken.number
    );
    errors.add("name", text);
    errors
}

async fn find(state: &AppState, number: &str) -> Result<Person, AppError> {
    let mut reading = state.db.read.acquire().await?;
    numbered(&mut reading, number).await
}

async fn find_in(change: &mut Change, number: &str) -> Result<Person, AppError> {
    numbered(change.connection(), number).await
}

async fn numbered(
    connection: &mut sqlx::SqliteConnection,
    number: &str,
) -> Result<Person, AppError> {
    let none = || AppError::NotFound {
        what: format!("person '{number}'"),
    };
    let number = number.parse().map_err(|_| none())?;
    let person = queries::person_numbered(connection, number).await?;
    person.ok_or_else(none)
}

/// Ends the change, and shows the code that it made.
async fn show_start_code(
    change: Change,
    visit: &Visit,
    person: Person,
    start: StartCode,
) -> Result<Response, AppError> {
    let again = Notice::waits(
        "The start code was shown once.",
        "If it was not written down, make a new one: that makes it void.",
    );
    change.finish_shown_once(&path(&person), again).await?;
    page(&pages::StartCodePage {
        page: visit.layout(Screen::Site, "Start code").await?,
        path: path(&person),
        name: person.name,
        start,
    })
}

/// How a person's page is shown.
struct Shown {
    status: StatusCode,
    errors: FieldErrors,
    stale: Option<Stale>,
}

impl Shown {
    fn plain(status: StatusCode, errors: FieldErrors) -> Shown {
        Shown {
            status,
            errors,
            stale: None,
        }
    }

    fn stale(stale: Stale) -> Shown {
        Shown {
            status: StatusCode::CONFLICT,
            errors: FieldErrors::default(),
            stale: Some(stale),
        }
    }
}

async fn person_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    person: Person,
    form: PersonForm,
    shown: Shown,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let open = session::open_sessions(&mut *reading, person.id, visit.now).await?;
    let signs_in = pages::SignsIn {
        demonstration: state.config.demonstration,
        has_passphrase: queries::passphrase_hash(&mut *reading, person.id)
            .await?
            .is_some(),
        start_until: codes::start_open_until(&mut *reading, person.id, visit.now).await?,
        codes_left: codes::recovery_left(&mut *reading, person.id).await?,
    };
    let only_lead = roster::only_lead(&mut reading, &person).await?;
    drop(reading);
    let layout = visit.layout(Screen::Site, &person.name).await?;
    page_with(
        shown.status,
        &pages::PersonPage {
            page: layout,
            path: path(&person),
            person,
            form,
            ask: ask_for(state, visit, who, &shown.errors).await?,
            errors: shown.errors,
            stale: shown.stale,
            signs_in,
            sessions: rows(open, &visit.session_key()),
            only_lead,
        },
    )
}

/// What the lead must show to sign who works here.
async fn ask_for(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    errors: &FieldErrors,
) -> Result<Ask, AppError> {
    let mut ask = ask(state, visit, who, Meaning::LetIn).await?;
    ask.error = errors.of(SIGN_FIELD).to_owned();
    Ok(ask)
}

async fn new_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    form: PersonForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Site, "Add a person").await?;
    page_with(
        errors.status(),
        &pages::NewPersonPage {
            page: layout,
            ask: ask_for(state, visit, who, &errors).await?,
            form,
            errors,
            demonstration: state.config.demonstration,
        },
    )
}
