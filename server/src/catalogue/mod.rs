//! The catalogue: which parts this cell can make, by which approved recipe, and what they take here.

mod list;
mod one;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::people::Act;

use crate::AppState;
use crate::error::AppError;
use crate::page::{Screen, page};
use crate::people::Visit;
use crate::routes::Routes;
use crate::situation;

pub fn routes() -> Routes {
    Routes::default().get("/catalogue", Act::Look, show).get(
        "/catalogue/{part}",
        Act::Look,
        show_part,
    )
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let layout = visit.layout(Screen::Catalogue, "Catalogue").await?;
    page(&list::ListPage::new(layout, &situation))
}

async fn show_part(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let mut parts = situation.parts.iter();
    let part = parts.find(|p| p.code.as_str() == code);
    let part = part.ok_or_else(|| AppError::NotFound {
        what: format!("part {code} in the catalogue"),
    })?;
    let layout = visit.layout(Screen::Catalogue, &code).await?;
    page(&one::PartPage::new(layout, &situation, part))
}
