//! The site: its name, zone and height, and who works there.

pub(crate) mod chances;
mod edit;
mod pages;
pub mod queries;
pub(crate) mod weighing;

use axum::extract::State;
use axum::response::{Redirect, Response};
use chrono_tz::Tz;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde::Serialize;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::page::{Screen, page};
use crate::people::{self, Visit};
use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default()
        .get("/", Act::Look, first_screen)
        .get("/site", Act::Look, show)
        .get("/site/edit", Act::SetUpSite, edit::show)
        .post("/site/edit", Act::SetUpSite, edit::save)
        .of_site::<chances::Told, { chances::COUNT }>("/site/chances/change")
        .of_site::<weighing::Weighing, { weighing::COUNT }>("/site/weighing/change")
}

/// The one site of a database.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Site {
    pub name: String,
    pub cell_name: String,
    #[serde(serialize_with = "zone_name")]
    pub zone: Tz,
    /// Metres above the sea.
    pub altitude_m: i64,
    /// An invented site, on which anybody may be anybody.
    pub demonstration: bool,
}

/// Writes the site into an empty database.
pub async fn found(change: &mut Change, site: &Site) -> Result<(), AppError> {
    queries::insert(change.connection(), site).await?;
    let subject = Subject::new("site", 1);
    change.journal("site.founded", subject, site).await?;
    Ok(())
}

async fn first_screen() -> Redirect {
    Redirect::to(Screen::ALL[0].path())
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let people = people::queries::everybody(&state.db.read).await?;
    let shut_out = match state.config.demonstration {
        true => Vec::new(),
        false => people::queries::shut_out(&state.db.read, visit.now).await?,
    };
    page(&pages::SitePage {
        page: visit.layout(Screen::Site, "Site").await?,
        site: &visit.site,
        is_lead: visit.may(Act::SetUpSite),
        people,
        shut_out,
    })
}

fn zone_name<S: serde::Serializer>(zone: &Tz, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(zone.name())
}
