//! The machine of an interim part: it runs until that part must come off, and how it stands once it is
//! off.

use chrono_tz::Tz;
use mendpost_core::word_enum;
use serde_json::json;

use super::queries::{self, Interim};
use crate::change::Change;
use crate::error::AppError;
use crate::need::standing::Standing;
use crate::page::moment;
use crate::situation;

word_enum! {
    /// How a machine stands once an interim part is off it.
    Then {
        /// It stands still until what replaces the part is in.
        Stands = "stands",
        /// What replaces the part is in, and it runs.
        Runs = "runs",
    }
}

/// The machine of an interim part before something is entered of that part.
pub(super) struct Machine {
    standing: Standing,
    /// When the first of the interim parts on it must come off.
    end_ms: Option<i64>,
}

impl Machine {
    pub async fn find(change: &mut Change, interim: &Interim) -> Result<Machine, AppError> {
        let standing = Standing::find(change, &interim.asset_code).await?;
        let gone = || AppError::internal("the machine of an interim part is gone");
        Ok(Machine {
            standing: standing.ok_or_else(gone)?,
            end_ms: first_end(change, &interim.asset_code).await?,
        })
    }

    /// Whether that it stops is known of nothing else than the end of an interim part.
    fn stops_at_end(&self) -> bool {
        self.end_ms.is_some() && self.standing.stop_ms() == self.end_ms
    }

    /// Its stop moves with the end of its interim part, which a reading at this time has moved; one that
    /// ran past its hours cannot have stood still before that was read.
    pub async fn end_moved(
        &self,
        change: &mut Change,
        interim: &Interim,
        read_ms: i64,
        why: &str,
    ) -> Result<(), AppError> {
        let Some(end) = first_end(change, &interim.asset_code).await? else {
            return Ok(());
        };
        let stop = end.max(read_ms);
        let moves = match self.stops_at_end() {
            true => self.end_ms != Some(stop),
            false => self.standing.is_news(stop),
        };
        if !moves {
            return Ok(());
        }
        let more = json!({ "at_ms": stop, "interim": interim.code(), "why": why });
        self.standing.write(change, Some(stop), more).await
    }

    /// What contradicts that it stands so once the part is off.
    pub fn contradicts(&self, then: Then, zone: Tz) -> Option<String> {
        let down = self.standing.is_down && !self.stops_at_end();
        let since = self.standing.stop_ms().filter(|_| down)?;
        (then == Then::Runs).then(|| {
            format!(
                "it has been down since {}; choose 'stands still', and report it up on its own page",
                moment(since, zone)
            )
        })
    }

    /// The part is off: the machine stands since then, or runs until the next end on it.
    pub async fn taken_off(
        &self,
        change: &mut Change,
        interim: &Interim,
        off_ms: i64,
        then: Then,
    ) -> Result<(), AppError> {
        let next = first_end(change, &interim.asset_code).await?;
        let next = next.filter(|end| *end > change.now());
        let (stop, is_news, at_ms) = match then {
            Then::Stands => {
                let is_news = self.stops_at_end() || self.standing.is_news(off_ms);
                (Some(off_ms), is_news, Some(off_ms))
            }
            Then::Runs => (next, self.stops_at_end() && self.end_ms != next, None),
        };
        if !is_news {
            return Ok(());
        }
        let why = format!("{} came off", interim.code());
        let more = json!({ "at_ms": at_ms, "interim": interim.code(), "why": why });
        self.standing.write(change, stop, more).await
    }
}

async fn first_end(change: &mut Change, asset: &str) -> Result<Option<i64>, AppError> {
    let now = situation::moment(change.now()).map_err(AppError::internal)?;
    let fitted = queries::on_machine(change.connection(), asset, now).await?;
    Ok(fitted.first().map(|first| first.end_ms(now)))
}
