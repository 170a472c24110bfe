//! Plates that are sprayed on and fixtures that hold parts: which there are, and how many.

mod pages;
pub mod queries;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::code::KitCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::situation::Kit;
use serde::Deserialize;
use serde_json::json;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice, integer, new_code, text};
use crate::page::{Notice, page};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::version::{Field as Both, Stale, is_current};

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, show)
        .get("/site/add-kit", Act::WriteRecipe, blank)
        .post("/site/add-kit", Act::WriteRecipe, add)
        .get("/site/kit/{code}", Act::CountKit, open)
        .post("/site/kit/{code}", Act::CountKit, count)
}

const PATH: &str = "/site/kit";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct KitForm {
    code: String,
    name: String,
    kind: String,
    count: String,
    version: String,
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let kit = queries::all(&state.db.read).await?;
    page(&pages::list(&visit, kit).await?)
}

async fn blank(visit: Visit) -> Result<Response, AppError> {
    pages::add(&visit, &KitForm::default(), FieldErrors::default()).await
}

async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<KitForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let code = new_code::<KitCode>(&form.code, "code", &mut errors);
    let name = errors.check("name", text(&form.name, 80));
    let kind = errors.check("kind", choice(&form.kind));
    let count = errors.check("count", integer(&form.count, 0..=9999));
    let (Some(code), Some(name), Some(kind), Some(count)) = (code, name, kind, count) else {
        return pages::add(&visit, &form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    if let Some((known, _)) = queries::one(change.connection(), code.as_str()).await? {
        drop(change);
        let fault = format!("{code} is {} already; give another", known.name);
        errors.add("code", fault);
        return pages::add(&visit, &form, errors).await;
    }
    let kit = Kit {
        code,
        name,
        kind,
        count,
    };
    queries::insert(change.connection(), &kit).await?;
    let content = json!({
        "version": 1,
        "name": kit.name,
        "kind": kit.kind,
        "count": kit.count,
    });
    let subject = Subject::new("kit", &kit.code);
    let journal = change.journal("kit.listed", subject, content).await?;
    let text = format!(
        "{}, {} here. Journal {journal}. Recipes may name it.",
        kit.name, kit.count
    );
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let (kit, version) = find(queries::one(&state.db.read, &code).await?, &code)?;
    let form = KitForm {
        name: kit.name.clone(),
        count: kit.count.to_string(),
        version: version.to_string(),
        ..KitForm::default()
    };
    let shown = (StatusCode::OK, FieldErrors::default(), None);
    pages::count(&visit, &kit, form, shown).await
}

async fn count(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<KitForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let name = errors.check("name", text(&form.name, 80));
    let count = errors.check("count", integer(&form.count, 0..=9999));
    let mut change = Change::begin(&state, &who).await?;
    let (before, version) = find(queries::one(change.connection(), &code).await?, &code)?;
    let (Some(name), Some(count)) = (name, count) else {
        drop(change);
        let shown = (errors.status(), errors, None);
        return pages::count(&visit, &before, form, shown).await;
    };
    let subject = Subject::new("kit", &before.code);
    if !is_current(&form.version, version) {
        drop(change);
        let fields = vec![
            Both::new("Name", &before.name, &name),
            Both::new("Here", &before.count, &count),
        ];
        let stale = Stale::of(&state.db.read, &subject, version, fields).await?;
        form.version = stale.version.to_string();
        let shown = (StatusCode::CONFLICT, FieldErrors::default(), Some(stale));
        return pages::count(&visit, &before, form, shown).await;
    }
    let after = Kit {
        name,
        count,
        ..before.clone()
    };
    queries::update(change.connection(), &after).await?;
    let says = |kit: &Kit| json!({ "name": kit.name, "count": kit.count });
    let content = json!({
        "version": version + 1,
        "before": says(&before),
        "after": says(&after),
    });
    let journal = change.journal("kit.counted", subject, content).await?;
    let text = format!(
        "{}, {} here, {} before. Journal {journal}. Plan again to count with it.",
        after.name, after.count, before.count
    );
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

fn find(found: Option<(Kit, i64)>, code: &str) -> Result<(Kit, i64), AppError> {
    found.ok_or_else(|| AppError::NotFound {
        what: format!("plate or fixture {code}"),
    })
}
