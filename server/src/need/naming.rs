//! Giving an asset or a capability another name. Its code stays: records go by that.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::json;

use super::item::{Item, Thing};
use super::queries;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::version::is_current;
use crate::words::work::sentence;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct NameForm {
    name: String,
    version: String,
}

pub async fn open(
    thing: Thing,
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let item = Item::find(thing, &state.db.read, &code).await?;
    item.in_use()?;
    let form = NameForm {
        name: item.name.clone(),
        version: item.version.to_string(),
    };
    name_page(&visit, StatusCode::OK, &item, form, FieldErrors::default()).await
}

pub async fn rename(
    thing: Thing,
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<NameForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let name = errors.check("name", text(&form.name, 80));
    let mut change = Change::begin(&state, &who).await?;
    let item = Item::find(thing, change.connection(), &code).await?;
    item.in_use()?;
    let Some(name) = name else {
        drop(change);
        return name_page(&visit, errors.status(), &item, form, errors).await;
    };
    if !is_current(&form.version, item.version) {
        drop(change);
        let stands = format!("It is called '{}' now", item.name);
        errors.add_whole(item.overtaken(&state, visit.now, &stands).await?);
        form.version = item.version.to_string();
        return name_page(&visit, StatusCode::CONFLICT, &item, form, errors).await;
    }
    if name == item.name {
        drop(change);
        errors.add_whole("Nothing is changed: enter what is new, or leave the page.");
        return name_page(&visit, errors.status(), &item, form, errors).await;
    }
    queries::set_name(&mut change, (thing, item.id), &name).await?;
    let content = json!({ "version": item.version + 1, "before": item.name, "name": name });
    let journal = item.journal(&mut change, "named", content).await?;
    let text = format!("{}, {code}. Journal {journal}.", sentence(&name));
    change
        .finish(&who, &item.path(), Notice::done("SAVED", text))
        .await
}

async fn name_page(
    visit: &Visit,
    status: StatusCode,
    item: &Item,
    form: NameForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let hint = match item.thing {
        Thing::Asset => "as the crew calls it",
        Thing::Capability => "what the site needs done: fresh water, power, lifting",
    };
    let act = ActPage {
        page: visit.layout(Screen::Site, &sentence(&item.name)).await?,
        answer: format!("Give {} its name.", item.code),
        reason: "Its code stays.".to_owned(),
        pairs: vec![item.pair()],
        fields: vec![
            Field::hidden("version", &form.version),
            Field::text("name", "Name", &form.name, hint),
        ],
        action: format!("{}/name", item.path()),
        verb: "Save the name",
        detail: String::new(),
        back: ("Leave it as it is", item.path()),
        ask: None,
        errors,
    };
    page_with(status, &act)
}
