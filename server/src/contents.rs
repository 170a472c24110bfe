//! The list of all screens, for tablets whose foot strip has room for a few only.

use askama::Template;
use axum::response::Response;
use mendpost_core::people::Act;

use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default().get("/pages", Act::Look, show)
}

#[derive(Template)]
#[template(path = "contents.html")]
struct ContentsPage {
    page: Layout,
    screens: Vec<Screen>,
}

async fn show(visit: Visit) -> Result<Response, AppError> {
    let screen = Screen::Contents;
    page(&ContentsPage {
        page: visit.layout(screen, screen.word()).await?,
        screens: Screen::ALL
            .into_iter()
            .chain([Screen::Labels, Screen::Account])
            .collect(),
    })
}
