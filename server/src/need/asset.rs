//! One asset: how it stands, what it serves, what is open for it, what was reported.

use askama::Template;
use axum::extract::{Path, State as Shared};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::lineup::{is_down, stops_now};
use mendpost_core::people::Act;
use mendpost_core::situation::{Asset, Situation};
use serde_json::Value;

use super::item::{Item, Thing};
use super::report::What;
use super::retired::{self, RecordRow};
use super::state::{AssetRow, State};
use crate::AppState;
use crate::error::AppError;
use crate::journal;
use crate::page::{Layout, Screen, page, whole};
use crate::people::Visit;
use crate::situation;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "need/asset.html")]
struct AssetPage {
    page: Layout,
    answer: String,
    code: String,
    row: AssetRow,
    /// What its return alone would stop now, or nothing.
    stops: String,
    /// The open requests, with their parts.
    open: Vec<(String, String)>,
    reports: Vec<ReportRow>,
    /// The other reports that make sense now: words and address.
    others: Vec<(&'static str, String)>,
    may_set: bool,
    may_report: bool,
}

struct ReportRow {
    time: i64,
    what: String,
    by: String,
}

pub async fn show(
    Shared(state): Shared<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let mut assets = situation.assets.iter();
    let Some(asset) = assets.find(|asset| asset.code.as_str() == code) else {
        return show_retired(&state, &visit, &code).await;
    };
    let layout = visit.layout(Screen::Site, &sentence(&asset.name)).await?;
    let row = AssetRow::new(&layout, &situation, asset);
    let reports = reports(&state, &code).await?;
    page(&AssetPage {
        answer: answer(&layout, &situation, asset, &row),
        code,
        stops: stops(&situation, asset),
        open: situation
            .requests
            .iter()
            .filter(|r| r.asset == asset.code)
            .map(|r| {
                let name = format!("{} {}", r.code, r.part_name);
                (name, crate::requests::path(&r.code))
            })
            .collect(),
        reports: reports
            .into_iter()
            .map(|report| ReportRow {
                time: report.time,
                what: told(&layout, &report.kind, &report.content),
                by: report.by,
            })
            .collect(),
        others: others(row.state)
            .iter()
            .map(|(words, what)| (*words, format!("{}/report/{what}", row.path)))
            .collect(),
        row,
        may_set: visit.may(Act::SetUpSite),
        may_report: visit.may(Act::ReportAsset),
        page: layout,
    })
}

/// What was reported of an asset, the newest first.
async fn reports(state: &AppState, code: &str) -> Result<Vec<journal::Told>, sqlx::Error> {
    journal::of(&state.db.read, &Subject::new("asset", code), None, 20).await
}

async fn show_retired(state: &AppState, visit: &Visit, code: &str) -> Result<Response, AppError> {
    let item = Item::find(Thing::Asset, &state.db.read, code).await?;
    let layout = visit.layout(Screen::Site, &sentence(&item.name)).await?;
    let reports = reports(state, code).await?;
    let row = |report: journal::Told| RecordRow {
        what: told(&layout, &report.kind, &report.content),
        under: report.by,
        when: layout.clock(&report.time),
        under_when: layout.age(&report.time),
    };
    let record = reports.into_iter().map(row).collect();
    retired::show(visit, item, ["Reported", "When"], record).await
}

fn answer(page: &Layout, situation: &Situation, asset: &Asset, row: &AssetRow) -> String {
    let name = &asset.name;
    let waits = row.open.len();
    match row.state {
        State::Runs if waits > 0 => {
            let open: Vec<&str> = row.open.iter().map(|(code, _)| code.as_str()).collect();
            format!(
                "Look at {}: still open, though {name} runs.",
                open.join(", ")
            )
        }
        State::Runs => format!("Report {name} when it stops: it runs."),
        State::Expected(from) => {
            let from = page.clock(&from.timestamp_millis());
            format!("Expect {name} to stop {from}; it still runs.")
        }
        State::Down(_) => {
            let (rate, unit) = (stops_now(situation, &asset.code), &situation.site.loss_word);
            format!("Bring {name} back: that stops {} {unit}/h.", whole(rate))
        }
    }
}

fn stops(situation: &Situation, asset: &Asset) -> String {
    if !is_down(situation, &asset.code) {
        return "nothing now: it runs".to_owned();
    }
    let unit = &situation.site.loss_word;
    format!("{} {unit}/h", whole(stops_now(situation, &asset.code)))
}

/// The reports that may follow, beside the one that is offered first.
fn others(state: State) -> &'static [(&'static str, What)] {
    match state {
        State::Runs => &[("Will stop at a time", What::Expected)],
        State::Down(_) => &[
            ("Back by other means", What::Back),
            ("Correct since when", What::Down),
        ],
        State::Expected(_) => &[
            ("Will not stop after all", What::Up),
            ("Will stop at another time", What::Expected),
            ("Back by other means", What::Back),
        ],
    }
}

/// What a journal entry says of an asset.
fn told(page: &Layout, kind: &str, content: &Value) -> String {
    let time = |key: &str| content[key].as_i64().map(|ms| page.clock(&ms));
    let at = |words: &str, key: &str| match time(key) {
        Some(at) => format!("{words} {at}"),
        None => words.to_owned(),
    };
    match kind {
        "asset.listed" => at("listed; down from", "down_from")
            .trim_end_matches("; down from")
            .to_owned(),
        "asset.down" if content["request"].is_null() => {
            with_cause(at("down since", "down_from_ms"), content)
        }
        "asset.down" => with_cause(at("down from", "down_from_ms"), content),
        "asset.up" => {
            let up = match content["at_ms"].is_null() {
                true => "will not stop after all".to_owned(),
                false => at("up since", "at_ms"),
            };
            let until = time("down_from_ms");
            let up = up + &until.map_or_else(String::new, |at| format!("; will stop {at}"));
            with_cause(up, content)
        }
        "asset.expected" => with_cause(at("will stop", "down_from_ms"), content),
        "asset.back" if content["at_ms"].is_null() => {
            "no longer expected back by other means".to_owned()
        }
        "asset.back" => at("expected back by other means", "at_ms"),
        "asset.named" => format!(
            "named {}, was {}",
            content["name"].as_str().unwrap_or_default(),
            content["before"].as_str().unwrap_or_default()
        ),
        "asset.retired" => format!(
            "retired: {}",
            content["reason"].as_str().unwrap_or_default()
        ),
        "asset.brought-back" => "brought back into use".to_owned(),
        other => other.replace(['.', '-'], " "),
    }
}

/// With what is said of an asset, where that comes of a request or of an interim part.
fn with_cause(said: String, content: &Value) -> String {
    match (content["request"].as_i64(), content["interim"].as_str()) {
        (Some(number), _) => format!("{said}, with R{number}"),
        (_, Some(interim)) => format!("{said}, with {interim}"),
        _ => said,
    }
}
