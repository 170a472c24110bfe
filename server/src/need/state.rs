//! How an asset stands at one moment, in marks and words.

use chrono::{DateTime, Utc};
use mendpost_core::lineup::is_down;
use mendpost_core::situation::{Asset, Situation};

use super::report::What;
use super::{asset_path, capability_path};
use crate::page::Layout;
use crate::requests;
use crate::words::work::sentence;

/// How an asset stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    Runs,
    /// Since when.
    Down(DateTime<Utc>),
    /// Runs, and is expected to stop at this time.
    Expected(DateTime<Utc>),
}

impl State {
    pub fn of(situation: &Situation, asset: &Asset) -> State {
        match asset.down_from {
            Some(from) if from > situation.now => State::Expected(from),
            Some(from) if is_down(situation, &asset.code) => State::Down(from),
            _ => State::Runs,
        }
    }

    /// The mark, as `marks.html` names it.
    fn mark(self) -> &'static str {
        match self {
            State::Runs => "done",
            State::Down(_) => "lost",
            State::Expected(_) => "work",
        }
    }

    fn word(self) -> &'static str {
        match self {
            State::Runs => "runs",
            State::Down(_) => "down",
            State::Expected(_) => "runs, will stop",
        }
    }

    /// The report that comes next.
    pub fn next(self) -> What {
        match self {
            State::Down(_) => What::Up,
            State::Runs | State::Expected(_) => What::Down,
        }
    }
}

/// An asset as a row shows it.
pub struct AssetRow {
    pub name: String,
    pub path: String,
    pub mark: &'static str,
    pub word: &'static str,
    /// Since when, or from when, and when it is expected back.
    pub since: String,
    /// Name and address of each capability that it serves.
    pub serves: Vec<(String, String)>,
    /// Number and address of each request that is open for it.
    pub open: Vec<(String, String)>,
    /// The report that comes next: its words and its address.
    pub report: (&'static str, String),
    pub state: State,
}

impl AssetRow {
    pub fn new(page: &Layout, situation: &Situation, asset: &Asset) -> AssetRow {
        let state = State::of(situation, asset);
        let path = asset_path(asset.code.as_str());
        let next = state.next();
        let open = situation
            .requests
            .iter()
            .filter(|r| r.asset == asset.code)
            .map(|r| (r.code.to_string(), requests::path(&r.code)));
        let serves = situation
            .capabilities
            .iter()
            .filter(|c| c.assets.contains(&asset.code))
            .map(|c| (c.name.clone(), capability_path(c.code.as_str())));
        AssetRow {
            name: sentence(&asset.name),
            mark: state.mark(),
            word: state.word(),
            since: since(page, state, asset.back),
            serves: serves.collect(),
            open: open.collect(),
            report: (next.short(), format!("{path}/report/{next}")),
            path,
            state,
        }
    }

    /// 'fresh water; R1, R8 open'.
    pub fn about(&self) -> String {
        let names = |of: &[(String, String)]| {
            let names: Vec<&str> = of.iter().map(|(name, _)| name.as_str()).collect();
            names.join(", ")
        };
        let serves = match self.serves.is_empty() {
            true => "serves no capability".to_owned(),
            false => names(&self.serves),
        };
        match self.open.is_empty() {
            true => serves,
            false => format!("{serves}; {} open", names(&self.open)),
        }
    }
}

/// 'since Sun 15 05:00, 10 days ago', 'from Sat 28 08:00, in 2 days; back expected Fri 4 15:00'.
fn since(page: &Layout, state: State, back: Option<DateTime<Utc>>) -> String {
    let told = |word: &str, at: DateTime<Utc>| {
        let ms = at.timestamp_millis();
        format!("{word} {}, {}", page.clock(&ms), page.age(&ms))
    };
    let since = match state {
        State::Runs => return String::new(),
        State::Down(since) => told("since", since),
        State::Expected(from) => told("from", from),
    };
    match back {
        Some(back) => format!(
            "{since}; back expected {}",
            page.clock(&back.timestamp_millis())
        ),
        None => since,
    }
}
