//! An asset or a capability that is no longer in use: why, what stands on record of it, and back.

use askama::Template;
use axum::response::Response;
use mendpost_core::people::Act;

use super::item::Item;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "need/retired.html")]
struct RetiredPage {
    page: Layout,
    name: String,
    code: String,
    reason: String,
    path: String,
    version: i64,
    /// What the rows are, and when or by whom.
    heads: [&'static str; 2],
    record: Vec<RecordRow>,
    may_set: bool,
}

/// What stands on record: two columns, each with what goes under it.
pub struct RecordRow {
    pub what: String,
    pub under: String,
    pub when: String,
    pub under_when: String,
}

pub async fn show(
    visit: &Visit,
    item: Item,
    heads: [&'static str; 2],
    record: Vec<RecordRow>,
) -> Result<Response, AppError> {
    page(&RetiredPage {
        page: visit.layout(Screen::Site, &sentence(&item.name)).await?,
        name: sentence(&item.name),
        path: item.path(),
        code: item.code,
        reason: item.retired_reason.unwrap_or_default(),
        version: item.version,
        heads,
        record,
        may_set: visit.may(Act::SetUpSite),
    })
}

/// A retired item as the list shows it.
pub struct RetiredRow {
    pub name: String,
    pub path: String,
    pub reason: String,
}

/// Those of these that are retired.
pub fn rows(items: impl IntoIterator<Item = Item>) -> Vec<RetiredRow> {
    let row = |item: Item| {
        Some(RetiredRow {
            name: format!("{}, {}", sentence(&item.name), item.code),
            path: item.path(),
            reason: item.retired_reason?,
        })
    };
    items.into_iter().filter_map(row).collect()
}
