//! Powder: which lot to open next, what runs out when, and what became of each lot.

pub mod columns;
mod count;
mod drawdown;
pub mod kind;
mod lot;
mod pages;
pub mod queries;
mod release;
mod send_back;
mod stop;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use mendpost_core::lineup::stocks;
use mendpost_core::people::Act;
use serde::Deserialize;

use crate::AppState;
use crate::attachment::{Holder, Photos};
use crate::certificate::Checked;
use crate::change::Change;
use crate::error::AppError;
use crate::furnace;
use crate::lineup::{Stored, queries as lineup};
use crate::page::{Screen, page};
use crate::people::Visit;
use crate::routes::Routes;
use crate::signature;
use crate::situation;
use crate::words::powder::lot_state;
use crate::{blend, book};

pub use kind::path as kind_path;
pub use queries::{LotFacts, lot};
pub use release::{carry_out as carry_out_release, pairs as release_pairs};
pub use stop::{stop, stop_lots};

pub fn routes() -> Routes {
    Routes::default()
        .get("/powder", Act::Look, show)
        .get("/powder/{lot}", Act::Look, show_lot)
        .get("/powder/kinds/{code}", Act::Look, kind::look)
        .get("/powder/kinds/{code}/change", Act::WriteRecipe, kind::open)
        .post("/powder/kinds/{code}/change", Act::WriteRecipe, kind::save)
        .get("/powder/{lot}/release", Act::ReleaseLot, release::show)
        .post("/powder/{lot}/release", Act::ReleaseLot, release::release)
        .get("/powder/{lot}/hold", Act::HoldLot, stop::show_hold)
        .post("/powder/{lot}/hold", Act::HoldLot, stop::hold)
        .get("/powder/{lot}/reject", Act::ReleaseLot, stop::show_reject)
        .post("/powder/{lot}/reject", Act::ReleaseLot, stop::reject)
        .get("/powder/{lot}/send-back", Act::AdjustBook, send_back::show)
        .post("/powder/{lot}/send-back", Act::AdjustBook, send_back::send)
        .get("/powder/{lot}/count", Act::AdjustBook, count::show)
        .post("/powder/{lot}/count", Act::AdjustBook, count::enter)
}

/// Which powder's course is drawn.
#[derive(Deserialize)]
struct Choice {
    #[serde(default)]
    powder: String,
}

async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let stored = working_order(&state).await?;
    let stocks = stocks(&situation, stored.as_ref().map(|s| &s.line_up));
    let chosen = pages::chosen(&stocks, choice.powder.trim())?;
    let history = match chosen {
        Some(stock) => {
            let start = drawdown::first_moment(situation.site.zone, situation.now);
            let powder = stock.powder.as_str();
            queries::history(&state.db.read, powder, start.timestamp_millis()).await?
        }
        None => Vec::new(),
    };
    let count = queries::last_count(&state.db.read).await?;
    let layout = visit.layout(Screen::Powder, "Powder").await?;
    let book = pages::Book {
        situation: &situation,
        stocks: &stocks,
        order: stored.as_ref().map(|s| s.number),
        places: stored.as_ref().map_or(&[], |s| &s.line_up.places),
        history: &history,
        count,
        may_blend: visit.may(Act::EnterLots),
    };
    page(&pages::PowderPage::new(layout, &book, chosen))
}

async fn show_lot(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let lot = queries::lot(&mut *reading, &code).await?;
    let none = || AppError::NotFound {
        what: format!("lot {code}"),
    };
    let lot = lot.ok_or_else(none)?;
    let holder = Holder::lot(&mut *reading, &code).await?;
    let checked = Checked::load(&mut reading, &lot).await?;
    let parents = blend::queries::parents(&mut *reading, &code).await?;
    let children = blend::queries::children(&mut *reading, &code).await?;
    drop(reading);
    let situation = situation::now(&state).await?;
    let stored = working_order(&state).await?;
    let line_up = stored.as_ref().map(|s| &s.line_up);
    let stocks = stocks(&situation, line_up);
    let layout = visit.layout(Screen::Powder, &code).await?;
    let mut reading = state.db.read.acquire().await?;
    let dried = furnace::dried(&mut reading, &layout, &code).await?;
    drop(reading);
    let record = lot::Record {
        dried,
        containers: queries::containers(&state.db.read, &code).await?,
        movements: book::queries::of_lot(&state.db.read, &code).await?,
        signatures: signature::of_subject(&state.db.read, "lot", &code).await?,
        acts: release::acts(&state, &visit, &lot, &checked).await?,
        checked,
        parents,
        children,
        photos: Photos::load(&state, &visit, &holder.ok_or_else(none)?).await?,
        may_draw: visit.may(Act::BookPowder),
        may_take_back: visit.may(Act::AdjustBook),
        lot,
    };
    page(&lot::LotPage::new(
        layout, &situation, line_up, &stocks, record,
    ))
}

/// The line-up that the crew works to; before one is accepted, the newest.
async fn working_order(state: &AppState) -> Result<Option<Stored>, sqlx::Error> {
    match lineup::accepted(&state.db.read).await? {
        Some(stored) => Ok(Some(stored)),
        None => lineup::latest(&state.db.read).await,
    }
}

/// As long as the note of a lot's state may be.
const REASON: usize = 200;

fn facts(lot: &LotFacts) -> Vec<(&'static str, String)> {
    vec![
        ("Lot", lot.code.clone()),
        ("Powder", lot.powder_name.clone()),
        ("State", lot_state(lot.state).to_owned()),
        ("Maker's lot", none_if_empty(&lot.maker_lot)),
    ]
}

fn none_if_empty(text: &str) -> String {
    if text.is_empty() { "none" } else { text }.to_owned()
}

async fn find(state: &AppState, code: &str) -> Result<LotFacts, AppError> {
    let lot = queries::lot(&state.db.read, code).await?;
    lot.ok_or_else(|| AppError::NotFound {
        what: format!("lot {code}"),
    })
}

/// Refuses to go on when another tablet has changed the lot since it was looked at.
async fn unchanged(change: &mut Change, seen: &LotFacts) -> Result<(), AppError> {
    let lot = queries::lot(change.connection(), &seen.code).await?;
    match lot {
        Some(lot) if lot.state == seen.state && lot.state_note == seen.state_note => Ok(()),
        _ => Err(AppError::Conflict(format!(
            "lot {} was changed by somebody else meanwhile; look at it again",
            seen.code
        ))),
    }
}

/// The address of a lot. A code may hold a slash.
pub fn lot_path(code: &str) -> String {
    format!("/powder/{}", code.replace('/', "%2F"))
}
