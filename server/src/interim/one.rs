//! One interim part: where it is, when it must come off, what its meter showed, what became of it.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use chrono::{DateTime, Utc};
use mendpost_core::interim::{Limit, Standing};
use mendpost_core::people::Act;

use super::act::What;
use super::find;
use super::hours::shown;
use super::queries::Interim;
use super::telling::{left_words, mark, take_off};
use crate::AppState;
use crate::caution::{self, Caution};
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "interim/one.html")]
struct OnePage {
    page: Layout,
    answer: String,
    reason: String,
    mark: &'static str,
    word: &'static str,
    pairs: Vec<(&'static str, String, String)>,
    /// As long as it is on its machine.
    caution: Option<Caution>,
    /// What its meter showed: hours, when, by whom.
    meter: Vec<(String, String, String)>,
    /// What may be done now: words and address, the first one first.
    acts: Vec<(&'static str, String)>,
    successor: (String, String),
    built_for: Option<(String, String)>,
    may_watch: bool,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let interim = find(&state, &number).await?;
    let now = visit.moment()?;
    let title = format!("Interim part {}", interim.code());
    let layout = visit.layout(Screen::Requests, &title).await?;
    let may_watch = visit.may(Act::WatchInterim);
    page(&OnePage::new(layout, now, &interim, may_watch))
}

impl OnePage {
    fn new(page: Layout, now: DateTime<Utc>, interim: &Interim, may_watch: bool) -> Self {
        let left = interim.left(now);
        let take_off = take_off(interim, now, page.zone());
        let (answer, reason) = answer(interim, now, &take_off);
        let (mark, word) = match &interim.off {
            None => (mark(left.standing), left.standing.as_str()),
            Some(_) => ("done", "off"),
        };
        let request = |number: i64| (format!("R{number}"), format!("/requests/{number}"));
        OnePage {
            answer,
            reason,
            mark,
            word,
            pairs: pairs(&page, interim, now, &take_off),
            caution: interim.off.is_none().then(|| caution::interim(&take_off)),
            meter: meter(&page, interim),
            acts: What::possible(interim)
                .map(|what| (what.verb(), format!("{}/{what}", interim.path())))
                .collect(),
            successor: request(interim.follow_on),
            built_for: interim.request.map(request),
            may_watch,
            page,
        }
    }
}

fn answer(interim: &Interim, now: DateTime<Utc>, take_off: &str) -> (String, String) {
    let name = format!("{}, {}", interim.code(), interim.name());
    if let Some(returned) = &interim.returned {
        return (
            format!("Nothing to do: {name}, is {}.", returned.fate),
            String::new(),
        );
    }
    if interim.off.is_some() {
        let answer = format!("Say what became of {name}: it is off.");
        return (answer, String::new());
    }
    let left = interim.left(now);
    let reason = format!("Left: {}.", left_words(&left, now));
    let answer = match left.standing {
        Standing::Overdue => format!("Take off {name}, now."),
        Standing::DueSoon | Standing::Fine => format!("Take off {name}, {take_off}."),
    };
    (answer, reason)
}

fn pairs(
    page: &Layout,
    interim: &Interim,
    now: DateTime<Utc>,
    take_off: &str,
) -> Vec<(&'static str, String, String)> {
    let time = |at: DateTime<Utc>| {
        let at = at.timestamp_millis();
        (page.moment(&at), page.age(&at))
    };
    let plain = |word, value: &str| (word, value.to_owned(), String::new());
    let left = interim.left(now);
    let (since, since_age) = time(interim.since);
    let mut pairs = vec![
        ("Where", sentence(&interim.asset), interim.place.clone()),
        plain("Part", &interim.part_name),
        ("Out since", since, since_age),
        ("Take off", sentence(take_off), String::new()),
    ];
    if interim.off.is_none() {
        pairs.push(("Left", left_words(&left, now), reckoned(page, interim)));
    }
    if let Some(run_min) = left.run_min {
        let by = match (interim.meter_min, interim.meter.first()) {
            (None, Some(first)) => format!(
                "reckoned to {}, then by its readings",
                page.moment(&first.at.timestamp_millis())
            ),
            _ => "by its readings".to_owned(),
        };
        pairs.push(("Has run", shown(run_min), by));
    }
    pairs.push(plain("Owner", &interim.owner));
    pairs.push(plain("How it comes off", &interim.removal_plan));
    let entered = format!(
        "entered by {}, {}",
        interim.entered_by,
        page.age(&interim.entered_ms)
    );
    pairs.push(("Released by", interim.released_by.clone(), entered));
    if let Some(off) = &interim.off {
        let (at, age) = time(off.at);
        let meter = off.meter_min.map(|min| format!(", meter {}", shown(min)));
        let below = format!("{age}, by {}{}", off.by, meter.unwrap_or_default());
        pairs.push(("Taken off", at, below));
        if !off.note.is_empty() {
            pairs.push(plain("Note", &off.note));
        }
    }
    if let Some(returned) = &interim.returned {
        let (at, age) = time(returned.at);
        let below = format!("{at}, {age}, by {}", returned.by);
        pairs.push(("Came back", sentence(&returned.fate), below));
        pairs.push(("Wear", returned.wear.clone(), returned.note.clone()));
    }
    pairs
}

/// From what the hours left are reckoned.
fn reckoned(page: &Layout, interim: &Interim) -> String {
    let Limit::Running { a_day_min, .. } = interim.limit else {
        return String::new();
    };
    let a_day = shown(a_day_min);
    match interim.last_meter() {
        Some((at, meter_min)) => {
            let at = at.timestamp_millis();
            format!(
                "reckoned with {a_day} a day since the meter showed {}, {}",
                shown(meter_min),
                page.age(&at)
            )
        }
        None => format!("reckoned with {a_day} a day; its meter was never read"),
    }
}

fn meter(page: &Layout, interim: &Interim) -> Vec<(String, String, String)> {
    let fitted = interim.meter_min.map(|min| {
        let at = interim.since.timestamp_millis();
        let by = format!("as fitted, entered by {}", interim.entered_by);
        (shown(min), page.moment(&at), by)
    });
    let read = interim.meter.iter().map(|meter| {
        let at = page.moment(&meter.at.timestamp_millis());
        (shown(meter.meter_min), at, meter.by.clone())
    });
    let mut rows: Vec<_> = fitted.into_iter().chain(read).collect();
    rows.reverse();
    rows
}
