//! Two people say that a container is drawn although something speaks against it.

use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::draw::{Doubt, Remedy};
use mendpost_core::signature::Meaning;
use serde::Deserialize;
use serde_json::json;

use super::look::Look;
use super::queries::{self, Container};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::signature::queries::Signing;
use crate::signature::{self, ask, prove, second};
use crate::words::draw::doubt;
use crate::words::work::sentence;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct WaiveForm {
    container: String,
    #[serde(rename = "for")]
    for_: String,
    reason: String,
    sign_passphrase: String,
}

/// Where two people say it of a container that is drawn for this.
pub fn path(container: &str, for_: &str) -> String {
    format!("/feeder/waive?container={container}&for={for_}")
}

/// For so long it holds: a shift.
const HOLDS_MS: i64 = 12 * 3_600_000;

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Query(form): Query<WaiveForm>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let look = Look::load(&mut reading, visit.moment()?).await?;
    let doubts = doubts(&mut reading, &visit, &look, &form).await?;
    drop(reading);
    waive_page(
        &state,
        &visit,
        &who,
        (&look, doubts),
        form,
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn sign(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<WaiveForm>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let look = Look::load(&mut reading, visit.moment()?).await?;
    let doubts = doubts(&mut reading, &visit, &look, &form).await?;
    drop(reading);
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 200));
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(reason), Some(proof)) = (reason, proof) else {
        return waive_page(&state, &visit, &who, (&look, doubts), form, errors).await;
    };
    let (container, doubts) = doubts;
    let mut change = Change::begin(&state, &who).await?;
    let subject = Subject::new("container", &container.code);
    let content = json!({
        "container": container.code,
        "lot": container.lot,
        "doubts": doubts.iter().map(Doubt::word).collect::<Vec<_>>(),
        "told": told(&look, &doubts),
        "reason": reason,
    });
    let number = signature::open(&mut change, subject, content, Meaning::Waive, &proof).await?;
    let text = format!(
        "{} waits for a second signature; nothing may be drawn yet.",
        container.code
    );
    change
        .finish(&who, &second::path(number), Notice::waits("SIGNED", text))
        .await
}

/// Notes what two people have signed; the kind of its journal entry. The rows hang on `entry`, which is written
/// by the caller first.
pub async fn carry_out(change: &mut Change, signing: &Signing, entry: i64) -> Result<(), AppError> {
    let code = &signing.subject.id;
    let reason = signing.content["reason"].as_str().unwrap_or_default();
    let until = change.now() + HOLDS_MS;
    let words = signing.content["doubts"]
        .as_array()
        .cloned()
        .unwrap_or_default();
    for word in words.iter().filter_map(|word| word.as_str()) {
        sqlx::query!(
            "insert into waiver (journal_sequence, container_id, doubt, reason, until_ms)
             select ?, id, ?, ?, ? from container where code = ?",
            entry,
            word,
            reason,
            until,
            code,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

/// What is told to those who sign it.
pub fn pairs(signing: &Signing) -> Vec<(&'static str, String)> {
    let told = |key: &str| signing.content[key].as_str().unwrap_or_default().to_owned();
    vec![
        ("Container", signing.subject.id.clone()),
        ("Lot", told("lot")),
        ("Speaks against it", told("told")),
        ("Why it is drawn all the same", told("reason")),
    ]
}

/// The container, and what two people can waive of it.
async fn doubts(
    connection: &mut sqlx::SqliteConnection,
    visit: &Visit,
    look: &Look,
    form: &WaiveForm,
) -> Result<(Container, Vec<Doubt>), AppError> {
    let container = look
        .container(&form.container)
        .ok_or_else(|| AppError::NotFound {
            what: format!("container '{}' that holds powder", form.container),
        })?;
    let wants = look.wants();
    let want = wants.iter().find(|it| it.request.as_str() == form.for_);
    let open = queries::open(&mut *connection, container.id).await?;
    let doubts = look.doubts(container, want, (open, visit.moment()?), 0);
    if let Some(never) = doubts.iter().find(|it| it.remedy() == Remedy::None) {
        return Err(AppError::Conflict(format!(
            "{} may not be drawn: {}",
            container.code,
            doubt(&look.situation, never)
        )));
    }
    let two = |it: &Doubt| it.remedy() == Remedy::SecondPerson;
    let doubts: Vec<Doubt> = doubts.into_iter().filter(two).collect();
    if doubts.is_empty() {
        return Err(AppError::Conflict(format!(
            "nothing speaks against {} that takes two people; draw it",
            container.code
        )));
    }
    Ok((container.clone(), doubts))
}

fn told(look: &Look, doubts: &[Doubt]) -> String {
    let told: Vec<String> = doubts.iter().map(|it| doubt(&look.situation, it)).collect();
    sentence(&told.join("; "))
}

async fn waive_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    (look, (container, doubts)): (&Look, (Container, Vec<Doubt>)),
    form: WaiveForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let code = container.code.to_string();
    let act = ActPage {
        page: visit.layout(Screen::Powder, &code).await?,
        answer: format!("Say why {code} is drawn all the same."),
        reason: "It takes two people, and holds for twelve hours.".to_owned(),
        pairs: vec![
            ("Container", code.clone()),
            ("Lot", container.lot.to_string()),
            ("Powder", sentence(&container.powder_name)),
            ("Speaks against it", told(look, &doubts)),
        ],
        fields: vec![
            Field::hidden("container", &code),
            Field::hidden("for", &form.for_),
            Field::area(
                "reason",
                "Why it is drawn all the same",
                &form.reason,
                "what was tried of it, who was asked",
            ),
        ],
        action: "/feeder/waive".to_owned(),
        verb: "Sign",
        detail: "a second person signs after you".to_owned(),
        back: (
            "Draw something else",
            format!("/feeder/draw?for={}", form.for_),
        ),
        ask: Some(ask(state, visit, who, Meaning::Waive).await?),
        errors,
    };
    act.answer()
}
