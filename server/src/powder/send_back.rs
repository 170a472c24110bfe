//! Sending powder back to the depot: it leaves the book, signed, with a reason.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::LotCode;
use mendpost_core::journal::Subject;
use mendpost_core::powder::book::{Movement, Place};
use mendpost_core::powder::{LotState, Reason};
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};

use super::count::book_of;
use super::queries::{self, ContainerRow, LotFacts};
use super::{REASON, facts, find, lot_path};
use crate::AppState;
use crate::book::{self, Line};
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen, grams_exact};
use crate::people::{Visit, Who};
use crate::signature::{ask, prove, sign};

/// The choice of all containers.
const ALL: &str = "all";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct SendBackForm {
    container: String,
    reason: String,
    /// What the book said when the page was shown.
    book: String,
    sign_passphrase: String,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let lot = find(&state, &code).await?;
    let form = SendBackForm::default();
    send_back_page(&state, &visit, &who, &lot, form, FieldErrors::default()).await
}

/// Takes what one container holds, or all of the lot's, out of the book.
pub async fn send(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<SendBackForm>,
) -> Result<Response, AppError> {
    // A form sent again has its answer before it is judged by what is left. Not held on to: the proof may write.
    drop(Change::begin(&state, &who).await?);
    let lot = find(&state, &code).await?;
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, REASON));
    let full = full(queries::containers(&state.db.read, &code).await?);
    let is_known = form.container == ALL || full.iter().any(|can| can.code == form.container);
    if !is_known {
        errors.add("container", "choose what goes back");
    }
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(reason), Some(proof), true) = (reason, proof, is_known) else {
        return send_back_page(&state, &visit, &who, &lot, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let containers = queries::containers(change.connection(), &code).await?;
    if book_of(&containers) != form.book {
        drop(change);
        errors.add_whole("The book of this lot has changed meanwhile. Look at it, and sign that.");
        return send_back_page(&state, &visit, &who, &lot, form, errors).await;
    }
    let full = self::full(containers);
    let goes = full
        .iter()
        .filter(|can| form.container == ALL || can.code == form.container);
    let at_ms = change.now();
    let lines = goes
        .map(|can| {
            Ok(Line {
                movement: movement(&code, can)?,
                note: &reason,
                at_ms,
            })
        })
        .collect::<Result<Vec<Line<'_>>, sqlx::Error>>()?;
    let is_all = lines.len() == full.len();
    let grams: i64 = lines.iter().map(|it| it.movement.mass.0).sum();
    let empties = is_all && lot.state != LotState::Rejected;
    let (state, note) = match empties {
        true => (LotState::Empty, "sent back"),
        false => (lot.state, lot.state_note.as_str()),
    };
    let content = SentBack {
        reason: &reason,
        state,
        note,
        moved: book::moved(&lines),
    };
    let subject = Subject::new("lot", &code);
    let meaning = Meaning::SendBack;
    let journal = sign(
        &mut change,
        "lot.sent-back",
        subject,
        content,
        meaning,
        &proof,
    )
    .await?;
    book::enter(&mut change, &lines, journal).await?;
    if empties {
        queries::set_state(change.connection(), &code, state, note).await?;
    }
    let text = format!(
        "{} of {code}, journal {journal}. Plan again.",
        grams_exact(grams)
    );
    change
        .finish(&who, &lot_path(&code), Notice::done("SENT BACK", text))
        .await
}

#[derive(Serialize)]
struct SentBack<'a> {
    reason: &'a str,
    /// As the lot stands after it.
    state: LotState,
    note: &'a str,
    moved: serde_json::Value,
}

/// The containers with something in them.
fn full(mut containers: Vec<ContainerRow>) -> Vec<ContainerRow> {
    containers.retain(|can| can.on_hand_mg > 0);
    containers
}

fn movement(lot: &str, can: &ContainerRow) -> Result<Movement, sqlx::Error> {
    let lot: LotCode = decoded(lot.parse())?;
    let from = Place::Container(decoded(can.code.parse())?);
    let (to, mass) = (Place::Depot, can.on_hand_mg);
    Ok(book::movement(&lot, from, to, mass, Reason::SendBack))
}

async fn send_back_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    lot: &LotFacts,
    form: SendBackForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let containers = queries::containers(&state.db.read, &lot.code).await?;
    let book = book_of(&containers);
    let full = full(containers);
    if full.is_empty() {
        return Err(AppError::Conflict(format!(
            "nothing of lot {} is in a container; there is nothing to send back",
            lot.code
        )));
    }
    let all: i64 = full.iter().map(|can| can.on_hand_mg).sum();
    let mut options = vec![(ALL.to_owned(), format!("all of it, {}", grams_exact(all)))];
    options.extend(full.iter().map(|can| {
        let words = format!("{}, {}", can.code, grams_exact(can.on_hand_mg));
        (can.code.clone(), words)
    }));
    let fields = vec![
        Field::hidden("book", &book),
        Field::choose("container", "What goes back", &form.container, options, ""),
        Field::area(
            "reason",
            "Why",
            &form.reason,
            "what is wrong with it, and who asked for it",
        ),
    ];
    let act = ActPage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: format!("Send powder of lot {} back to the depot.", lot.code),
        reason: "It leaves the book when you sign.".to_owned(),
        pairs: facts(lot),
        fields,
        action: format!("{}/send-back", lot_path(&lot.code)),
        verb: "Sign",
        detail: "takes it out of the book".to_owned(),
        back: ("Leave it here", lot_path(&lot.code)),
        ask: Some(ask(state, visit, who, Meaning::SendBack).await?),
        errors,
    };
    act.answer()
}
