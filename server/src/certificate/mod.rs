//! The certificate of a lot: entered with what came or on a page of its own, and held against what the powder asks
//! for.

pub mod form;
pub mod limits;
pub mod store;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::powder::LotState;
use mendpost_core::powder::certificate::{Certificate, Finding, Limits, Missing};
use serde_json::json;
use sqlx::SqliteConnection;

use crate::AppState;
use crate::attachment::{Holder, Named, SentFile, WithFiles, hang_all, ready};
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::form::section::{Fields, Section};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::powder::{self, LotFacts, lot_path};
use crate::routes::Routes;
use crate::words::certificate as words;
use form::Draft;
use store::Entered;

pub fn routes() -> Routes {
    Routes::default()
        .get("/powder/{lot}/certificate", Act::EnterLots, open)
        .post_files("/powder/{lot}/certificate", Act::EnterLots, enter)
        .get(
            "/powder/kinds/{code}/limits",
            Act::WriteRecipe,
            limits::open,
        )
        .post(
            "/powder/kinds/{code}/limits",
            Act::WriteRecipe,
            limits::save,
        )
}

/// The certificate of a lot, held against what its powder asks for.
pub struct Checked {
    pub entered: Option<Entered>,
    pub limits: Limits,
    limits_journal: i64,
    /// What must be on record before the lot is released, and is not.
    pub missing: Vec<Missing>,
    pub findings: Vec<Finding>,
}

impl Checked {
    /// Of a lot of a powder with the maker's number on its label. What is made here has its parents' certificates:
    /// nothing is missing, and its chemistry is worked out.
    pub async fn load(
        connection: &mut SqliteConnection,
        lot: &LotFacts,
    ) -> Result<Checked, sqlx::Error> {
        let entered = store::of_lot(connection, &lot.code).await?;
        let said = limits::of_powder(connection, &lot.powder).await?;
        let limits_journal = said.by.as_ref().map_or(0, |by| by.journal);
        let limits = said.limits;
        let parents = crate::blend::queries::parents(&mut *connection, &lot.code).await?;
        let said = entered.as_ref().map(|it| &it.certificate);
        let (missing, findings) = match said {
            None if !parents.is_empty() => {
                let chemistry = crate::blend::queries::chemistry(connection, &parents).await?;
                (Vec::new(), chemistry.outside(&limits.elements))
            }
            None => (Certificate::default().missing(&limits), Vec::new()),
            Some(said) if !parents.is_empty() => (Vec::new(), said.findings(&limits, "")),
            Some(said) => (
                said.missing(&limits),
                said.findings(&limits, &lot.maker_lot),
            ),
        };
        Ok(Checked {
            entered,
            limits,
            limits_journal,
            missing,
            findings,
        })
    }

    /// By which it is told whether certificate and limits are those that were looked at: their journal entries.
    pub fn version(&self) -> String {
        let entered = self.entered.as_ref().map_or(0, |entered| entered.journal);
        format!("{entered}.{}", self.limits_journal)
    }

    /// 'who made it, the chemistry and the moisture'.
    pub fn missing_in_words(&self) -> String {
        let items: Vec<String> = self.missing.iter().map(words::missing).collect();
        match items.split_last() {
            Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
            Some((last, _)) => last.clone(),
            None => String::new(),
        }
    }

    pub fn findings_in_words(&self) -> Vec<String> {
        self.findings.iter().map(words::finding).collect()
    }
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let lot = enterable(&mut reading, &code).await?;
    let checked = Checked::load(&mut reading, &lot).await?;
    let mut draft = match &checked.entered {
        Some(entered) => Draft::of_certificate(&entered.certificate),
        None => Draft::blank(&checked.limits),
    };
    let version = version(&checked);
    draft.fields.insert("version".to_owned(), version);
    drop(reading);
    certificate_page(&visit, (&lot, &checked), draft, FieldErrors::default()).await
}

/// Enters what a certificate says, as a new record where one was entered before.
async fn enter(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    WithFiles { form, files }: WithFiles<Fields>,
) -> Result<Response, AppError> {
    let mut draft = Draft::of(form);
    let mut errors = FieldErrors::default();
    let files = shelved(&state, &who, "", &mut draft.fields, files, &mut errors).await?;
    let is_sent = draft.fields.get("do").is_some_and(|step| step == "enter");
    if draft
        .fields
        .get("do")
        .is_some_and(|step| step == "add-element")
    {
        draft.add_row();
    }
    let mut change = Change::begin(&state, &who).await?;
    let lot = enterable(change.connection(), &code).await?;
    let checked = Checked::load(change.connection(), &lot).await?;
    let today = today(&visit)?;
    let parsed = match is_sent {
        true => draft.parse("", (&lot.maker_lot, today), &mut errors),
        false => None,
    };
    if is_sent && parsed.is_none() && errors.is_empty() {
        errors.add("maker", "enter what the certificate says");
    }
    if is_sent && draft.fields.get("version") != Some(&version(&checked)) {
        errors.add_whole(
            "Somebody entered this certificate meanwhile; what stands is on the right. Yours stands below: enter it in its place, or leave it.",
        );
        draft.fields.insert("version".to_owned(), version(&checked));
    }
    let (Some(certificate), true) = (parsed, errors.is_empty()) else {
        drop(change);
        return certificate_page(&visit, (&lot, &checked), draft, errors).await;
    };
    let subject = Subject::new("lot", &code);
    let content = json!({ "certificate": store::content(&certificate) });
    let journal = change
        .journal("certificate.entered", subject, content)
        .await?;
    let id = lot.id;
    store::insert(&mut change, id, &certificate, &who.name, journal).await?;
    if let Err(errors) = hang(&mut change, &who, &code, files).await? {
        drop(change);
        return certificate_page(&visit, (&lot, &checked), draft, errors).await;
    }
    let stopped = stop_if_outside(&mut change, &lot).await?;
    let text = format!("the certificate of {code}. Journal {journal}.{stopped}");
    change
        .finish(&who, &lot_path(&code), Notice::done("SAVED", text))
        .await
}

/// A released lot whose certificate turns out to be outside its limits is stopped in the same change.
async fn stop_if_outside(change: &mut Change, lot: &LotFacts) -> Result<String, AppError> {
    if lot.state != LotState::Released {
        return Ok(String::new());
    }
    let checked = Checked::load(change.connection(), lot).await?;
    if checked.findings.is_empty() {
        return Ok(String::new());
    }
    let reason: String = checked
        .findings_in_words()
        .join("; ")
        .chars()
        .take(200)
        .collect();
    let journal = powder::stop(change, lot, &reason, None).await?;
    Ok(format!(
        " It is outside its limits, and {} is on hold now, journal {journal}.",
        lot.code
    ))
}

/// Hangs the certificate's papers on its lot.
pub async fn hang(
    change: &mut Change,
    who: &Who,
    lot: &str,
    files: Vec<Named>,
) -> Result<Result<(), FieldErrors>, AppError> {
    if files.is_empty() {
        return Ok(Ok(()));
    }
    let holder = Holder::lot(change.connection(), lot).await?;
    let holder = holder.ok_or_else(|| AppError::internal(format!("lot {lot} was just there")))?;
    Ok(hang_all(change, who, &holder, "certificate", files)
        .await?
        .map(|_| ()))
}

/// What a lot's certificate was opened at.
fn version(checked: &Checked) -> String {
    let entered = checked.entered.as_ref();
    entered.map_or(0, |entered| entered.journal).to_string()
}

async fn enterable(connection: &mut SqliteConnection, code: &str) -> Result<LotFacts, AppError> {
    let lot = powder::lot(connection, code).await?;
    let lot = lot.ok_or_else(|| AppError::NotFound {
        what: format!("lot {code}"),
    })?;
    match lot.state {
        LotState::Rejected | LotState::Empty => Err(AppError::Conflict(format!(
            "lot {code} is {}; its certificate stays as it stands",
            lot.state
        ))),
        _ => Ok(lot),
    }
}

/// The day at the site.
pub fn today(visit: &Visit) -> Result<chrono::NaiveDate, AppError> {
    let now = visit.moment()?;
    Ok(now.with_timezone(&visit.site.zone).date_naive())
}

/// Puts sent files on the shelf under the head of a section, and takes from there what was sent before; what is
/// wrong is noted beside the field. Not while a change is open.
pub async fn shelved(
    state: &AppState,
    who: &Who,
    head: &str,
    fields: &mut Fields,
    sent: Vec<SentFile>,
    errors: &mut FieldErrors,
) -> Result<Vec<Named>, AppError> {
    let field = format!("{head}files");
    let mut kept = fields.get("kept").cloned().unwrap_or_default();
    if fields.remove("drop").is_some_and(|typed| typed == "yes") {
        kept.clear();
    }
    match ready(state, sent).await? {
        Ok(files) => {
            for file in files {
                let hash = state.shelf.keep(who.id, file);
                if !kept.split_whitespace().any(|known| known == hash) {
                    kept = format!("{kept} {hash}").trim().to_owned();
                }
            }
        }
        Err(faults) => errors.add(&field, faults.of("files")),
    }
    let (mut files, mut still) = (Vec::new(), Vec::new());
    for hash in kept.split_whitespace() {
        match state.shelf.find(who.id, hash) {
            Some(file) => {
                still.push(hash.to_owned());
                files.push(file);
            }
            None => errors.add(
                &field,
                "the file chosen before is no longer at hand; choose it again",
            ),
        }
    }
    let names: Vec<&str> = files.iter().map(|file| file.name.as_str()).collect();
    fields.insert("kept_names".to_owned(), names.join(", "));
    fields.insert("kept".to_owned(), still.join(" "));
    Ok(files)
}

#[derive(Template)]
#[template(path = "certificate/enter.html")]
struct CertificatePage {
    page: Layout,
    action: String,
    back: String,
    code: String,
    powder: String,
    maker_lot: String,
    draft: Draft,
    stands: Vec<words::Line>,
    entered: Option<Entered>,
    limits: Vec<(String, String)>,
    errors: FieldErrors,
}

impl CertificatePage {
    fn of(&self) -> Section<'_> {
        Section::new(String::new(), &self.draft.fields)
    }
}

async fn certificate_page(
    visit: &Visit,
    (lot, checked): (&LotFacts, &Checked),
    draft: Draft,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let said = checked.entered.as_ref().map(|it| &it.certificate);
    let page = CertificatePage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        action: format!("{}/certificate", lot_path(&lot.code)),
        back: lot_path(&lot.code),
        code: lot.code.clone(),
        powder: lot.powder_name.clone(),
        maker_lot: lot.maker_lot.clone(),
        draft,
        stands: said.map_or_else(Vec::new, |said| words::lines(said, &checked.limits)),
        entered: checked.entered.clone(),
        limits: words::limits(&checked.limits),
        errors,
    };
    page_with(page.errors.status(), &page)
}
