//! What the site needs and what each hour costs now; every asset and how it stands.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::lineup::{CapabilityLoss, loss_now};
use mendpost_core::people::Act;
use mendpost_core::situation::{Capability, Figure, Situation};

use super::item::Thing;
use super::retired::{self, RetiredRow};
use super::state::{AssetRow, State as AssetState};
use super::{capability_path, queries};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page, whole};
use crate::people::Visit;
use crate::situation;
use crate::words::work::{sentence, standing};

#[derive(Template)]
#[template(path = "need/list.html")]
struct ListPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    capabilities: Vec<CapabilityRow>,
    assets: Vec<AssetRow>,
    retired_capabilities: Vec<RetiredRow>,
    retired_assets: Vec<RetiredRow>,
    may_set: bool,
    may_report: bool,
}

struct CapabilityRow {
    name: String,
    path: String,
    total: usize,
    running: usize,
    must_run: usize,
    standing: String,
    said: String,
    loss: String,
    /// Between which two the loss may lie; empty where nobody said.
    range: String,
    /// What the next one down adds; empty where all are down.
    next: String,
}

pub async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let layout = visit.layout(Screen::Site, "What the site needs").await?;
    let mut losses = loss_now(&situation);
    losses.sort_by_key(|loss| -loss.loss_per_hour);
    let mut assets: Vec<AssetRow> = situation
        .assets
        .iter()
        .map(|asset| AssetRow::new(&layout, &situation, asset))
        .collect();
    assets.sort_by_key(|asset| match asset.state {
        AssetState::Down(_) => 0,
        AssetState::Expected(_) => 1,
        AssetState::Runs => 2,
    });
    let (answer, reason) = answer(&situation, &losses);
    let all = |thing| queries::items(&state.db.read, thing, None);
    page(&ListPage {
        answer,
        reason,
        unit: situation.site.loss_word.clone(),
        capabilities: losses
            .iter()
            .filter_map(|loss| {
                let mut all = situation.capabilities.iter();
                let capability = all.find(|c| c.code == loss.capability)?;
                Some(row(&layout, capability, loss))
            })
            .collect(),
        assets,
        retired_capabilities: retired::rows(all(Thing::Capability).await?),
        retired_assets: retired::rows(all(Thing::Asset).await?),
        may_set: visit.may(Act::SetUpSite),
        may_report: visit.may(Act::ReportAsset),
        page: layout,
    })
}

fn row(page: &Layout, capability: &Capability, loss: &CapabilityLoss) -> CapabilityRow {
    let next = capability.loss_per_hour.get(loss.down + 1);
    let said_ms = capability.said_at.timestamp_millis();
    let range = capability
        .rates(Figure::Low)
        .zip(capability.rates(Figure::High))
        .and_then(|(low, high)| Some((low.get(loss.down)?, high.get(loss.down)?)))
        .map(|(low, high)| format!("{} to {}", whole(*low), whole(*high)));
    CapabilityRow {
        name: sentence(&capability.name),
        path: capability_path(capability.code.as_str()),
        total: loss.total,
        running: loss.running,
        must_run: loss.must_run,
        standing: standing(loss),
        said: format!("{}, {}", capability.said_by, page.age(&said_ms)),
        range: range.unwrap_or_default(),
        loss: whole(loss.loss_per_hour),
        next: next.map_or_else(String::new, |then| {
            format!("+{}", whole(then - loss.loss_per_hour))
        }),
    }
}

/// What each hour costs now, and for what most.
fn answer(situation: &Situation, losses: &[CapabilityLoss]) -> (String, String) {
    let unit = &situation.site.loss_word;
    let total: i64 = losses.iter().map(|l| l.loss_per_hour).sum();
    let short = losses.iter().filter(|l| l.short() > 0).count();
    let reason = format!("{short} of {} capabilities are short.", losses.len());
    match losses.first() {
        None => (
            "Say what the site needs: nobody has yet.".to_owned(),
            "Until then no request stops any loss.".to_owned(),
        ),
        Some(_) if total == 0 => ("Keep it running: nothing is lost now.".to_owned(), reason),
        Some(dearest) => {
            let mut all = situation.capabilities.iter();
            let name = all
                .find(|c| c.code == dearest.capability)
                .map_or("", |c| c.name.as_str());
            let answer = format!(
                "Get {name} back: it loses most, {} of {} {unit} an hour.",
                whole(dearest.loss_per_hour),
                whole(total)
            );
            (answer, reason)
        }
    }
}
