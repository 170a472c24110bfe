//! Anti-forgery: whatever changes something must carry the secret of the session it comes from.
//!
//! The check stands before all routes, so none can be without it. `Origin` and `Sec-Fetch-Site` are
//! checked before, by tower-http.

use axum::extract::Request;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use tower_sessions::session::Id;

use super::Visit;
use crate::error::AppError;
use crate::once::{self, Once};
use crate::sent;
use crate::{BODY_LIMIT, FILES_LIMIT};

/// A new secret: 128 random bits, from the generator that also makes session ids.
pub fn new() -> String {
    Id::default().to_string()
}

/// Lets pass what reads, and what carries the session's token.
pub async fn check(mut visit: Visit, request: Request, next: Next) -> Response {
    if request.method().is_safe() {
        return next.run(request).await;
    }
    // Files are taken from those who are signed in only.
    let files_limit = match visit.who {
        Some(_) => FILES_LIMIT,
        None => BODY_LIMIT,
    };
    let (mut request, sent) = match sent::read(request, files_limit).await {
        Ok(read) => read,
        Err(error) => return error.into_response(),
    };
    if !matches(visit.token.as_deref(), sent.csrf.as_deref()) {
        return AppError::Refused(STALE.to_owned()).into_response();
    }
    if let Some(who) = &mut visit.who {
        who.once = Once::of(&sent);
    }
    let path = request.uri().path().to_owned();
    request.extensions_mut().insert(visit.clone());
    let response = next.run(request).await;
    once::answer_again(&visit, sent, &path, response).await
}

const STALE: &str = "this page is too old, or you have signed in or out since it was opened, so \
                     nothing was done; go back, open it again, and repeat the step";

fn matches(expected: Option<&str>, given: Option<&str>) -> bool {
    // Hashed first, so that the time of comparing tells nothing about the secret.
    let digest = |text: &str| Sha256::digest(text.as_bytes());
    matches!((expected, given), (Some(expected), Some(given)) if digest(expected) == digest(given))
}
