//! A request that is not open any more: what was asked, what was decided and done, and who signed.

use askama::Template;
use axum::response::Response;
use mendpost_core::course::Stand;
use mendpost_core::people::Act;

use super::answer_rows::{AnswerRow, answer_rows};
use super::course::{DecisionRow, decision_rows};
use super::decision::{History, Named, open_to};
use super::{detail, queries};
use crate::AppState;
use crate::attachment::{Holder, Photos};
use crate::error::AppError;
use crate::finish::{self, Sheet};
use crate::hold::{HoldRow, hold_rows};
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::signature::{self, Signature};
use crate::situation;
use crate::words::Words;
use crate::words::work::damage;

#[derive(Template)]
#[template(path = "requests/closed.html")]
struct ClosedPage {
    page: Layout,
    answer: String,
    pairs: Vec<(&'static str, String)>,
    /// The answers on record, the newest first.
    answers: Vec<AnswerRow>,
    decisions: Vec<DecisionRow>,
    done: Vec<(String, String, String)>,
    decide: Vec<(&'static str, String)>,
    holds: Vec<HoldRow>,
    sheet: Sheet,
    has_tag: bool,
    may_judge: bool,
    signatures: Vec<Signature>,
    photos: Photos,
}

pub(super) async fn show(
    state: &AppState,
    visit: &Visit,
    request: &Named,
    history: &History,
) -> Result<Response, AppError> {
    let code = format!("R{}", request.number);
    let layout = visit
        .layout(Screen::Requests, &format!("Request {code}"))
        .await?;
    let details = detail::history(&state.db.read, request.number).await?;
    let holder = Holder::request(&state.db.read, request.number).await?;
    let holder = holder.ok_or_else(|| AppError::NotFound {
        what: format!("request '{code}'"),
    })?;
    let word = match history.stand {
        Stand::Refused => "refused",
        Stand::Withdrawn => "withdrawn",
        _ => "served",
    };
    let mut pairs = vec![
        ("Machine", request.asset.clone()),
        ("Part", request.part_name.clone()),
    ];
    if let Some(newest) = details.first() {
        let told = &newest.told;
        pairs.push(("Damage", damage(told.damage).to_owned()));
        pairs.push(("What is the matter", told.description.clone()));
        pairs.push(("Who asks", told.asked_by.clone()));
    }
    let may_sort = visit.may(Act::SortRequest);
    let mut reading = state.db.read.acquire().await?;
    let still = history.still_done();
    let sheet = finish::sheet(
        &mut reading,
        &layout,
        (request.id, history.coupons_since),
        &still,
    )
    .await?;
    drop(reading);
    let done = history.done.iter().map(|done| {
        let by = format!("{}, {}", done.by, layout.moment(&done.ended_ms));
        (done.name.clone(), by, done.note.clone())
    });
    page(&ClosedPage {
        answer: format!("R{}, {}, is {word}.", request.number, request.part_name),
        pairs,
        answers: answers(state, visit, &layout, request).await?,
        decisions: decision_rows(&layout, history),
        holds: hold_rows(&layout, &history.holds),
        sheet,
        has_tag: history.stand == Stand::Served,
        may_judge: visit.may(Act::ReleasePart),
        done: done.collect(),
        decide: match may_sort {
            true => open_to(history.stand, request.number),
            false => Vec::new(),
        },
        signatures: signature::of_subject(&state.db.read, "request", &code).await?,
        photos: Photos::load(state, visit, &holder).await?,
        page: layout,
    })
}

async fn answers(
    state: &AppState,
    visit: &Visit,
    layout: &Layout,
    request: &Named,
) -> Result<Vec<AnswerRow>, AppError> {
    let now = visit.moment()?;
    let mut reading = state.db.read.begin().await?;
    let answers = situation::answers(&mut reading, request.id).await?;
    let told = queries::told(&mut *reading, request.id).await?;
    let situation = situation::load(&mut reading, now).await?;
    Ok(answer_rows(
        layout,
        &Words::new(&situation),
        &answers,
        &told,
    ))
}
