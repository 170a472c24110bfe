//! What all pages share: the layout around them, and the one place where quantities and times become
//! text.

mod local;
mod quantity;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use chrono_tz::Tz;
use uuid::Uuid;

use crate::assets;
use crate::error::{AppError, Problem};
use crate::people::Visit;
use crate::skin::Skin;

pub use quantity::filters;
pub use quantity::{grams_down, grams_up, kilograms_down, kilograms_up, loss, minutes, whole};

/// A page, ready to be sent: a template with its status.
pub fn page(template: &impl Template) -> Result<Response, AppError> {
    page_with(StatusCode::OK, template)
}

/// A page with another status: 422 for a form shown again with its faults.
pub fn page_with(status: StatusCode, template: &impl Template) -> Result<Response, AppError> {
    Ok((status, Html(template.render()?)).into_response())
}

/// What stands around every page. Templates reach it as `page`.
#[derive(Debug, Clone)]
pub struct Layout {
    pub title: String,
    pub screen: Screen,
    pub site_name: String,
    pub cell_name: String,
    /// Who is signed in.
    pub person: Option<Signature>,
    /// Time of day at the site when the page was made, as 'Wed 14:40'.
    pub clock_local: String,
    /// How far the site is from UTC, as '+10:00'.
    pub zone_offset: String,
    pub skin: Skin,
    /// Goes into each form as the hidden field `token`; empty where nobody has a session.
    pub token: String,
    /// Where the page stands, for forms that come back to it.
    pub path: String,
    /// What the last act has to say, shown once.
    pub notices: Vec<String>,
    zone: Tz,
    now: i64,
}

/// A person as shown at the top of a page.
#[derive(Debug, Clone)]
pub struct Signature {
    pub name: String,
    pub role: &'static str,
}

impl Layout {
    pub(crate) fn of(visit: &Visit, screen: Screen, title: &str, notices: Vec<String>) -> Layout {
        Layout {
            title: title.to_owned(),
            screen,
            site_name: visit.site.name.clone(),
            cell_name: visit.site.cell_name.clone(),
            person: visit.who.as_ref().map(|who| Signature {
                name: who.name.clone(),
                role: who.role.as_str(),
            }),
            clock_local: local::clock(visit.now, visit.site.zone),
            zone_offset: local::offset(visit.now, visit.site.zone),
            skin: visit.skin,
            token: visit.token.clone().unwrap_or_default(),
            path: visit.path.clone(),
            notices,
            zone: visit.site.zone,
            now: visit.now,
        }
    }

    pub(crate) fn of_error(visit: &Visit, title: &str) -> Layout {
        Layout::of(visit, Screen::Error, title, Vec::new())
    }

    /// For when nothing is known of site and person, and must not be asked for.
    pub(crate) fn bare(title: &str, skin: Skin, now: i64) -> Layout {
        Layout {
            title: title.to_owned(),
            screen: Screen::Error,
            site_name: "Mendpost".to_owned(),
            cell_name: String::new(),
            person: None,
            clock_local: local::clock(now, Tz::UTC),
            zone_offset: local::offset(now, Tz::UTC),
            skin,
            token: String::new(),
            path: "/".to_owned(),
            notices: Vec::new(),
            zone: Tz::UTC,
            now,
        }
    }

    /// The screens to choose from.
    pub fn screens(&self) -> &'static [Screen] {
        &Screen::ALL
    }

    /// The address of a static file.
    pub fn asset(&self, name: &str) -> String {
        assets::asset(name)
    }

    /// 'Wed 14:40'.
    pub fn clock(&self, unix_ms: &i64) -> String {
        local::clock(*unix_ms, self.zone)
    }

    /// '25 Nov 2026'.
    pub fn day(&self, unix_ms: &i64) -> String {
        local::day(*unix_ms, self.zone)
    }

    /// '25 Nov 2026 14:40'.
    pub fn moment(&self, unix_ms: &i64) -> String {
        local::moment(*unix_ms, self.zone)
    }

    /// '7 min ago', or 'in 7 min'.
    pub fn age(&self, unix_ms: &i64) -> String {
        local::age(*unix_ms, self.now)
    }

    /// '2026-11-25T14:40', as a date-and-time field wants it.
    pub fn field_time(&self, unix_ms: &i64) -> String {
        local::field_time(*unix_ms, self.zone)
    }
}

/// The screens, each answering one question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Screen {
    Site,
    /// Not in the list of screens.
    SignIn,
    /// Not in the list of screens.
    Error,
}

impl Screen {
    /// The screens to choose from, in order.
    pub const ALL: [Screen; 1] = [Screen::Site];

    /// The word at the top of the page.
    pub fn word(self) -> &'static str {
        match self {
            Screen::Site => "Site",
            Screen::SignIn => "Sign in",
            Screen::Error => "Error",
        }
    }

    pub fn path(self) -> &'static str {
        match self {
            Screen::Site => "/site",
            Screen::SignIn => "/sign-in",
            Screen::Error => "/",
        }
    }
}

/// The page of a failed request.
#[derive(Template)]
#[template(path = "error.html")]
pub struct ErrorPage<'a> {
    page: Layout,
    problem: &'a Problem,
    request: Uuid,
}

impl<'a> ErrorPage<'a> {
    pub(crate) fn new(page: Layout, problem: &'a Problem, request: Uuid) -> Self {
        ErrorPage {
            page,
            problem,
            request,
        }
    }

    pub(crate) fn render_text(&self) -> Result<String, askama::Error> {
        self.render()
    }
}
