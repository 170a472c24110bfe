//! Taking an asset or a capability out of use, and back: what stands on record of it stays.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::situation::Situation;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::item::{Item, Thing};
use super::queries;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::is_current;
use crate::words::keep_back::numbered;
use crate::words::work::sentence;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct RetireForm {
    reason: String,
    version: String,
}

pub async fn ask_why(
    thing: Thing,
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let item = Item::find(thing, &mut *reading, &code).await?;
    item.in_use()?;
    let mut errors = FieldErrors::default();
    if let Some(needed) = needed(&mut reading, &item, visit.now).await? {
        errors.add_whole(needed);
    }
    drop(reading);
    let form = RetireForm {
        version: item.version.to_string(),
        ..RetireForm::default()
    };
    retire_page(&visit, StatusCode::OK, &item, &form, errors).await
}

pub async fn retire(
    thing: Thing,
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<RetireForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 500));
    let mut change = Change::begin(&state, &who).await?;
    let item = Item::find(thing, change.connection(), &code).await?;
    item.in_use()?;
    if !is_current(&form.version, item.version) {
        drop(change);
        let stands = format!("It is called '{}' now", item.name);
        errors.add_whole(item.overtaken(&state, visit.now, &stands).await?);
        form.version = item.version.to_string();
        return retire_page(&visit, StatusCode::CONFLICT, &item, &form, errors).await;
    }
    if let Some(needed) = needed(change.connection(), &item, visit.now).await? {
        errors.add_whole(needed);
    }
    let Some(reason) = reason.filter(|_| errors.is_empty()) else {
        drop(change);
        return retire_page(&visit, errors.status(), &item, &form, errors).await;
    };
    let said = "is retired; what stands on record of it stays";
    set(change, &who, &item, Some(&reason), said).await
}

pub async fn bring_back(
    thing: Thing,
    State(state): State<AppState>,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<RetireForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let item = Item::find(thing, change.connection(), &code).await?;
    if item.retired_reason.is_none() {
        let fault = format!("{} is in use already", item.name);
        return Err(AppError::Conflict(fault));
    }
    if !is_current(&form.version, item.version) {
        return Err(AppError::Conflict(format!(
            "{} was changed by somebody else meanwhile; look at it again",
            item.name
        )));
    }
    if thing == Thing::Capability {
        let gone = queries::retired_within(change.connection(), item.id).await?;
        if !gone.is_empty() {
            let gone: Vec<String> = gone
                .into_iter()
                .map(|(code, name)| format!("{name}, {code}"))
                .collect();
            return Err(AppError::Conflict(format!(
                "{} was given by what is retired too: {}; bring that back first",
                item.name,
                gone.join("; ")
            )));
        }
    }
    set(change, &who, &item, None, "is in use again").await
}

async fn set(
    mut change: Change,
    who: &Who,
    item: &Item,
    reason: Option<&str>,
    said: &str,
) -> Result<Response, AppError> {
    queries::set_retired(&mut change, item, reason).await?;
    let act = match reason {
        Some(_) => "retired",
        None => "brought-back",
    };
    let content = json!({
        "version": item.version + 1,
        "reason": reason,
        "before": item.retired_reason,
    });
    let journal = item.journal(&mut change, act, content).await?;
    let text = format!(
        "{}, {}, {said}. Journal {journal}. Plan again to count with it.",
        sentence(&item.name),
        item.code
    );
    change
        .finish(who, &item.path(), Notice::done("SAVED", text))
        .await
}

/// What still depends on an item, and what to do about it; none where nothing does.
async fn needed(
    connection: &mut SqliteConnection,
    item: &Item,
    now: i64,
) -> Result<Option<String>, AppError> {
    let now = situation::moment(now).map_err(AppError::internal)?;
    let situation = situation::load(&mut *connection, now).await?;
    Ok(match item.thing {
        Thing::Asset => {
            let interim = queries::interim_in(connection, item.id).await?;
            asset_needed(&situation, item, &interim)
        }
        Thing::Capability => capability_needed(&situation, item),
    })
}

/// An asset is kept by what counts on it: open requests, capabilities, interim parts in it, what is held for
/// it.
fn asset_needed(situation: &Situation, asset: &Item, interim: &[i64]) -> Option<String> {
    let code = asset.code.as_str();
    let requests = situation
        .requests
        .iter()
        .filter(|r| r.asset.as_str() == code);
    let requests: Vec<String> = requests.map(|r| r.code.to_string()).collect();
    let serves = situation.capabilities.iter();
    let serves = serves.filter(|c| c.assets.iter().any(|a| a.as_str() == code));
    let serves: Vec<&str> = serves.map(|c| c.name.as_str()).collect();
    let interim: Vec<String> = interim.iter().map(|number| format!("I{number}")).collect();
    let mut needed = Vec::new();
    if !requests.is_empty() {
        needed.push(format!(
            "open for it: {}; close or withdraw that first",
            requests.join(", ")
        ));
    }
    if !serves.is_empty() {
        needed.push(format!(
            "it counts for {}; say there what is needed without it, or retire that first",
            serves.join(", ")
        ));
    }
    if !interim.is_empty() {
        needed.push(format!(
            "in it now: {}; enter that it is off first",
            interim.join(", ")
        ));
    }
    let held = situation.keep_backs.iter();
    let held = held.filter(|it| it.assets.iter().any(|a| a.as_str() == code));
    let held: Vec<i64> = held.map(|it| it.number).collect();
    if !held.is_empty() {
        let held = numbered(&held);
        needed.push(format!("held for it: {held}; give that up first"));
    }
    told(&asset.name, &needed)
}

/// A capability is kept by open requests whose asset would serve nothing else.
fn capability_needed(situation: &Situation, capability: &Item) -> Option<String> {
    let code = capability.code.as_str();
    let counts_for = |asset, this: bool| {
        let mut all = situation.capabilities.iter();
        all.any(|c| (c.code.as_str() == code) == this && c.assets.contains(asset))
    };
    let waiting: Vec<String> = situation
        .requests
        .iter()
        .filter(|r| counts_for(&r.asset, true) && !counts_for(&r.asset, false))
        .map(|r| format!("{} for {}", r.code, r.asset))
        .collect();
    let needed = (!waiting.is_empty()).then(|| {
        format!(
            "open, and of no use to anything else: {}; close or withdraw that first, or say which other capability the asset counts for",
            waiting.join(", ")
        )
    });
    told(&capability.name, needed.as_slice())
}

fn told(name: &str, needed: &[String]) -> Option<String> {
    (!needed.is_empty()).then(|| {
        let needed = needed.iter().map(|one| format!(" {}.", sentence(one)));
        format!(
            "{} cannot be retired yet.{}",
            sentence(name),
            needed.collect::<String>()
        )
    })
}

async fn retire_page(
    visit: &Visit,
    status: StatusCode,
    item: &Item,
    form: &RetireForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let (reason, hint) = match item.thing {
        Thing::Asset => (
            "It is offered no more for requests and capabilities; what stands on record stays.",
            "scrapped, sold, sent home",
        ),
        Thing::Capability => (
            "It loses nothing any more, and the line-up does without it; what was said stays on record.",
            "no longer needed here, part of another now",
        ),
    };
    let act = ActPage {
        page: visit.layout(Screen::Site, &sentence(&item.name)).await?,
        answer: format!("Retire {}.", item.name),
        reason: reason.to_owned(),
        pairs: vec![item.pair()],
        fields: vec![
            Field::hidden("version", &form.version),
            Field::area("reason", "Why", &form.reason, hint),
        ],
        action: format!("{}/retire", item.path()),
        verb: "Retire it",
        detail: "it can be brought back".to_owned(),
        back: ("Leave it as it is", item.path()),
        ask: None,
        errors,
    };
    page_with(status, &act)
}
