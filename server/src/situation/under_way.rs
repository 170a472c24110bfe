use chrono::TimeDelta;
use mendpost_core::build::minutes;
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{Situation, UnderWay};
use sqlx::SqliteConnection;

use super::{at, word};
use crate::build::queries::{self, Build, times};

/// A build is never to end earlier than so many minutes from now.
const LEAST_MIN: i64 = 5;

/// Keeps a build that is under way, for which the feeder holds so much.
pub(super) async fn keep(
    connection: &mut SqliteConnection,
    situation: &mut Situation,
    build: &Build,
    held: Milligrams,
) -> Result<(), sqlx::Error> {
    let marks = queries::marks(connection, build.id).await?;
    let took = minutes(at(build.begun_ms)?, &times(&marks), situation.now);
    let left = (build.planned_min - took.spraying).max(LEAST_MIN);
    situation.keep_under_nozzle(&UnderWay {
        build: build.number,
        request: word(&format!("R{}", build.request))?,
        recipe: word(&build.recipe)?,
        revision: build.revision,
        done: usize::try_from(build.position).unwrap_or(0),
        ends_at: situation.now + TimeDelta::minutes(left),
        to_draw: Milligrams((Milligrams::from_grams(build.planned_g).0 - held.0).max(0)),
        lots: build
            .lots
            .split_whitespace()
            .filter_map(|lot| lot.parse().ok())
            .collect(),
    });
    Ok(())
}
