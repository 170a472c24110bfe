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

use super::{carriage, failure, item, set, trip};
use crate::AppState;
use crate::background::{Background, Handle};
use crate::change::last_sequence;
use crate::clock::Clock;
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
pub type FirstLoads = Background<(), FirstLoad>;

/// A proposal with what it rests on.
#[derive(Debug)]
pub struct Found {
    pub basis: Basis,
    /// Until then its load must last.
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
    clock: Clock,
    began: Instant,
}

/// Starts a run for a trip, unless one goes on.
pub async fn start(state: &AppState, code: &DeliveryCode, by: String) -> Result<(), AppError> {
    let announced = |trips: Vec<Trip>| {
        let known = trips.iter().find(|trip| trip.code == *code);
        let trip = known.ok_or_else(|| trip::unknown(code.as_str()))?.clone();
        let later = trips.into_iter().filter(|it| it.usual > trip.usual);
        let next = later.min_by_key(|it| it.usual);
        Ok((trip, next))
    };
    let records = read(state, announced).await?;
    let proposals = state.proposals.clone();
    proposals.start(code.clone(), by, |handle| {
        run(move || work_out(records, &handle))
    });
    Ok(())
}

/// Starts a run for a cell that leaves with this vehicle and is alone for so many days, unless one goes on.
pub async fn start_first(
    state: &AppState,
    vehicle: Trip,
    days: i64,
    by: String,
) -> Result<(), AppError> {
    let records = read(state, |_| Ok((vehicle, None))).await?;
    let firsts = state.first_loads.clone();
    firsts.start((), by, |handle| {
        run(move || first_load(records, days, &handle))
    });
    Ok(())
}

/// Away from what answers requests.
async fn run<F: Send + 'static>(
    work: impl FnOnce() -> Option<F> + Send + 'static,
) -> Result<Option<F>, AppError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(AppError::internal)
}

/// What a run of the trip that is chosen of those announced reads, with the one after it.
async fn read(
    state: &AppState,
    choose: impl FnOnce(Vec<Trip>) -> Result<(Trip, Option<Trip>), AppError>,
) -> Result<Records, AppError> {
    let began = Instant::now();
    let now = decoded(situation::moment(state.clock.now()))?;
    let mut reading = state.db.read.begin().await?;
    let (trip, next) = choose(trip::queries::all(&mut reading).await?)?;
    let days = (trip.latest - now).num_days() + BEYOND_DAYS;
    let situation = situation::load_ahead(&mut reading, now, days).await?;
    let items = item::queries::items(&mut reading).await?.into_iter();
    Ok(Records {
        items: items.map(|(_, item)| item).collect(),
        sets: set::queries::sets(&mut reading).await?,
        rules: carriage::queries::of(&mut reading, trip.mode).await?,
        failures: failure::queries::failures(&mut reading, state.clock.now()).await?,
        sequence: last_sequence(&mut *reading).await?,
        budget: Budget {
            iterations: state.config.load_iterations,
            seed: 1,
        },
        clock: state.clock.clone(),
        situation,
        trip,
        next,
        began,
    })
}

/// None if it was stopped.
fn work_out(records: Records, handle: &Handle<DeliveryCode, Found>) -> Option<Found> {
    let next = records.next.as_ref();
    let setting = Setting {
        situation: records.situation.clone(),
        trip: records.trip.clone(),
        next: next
            .cloned()
            .map_or(NextTrip::Days(NEXT_DAYS), NextTrip::Known),
        items: records.items.clone(),
        failures: records.failures.clone(),
    };
    let worked = records.proposed(setting, handle)?;
    let (yardstick, proposal) = (&worked.yardstick, &worked.proposal);
    let mut stop = || handle.is_stopped();
    let (load, truly) = (&proposal.load, &proposal.truly);
    let slips = slips(yardstick, load, truly, records.budget, &mut stop)?;
    Some(Found {
        end: yardstick.bare().moment(yardstick.end()),
        next: next.map(|it| it.code.clone()),
        without: yardstick.without().clone(),
        noise: yardstick.measure().noise(),
        needs: worked.needs,
        slips,
        proposal: worked.proposal,
        basis: records.basis(),
    })
}

fn first_load(records: Records, days: i64, handle: &Handle<(), FirstLoad>) -> Option<FirstLoad> {
    let setting = first_setting(
        &records.situation,
        &records.trip,
        records.items.clone(),
        records.failures.clone(),
        days,
    );
    let worked = records.proposed(setting, handle)?;
    let served_permille = worked.proposal.truly.outlook.served_permille;
    Some(FirstLoad {
        days,
        needs: worked.needs,
        spares: spares_for(&worked.yardstick, served_permille as f64 / 1000.0),
        proposal: worked.proposal,
        basis: records.basis(),
    })
}

/// What a proposal is worked out with, and what it is for.
struct Worked {
    yardstick: Yardstick,
    proposal: Proposal,
    needs: Vec<Need>,
}

impl Records {
    /// None if it was stopped.
    fn proposed<A, F>(&self, setting: Setting, handle: &Handle<A, F>) -> Option<Worked> {
        let mut stop = || handle.is_stopped();
        let yardstick = Yardstick::new(setting, self.budget, COURSES, &mut stop)?;
        let order = Order {
            yardstick: &yardstick,
            sets: &self.sets,
            rules: self.rules.as_ref(),
        };
        let proposal = propose(order, &mut stop, &mut |tried| handle.tell(tried, 0))?;
        let left = yardstick.left_without();
        let needs = needs(&yardstick, &left, &proposal.load, &proposal.truly.left);
        Some(Worked {
            yardstick,
            proposal,
            needs,
        })
    }

    fn basis(self) -> Basis {
        Basis {
            from: self.situation.now,
            trip: self.trip,
            items: self.items,
            rules: self.rules,
            computed_ms: self.clock.now(),
            took: self.began.elapsed(),
            sequence: self.sequence,
        }
    }
}
