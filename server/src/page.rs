//! What all pages share: the layout around them, and the one place where quantities and times become
//! text.

pub mod act;
mod local;
mod quantity;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::assets;
use crate::error::{AppError, Problem, Resend};
use crate::handover;
use crate::labels;
use crate::once;
use crate::people::Visit;
use crate::skin::Skin;

pub use local::{age, clock, field_time, hour, moment, offset, weekday};
pub use quantity::filters;
pub use quantity::{
    grams_down, grams_exact, grams_up, kilograms_down, kilograms_up, loss, minutes, whole,
};

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
    /// Word of the screen.
    pub screen: &'static str,
    pub site_name: String,
    pub cell_name: String,
    /// Who is signed in.
    pub person: Option<Signature>,
    /// Time at the site when the page was made, as 'Wed 25 Nov 2026, 14:40'.
    pub clock_local: String,
    /// How far the site is from UTC, as '+10:00'.
    pub zone_offset: String,
    /// Word of the skin, 'day' or 'night'.
    pub skin: &'static str,
    /// Goes into each form as the hidden field `csrf`; empty where nobody has a session.
    pub csrf: String,
    /// Where the page stands, for forms that come back to it.
    pub path: String,
    /// What the last act has to say, shown once.
    pub notices: Vec<Notice>,
    /// What is wrong with the data or their disk.
    pub health: Option<Notice>,
    /// A handover that nobody has taken over yet.
    pub waiting: Option<NotTaken>,
    zone: Tz,
    now: i64,
}

/// A person as shown at the top of a page.
#[derive(Debug, Clone)]
pub struct Signature {
    pub name: String,
    pub role: &'static str,
}

/// A handover that was told and not taken over, as every screen says.
#[derive(Debug, Clone)]
pub struct NotTaken {
    pub path: String,
    pub number: i64,
    /// By whom and when.
    pub told: String,
    pub left_for_reader: bool,
}

/// What an act has to say on the page after it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Notice {
    /// 'done', 'waits' or 'wrong': how the frame is drawn.
    pub kind: String,
    /// What happened, in bold, as 'Request 12 is filed.'.
    pub head: String,
    /// What follows from it; may be empty.
    pub text: String,
}

impl Notice {
    /// Something was done.
    pub fn done(head: impl Into<String>, text: impl Into<String>) -> Self {
        Notice {
            kind: "done".to_owned(),
            head: head.into(),
            text: text.into(),
        }
    }

    /// Something waits, and for what.
    pub fn waits(head: impl Into<String>, text: impl Into<String>) -> Self {
        Notice {
            kind: "waits".to_owned(),
            head: head.into(),
            text: text.into(),
        }
    }

    /// Something could not be done.
    pub fn wrong(head: impl Into<String>, text: impl Into<String>) -> Self {
        Notice {
            kind: "wrong".to_owned(),
            head: head.into(),
            text: text.into(),
        }
    }
}

/// A screen as the list of screens names it.
#[derive(Debug, Clone, Copy)]
pub struct Tab {
    pub word: &'static str,
    pub path: &'static str,
}

impl Layout {
    pub(crate) fn of(visit: &Visit, screen: Screen, title: &str, notices: Vec<Notice>) -> Layout {
        Layout {
            title: title.to_owned(),
            screen: screen.word(),
            site_name: visit.site.name.clone(),
            cell_name: visit.site.cell_name.clone(),
            person: visit.who.as_ref().map(|who| Signature {
                name: who.name.clone(),
                role: who.role.as_str(),
            }),
            clock_local: local::head(visit.now, visit.site.zone),
            zone_offset: local::offset(visit.now, visit.site.zone),
            skin: visit.skin.word(),
            csrf: visit.token.clone().unwrap_or_default(),
            path: visit.path.clone(),
            notices,
            health: visit.health.clone(),
            waiting: visit.waiting.as_ref().map(|it| NotTaken {
                path: handover::path(it.number),
                number: it.number,
                told: format!(
                    "told by {}, {}",
                    it.told_by,
                    local::age(it.told_ms, visit.now)
                ),
                left_for_reader: it.left_for_reader,
            }),
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
            screen: Screen::Error.word(),
            site_name: "Mendpost".to_owned(),
            cell_name: String::new(),
            person: None,
            clock_local: local::head(now, Tz::UTC),
            zone_offset: local::offset(now, Tz::UTC),
            skin: skin.word(),
            csrf: String::new(),
            path: "/".to_owned(),
            notices: Vec::new(),
            health: None,
            waiting: None,
            zone: Tz::UTC,
            now,
        }
    }

    /// A number for a form, as its hidden field `once`: sent twice it changes once.
    pub fn once(&self) -> String {
        once::number()
    }

    /// The screens to choose from.
    pub fn screens(&self) -> Vec<Tab> {
        Screen::ALL.iter().map(|screen| screen.tab()).collect()
    }

    /// The few that a tablet's foot strip has room for.
    pub fn strip(&self) -> Vec<Tab> {
        Screen::ALL
            .iter()
            .take(STRIP)
            .map(|screen| screen.tab())
            .collect()
    }

    /// What labels of ours begin with as a keyboard types it, for the script that catches scans.
    pub fn label_beginnings(&self) -> String {
        labels::beginnings()
    }

    /// The address of a static file.
    pub fn asset(&self, name: &str) -> String {
        assets::asset(name)
    }

    /// 'Wed 25 14:40'.
    pub fn clock(&self, unix_ms: &i64) -> String {
        local::clock(*unix_ms, self.zone)
    }

    /// '14:40'.
    pub fn hour(&self, unix_ms: &i64) -> String {
        local::hour(*unix_ms, self.zone)
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

    /// The site's zone.
    pub fn zone(&self) -> Tz {
        self.zone
    }

    /// When the page was asked for, in milliseconds since 1970, UTC.
    pub fn now(&self) -> i64 {
        self.now
    }

    /// '2026-11-25T14:40', as a date-and-time field wants it.
    pub fn field_time(&self, unix_ms: &i64) -> String {
        local::field_time(*unix_ms, self.zone)
    }
}

/// The screens, each answering one question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Screen {
    Now,
    LineUp,
    Requests,
    Catalogue,
    Powder,
    Cell,
    Resupply,
    Handover,
    Site,
    /// The list of screens itself; like those that follow not at the top of the page.
    Contents,
    Labels,
    SignIn,
    Start,
    Account,
    Error,
}

/// Beside these the strip holds the way to all of them.
const STRIP: usize = 4;

impl Screen {
    /// The screens to choose from, in order.
    pub const ALL: [Screen; 9] = [
        Screen::Now,
        Screen::LineUp,
        Screen::Requests,
        Screen::Catalogue,
        Screen::Powder,
        Screen::Cell,
        Screen::Resupply,
        Screen::Handover,
        Screen::Site,
    ];

    /// The word at the top of the page.
    pub fn word(self) -> &'static str {
        match self {
            Screen::Now => "Now",
            Screen::LineUp => "Line-up",
            Screen::Requests => "Requests",
            Screen::Catalogue => "Catalogue",
            Screen::Powder => "Powder",
            Screen::Cell => "Cell",
            Screen::Resupply => "Resupply",
            Screen::Handover => "Handover",
            Screen::Site => "Site",
            Screen::Contents => "All pages",
            Screen::Labels => "Labels",
            Screen::SignIn => "Sign in",
            Screen::Start => "Start",
            Screen::Account => "Account",
            Screen::Error => "Error",
        }
    }

    pub fn path(self) -> &'static str {
        match self {
            Screen::Now => "/now",
            Screen::LineUp => "/line-up",
            Screen::Requests => "/requests",
            Screen::Catalogue => "/catalogue",
            Screen::Powder => "/powder",
            Screen::Cell => "/cell",
            Screen::Resupply => "/resupply",
            Screen::Handover => handover::PATH,
            Screen::Site => "/site",
            Screen::Contents => "/pages",
            Screen::Labels => "/labels",
            Screen::SignIn => "/sign-in",
            Screen::Start => "/start",
            Screen::Account => "/account",
            Screen::Error => "/",
        }
    }

    /// The question that the screen answers.
    pub fn question(self) -> &'static str {
        match self {
            Screen::Now => "What is running, what is stuck, what do I do next?",
            Screen::Requests => "What is broken, how far along is each part, what gate holds it?",
            Screen::LineUp => {
                "What goes first, why, what does waiting cost, what does our own order cost?"
            }
            Screen::Catalogue => "Which parts can this cell make, by which approved recipe?",
            Screen::Powder => "Which lot do I open; what runs out when?",
            Screen::Resupply => "What goes on the next trip, what stays, what does that stop?",
            Screen::Handover => "What must the next shift know, and have they heard it?",
            Screen::Cell => "How long can we spray: gas, fuel, nozzle, stations, people?",
            Screen::Site => {
                "Where is this, what does it need, who works here, and who may do what?"
            }
            Screen::Labels => "Which labels do I print, and what was it that I scanned?",
            Screen::Account => "Who am I here, and where am I signed in?",
            Screen::Contents | Screen::SignIn | Screen::Start | Screen::Error => "",
        }
    }

    fn tab(self) -> Tab {
        Tab {
            word: self.word(),
            path: self.path(),
        }
    }
}

/// The page of a failed request.
#[derive(Template)]
#[template(path = "error.html")]
pub(crate) struct ErrorPage {
    pub page: Layout,
    /// What to do, in bold.
    pub act: &'static str,
    /// What happened.
    pub reason: String,
    /// The faults of single fields.
    pub detail: Vec<String>,
    /// Where to go from here.
    pub way: &'static str,
    pub way_path: &'static str,
    /// A form that was sent before, to be sent on.
    pub resend: Option<Resend>,
    pub status: u16,
    pub request_id: Uuid,
}

impl ErrorPage {
    pub(crate) fn new(page: Layout, problem: &Problem, request_id: Uuid) -> Self {
        let (way, way_path) = match problem.status {
            StatusCode::UNAUTHORIZED => (Screen::SignIn.word(), Screen::SignIn.path()),
            _ => ("Go to the first page", "/"),
        };
        ErrorPage {
            page,
            act: problem.act(),
            reason: problem.detail.clone(),
            detail: problem
                .errors
                .iter()
                .map(|(_, text)| text.to_owned())
                .collect(),
            way,
            way_path,
            resend: problem.resend.clone(),
            status: problem.status.as_u16(),
            request_id,
        }
    }
}
