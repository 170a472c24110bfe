//! Now: what is running, what is stuck, and the next act.

mod acts;
mod pages;
mod safety;
mod stacks;

use axum::extract::State;
use axum::response::Response;
use mendpost_core::people::Act;

use crate::AppState;
use crate::build;
use crate::error::AppError;
use crate::page::{Screen, page};
use crate::people::Visit;
use crate::requests::standing::Orders;
use crate::routes::Routes;
use crate::{handover, interim, receive, signature, situation};
use safety::Safety;

pub fn routes() -> Routes {
    Routes::default().get("/now", Act::Look, show)
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let orders = Orders::load(&state.db.read).await?;
    let may_plan = visit.may(Act::Plan);
    let layout = visit.layout(Screen::Now, Screen::Now.word()).await?;
    let safety = Safety::load(&state, &visit, &layout).await?;
    let signings = signature::queries::waiting(&state.db.read).await?;
    let out = interim::open(&state.db.read, situation.now).await?;
    let alarm = interim::Alarm::of(&out, situation.now);
    let build = build::running(&state, &layout).await?;
    let mut reading = state.db.read.acquire().await?;
    let late = handover::late(&mut reading, &layout).await?;
    drop(reading);
    let now = pages::NowPage::new(layout, &situation, &orders, may_plan, safety);
    let deliveries = receive::queries::deliveries(&state.db.read).await?;
    let now = now
        .with_signings(signings)
        .with_interim(alarm)
        .with_build(build)
        .with_late(late);
    page(&now.with_deliveries(deliveries))
}
