//! What each thing that a part does asks for on this site: whose yes to build it, and whose to release
//! it. The usual rules stand in core; what the site asks for otherwise is set here, signed.

mod form;
mod pages;
mod queries;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::{Flag, FlagRule};
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::signature::Meaning;
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
use crate::situation::rules;
use crate::version::{Stale, is_current};
use crate::words::authority::rule as rule_words;
use crate::words::work::{flag as flag_word, sentence};
use form::RuleForm;
use pages::{Shown, both, edit_page, table_page};
use queries::{Set, insert, set};

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, show)
        .get("/site/authority/{flag}", Act::SetUpSite, open)
        .post("/site/authority/{flag}", Act::SetUpSite, save)
}

/// Where the table stands.
const PATH: &str = "/site/authority";

/// What a flag asks for now, and who said so.
struct Stands {
    rule: FlagRule,
    /// None: the site has never said anything, and it is the usual one.
    set: Option<Set>,
}

impl Stands {
    async fn load(connection: &mut sqlx::SqliteConnection, flag: Flag) -> Result<Self, AppError> {
        Ok(Stands {
            rule: rules::load(&mut *connection).await?.of(flag),
            set: set(connection).await?.remove(&flag),
        })
    }

    /// The version that a form of it carries: how often it was set.
    fn version(&self) -> i64 {
        self.set.as_ref().map_or(0, |set| set.times)
    }
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let rules = rules::load(&mut reading).await?;
    let set = set(&mut reading).await?;
    drop(reading);
    table_page(&visit, &rules, &set).await
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(word): Path<String>,
) -> Result<Response, AppError> {
    let flag = settable(&word)?;
    let mut reading = state.db.read.begin().await?;
    let stands = Stands::load(&mut reading, flag).await?;
    drop(reading);
    let form = RuleForm::of(&stands.rule, stands.version());
    let shown = Shown::default();
    edit_page(&state, &visit, &who, (flag, &stands), form, shown).await
}

async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(word): Path<String>,
    Posted(mut form): Posted<RuleForm>,
) -> Result<Response, AppError> {
    let flag = settable(&word)?;
    let mut errors = FieldErrors::default();
    let read = form.parse(flag, &mut errors);
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let mut change = Change::begin(&state, &who).await?;
    let stands = Stands::load(change.connection(), flag).await?;
    let version = stands.version();
    let is_current = is_current(&form.version, version);
    if is_current && read.as_ref().is_some_and(|(rule, _)| *rule == stands.rule) {
        errors.add_whole("that is what stands already; change something, or leave it as it is");
    }
    let (Some((rule, reason)), Some(proof), true) = (read, proof, errors.is_empty()) else {
        drop(change);
        let shown = Shown::faulty(errors);
        return edit_page(&state, &visit, &who, (flag, &stands), form, shown).await;
    };
    let subject = Subject::new("flag", flag);
    if !is_current {
        drop(change);
        let fields = both(&stands, &rule, &reason);
        let stale = Stale::of(&state.db.read, &subject, version, fields).await?;
        form.version = stale.version.to_string();
        let shown = Shown::stale(stale);
        return edit_page(&state, &visit, &who, (flag, &stands), form, shown).await;
    }
    let content = json!({
        "version": version + 1,
        "before": said(&stands.rule),
        "after": said(&rule),
        "reason": reason,
        "by": who.name,
    });
    let meaning = Meaning::SetRule;
    let journal = sign(&mut change, "rule.set", subject, content, meaning, &proof).await?;
    insert(&mut change, journal, flag, &rule, (&reason, &who.name)).await?;
    let text = format!(
        "{}: {}. Journal {journal}. Plan again to count with it.",
        sentence(flag_word(flag)),
        rule_words(&rule)
    );
    let notice = Notice::done("SIGNED", text);
    change.finish(&who, PATH, notice).await
}

/// The flag of an address, if its rule is for the site to set.
fn settable(word: &str) -> Result<Flag, AppError> {
    match word.parse() {
        Ok(Flag::Unknown) => Err(AppError::Conflict(
            "what nobody has spoken about is never built; say in the catalogue what the part does"
                .to_owned(),
        )),
        Ok(flag) => Ok(flag),
        Err(_) => Err(AppError::NotFound {
            what: format!("rule '{word}'"),
        }),
    }
}

/// What the journal keeps of a rule.
fn said(rule: &FlagRule) -> Value {
    json!({
        "build": rule.build,
        "to_build": rule.to_build,
        "build_written": rule.build_written,
        "to_release": rule.to_release,
        "release_written": rule.release_written,
    })
}
