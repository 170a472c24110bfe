//! The metals that parts are made of: which there are, and what they are called.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::code::MetalCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteExecutor;
use uuid::Uuid;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, new_code, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Layout, Notice, Screen, page, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::version::{Stale, is_current};

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, show)
        .get("/site/add-metal", Act::WriteRecipe, blank)
        .post("/site/add-metal", Act::WriteRecipe, add)
        .get("/site/metals/{code}", Act::WriteRecipe, open)
        .post("/site/metals/{code}", Act::WriteRecipe, rename)
}

const PATH: &str = "/site/metals";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct MetalForm {
    code: String,
    name: String,
    version: String,
}

struct Row {
    code: String,
    name: String,
    version: i64,
}

#[derive(Template)]
#[template(path = "metal/list.html")]
struct ListPage {
    page: Layout,
    metals: Vec<Row>,
    may_write: bool,
}

async fn all(executor: impl SqliteExecutor<'_>) -> Result<Vec<Row>, sqlx::Error> {
    sqlx::query_as!(Row, "select code, name, version from metal order by code")
        .fetch_all(executor)
        .await
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    page(&ListPage {
        may_write: visit.may(Act::WriteRecipe),
        page: visit.layout(Screen::Site, "Base metals").await?,
        metals: all(&state.db.read).await?,
    })
}

async fn blank(visit: Visit) -> Result<Response, AppError> {
    add_page(&visit, &MetalForm::default(), FieldErrors::default()).await
}

async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<MetalForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let code = new_code::<MetalCode>(&form.code, "code", &mut errors);
    let name = errors.check("name", text(&form.name, 80));
    let (Some(code), Some(name)) = (code, name) else {
        return add_page(&visit, &form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let known = all(change.connection()).await?;
    taken(&known, &name, None, &mut errors);
    if let Some(known) = known.iter().find(|row| row.code == code.as_str()) {
        let fault = format!("{code} is {} already; give another", known.name);
        errors.add("code", fault);
    }
    if !errors.is_empty() {
        drop(change);
        return add_page(&visit, &form, errors).await;
    }
    let (id, text) = (Uuid::now_v7(), code.as_str());
    sqlx::query!(
        "insert into metal (id, code, name) values (?, ?, ?)",
        id,
        text,
        name
    )
    .execute(change.connection())
    .await?;
    let content = json!({ "version": 1, "name": name });
    let subject = Subject::new("metal", &code);
    let journal = change.journal("metal.listed", subject, content).await?;
    let notice = Notice::done("SAVED", format!("{name}, {code}. Journal {journal}."));
    change.finish(&who, PATH, notice).await
}

/// Notes a name that another metal has.
fn taken(known: &[Row], name: &str, but: Option<&str>, errors: &mut FieldErrors) {
    let same = |row: &&Row| row.name.eq_ignore_ascii_case(name) && Some(row.code.as_str()) != but;
    if let Some(other) = known.iter().find(same) {
        let fault = format!("{} is called that already; give another", other.code);
        errors.add("name", fault);
    }
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let known = all(&state.db.read).await?;
    let metal = find(&known, &code)?;
    let form = MetalForm {
        name: metal.name.clone(),
        version: metal.version.to_string(),
        ..MetalForm::default()
    };
    name_page(&visit, StatusCode::OK, metal, &form, FieldErrors::default()).await
}

async fn rename(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<MetalForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let name = errors.check("name", text(&form.name, 80));
    let mut change = Change::begin(&state, &who).await?;
    let known = all(change.connection()).await?;
    let metal = find(&known, &code)?;
    if let Some(name) = &name {
        taken(&known, name, Some(&metal.code), &mut errors);
    }
    let (Some(name), true) = (name, errors.is_empty()) else {
        drop(change);
        return name_page(&visit, errors.status(), metal, &form, errors).await;
    };
    let subject = Subject::new("metal", &metal.code);
    if !is_current(&form.version, metal.version) {
        drop(change);
        let stale = Stale::of(&state.db.read, &subject, metal.version, Vec::new()).await?;
        let by = stale
            .made
            .map_or_else(|| "somebody".to_owned(), |made| made.by);
        errors.add_whole(format!(
            "Not saved: {by} named it '{}' while you had it open; save again if yours is still right.",
            metal.name
        ));
        form.version = metal.version.to_string();
        return name_page(&visit, StatusCode::CONFLICT, metal, &form, errors).await;
    }
    sqlx::query!(
        "update metal set name = ?, version = version + 1 where code = ?",
        name,
        metal.code
    )
    .execute(change.connection())
    .await?;
    let content = json!({ "version": metal.version + 1, "before": metal.name, "name": name });
    let journal = change.journal("metal.named", subject, content).await?;
    let notice = Notice::done("SAVED", format!("{name}, {code}. Journal {journal}."));
    change.finish(&who, PATH, notice).await
}

fn find<'a>(known: &'a [Row], code: &str) -> Result<&'a Row, AppError> {
    let metal = known.iter().find(|row| row.code == code);
    metal.ok_or_else(|| AppError::NotFound {
        what: format!("metal {code}"),
    })
}

async fn add_page(
    visit: &Visit,
    form: &MetalForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let act = ActPage {
        page: visit.layout(Screen::Site, "Add a metal").await?,
        answer: "Add a metal that parts are made of.".to_owned(),
        reason: "Recipes say on which they hold.".to_owned(),
        pairs: Vec::new(),
        fields: vec![
            Field::text("code", "Code", &form.code, "short: ST, CI"),
            Field::text(
                "name",
                "Name",
                &form.name,
                "as the crew calls it: grey cast iron",
            ),
        ],
        action: "/site/add-metal".to_owned(),
        verb: "Add the metal",
        detail: String::new(),
        back: ("Add nothing", PATH.to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}

async fn name_page(
    visit: &Visit,
    status: StatusCode,
    metal: &Row,
    form: &MetalForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let act = ActPage {
        page: visit.layout(Screen::Site, &metal.name).await?,
        answer: format!("Give {} its name.", metal.code),
        reason: "Its code stays, and so do the recipes that name it.".to_owned(),
        pairs: vec![("Metal", format!("{}, {}", metal.name, metal.code))],
        fields: vec![
            Field::hidden("version", &form.version),
            Field::text("name", "Name", &form.name, "as the crew calls it"),
        ],
        action: format!("{PATH}/{}", metal.code),
        verb: "Save the name",
        detail: String::new(),
        back: ("Leave it as it is", PATH.to_owned()),
        ask: None,
        errors,
    };
    page_with(status, &act)
}
