//! A number for each request: in its log lines, on its answer, and on the error page.

use axum::extract::Request;
use axum::http::HeaderValue;
use axum::middleware::Next;
use axum::response::Response;
use tracing::Span;
use uuid::Uuid;

/// The number of one request.
#[derive(Debug, Clone, Copy)]
pub struct RequestId(pub Uuid);

/// Gives the request a number of our own making, whatever the caller sent.
pub async fn assign(mut request: Request, next: Next) -> Response {
    let id = Uuid::now_v7();
    request.extensions_mut().insert(RequestId(id));
    let mut response = next.run(request).await;
    let value = HeaderValue::from_str(&id.to_string()).expect("a UUID is plain ASCII");
    response.headers_mut().insert("x-request-id", value);
    response
}

/// The span in which everything about the request is logged. The query is left out: it may hold
/// what somebody typed.
pub fn span<B>(request: &axum::http::Request<B>) -> Span {
    let id = request
        .extensions()
        .get::<RequestId>()
        .map(|id| id.0.to_string());
    tracing::info_span!("request", id, method = %request.method(), path = request.uri().path())
}
