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
    first: Option<FirstEnd>,
}

/// The end of the interim part on a machine that must come off first.
#[derive(Debug, Clone, PartialEq, Eq)]
struct FirstEnd {
    /// Code of the part.
    part: String,
    end_ms: i64,
    /// When its machine stops for it: at its end; one that ran past that cannot have stood still before
    /// its meter was read.
    stop_ms: i64,
}

impl Machine {
    pub async fn find(change: &mut Change, interim: &Interim) -> Result<Machine, AppError> {
        let standing = Standing::find(change, &interim.asset_code).await?;
        let gone = || AppError::internal("the machine of an interim part is gone");
        Ok(Machine {
            standing: standing.ok_or_else(gone)?,
            first: first_end(change, &interim.asset_code).await?,
        })
    }

    /// Whether that it stops is known of nothing else than the end of an interim part.
    fn stops_at_end(&self) -> bool {
        let stop = self.standing.stop_ms();
        let first = self.first.as_ref().zip(stop);
        first.is_some_and(|(first, stop)| [first.end_ms, first.stop_ms].contains(&stop))
    }

    /// Its stop moves with the first end on it, where a reading has moved that.
    pub async fn end_moved(
        &self,
        change: &mut Change,
        interim: &Interim,
        why: &str,
    ) -> Result<(), AppError> {
        let first = first_end(change, &interim.asset_code).await?;
        let Some(FirstEnd { part, stop_ms, .. }) =
            first.filter(|first| self.first.as_ref() != Some(first))
        else {
            return Ok(());
        };
        let moves = match self.stops_at_end() {
            true => self.standing.stop_ms() != Some(stop_ms),
            false => self.standing.is_news(stop_ms),
        };
        if !moves {
            return Ok(());
        }
        let more = json!({ "at_ms": stop_ms, "interim": part, "why": why });
        self.standing.write(change, Some(stop_ms), more).await
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
        let (stop, is_news, at_ms, part) = match then {
            Then::Stands => {
                let is_news = self.stops_at_end() || self.standing.is_news(off_ms);
                (Some(off_ms), is_news, Some(off_ms), interim.code())
            }
            Then::Runs => {
                let next = first_end(change, &interim.asset_code).await?;
                let next = next.filter(|next| next.end_ms > change.now());
                let stop = next.as_ref().map(|next| next.stop_ms);
                let is_news = self.stops_at_end() && self.standing.stop_ms() != stop;
                let up_ms = Some(off_ms).filter(|_| self.standing.is_down);
                let part = next.map_or_else(|| interim.code(), |next| next.part);
                (stop, is_news, up_ms, part)
            }
        };
        if !is_news {
            return Ok(());
        }
        let why = format!("{} came off", interim.code());
        let more = json!({ "at_ms": at_ms, "interim": part, "why": why });
        self.standing.write(change, stop, more).await
    }
}

async fn first_end(change: &mut Change, asset: &str) -> Result<Option<FirstEnd>, AppError> {
    let now = change.moment()?;
    let fitted = queries::on_machine(change.connection(), asset, now).await?;
    Ok(fitted.first().map(|first| {
        let end_ms = first.end_ms(now);
        let read_ms = first.meter.last().map(|read| read.at.timestamp_millis());
        FirstEnd {
            part: first.code(),
            end_ms,
            stop_ms: read_ms.map_or(end_ms, |read_ms| end_ms.max(read_ms)),
        }
    }))
}
