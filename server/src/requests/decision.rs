//! What was decided of a request, and what may be decided now: refused, withdrawn, taken up again, or
//! sent back to be sorted.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::OperationKind;
use mendpost_core::course::{Stand, Step};
use mendpost_core::finish::Checked;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::filing::hangs_elsewhere;
use super::{detail, queries};
use crate::AppState;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::finish::{self, Work};
use crate::form::{FieldErrors, Posted, text};
use crate::hold::Hold;
use crate::hold::queries::holds;
use crate::need::queries::retired_reason;
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};

/// A request, open or not, as an act about it names it.
#[derive(Debug, Clone)]
pub struct Named {
    pub id: Uuid,
    pub number: i64,
    pub asset: String,
    pub asset_code: String,
    pub part_name: String,
    pub state: String,
}

/// What was decided.
#[derive(Debug, Clone)]
pub struct Decision {
    pub sequence: i64,
    pub decision: String,
    pub reason: String,
    pub by: String,
    pub at_ms: i64,
}

/// An operation that is done.
#[derive(Debug, Clone)]
pub struct Done {
    /// Its journal entry.
    pub sequence: i64,
    pub kind: OperationKind,
    pub name: String,
    /// Place in its recipe, from 1.
    pub position: i64,
    pub by: String,
    pub person: Uuid,
    pub ended_ms: i64,
    pub note: String,
}

/// All that was decided and done of a request.
#[derive(Debug, Clone)]
pub struct History {
    /// The oldest first.
    pub decisions: Vec<Decision>,
    /// Since it was last begun anew, in order.
    pub done: Vec<Done>,
    /// The entry by which it was last begun anew; 0 if never.
    pub since: i64,
    /// The entry after which results of its coupons count.
    pub coupons_since: i64,
    /// Operations to which it went back since then: the entry that says so, and the place from 1.
    pub back: Vec<(i64, i64)>,
    /// Every question that was put on its part, open or judged, the oldest first.
    pub holds: Vec<Hold>,
    /// What is on record of it and counts still.
    pub checked: Checked,
    /// Whether somebody else than who sprayed it releases it.
    pub other_releases: bool,
    pub stand: Stand,
}

/// The request of a number as it stands in an address.
pub async fn named(connection: &mut SqliteConnection, number: &str) -> Result<Named, AppError> {
    let none = || AppError::NotFound {
        what: format!("request '{number}'"),
    };
    let parsed: i64 = number
        .trim_start_matches(['R', 'r'])
        .parse()
        .map_err(|_| none())?;
    let found = sqlx::query_as!(
        Named,
        r#"select r.id as "id: Uuid", r.number, a.name as asset, a.code as asset_code, r.part_name, r.state
           from request r join asset a on a.id = r.asset_id
           where r.number = ?"#,
        parsed
    )
    .fetch_optional(connection)
    .await?;
    found.ok_or_else(none)
}

impl History {
    /// What is done and was not done again since, nor anything before it, and to none of which it went back.
    pub fn still_done(&self) -> Vec<&Done> {
        still_done(&self.done, &self.back)
    }

    pub async fn load(
        connection: &mut SqliteConnection,
        request: &Named,
    ) -> Result<Self, sqlx::Error> {
        let decisions = sqlx::query_as!(
            Decision,
            "select journal_sequence as sequence, decision, reason, decided_by as by, decided_ms as at_ms
             from request_decision where request_id = ? order by journal_sequence",
            request.id
        )
        .fetch_all(&mut *connection)
        .await?;
        let anew =
            |d: &&Decision| ["sent-back", "scrapped", "reopened"].contains(&d.decision.as_str());
        let since = decisions.iter().rfind(anew).map_or(0, |d| d.sequence);
        let rows = sqlx::query!(
            r#"select w.journal_sequence, o.kind, o.name, w.position, w.done_by, w.person_id as "person: Uuid", w.ended_ms, w.note
               from work_done w
               join recipe_operation o on o.recipe_id = w.recipe_id and o.position = w.position
               where w.request_id = ? and w.journal_sequence > ?
               order by w.journal_sequence"#,
            request.id,
            since
        )
        .fetch_all(&mut *connection)
        .await?;
        let back = sqlx::query!(
            "select journal_sequence, position from rework
             where request_id = ? and journal_sequence > ? order by journal_sequence",
            request.id,
            since
        )
        .map(|row| (row.journal_sequence, row.position))
        .fetch_all(&mut *connection)
        .await?;
        let done = rows.into_iter().map(|row| {
            Ok(Done {
                sequence: row.journal_sequence,
                kind: decoded(row.kind.parse())?,
                name: row.name,
                position: row.position,
                by: row.done_by,
                person: row.person,
                ended_ms: row.ended_ms,
                note: row.note,
            })
        });
        let done: Vec<Done> = done.collect::<Result<_, sqlx::Error>>()?;
        let holds = holds(&mut *connection, Some(request.number)).await?;
        let work = Work {
            request: request.id,
            since,
            still: &still_done(&done, &back),
            done: &done,
            back: &back,
        };
        let checked = finish::checked(&mut *connection, &work, &holds).await?;
        let coupons_since = work.coupons_since();
        Ok(History {
            checked,
            coupons_since,
            other_releases: finish::other_releases(connection).await?,
            holds,
            stand: stand(&request.state, &decisions, &still_done(&done, &back)),
            decisions,
            since,
            done,
            back,
        })
    }

    /// Who sorted it, if anybody did since it was last taken up.
    pub fn sorted(&self) -> Option<&Decision> {
        let last = self.decisions.iter();
        let mut last = last.rev().take_while(|d| d.decision != "reopened");
        last.find(|d| d.decision == "sorted")
    }
}

fn still_done<'a>(done: &'a [Done], back: &[(i64, i64)]) -> Vec<&'a Done> {
    let went_back = |done: &Done| {
        let after = |(sequence, position): &(i64, i64)| {
            *sequence > done.sequence && *position <= done.position
        };
        back.iter().any(after)
    };
    let mut still: Vec<&Done> = Vec::new();
    for done in done.iter().filter(|done| !went_back(done)) {
        still.retain(|before| before.position < done.position);
        still.push(done);
    }
    still
}

fn stand(state: &str, decisions: &[Decision], done: &[&Done]) -> Stand {
    let last = decisions.last().map(|d| d.decision.as_str());
    match (state, last) {
        ("refused", _) => Stand::Refused,
        ("closed", Some("served")) => Stand::Served,
        ("closed", _) => Stand::Withdrawn,
        _ if done.iter().any(|d| d.kind == OperationKind::Release) => Stand::Released,
        _ if !done.is_empty() => Stand::InWork,
        (_, Some("reworked")) => Stand::InWork,
        (_, Some("sorted" | "sent-back" | "scrapped")) => Stand::Sorted,
        _ => Stand::Reported,
    }
}

/// The state in which a decision leaves a request.
pub fn state_after(decision: &str) -> &'static str {
    match decision {
        "refused" => "refused",
        "withdrawn" | "served" => "closed",
        _ => "open",
    }
}

/// Writes a decision with its journal entry; the entry's sequence.
pub async fn decide(
    change: &mut Change,
    request: &Named,
    (decision, reason): (&str, &str),
    by: &str,
    more: serde_json::Value,
) -> Result<i64, AppError> {
    let mut content = json!({ "reason": reason, "by": by });
    if let (Some(content), serde_json::Value::Object(more)) = (content.as_object_mut(), more) {
        content.extend(more);
    }
    let subject = Subject::new("request", format!("R{}", request.number));
    let kind = format!("request.{decision}");
    let sequence = change.journal(&kind, subject, content).await?;
    let now = change.now();
    sqlx::query!(
        "insert into request_decision (journal_sequence, request_id, decision, reason, decided_by, decided_ms)
         values (?, ?, ?, ?, ?, ?)",
        sequence,
        request.id,
        decision,
        reason,
        by,
        now,
    )
    .execute(change.connection())
    .await?;
    let state = state_after(decision);
    sqlx::query!(
        "update request set state = ? where id = ?",
        state,
        request.id
    )
    .execute(change.connection())
    .await?;
    Ok(sequence)
}

/// A decision that takes nothing but a reason.
struct Plain {
    step: Step,
    decision: &'static str,
    verb: &'static str,
    detail: &'static str,
    answer: &'static str,
    hint: &'static str,
}

const PLAIN: [Plain; 5] = [
    Plain {
        step: Step::Refuse,
        decision: "refused",
        verb: "Refuse",
        detail: "it is not served here",
        answer: "Refuse",
        hint: "what cannot be done here, and who may do it",
    },
    Plain {
        step: Step::Withdraw,
        decision: "withdrawn",
        verb: "Withdraw",
        detail: "nobody asks for it any more",
        answer: "Withdraw",
        hint: "who no longer asks for it, and why",
    },
    Plain {
        step: Step::Reopen,
        decision: "reopened",
        verb: "Take up again",
        detail: "it waits to be sorted",
        answer: "Take up again",
        hint: "what has changed",
    },
    Plain {
        step: Step::SendBack,
        decision: "sent-back",
        verb: "Send back",
        detail: "what was done counts no more",
        answer: "Begin anew with",
        hint: "what was found: crack, size, coupon, powder",
    },
    Plain {
        step: Step::Scrap,
        decision: "scrapped",
        verb: "Scrap",
        detail: "the piece is thrown away, and another is asked for",
        answer: "Scrap the piece of",
        hint: "what is wrong with it, and who has looked at it",
    },
];

fn plain(word: &str) -> Result<&'static Plain, AppError> {
    let found = PLAIN.iter().find(|plain| plain.step.as_str() == word);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("act '{word}'"),
    })
}

/// What may be decided where a request stands, with its words and address.
pub(super) fn open_to(stand: Stand, number: i64) -> Vec<(&'static str, String)> {
    PLAIN
        .iter()
        .filter(|plain| stand.after(plain.step).is_ok())
        .map(|plain| {
            let path = format!("/requests/{number}/decide/{}", plain.step);
            (plain.verb, path)
        })
        .collect()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct ReasonForm {
    reason: String,
}

/// The request and its history, where a step is legal.
pub(super) async fn legal(
    connection: &mut SqliteConnection,
    number: &str,
    step: Step,
) -> Result<(Named, History), AppError> {
    let request = named(&mut *connection, number).await?;
    let history = History::load(connection, &request).await?;
    let legal = history.stand.after(step);
    legal.map_err(|fault| AppError::Conflict(fault.to_string()))?;
    Ok((request, history))
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path((number, word)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let plain = plain(&word)?;
    let mut reading = state.db.read.acquire().await?;
    let (request, _) = legal(&mut reading, &number, plain.step).await?;
    decision_page(
        &visit,
        &request,
        plain,
        ReasonForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((number, word)): Path<(String, String)>,
    Posted(form): Posted<ReasonForm>,
) -> Result<Response, AppError> {
    let plain = plain(&word)?;
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let Some(reason) = reason else {
        let mut reading = state.db.read.acquire().await?;
        let (request, _) = legal(&mut reading, &number, plain.step).await?;
        return decision_page(&visit, &request, plain, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let (request, _) = legal(change.connection(), &number, plain.step).await?;
    if let Some(fault) = in_the_way(&mut change, &request, plain.step).await? {
        drop(change);
        errors.add("reason", fault);
        return decision_page(&visit, &request, plain, form, errors).await;
    }
    let told = (plain.decision, reason.as_str());
    let journal = decide(&mut change, &request, told, &who.name, json!({})).await?;
    let text = format!("R{}: {}, journal {journal}.", request.number, plain.detail);
    let location = format!("/requests/{}", request.number);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// What keeps a step from being taken though it is legal: its machine is retired, its tag hangs on another
/// part by now, or its interim part is still out.
pub async fn in_the_way(
    change: &mut Change,
    request: &Named,
    step: Step,
) -> Result<Option<String>, AppError> {
    match step {
        Step::Reopen => {
            if let Some(reason) = retired_reason(change.connection(), &request.asset_code).await? {
                return Ok(Some(format!(
                    "{} is retired ({reason}); bring it back first",
                    request.asset
                )));
            }
            let details = detail::history(change.connection(), request.number).await?;
            let tag = details
                .first()
                .and_then(|newest| newest.told.tag.as_deref());
            hangs_elsewhere(change, tag, Some(request.number)).await
        }
        Step::SendBack | Step::Scrap | Step::Rework | Step::Withdraw => {
            if step != Step::Withdraw {
                let held = holds(change.connection(), Some(request.number)).await?;
                if let Some(open) = held.iter().find(|hold| hold.is_open()) {
                    return Ok(Some(format!(
                        "it is on hold: judge hold {} ({}), and say it there",
                        open.number, open.what
                    )));
                }
            }
            let out = queries::interim_out(change.connection(), request.id).await?;
            Ok(out.map(|number| {
                format!("interim part I{number} is still out for it; enter that it is off first")
            }))
        }
        _ => Ok(None),
    }
}

async fn decision_page(
    visit: &Visit,
    request: &Named,
    plain: &Plain,
    form: ReasonForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let location = format!("/requests/{}", request.number);
    let act = ActPage {
        page: visit
            .layout(Screen::Requests, &format!("Request R{}", request.number))
            .await?,
        answer: format!("{} R{}.", plain.answer, request.number),
        reason: format!("After it {}.", plain.detail),
        pairs: vec![
            ("Request", format!("R{}", request.number)),
            ("Machine", request.asset.clone()),
            ("Part", request.part_name.clone()),
        ],
        fields: vec![Field::area("reason", "Why", &form.reason, plain.hint)],
        action: format!("{location}/decide/{}", plain.step),
        verb: plain.verb,
        detail: plain.detail.to_owned(),
        back: ("Leave it as it is", location),
        ask: None,
        errors,
    };
    act.answer()
}
