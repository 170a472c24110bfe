//! Who asks, for which site, in which skin: what one request brings to a page.

use std::sync::Arc;

use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use chrono::{DateTime, Utc};
use mendpost_core::people::{Act, Role, may};
use tower_sessions::Session;
use uuid::Uuid;

use super::{Person, device, queries, session, token};
use crate::AppState;
use crate::error::{AppError, prefers_json};
use crate::handover::{self, Waiting};
use crate::once::Once;
use crate::page::{Layout, Notice, Screen};
use crate::signature::pin::{self, Device};
use crate::site::{self, Site};
use crate::situation::moment;
use crate::skin::Skin;

/// What one request brings. Every handler that answers with a page takes it.
#[derive(Debug, Clone)]
pub struct Visit {
    /// Who is signed in.
    pub who: Option<Who>,
    pub site: Arc<Site>,
    /// When the request came, in milliseconds since 1970, UTC.
    pub now: i64,
    pub skin: Skin,
    /// The device, if somebody has set a PIN on it.
    pub(crate) device: Option<Device>,
    /// What every page has to say of the data's state.
    pub(crate) health: Option<Notice>,
    /// A handover that nobody has taken over yet.
    pub(crate) waiting: Option<Waiting>,
    pub(crate) token: Option<String>,
    pub(crate) path: String,
    /// What the browser calls itself.
    agent: String,
    session: Session,
}

impl Visit {
    /// When the request came.
    ///
    /// # Errors
    /// [`AppError::Internal`] for a clock beyond all calendars.
    pub fn moment(&self) -> Result<DateTime<Utc>, AppError> {
        moment(self.now).map_err(AppError::internal)
    }

    /// Whether somebody is signed in whose role may do an act: what a page offers.
    pub fn may(&self, act: Act) -> bool {
        self.who.as_ref().is_some_and(|who| may(who.role, act))
    }

    /// Signs a person in on this device, in a session that is new by id and token. Not while a change
    /// is open.
    pub(super) async fn sign_in(&self, person: &Person) -> Result<(), AppError> {
        session::open(&self.session, person, &self.agent).await
    }

    /// Ends the session, if there is one.
    pub(super) async fn sign_out(&self) -> Result<(), AppError> {
        Ok(self.session.flush().await?)
    }

    /// The hash by which the database knows this session.
    pub(super) fn session_key(&self) -> Vec<u8> {
        session::key(&self.session).unwrap_or_default()
    }

    /// The layout of a page of this screen. Takes up what earlier acts left to say.
    pub async fn layout(&self, screen: Screen, title: &str) -> Result<Layout, AppError> {
        let notices = session::take_notices(&self.session).await?;
        Ok(Layout::of(self, screen, title, notices))
    }

    /// Leaves something to say on the next page.
    pub(crate) async fn notice(&self, notice: Notice) -> Result<(), AppError> {
        session::add_notice(&self.session, notice).await
    }

    /// Gives a visitor who has not signed in a token for the forms of this page.
    pub(super) async fn ensure_token(&mut self) -> Result<(), AppError> {
        if self.token.is_none() {
            let new = token::new();
            session::keep_token(&self.session, &new).await?;
            self.token = Some(new);
        }
        Ok(())
    }

    async fn load(
        state: &AppState,
        session: Session,
        headers: &HeaderMap,
        path: String,
    ) -> Result<Visit, AppError> {
        let site = site::queries::site(&state.db.read).await?;
        let site = site.ok_or_else(|| AppError::internal("the database holds no site"))?;
        let who = match session::person(&session).await? {
            Some(id) => queries::active_person(&state.db.read, id).await?,
            None => None,
        };
        Ok(Visit {
            who: who.map(|person| Who {
                id: person.id,
                number: person.number,
                name: person.name,
                role: person.role,
                once: None,
                session: session.clone(),
            }),
            site: Arc::new(site),
            now: state.clock.now(),
            skin: Skin::of(headers),
            device: pin::device(headers),
            health: state.health.notice(),
            waiting: handover::waiting(&state.db.read).await?,
            token: session::token(&session).await?,
            path,
            agent: device::agent(headers),
            session,
        })
    }
}

/// The person who is signed in.
#[derive(Debug, Clone)]
pub struct Who {
    pub id: Uuid,
    pub number: i64,
    pub name: String,
    pub role: Role,
    /// The number of the form that was sent.
    pub(crate) once: Option<Once>,
    session: Session,
}

impl Who {
    /// Refuses an act that the person's role may not do. The route table has asked for the route's own
    /// act already.
    pub fn may(&self, act: Act) -> Result<(), AppError> {
        if may(self.role, act) {
            Ok(())
        } else {
            Err(AppError::NotAllowed { act })
        }
    }

    /// Leaves something to say on the next page. Not while a change is open.
    pub async fn notice(&self, notice: Notice) -> Result<(), AppError> {
        session::add_notice(&self.session, notice).await
    }
}

/// Finds out once per request who asks, and leaves that for handlers and for the error page.
pub async fn identify(
    State(state): State<AppState>,
    session: Session,
    mut request: Request,
    next: Next,
) -> Response {
    let path = match *request.method() {
        Method::GET => path_and_query(&request).to_owned(),
        _ => "/".to_owned(),
    };
    let visit = match Visit::load(&state, session, request.headers(), path).await {
        Ok(visit) => visit,
        Err(error) => return error.into_response(),
    };
    request.extensions_mut().insert(visit.clone());
    let mut response = next.run(request).await;
    response.extensions_mut().insert(visit);
    response
}

/// Sends somebody who is not signed in to do so, and back to the page asked for; a script gets 401.
pub fn sign_in_first(request: &Request) -> Response {
    if prefers_json(request.headers()) {
        return AppError::SignInNeeded.into_response();
    }
    let target = match *request.method() {
        Method::GET => {
            let query = form_urlencoded::Serializer::new(String::new())
                .append_pair("next", path_and_query(request))
                .finish();
            format!("/sign-in?{query}")
        }
        _ => "/sign-in".to_owned(),
    };
    Redirect::to(&target).into_response()
}

fn path_and_query(request: &Request) -> &str {
    request
        .uri()
        .path_and_query()
        .map_or("/", |path| path.as_str())
}

impl<S: Sync> FromRequestParts<S> for Visit {
    type Rejection = AppError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, AppError> {
        parts
            .extensions
            .get::<Visit>()
            .cloned()
            .ok_or_else(|| AppError::internal("a route outside the layer that identifies people"))
    }
}

impl<S: Sync> FromRequestParts<S> for Who {
    type Rejection = AppError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, AppError> {
        let visit = Visit::from_request_parts(parts, state).await?;
        visit.who.ok_or(AppError::SignInNeeded)
    }
}
