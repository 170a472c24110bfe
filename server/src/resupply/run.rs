//! Which load of a trip averts most: worked out beside the requests, one run at a time.

use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use mendpost_core::code::{DeliveryCode, ItemCode};
use mendpost_core::lineup::Budget;
use mendpost_core::resupply::{
    COURSES, CarriageRules, FailureRecord, Item, Need, NextTrip, Order, Outlook, Proposal, Setting,
    Slip, Spares, Trip, Yardstick, first_setting, needs, propose, slips, spares_for,
};
use mendpost_core::situation::Situation;
use sqlx::SqliteConnection;

use super::{carriage, failure, item, set, trip};
use crate::AppState;
use crate::background::{Background, Handle};
use crate::db::decoded;
use crate::error::AppError;
use crate::situation;

/// So many days after a trip the next one is reckoned with where none is announced: common practice, no
/// source.
pub const NEXT_DAYS: i64 = 14;

/// So many days beyond a trip's latest arrival the plan reaches, so that it knows what a trip a week late
/// still serves.
const BEYOND_DAYS: i64 = 9;

/// What the last run found, and how far the present one is.
pub type Proposals = Background<DeliveryCode, Found>;
/// The same of a cell about to leave.
pub type FirstLoads = Background<DeliveryCode, FirstLoad>;

/// A proposal with what it rests on.
#[derive(Debug)]
pub struct Found {
    pub basis: Basis,
    /// From its landing on, what it brings may be used.
    pub landing: DateTime<Utc>,
    /// Until then it must last.
    pub end: DateTime<Utc>,
    /// Whether a trip after it is announced.
    pub next: Option<DeliveryCode>,
    pub without: Outlook,
    /// How far searches of one plan lie apart, as rate x minutes.
    pub noise: i64,
    pub proposal: Proposal,
    pub needs: Vec<Need>,
    pub slips: Vec<Slip>,
}

/// What a cell about to leave takes along.
#[derive(Debug)]
pub struct FirstLoad {
    pub basis: Basis,
    pub days: i64,
    pub proposal: Proposal,
    pub needs: Vec<Need>,
    /// Finished spares of the same parts that serve as many failures.
    pub spares: Spares,
}

/// What was read for a run.
#[derive(Debug)]
pub struct Basis {
    pub trip: Trip,
    pub items: Vec<Item>,
    pub rules: Option<CarriageRules>,
    pub from: DateTime<Utc>,
    pub computed_ms: i64,
    pub took: Duration,
    /// The newest journal entry when it began.
    pub sequence: i64,
}

/// All that a run reads.
struct Records {
    situation: Situation,
    trip: Trip,
    next: Option<Trip>,
    items: Vec<Item>,
    sets: Vec<Vec<ItemCode>>,
    rules: Option<CarriageRules>,
    failures: Vec<FailureRecord>,
    sequence: i64,
    budget: Budget,
    began: Instant,
}

/// Starts a run for a trip, unless one goes on.
pub async fn start(state: &AppState, code: &DeliveryCode, by: String) -> Result<(), AppError> {
    let records = read(state, code).await?;
    let (proposals, clock) = (state.proposals.clone(), state.clock.clone());
    proposals.start(code.clone(), by, |handle| async move {
        let found = tokio::task::spawn_blocking(move || work_out(records, &handle));
        let found = found.await.map_err(AppError::internal)?;
        Ok(found.map(|mut found| {
            found.basis.computed_ms = clock.now();
            found
        }))
    });
    Ok(())
}

/// Starts a run for a cell that leaves with this vehicle and is alone for so many days, unless one goes on.
pub async fn start_first(
    state: &AppState,
    code: &DeliveryCode,
    days: i64,
    by: String,
) -> Result<(), AppError> {
    let records = read(state, code).await?;
    let (firsts, clock) = (state.first_loads.clone(), state.clock.clone());
    firsts.start(code.clone(), by, |handle| async move {
        let found = tokio::task::spawn_blocking(move || first_load(records, days, &handle));
        let found = found.await.map_err(AppError::internal)?;
        Ok(found.map(|mut found| {
            found.basis.computed_ms = clock.now();
            found
        }))
    });
    Ok(())
}

async fn read(state: &AppState, code: &DeliveryCode) -> Result<Records, AppError> {
    let began = Instant::now();
    let now = decoded(situation::moment(state.clock.now()))?;
    let mut reading = state.db.read.begin().await?;
    let trips = trip::queries::all(&mut reading).await?;
    let known = trips.iter().find(|trip| trip.code == *code);
    let trip = known.ok_or_else(|| trip::unknown(code.as_str()))?.clone();
    let next = trips.into_iter().filter(|it| it.usual > trip.usual);
    let next = next.min_by_key(|it| it.usual);
    let days = (trip.latest - now).num_days() + BEYOND_DAYS;
    let situation = situation::load_ahead(&mut reading, now, days).await?;
    let items = item::queries::items(&mut reading).await?.into_iter();
    Ok(Records {
        items: items.map(|(_, item)| item).collect(),
        sets: set::queries::sets(&mut reading).await?,
        rules: carriage::queries::of(&mut reading, trip.mode).await?,
        failures: failure::queries::failures(&mut reading, state.clock.now()).await?,
        sequence: newest_sequence(&mut reading).await?,
        budget: Budget {
            iterations: state.config.load_iterations,
            seed: 1,
        },
        situation,
        trip,
        next,
        began,
    })
}

async fn newest_sequence(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    let newest = sqlx::query_scalar!(r#"select max(sequence) as "newest?: i64" from journal"#);
    Ok(newest.fetch_one(connection).await?.unwrap_or(0))
}

/// None if it was stopped.
fn work_out(records: Records, handle: &Handle<DeliveryCode, Found>) -> Option<Found> {
    let mut stop = || handle.is_stopped();
    let next = records.next.clone();
    let setting = Setting {
        situation: records.situation.clone(),
        trip: records.trip.clone(),
        next: next
            .clone()
            .map_or(NextTrip::Days(NEXT_DAYS), NextTrip::Known),
        items: records.items.clone(),
        failures: records.failures.clone(),
    };
    let yardstick = Yardstick::new(setting, records.budget, COURSES, &mut stop)?;
    let order = Order {
        yardstick: &yardstick,
        sets: &records.sets,
        rules: records.rules.as_ref(),
    };
    let proposal = propose(order, &mut stop, &mut |tried| handle.tell(tried, 0))?;
    let left = yardstick.left_without();
    let slips = slips(
        &yardstick,
        &proposal.load,
        &proposal.truly,
        records.budget,
        &mut stop,
    )?;
    let moment = |minute| yardstick.bare().moment(minute);
    Some(Found {
        landing: moment(yardstick.landing()),
        end: moment(yardstick.end()),
        next: next.map(|it| it.code),
        without: yardstick.without().clone(),
        noise: yardstick.measure().noise(),
        needs: needs(&yardstick, &left, &proposal.load, &proposal.truly.left),
        slips,
        proposal,
        basis: records.basis(),
    })
}

fn first_load(
    records: Records,
    days: i64,
    handle: &Handle<DeliveryCode, FirstLoad>,
) -> Option<FirstLoad> {
    let mut stop = || handle.is_stopped();
    let (situation, items) = (&records.situation, records.items.clone());
    let setting = first_setting(
        situation,
        &records.trip,
        items,
        records.failures.clone(),
        days,
    );
    let yardstick = Yardstick::new(setting, records.budget, COURSES, &mut stop)?;
    let order = Order {
        yardstick: &yardstick,
        sets: &records.sets,
        rules: records.rules.as_ref(),
    };
    let proposal = propose(order, &mut stop, &mut |tried| handle.tell(tried, 0))?;
    let left = yardstick.left_without();
    let served_permille = proposal.truly.outlook.served_permille;
    Some(FirstLoad {
        days,
        needs: needs(&yardstick, &left, &proposal.load, &proposal.truly.left),
        spares: spares_for(&yardstick, served_permille as f64 / 1000.0),
        proposal,
        basis: records.basis(),
    })
}

impl Records {
    fn basis(self) -> Basis {
        Basis {
            from: self.situation.now,
            trip: self.trip,
            items: self.items,
            rules: self.rules,
            computed_ms: 0,
            took: self.began.elapsed(),
            sequence: self.sequence,
        }
    }
}
