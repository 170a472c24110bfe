//! Receiving: what came, lot by lot and container by container, against what a delivery was to bring.
//!
//! A receipt is one change. What a delivery is to bring is read in one place (`Coming`), so that another list of
//! it, such as one that the depot was sent, needs no other form.

mod draft;
mod form;
mod pages;
pub mod queries;
mod store;

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::powder::Allowance;
use serde::Deserialize;
use sqlx::SqliteConnection;

use crate::AppState;
use crate::attachment::{Named, SentFile, WithFiles};
use crate::certificate::{limits, shelved};
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::form::section::Fields;
use crate::page::{Notice, Screen, page, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::site::weighing::allowance;
use crate::situation::moment;
use draft::{Draft, Step};
use form::{Against, lot_in_words, parse};
use queries::{Delivery, Line};

pub use draft::Numbers;
pub use pages::Due;

pub const PATH: &str = "/receiving";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list)
        .get("/receiving/new", Act::EnterLots, open)
        .post_files("/receiving/new", Act::EnterLots, enter)
        .get("/receiving/deliveries/{code}", Act::Look, one_delivery)
        .get("/receiving/receipts/{number}", Act::Look, one_receipt)
}

pub fn delivery_path(code: &str) -> String {
    format!("/receiving/deliveries/{}", code.replace('/', "%2F"))
}

pub fn receipt_path(number: i64) -> String {
    format!("/receiving/receipts/{number}")
}

/// Where what a delivery brought is entered.
pub fn new_path(delivery: &str) -> String {
    // A code holds letters, figures and '-./+', of which only '+' means something else in a query.
    format!("/receiving/new?delivery={}", delivery.replace('+', "%2B"))
}

async fn list(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let deliveries = queries::deliveries(&mut *reading).await?;
    let mut rows = Vec::new();
    for delivery in deliveries {
        let lines = queries::lines(&mut *reading, delivery.id).await?;
        rows.push((delivery, lines));
    }
    let receipts = queries::receipts(&mut *reading, None, None).await?;
    drop(reading);
    let layout = visit.layout(Screen::Powder, "Receiving").await?;
    let may = visit.may(Act::EnterLots);
    page(&pages::ListPage::new(layout, rows, receipts, may))
}

async fn one_delivery(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let delivery = find(&mut reading, &code).await?;
    let lines = queries::lines(&mut *reading, delivery.id).await?;
    let receipts = queries::receipts(&mut *reading, Some(&code), None).await?;
    drop(reading);
    let layout = visit.layout(Screen::Powder, &code).await?;
    let may = visit.may(Act::EnterLots);
    page(&pages::DeliveryPage::new(
        layout, delivery, &lines, receipts, may,
    ))
}

async fn one_receipt(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let none = || AppError::NotFound {
        what: format!("receipt '{number}'"),
    };
    let wanted: i64 = number.parse().map_err(|_| none())?;
    let mut reading = state.db.read.begin().await?;
    let found = queries::receipts(&mut *reading, None, Some(wanted)).await?;
    let receipt = found.into_iter().next().ok_or_else(none)?;
    let of = queries::receipt_lines(&mut *reading, receipt.id).await?;
    let lots = queries::receipt_lots(&mut *reading, receipt.id).await?;
    let lines = match &receipt.delivery {
        Some(code) => {
            let delivery = find(&mut reading, code).await?;
            queries::lines(&mut *reading, delivery.id).await?
        }
        None => Vec::new(),
    };
    drop(reading);
    let title = format!("Receipt {wanted}");
    let layout = visit.layout(Screen::Powder, &title).await?;
    page(&pages::ReceiptPage::new(
        layout, receipt, &lines, &of, &lots,
    ))
}

async fn find(connection: &mut SqliteConnection, code: &str) -> Result<Delivery, AppError> {
    let found = queries::delivery(connection, code).await?;
    found.ok_or_else(|| AppError::NotFound {
        what: format!("delivery {code}"),
    })
}

/// What is known before anything is typed: the delivery with its lines, powders, numbers and the allowance.
struct Coming {
    delivery: Option<(Delivery, Vec<Line>)>,
    powders: Vec<(String, String)>,
    numbers: Numbers,
    allowance: Allowance,
}

impl Coming {
    async fn load(connection: &mut SqliteConnection, delivery: &str) -> Result<Coming, AppError> {
        let delivery = match delivery {
            "" => None,
            code => {
                let delivery = find(&mut *connection, code).await?;
                if delivery.state == "cancelled" {
                    let text =
                        format!("delivery {code} was cancelled; enter what came without one");
                    return Err(AppError::Conflict(text));
                }
                let lines = queries::lines(&mut *connection, delivery.id).await?;
                Some((delivery, lines))
            }
        };
        Ok(Coming {
            delivery,
            powders: queries::powders(&mut *connection).await?,
            numbers: queries::numbers(&mut *connection).await?,
            allowance: allowance(&mut *connection).await?,
        })
    }

    fn lines(&self) -> &[Line] {
        self.delivery.as_ref().map_or(&[], |(_, lines)| lines)
    }

    /// How many receipts of the delivery there were when the form was shown.
    fn seen(&self) -> String {
        let receipts = self.delivery.as_ref().map(|(it, _)| it.receipts);
        receipts.unwrap_or(0).to_string()
    }

    fn against(&self, visit: &Visit) -> Result<Against<'_>, AppError> {
        Ok(Against {
            lines: self.lines(),
            powders: &self.powders,
            allowance: &self.allowance,
            zone: visit.site.zone,
            now: decoded(moment(visit.now))?,
        })
    }
}

#[derive(Deserialize)]
struct Choice {
    #[serde(default)]
    delivery: String,
}

/// The form: a lot for each powder that the delivery still owes.
async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let coming = Coming::load(&mut reading, choice.delivery.trim()).await?;
    let mut draft = Draft::default();
    let owed = coming.lines().iter().filter(|line| line.open() > 0);
    for line in owed.filter(|line| !line.powder.is_empty()) {
        let limits = limits::of_powder(&mut reading, &line.powder).await?.limits;
        draft.add_lot(&line.powder, &limits, &coming.numbers);
    }
    drop(reading);
    if coming.delivery.is_none() {
        draft.add_lot("", &Default::default(), &coming.numbers);
    }
    let now = crate::page::field_time(visit.now, visit.site.zone);
    draft.fields.insert("received_at".to_owned(), now);
    draft.fields.insert("seen".to_owned(), coming.seen());
    form_page(
        &visit,
        &coming,
        draft,
        FieldErrors::default(),
        StatusCode::OK,
    )
    .await
}

/// Books what came, or shows the form again with all that was typed.
async fn enter(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    WithFiles { form, files }: WithFiles<Fields>,
) -> Result<Response, AppError> {
    // A form sent again has its answer before it is judged by what it has booked. Not held on to: files wait.
    drop(Change::begin(&state, &who).await?);
    let mut draft = Draft::of(form);
    let step = draft.step();
    let mut errors = FieldErrors::default();
    let files = shelve(&state, &who, &mut draft, files, &mut errors).await?;
    let delivery = draft.own().typed("delivery").to_owned();
    let mut reading = state.db.read.begin().await?;
    let coming = Coming::load(&mut reading, &delivery).await?;
    drop(reading);
    if step != Step::Receive {
        draft.apply(step, &coming.numbers);
        return form_page(&visit, &coming, draft, errors, StatusCode::OK).await;
    }
    let against = coming.against(&visit)?;
    let Some(new) = parse(&draft, &against, &mut errors) else {
        return form_page(
            &visit,
            &coming,
            draft,
            errors,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await;
    };
    let mut change = Change::begin(&state, &who).await?;
    // Read again: another tablet may have been quicker.
    let coming = Coming::load(change.connection(), &delivery).await?;
    if coming.delivery.is_some() && coming.seen() != draft.own().typed("seen") {
        let receipts = queries::receipts(change.connection(), Some(&delivery), None).await?;
        drop(change);
        errors.add_whole(received_meanwhile(&visit, receipts.first()));
        draft.fields.insert("seen".to_owned(), coming.seen());
        return form_page(&visit, &coming, draft, errors, StatusCode::CONFLICT).await;
    }
    store::check_codes(&mut change, &draft, &new, &mut errors).await?;
    if !errors.is_empty() {
        drop(change);
        return form_page(
            &visit,
            &coming,
            draft,
            errors,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await;
    }
    let what = in_words(&new);
    let of = coming.delivery.as_ref().map(|(it, lines)| (it, &lines[..]));
    let booked = match store::book(&mut change, &who, of, new, files).await? {
        Ok(booked) => booked,
        Err(errors) => {
            drop(change);
            return form_page(
                &visit,
                &coming,
                draft,
                errors,
                StatusCode::UNPROCESSABLE_ENTITY,
            )
            .await;
        }
    };
    let text = format!("{what}. Journal {}.", booked.journal);
    let location = receipt_path(booked.number);
    change
        .finish(&who, &location, Notice::done("RECEIVED", text))
        .await
}

fn received_meanwhile(visit: &Visit, receipt: Option<&queries::Receipt>) -> String {
    let by = receipt.map_or_else(
        || "somebody".to_owned(),
        |it| {
            let when = crate::page::clock(it.received_ms, visit.site.zone);
            format!("{} (receipt {}, {when})", it.received_by, it.number)
        },
    );
    format!(
        "Not booked: this delivery was received meanwhile by {by}. What you typed stands below: book it only if it came besides."
    )
}

fn in_words(new: &form::New) -> String {
    let lots: Vec<String> = new.lots.iter().map(|(_, lot)| lot_in_words(lot)).collect();
    match lots.is_empty() {
        true => "no powder".to_owned(),
        false => format!("{}; in quarantine until released", lots.join(", ")),
    }
}

/// The files of each lot, by its place in the form.
async fn shelve(
    state: &AppState,
    who: &Who,
    draft: &mut Draft,
    mut sent: Vec<SentFile>,
    errors: &mut FieldErrors,
) -> Result<Vec<(usize, Vec<Named>)>, AppError> {
    let mut files = Vec::new();
    for (at, lot) in draft.lots.iter_mut().enumerate() {
        let head = format!("l{at}_");
        let field = format!("{head}files");
        let (own, others) = sent.into_iter().partition(|file| file.field == field);
        sent = others;
        let fields = &mut lot.certificate.fields;
        files.push((at, shelved(state, who, &head, fields, own, errors).await?));
    }
    Ok(files)
}

async fn form_page(
    visit: &Visit,
    coming: &Coming,
    draft: Draft,
    errors: FieldErrors,
    status: StatusCode,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Powder, "Receive").await?;
    let page = pages::FormPage::new(layout, coming, draft, errors);
    page_with(status, &page)
}
