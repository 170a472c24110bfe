//! The depot's answer to a list: typed line by line, or read in from its sheet, its file or a text read by
//! voice, shown as it would be typed, and then entered in one change.

pub mod form;
mod store;

use std::collections::BTreeSet;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::code::ItemCode;
use mendpost_core::resupply::Item;
use mendpost_core::resupply::list::LoadList;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::freeze::Ready;
use super::read::{Understood, text_of, understand};
use super::{find, pages, path, queries};
use crate::AppState;
use crate::attachment::WithFiles;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::people::{Visit, Who};

/// What an answer is held against.
pub struct Asked {
    pub list: LoadList,
    pub ready: Ready,
    pub answered: Option<queries::Answered>,
    /// Lines of the delivery that were announced without a list.
    pub besides: i64,
}

impl Asked {
    async fn of(
        connection: &mut SqliteConnection,
        visit: &Visit,
        number: &str,
    ) -> Result<Asked, AppError> {
        let list = find(connection, visit, number).await?;
        let ready = Ready::of(connection, list.trip.as_str()).await?;
        Ok(Asked {
            answered: queries::answer(connection, &list).await?,
            besides: store::besides(connection, ready.listed.id).await?,
            list,
            ready,
        })
    }

    /// The number of the newest answer; 0 before the first.
    fn version(&self) -> i64 {
        self.answered.as_ref().map_or(0, |it| it.number)
    }

    fn known(&self) -> BTreeSet<ItemCode> {
        let items = self.ready.items.iter();
        items.map(|it: &Item| it.code.clone()).collect()
    }
}

/// The form: as answered last, or empty.
pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let asked = Asked::of(&mut reading, &visit, &number).await?;
    drop(reading);
    let answered = asked.answered.as_ref();
    let mut fields =
        answered.map_or_else(Fields::new, |it| form::fields(&it.answer, visit.site.zone));
    fields.insert("version".to_owned(), asked.version().to_string());
    pages::answer(
        &visit,
        &asked,
        &fields,
        (FieldErrors::default(), StatusCode::OK),
        "",
    )
    .await
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct TextForm {
    pub text: String,
}

/// Reads an answer in, and shows it as it would be typed. Nothing is entered yet.
pub async fn take(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
    WithFiles { form, files }: WithFiles<TextForm>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let asked = Asked::of(&mut reading, &visit, &number).await?;
    drop(reading);
    let mut errors = FieldErrors::default();
    let text = text_of(&form.text, &files);
    let mut fields = match &text {
        Ok(text) => take_in(text, &asked, &visit, &mut errors),
        Err(fault) => {
            errors.add("text", fault.clone());
            Fields::new()
        }
    };
    fields.insert("version".to_owned(), asked.version().to_string());
    if errors.is_empty() {
        form::parse(
            &fields,
            &asked.list,
            &asked.known(),
            visit.site.zone,
            &mut errors,
        );
        let status = StatusCode::OK;
        return pages::answer(&visit, &asked, &fields, (errors, status), "").await;
    }
    let status = errors.status();
    let typed = text.unwrap_or(form.text);
    pages::answer(&visit, &asked, &fields, (errors, status), &typed).await
}

fn take_in(text: &str, asked: &Asked, visit: &Visit, errors: &mut FieldErrors) -> Fields {
    let list = asked.list.number;
    let understood = understand(text);
    let (number, trip, fields) = match understood {
        Understood::Fault(fault) => {
            errors.add("text", fault);
            return Fields::new();
        }
        Understood::Sheet { list, fields } => (list, None, fields),
        Understood::Answer(answer) => {
            let fields = form::fields(&answer, visit.site.zone);
            (answer.list, Some(answer.trip.to_string()), fields)
        }
        Understood::Voice {
            heard,
            message: Some(message),
        } if heard.is_whole() => match message {
            mendpost_core::resupply::radio::Message::Answer(answer) => {
                let fields = form::fields(&answer, visit.site.zone);
                (answer.list, Some(answer.trip.to_string()), fields)
            }
            _ => {
                errors.add(
                    "text",
                    "this is no answer of a depot; read it at Resupply, Read",
                );
                return Fields::new();
            }
        },
        Understood::Voice { heard, .. } => {
            errors.add("text", super::read::in_words(&heard).join("; "));
            return Fields::new();
        }
        Understood::List(_) => {
            errors.add(
                "text",
                "this is a load list and no answer to one; send what the depot answered",
            );
            return Fields::new();
        }
    };
    if number != list {
        errors.add(
            "text",
            format!("this answers load list {number}, and this is {list}; open that one"),
        );
        return Fields::new();
    }
    // Read by voice, a code has capitals only.
    if let Some(trip) = trip.filter(|it| !it.eq_ignore_ascii_case(asked.list.trip.as_str())) {
        let what = format!(
            "this answers a list for trip {trip}, and list {list} is for {}: it may be of another site",
            asked.list.trip
        );
        errors.add("text", what);
        return Fields::new();
    }
    fields
}

pub async fn enter(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let asked = Asked::of(change.connection(), &visit, &number).await?;
    let mut errors = FieldErrors::default();
    let answer = form::parse(
        &fields,
        &asked.list,
        &asked.known(),
        visit.site.zone,
        &mut errors,
    );
    if answer
        .as_ref()
        .and_then(|it| it.arrival)
        .is_some_and(|at| at.timestamp_millis() < visit.now)
    {
        errors.add(
            "arrival",
            "that has passed; receive what came, or give another time",
        );
    }
    let besides_go = besides(&fields, asked.besides, &mut errors);
    let mut status = errors.status();
    let typed = fields.get("version").map_or("", String::as_str);
    if errors.is_empty() && typed != asked.version().to_string() {
        status = StatusCode::CONFLICT;
        errors.add_whole(
            "Somebody entered an answer to this list meanwhile. What you typed \
             stands below: send it again if it is the newer one.",
        );
        fields.insert("version".to_owned(), asked.version().to_string());
    }
    let Some(answer) = answer.filter(|_| errors.is_empty()) else {
        drop(change);
        return pages::answer(&visit, &asked, &fields, (errors, status), "").await;
    };
    let next = asked.version() + 1;
    let of = (&asked.list, &asked.ready);
    let entered = store::enter(&mut change, &who, of, (answer, next), besides_go).await?;
    let mut text = format!(
        "answer {next} to load list {}. Journal {}.",
        asked.list.number, entered.journal
    );
    if !entered.told.is_empty() {
        let requests: Vec<String> = entered.told.iter().map(|it| format!("R{it}")).collect();
        text += &format!(" True parts of {} are expected then.", requests.join(", "));
    }
    text += " Plan again to count with it.";
    let location = path(asked.list.number);
    change
        .finish(&who, &location, Notice::done("ENTERED", text))
        .await
}

/// Whether what was announced without a list goes; asked where there is any.
fn besides(fields: &Fields, lines: i64, errors: &mut FieldErrors) -> bool {
    match fields.get("besides").map_or("", |it| it.trim()) {
        _ if lines == 0 => false,
        "go" => true,
        "stay" => false,
        _ => {
            errors.add(
                "besides",
                "say whether what was announced before comes besides, or not",
            );
            false
        }
    }
}
