//! Whether a part is released by somebody else than who sprayed it: so unless the site says otherwise.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::signature::Meaning;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteExecutor;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Layout, Notice, Screen, page};
use crate::people::{Visit, Who};
use crate::signature::{ask as asked, prove, sign};

pub const PATH: &str = "/site/release";
pub const CHANGE: &str = "/site/release/change";

/// Whether somebody else than who sprayed a part releases it.
pub async fn other_releases(executor: impl SqliteExecutor<'_>) -> Result<bool, sqlx::Error> {
    let said = sqlx::query_scalar!(
        r#"select other_person as "other_person: bool" from release_rule
           order by journal_sequence desc limit 1"#
    )
    .fetch_optional(executor)
    .await?;
    Ok(said.unwrap_or(true))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct RuleForm {
    other: String,
    reason: String,
    /// What stood when the form was opened.
    stood: String,
    sign_passphrase: String,
}

#[derive(Template)]
#[template(path = "finish/rule.html")]
struct RulePage {
    page: Layout,
    answer: &'static str,
    /// What was said, the newest first: words, reason, by whom and when.
    said: Vec<(&'static str, String, String)>,
    may_change: bool,
}

const fn word(other: bool) -> &'static str {
    match other {
        true => "Somebody else than who sprayed a part releases it.",
        false => "Who sprayed a part may release it too.",
    }
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Site, "Who releases a part").await?;
    let said = sqlx::query!(
        r#"select other_person as "other_person: bool", reason, said_by, said_ms from release_rule
           order by journal_sequence desc"#
    )
    .map(|row| {
        let by = format!("{}, {}", row.said_by, layout.moment(&row.said_ms));
        (word(row.other_person), row.reason, by)
    })
    .fetch_all(&state.db.read)
    .await?;
    page(&RulePage {
        answer: word(other_releases(&state.db.read).await?),
        said,
        may_change: visit.may(Act::SetUpSite),
        page: layout,
    })
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
) -> Result<Response, AppError> {
    let stands = yes_no(other_releases(&state.db.read).await?);
    let form = RuleForm {
        stood: stands.to_owned(),
        ..RuleForm::default()
    };
    form_page(&state, &visit, &who, &form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<RuleForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let other = match form.other.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => {
            errors.add("other", "choose one of the two");
            None
        }
    };
    let reason = errors.check("reason", text(&form.reason, 400));
    let proof = prove(&state, &visit, &who, &form.sign_passphrase)
        .await?
        .map_err(|fault| errors.add(SIGN_FIELD, fault))
        .ok();
    let mut change = Change::begin(&state, &who).await?;
    let stands = other_releases(change.connection()).await?;
    if form.stood != yes_no(stands) {
        errors.add(
            "other",
            format!("it was changed meanwhile. {}", word(stands)),
        );
    } else if other == Some(stands) {
        errors.add("other", "that is so already");
    }
    let (Some(other), Some(reason), Some(proof), true) = (other, reason, proof, errors.is_empty())
    else {
        drop(change);
        return form_page(&state, &visit, &who, &form, errors).await;
    };
    let subject = Subject::new("release-rule", 1);
    let content = json!({ "other_person": other, "reason": reason, "said_by": who.name });
    let (kind, meaning) = ("release-rule.set", Meaning::SetRule);
    let sequence = sign(&mut change, kind, subject, content, meaning, &proof).await?;
    let now = change.now();
    sqlx::query!(
        "insert into release_rule (journal_sequence, other_person, reason, said_by, said_ms)
         values (?, ?, ?, ?, ?)",
        sequence,
        other,
        reason,
        who.name,
        now,
    )
    .execute(change.connection())
    .await?;
    let text = format!("{} Journal {sequence}.", word(other));
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

const fn yes_no(other: bool) -> &'static str {
    if other { "yes" } else { "no" }
}

async fn form_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    form: &RuleForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let stands = other_releases(&state.db.read).await?;
    let options = [true, false].map(|other| (yes_no(other).to_owned(), word(other).to_owned()));
    let act = ActPage {
        page: visit.layout(Screen::Site, "Who releases a part").await?,
        answer: "Say who releases a part that was built here.".to_owned(),
        reason:
            "Two pairs of eyes find what one has missed; change it only if there is no other way."
                .to_owned(),
        pairs: vec![("Until now", word(stands).to_owned())],
        fields: vec![
            Field::hidden("stood", &yes_no(stands)),
            Field::choose("other", "From now on", &form.other, options.to_vec(), ""),
            Field::area("reason", "Why", &form.reason, "who is there, for how long"),
        ],
        action: CHANGE.to_owned(),
        verb: "Sign",
        detail: "it is so from now on".to_owned(),
        back: ("Leave it as it is", PATH.to_owned()),
        ask: Some(asked(state, visit, who, Meaning::SetRule).await?),
        errors,
    };
    act.answer()
}
