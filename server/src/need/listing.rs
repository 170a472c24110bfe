//! Putting an asset on the list, and naming it.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::code::AssetCode;
use mendpost_core::journal::Subject;
use mendpost_core::situation::Asset;
use serde::Deserialize;
use serde_json::json;

use super::queries::{self, AssetRow};
use super::report::none;
use super::{PATH, asset_path, overtaken};
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
pub struct AssetForm {
    code: String,
    name: String,
    version: String,
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
    if let Some(known) = queries::asset(change.connection(), code.as_str()).await? {
        drop(change);
        errors.add(
            "code",
            format!("{} is {} already; give another", known.code, known.name),
        );
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

/// A code that was typed, or its fault.
pub(super) fn code<T: std::str::FromStr<Err: ToString>>(
    typed: &str,
    errors: &mut FieldErrors,
) -> Option<T> {
    let code = typed.trim().parse::<T>();
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

pub async fn open_name(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let asset = queries::asset(&state.db.read, &code).await?;
    let asset = asset.ok_or_else(|| none(&code))?;
    let form = AssetForm {
        name: asset.name.clone(),
        version: asset.version.to_string(),
        ..AssetForm::default()
    };
    name_page(&visit, StatusCode::OK, &asset, form, FieldErrors::default()).await
}

pub async fn rename(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<AssetForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let name = errors.check("name", text(&form.name, 80));
    let mut change = Change::begin(&state, &who).await?;
    let asset = queries::asset(change.connection(), &code).await?;
    let asset = asset.ok_or_else(|| none(&code))?;
    let Some(name) = name else {
        drop(change);
        return name_page(&visit, errors.status(), &asset, form, errors).await;
    };
    if !is_current(&form.version, asset.version) {
        drop(change);
        let stands = format!("It is called '{}' now", asset.name);
        errors.add_whole(overtaken(&state, &asset, visit.now, &stands).await?);
        form.version = asset.version.to_string();
        return name_page(&visit, StatusCode::CONFLICT, &asset, form, errors).await;
    }
    let after = AssetRow {
        name: name.clone(),
        ..asset.clone()
    };
    queries::update_asset(change.connection(), &after).await?;
    let content = json!({ "version": asset.version + 1, "before": asset.name, "name": name });
    let subject = Subject::new("asset", &asset.code);
    let journal = change.journal("asset.named", subject, content).await?;
    let text = format!("{}, {code}. Journal {journal}.", sentence(&name));
    change
        .finish(&who, &asset_path(&code), Notice::done("SAVED", text))
        .await
}

async fn name_page(
    visit: &Visit,
    status: StatusCode,
    asset: &AssetRow,
    form: AssetForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let act = ActPage {
        page: visit.layout(Screen::Site, &sentence(&asset.name)).await?,
        answer: format!("Give {} its name.", asset.code),
        reason: "Its code stays.".to_owned(),
        pairs: vec![("Asset", format!("{}, {}", asset.name, asset.code))],
        fields: vec![
            Field::hidden("version", &form.version),
            Field::text("name", "Name", &form.name, "as the crew calls it"),
        ],
        action: format!("{}/name", asset_path(&asset.code)),
        verb: "Save the name",
        detail: String::new(),
        back: ("Leave it as it is", asset_path(&asset.code)),
        ask: None,
        errors,
    };
    page_with(status, &act)
}
