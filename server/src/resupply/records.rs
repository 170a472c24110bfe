//! The records that resupply rests on, and where each is kept.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::resupply::Mode;

use super::{carriage, failure, item, set, trip};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;

#[derive(Template)]
#[template(path = "resupply/records.html")]
struct RecordsPage {
    page: Layout,
    answer: String,
    /// Address, word, and what stands there.
    rows: Vec<(&'static str, &'static str, String)>,
}

pub async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let items = item::queries::items(&mut reading).await?.len();
    let sets = set::queries::sets(&mut reading).await?.len();
    let trips = trip::queries::all(&mut reading).await?;
    let rates = failure::queries::failures(&mut reading, visit.now).await?;
    let mut modes = Vec::new();
    for mode in Mode::ALL.iter().copied() {
        if carriage::queries::of(&mut reading, mode).await?.is_some() {
            modes.push(mode.as_str());
        }
    }
    drop(reading);
    let told = rates.iter().filter(|it| it.prior_days > 0).count();
    let layout = visit.layout(Screen::Resupply, "Resupply").await?;
    page(&RecordsPage {
        answer: trips.first().map_or_else(
            || "Announce the next trip: no list is made without one.".to_owned(),
            |next| {
                let closes = layout.moment(&next.closes.timestamp_millis());
                format!("Have the list for {} ready by {closes}.", next.code)
            },
        ),
        rows: vec![
            (
                item::PATH,
                "Items",
                format!("{items} that the depot can send"),
            ),
            (
                set::PATH,
                "Sets",
                format!("{sets} of items that go together"),
            ),
            (trip::PATH, "Trips", format!("{} expected", trips.len())),
            (
                carriage::PATH,
                "Rules of carriage",
                match modes.is_empty() {
                    true => "nobody wrote any down".to_owned(),
                    false => format!("written down for {}", modes.join(", ")),
                },
            ),
            (
                failure::PATH,
                "Failure rates",
                format!("told of {told} of {} parts", rates.len()),
            ),
        ],
        page: layout,
    })
}
