//! What one more of each thing is worth, and which loss figure would change the first places: worked out
//! beside the requests, one run at a time.
//!
//! What a run found is kept in memory. It is worked out again in less than a minute from a line-up that is
//! stored, nobody signs it, and with the next order it is out of date: a restart may lose it. The order is
//! placed anew on things as they stand when a run begins, so that all is counted from then on.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use mendpost_core::code::{CapabilityCode, PowderCode};
use mendpost_core::lineup::{Budget, Measure, More, Swing, Verified, Worth, draft, duty_ends};
use mendpost_core::situation::{KeepBack, Situation};

use super::beside::from_now;
use super::queries;
use crate::AppState;
use crate::background::{Background, Handle};
use crate::error::AppError;
use crate::situation;

/// Changes tried for each plan, so that all of a run ends within a minute.
pub const BUDGET: Budget = Budget {
    iterations: 10_000,
    seed: 1,
};

/// One more of fuel, in millilitres.
const FUEL_ML: i64 = 10_000;

/// One more of duty, in minutes.
const DUTY_MIN: i64 = 60;

/// What the one run of a site found, and how far the present one is: about the line-up of that number.
pub type Worths = Background<i64, Found>;

type Run = Handle<i64, Found>;

/// What a run found.
#[derive(Debug)]
pub struct Found {
    /// For which line-up.
    pub number: i64,
    pub computed_ms: i64,
    pub took: Duration,
    /// The moment that it counts from.
    pub from: DateTime<Utc>,
    /// When the attended period ends that ends first, where one does.
    pub duty_ends: Option<DateTime<Utc>>,
    pub measured: Measured,
}

/// What the searches of a run found.
#[derive(Debug)]
pub struct Measured {
    /// How far searches of one problem lie apart, as rate x minutes.
    pub noise: i64,
    /// By how much the plan that all is measured from loses less than the line-up's order.
    pub better: i64,
    /// What one more of each is worth, the greatest first.
    pub worths: Vec<(More, Worth)>,
    /// What holding each keep-back costs, as it was when the run began: what giving it up averts.
    pub holding: Vec<(KeepBack, Worth)>,
    pub swings: Vec<Swing>,
}

/// Starts a run for the newest line-up, unless one goes on.
pub async fn start(state: &AppState, by: String) -> Result<(), AppError> {
    let newest = queries::latest(&state.db.read).await?;
    let newest = newest.ok_or_else(|| AppError::Conflict(NONE.to_owned()))?;
    let (number, state) = (newest.number, state.clone());
    let worths = state.worths.clone();
    worths.start(number, by, |handle| async move {
        run(&state, handle, number).await
    });
    Ok(())
}

/// None if it was stopped.
async fn run(state: &AppState, handle: Run, number: i64) -> Result<Option<Found>, AppError> {
    let begin = Instant::now();
    let situation = situation::now(state).await?;
    let sizes = queries::container_grams(&state.db.read).await?;
    let order = queries::plan(&state.db.read, number).await?;
    let problem = draft(&situation).problem;
    let plan = from_now(&situation, &problem, &order);
    let verified = Verified::new(problem, plan)
        .map_err(|_| AppError::internal(format!("order {number} breaks a rule")))?;
    let duty_ends = duty_ends(verified.problem()).map(|minute| situation.moment(minute));
    let from = situation.now;
    let measured = tokio::task::spawn_blocking(move || {
        let more = one_more_of_each(&situation, &sizes);
        measure(&handle, &situation, &verified, more)
    });
    let measured = measured.await.map_err(AppError::internal)?;
    Ok(measured.map(|measured| Found {
        number,
        computed_ms: state.clock.now(),
        took: begin.elapsed(),
        from,
        duty_ends,
        measured,
    }))
}

fn measure(
    handle: &Run,
    situation: &Situation,
    verified: &Verified,
    more: Vec<More>,
) -> Option<Measured> {
    let mut stop = || handle.is_stopped();
    let capabilities = verified.problem().capabilities.iter();
    let capabilities: Vec<CapabilityCode> =
        capabilities.filter_map(|c| c.id.parse().ok()).collect();
    let keep_backs = &situation.keep_backs;
    let of = 1 + more.len() + keep_backs.len() + capabilities.len();
    handle.tell(0, of);
    let measure = Measure::new(verified, BUDGET, &mut stop)?;
    let mut done = 1;
    let mut step = || {
        handle.tell(done, of);
        done += 1;
    };
    let mut worths = Vec::new();
    for more in more {
        step();
        let worth = measure.worth(situation, std::slice::from_ref(&more), 0, &mut stop)?;
        worths.push((more, worth));
    }
    worths.sort_by_key(|(_, worth)| std::cmp::Reverse(worth.averted));
    let mut holding = Vec::new();
    for keep_back in keep_backs {
        step();
        let cost = measure.cost_of_holding(situation, keep_back.number, &mut stop)?;
        holding.push((keep_back.clone(), cost));
    }
    let mut swings = Vec::new();
    for capability in &capabilities {
        step();
        swings.push(measure.swing(capability, &mut stop)?);
    }
    Some(Measured {
        noise: measure.noise(),
        better: measure.better_than(verified.plan()),
        worths,
        holding,
        swings,
    })
}

const NONE: &str = "there is no line-up to measure from; plan first";

/// A container of each powder as most of its containers came, a bottle for each bank, fuel, an hour.
fn one_more_of_each(situation: &Situation, sizes: &BTreeMap<String, i64>) -> Vec<More> {
    let size = |powder: &PowderCode| sizes.get(powder.as_str()).copied();
    let powders = situation.powders.iter().map(|powder| &powder.code);
    let powders = powders.filter_map(|powder| {
        Some(More::Powder {
            grams: size(powder)?,
            powder: powder.clone(),
        })
    });
    let banks = situation.banks.iter().map(|bank| More::Gas {
        bank: bank.code.clone(),
        bottles: 1,
    });
    let rest = [More::Fuel { ml: FUEL_ML }, More::Duty { minutes: DUTY_MIN }];
    powders.chain(banks).chain(rest).collect()
}
