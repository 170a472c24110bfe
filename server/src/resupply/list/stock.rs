//! What is on hand, to be told to the depot: powder by lot, gas by bank, fuel, consumables as counted.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use mendpost_core::resupply::Content;
use mendpost_core::resupply::radio::{OnHand, Stock};

use super::pages::RadioPage;
use super::read::on_hand;
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::resupply::item;
use crate::situation;

async fn stock(state: &AppState) -> Result<Stock, AppError> {
    let situation = situation::now(state).await?;
    let mut reading = state.db.read.acquire().await?;
    let items = item::queries::items(&mut reading).await?;
    drop(reading);
    let zone = situation.site.zone;
    let lots = situation.lots.iter().map(|lot| OnHand::Lot {
        lot: lot.code.clone(),
        powder: lot.powder.clone(),
        grams: lot.on_hand.0.div_euclid(1000),
        state: lot.state,
        use_by: lot.use_by.map(|at| at.with_timezone(&zone).date_naive()),
    });
    let banks = situation.banks.iter().map(|bank| OnHand::Bank {
        bank: bank.code.clone(),
        bottles: bank.bottles,
        mbar: bank.pressure_mbar,
    });
    let fuel = OnHand::Fuel {
        ml: situation.fuel.on_hand_ml,
    };
    let counted = items.iter().filter_map(|(_, item)| match &item.content {
        Content::Consumable(used) => Some(OnHand::Item {
            item: item.code.clone(),
            units: used.counted.as_ref()?.units,
        }),
        _ => None,
    });
    let mut entries: Vec<OnHand> = lots.collect();
    entries.sort_by_key(|it| match it {
        OnHand::Lot { powder, lot, .. } => Some((powder.clone(), lot.clone())),
        _ => None,
    });
    entries.extend(banks);
    entries.push(fuel);
    entries.extend(counted);
    Ok(Stock {
        at: situation.now,
        entries,
    })
}

#[derive(Template)]
#[template(path = "resupply/list/stock.html")]
struct StockPage {
    page: Layout,
    rows: Vec<(String, String)>,
    at: String,
}

pub async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let stock = stock(&state).await?;
    let layout = visit.layout(Screen::Resupply, "What is on hand").await?;
    page(&StockPage {
        rows: stock.entries.iter().map(on_hand).collect(),
        at: layout.moment(&stock.at.timestamp_millis()),
        page: layout,
    })
}

pub async fn radio(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let stock = stock(&state).await?;
    let layout = visit
        .layout(Screen::Resupply, "What is on hand, by voice")
        .await?;
    page(&RadioPage {
        answer: "Read what is on hand to the depot, line by line.".to_owned(),
        lines: stock.radio(),
        back: (
            "What is on hand".to_owned(),
            "/resupply/stock-report".to_owned(),
        ),
        page: layout,
    })
}
