//! The stored bytes, as they go to a browser: shown alone, they may do nothing.

use axum::extract::{Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

use super::check::AttachmentHash;
use super::queries::{self, Stored};
use crate::AppState;
use crate::error::AppError;

pub async fn whole(
    State(state): State<AppState>,
    Path(hash): Path<String>,
) -> Result<Response, AppError> {
    let known = known(&hash)?;
    let stored = queries::bytes(&state.db.read, known).await?;
    Ok(answer(known, stored.ok_or_else(none)?))
}

pub async fn thumbnail(
    State(state): State<AppState>,
    Path(hash): Path<String>,
) -> Result<Response, AppError> {
    let known = known(&hash)?;
    let bytes = queries::thumbnail(&state.db.read, known).await?;
    let stored = Stored {
        media_type: "image/jpeg".to_owned(),
        bytes: bytes.ok_or_else(none)?,
    };
    Ok(answer(known, stored))
}

fn known(hash: &str) -> Result<AttachmentHash, AppError> {
    AttachmentHash::read(hash).ok_or_else(none)
}

fn none() -> AppError {
    AppError::NotFound {
        what: "such photo or paper".to_owned(),
    }
}

/// Pictures are shown in place; a paper is saved under a name of ours, and opened by a program for it.
fn answer(hash: AttachmentHash, stored: Stored) -> Response {
    let disposition = match stored.media_type.as_str() {
        "application/pdf" => format!("attachment; filename=\"paper-{:.8}.pdf\"", hash.to_string()),
        _ => "inline".to_owned(),
    };
    let headers = [
        (CONTENT_TYPE, stored.media_type),
        (CONTENT_DISPOSITION, disposition),
        // Beside the policy of every answer: both hold.
        (
            CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox".to_owned(),
        ),
    ];
    (headers, stored.bytes).into_response()
}
