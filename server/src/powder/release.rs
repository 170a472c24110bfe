//! Whether a lot may be sprayed: released by one who has checked its certificate, by two where that is outside what
//! its powder asks for, and by two again once somebody has stopped it.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::{Act, may};
use mendpost_core::powder::LotState;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::lot_path;
use super::queries::{self, LotFacts};
use crate::AppState;
use crate::certificate::Checked;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::signature::queries::Signing;
use crate::signature::{self, Ask, Secret, ask, prove, second};
use crate::words::certificate as words;
use crate::words::powder::lot_state;

/// Something that can be done with a lot, from its page.
pub struct LotAct {
    pub path: String,
    pub words: &'static str,
    pub detail: String,
    /// Whether it is the next act.
    pub first: bool,
}

/// What the person may do with a lot; the next act first.
pub async fn acts(
    state: &AppState,
    visit: &Visit,
    lot: &LotFacts,
    checked: &Checked,
) -> Result<Vec<LotAct>, AppError> {
    let Some(who) = &visit.who else {
        return Ok(Vec::new());
    };
    let at = |act: &str| format!("{}/{act}", lot_path(&lot.code));
    let mut acts = Vec::new();
    let mut add = |path: String, words, detail: &str, first| {
        acts.push(LotAct {
            path,
            words,
            detail: detail.to_owned(),
            first,
        });
    };
    let is_open = !matches!(lot.state, LotState::Rejected | LotState::Empty);
    let may_enter = is_open && may(who.role, Act::EnterLots);
    let meaning = lot.state.released_by(!checked.findings.is_empty());
    let lacks = meaning.is_some() && !checked.missing.is_empty();
    if let Some(number) = waits(state, &lot.code).await? {
        add(
            second::path(number),
            "Look at its release",
            "waits for a second signature",
            true,
        );
    } else if let Some(meaning) = meaning.filter(|m| may(who.role, m.act())) {
        let (words, detail) = match meaning {
            Meaning::ReleaseFromHold => ("Release from hold", "takes two people"),
            Meaning::ReleaseOutside => ("Release", "outside its limits: takes two people"),
            _ => ("Release", "after certificate, label and seals are checked"),
        };
        if lacks && may_enter {
            let detail = format!("lacks {}", checked.missing_in_words());
            add(at("certificate"), "Enter its certificate", &detail, true);
        }
        add(at("release"), words, detail, !(lacks && may_enter));
    }
    if may_enter && !lacks {
        add(at("certificate"), "Its certificate", "", false);
    }
    if lot.state.can_be_stopped() && may(who.role, Act::HoldLot) {
        add(at("hold"), "Stop this lot", "", false);
    }
    if lot.state.can_be_rejected() && may(who.role, Act::ReleaseLot) {
        add(at("reject"), "Reject this lot", "", false);
    }
    if lot.state != LotState::Empty && may(who.role, Act::AdjustBook) {
        add(at("count"), "Weigh what is there", "", false);
        add(at("send-back"), "Send it back", "", false);
    }
    Ok(acts)
}

/// The signing of a lot's release that waits.
async fn waits(state: &AppState, lot: &str) -> Result<Option<i64>, sqlx::Error> {
    for meaning in [Meaning::ReleaseFromHold, Meaning::ReleaseOutside] {
        let open = signature::queries::open_on(&state.db.read, meaning, lot).await?;
        if open.is_some() {
            return Ok(open);
        }
    }
    Ok(None)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ReleaseForm {
    reason: String,
    /// What was looked at: the journal entry of the certificate, and of the limits.
    certificate: String,
    sign_passphrase: String,
}

/// A lot that waits for its release, and how its certificate stands.
struct Releasable {
    lot: LotFacts,
    checked: Checked,
    meaning: Meaning,
}

impl Releasable {
    async fn load(state: &AppState, code: &str) -> Result<Releasable, AppError> {
        let mut reading = state.db.read.begin().await?;
        let lot = queries::lot(&mut *reading, code).await?;
        let lot = lot.ok_or_else(|| AppError::NotFound {
            what: format!("lot {code}"),
        })?;
        let checked = Checked::load(&mut reading, &lot).await?;
        drop(reading);
        let meaning = lot.state.released_by(!checked.findings.is_empty());
        let meaning = meaning.ok_or_else(|| {
            AppError::Conflict(format!(
                "lot {code} is {}; there is nothing to release",
                lot_state(lot.state)
            ))
        })?;
        if let Some(number) = waits(state, code).await? {
            return Err(AppError::Conflict(format!(
                "the release of lot {code} waits for its second signature; sign it at {}",
                second::path(number)
            )));
        }
        Ok(Releasable {
            lot,
            checked,
            meaning,
        })
    }

    /// What is signed.
    fn content(&self, reason: String) -> Released {
        Released {
            lot: self.lot.code.clone(),
            before: self.lot.state,
            stopped_for: self.lot.state_note.clone(),
            certificate: self.checked.entered.as_ref().map(|it| it.journal),
            findings: self.checked.findings_in_words(),
            reason,
        }
    }
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let of = Releasable::load(&state, &code).await?;
    let form = ReleaseForm::default();
    release_page(&state, &visit, &who, of, form, FieldErrors::default()).await
}

/// Releases a lot, or gives the first of two signatures to it.
pub async fn release(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<ReleaseForm>,
) -> Result<Response, AppError> {
    let of = Releasable::load(&state, &code).await?;
    let mut errors = FieldErrors::default();
    if !of.checked.missing.is_empty() {
        errors.add_whole(format!(
            "Not released: the certificate lacks {}.",
            of.checked.missing_in_words()
        ));
        return release_page(&state, &visit, &who, of, form, errors).await;
    }
    if form.certificate != of.checked.version() {
        errors.add_whole(
            "Not released: its certificate or its limits were entered anew meanwhile. Look at them, and sign that.",
        );
        return release_page(&state, &visit, &who, of, form, errors).await;
    }
    let reason = errors.check("reason", text(&form.reason, super::REASON));
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(reason), Some(proof)) = (reason, proof) else {
        return release_page(&state, &visit, &who, of, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    super::unchanged(&mut change, &of.lot).await?;
    unchecked_since(&mut change, &of).await?;
    let code = of.lot.code.clone();
    let subject = Subject::new("lot", &code);
    let content = of.content(reason);
    if of.meaning.people() > 1 {
        let number = signature::open(&mut change, subject, content, of.meaning, &proof).await?;
        let text = format!("{code} waits for a second signature; nothing is released yet.");
        return change
            .finish(&who, &second::path(number), Notice::waits("SIGNED", text))
            .await;
    }
    queries::set_state(change.connection(), &code, LotState::Released, "").await?;
    let journal =
        signature::sign(&mut change, RELEASED, subject, content, of.meaning, &proof).await?;
    let text = format!("{code} may be sprayed, journal {journal}. Plan again to count with it.");
    change
        .finish(&who, &lot_path(&code), Notice::done("SIGNED", text))
        .await
}

/// Refuses to go on where certificate or limits were entered anew since they were looked at.
async fn unchecked_since(change: &mut Change, of: &Releasable) -> Result<(), AppError> {
    let now = Checked::load(change.connection(), &of.lot).await?;
    if now.version() == of.checked.version() && now.findings == of.checked.findings {
        return Ok(());
    }
    Err(AppError::Conflict(format!(
        "the certificate of lot {} or its limits were entered anew meanwhile; look at it again",
        of.lot.code
    )))
}

/// Carries out a release that two have signed; the kind of its journal entry.
pub async fn carry_out(change: &mut Change, signing: &Signing) -> Result<&'static str, AppError> {
    let code = &signing.subject.id;
    let gone = |why: String| AppError::Conflict(format!("lot {code} {why}; withdraw this"));
    let lot = queries::lot(change.connection(), code).await?;
    let lot = lot.ok_or_else(|| gone("is no longer on record".to_owned()))?;
    if json!(lot.state) != signing.content["before"] {
        return Err(gone(format!("is {} by now", lot_state(lot.state))));
    }
    let checked = Checked::load(change.connection(), &lot).await?;
    let journal = checked.entered.as_ref().map(|it| it.journal);
    // What was signed is what is done.
    let is_same = json!(journal) == signing.content["certificate"]
        && json!(checked.findings_in_words()) == signing.content["findings"];
    if !is_same {
        return Err(gone(
            "has another certificate, or other limits, than were signed".to_owned(),
        ));
    }
    queries::set_state(change.connection(), code, LotState::Released, "").await?;
    Ok(RELEASED)
}

/// What is told of a release to those who sign it.
pub fn pairs(signing: &Signing) -> Vec<(&'static str, String)> {
    let told = |key: &str| signing.content[key].as_str().unwrap_or_default().to_owned();
    let mut pairs = vec![("Lot", signing.subject.id.clone())];
    if signing.meaning == Meaning::ReleaseFromHold {
        pairs.push(("Stopped for", told("stopped_for")));
    }
    let findings = signing.content["findings"].as_array();
    for finding in findings.into_iter().flatten().filter_map(|it| it.as_str()) {
        pairs.push(("Outside", finding.to_owned()));
    }
    pairs.push(("Why it may be sprayed", told("reason")));
    pairs
}

#[derive(Serialize)]
struct Released {
    lot: String,
    before: LotState,
    stopped_for: String,
    /// The journal entry that tells the certificate; none of a lot without.
    certificate: Option<i64>,
    findings: Vec<String>,
    reason: String,
}

const RELEASED: &str = "lot.released";

#[derive(Template)]
#[template(path = "powder/release.html")]
struct ReleasePage {
    page: Layout,
    answer: String,
    reason: &'static str,
    code: String,
    action: String,
    back: String,
    /// Where its certificate is entered.
    certificate: Option<String>,
    missing: String,
    findings: Vec<String>,
    lines: Vec<words::Line>,
    pairs: Vec<(&'static str, String)>,
    label: &'static str,
    hint: &'static str,
    detail: &'static str,
    form: ReleaseForm,
    ask: Ask,
    errors: FieldErrors,
}

async fn release_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    of: Releasable,
    mut form: ReleaseForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let Releasable {
        lot,
        checked,
        meaning,
    } = &of;
    let is_held = *meaning == Meaning::ReleaseFromHold;
    let (label, hint, detail) = match meaning {
        Meaning::ReleaseFromHold => (
            "Why it may be sprayed again",
            "what you found, and what was done about it",
            "the first of two signatures",
        ),
        Meaning::ReleaseOutside => (
            "Why it may be sprayed nevertheless",
            "what it is good for, and who says so",
            "the first of two signatures",
        ),
        _ => (
            "What you checked",
            "certificate number, label, seals",
            "the planner may draw from it then",
        ),
    };
    let mut ask = ask(state, visit, who, *meaning).await?;
    ask.error = errors.of(SIGN_FIELD).to_owned();
    let mut pairs = super::facts(lot);
    let note = if is_held { "Stopped for" } else { "Note" };
    pairs.push((note, super::none_if_empty(&lot.state_note)));
    form.certificate = checked.version();
    let said = checked.entered.as_ref().map(|it| &it.certificate);
    let page = ReleasePage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: match checked.missing.is_empty() {
            true => format!("{}.", second::act(*meaning, &lot.code)),
            false => format!("Enter the certificate of {} first.", lot.code),
        },
        reason: match meaning {
            Meaning::Release => "Check its certificate, label and seals first.",
            _ => "Two people must look at it and sign.",
        },
        code: lot.code.clone(),
        action: format!("{}/release", lot_path(&lot.code)),
        back: lot_path(&lot.code),
        certificate: visit
            .may(Act::EnterLots)
            .then(|| format!("{}/certificate", lot_path(&lot.code))),
        missing: checked.missing_in_words(),
        findings: checked.findings_in_words(),
        lines: said.map_or_else(Vec::new, |said| words::lines(said, &checked.limits)),
        pairs,
        label,
        hint,
        detail,
        form,
        ask,
        errors,
    };
    page_with(page.errors.status(), &page)
}
