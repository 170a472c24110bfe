//! Entering what was weighed, before the book is shown.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde_json::json;

use super::path;
use super::queries::{self, Count, Line};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, MOST_WEIGHED_MG, OF_EACH_FORM, Posted, decimal};
use crate::page::{Layout, Notice, Screen, grams_exact, page_with};
use crate::people::{Visit, Who};

#[derive(Template)]
#[template(path = "count/enter.html")]
struct EnterPage {
    page: Layout,
    number: i64,
    answer: String,
    reason: String,
    rows: Vec<Row>,
    /// Nothing more is entered.
    posted: Option<i64>,
    may: bool,
    may_post: bool,
    errors: FieldErrors,
}

struct Row {
    /// The name of its field.
    name: String,
    code: String,
    what: String,
    label: String,
    typed: String,
    fault: String,
    found: String,
}

/// The name of a container's field.
fn name(line: &Line) -> String {
    format!("found-{}", line.code)
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    let count = find(&state, number).await?;
    enter_page(
        &state,
        &visit,
        &count,
        &BTreeMap::new(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn find(state: &AppState, number: i64) -> Result<Count, AppError> {
    let count = queries::count(&state.db.read, number).await?;
    count.ok_or_else(|| AppError::NotFound {
        what: format!("count {number}"),
    })
}

/// Keeps what was weighed of some containers; the rest may follow.
pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(sent): Posted<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let typed: BTreeMap<String, String> = sent
        .into_iter()
        .filter(|(name, _)| !OF_EACH_FORM.contains(&name.as_str()))
        .collect();
    let count = find(&state, number).await?;
    let lines = queries::lines(&state.db.read, count.id).await?;
    let mut errors = FieldErrors::default();
    let fields: Vec<String> = lines.iter().map(name).collect();
    let strange = typed.iter().filter(|(name, _)| !fields.contains(name));
    errors.unknown(
        strange.map(|(a, b)| (a.as_str(), b.as_str())),
        "Containers of this count have fields.",
    );
    let mut found = Vec::new();
    for line in &lines {
        let typed = typed.get(&name(line)).map_or("", |it| it.trim());
        if typed.is_empty() {
            continue;
        }
        let Some(weighed) = errors.check(&name(line), decimal(typed, 3, 0..=MOST_WEIGHED_MG))
        else {
            continue;
        };
        let net = weighed - line.tare.unwrap_or_default().0;
        if net < 0 {
            let tare = grams_exact(line.tare.unwrap_or_default().0);
            errors.add(
                &name(line),
                format!("it weighs {tare} empty, which is more; weigh again"),
            );
        } else {
            found.push((line, net));
        }
    }
    if found.is_empty() && errors.is_empty() {
        errors.add_whole("nothing was typed: enter what at least one container weighs");
    }
    if !errors.is_empty() {
        return enter_page(&state, &visit, &count, &typed, errors).await;
    }
    let mut change = Change::begin(&state, &who).await?;
    let stands = queries::count(change.connection(), number).await?;
    if stands.is_none_or(|it| it.posted.is_some()) {
        return Err(AppError::Conflict(format!(
            "count {number} was posted meanwhile; begin another"
        )));
    }
    let mut told = Vec::new();
    let mut kept = Vec::new();
    for (line, net) in &found {
        let (book, drawn) = queries::book_of(change.connection(), line.id).await?;
        told.push(json!({ "container": line.code, "found_mg": net, "book_mg": book }));
        kept.push((line.id, *net, book, drawn));
    }
    let content = json!({ "found": told });
    let entry = change
        .journal("count.found", Subject::new("count", number), content)
        .await?;
    let now = change.now();
    for (container, net, book, drawn) in kept {
        sqlx::query!(
            "insert into stock_count_found (journal_sequence, count_id, container_id, found_mg, book_mg, drawn_mg, at_ms,
               found_by, person_id)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            entry,
            count.id,
            container,
            net,
            book,
            drawn,
            now,
            who.name,
            who.id,
        )
        .execute(change.connection())
        .await?;
    }
    let text = match found.len() {
        1 => format!("One container is entered, journal {entry}."),
        many => format!("{many} containers are entered, journal {entry}."),
    };
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

async fn enter_page(
    state: &AppState,
    visit: &Visit,
    count: &Count,
    typed: &BTreeMap<String, String>,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let lines = queries::lines(&state.db.read, count.id).await?;
    let layout = visit
        .layout(Screen::Powder, &format!("Count {}", count.number))
        .await?;
    let left = lines.iter().filter(|it| it.found.is_none()).count();
    let answer = match (count.posted, left) {
        (Some(_), _) => format!("Count {} is posted.", count.number),
        (None, 0) => format!(
            "All of count {} is weighed: look at it, and post it.",
            count.number
        ),
        (None, 1) => "Weigh one container more.".to_owned(),
        (None, left) => format!("Weigh {left} containers."),
    };
    let rows = lines
        .iter()
        .map(|line| {
            let name = name(line);
            Row {
                code: line.code.to_string(),
                what: format!(
                    "{}, {}",
                    line.powder,
                    if line.opened { "open" } else { "sealed" }
                ),
                label: match line.tare {
                    Some(tare) => format!("weighs, with its {} empty", grams_exact(tare.0)),
                    None => "holds, without the container".to_owned(),
                },
                typed: typed.get(&name).cloned().unwrap_or_default(),
                fault: errors.of(&name).to_owned(),
                found: line.found.as_ref().map_or_else(String::new, |it| {
                    format!(
                        "{} by {}, {}",
                        grams_exact(it.found.0),
                        it.by,
                        layout.clock(&it.at_ms)
                    )
                }),
                name,
            }
        })
        .collect();
    let shown = EnterPage {
        number: count.number,
        answer,
        reason: "What the book says is shown when it is weighed.".to_owned(),
        rows,
        posted: count.posted,
        may: visit.may(Act::BookPowder),
        may_post: visit.may(Act::AdjustBook) && left < lines.len(),
        errors,
        page: layout,
    };
    page_with(shown.errors.status(), &shown)
}
