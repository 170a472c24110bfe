//! All builds, the newest first.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::path;
use super::queries::{self, Build};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;

#[derive(Template)]
#[template(path = "build/list.html")]
struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
    /// The address of older ones.
    older: Option<String>,
}

struct Row {
    path: String,
    number: i64,
    request: i64,
    what: String,
    recipe: String,
    begun: String,
    mark: &'static str,
    state: String,
}

#[derive(Deserialize)]
pub(super) struct From {
    before: Option<i64>,
}

const MOST: i64 = 50;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    let builds = queries::newest(&state.db.read, from.before.unwrap_or(i64::MAX), MOST).await?;
    let layout = visit.layout(Screen::Requests, "Builds").await?;
    let open = builds.iter().find(|it| it.ended_ms.is_none());
    let answer = match (open, builds.is_empty()) {
        (Some(open), _) => format!(
            "Build {} is under way: {} {}.",
            open.number, open.asset, open.part_name
        ),
        (None, true) => "No build is on record: begin one from its request.".to_owned(),
        (None, false) => "Nothing is being built.".to_owned(),
    };
    let full = i64::try_from(builds.len()) == Ok(MOST);
    page(&ListPage {
        answer,
        older: builds
            .last()
            .filter(|it| full && it.number > 1)
            .map(|it| format!("/builds?before={}", it.number)),
        rows: builds.iter().map(|it| row(&layout, it)).collect(),
        page: layout,
    })
}

fn row(page: &Layout, build: &Build) -> Row {
    let (mark, state) = match (&build.ended_ms, build.outcome.as_deref()) {
        (None, _) => ("work", "under way".to_owned()),
        (Some(at), Some("scrapped")) => ("lost", format!("scrapped {}", page.moment(at))),
        (Some(at), _) => ("done", format!("ended {}", page.moment(at))),
    };
    Row {
        path: path(build.number),
        number: build.number,
        request: build.request,
        what: format!("{} {}", build.asset, build.part_name),
        recipe: format!("{} rev {}", build.recipe, build.revision),
        begun: page.moment(&build.begun_ms),
        mark,
        state,
    }
}
