//! A part on hold is judged by a named person: fit as it is, back to an operation, or scrapped.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::Came;
use mendpost_core::course::Step;
use mendpost_core::journal::Subject;
use mendpost_core::signature::Meaning;
use serde_json::json;
use sqlx::SqliteConnection;

use super::form::{JudgeForm, New};
use super::queries::{self, Hold, NewJudged, insert_judged};
use super::rework::{Back, go_back};
use super::rows::{self, HoldRow, hold_rows};
use super::{Verdict, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::requests::{History, Named, decide, named};
use crate::signature::{Ask, Proof, Secret, ask as asked, prove, sign};
use crate::situation;
use crate::words::authority::came_word;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "hold/judge.html")]
struct JudgePage {
    page: Layout,
    answer: String,
    reason: String,
    row: HoldRow,
    pairs: Vec<(&'static str, String)>,
    verdicts: Vec<(String, String)>,
    operations: Vec<(String, String)>,
    cames: Vec<(String, String)>,
    request_path: String,
    form: JudgeForm,
    /// None once it is judged.
    ask: Option<Ask>,
    errors: FieldErrors,
}

/// A hold with its request, and where its part may go back to.
struct Question {
    hold: Hold,
    request: Named,
    history: History,
    back: Option<Back>,
}

impl Question {
    async fn load(
        connection: &mut SqliteConnection,
        number: &str,
        now: i64,
    ) -> Result<Question, AppError> {
        let hold = queries::find(&mut *connection, number).await?;
        let request = named(&mut *connection, &hold.request.to_string()).await?;
        let history = History::load(&mut *connection, &request).await?;
        let now = situation::moment(now).map_err(AppError::internal)?;
        let situation = situation::load(connection, now).await?;
        let and_next = !history.back.is_empty();
        let back = Back::of(&situation, request.number, and_next);
        let back = back.filter(|_| history.stand.is_open());
        Ok(Question {
            back: back.filter(|back| !back.operations.is_empty()),
            hold,
            request,
            history,
        })
    }

    /// What may be judged where the request stands.
    fn verdicts(&self) -> Vec<(String, String)> {
        let legal = |step| self.history.stand.after(step).is_ok();
        let open = Verdict::ALL.iter().filter(|verdict| match verdict {
            Verdict::Fit => true,
            Verdict::Rework => self.back.is_some() && legal(Step::Rework),
            Verdict::Scrap => legal(Step::Scrap),
        });
        open.map(|verdict| (verdict.to_string(), rows::verdict(*verdict).to_owned()))
            .collect()
    }

    /// Why this person may not judge it so.
    fn forbidden(&self, new: &New, who: &Who) -> Option<String> {
        let known = self.verdicts();
        if !known
            .iter()
            .any(|(verdict, _)| verdict == new.verdict.as_str())
        {
            return Some(format!(
                "a request that is {} is not {}",
                self.history.stand,
                rows::verdict(new.verdict).to_lowercase()
            ));
        }
        let own = new.verdict == Verdict::Fit && self.hold.person == who.id;
        own.then(|| "you put it on hold; somebody else lets it go again".to_owned())
    }
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let question = Question::load(&mut reading, &number, visit.now).await?;
    drop(reading);
    let form = JudgeForm::default();
    judge_page(&state, &visit, &who, question, form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<JudgeForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let proof = prove(&state, &visit, &who, &form.sign_passphrase)
        .await?
        .map_err(|fault| errors.add(SIGN_FIELD, fault))
        .ok();
    let mut change = Change::begin(&state, &who).await?;
    let question = Question::load(change.connection(), &number, visit.now).await?;
    if let Some(judged) = &question.hold.judged {
        return Err(AppError::Conflict(format!(
            "hold {number} was judged by {} already: {}",
            judged.by,
            rows::verdict(judged.verdict).to_lowercase()
        )));
    }
    let new = form.parse(question.back.as_ref(), &mut errors);
    if let Some(fault) = new.as_ref().and_then(|new| question.forbidden(new, &who)) {
        errors.add("verdict", fault);
    }
    let (Some(new), Some(proof), true) = (new, proof, errors.is_empty()) else {
        drop(change);
        return judge_page(&state, &visit, &who, question, form, errors).await;
    };
    let text = carry_out(&mut change, &question, &new, &who, &proof).await?;
    let location = format!("/requests/{}", question.request.number);
    change
        .finish(&who, &location, Notice::done("JUDGED", text))
        .await
}

/// Records the judgement with its signature, and does what follows from it; what there is to say.
async fn carry_out(
    change: &mut Change,
    question: &Question,
    new: &New,
    who: &Who,
    proof: &Proof,
) -> Result<String, AppError> {
    let (hold, request) = (&question.hold, &question.request);
    let subject = Subject::new("request", format!("R{}", request.number));
    let content = json!({
        "hold": hold.number,
        "verdict": new.verdict,
        "said_by": new.said_by,
        "came": new.came,
        "reason": new.reason,
        "by": who.name,
    });
    let meaning = Meaning::JudgePart;
    let sequence = sign(change, "request.judged", subject, content, meaning, proof).await?;
    let judged = NewJudged {
        verdict: new.verdict,
        said_by: &new.said_by,
        came: new.came,
        reason: &new.reason,
    };
    insert_judged(change, hold.number, &judged, who, sequence).await?;
    let number = request.number;
    Ok(match (new.verdict, &question.back, &new.position) {
        (Verdict::Rework, Some(back), Some((position, name))) => {
            let at = (*position, new.reason.as_str());
            go_back(change, request, back, at, who).await?;
            format!("R{number} goes back to {position}, {name}. Journal {sequence}. Plan again.")
        }
        (Verdict::Scrap, ..) => {
            // With the piece every other question about it is gone.
            let others = queries::holds(change.connection(), Some(number)).await?;
            for other in others.iter().filter(|other| other.is_open()) {
                insert_judged(change, other.number, &judged, who, sequence).await?;
            }
            let told = ("scrapped", new.reason.as_str());
            decide(
                change,
                request,
                told,
                &who.name,
                json!({ "hold": hold.number }),
            )
            .await?;
            format!(
                "The piece of R{number} is scrapped, and R{number} begins anew. Journal {sequence}. Plan again."
            )
        }
        _ => format!("R{number} is fit as it is and goes on. Journal {sequence}."),
    })
}

async fn judge_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    question: Question,
    form: JudgeForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let (hold, request) = (&question.hold, &question.request);
    let title = format!("Hold {}", hold.number);
    let layout = visit.layout(Screen::Requests, &title).await?;
    let mut asks = match hold.is_open() {
        true => Some(asked(state, visit, who, Meaning::JudgePart).await?),
        false => None,
    };
    if let Some(asks) = &mut asks {
        errors.of(SIGN_FIELD).clone_into(&mut asks.error);
    }
    let row = hold_rows(&layout, std::slice::from_ref(hold)).remove(0);
    let own = hold.person == who.id;
    let page = JudgePage {
        answer: match hold.is_open() {
            true => format!("Judge the part of R{}, {}.", request.number, request.part_name),
            false => format!("{}: R{}, {}.", sentence(&row.verdict), request.number, request.part_name),
        },
        reason: match hold.is_open() && own {
            true => "You put it on hold: you may send it back or scrap it, and somebody else lets it go.".to_owned(),
            false => String::new(),
        },
        pairs: vec![
            ("Request", format!("R{}", request.number)),
            ("Machine", request.asset.clone()),
            ("Part", request.part_name.clone()),
            ("Held for", row.cause.to_owned()),
            ("What was found", row.what.clone()),
            ("Held by", row.by.clone()),
        ],
        verdicts: question.verdicts(),
        operations: question.back.as_ref().map(Back::choices).unwrap_or_default(),
        cames: Came::ALL
            .iter()
            .map(|came| (came.to_string(), came_word(*came).to_owned()))
            .collect(),
        request_path: format!("/requests/{}", request.number),
        row,
        form,
        ask: asks,
        page: layout,
        errors,
    };
    page_with(page.errors.status(), &page)
}

/// The address of a hold, for the template.
impl JudgePage {
    fn action(&self) -> String {
        path(self.row.number)
    }
}
