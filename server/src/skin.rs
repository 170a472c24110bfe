//! Day or night: a device's own choice, kept in a cookie.

use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::header::{COOKIE, SET_COOKIE};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::AppState;
use crate::form::Posted;
use crate::people::local_path;
use crate::routes::{Access, Routes};

/// How a page looks on this device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Skin {
    #[default]
    Day,
    Night,
}

impl Skin {
    /// What the device chose; day when it has not.
    pub fn of(headers: &HeaderMap) -> Skin {
        let chosen = headers
            .get_all(COOKIE)
            .iter()
            .filter_map(|cookies| cookies.to_str().ok())
            .flat_map(|cookies| cookies.split(';'))
            .any(|cookie| cookie.trim() == "skin=night");
        if chosen { Skin::Night } else { Skin::Day }
    }

    /// The word in cookie, form and style sheet.
    pub fn word(self) -> &'static str {
        match self {
            Skin::Day => "day",
            Skin::Night => "night",
        }
    }
}

pub fn routes() -> Routes {
    Routes::default().post("/skin", Access::Open, choose)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct SkinForm {
    skin: String,
    back: String,
}

async fn choose(State(state): State<AppState>, Posted(form): Posted<SkinForm>) -> Response {
    let skin = if form.skin == Skin::Night.word() {
        Skin::Night
    } else {
        Skin::Day
    };
    let secure = if state.config.behind_https {
        "; Secure"
    } else {
        ""
    };
    let cookie = format!(
        "skin={}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Lax{secure}",
        skin.word()
    );
    ([(SET_COOKIE, cookie)], Redirect::to(local_path(&form.back))).into_response()
}
