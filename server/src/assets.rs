//! Style sheet, scripts and fonts: embedded in the binary, read from disk in a debug build.

use axum::Router;
use axum::extract::{Path, RawQuery};
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use rust_embed::{EmbeddedFile, RustEmbed};
use tower_http::compression::CompressionLayer;

use crate::AppState;
use crate::error::AppError;

/// The address of a static file. It changes with the file's content, so browsers may keep it for good.
pub fn asset(name: &str) -> String {
    match Static::get(name) {
        Some(file) => format!("/static/{name}?v={}", version(&file)),
        // Shows as a 404 for the one file instead of failing the page.
        None => format!("/static/{name}"),
    }
}

/// Static files need no session. They alone are compressed: pages carry a secret token beside what
/// was typed, which compression could give away (BREACH).
pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/static/{*name}", get(serve))
        .layer(CompressionLayer::new())
}

#[derive(RustEmbed)]
#[folder = "../static/"]
struct Static;

async fn serve(
    Path(name): Path<String>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Result<Response, AppError> {
    let file = Static::get(&name).ok_or(AppError::NotFound {
        what: format!("file {name}"),
    })?;
    let version = version(&file);
    let tag = format!("\"{version}\"");
    let keep = if query.as_deref() == Some(&format!("v={version}")) {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    let caching = [(CACHE_CONTROL, keep.to_owned()), (ETAG, tag.clone())];
    if headers
        .get(IF_NONE_MATCH)
        .is_some_and(|given| given.as_bytes() == tag.as_bytes())
    {
        return Ok((StatusCode::NOT_MODIFIED, caching).into_response());
    }
    let media_type = mime_guess::from_path(&name).first_or_octet_stream();
    let typed = match media_type.type_().as_str() {
        "text" => format!("{media_type}; charset=utf-8"),
        _ => media_type.to_string(),
    };
    Ok((caching, [(CONTENT_TYPE, typed)], file.data).into_response())
}

/// The first 64 bits of the content's SHA-256.
fn version(file: &EmbeddedFile) -> String {
    file.metadata
        .sha256_hash()
        .iter()
        .take(8)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
