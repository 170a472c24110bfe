//! One capability: which assets give it, what it loses by number down, who said so, and when before.

use askama::Template;
use axum::extract::{Path, State as Shared};
use axum::response::Response;
use mendpost_core::lineup::{CapabilityLoss, loss_now};
use mendpost_core::people::Act;
use mendpost_core::situation::{Capability, Figure, Situation};

use super::capability_path;
use super::item::{Item, Thing};
use super::queries::{self, Version};
use super::retired::{self, RecordRow};
use super::state::{AssetRow, State};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page, whole};
use crate::people::Visit;
use crate::situation;
use crate::words::work::{count, sentence, standing};

#[derive(Template)]
#[template(path = "need/capability.html")]
struct CapabilityPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    path: String,
    total: usize,
    running: usize,
    must_run: usize,
    standing: String,
    assets: Vec<AssetRow>,
    rates: Vec<RateRow>,
    has_range: bool,
    said: String,
    /// What was said before, the newest first.
    before: Vec<SaidRow>,
    may_set: bool,
    may_report: bool,
    may_plan: bool,
}

/// What is lost with so many down.
struct RateRow {
    down: String,
    is_now: bool,
    low: String,
    likely: String,
    high: String,
}

struct SaidRow {
    rates: String,
    needs: String,
    said: String,
    entered: String,
}

pub async fn show(
    Shared(state): Shared<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let mut all = situation.capabilities.iter();
    let Some(capability) = all.find(|c| c.code.as_str() == code) else {
        return show_retired(&state, &visit, &code).await;
    };
    let layout = visit
        .layout(Screen::Site, &sentence(&capability.name))
        .await?;
    let versions = queries::versions(&state.db.read, &code).await?;
    let losses = loss_now(&situation);
    let loss = losses
        .iter()
        .find(|loss| loss.capability == capability.code);
    let loss = loss.ok_or_else(|| AppError::internal("a capability without its loss"))?;
    let assets: Vec<AssetRow> = capability
        .assets
        .iter()
        .filter_map(|code| situation.asset(code))
        .map(|asset| AssetRow::new(&layout, &situation, asset))
        .collect();
    let (answer, reason) = answer(&situation, capability, loss, &assets);
    let newest = versions.first();
    page(&CapabilityPage {
        answer,
        reason,
        unit: situation.site.loss_word.clone(),
        path: capability_path(&code),
        total: loss.total,
        running: loss.running,
        must_run: loss.must_run,
        standing: standing(loss),
        assets,
        rates: rates(capability, loss.down),
        has_range: capability.loss_range.is_some(),
        said: newest.map_or_else(String::new, |newest| said(&layout, newest)),
        before: versions
            .iter()
            .skip(1)
            .map(|v| before(&layout, v))
            .collect(),
        may_set: visit.may(Act::SetUpSite),
        may_report: visit.may(Act::ReportAsset),
        may_plan: visit.may(Act::Plan),
        page: layout,
    })
}

async fn show_retired(state: &AppState, visit: &Visit, code: &str) -> Result<Response, AppError> {
    let item = Item::find(Thing::Capability, &state.db.read, code).await?;
    let layout = visit.layout(Screen::Site, &sentence(&item.name)).await?;
    let versions = queries::versions(&state.db.read, code).await?;
    let row = |version: &Version| {
        let row = before(&layout, version);
        RecordRow {
            what: row.rates,
            under: row.needs,
            when: row.said,
            under_when: row.entered,
        }
    };
    let record = versions.iter().map(row).collect();
    retired::show(visit, item, ["Was said", "By"], record).await
}

/// What to bring back first, and what it loses now.
fn answer(
    situation: &Situation,
    capability: &Capability,
    loss: &CapabilityLoss,
    assets: &[AssetRow],
) -> (String, String) {
    let (name, unit) = (&capability.name, &situation.site.loss_word);
    let down: Vec<String> = assets
        .iter()
        .filter(|asset| matches!(asset.state, State::Down(_)))
        .map(|asset| crate::words::work::lower_first(&asset.name))
        .collect();
    let next = capability.loss_per_hour.get(loss.down + 1).copied();
    let reason = match next {
        Some(then) if then > loss.loss_per_hour => {
            format!("The next one down makes it {} {unit}/h.", whole(then))
        }
        _ => String::new(),
    };
    let answer = match (down.is_empty(), loss.loss_per_hour) {
        (true, 0) => format!("Keep {name} so: all of it runs."),
        (true, rate) => format!(
            "Ask again: {name} loses {} {unit}/h with none down.",
            whole(rate)
        ),
        (false, 0) => format!(
            "Let it wait: {name} loses nothing without {}.",
            down.join(" and ")
        ),
        (false, rate) => {
            let enough = loss.short().max(1) < down.len();
            let which = down.join(if enough { " or " } else { " and " });
            format!("Bring back {which}: {name} loses {} {unit}/h.", whole(rate))
        }
    };
    (answer, reason)
}

fn rates(capability: &Capability, down: usize) -> Vec<RateRow> {
    let figure = |figure, row: usize| {
        let rate = capability.rates(figure).and_then(|rates| rates.get(row));
        rate.map_or_else(String::new, |rate| whole(*rate))
    };
    (0..capability.loss_per_hour.len())
        .map(|row| RateRow {
            down: match row {
                0 => "None down".to_owned(),
                row => format!("{} down", sentence(&count(row))),
            },
            is_now: row == down,
            low: figure(Figure::Low, row),
            likely: figure(Figure::Likely, row),
            high: figure(Figure::High, row),
        })
        .collect()
}

/// 'Waterworks engineer, 16 Nov 2026 08:00, 9 days ago; entered by Cell lead'.
fn said(page: &Layout, version: &Version) -> String {
    let entered = match version.entered_by.as_str() {
        "" => "from the site's files".to_owned(),
        by => format!("entered by {by}, {}", page.clock(&version.entered_ms)),
    };
    format!(
        "{}, {}, {}; {entered}",
        version.said_by,
        page.moment(&version.said_ms),
        page.age(&version.said_ms)
    )
}

fn before(page: &Layout, version: &Version) -> SaidRow {
    let list = |rates: &[i64]| -> String {
        let rates: Vec<String> = rates.iter().map(|rate| whole(*rate)).collect();
        rates.join(", ")
    };
    let range = version
        .range
        .as_ref()
        .map(|range| format!("low {}; high {}", list(&range.low), list(&range.high)));
    SaidRow {
        rates: list(&version.likely),
        needs: format!(
            "{} must run of {}{}",
            version.must_run,
            version.assets.join(", "),
            range.map(|range| format!("; {range}")).unwrap_or_default()
        ),
        said: format!("{}, {}", version.said_by, page.day(&version.said_ms)),
        entered: match version.entered_by.as_str() {
            "" => format!("{}, from the site's files", page.day(&version.entered_ms)),
            by => format!("entered {} by {by}", page.clock(&version.entered_ms)),
        },
    }
}
