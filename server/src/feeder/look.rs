//! What is looked at before powder is poured: containers, the feeder, and what powder is wanted for.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use mendpost_core::code::{LotCode, PowderCode, RequestCode};
use mendpost_core::lineup::{LineUp, free_for, stage_need};
use mendpost_core::powder::draw::{Doubt, Draw, Purpose, Remedy};
use mendpost_core::powder::{Allowance, LotState};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{Request, Situation};
use sqlx::SqliteConnection;

use super::queries::{self, Container, Open};
use crate::book::queries::{InFeeder, feeder, mix, total};
use crate::error::AppError;
use crate::lineup::queries as lineup;
use crate::site::weighing::allowance;
use crate::situation;

/// Everything that a draw is judged by, at one moment.
pub struct Look {
    pub situation: Situation,
    pub line_up: Option<LineUp>,
    pub containers: Vec<Container>,
    pub feeder: Vec<InFeeder>,
    pub allowance: Allowance,
}

/// What powder can be drawn for: a stage that comes next for a request.
#[derive(Debug, Clone)]
pub struct Want {
    pub request: RequestCode,
    pub purpose: Purpose,
    /// Grams that the stage takes.
    pub grams: i64,
    /// Its place in the line-up; none if it has none.
    pub place: Option<usize>,
}

impl Look {
    pub async fn load(
        connection: &mut SqliteConnection,
        now: DateTime<Utc>,
    ) -> Result<Look, AppError> {
        let situation = situation::load(&mut *connection, now).await?;
        let stored = match lineup::accepted(&mut *connection).await? {
            Some(stored) => Some(stored),
            None => lineup::latest(&mut *connection).await?,
        };
        Ok(Look {
            line_up: stored.map(|stored| stored.line_up),
            containers: queries::containers(&mut *connection).await?,
            feeder: feeder(&mut *connection).await?,
            allowance: allowance(&mut *connection).await?,
            situation,
        })
    }

    pub fn container(&self, code: &str) -> Option<&Container> {
        let code = code.trim();
        self.containers
            .iter()
            .find(|it| it.code.as_str().eq_ignore_ascii_case(code))
    }

    /// Stages that powder can be drawn for: what is being built, then those of the line-up in its order, then what
    /// is begun and has no place.
    pub fn wants(&self) -> Vec<Want> {
        let requests = &self.situation.requests;
        let building = requests.iter().filter(|it| it.building.is_some());
        let places = self.line_up.iter().flat_map(|it| &it.places);
        let planned = places.filter_map(|place| self.situation.request(&place.request));
        let begun = requests.iter().filter(|it| it.begun.is_some());
        let mut wants: Vec<Want> = Vec::new();
        for request in building.chain(planned).chain(begun) {
            if wants.iter().all(|it| it.request != request.code) {
                wants.extend(self.want(request));
            }
        }
        wants
    }

    /// The stage of a request that is sprayed next, or now.
    fn want(&self, request: &Request) -> Option<Want> {
        let mut places = self.line_up.iter().flat_map(|it| &it.places);
        let place = places.find(|it| it.request == request.code);
        let begun = request
            .begun
            .as_ref()
            .map(|it| (&it.recipe, it.revision, it.done));
        let planned = place.and_then(|it| it.recipe.as_ref());
        let (code, revision, done) =
            begun.or_else(|| planned.map(|(code, revision)| (code, *revision, 0)))?;
        let recipe = self.situation.recipe(code, revision)?;
        // What is being built counts as done already.
        let from = done - usize::from(request.building.is_some() && done > 0);
        let mut sprays = recipe
            .operations
            .iter()
            .skip(from)
            .filter_map(|it| it.spray.as_ref());
        let spray = sprays.next()?;
        let stage = place
            .and_then(|it| it.stages().next())
            .map(|(_, stage)| stage);
        let stage = stage.filter(|it| it.powder == spray.powder.as_str());
        let lots = stage.map_or(&[][..], |it| &it.lots);
        Some(Want {
            request: request.code.clone(),
            purpose: Purpose {
                powder: spray.powder.clone(),
                one_lot: spray.one_lot,
                lots: lots.iter().filter_map(|it| it.lot.parse().ok()).collect(),
            },
            grams: match stage {
                Some(_) => lots.iter().map(|it| it.grams).sum(),
                None => stage_need(&self.situation, spray).ok()?.powder_g,
            },
            place: place.map(|it| it.number),
        })
    }

    /// What the feeder holds, and of how much powder in all.
    pub fn in_feeder(&self) -> Milligrams {
        total(&self.feeder)
    }

    /// What speaks against pouring so much of a container, for this stage or for a trial piece.
    pub fn doubts(
        &self,
        container: &Container,
        want: Option<&Want>,
        (open, at): (Open, DateTime<Utc>),
        grams: i64,
    ) -> Vec<Doubt> {
        let cell = &self.situation.cell;
        Draw {
            lot: container.lot.clone(),
            powder: container.powder.clone(),
            state: container.state,
            use_by: container
                .use_by_ms
                .and_then(DateTime::from_timestamp_millis),
            at,
            open_min: open.until(at.timestamp_millis()),
            open_limit_min: container.open_limit_min,
            feeder: mix(&self.feeder),
            residue: cell.feeder.clone(),
            purpose: want.map(|want| want.purpose.clone()),
            earlier: self.earlier(container, at),
            free_g: want.and_then(|want| self.free_g(&container.powder, want)),
            grams,
        }
        .doubts()
    }

    /// Lots of the same powder that are used before this one: usable now, with something in them, and out of date
    /// earlier; of lots without a date or of one day the open one.
    fn earlier(&self, container: &Container, at: DateTime<Utc>) -> Vec<(LotCode, DateTime<Utc>)> {
        let at = at.timestamp_millis();
        let until = container.use_by_ms.unwrap_or(i64::MAX);
        let others = self.containers.iter().filter(|it| {
            it.powder == container.powder
                && it.lot != container.lot
                && it.state == LotState::Released
                && it.held.0 > 0
                && it.use_by_ms.is_some_and(|by| by > at && by < until)
        });
        let mut lots: Vec<(LotCode, DateTime<Utc>)> = others
            .filter_map(|it| {
                Some((
                    it.lot.clone(),
                    it.use_by_ms.and_then(DateTime::from_timestamp_millis)?,
                ))
            })
            .collect();
        lots.sort_by_key(|(lot, by)| (*by, lot.clone()));
        lots.dedup();
        lots
    }

    /// Grams of a powder that this machine may draw, where some of it is kept back for others.
    fn free_g(&self, powder: &PowderCode, want: &Want) -> Option<i64> {
        let asset = &self.situation.request(&want.request)?.asset;
        free_for(&self.situation, asset, powder)
    }
}

/// The doubts that two people must waive first, and have not.
pub fn unwaived<'a>(doubts: &'a [Doubt], waived: &BTreeSet<String>) -> Vec<&'a Doubt> {
    doubts
        .iter()
        .filter(|it| it.remedy() == Remedy::SecondPerson && !waived.contains(it.word()))
        .collect()
}
