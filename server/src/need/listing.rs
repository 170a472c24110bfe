//! Putting an asset on the list.

use axum::extract::State;
use axum::response::Response;
use mendpost_core::code::{AssetCode, InvalidCode, new_label};
use mendpost_core::journal::Subject;
use mendpost_core::situation::Asset;
use serde::Deserialize;
use serde_json::json;

use super::item::Thing;
use super::{PATH, asset_path, queries};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::words::work::sentence;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct AssetForm {
    code: String,
    name: String,
}

pub async fn blank(visit: Visit) -> Result<Response, AppError> {
    add_page(&visit, AssetForm::default(), FieldErrors::default()).await
}

/// Lists an asset that runs.
pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<AssetForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let code: Option<AssetCode> = code(&form.code, &mut errors);
    let name = errors.check("name", text(&form.name, 80));
    let (Some(code), Some(name)) = (code, name) else {
        return add_page(&visit, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let known = queries::item(change.connection(), Thing::Asset, code.as_str()).await?;
    if let Some(known) = known {
        drop(change);
        errors.add("code", known.taken());
        return add_page(&visit, form, errors).await;
    }
    let asset = Asset {
        code: code.clone(),
        name: name.clone(),
        down_from: None,
        back: None,
    };
    queries::insert_asset(change.connection(), &asset).await?;
    let content = json!({ "version": 1, "name": name });
    let subject = Subject::new("asset", &code);
    let journal = change.journal("asset.listed", subject, content).await?;
    let text = format!(
        "{}, {code}, runs and serves no capability yet. Journal {journal}.",
        sentence(&name)
    );
    change
        .finish(
            &who,
            &asset_path(code.as_str()),
            Notice::done("SAVED", text),
        )
        .await
}

/// A code that was typed for something new, or its fault.
pub(super) fn code<T: std::str::FromStr<Err = InvalidCode>>(
    typed: &str,
    errors: &mut FieldErrors,
) -> Option<T> {
    let code = new_label(typed);
    code.map_err(|fault| errors.add("code", fault.to_string()))
        .ok()
}

async fn add_page(
    visit: &Visit,
    form: AssetForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let act = ActPage {
        page: visit.layout(Screen::Site, "Add an asset").await?,
        answer: "Add an asset of the site.".to_owned(),
        reason: "It runs until somebody reports it down.".to_owned(),
        pairs: Vec::new(),
        fields: vec![
            Field::text(
                "code",
                "Code",
                &form.code,
                "short, as it stands on the asset: WP4",
            ),
            Field::text("name", "Name", &form.name, "as the crew calls it"),
        ],
        action: "/site/add-asset".to_owned(),
        verb: "Add the asset",
        detail: String::new(),
        back: ("Add nothing", PATH.to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}
