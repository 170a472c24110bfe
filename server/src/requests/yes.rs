//! Recording a yes to build that somebody outside the crew gave. Mendpost gives none.

use axum::extract::{Path, State};
use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::catalogue::Who as Authority;
use mendpost_core::journal::Subject;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};

use super::queries::{self, OpenRequest};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice, local_time, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen, moment};
use crate::people::{Visit, Who};
use crate::signature::{ask, prove, sign};
use crate::words::who_word;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct YesForm {
    who: String,
    name: String,
    words: String,
    until: String,
    sign_passphrase: String,
}

/// A yes as it will be recorded.
#[derive(Debug, Serialize)]
pub(super) struct NewYes {
    pub who: Authority,
    pub name: String,
    pub words: String,
    pub until_ms: Option<i64>,
}

impl YesForm {
    fn parse(&self, zone: Tz, now: i64, errors: &mut FieldErrors) -> Option<NewYes> {
        let who = errors.check("who", choice(&self.who));
        let name = errors.check("name", text(&self.name, 80));
        let words = errors.check("words", text(&self.words, 2000));
        let mut until_ms = None;
        if !self.until.trim().is_empty() {
            until_ms = errors.check("until", local_time(&self.until, zone));
            if until_ms.is_some_and(|until| until <= now) {
                let now = moment(now, zone);
                errors.add(
                    "until",
                    format!(
                        "that is over already: it is {now}; a yes that has ended opens nothing"
                    ),
                );
            }
        }
        Some(NewYes {
            who: who?,
            name: name?,
            words: words?,
            until_ms,
        })
    }
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let request = open_request(&state, &number).await?;
    yes_page(
        &state,
        &visit,
        &who,
        &request,
        YesForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn record(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<YesForm>,
) -> Result<Response, AppError> {
    let request = open_request(&state, &number).await?;
    let mut errors = FieldErrors::default();
    let new = form.parse(visit.site.zone, visit.now, &mut errors);
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(new), Some(proof), true) = (new, proof, errors.is_empty()) else {
        return yes_page(&state, &visit, &who, &request, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let now = change.now();
    queries::insert_yes(change.connection(), request.id, &new, now).await?;
    let subject = Subject::new("request", format!("R{}", request.number));
    let meaning = Meaning::RecordYes;
    let journal = sign(&mut change, "yes.recorded", subject, &new, meaning, &proof).await?;
    let text = format!(
        "A yes of {} for R{}, journal {journal}. Plan again to count with it.",
        new.name, request.number
    );
    let location = format!("/requests/{}", request.number);
    change
        .finish(&who, &location, Notice::done("SIGNED", text))
        .await
}

async fn open_request(state: &AppState, number: &str) -> Result<OpenRequest, AppError> {
    let found = match number.trim_start_matches(['R', 'r']).parse() {
        Ok(number) => queries::open_request(&state.db.read, number).await?,
        Err(_) => None,
    };
    found.ok_or_else(|| AppError::NotFound {
        what: format!("open request '{number}'"),
    })
}

async fn yes_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    request: &OpenRequest,
    form: YesForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let whose = Authority::ALL
        .iter()
        .map(|who| (who.to_string(), who_word(*who).to_owned()))
        .collect();
    let location = format!("/requests/{}", request.number);
    let act = ActPage {
        page: visit
            .layout(Screen::Requests, &format!("Request R{}", request.number))
            .await?,
        answer: format!("Record a yes to build for R{}.", request.number),
        reason: "Mendpost records it and gives none; local codes and the licensed person decide."
            .to_owned(),
        pairs: vec![
            ("Request", format!("R{}", request.number)),
            ("Machine", request.asset.clone()),
            ("Part", request.part_name.clone()),
        ],
        fields: vec![
            Field::choose("who", "Whose yes", &form.who, whose, ""),
            Field::text(
                "name",
                "Name or post",
                &form.name,
                "of the person who gave it",
            ),
            Field::area(
                "words",
                "What was said or written",
                &form.words,
                "in full, with every limit that goes with it",
            ),
            Field::time(
                "until",
                "Holds until",
                &form.until,
                "empty: no end was named",
            ),
        ],
        action: format!("{location}/yes"),
        verb: "Sign",
        detail: "puts the yes on record".to_owned(),
        back: ("Record nothing", location),
        ask: Some(ask(state, visit, who, Meaning::RecordYes).await?),
        errors,
    };
    act.answer()
}
