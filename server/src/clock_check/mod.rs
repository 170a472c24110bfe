//! The clock against a watch: what was odd about the times, and one person who says what time it is.

mod queries;

use std::fmt;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::journal::clock::{Doubt, doubt};
use mendpost_core::people::Act;
use serde::{Deserialize, Serialize};

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{Posted, local_time};
use crate::page::{Layout, Notice, Screen, minutes, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, show)
        .post(PATH, Act::ConfirmClock, confirm)
}

/// What was noticed of the clock since it was last confirmed, for the page that shows it.
#[derive(Debug, Clone)]
pub struct InDoubt {
    pub text: String,
    /// Whether this person may say what time it is.
    pub may_confirm: bool,
    /// The fault of the watch's time, if one was entered.
    pub fault: String,
    /// The watch's time as it was typed.
    pub watch: String,
}

impl InDoubt {
    /// None while the clock is believed.
    pub async fn load(state: &AppState, visit: &Visit) -> Result<Option<InDoubt>, AppError> {
        let noticed = noticed(state, visit.now).await?;
        let may_confirm = visit.may(Act::ConfirmClock);
        Ok((!noticed.is_empty()).then(|| InDoubt {
            text: told(&noticed),
            may_confirm,
            fault: String::new(),
            watch: String::new(),
        }))
    }
}

/// One doubt, and where in the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Noticed {
    doubt: Doubt,
    /// The entry before, by its number.
    after: i64,
    /// The entry that is doubted; none for this moment.
    before: Option<i64>,
}

/// The doubts since the clock was last confirmed, oldest first; the last may be of this moment.
async fn noticed(state: &AppState, now: i64) -> Result<Vec<Noticed>, AppError> {
    let mut noticed: Vec<Noticed> = queries::odd_steps(&state.db.read)
        .await?
        .into_iter()
        .filter_map(|step| {
            Some(Noticed {
                doubt: doubt(step.before, step.time)?,
                after: step.sequence - 1,
                before: Some(step.sequence),
            })
        })
        .collect();
    if let Some((sequence, time)) = queries::last_entry(&state.db.read).await? {
        noticed.extend(doubt(time, now).map(|doubt| Noticed {
            doubt,
            after: sequence,
            before: None,
        }));
    }
    Ok(noticed)
}

impl fmt::Display for Noticed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let after = self.after;
        match (self.doubt, self.before) {
            (Doubt::Back(ms), Some(before)) => write!(
                f,
                "It went back by {} between journal {after} and {before}.",
                span(ms)
            ),
            (Doubt::Back(ms), None) => write!(
                f,
                "It stands {} before the time of the last entry, journal {after}.",
                span(ms)
            ),
            (Doubt::Ahead(ms), Some(before)) => write!(
                f,
                "It went ahead by {} between journal {after} and {before}.",
                span(ms)
            ),
            (Doubt::Ahead(ms), None) => {
                write!(f, "The last entry, journal {after}, is {} old.", span(ms))
            }
        }
    }
}

/// The first doubts in words, and how many more there are.
fn told(noticed: &[Noticed]) -> String {
    let mut lines: Vec<String> = noticed
        .iter()
        .take(MOST_TOLD)
        .map(ToString::to_string)
        .collect();
    match noticed.len().saturating_sub(MOST_TOLD) {
        0 => (),
        more => lines.push(format!("So it did {more} times more.")),
    }
    lines.join(" ")
}

/// Milliseconds in whole minutes, and less than one as seconds.
fn span(ms: i64) -> String {
    match ms / 60_000 {
        0 => format!("{} s", (ms + 999) / 1000),
        whole => minutes(whole),
    }
}

const PATH: &str = "/clock";
const MOST_TOLD: usize = 3;

/// By how much clock and watch may differ, in milliseconds: two minutes.
///
/// Common practice, no source: a watch is read to the minute, and typing takes another.
const AGREE_MS: i64 = 2 * 60_000;

const MINUTE_MS: i64 = 60_000;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct WatchForm {
    watch: String,
}

/// What the journal keeps of a look at a watch.
#[derive(Serialize)]
struct Compared {
    clock: i64,
    watch: i64,
}

#[derive(Template)]
#[template(path = "clock/show.html")]
struct ClockPage {
    page: Layout,
    doubt: Option<InDoubt>,
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let doubt = InDoubt::load(&state, &visit).await?;
    let page = visit.layout(Screen::Site, TITLE).await?;
    page_with(StatusCode::OK, &ClockPage { page, doubt })
}

const TITLE: &str = "Clock";

/// Records what the watch shows. The clock is believed again when both agree; the answer says by how
/// much it is to be set when they do not.
async fn confirm(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<WatchForm>,
) -> Result<Response, AppError> {
    let watch = match local_time(&form.watch, visit.site.zone) {
        Ok(watch) => watch,
        Err(fault) => return again(&state, &visit, form, fault.to_string()).await,
    };
    let mut change = Change::begin(&state, &who).await?;
    let clock = change.now();
    // The watch is read to the minute.
    let ahead = clock - clock.rem_euclid(MINUTE_MS) - watch;
    let agree = ahead.abs() <= AGREE_MS;
    let kind = if agree {
        "clock.confirmed"
    } else {
        "clock.found-wrong"
    };
    let content = Compared { clock, watch };
    let number = change
        .journal(kind, Subject::new("clock", 1), content)
        .await?;
    let notice = answer(ahead, agree, number);
    change.finish(&who, Screen::Now.path(), notice).await
}

fn answer(ahead: i64, agree: bool, number: i64) -> Notice {
    if agree {
        return Notice::done(
            "SAVED",
            format!("The clock agrees with the watch, journal {number}."),
        );
    }
    let (which, way) = if ahead > 0 {
        ("ahead of", "back")
    } else {
        ("behind", "forward")
    };
    let by = minutes(ahead.abs() / MINUTE_MS);
    Notice::wrong(
        format!("The clock is {by} {which} the watch."),
        format!(
            "Set the machine’s clock {way} by {by}, then confirm it again. Noted as journal {number}."
        ),
    )
}

async fn again(
    state: &AppState,
    visit: &Visit,
    form: WatchForm,
    fault: String,
) -> Result<Response, AppError> {
    let found = InDoubt::load(state, visit).await?;
    let text = found.map_or_else(String::new, |found| found.text);
    let page = visit.layout(Screen::Site, TITLE).await?;
    let doubt = Some(InDoubt {
        text,
        may_confirm: true,
        fault,
        watch: form.watch,
    });
    page_with(StatusCode::UNPROCESSABLE_ENTITY, &ClockPage { page, doubt })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doubt_is_told_with_its_place_and_size() {
        let noticed = |doubt, before| Noticed {
            doubt,
            after: 811,
            before,
        };
        let minute = 60_000;
        for (doubt, before, text) in [
            (
                Doubt::Back(130 * minute),
                Some(812),
                "It went back by 2 h 10 min between journal 811 and 812.",
            ),
            (
                Doubt::Back(1),
                None,
                "It stands 1 s before the time of the last entry, journal 811.",
            ),
            (
                Doubt::Ahead(4_320 * minute),
                Some(812),
                "It went ahead by 3 d between journal 811 and 812.",
            ),
            (
                Doubt::Ahead(4_320 * minute),
                None,
                "The last entry, journal 811, is 3 d old.",
            ),
        ] {
            assert_eq!(noticed(doubt, before).to_string(), text);
        }
        let many = vec![noticed(Doubt::Back(minute), None); 5];
        assert!(told(&many).ends_with("So it did 2 times more."));
    }
}
