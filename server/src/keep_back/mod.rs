//! Keep-backs: powder and gas held for named machines, what holding costs, and how it is given up.

mod form;
mod pages;
pub mod queries;
mod rows;

use std::collections::BTreeSet;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::AssetCode;
use mendpost_core::journal::Subject;
use mendpost_core::lineup::{Provision, Seen, provision};
use mendpost_core::people::Act;
use mendpost_core::signature::Meaning;
use mendpost_core::situation::{Held, KeepBack};
use serde_json::{Value, json};

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::page::act::SIGN_FIELD;
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::signature::{prove, sign};
use crate::situation;
use crate::words::Words;
use form::{GiveUpForm, NewForm};
use queries::GivenUp;

pub use rows::{Row, rows};

pub(crate) const PATH: &str = "/line-up/keep-backs";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, pages::list)
        .get("/line-up/keep-backs/new", Act::KeepBack, blank)
        .post("/line-up/keep-backs/new", Act::KeepBack, hold)
        .get("/line-up/keep-backs/{number}", Act::KeepBack, open)
        .post("/line-up/keep-backs/{number}", Act::KeepBack, give_up)
}

/// Writes a keep-back with its entry in the journal; the entry's sequence.
pub(crate) async fn record(change: &mut Change, keep_back: &KeepBack) -> Result<i64, AppError> {
    let (powder, bank) = match &keep_back.held {
        Held::Powder(powder) => (json!(powder), Value::Null),
        Held::Gas(bank) => (Value::Null, json!(bank)),
    };
    let content = json!({
        "powder": powder,
        "bank": bank,
        "grams": keep_back.grams,
        "assets": keep_back.assets,
        "reason": keep_back.reason,
        "said_by": keep_back.said_by,
    });
    let subject = Subject::new("keep-back", keep_back.number);
    let sequence = change.journal("keep-back.set", subject, content).await?;
    queries::insert(change.connection(), keep_back, sequence).await?;
    Ok(sequence)
}

async fn blank(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let form = NewForm::default();
    pages::new(&visit, &situation, form, FieldErrors::default(), None).await
}

/// Holds something, or says how much is advised to be held.
async fn hold(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<NewForm>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let mut errors = FieldErrors::default();
    if !form.advise.is_empty() {
        let subject = form.subject(&situation, &mut errors);
        let advice = match subject {
            Some((held, assets)) => {
                let mut reading = state.db.read.begin().await?;
                let seen = queries::seen(&mut reading, &assets, state.clock.now()).await?;
                Some(Advice {
                    seen,
                    provision: provision(&situation, &held, &assets, seen),
                    held,
                    assets,
                })
            }
            None => None,
        };
        return pages::new(&visit, &situation, form, errors, advice.as_ref()).await;
    }
    let Some(new) = form.parse(&situation, &mut errors) else {
        return pages::new(&visit, &situation, form, errors, None).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let keep_back = KeepBack {
        number: queries::next_number(change.connection()).await?,
        held: new.held,
        grams: new.grams,
        assets: new.assets,
        reason: new.reason,
        since: crate::db::decoded(situation::moment(change.now()))?,
        said_by: who.name.clone(),
    };
    let journal = record(&mut change, &keep_back).await?;
    let words = Words::new(&situation);
    let what = words.kept(&keep_back);
    let untaken = words.untaken(&keep_back.held, &keep_back.assets);
    let untaken = untaken.map_or_else(String::new, |it| format!(" {it}"));
    let text = format!("{what}. Journal {journal}. Plan again to count with it.{untaken}");
    change
        .finish(&who, PATH, Notice::done("KEPT BACK", text))
        .await
}

/// How much to hold, and what that rests on.
struct Advice {
    held: Held,
    assets: BTreeSet<AssetCode>,
    seen: Seen,
    provision: Option<Provision>,
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let keep_back = find(&situation.keep_backs, number)?;
    let form = GiveUpForm::default();
    let errors = FieldErrors::default();
    pages::give_up(&state, &visit, &who, (&situation, keep_back), form, errors).await
}

/// Gives up some of a keep-back, or all: a named person signs it.
async fn give_up(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<GiveUpForm>,
) -> Result<Response, AppError> {
    // A form sent again has its answer before it is judged by what is left. Not held on to: the proof may write.
    drop(Change::begin(&state, &who).await?);
    let situation = situation::now(&state).await?;
    let keep_back = find(&situation.keep_backs, number)?;
    let about = (&situation, keep_back);
    let mut errors = FieldErrors::default();
    let parsed = form.parse(keep_back.grams, &mut errors);
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let (Some((grams, reason)), Ok(proof)) = (parsed, &proof) else {
        if let Err(fault) = proof {
            errors.add(SIGN_FIELD, fault);
        }
        return pages::give_up(&state, &visit, &who, about, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let live = queries::live(change.connection()).await?;
    let now_g = find(&live, number)?.grams;
    if form.held_g != now_g.to_string() {
        drop(change);
        errors.add(
            "kg",
            "it holds another amount by now; look at it, and sign that",
        );
        let situation = situation::now(&state).await?;
        let keep_back = find(&situation.keep_backs, number)?;
        return pages::give_up(&state, &visit, &who, (&situation, keep_back), form, errors).await;
    }
    let subject = Subject::new("keep-back", number);
    let content = json!({ "grams": grams, "left_g": now_g - grams, "reason": reason });
    let meaning = Meaning::GiveUp;
    let kind = "keep-back.given-up";
    let journal = sign(&mut change, kind, subject, content, meaning, proof).await?;
    let given = GivenUp {
        number,
        grams,
        reason: &reason,
        by: &who.name,
        at_ms: change.now(),
    };
    queries::give_up(change.connection(), &given, journal).await?;
    let what = Words::new(&situation).held(&keep_back.held, grams);
    let text =
        format!("{what} may go to any machine. Journal {journal}. Plan again to count with it.");
    change
        .finish(&who, PATH, Notice::done("GIVEN UP", text))
        .await
}

fn find(live: &[KeepBack], number: i64) -> Result<&KeepBack, AppError> {
    let found = live.iter().find(|it| it.number == number);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("keep-back {number} that holds anything"),
    })
}
