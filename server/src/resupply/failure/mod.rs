//! How often parts fail: what somebody expects, beside what was seen here.

pub mod queries;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::PartCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::resupply::FailureRecord;
use serde_json::json;

use super::form::{FormPage, Group, Shown, Typed, figure, typed};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::figures::Figure;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted, plain_decimal};
use crate::page::{Layout, Notice, Screen, page, whole};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::version::{Field, Stale, is_current};
use queries::Row;

pub const PATH: &str = "/resupply/failures";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list)
        .get("/resupply/failures/{part}", Act::KeepItems, open)
        .post("/resupply/failures/{part}", Act::KeepItems, save)
}

/// The columns of a sheet of rates; the page has them as fields.
pub const COLUMNS: [&str; 4] = ["part", "times", "days", "why"];

const TIMES: Figure = figure(
    "times",
    "Fails",
    "times",
    "on all machines that it fits together",
    (3, 1, 1_000_000),
);
const DAYS: Figure = figure("days", "In", "days", "", (0, 1, 36_500));

/// All that are figures.
pub const FIGURES: [Figure; 2] = [TIMES, DAYS];

/// How often somebody expects a part to fail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rate {
    /// Thousandths of failures.
    pub milli: i64,
    /// In so many days.
    pub days: i64,
    pub why: String,
}

/// What was typed, or stands in a row.
pub fn parse(it: &mut Typed) -> Option<Rate> {
    let (milli, days) = (it.figure(&TIMES), it.figure(&DAYS));
    let why = it.text("why", 400);
    Some(Rate {
        milli: milli?,
        days: days?,
        why: why?,
    })
}

#[derive(Template)]
#[template(path = "resupply/failures.html")]
struct ListPage {
    page: Layout,
    answer: String,
    seen_days: String,
    rows: Vec<Shows>,
    may_keep: bool,
}

struct Shows {
    code: String,
    name: String,
    expected: String,
    why: String,
    said: String,
    seen: String,
}

async fn list(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let rows = queries::rows(&mut reading, visit.now).await?;
    drop(reading);
    let layout = visit.layout(Screen::Resupply, "Failure rates").await?;
    let untold = rows.iter().filter(|row| row.said.is_none()).count();
    page(&ListPage {
        answer: match (rows.len(), untold) {
            (0, _) => "List parts first: rates are told of parts of the catalogue.".to_owned(),
            (_, 0) => "Say anew what you expect when you know better.".to_owned(),
            (all, untold) => {
                format!("Say how often you expect parts to fail: of {untold} of {all} nobody has.")
            }
        },
        seen_days: rows
            .first()
            .map_or_else(String::new, |row| days(row.record.seen_days)),
        rows: rows.iter().map(|row| shows(&layout, row)).collect(),
        may_keep: visit.may(Act::KeepItems),
        page: layout,
    })
}

fn days(days: i64) -> String {
    match days {
        1 => "one day".to_owned(),
        many => format!("{} days", whole(many)),
    }
}

fn shows(page: &Layout, row: &Row) -> Shows {
    let said = row.said.as_ref();
    Shows {
        code: row.record.part.to_string(),
        name: row.name.clone(),
        expected: expected(&row.record),
        why: said.map_or_else(String::new, |it| it.why.clone()),
        said: said.map_or_else(String::new, |it| {
            format!("{}, {}", it.by, page.moment(&it.ms))
        }),
        seen: whole(row.record.seen),
    }
}

/// '1.5 in 90 days'.
fn expected(record: &FailureRecord) -> String {
    match record.prior_days {
        0 => "nobody said".to_owned(),
        in_days => format!(
            "{} in {}",
            plain_decimal(record.prior_milli, 3),
            days(in_days)
        ),
    }
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(part): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let rows = queries::rows(&mut reading, visit.now).await?;
    drop(reading);
    let row = find(rows, &part)?;
    let mut fields = stands(&row);
    fields.insert("version".to_owned(), version(&row).to_string());
    form_page(&visit, &row, &fields, FieldErrors::default(), None).await
}

fn find(rows: Vec<Row>, part: &str) -> Result<Row, AppError> {
    let found = rows
        .into_iter()
        .find(|row| row.record.part.as_str() == part);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("part {part} in use"),
    })
}

fn version(row: &Row) -> i64 {
    row.said.as_ref().map_or(0, |said| said.version)
}

/// What stands, as it would be typed.
fn stands(row: &Row) -> Fields {
    let Some(said) = &row.said else {
        return Fields::default();
    };
    Fields::from([
        typed(&TIMES, row.record.prior_milli),
        typed(&DAYS, row.record.prior_days),
        ("why".to_owned(), said.why.clone()),
    ])
}

async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(part): Path<String>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let rate = parse(&mut Typed::new(&fields, &mut errors));
    let mut change = Change::begin(&state, &who).await?;
    let row = find(queries::rows(change.connection(), visit.now).await?, &part)?;
    let Some(rate) = rate else {
        drop(change);
        return form_page(&visit, &row, &fields, errors, None).await;
    };
    let carried = fields.get("version").map_or("", String::as_str);
    if !is_current(carried, version(&row)) {
        drop(change);
        let stands = stands(&row);
        let both = COLUMNS[1..].iter().map(|name| {
            let value = |of: &Fields| of.get(*name).cloned().unwrap_or_default();
            Field::new(name, &value(&stands), &value(&fields))
        });
        let of = subject(&row.record.part);
        let stale = Stale::of(&state.db.read, &of, version(&row), both.collect()).await?;
        fields.insert("version".to_owned(), stale.version.to_string());
        return form_page(&visit, &row, &fields, errors, Some(stale)).await;
    }
    let of = (&row.record.part, version(&row) + 1);
    let journal = record(&mut change, of, &rate, &who.name).await?;
    let text = format!("{part}, {}. Journal {journal}.", row.name);
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

fn subject(part: &PartCode) -> Subject {
    Subject::new("failure-rate", part)
}

/// Says how often a part is expected to fail; the entry's sequence.
pub async fn record(
    change: &mut Change,
    (part, version): (&PartCode, i64),
    rate: &Rate,
    by: &str,
) -> Result<i64, AppError> {
    let now = change.now();
    let of = (part.as_str(), version);
    queries::say(change.connection(), of, rate, (by, now)).await?;
    let content = json!({
        "version": version,
        "failures_milli": rate.milli,
        "days": rate.days,
        "why": rate.why,
    });
    change
        .journal("failure-rate.said", subject(part), content)
        .await
}

async fn form_page(
    visit: &Visit,
    row: &Row,
    fields: &Fields,
    errors: FieldErrors,
    stale: Option<Stale>,
) -> Result<Response, AppError> {
    let it = Shown(fields);
    let part = &row.record.part;
    let form = FormPage {
        page: visit.layout(Screen::Resupply, part.as_str()).await?,
        answer: format!("Say how often you expect the {} to fail.", row.name),
        reason: format!(
            "{}: seen here {} in {}.",
            part,
            match row.record.seen {
                0 => "never".to_owned(),
                1 => "once".to_owned(),
                many => format!("{} times", whole(many)),
            },
            days(row.record.seen_days)
        ),
        groups: vec![Group {
            heading: "",
            words: "",
            fields: vec![
                it.figure(&TIMES),
                it.figure(&DAYS),
                it.area("why", "Why", "who knows it from where"),
            ],
        }],
        version: fields.get("version").cloned().unwrap_or_default(),
        action: format!("{PATH}/{part}"),
        verb: "Save",
        back: ("Leave it as it is", PATH.to_owned()),
        errors,
        stale,
    };
    form.answer()
}
