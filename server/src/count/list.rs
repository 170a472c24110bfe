//! All counts, and beginning one.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::path;
use super::queries::{self, Count, DUE_DAYS};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};

#[derive(Template)]
#[template(path = "count/list.html")]
struct ListPage {
    page: Layout,
    answer: String,
    rows: Vec<Row>,
    /// The address of older ones.
    older: Option<String>,
    may: bool,
    scope: String,
    errors: FieldErrors,
}

impl ListPage {
    fn scopes(&self) -> [(&'static str, &'static str); 2] {
        [
            ("due", "not counted for seven days"),
            ("all", "every container"),
        ]
    }
}

struct Row {
    path: String,
    number: i64,
    what: &'static str,
    begun: String,
    state: String,
    mark: &'static str,
}

#[derive(Deserialize)]
pub(super) struct From {
    before: Option<i64>,
}

/// So many stand on a page.
const MOST: i64 = 50;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct BeginForm {
    scope: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    let before = from.before.unwrap_or(i64::MAX);
    list_page(&state, &visit, ("due", before), FieldErrors::default()).await
}

/// Begins a count: which containers it weighs is fixed now.
pub(super) async fn begin(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<BeginForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let due = change.now() - DUE_DAYS * 86_400_000;
    let due = match form.scope.as_str() {
        "all" => Some(None),
        "due" => Some(Some(due)),
        _ => {
            errors.add("scope", "choose which containers are weighed");
            None
        }
    };
    let containers = match due {
        Some(due) => queries::in_scope(change.connection(), due).await?,
        None => Vec::new(),
    };
    if errors.is_empty() && containers.is_empty() {
        errors.add(
            "scope",
            "no container is due: all that hold powder were counted within seven days",
        );
    }
    if !errors.is_empty() {
        drop(change);
        return list_page(&state, &visit, (&form.scope, i64::MAX), errors).await;
    }
    let number = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from stock_count"#
    )
    .fetch_one(change.connection())
    .await?;
    let codes: Vec<&str> = containers.iter().map(|(_, code)| code.as_str()).collect();
    let content = json!({ "scope": form.scope, "containers": codes });
    let entry = change
        .journal("count.begun", Subject::new("count", number), content)
        .await?;
    let (id, now) = (Uuid::now_v7(), change.now());
    sqlx::query!(
        "insert into stock_count (id, number, scope, begun_ms, begun_by, journal_sequence) values (?, ?, ?, ?, ?, ?)",
        id,
        number,
        form.scope,
        now,
        who.name,
        entry,
    )
    .execute(change.connection())
    .await?;
    for (container, _) in &containers {
        sqlx::query!(
            "insert into stock_count_container (count_id, container_id) values (?, ?)",
            id,
            container
        )
        .execute(change.connection())
        .await?;
    }
    let text = format!(
        "Count {number} of {} containers has begun, journal {entry}.",
        containers.len()
    );
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

async fn list_page(
    state: &AppState,
    visit: &Visit,
    (scope, before): (&str, i64),
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let counts = queries::newest(&state.db.read, before, MOST).await?;
    let layout = visit.layout(Screen::Powder, "Counts").await?;
    let open = counts.iter().find(|it| it.posted.is_none());
    let shown = ListPage {
        answer: match open {
            Some(open) => format!(
                "Count {} is open: {} of {} weighed.",
                open.number, open.found, open.containers
            ),
            None if counts.is_empty() => "Count what is there: nothing was counted yet.".to_owned(),
            None => "No count is open.".to_owned(),
        },
        older: counts
            .last()
            .filter(|it| it.number > 1)
            .map(|it| format!("/counts?before={}", it.number)),
        rows: counts.iter().map(|it| row(&layout, it)).collect(),
        may: visit.may(Act::BookPowder),
        scope: scope.to_owned(),
        errors,
        page: layout,
    };
    page_with(shown.errors.status(), &shown)
}

fn row(page: &Layout, count: &Count) -> Row {
    let (mark, state) = match count.posted {
        Some(entry) => ("done", format!("posted, journal {entry}")),
        None => (
            "work",
            format!("{} of {} weighed", count.found, count.containers),
        ),
    };
    Row {
        path: path(count.number),
        number: count.number,
        what: if count.scope == "all" {
            "every container"
        } else {
            "what was due"
        },
        begun: format!("{} by {}", page.moment(&count.begun_ms), count.begun_by),
        state,
        mark,
    }
}
