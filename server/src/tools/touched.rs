//! What a tool measured since a time, where those parts are now, and one act that holds what is not fitted yet.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::queries::{self, Listed};
use super::{path, words};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::finish::{Taken, short, taken};
use crate::form::{FieldErrors, Posted, local_time, text};
use crate::hold::{Cause, Held, Hold, hold_part};
use crate::page::{Layout, Notice, Screen, field_time, page_with};
use crate::people::{Visit, Who};
use crate::requests::{History, Named, Whereabouts, named, whereabouts};

/// Since when.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Since {
    since: String,
    /// Parts of requests below this number.
    before: Option<i64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct HoldForm {
    since: String,
    reason: String,
}

#[derive(Template)]
#[template(path = "tools/touched.html")]
struct TouchedPage {
    page: Layout,
    answer: String,
    code: String,
    name: String,
    /// What was reported of it.
    reported: String,
    since: String,
    rows: Vec<Row>,
    /// The address of older ones.
    older: Option<String>,
    /// How many parts the act would hold.
    to_hold: usize,
    may_hold: bool,
    reason: String,
    errors: FieldErrors,
}

struct Row {
    code: String,
    path: String,
    part: String,
    machine: String,
    /// What was measured, when.
    figures: Vec<(String, String)>,
    place: String,
    /// The hold it is on, if any.
    held: String,
}

/// A part that the tool measured.
struct Touched {
    request: Named,
    figures: Vec<(String, i64)>,
    place: Whereabouts,
    /// What was measured counts still: the piece is the same, and was not measured again.
    counts: bool,
    held: Option<Hold>,
    /// It stands on the page that is asked for.
    on_page: bool,
}

impl Touched {
    fn to_hold(&self) -> bool {
        self.counts && self.place.may_be_held() && self.held.is_none()
    }
}

/// What a tool measured since a time.
struct Measured {
    /// How many parts.
    all: usize,
    /// Those that are here still, and as many of the others as were asked for.
    parts: Vec<Touched>,
    /// Parts of requests below this number stand on the page after the one asked for.
    older: Option<i64>,
}

/// So many parts stand on a page.
const MOST: usize = 50;

/// What it measured since a time: every part whose request is open, and a page of all, the newest requests first.
async fn touched(
    connection: &mut SqliteConnection,
    tool: &Listed,
    since: i64,
    before: i64,
) -> Result<Measured, AppError> {
    let mut by_request: BTreeMap<i64, Vec<Taken>> = BTreeMap::new();
    for figure in taken(&mut *connection, tool.id, since).await? {
        by_request.entry(figure.request).or_default().push(figure);
    }
    let count = by_request.len();
    let mut numbers = by_request.keys().rev().filter(|number| **number < before);
    let last = numbers.by_ref().take(MOST).last().copied();
    let older = numbers.next().and(last);
    let on_page = |number: i64| number < before && last.is_some_and(|last| number >= last);
    by_request.retain(|number, figures| on_page(*number) || figures.iter().any(|it| it.is_open));
    let mut all = Vec::new();
    for (number, figures) in by_request.into_iter().rev() {
        let request = named(&mut *connection, &number.to_string()).await?;
        let history = History::load(&mut *connection, &request).await?;
        let still = history.still_done();
        let counts = |figure: &Taken| match figure.of_coupon {
            true => figure.sequence > history.coupons_since,
            false => still.iter().any(|done| done.sequence == figure.sequence),
        };
        let of_it = |hold: &&Hold| {
            hold.is_open() && hold.cause == Cause::Tool && hold.what.contains(&tool.tool.code)
        };
        all.push(Touched {
            counts: figures.iter().any(counts),
            place: whereabouts(&request, &history),
            on_page: on_page(number),
            held: history.holds.iter().find(of_it).cloned(),
            figures: figures.into_iter().map(|it| (it.what, it.at_ms)).collect(),
            request,
        });
    }
    Ok(Measured {
        all: count,
        parts: all,
        older,
    })
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(asked): Query<Since>,
) -> Result<Response, AppError> {
    let form = HoldForm {
        since: asked.since,
        ..HoldForm::default()
    };
    let before = asked.before.unwrap_or(i64::MAX);
    touched_page(
        &state,
        &visit,
        (&code, before),
        form,
        FieldErrors::default(),
    )
    .await
}

/// Since when is asked: what was typed, else what was reported, else its last calibration but one.
fn since(tool: &Listed, typed: &str, visit: &Visit, errors: &mut FieldErrors) -> i64 {
    let reported = tool.tool.reports.iter().map(|report| report.since).max();
    let usual = reported.map_or(0, |at| at.timestamp_millis());
    match typed.trim() {
        "" => usual,
        typed => errors
            .check("since", local_time(typed, visit.site.zone))
            .unwrap_or(usual),
    }
}

async fn touched_page(
    state: &AppState,
    visit: &Visit,
    (code, before): (&str, i64),
    form: HoldForm,
    mut errors: FieldErrors,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let tool = queries::one(&mut reading, code).await?;
    let since_ms = since(&tool, &form.since, visit, &mut errors);
    let found = touched(&mut reading, &tool, since_ms, before).await?;
    drop(reading);
    let layout = visit
        .layout(Screen::Site, &format!("What {code} measured"))
        .await?;
    let to_hold = found.parts.iter().filter(|part| part.to_hold()).count();
    let from = match since_ms {
        0 => "ever".to_owned(),
        since => format!("since {}", layout.moment(&since)),
    };
    let now = visit.moment()?;
    let stands = tool.tool.fault_at(now);
    let answer = match (found.all, to_hold) {
        (0, _) => format!("Go on: {code} measured no part {from}."),
        (many, 0) => format!(
            "{code} measured {} {from}: none is left to hold.",
            parts(many)
        ),
        (many, to_hold) if stands.is_some() => format!(
            "Hold {}: {code} measured {} {from}.",
            parts(to_hold),
            parts(many)
        ),
        (many, _) => format!("{code} measured {} {from}.", parts(many)),
    };
    let page = TouchedPage {
        answer,
        code: code.to_owned(),
        name: tool.tool.name.clone(),
        reported: stands.map_or_else(String::new, |fault| {
            words::fault(&tool.tool, &fault, visit.site.zone)
        }),
        since: match since_ms {
            0 => String::new(),
            since => field_time(since, visit.site.zone),
        },
        rows: found
            .parts
            .iter()
            .filter(|part| part.on_page)
            .map(|part| row(&layout, part))
            .collect(),
        older: found.older.map(|number| {
            let query = form_urlencoded::Serializer::new(String::new())
                .append_pair("since", form.since.trim())
                .append_pair("before", &number.to_string())
                .finish();
            format!("{}/touched?{query}", path(code))
        }),
        to_hold,
        may_hold: visit.may(Act::DoWork),
        reason: form.reason,
        page: layout,
        errors,
    };
    let status = match page.errors.is_empty() {
        true => StatusCode::OK,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    page_with(status, &page)
}

fn parts(count: usize) -> String {
    match count {
        1 => "one part".to_owned(),
        many => format!("{many} parts"),
    }
}

fn row(page: &Layout, part: &Touched) -> Row {
    let number = part.request.number;
    let again = match part.counts {
        true => "",
        false => "; sent back or measured again since",
    };
    Row {
        code: format!("R{number}"),
        path: format!("/requests/{number}"),
        part: part.request.part_name.clone(),
        machine: part.request.asset.clone(),
        figures: part
            .figures
            .iter()
            .map(|(what, at)| (what.clone(), page.moment(at)))
            .collect(),
        place: format!("{}{again}", part.place.words(&part.request.asset)),
        held: part
            .held
            .as_ref()
            .map_or_else(String::new, |hold| format!("hold {}", hold.number)),
    }
}

/// Puts everything it measured since then that is not fitted yet on hold, in one change.
pub(super) async fn hold(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<HoldForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let tool = queries::one(change.connection(), &code).await?;
    let since_ms = since(&tool, &form.since, &visit, &mut errors);
    let found = touched(change.connection(), &tool, since_ms, i64::MAX).await?;
    let to_hold: Vec<&Touched> = found.parts.iter().filter(|part| part.to_hold()).collect();
    if to_hold.is_empty() {
        errors.add("reason", "no part is left to hold");
    }
    let (Some(reason), true) = (reason, errors.is_empty()) else {
        drop(change);
        return touched_page(&state, &visit, (&code, i64::MAX), form, errors).await;
    };
    let mut held = Vec::new();
    for part in to_hold {
        let what = format!("measured with {code}, which is in doubt: {reason}");
        let new = Held {
            request: part.request.number,
            cause: Cause::Tool,
            of_sequence: None,
            what: &short(&what),
        };
        hold_part(&mut change, &new, &who).await?;
        held.push(format!("R{}", part.request.number));
    }
    let text = format!("{} on hold. Somebody else judges each.", held.join(", "));
    let location = format!("{}/touched", path(&code));
    change
        .finish(&who, &location, Notice::done("ON HOLD", text))
        .await
}
