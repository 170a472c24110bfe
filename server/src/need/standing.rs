//! How an asset stands before an act that may stop it or start it, and what the act makes of it.

use mendpost_core::code::AssetCode;
use mendpost_core::journal::Subject;
use mendpost_core::lineup::is_down;
use serde_json::{Value, json};

use super::item::{Item, Thing};
use super::queries::{self, AssetRow};
use crate::change::Change;
use crate::error::AppError;
use crate::situation;

/// An asset inside a change, and whether it is down.
#[derive(Debug, Clone)]
pub struct Standing {
    pub asset: AssetRow,
    pub is_down: bool,
    now: i64,
}

impl Standing {
    /// The asset of a code; none if there is none. One that is retired is refused.
    pub async fn find(change: &mut Change, code: &str) -> Result<Option<Standing>, AppError> {
        let Some(asset) = queries::asset(change.connection(), code).await? else {
            return Ok(None);
        };
        let item = Item::find(Thing::Asset, change.connection(), code).await?;
        item.in_use()?;
        let now = change.now();
        let moment = situation::moment(now).map_err(AppError::internal)?;
        let site = situation::load(change.connection(), moment).await?;
        let code: AssetCode = code.parse().map_err(AppError::internal)?;
        Ok(Some(Standing {
            is_down: is_down(&site, &code),
            asset,
            now,
        }))
    }

    /// Since when it is down, or from when it is expected to be; none of one that is back.
    pub fn stop_ms(&self) -> Option<i64> {
        let known = self.asset.down_from_ms;
        known.filter(|from| *from > self.now || self.is_down)
    }

    /// Whether that it stops then is news: one that is down already stays so from the time that was
    /// told first, and one that was to stop may stop sooner, never later.
    pub fn is_news(&self, from_ms: i64) -> bool {
        is_news(self.stop_ms(), from_ms, self.now)
    }

    /// Writes from when it is down, or that it runs, with its journal entry; `more` says of what this
    /// comes. A replacement that is expected before it stops replaces nothing any more.
    pub async fn write(
        &self,
        change: &mut Change,
        down_from_ms: Option<i64>,
        more: Value,
    ) -> Result<(), AppError> {
        let stays = |back: &i64| down_from_ms.is_some_and(|from| *back > from.max(self.now));
        let after = AssetRow {
            down_from_ms,
            back_ms: self.asset.back_ms.filter(stays),
            ..self.asset.clone()
        };
        let kind = match down_from_ms {
            None => "asset.up",
            Some(from) if from > self.now => "asset.expected",
            Some(_) => "asset.down",
        };
        journalled(change, &self.asset, &after, kind, more).await?;
        Ok(())
    }
}

/// Writes what an act made of an asset; its journal entry.
pub(super) async fn journalled(
    change: &mut Change,
    before: &AssetRow,
    after: &AssetRow,
    kind: &str,
    more: Value,
) -> Result<i64, AppError> {
    queries::update_asset(change.connection(), after).await?;
    let mut content = json!({
        "version": before.version + 1,
        "down_from_ms": after.down_from_ms,
        "back_ms": after.back_ms,
        "before": { "down_from_ms": before.down_from_ms, "back_ms": before.back_ms },
    });
    if let (Some(content), Value::Object(more)) = (content.as_object_mut(), more) {
        content.extend(more);
    }
    let subject = Subject::new("asset", &before.code);
    change.journal(kind, subject, content).await
}

fn is_news(known_ms: Option<i64>, from_ms: i64, now: i64) -> bool {
    known_ms.is_none_or(|known| known > now && known > from_ms)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: i64 = 1_000_000;

    /// What was known first stays, unless it stops sooner than expected.
    #[test]
    fn only_a_sooner_stop_of_one_that_runs_is_news() {
        for (known, told, news) in [
            (None, NOW - 5, true),
            (None, NOW + 50, true),
            (Some(NOW - 1), NOW - 5, false),
            (Some(NOW - 1), NOW + 70, false),
            (Some(NOW + 20), NOW - 5, true),
            (Some(NOW + 20), NOW + 50, false),
            (Some(NOW + 90), NOW + 50, true),
        ] {
            assert_eq!(is_news(known, told, NOW), news, "{known:?}, {told}");
        }
    }
}
