//! Recording what somebody outside the crew answered: a yes, a no, or that an answer is awaited.
//! Mendpost gives none.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::{About, Answer, Said};
use mendpost_core::code::RecipeCode;
use mendpost_core::journal::Subject;
use mendpost_core::signature::Meaning;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::answer_page::answer_page;
use super::queries::{self, OpenRequest, open_request};
use crate::AppState;
use crate::attachment::AttachmentHash;
use crate::attachment::queries::names;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice, local_time, optional_text, text};
use crate::page::act::SIGN_FIELD;
use crate::page::{Notice, moment};
use crate::people::{Visit, Who};
use crate::signature::{prove, sign};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct AnswerForm {
    pub about: String,
    pub who: String,
    pub said: String,
    pub came: String,
    pub name: String,
    pub words: String,
    pub limits: String,
    pub next_look: String,
    pub only: String,
    pub given: String,
    pub until: String,
    pub expected: String,
    pub paper: String,
    sign_passphrase: String,
}

/// The choice that limits a yes to no recipe.
pub(super) const ANY: &str = "any";
/// The choice of no paper.
pub(super) const NONE: &str = "none";

/// An answer as it will be recorded.
#[derive(Debug)]
pub struct NewAnswer {
    pub answer: Answer,
    /// When the part is to be looked at again, in the same person's words; empty if nothing was said.
    pub next_look: String,
    pub given_ms: i64,
    /// Who typed it in; empty where it came with the site's files.
    pub typed_by: String,
    /// The paper itself, by the hash of its file.
    pub paper: Option<AttachmentHash>,
}

impl NewAnswer {
    fn until_ms(&self) -> Option<i64> {
        match &self.answer.said {
            Said::Yes { until, .. } => until.map(|at| at.timestamp_millis()),
            _ => None,
        }
    }

    fn expected_ms(&self) -> Option<i64> {
        match &self.answer.said {
            Said::Awaited { expected } => expected.map(|at| at.timestamp_millis()),
            _ => None,
        }
    }

    fn only(&self) -> Option<&(RecipeCode, i64)> {
        match &self.answer.said {
            Said::Yes { only, .. } => only.as_ref(),
            _ => None,
        }
    }

    /// What the journal keeps of it.
    pub fn content(&self) -> serde_json::Value {
        let answer = &self.answer;
        json!({
            "about": answer.about,
            "who": answer.who,
            "name": answer.name,
            "said": said_column(&answer.said),
            "came": answer.came,
            "words": answer.words,
            "limits": answer.limits,
            "next_look": self.next_look,
            "only": self.only(),
            "given_ms": self.given_ms,
            "until_ms": self.until_ms(),
            "expected_ms": self.expected_ms(),
            "typed_by": self.typed_by,
            "paper": self.paper.map(|hash| hash.to_string()),
        })
    }
}

fn said_column(said: &Said) -> &'static str {
    match said {
        Said::Yes { .. } => "yes",
        Said::No => "no",
        Said::Awaited { .. } => "awaited",
    }
}

/// Writes an answer; its id.
pub async fn insert(
    connection: &mut SqliteConnection,
    request: Uuid,
    new: &NewAnswer,
) -> Result<Uuid, sqlx::Error> {
    let id = Uuid::now_v7();
    let answer = &new.answer;
    let (about, who) = (answer.about.as_str(), answer.who.as_str());
    let (said, came) = (said_column(&answer.said), answer.came.as_str());
    let only = new.only();
    let (only_recipe, only_revision) = (only.map(|o| o.0.as_str()), only.map(|o| o.1));
    let (until, expected) = (new.until_ms(), new.expected_ms());
    let paper = new.paper.as_ref().map(|hash| hash.0.as_slice());
    sqlx::query!(
        "insert into answer (id, request_id, about, who, name, said, came, words, limits, next_look, only_recipe,
           only_revision, until_ms, expected_ms, given_ms, typed_by, paper_hash)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        request,
        about,
        who,
        answer.name,
        said,
        came,
        answer.words,
        answer.limits,
        new.next_look,
        only_recipe,
        only_revision,
        until,
        expected,
        new.given_ms,
        new.typed_by,
        paper,
    )
    .execute(connection)
    .await?;
    Ok(id)
}

/// What an answer may be about: the recipes of the part, and the papers of the request.
pub(super) struct Choices {
    pub recipes: Vec<(String, i64)>,
    pub papers: Vec<(AttachmentHash, String)>,
}

impl Choices {
    pub async fn load(state: &AppState, request: &OpenRequest) -> Result<Self, AppError> {
        Ok(Choices {
            recipes: queries::revisions(&state.db.read, request.id).await?,
            papers: names(&state.db.read, request.number).await?,
        })
    }
}

impl AnswerForm {
    fn blank(about: About) -> Self {
        AnswerForm {
            about: about.to_string(),
            said: "yes".to_owned(),
            only: ANY.to_owned(),
            paper: NONE.to_owned(),
            ..AnswerForm::default()
        }
    }

    fn parse(
        &self,
        visit: &Visit,
        who: &Who,
        choices: &Choices,
        errors: &mut FieldErrors,
    ) -> Option<NewAnswer> {
        let about = errors.check("about", choice(&self.about));
        let whose = errors.check("who", choice(&self.who));
        let came = errors.check("came", choice(&self.came));
        let name = errors.check("name", text(&self.name, 80));
        let words = errors.check("words", text(&self.words, 2000));
        let limits = errors.check("limits", optional_text(&self.limits, 2000));
        let next_look = errors.check("next_look", optional_text(&self.next_look, 200));
        let given_ms = self.given(visit, errors);
        let said = self.said(visit, choices, errors);
        let paper = self.paper(choices, errors);
        Some(NewAnswer {
            answer: Answer {
                about: about?,
                who: whose?,
                name: name?,
                came: came?,
                words: words?,
                limits: limits?.unwrap_or_default(),
                said: said?,
            },
            next_look: next_look?.unwrap_or_default(),
            given_ms: given_ms?,
            typed_by: who.name.clone(),
            paper: paper?,
        })
    }

    fn given(&self, visit: &Visit, errors: &mut FieldErrors) -> Option<i64> {
        if self.given.trim().is_empty() {
            return Some(visit.now);
        }
        let given = errors.check("given", local_time(&self.given, visit.site.zone))?;
        if given > visit.now {
            let now = moment(visit.now, visit.site.zone);
            let fault = format!("that is still to come: it is {now}; give when it was said");
            errors.add("given", fault);
            return None;
        }
        Some(given)
    }

    fn said(&self, visit: &Visit, choices: &Choices, errors: &mut FieldErrors) -> Option<Said> {
        let is_yes = self.said == "yes";
        let is_awaited = self.said == "awaited";
        for (name, value, belongs, word) in [
            ("until", &self.until, is_yes, "yes"),
            ("only", &self.only.replace(ANY, ""), is_yes, "yes"),
            ("next_look", &self.next_look, is_yes, "yes"),
            ("expected", &self.expected, is_awaited, "not yet"),
        ] {
            if !belongs && !value.trim().is_empty() {
                errors.add(
                    name,
                    format!("only where the answer is '{word}'; leave it empty"),
                );
            }
        }
        match self.said.as_str() {
            "yes" => Some(Said::Yes {
                until: self.to_come("until", &self.until, visit, errors)?,
                only: self.only(choices, errors)?,
            }),
            "no" => Some(Said::No),
            "awaited" => Some(Said::Awaited {
                expected: self.to_come("expected", &self.expected, visit, errors)?,
            }),
            _ => {
                errors.add(
                    "said",
                    "say what was answered: yes, no, or nothing yet".to_owned(),
                );
                None
            }
        }
    }

    /// A time to come; within: none if nothing was typed.
    fn to_come(
        &self,
        field: &str,
        typed: &str,
        visit: &Visit,
        errors: &mut FieldErrors,
    ) -> Option<Option<chrono::DateTime<chrono::Utc>>> {
        if typed.trim().is_empty() {
            return Some(None);
        }
        let zone = visit.site.zone;
        let at = errors.check(field, local_time(typed, zone))?;
        if at <= visit.now {
            let now = moment(visit.now, zone);
            errors.add(
                field,
                format!(
                    "that is over already: it is {now}; give a time to come, or leave it empty"
                ),
            );
            return None;
        }
        chrono::DateTime::from_timestamp_millis(at).map(Some)
    }

    fn only(
        &self,
        choices: &Choices,
        errors: &mut FieldErrors,
    ) -> Option<Option<(RecipeCode, i64)>> {
        if ["", ANY].contains(&self.only.as_str()) {
            return Some(None);
        }
        let mut known = choices.recipes.iter();
        let found = known.find(|(code, revision)| self.only == format!("{code}/{revision}"));
        let Some((code, revision)) = found else {
            errors.add(
                "only",
                "that is no recipe of this part; choose from the list".to_owned(),
            );
            return None;
        };
        Some(code.parse().ok().map(|code| (code, *revision)))
    }

    fn paper(&self, choices: &Choices, errors: &mut FieldErrors) -> Option<Option<AttachmentHash>> {
        if ["", NONE].contains(&self.paper.as_str()) {
            return Some(None);
        }
        let mut papers = choices.papers.iter();
        let found = papers.find(|(hash, _)| hash.to_string() == self.paper);
        if found.is_none() {
            errors.add(
                "paper",
                "that is not with this request; choose from the list".to_owned(),
            );
        }
        found.map(|(hash, _)| Some(*hash))
    }
}

#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    about: Option<String>,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    axum::extract::Query(asked): axum::extract::Query<Asked>,
) -> Result<Response, AppError> {
    let request = open_request(&state.db.read, &number).await?;
    let about = asked.about.and_then(|word| word.parse().ok());
    let form = AnswerForm::blank(about.unwrap_or(About::Build));
    answer_page(&state, &visit, &who, &request, form, FieldErrors::default()).await
}

pub(super) async fn record(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<AnswerForm>,
) -> Result<Response, AppError> {
    let request = open_request(&state.db.read, &number).await?;
    let choices = Choices::load(&state, &request).await?;
    let mut errors = FieldErrors::default();
    let new = form.parse(&visit, &who, &choices, &mut errors);
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(new), Some(proof), true) = (new, proof, errors.is_empty()) else {
        return answer_page(&state, &visit, &who, &request, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let request = open_request(change.connection(), &number).await?;
    insert(change.connection(), request.id, &new).await?;
    let subject = Subject::new("request", format!("R{}", request.number));
    let content = new.content();
    let meaning = Meaning::RecordYes;
    let journal = sign(
        &mut change,
        "answer.recorded",
        subject,
        &content,
        meaning,
        &proof,
    )
    .await?;
    let what = match &new.answer.said {
        Said::Yes { .. } => "A yes",
        Said::No => "A no",
        Said::Awaited { .. } => "An awaited answer",
    };
    let text = format!(
        "{what} of {} for R{}, journal {journal}. Plan again to count with it.",
        new.answer.name, request.number
    );
    let location = format!("/requests/{}", request.number);
    change
        .finish(&who, &location, Notice::done("SIGNED", text))
        .await
}
