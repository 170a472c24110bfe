//! Promises and what the next shift must do: carried from shift to shift until somebody closes them by name.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::shift::MOST_MUSTS;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::queries::{self, Carried};
use super::{CarriedKind, PATH, shift};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice, local_time, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Layout, Notice, Screen};
use crate::people::{Visit, Who};

/// A line as it is typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct LineForm {
    pub kind: String,
    pub line: String,
    pub due: String,
}

pub(super) async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<LineForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let kind = errors.check("kind", choice::<CarriedKind>(&form.kind));
    let line = errors.check("line", text(&form.line, 200));
    let due = errors.check("due", local_time(&form.due, visit.site.zone));
    if due.is_some_and(|due| due < visit.now) {
        errors.add("due", "this time is over; say until when from now on");
    }
    let mut change = Change::begin(&state, &who).await?;
    let open = queries::carried(change.connection()).await?;
    let musts = open
        .iter()
        .filter(|it| it.kind == CarriedKind::Must)
        .count();
    if kind == Some(CarriedKind::Must) && musts >= MOST_MUSTS {
        errors.add(
            "line",
            format!(
                "{musts} lines for the next shift are open, and {MOST_MUSTS} are what one keeps in mind; close one first"
            ),
        );
    }
    let (Some(kind), Some(line), Some(due), true) = (kind, line, due, errors.is_empty()) else {
        drop(change);
        let typed = shift::Typed {
            line: form,
            ..shift::Typed::default()
        };
        return shift::page_of(&state, &visit, typed, errors).await;
    };
    let number = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from carried"#
    )
    .fetch_one(change.connection())
    .await?;
    let content = json!({ "kind": kind, "text": line, "due_ms": due, "written_by": who.name });
    let subject = Subject::new("carried", number);
    let sequence = change.journal("carried.added", subject, content).await?;
    let (word, now) = (kind.as_str(), change.now());
    sqlx::query!(
        "insert into carried (number, kind, text, due_ms, written_by, written_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        number,
        word,
        line,
        due,
        who.name,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    let text = format!("It stands until somebody closes it. Journal {sequence}.");
    change.finish(&who, PATH, Notice::done("ADDED", text)).await
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct CloseForm {
    how: String,
}

async fn find(connection: &mut SqliteConnection, number: &str) -> Result<Carried, AppError> {
    let open = queries::carried(connection).await?;
    let found = open.into_iter().find(|it| it.number.to_string() == number);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("line {number} that is still open"),
    })
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let line = find(&mut *state.db.read.acquire().await?, &number).await?;
    close_page(&visit, &line, &CloseForm::default(), FieldErrors::default()).await
}

pub(super) async fn close(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<CloseForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let how = errors.check("how", text(&form.how, 200));
    let mut change = Change::begin(&state, &who).await?;
    let line = find(change.connection(), &number).await?;
    let Some(how) = how else {
        drop(change);
        return close_page(&visit, &line, &form, errors).await;
    };
    let content = json!({ "how": how, "closed_by": who.name });
    let subject = Subject::new("carried", line.number);
    let sequence = change.journal("carried.closed", subject, content).await?;
    let now = change.now();
    sqlx::query!(
        "insert into carried_closed (number, how, closed_by, closed_ms, journal_sequence) values (?, ?, ?, ?, ?)",
        line.number,
        how,
        who.name,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    let text = format!("{}: {how}. Journal {sequence}.", line.text);
    change
        .finish(&who, PATH, Notice::done("CLOSED", text))
        .await
}

async fn close_page(
    visit: &Visit,
    line: &Carried,
    form: &CloseForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let page = visit.layout(Screen::Handover, "Close a line").await?;
    let late = if line.due_ms < visit.now {
        ", overdue"
    } else {
        ""
    };
    let hint = "what was done, or who let it go";
    let act = ActPage {
        answer: match line.kind {
            CarriedKind::Promise => "Close this promise.".to_owned(),
            CarriedKind::Must => "Close this line.".to_owned(),
        },
        reason: "It is carried to no shift any more, and stays on record.".to_owned(),
        pairs: vec![
            ("Line", line.text.clone()),
            ("By", format!("{}{late}", page.moment(&line.due_ms))),
            (
                "Written",
                format!("{}, {}", line.by, page.moment(&line.at_ms)),
            ),
        ],
        fields: vec![Field::text("how", "How it is closed", &form.how, hint)],
        action: format!("/handover/carried/{}", line.number),
        verb: "Close",
        detail: "with your name and the time".to_owned(),
        back: ("Not yet", PATH.to_owned()),
        ask: None,
        errors,
        page,
    };
    act.answer()
}

/// What is overdue, for Now.
pub struct Late {
    pub text: String,
    pub since: String,
    pub path: String,
}

/// Lines whose latest time is over, the oldest first.
pub async fn late(
    connection: &mut SqliteConnection,
    page: &Layout,
) -> Result<Vec<Late>, sqlx::Error> {
    let open = queries::carried(connection).await?;
    let late = open.into_iter().filter(|it| it.due_ms < page.now());
    Ok(late
        .map(|it| Late {
            since: format!("by {}, {}", page.clock(&it.due_ms), page.age(&it.due_ms)),
            path: format!("/handover/carried/{}", it.number),
            text: it.text,
        })
        .collect())
}
