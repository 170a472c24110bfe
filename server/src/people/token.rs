//! Anti-forgery: whatever changes something must carry the secret of the session it comes from.
//!
//! The check stands before all routes, so none can be without it. `Origin` and `Sec-Fetch-Site` are
//! checked before, by tower-http.

use axum::body::{Body, Bytes};
use axum::extract::{FromRequest, Request};
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use tower_sessions::session::Id;

use super::Visit;
use crate::BODY_LIMIT;
use crate::error::AppError;

/// A new secret: 128 random bits, from the generator that also makes session ids.
pub fn new() -> String {
    Id::default().to_string()
}

/// Lets pass what reads, and what carries the session's token: in the form field `csrf`, or in the
/// header `x-csrf` where a script sends something else than a form.
pub async fn check(visit: Visit, request: Request, next: Next) -> Response {
    if request.method().is_safe() {
        return next.run(request).await;
    }
    match carried(request).await {
        Ok((request, given)) if matches(visit.token.as_deref(), given.as_deref()) => {
            next.run(request).await
        }
        Ok(_) => AppError::Refused(STALE.to_owned()).into_response(),
        Err(error) => error.into_response(),
    }
}

const STALE: &str = "this page is too old, or you have signed in or out since it was opened, so \
                     nothing was done; go back, open it again, and repeat the step";

fn matches(expected: Option<&str>, given: Option<&str>) -> bool {
    // Hashed first, so that the time of comparing tells nothing about the secret.
    let digest = |text: &str| Sha256::digest(text.as_bytes());
    matches!((expected, given), (Some(expected), Some(given)) if digest(expected) == digest(given))
}

/// The token that a request carries, and the request with its body put back.
async fn carried(request: Request) -> Result<(Request, Option<String>), AppError> {
    if let Some(token) = request.headers().get("x-csrf") {
        let token = token.to_str().map(str::to_owned).ok();
        return Ok((request, token));
    }
    if !is_form(request.headers()) {
        return Ok((request, None));
    }
    let (parts, body) = request.into_parts();
    let whole = Request::from_parts(parts.clone(), body);
    let body =
        Bytes::from_request(whole, &())
            .await
            .map_err(|rejection| match rejection.status() {
                StatusCode::PAYLOAD_TOO_LARGE => AppError::TooLarge {
                    limit_kib: BODY_LIMIT / 1024,
                },
                status => AppError::Unreadable {
                    status,
                    detail: "the form did not arrive whole".into(),
                },
            })?;
    let token = form_urlencoded::parse(&body)
        .find(|(name, _)| name == "csrf")
        .map(|(_, token)| token.into_owned());
    Ok((Request::from_parts(parts, Body::from(body)), token))
}

fn is_form(headers: &HeaderMap) -> bool {
    headers
        .get(CONTENT_TYPE)
        .and_then(|media_type| media_type.to_str().ok())
        .is_some_and(|media_type| {
            let media_type = media_type.split(';').next().unwrap_or_default().trim();
            media_type.eq_ignore_ascii_case("application/x-www-form-urlencoded")
        })
}
