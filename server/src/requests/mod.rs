//! Requests: what is broken, where each stands, and the report of one more.

mod answer;
mod answer_page;
mod answer_rows;
mod arrival;
mod arrival_form;
mod asked;
mod back;
mod choices;
mod closed;
mod course;
pub(crate) mod decision;
mod detail;
pub mod filing;
mod form;
pub mod further_way;
mod list;
mod new;
mod one;
mod particulars;
pub mod queries;
mod sort_form;
mod sort_page;
mod sorting;
pub mod standing;
mod times;
mod ways;
mod whereabouts;
pub(crate) mod work;
mod work_form;
mod work_page;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use mendpost_core::code::RequestCode;
use mendpost_core::people::Act;
use serde::Deserialize;

use crate::AppState;
use crate::attachment::{self, Holder, Photos, WithFiles};
use crate::caution;
use crate::error::AppError;
use crate::finish;
use crate::form::FieldErrors;
use crate::interim;
use crate::page::{Screen, page, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::shape;
use crate::signature;
use crate::situation;
pub use answer::{NewAnswer, insert as insert_answer};
use choices::Choices;
pub use decision::{Done, History, Named, decide, in_the_way, named, state_after};
use form::RequestForm;
pub use queries::insert_way;
use standing::Orders;
pub use whereabouts::{Whereabouts, whereabouts};

pub fn routes() -> Routes {
    Routes::default()
        .get("/requests", Act::Look, show_all)
        .get("/requests/new", Act::FileRequest, blank)
        .post_files("/requests/new", Act::FileRequest, file)
        .get("/requests/{number}", Act::Look, show_one)
        .get(
            "/requests/{number}/arrival",
            Act::FileRequest,
            arrival::show,
        )
        .post_files(
            "/requests/{number}/arrival",
            Act::FileRequest,
            arrival::save,
        )
        .get("/requests/{number}/answer", Act::RecordYes, answer::show)
        .post("/requests/{number}/answer", Act::RecordYes, answer::record)
        .get("/requests/{number}/sort", Act::SortRequest, sorting::show)
        .post("/requests/{number}/sort", Act::SortRequest, sorting::save)
        .get(
            "/requests/{number}/decide/{act}",
            Act::SortRequest,
            decision::show,
        )
        .post(
            "/requests/{number}/decide/{act}",
            Act::SortRequest,
            decision::save,
        )
        .get("/requests/{number}/work", Act::DoWork, work::show)
        .post("/requests/{number}/work", Act::DoWork, work::save)
}

/// Where the page of a request stands: 'R41' is /requests/41.
pub fn path(code: &RequestCode) -> String {
    format!("/requests/{}", code.as_str().trim_start_matches('R'))
}

async fn show_all(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let orders = Orders::load(&state.db.read).await?;
    let may_file = visit.may(Act::FileRequest);
    let layout = visit.layout(Screen::Requests, "Requests").await?;
    let pictures = shape::queries::small_of_requests(&state.db.read).await?;
    page(&list::ListPage::new(
        layout, &situation, &orders, pictures, may_file,
    ))
}

async fn show_one(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let named = decision::named(&mut reading, &number).await?;
    let history = History::load(&mut reading, &named).await?;
    if !history.stand.is_open() {
        drop(reading);
        return closed::show(&state, &visit, &named, &history).await;
    }
    let now = visit.moment()?;
    let situation = situation::load(&mut reading, now).await?;
    let told = queries::told(&mut *reading, named.id).await?;
    let number = named.number;
    let title = format!("Request R{number}");
    let layout = visit.layout(Screen::Requests, &title).await?;
    let still = history.still_done();
    let sheet = finish::sheet(
        &mut reading,
        &layout,
        (named.id, history.coupons_since),
        &still,
    )
    .await?;
    drop(still);
    drop(reading);
    let orders = Orders::load(&state.db.read).await?;
    let code = format!("R{number}");
    let none = || AppError::NotFound {
        what: format!("open request '{number}'"),
    };
    let request = code.parse().ok().and_then(|code| situation.request(&code));
    let request = request.ok_or_else(none)?;
    let holder = Holder::request(&state.db.read, number).await?;
    let record = one::Record {
        picture: shape::queries::small_of_request(&state.db.read, number).await?,
        details: detail::history(&state.db.read, number).await?,
        number,
        sheet,
        history,
        told,
        signatures: signature::of_subject(&state.db.read, "request", &code).await?,
        interim: replaced(&state, &visit, number).await?,
        photos: Photos::load(&state, &visit, &holder.ok_or_else(none)?).await?,
        rights: one::Rights {
            plan: visit.may(Act::Plan),
            record_yes: visit.may(Act::RecordYes),
            file: visit.may(Act::FileRequest),
            sort: visit.may(Act::SortRequest),
            work: visit.may(Act::DoWork),
            judge: visit.may(Act::ReleasePart),
        },
    };
    page(&one::OnePage::new(
        layout, &situation, &orders, request, record,
    ))
}

/// The interim part that a request is to replace, while that is on its machine.
async fn replaced(
    state: &AppState,
    visit: &Visit,
    number: i64,
) -> Result<Option<one::Replaced>, AppError> {
    let now = visit.moment()?;
    let found = interim::queries::replaced_by(&state.db.read, number).await?;
    let found = found.filter(|interim| interim.off.is_none());
    Ok(found.map(|out| one::Replaced {
        code: out.code(),
        path: out.path(),
        caution: caution::interim(&interim::take_off(&out, now, visit.site.zone)),
    }))
}

/// Which machine the report is about, if the link to it knows.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct About {
    asset: String,
}

async fn blank(
    State(state): State<AppState>,
    visit: Visit,
    Query(about): Query<About>,
) -> Result<Response, AppError> {
    let form = RequestForm::blank(about.asset);
    form_page(&state, &visit, form, 0, FieldErrors::default()).await
}

/// Files a request with its photos, or shows the form again with what was typed.
async fn file(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    WithFiles { form, files }: WithFiles<RequestForm>,
) -> Result<Response, AppError> {
    let sent = files.len();
    let choices = Choices::load(&state.db.read).await?;
    let new = match form.parse(&choices.known, sent, visit.site.zone, visit.now) {
        Ok(new) => new,
        Err(errors) => return form_page(&state, &visit, form, sent, errors).await,
    };
    let photos = match attachment::ready(&state, files).await? {
        Ok(photos) => photos,
        Err(errors) => return form_page(&state, &visit, form, sent, errors).await,
    };
    match filing::file(&state, &who, &new, photos, visit.site.zone).await? {
        Err(errors) => form_page(&state, &visit, form, sent, errors).await,
        Ok(filed) => Ok(filed),
    }
}

/// The form; `sent` is how many photos came with it, which a page cannot give back.
async fn form_page(
    state: &AppState,
    visit: &Visit,
    form: RequestForm,
    sent: usize,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let status = errors.status();
    let choices = Choices::load(&state.db.read).await?;
    let layout = visit
        .layout(Screen::Requests, "Report a damaged part")
        .await?;
    page_with(
        status,
        &new::NewPage::new(layout, form, sent, errors, choices),
    )
}
