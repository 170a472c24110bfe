//! What shares the fate of a coupon that misses what is expected: the lots in its build, every part with powder of
//! them, and of a heat-treated coupon the parts of its furnace load. It is proposed, and held in one act.

use std::collections::BTreeMap;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::LotCode;
use mendpost_core::finish::{Condition, Measured, missed};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::coupon_page::About;
use super::coupons::found;
use super::entry::short;
use crate::AppState;
use crate::build::queries::lots_of;
use crate::change::Change;
use crate::error::AppError;
use crate::hold::{Cause, Held, Hold, hold_part};
use crate::page::Notice;
use crate::people::{Visit, Who};
use crate::powder::{lot, lot_path, stop_lots};
use crate::requests::{History, Whereabouts, named, whereabouts};
use crate::trace::queries::{by_lot, made_of};

/// Of one missed coupon.
pub(super) struct Fate {
    pub coupon: i64,
    request: i64,
    /// The miss, in words.
    pub what: String,
    /// It was heat-treated, so that its furnace load counts too.
    pub heated: bool,
    /// Lots that can still be stopped.
    pub lots: Vec<LotCode>,
    /// Parts that can still be kept from their machines, and are not held for it.
    pub parts: Vec<Sharer>,
    /// Parts that are fitted already.
    pub out: Vec<Sharer>,
}

/// A part that shares it.
pub(super) struct Sharer {
    pub request: i64,
    pub what: String,
    pub why: String,
}

impl Fate {
    pub fn path(&self) -> String {
        format!("/coupons/{}/hold", self.coupon)
    }

    pub fn lot_path(&self, lot: &LotCode) -> String {
        lot_path(lot.as_str())
    }

    pub fn can_be_held(&self) -> bool {
        !self.lots.is_empty() || !self.parts.is_empty()
    }

    /// What a hold for it is known by.
    fn mark(&self) -> String {
        format!("coupon {} of R{},", self.coupon, self.request)
    }
}

/// What shares the fate of each coupon of a request that misses what is expected, unless the part was judged fit
/// with it; without those of which nothing is left to hold or to call off.
pub(super) async fn of(
    connection: &mut SqliteConnection,
    about: &About,
) -> Result<Vec<Fate>, AppError> {
    let Some(recipe) = &about.recipe else {
        return Ok(Vec::new());
    };
    let mut misses: BTreeMap<i64, Vec<&Measured>> = BTreeMap::new();
    for result in &about.results {
        let answered = |hold: &Hold| hold.of_sequence == Some(result.sequence) && hold.is_fit();
        let is_missed = missed(&recipe.coupons, &result.measured).next().is_some();
        if is_missed && !about.history.holds.iter().any(answered) {
            misses
                .entry(result.coupon)
                .or_default()
                .push(&result.measured);
        }
    }
    let mut fates = Vec::new();
    for (coupon, measured) in misses {
        let fate = one(&mut *connection, about, coupon, &measured).await?;
        if fate.can_be_held() || !fate.out.is_empty() {
            fates.push(fate);
        }
    }
    Ok(fates)
}

async fn one(
    connection: &mut SqliteConnection,
    about: &About,
    coupon: i64,
    measured: &[&Measured],
) -> Result<Fate, AppError> {
    let words: Vec<String> = measured.iter().map(|it| found(it)).collect();
    let mut fate = Fate {
        coupon,
        request: about.request.number,
        what: words.join(", "),
        heated: measured
            .iter()
            .any(|it| it.condition == Condition::HeatTreated),
        lots: Vec::new(),
        parts: Vec::new(),
        out: Vec::new(),
    };
    let build = about.coupons.iter().find(|it| it.number == coupon);
    let mut sharers: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    if let Some(build) = build.and_then(|it| it.build) {
        for code in lots_of(&mut *connection, build).await? {
            for touched in by_lot(&mut *connection, code.as_str()).await? {
                let why = sharers.entry(touched.request).or_default();
                let words = format!("lot {code} is in it");
                if !why.contains(&words) {
                    why.push(words);
                }
            }
            fate.stop(&mut *connection, &code).await?;
        }
    }
    if fate.heated {
        let loads = shared_loads(&mut *connection, about.request.id, about.history.since).await?;
        for (request, load) in loads {
            let why = sharers.entry(request).or_default();
            why.push(format!("in furnace load F{load} with it"));
        }
    }
    sharers.remove(&fate.request);
    for (request, why) in sharers {
        fate.add(&mut *connection, request, why.join(", ")).await?;
    }
    Ok(fate)
}

impl Fate {
    /// Adds a lot, and what was blended of it, as far as each can still be stopped.
    async fn stop(
        &mut self,
        connection: &mut SqliteConnection,
        code: &LotCode,
    ) -> Result<(), AppError> {
        for made in made_of(&mut *connection, code.as_str()).await? {
            let facts = lot(&mut *connection, made.as_str()).await?;
            let stops = facts.is_some_and(|it| it.state.can_be_stopped());
            if stops && !self.lots.contains(&made) {
                self.lots.push(made);
            }
        }
        Ok(())
    }

    /// Adds a part where it can be held or must be called off.
    async fn add(
        &mut self,
        connection: &mut SqliteConnection,
        request: i64,
        why: String,
    ) -> Result<(), AppError> {
        let request = named(&mut *connection, &request.to_string()).await?;
        let history = History::load(connection, &request).await?;
        let place = whereabouts(&request, &history);
        let mark = self.mark();
        let is_held = |hold: &Hold| hold.cause == Cause::Coupon && hold.what.contains(&mark);
        let sharer = Sharer {
            request: request.number,
            what: format!("{} {}", request.asset, request.part_name),
            why,
        };
        match place {
            Whereabouts::Fitted | Whereabouts::Served => self.out.push(sharer),
            _ if place.may_be_held() && !history.holds.iter().any(is_held) => {
                self.parts.push(sharer);
            }
            _ => {}
        }
        Ok(())
    }
}

/// Other parts that shared a load of the furnace with the piece that a request has now, with the load; not those
/// that were begun anew since, nor loads that were given up before the soak.
async fn shared_loads(
    connection: &mut SqliteConnection,
    request: Uuid,
    since: i64,
) -> Result<Vec<(i64, i64)>, sqlx::Error> {
    sqlx::query!(
        r#"select r.number as "request!: i64", other.load_number as "load!: i64"
           from furnace_part mine
           join furnace_part other on other.load_number = mine.load_number and other.request_id <> mine.request_id
           join request r on r.id = other.request_id
           left join furnace_closed c on c.load_number = mine.load_number
           where mine.request_id = ? and mine.journal_sequence > ?
             and (c.load_number is null or c.soak_from_ms is not null)
             and not exists (
               select 1 from request_decision d
               where d.request_id = other.request_id and d.journal_sequence > other.journal_sequence
                 and d.decision in ('sent-back', 'scrapped', 'reopened'))
           order by r.number, other.load_number"#,
        request,
        since
    )
    .map(|row| (row.request, row.load))
    .fetch_all(connection)
    .await
}

/// Holds all of it in one act: the lots are stopped, and each part waits for somebody else to judge it.
pub(super) async fn hold(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(coupon): Path<i64>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let request: Option<i64> = sqlx::query_scalar!(
        r#"select r.number as "number!: i64" from coupon c join request r on r.id = c.request_id
           where c.number = ?"#,
        coupon
    )
    .fetch_optional(change.connection())
    .await?;
    let request = request.ok_or_else(|| AppError::NotFound {
        what: format!("coupon {coupon}"),
    })?;
    let about = About::load(change.connection(), &request.to_string(), visit.now).await?;
    let fates = of(change.connection(), &about).await?;
    let fate = fates
        .into_iter()
        .find(|it| it.coupon == coupon && it.can_be_held());
    let Some(fate) = fate else {
        return Err(AppError::Conflict(format!(
            "nothing is left to hold for coupon {coupon} of R{request}: it misses nothing, or all that shares its \
             fate is on hold or fitted"
        )));
    };
    let doubt = format!("{} {}", fate.mark(), fate.what);
    let reason: String = doubt.chars().take(200).collect();
    let stopped = stop_lots(&mut change, &fate.lots, &reason).await?;
    let mut parts = Vec::new();
    for part in &fate.parts {
        let held = Held {
            request: part.request,
            cause: Cause::Coupon,
            of_sequence: None,
            what: &short(&format!("{doubt}; {}", part.why)),
        };
        hold_part(&mut change, &held, &who).await?;
        parts.push(format!("R{}", part.request));
    }
    let parts = match parts.is_empty() {
        true => String::new(),
        false => format!("{} on hold: somebody else judges each.", parts.join(", ")),
    };
    let out = match fate.out.len() {
        0 => String::new(),
        many => format!(" Call off what is fitted: {many}."),
    };
    let text = format!("{parts}{stopped}{out}");
    let location = format!("/requests/{request}/coupons");
    let notice = Notice::done("ON HOLD", text.trim());
    change.finish(&who, &location, notice).await
}
