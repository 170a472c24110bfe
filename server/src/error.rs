//! The one error type of the web service, and how it becomes a page or a problem document.

use std::error::Error;
use std::fmt::Display;
use std::path::Path;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Request, State};
use axum::http::header::{ACCEPT, CACHE_CONTROL, CONTENT_LENGTH, CONTENT_TYPE};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use mendpost_core::people::Act;
use serde_json::json;
use thiserror::Error;
use tower_http::csrf::ProtectionError;
use uuid::Uuid;

use crate::AppState;
use crate::form::FieldErrors;
use crate::health::holder::programs_that_hold;
use crate::health::{ReadOnly, Trouble};
use crate::once::{Answered, Repeated};
use crate::page::{ErrorPage, Layout};
use crate::people::Visit;
use crate::request_id::RequestId;
use crate::skin::Skin;

/// Everything that can go wrong in answering a request. Each variant says which status it becomes.
#[derive(Debug, Error)]
pub enum AppError {
    /// 404. What was looked for, as 'request 17'.
    #[error("there is no {what}")]
    NotFound { what: String },
    /// 401. Nobody is signed in.
    #[error("sign in first")]
    SignInNeeded,
    /// 403. The person's role may not do this.
    #[error("your role may not {act}; ask somebody whose role may")]
    NotAllowed { act: Act },
    /// 403. The request itself is not trusted; says why and what to do.
    #[error("{0}")]
    Refused(String),
    /// 409. The site is no longer, or not yet, in the state that the act needs.
    #[error("{0}")]
    Conflict(String),
    /// 303 to where it led then. The same form was sent before and done.
    #[error("this was done before")]
    DoneBefore(Answered),
    /// 409. A form of the same number was sent before, with other fields, and done.
    #[error("this form was sent before, with other entries")]
    SentBefore(Answered),
    /// 400, or another 4xx that the server's own parts ask for: the request cannot be read.
    #[error("{detail}")]
    Unreadable { status: StatusCode, detail: String },
    /// 422. Values that break a rule, for callers that have no form to show again.
    #[error("some values are not right")]
    Invalid(FieldErrors),
    /// 413.
    #[error("that is too much at once; at most {} can be sent", binary_size(*limit_kib))]
    TooLarge { limit_kib: usize },
    /// 503. Nothing is written as long as this service runs.
    #[error("{} {}", .0.what, .0.remedy)]
    ReadOnly(ReadOnly),
    /// 507 when the disk is full, 503 for other troubles of disk or database and when it is busy; else
    /// 500. The cause goes to the log only.
    #[error(transparent)]
    Database(#[from] sqlx::Error),
    /// 500.
    #[error(transparent)]
    Template(#[from] askama::Error),
    /// 500. A fault in the program or the machine.
    #[error(transparent)]
    Internal(Box<dyn Error + Send + Sync>),
}

impl AppError {
    /// A fault that the person in front of the page can do nothing about.
    pub fn internal(cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        AppError::Internal(cause.into())
    }

    fn status(&self) -> StatusCode {
        match self {
            AppError::NotFound { .. } => StatusCode::NOT_FOUND,
            AppError::SignInNeeded => StatusCode::UNAUTHORIZED,
            AppError::NotAllowed { .. } | AppError::Refused(_) => StatusCode::FORBIDDEN,
            AppError::DoneBefore(_) => StatusCode::SEE_OTHER,
            AppError::Conflict(_) | AppError::SentBefore(_) => StatusCode::CONFLICT,
            AppError::Unreadable { status, .. } => *status,
            AppError::Invalid(_) => StatusCode::UNPROCESSABLE_ENTITY,
            AppError::TooLarge { .. } => StatusCode::PAYLOAD_TOO_LARGE,
            AppError::Database(sqlx::Error::PoolTimedOut) | AppError::ReadOnly(_) => {
                StatusCode::SERVICE_UNAVAILABLE
            }
            AppError::Database(error) if let Some(trouble) = Trouble::of(error) => trouble.status(),
            AppError::Database(_) | AppError::Template(_) | AppError::Internal(_) => {
                StatusCode::INTERNAL_SERVER_ERROR
            }
        }
    }
}

impl From<tower_sessions::session::Error> for AppError {
    fn from(error: tower_sessions::session::Error) -> Self {
        AppError::internal(error)
    }
}

impl IntoResponse for AppError {
    fn into_response(self) -> Response {
        let status = self.status();
        let mut problem = Problem::bare(status);
        if status.is_server_error() {
            problem.cause = Some(format!("{self:?}").into());
        } else {
            problem.detail = sentence(&self);
        }
        problem.tell_trouble(&self);
        if let AppError::Invalid(errors) = &self {
            problem.errors = errors.clone();
        }
        let repeated = match &self {
            AppError::DoneBefore(answered) => Some((answered, true)),
            AppError::SentBefore(answered) => Some((answered, false)),
            _ => None,
        };
        let mut response = status.into_response();
        if let Some((answered, same)) = repeated {
            response.extensions_mut().insert(Repeated {
                answered: answered.clone(),
                same,
            });
        }
        response.extensions_mut().insert(problem);
        response
    }
}

/// What an error page or problem document says.
#[derive(Debug, Clone)]
pub struct Problem {
    pub status: StatusCode,
    /// What happened and what to do, in whole sentences.
    pub detail: String,
    pub errors: FieldErrors,
    /// How to send a form on that was refused because it was sent before.
    pub resend: Option<Resend>,
    /// What is wrong with disk or database, for the service to remember.
    trouble: Option<Trouble>,
    /// What to do, where the status alone does not say it.
    act: Option<&'static str>,
    /// For the log only.
    cause: Option<Arc<str>>,
}

/// A form that can be sent on as a further change.
#[derive(Debug, Clone)]
pub struct Resend {
    /// Where to see what was done the first time.
    pub done: String,
    pub path: String,
    /// What was typed; none where a secret or a file was among it.
    pub fields: Option<Vec<(String, String)>>,
}

impl Problem {
    /// What can be said from the status alone.
    pub fn bare(status: StatusCode) -> Self {
        let detail = match status {
            StatusCode::NOT_FOUND => "There is no such page.",
            StatusCode::METHOD_NOT_ALLOWED => "This address cannot be used in that way.",
            StatusCode::PAYLOAD_TOO_LARGE => "That is too much at once.",
            StatusCode::UNSUPPORTED_MEDIA_TYPE => "Data in this form cannot be read here.",
            StatusCode::SERVICE_UNAVAILABLE => {
                "The service is busy. If this was to change something, look whether it was done \
                 before you repeat it."
            }
            status if status.is_server_error() => {
                "Something went wrong in the program. If this was to change something, look whether \
                 it was done before you repeat it. If it goes wrong again, tell whoever looks after \
                 Mendpost the number below."
            }
            _ => "The request cannot be read.",
        };
        Problem {
            status,
            detail: detail.to_owned(),
            errors: FieldErrors::default(),
            resend: None,
            trouble: None,
            act: None,
            cause: None,
        }
    }

    /// A trouble with disk or database is told in plain words, with what is certain of the change.
    fn tell_trouble(&mut self, error: &AppError) {
        match error {
            AppError::ReadOnly(_) => {
                self.act = Some(NOTHING_CHANGED);
                self.detail = sentence(error);
            }
            AppError::Database(error) if let Some(trouble) = Trouble::of(error) => {
                self.act = Some(match trouble {
                    Trouble::Failing => "Look at the disk.",
                    _ => NOTHING_CHANGED,
                });
                let (what, outcome) = (trouble.what(), trouble.outcome());
                self.detail = format!("{what} {outcome} {}", trouble.remedy());
                self.trouble = Some(trouble);
            }
            _ => (),
        }
    }

    /// Which programs hold a locked database, where the system tells.
    fn name_holders(&mut self, trouble: Trouble, file: &Path) {
        let holders = match trouble {
            Trouble::Locked => programs_that_hold(file),
            _ => Vec::new(),
        };
        if !holders.is_empty() {
            self.detail += &format!(" These have it open: {}.", holders.join(", "));
        }
    }

    /// What the status is called, as 'Not Found'.
    pub fn title(&self) -> &'static str {
        self.status.canonical_reason().unwrap_or("Error")
    }

    /// What to do, as the heading of the page.
    pub fn act(&self) -> &'static str {
        if let Some(act) = self.act {
            return act;
        }
        match self.status {
            StatusCode::UNAUTHORIZED => "Sign in.",
            StatusCode::FORBIDDEN => "Nothing was done.",
            StatusCode::NOT_FOUND => "Choose another page.",
            StatusCode::CONFLICT => "Look again before you go on.",
            StatusCode::PAYLOAD_TOO_LARGE => "Send less at once.",
            StatusCode::MISDIRECTED_REQUEST => "Use this service's own address.",
            StatusCode::UNPROCESSABLE_ENTITY => "Put the values right.",
            StatusCode::SERVICE_UNAVAILABLE => "Try again in a moment.",
            status if status.is_server_error() => "Try again.",
            _ => "Go back and try again.",
        }
    }

    fn log(&self) {
        let status = self.status.as_u16();
        if self.status.is_server_error() {
            let cause = self.cause.as_deref().unwrap_or("no cause given");
            tracing::error!(status, cause, "request failed");
        } else {
            tracing::info!(status, detail = self.detail, "request refused");
        }
    }

    /// RFC 9457. No `type`: each problem is what its status says, and `about:blank` is the default.
    fn document(&self, request: Uuid) -> serde_json::Value {
        let mut document = json!({
            "title": self.title(),
            "status": self.status.as_u16(),
            "detail": self.detail,
            "instance": format!("urn:uuid:{request}"),
        });
        if !self.errors.is_empty() {
            document["errors"] = self
                .errors
                .iter()
                .map(|(field, text)| json!({ "pointer": format!("#/{field}"), "detail": text }))
                .collect();
        }
        document
    }
}

/// Outermost but for headers and log: turns every failed answer into a page or a problem document,
/// also those that axum and the layers make without a body.
pub async fn render(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let json = prefers_json(request.headers());
    let skin = Skin::of(request.headers());
    let id = request
        .extensions()
        .get::<RequestId>()
        .map_or(Uuid::nil(), |id| id.0);
    let mut response = next.run(request).await;
    let status = response.status();
    if !(status.is_client_error() || status.is_server_error()) {
        return response;
    }
    let mut problem = match response.extensions_mut().remove::<Problem>() {
        Some(problem) => problem,
        // A form shown again with its faults is a page already.
        None if is_page(&response) => return response,
        None if response.extensions().get::<ProtectionError>().is_some() => Problem {
            detail: FOREIGN.to_owned(),
            ..Problem::bare(status)
        },
        None => Problem::bare(status),
    };
    if let Some(trouble) = problem.trouble {
        state.health.failed(trouble);
        problem.name_holders(trouble, &state.db.file);
    }
    problem.log();
    let layout = match response.extensions_mut().remove::<Visit>() {
        Some(visit) => Layout::of_error(&visit, problem.title()),
        None => Layout::bare(problem.title(), skin, state.clock.now()),
    };
    let body = if json {
        Ok((PROBLEM_JSON, problem.document(id).to_string()))
    } else {
        ErrorPage::new(layout, &problem, id)
            .render()
            .map(|page| (HTML, page))
    };
    let (media_type, body) = body.unwrap_or_else(|error| {
        tracing::error!(cause = %error, "the error page could not be made");
        (TEXT, problem.detail)
    });
    replace_body(response, media_type, body)
}

/// Whether the caller would rather have JSON than a page (RFC 9110, section 12.5.1).
pub fn prefers_json(headers: &HeaderMap) -> bool {
    let accept = headers
        .get(ACCEPT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or("");
    let weight = |wanted: &[&str]| {
        accept
            .split(',')
            .filter_map(|range| {
                let mut parts = range.split(';').map(str::trim);
                let media_type = parts.next()?;
                let quality = parts.find_map(|part| part.strip_prefix("q="));
                wanted
                    .contains(&media_type)
                    .then(|| quality.map_or(1.0, |quality| quality.parse().unwrap_or(0.0)))
            })
            .fold(0.0_f32, f32::max)
    };
    weight(&["application/json", "application/problem+json"]) > weight(&["text/html"])
}

const NOTHING_CHANGED: &str = "Nothing was changed.";
const PROBLEM_JSON: &str = "application/problem+json";
const HTML: &str = "text/html; charset=utf-8";
const TEXT: &str = "text/plain; charset=utf-8";
const FOREIGN: &str =
    "This was sent from another site, so nothing was done. Open the page here and do it again.";

fn is_page(response: &Response) -> bool {
    response
        .headers()
        .get(CONTENT_TYPE)
        .is_some_and(|media_type| media_type.as_bytes().starts_with(b"text/html"))
}

/// Keeps status, cookies, `Allow` and `Retry-After`.
fn replace_body(response: Response, media_type: &'static str, body: String) -> Response {
    let (mut parts, _) = response.into_parts();
    parts.headers.remove(CONTENT_LENGTH);
    parts.headers.remove(CACHE_CONTROL);
    parts
        .headers
        .insert(CONTENT_TYPE, HeaderValue::from_static(media_type));
    Response::from_parts(parts, body.into())
}

/// A limit as people say it: '12 MiB', '100 KiB'.
fn binary_size(kib: usize) -> String {
    if kib.is_multiple_of(1024) {
        format!("{} MiB", kib / 1024)
    } else {
        format!("{kib} KiB")
    }
}

/// The text of an error with a capital and a full stop, as a page shows it.
fn sentence(error: &impl Display) -> String {
    let text = error.to_string();
    let mut letters = text.chars();
    let capital = letters.next().map(char::to_uppercase).into_iter().flatten();
    let stop = if text.ends_with('.') { "" } else { "." };
    capital.chain(letters).chain(stop.chars()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn accepting(text: &'static str) -> HeaderMap {
        HeaderMap::from_iter([(ACCEPT, HeaderValue::from_static(text))])
    }

    /// A browser names HTML first and anything else last; a script asks for JSON.
    #[test]
    fn browsers_get_pages_and_scripts_get_documents() {
        assert!(!prefers_json(&HeaderMap::new()));
        assert!(!prefers_json(&accepting(
            "text/html,application/xhtml+xml,*/*;q=0.8"
        )));
        assert!(!prefers_json(&accepting(
            "text/html, application/json;q=0.5"
        )));
        assert!(prefers_json(&accepting("application/json")));
        assert!(prefers_json(&accepting(
            "text/html;q=0.5, application/problem+json"
        )));
    }

    #[test]
    fn errors_read_as_sentences_on_a_page() {
        let error = AppError::NotFound {
            what: "request 17".to_owned(),
        };
        assert_eq!(sentence(&error), "There is no request 17.");
    }
}
