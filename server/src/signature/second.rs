//! What two people sign: it waits after the first signature, and is carried out with the second.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::people::Role;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::pages::{Form, ListPage, OnePage, Row};
use super::prove::{Proof, ask, prove, prove_other};
use super::queries::{self, Signing, State as Stands};
use super::{Entry, Signature};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::feeder;
use crate::form::{FieldErrors, Posted};
use crate::page::act::SIGN_FIELD;
use crate::page::{Notice, Screen, page, page_with};
use crate::people::{Visit, Who};
use crate::powder;
use crate::words::work::{lower_first, sentence};

#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct SignForm {
    /// Who signs, if not the person who is signed in.
    pub name: String,
    pub sign_passphrase: String,
}

pub(super) async fn show_all(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let rows = queries::waiting(&state.db.read).await?;
    page(&ListPage {
        page: visit.layout(Screen::Site, "Signatures").await?,
        rows: rows
            .into_iter()
            .map(|waits| Row {
                path: path(waits.number),
                act: act(waits.meaning, &waits.subject_id),
                by: waits.by,
                since_ms: waits.since_ms,
            })
            .collect(),
    })
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let signing = find(&state, &number).await?;
    one_page(&state, &visit, &who, signing, "", FieldErrors::default()).await
}

/// Adds a signature, and carries out what was signed when none is missing.
pub(super) async fn sign(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<SignForm>,
) -> Result<Response, AppError> {
    let signing = find(&state, &number).await?;
    let named = form.name.trim();
    let proved = if named.is_empty() || named.eq_ignore_ascii_case(&who.name) {
        prove(&state, &visit, &who, &form.sign_passphrase).await?
    } else {
        prove_other(&state, named, &form.sign_passphrase).await?
    };
    let proof = match proved {
        Ok(proof) => proof,
        Err(fault) => {
            let mut errors = FieldErrors::default();
            let field = if state.config.demonstration {
                "name"
            } else {
                SIGN_FIELD
            };
            errors.add(field, fault);
            return one_page(&state, &visit, &who, signing, named, errors).await;
        }
    };
    let mut change = Change::begin(&state, &who).await?;
    // Read again: the other tablet may have been quicker.
    let signing = queries::signing(change.connection(), signing.number).await?;
    let signing = signing.ok_or_else(|| none(&number))?;
    let given = queries::of_signing(change.connection(), signing.id).await?;
    if let Err(fault) = may_add(&signing, &given, proof.person, proof.role) {
        drop(change);
        let mut errors = FieldErrors::default();
        errors.add_whole(fault);
        return one_page(&state, &visit, &who, signing, named, errors).await;
    }
    let (text, location) = carry_out(&mut change, &signing, &given, &proof).await?;
    change
        .finish(&who, &location, Notice::done("SIGNED", text))
        .await
}

/// Takes back what waits for its second signature: by who signed first, or by the lead.
pub(super) async fn withdraw(
    State(state): State<AppState>,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let signing = find(&state, &number).await?;
    let mut change = Change::begin(&state, &who).await?;
    let given = queries::of_signing(change.connection(), signing.id).await?;
    if !may_withdraw(&signing, &given, &who) {
        return Err(AppError::Refused(
            "only who signed it first, or the lead, may withdraw it while it waits".to_owned(),
        ));
    }
    queries::set_state(change.connection(), signing.id, Stands::Withdrawn).await?;
    let subject = signing.subject.clone();
    let content = Withdrawn {
        signing: signing.number,
    };
    let journal = change
        .journal("signing.withdrawn", subject, content)
        .await?;
    let text = format!("Nothing was done, journal {journal}.");
    let location = subject_path(&signing);
    change
        .finish(&who, &location, Notice::done("WITHDRAWN", text))
        .await
}

/// What is done once all have signed: one line for each meaning that two people sign.
async fn carry_out(
    change: &mut Change,
    signing: &Signing,
    given: &[(Uuid, Signature)],
    proof: &Proof,
) -> Result<(String, String), AppError> {
    let content = Complete {
        signing: signing.number,
        content: &signing.content,
        first: given
            .iter()
            .map(|(_, signature)| signature.journal_sequence)
            .collect(),
        signatures: vec![proof.entry(signing.meaning)],
    };
    let kind = match signing.meaning {
        Meaning::ReleaseFromHold | Meaning::ReleaseOutside => {
            powder::carry_out_release(change, signing).await?
        }
        Meaning::Waive => "container.waived",
        one => return Err(AppError::internal(format!("two signatures for {one}"))),
    };
    let sequence = change
        .journal(kind, signing.subject.clone(), content)
        .await?;
    if signing.meaning == Meaning::Waive {
        feeder::waive(change, signing, sequence).await?;
    }
    let id = Some(signing.id);
    queries::insert(
        change,
        id,
        signing.meaning,
        &signing.subject,
        proof,
        sequence,
    )
    .await?;
    queries::set_state(change.connection(), signing.id, Stands::Done).await?;
    let act = act(signing.meaning, &signing.subject.id);
    Ok((
        format!("{act}: done, signed by both, journal {sequence}."),
        subject_path(signing),
    ))
}

#[derive(Serialize)]
struct Complete<'a> {
    signing: i64,
    #[serde(flatten)]
    content: &'a serde_json::Value,
    /// Journal entries of the signatures before this one.
    first: Vec<i64>,
    signatures: Vec<Entry>,
}

#[derive(Serialize)]
struct Withdrawn {
    signing: i64,
}

fn may_add(
    signing: &Signing,
    given: &[(Uuid, Signature)],
    person: Uuid,
    role: Role,
) -> Result<(), String> {
    match signing.state {
        Stands::Open => {
            let signed: Vec<Uuid> = given.iter().map(|(person, _)| *person).collect();
            let may = signing.meaning.may_sign(role, &person, &signed);
            may.map_err(|fault| fault.to_string())
        }
        Stands::Done => Err("everybody needed has signed this already".to_owned()),
        Stands::Withdrawn => Err("this was withdrawn; nothing is left to sign".to_owned()),
    }
}

fn may_withdraw(signing: &Signing, given: &[(Uuid, Signature)], who: &Who) -> bool {
    let first = given.first().is_some_and(|(person, _)| *person == who.id);
    signing.state == Stands::Open && (first || who.role == Role::Lead)
}

async fn one_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    signing: Signing,
    name: &str,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let given = queries::of_signing(&state.db.read, signing.id).await?;
    let act = act(signing.meaning, &signing.subject.id);
    let (answer, reason, form) = match (signing.state, may_add(&signing, &given, who.id, who.role))
    {
        (Stands::Done, _) => (
            format!("{act}: done."),
            "Both have signed.".to_owned(),
            Form::None,
        ),
        (Stands::Withdrawn, _) => (
            format!("{act}: withdrawn."),
            "Nothing was done.".to_owned(),
            Form::None,
        ),
        (Stands::Open, Ok(())) if name.is_empty() => {
            let mut ask = ask(state, visit, who, signing.meaning).await?;
            ask.error = errors.of(SIGN_FIELD).to_owned();
            (
                format!("Sign: {}.", lower_first(&act)),
                WAITS.to_owned(),
                Form::Own(ask),
            )
        }
        (Stands::Open, mine) => {
            let form = Form::Other {
                statement: signing.meaning.statement(),
                name: name.to_owned(),
                demonstration: state.config.demonstration,
                why: mine
                    .err()
                    .map(|fault| sentence(&fault) + ".")
                    .unwrap_or_default(),
            };
            (
                format!("Ask somebody else to sign: {}.", lower_first(&act)),
                WAITS.to_owned(),
                form,
            )
        }
    };
    let page = OnePage {
        page: visit.layout(Screen::Site, "Signature").await?,
        answer,
        reason,
        path: path(signing.number),
        pairs: pairs(&signing),
        subject_path: subject_path(&signing),
        may_withdraw: may_withdraw(&signing, &given, who),
        signatures: given.into_iter().map(|(_, signature)| signature).collect(),
        form,
        errors,
    };
    page_with(page.errors.status(), &page)
}

const WAITS: &str = "Nothing is done before the second signature.";

/// Where the page of a signing stands.
pub fn path(number: i64) -> String {
    format!("/signatures/{number}")
}

/// What is to be done, as 'Release lot L0408 from hold'.
pub fn act(meaning: Meaning, subject: &str) -> String {
    match meaning {
        Meaning::Accept => format!("Work to order {subject}"),
        Meaning::GiveUp => format!("Give up keep-back {subject}"),
        Meaning::Release => format!("Release lot {subject}"),
        Meaning::ReleaseFromHold => format!("Release lot {subject} from hold"),
        Meaning::ReleaseOutside => format!("Release lot {subject}, which is outside its limits"),
        Meaning::Reject => format!("Reject lot {subject}"),
        Meaning::SendBack => format!("Send powder of lot {subject} back"),
        Meaning::RecordYes => format!("Record a yes for request {subject}"),
        Meaning::ApproveRecipe => format!("Approve recipe {subject}"),
        Meaning::ReleasePart => format!("Release the part of request {subject}"),
        Meaning::JudgePart => format!("Judge hold {subject}"),
        Meaning::SetRule => format!("Set the rule for '{subject}'"),
        Meaning::Adjust => format!("Set the book of lot {subject}"),
        Meaning::TakeBack => format!("Take back what moved of {subject}"),
        Meaning::Waive => format!("Draw container {subject} all the same"),
        Meaning::LetIn => format!("Let in person {subject}"),
        Meaning::HandCode => format!("Hand a start code to person {subject}"),
        Meaning::Tell => format!("Tell handover {subject}"),
        Meaning::TakeOver => format!("Take handover {subject} over"),
    }
}

/// What is told to those who sign it.
fn pairs(signing: &Signing) -> Vec<(&'static str, String)> {
    match signing.meaning {
        Meaning::Waive => feeder::waiver_pairs(signing),
        _ => powder::release_pairs(signing),
    }
}

fn subject_path(signing: &Signing) -> String {
    match signing.subject.kind.as_str() {
        "container" => feeder::draw_path(&signing.subject.id),
        "lot" => powder::lot_path(&signing.subject.id),
        _ => "/signatures".to_owned(),
    }
}

async fn find(state: &AppState, number: &str) -> Result<Signing, AppError> {
    let found = match number.parse() {
        Ok(number) => queries::signing(&state.db.read, number).await?,
        Err(_) => None,
    };
    found.ok_or_else(|| none(number))
}

fn none(number: &str) -> AppError {
    AppError::NotFound {
        what: format!("signing '{number}'"),
    }
}
