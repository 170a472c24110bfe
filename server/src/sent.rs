//! What a request that changes something carries, read once before all routes: the anti-forgery token,
//! the form's own number, and the fields by which two sendings of it are told apart.

use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{DefaultBodyLimit, FromRequest, Multipart, Request};
use axum::http::header::CONTENT_TYPE;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, StatusCode};
use sha2::{Digest, Sha256};

use crate::BODY_LIMIT;
use crate::error::AppError;

/// The fields of a form that are not about its matter.
#[derive(Debug, Clone, Default)]
pub struct Sent {
    /// The secret of the session it comes from: field `csrf`, or header `x-csrf` of a script.
    pub csrf: Option<String>,
    /// The form's own number: field `once`, or header `idempotency-key` of a program.
    pub once: Option<String>,
    /// Hash over the address and all other fields, secrets left out.
    pub fingerprint: [u8; 32],
    /// The other fields of a form without files, secrets left out, to send them on.
    pub fields: Vec<(String, String)>,
    /// Whether a secret or a file was among the fields: it cannot be sent on.
    pub partial: bool,
}

/// Reads what a request carries and puts its body back. A body of `files_limit` bytes is taken only as
/// `multipart/form-data`, all else up to [`BODY_LIMIT`].
pub async fn read(request: Request, files_limit: usize) -> Result<(Request, Sent), AppError> {
    let (parts, body) = request.into_parts();
    let kind = Kind::of(&parts.headers);
    let limit = match kind {
        Kind::Files => files_limit,
        Kind::Form | Kind::Other => BODY_LIMIT,
    };
    let bytes = to_bytes(body, limit).await.map_err(|error| {
        // Told apart by what it wraps: too long, or a connection that broke.
        let too_large = std::error::Error::source(&error)
            .is_some_and(|cause| cause.is::<http_body_util::LengthLimitError>());
        if too_large {
            AppError::TooLarge {
                limit_kib: limit / 1024,
            }
        } else {
            AppError::Unreadable {
                status: StatusCode::BAD_REQUEST,
                detail: "the form did not arrive whole".into(),
            }
        }
    })?;
    let mut sent = match kind {
        Kind::Form => form(&parts, &bytes),
        Kind::Files => files(&parts, &bytes).await?,
        Kind::Other => other(&parts, &bytes),
    };
    sent.csrf = header(&parts.headers, &CSRF).or(sent.csrf);
    sent.once = header(&parts.headers, &IDEMPOTENCY_KEY).or(sent.once);
    Ok((Request::from_parts(parts, Body::from(bytes)), sent))
}

const CSRF: HeaderName = HeaderName::from_static("x-csrf");
const IDEMPOTENCY_KEY: HeaderName = HeaderName::from_static("idempotency-key");

/// Fields whose name says so hold a secret: they are neither hashed, which would make guessing easy,
/// nor sent on.
fn is_secret(name: &str) -> bool {
    ["passphrase", "secret", "pin"]
        .iter()
        .any(|word| name.split(['-', '_']).any(|part| part == *word))
}

#[derive(Clone, Copy)]
enum Kind {
    Form,
    Files,
    Other,
}

impl Kind {
    fn of(headers: &HeaderMap) -> Kind {
        let media_type = header(headers, &CONTENT_TYPE).unwrap_or_default();
        let media_type = media_type.split(';').next().unwrap_or_default().trim();
        if media_type.eq_ignore_ascii_case("application/x-www-form-urlencoded") {
            Kind::Form
        } else if media_type.eq_ignore_ascii_case("multipart/form-data") {
            Kind::Files
        } else {
            Kind::Other
        }
    }
}

fn header(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    headers.get(name)?.to_str().ok().map(str::to_owned)
}

fn form(parts: &Parts, bytes: &Bytes) -> Sent {
    let mut reading = Reading::of(parts);
    for (name, value) in form_urlencoded::parse(bytes) {
        reading.field(&name, value.into_owned());
    }
    reading.done()
}

/// A body that is no form is hashed as it is.
fn other(parts: &Parts, bytes: &Bytes) -> Sent {
    let mut reading = Reading::of(parts);
    reading.file("", bytes);
    reading.done()
}

/// The boundary between the parts differs from one sending to the next, so the parts are hashed.
async fn files(parts: &Parts, bytes: &Bytes) -> Result<Sent, AppError> {
    let broken = |_| AppError::Unreadable {
        status: StatusCode::BAD_REQUEST,
        detail: "the form with files cannot be read".to_owned(),
    };
    let mut copy = Request::from_parts(parts.clone(), Body::from(bytes.clone()));
    // Its length was judged when it was read.
    DefaultBodyLimit::disable().apply(&mut copy);
    let mut multipart = Multipart::from_request(copy, &())
        .await
        .map_err(|_| broken(()))?;
    let mut reading = Reading::of(parts);
    while let Some(field) = multipart.next_field().await.map_err(|_| broken(()))? {
        let name = field.name().unwrap_or_default().to_owned();
        if field.file_name().is_some() {
            reading.file(&name, &field.bytes().await.map_err(|_| broken(()))?);
        } else {
            reading.field(&name, field.text().await.map_err(|_| broken(()))?);
        }
    }
    Ok(reading.done())
}

struct Reading {
    sent: Sent,
    hash: Sha256,
}

impl Reading {
    fn of(parts: &Parts) -> Reading {
        let mut reading = Reading {
            sent: Sent::default(),
            hash: Sha256::new(),
        };
        reading.take(parts.uri.path().as_bytes());
        reading
    }

    /// Lengths go in too, so that no two lists of fields read as one text.
    fn take(&mut self, bytes: &[u8]) {
        self.hash.update((bytes.len() as u64).to_be_bytes());
        self.hash.update(bytes);
    }

    fn field(&mut self, name: &str, value: String) {
        match name {
            "csrf" => self.sent.csrf = self.sent.csrf.take().or(Some(value)),
            "once" => self.sent.once = self.sent.once.take().or(Some(value)),
            secret if is_secret(secret) => self.sent.partial = true,
            _ => {
                self.take(name.as_bytes());
                self.take(value.as_bytes());
                self.sent.fields.push((name.to_owned(), value));
            }
        }
    }

    /// A file field that was left alone comes as an empty file.
    fn file(&mut self, name: &str, bytes: &[u8]) {
        self.take(name.as_bytes());
        self.take(bytes);
        self.sent.partial |= !bytes.is_empty();
    }

    fn done(self) -> Sent {
        Sent {
            fingerprint: self.hash.finalize().into(),
            ..self.sent
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn sent(media_type: &str, body: &str) -> Sent {
        let request = Request::post("/requests/new")
            .header(CONTENT_TYPE, media_type)
            .body(Body::from(body.to_owned()))
            .expect("a well-formed request");
        let (_, sent) = read(request, 4096).await.expect("it can be read");
        sent
    }

    async fn posted(body: &str) -> Sent {
        sent("application/x-www-form-urlencoded", body).await
    }

    /// Token and number may differ; what was typed may not.
    #[tokio::test]
    async fn two_sendings_are_one_when_what_was_typed_is_the_same() {
        let first = posted("csrf=a&once=1&asset=pump&note=x").await;
        assert_eq!(first.csrf.as_deref(), Some("a"));
        assert_eq!(first.once.as_deref(), Some("1"));
        let again = posted("asset=pump&note=x&csrf=b&once=1").await;
        assert_eq!(first.fingerprint, again.fingerprint);
        for other in ["asset=pump&note=y", "asset=pumpnote&=x", "asset=pump", ""] {
            assert_ne!(
                first.fingerprint,
                posted(other).await.fingerprint,
                "{other}"
            );
        }
    }

    /// A hash over a passphrase would let whoever has the database guess it at leisure.
    #[tokio::test]
    async fn secrets_are_neither_hashed_nor_kept() {
        let first = posted("lot=L0408&passphrase=copper+over+steel&second_passphrase=b").await;
        let other = posted("lot=L0408&passphrase=something+else&second_passphrase=c").await;
        assert_eq!(first.fingerprint, other.fingerprint);
        assert_eq!(first.fields, [("lot".to_owned(), "L0408".to_owned())]);
        assert!(first.partial);
    }

    /// RFC 7578: the boundary is the browser's choice of the moment.
    #[tokio::test]
    async fn files_count_by_what_is_in_them_not_by_how_they_are_parted() {
        let body = |edge: &str, content: &str| {
            format!(
                "--{edge}\r\nContent-Disposition: form-data; name=\"csrf\"\r\n\r\na\r\n\
                 --{edge}\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"p.jpg\"\r\n\
                 Content-Type: image/jpeg\r\n\r\n{content}\r\n--{edge}--\r\n"
            )
        };
        let media = |edge: &str| format!("multipart/form-data; boundary={edge}");
        let first = sent(&media("one"), &body("one", "bytes")).await;
        assert_eq!(first.csrf.as_deref(), Some("a"));
        let again = sent(&media("two"), &body("two", "bytes")).await;
        assert_eq!(first.fingerprint, again.fingerprint);
        let other = sent(&media("two"), &body("two", "others")).await;
        assert_ne!(first.fingerprint, other.fingerprint);
    }

    #[tokio::test]
    async fn what_is_too_long_is_refused() {
        let request = Request::post("/")
            .header(CONTENT_TYPE, "multipart/form-data; boundary=x")
            .body(Body::from("x".repeat(5000)))
            .expect("a well-formed request");
        assert!(matches!(
            read(request, 4096).await,
            Err(AppError::TooLarge { limit_kib: 4 })
        ));
    }
}
