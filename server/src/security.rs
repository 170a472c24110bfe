//! Headers on every answer, and the check of the name under which the service was asked.

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::uri::Authority;
use axum::http::{HeaderName, HeaderValue, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::IpAddr;

use crate::AppState;
use crate::config::Config;
use crate::error::AppError;

/// Sets what browsers must know about every answer.
pub async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    // Where an answer brings a policy of its own both hold, so it can only be stricter.
    headers.append(CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    for (name, value) in FIXED {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // Pages show what only signed-in people may see; a shared tablet must not keep them.
    headers
        .entry(CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Refuses requests for names that are not ours: a foreign site may point its own name at this
/// machine, and its pages would then count as ours (DNS rebinding).
pub async fn check_host(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let named = request.uri().authority().cloned().or_else(|| {
        request
            .headers()
            .get(HOST)
            .and_then(|host| Authority::try_from(host.as_bytes()).ok())
    });
    match named {
        Some(name) if is_ours(&state.config, name.host()) => next.run(request).await,
        Some(name) => AppError::Unreadable {
            status: StatusCode::MISDIRECTED_REQUEST,
            detail: format!(
                "this service does not answer to '{}'; use its own address, or start it with \
                 --host-name {}",
                name.host(),
                name.host()
            ),
        }
        .into_response(),
        None => AppError::Unreadable {
            status: StatusCode::BAD_REQUEST,
            detail: "the request does not say which host it is for".to_owned(),
        }
        .into_response(),
    }
}

/// `style-src 'self'` also forbids `style` attributes: templates use classes and SVG attributes.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; \
                      font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";

const FIXED: [(HeaderName, &str); 6] = [
    (X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (HeaderName::from_static("x-frame-options"), "DENY"),
];

/// On loopback only loopback's names count; elsewhere also any address in figures, which no foreign
/// site can claim.
fn is_ours(config: &Config, host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    let loopback_only = config.listen.ip().is_loopback();
    host.eq_ignore_ascii_case("localhost")
        || bare
            .parse::<IpAddr>()
            .is_ok_and(|ip| ip.is_loopback() || !loopback_only)
        || config
            .host_names
            .iter()
            .any(|name| name.eq_ignore_ascii_case(host))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn listening(listen: &str, host_names: &[&str]) -> Config {
        Config {
            listen: listen.parse().expect("an address"),
            host_names: host_names.iter().map(|name| (*name).to_owned()).collect(),
            ..Config::default()
        }
    }

    #[test]
    fn on_loopback_only_loopback_names_count() {
        let config = listening("127.0.0.1:8750", &["cell.example"]);
        for ours in [
            "localhost",
            "LOCALHOST",
            "127.0.0.1",
            "[::1]",
            "cell.example",
        ] {
            assert!(is_ours(&config, ours), "{ours}");
        }
        for foreign in ["evil.example", "192.0.2.7", "localhost.evil.example", ""] {
            assert!(!is_ours(&config, foreign), "{foreign}");
        }
    }

    #[test]
    fn on_a_network_addresses_count_but_foreign_names_do_not() {
        let config = listening("0.0.0.0:8750", &[]);
        assert!(is_ours(&config, "192.0.2.7"));
        assert!(!is_ours(&config, "evil.example"));
    }
}
