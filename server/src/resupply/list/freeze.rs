//! Freezing a list for a trip: by hand on a page, or as another page posts it.

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::code::{DeliveryCode, ItemCode};
use mendpost_core::resupply::list::{Addition, Judged, ListLine, LoadList, Total};
use mendpost_core::resupply::{CarriageRules, Carrier, Item, Trip};
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::draft::{Against, Draft, Read, Row, Wanted, parse};
use super::{pages, path, queries, subject, words};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::people::{Visit, Who};
use crate::resupply::{carriage, item, set, trip};

/// What a list for a trip is held against.
pub struct Ready {
    pub listed: trip::queries::Listed,
    pub trip: Trip,
    pub rules: Option<CarriageRules>,
    pub items: Vec<Item>,
    pub sets: Vec<set::queries::Set>,
}

impl Ready {
    pub async fn of(connection: &mut SqliteConnection, code: &str) -> Result<Ready, AppError> {
        let none = || AppError::NotFound {
            what: format!("trip '{code}'"),
        };
        let code: DeliveryCode = code.parse().map_err(|_| none())?;
        let all = trip::queries::listed(connection).await?;
        let listed = all
            .into_iter()
            .find(|it| it.code == code)
            .ok_or_else(none)?;
        let Some(said) = &listed.said else {
            let text = format!("nobody said what {code} may carry; say that of the trip first");
            return Err(AppError::Conflict(text));
        };
        if !listed.is_expected() {
            let text = format!(
                "{code} is {}; a list is frozen for a trip that is expected",
                listed.state
            );
            return Err(AppError::Conflict(text));
        }
        let trip = said.trip.clone();
        let items = item::queries::items(connection).await?;
        Ok(Ready {
            rules: carriage::queries::of(connection, trip.mode).await?,
            items: items.into_iter().map(|(_, item)| item).collect(),
            sets: set::queries::all(connection).await?,
            trip,
            listed,
        })
    }

    pub fn carrier(&self) -> Carrier<'_> {
        Carrier {
            trip: &self.trip,
            rules: self.rules.as_ref(),
        }
    }

    pub fn against<'a>(&'a self, visit: &Visit, list: Option<&'a LoadList>) -> Against<'a> {
        Against {
            items: &self.items,
            carrier: self.carrier(),
            zone: visit.site.zone,
            list,
        }
    }

    /// The line that asks for what was wanted, with all that is known of its item now.
    pub fn line(&self, number: i64, addition: i64, wanted: &Wanted) -> Result<ListLine, AppError> {
        let of = |it: &&Item| it.code == wanted.item;
        let item = self.items.iter().find(of);
        let item = item.ok_or_else(|| AppError::internal("an item was just there"))?;
        let in_set = |it: &&set::queries::Set| it.items.contains(&wanted.item);
        Ok(ListLine {
            number,
            addition,
            takes_back: None,
            item: wanted.item.clone(),
            name: item.name.clone(),
            unit: item.unit.clone(),
            units: wanted.units,
            net_g: item.net_g,
            gross_g: item.gross_g,
            size_mm: item.size_mm,
            goods: item.sheet.in_one_line(),
            uses: self.carrier().uses(item),
            priority: wanted.priority,
            needed_by: wanted.needed_by,
            reason: wanted.reason.clone(),
            one_lot: wanted.one_lot,
            substitutes: item.substitutes.clone(),
            set: self.sets.iter().find(in_set).map(|it| it.number),
        })
    }

    /// What a load takes of each limit, in words.
    pub fn totals(&self, judged: &Judged) -> Vec<Total> {
        let of = |(id, taken, allowed): &(String, i64, i64)| {
            let (what, unit) = words::limit(id, self.rules.as_ref());
            Total {
                id: id.clone(),
                what,
                unit,
                allowed: *allowed,
                taken: *taken,
            }
        };
        judged.taken.iter().map(of).collect()
    }
}

#[derive(Deserialize)]
pub struct Choice {
    #[serde(default)]
    trip: String,
}

/// The page on which a list is written by hand; what must go stands on it already.
pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    if choice.trip.trim().is_empty() {
        let trips = trip::queries::all(&mut reading).await?;
        drop(reading);
        return pages::choose(&visit, &trips).await;
    }
    let ready = Ready::of(&mut reading, choice.trip.trim()).await?;
    none_yet(&mut reading, &ready).await?;
    drop(reading);
    let must_go = ready.trip.must_go.iter();
    let rows = must_go.map(|(item, units): &(ItemCode, i64)| Row {
        item: item.to_string(),
        units: units.to_string(),
        priority: "1".to_owned(),
        reason: "must go, by what was said of the trip".to_owned(),
        ..Row::default()
    });
    let draft = Draft {
        trip: ready.trip.code.to_string(),
        rows: rows.collect(),
        ..Draft::default()
    };
    let read = parse(
        &draft,
        &ready.against(&visit, None),
        &mut FieldErrors::default(),
    )?;
    let errors = FieldErrors::default();
    pages::draft(
        &visit,
        &ready,
        draft,
        Some(&read),
        (errors, StatusCode::OK),
        None,
    )
    .await
}

/// The same page with lines that another one proposes: nothing is frozen yet. Where the trip has its list,
/// they are an addition to it.
pub async fn take(
    State(state): State<AppState>,
    visit: Visit,
    Posted(fields): Posted<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let mut draft = Draft::of(&fields);
    let mut reading = state.db.read.begin().await?;
    let ready = Ready::of(&mut reading, &draft.trip).await?;
    let list = match queries::of_delivery(&mut reading, ready.listed.id).await? {
        Some(number) => queries::one(&mut reading, &visit.site.name, number).await?,
        None => None,
    };
    drop(reading);
    if let Some(list) = &list {
        draft.version = list.additions.len().to_string();
    }
    let mut errors = FieldErrors::default();
    let read = parse(&draft, &ready.against(&visit, list.as_ref()), &mut errors)?;
    let shown = (errors, StatusCode::OK);
    pages::draft(&visit, &ready, draft, Some(&read), shown, list.as_ref()).await
}

async fn none_yet(connection: &mut SqliteConnection, ready: &Ready) -> Result<(), AppError> {
    match queries::of_delivery(connection, ready.listed.id).await? {
        None => Ok(()),
        Some(number) => Err(AppError::Conflict(format!(
            "load list {number} is frozen for {} already; add to it: {}/add",
            ready.trip.code,
            path(number)
        ))),
    }
}

/// Freezes what was posted, or shows it again with what it comes to.
pub async fn freeze(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(fields): Posted<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let draft = Draft::of(&fields);
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let ready = Ready::of(change.connection(), &draft.trip).await?;
    none_yet(change.connection(), &ready).await?;
    let read = parse(&draft, &ready.against(&visit, None), &mut errors)?;
    if draft.step == "look" || !errors.is_empty() {
        drop(change);
        let status = match draft.step.as_str() {
            "look" => StatusCode::OK,
            _ => errors.status(),
        };
        return pages::draft(&visit, &ready, draft, Some(&read), (errors, status), None).await;
    }
    let list = record(&mut change, &visit, &who, &ready, &read).await?;
    let journal = list.additions[0].journal;
    let text = format!(
        "load list {} for {}, {}. Journal {journal}.",
        list.number,
        list.trip,
        words::both(&list)
    );
    let location = path(list.number);
    change
        .finish(&who, &location, Notice::done("FROZEN", text))
        .await
}

async fn record(
    change: &mut Change,
    visit: &Visit,
    who: &Who,
    ready: &Ready,
    read: &Read,
) -> Result<LoadList, AppError> {
    let number = queries::next_number(change.connection()).await?;
    let numbered = (1..).zip(&read.wanted);
    let lines: Result<Vec<ListLine>, AppError> = numbered
        .map(|(n, wanted)| ready.line(n, 0, wanted))
        .collect();
    let mut list = LoadList {
        number,
        site: visit.site.name.clone(),
        trip: ready.trip.code.clone(),
        trip_name: ready.trip.name.clone(),
        mode: ready.trip.mode,
        closes: ready.trip.closes,
        additions: vec![Addition {
            number: 0,
            at: change.moment()?,
            by: who.name.clone(),
            reason: String::new(),
            journal: 0,
            apart: read.judged.apart.clone(),
        }],
        lines: lines?,
        totals: ready.totals(&read.judged),
    };
    list.check().map_err(AppError::internal)?;
    let content = json!({
        "trip": list.trip,
        "lines": list.lines,
        "totals": list.totals,
        "apart": list.additions[0].apart,
    });
    let journal = change
        .journal("load-list.frozen", subject(number), content)
        .await?;
    list.additions[0].journal = journal;
    queries::insert(change.connection(), ready.listed.id, &list).await?;
    queries::insert_addition(change.connection(), &list, &list.additions[0]).await?;
    Ok(list)
}
