//! What a new line-up does otherwise than the one the crew works to.

use super::line_up::LineUp;
use super::places::{Place, Work, turn};
use crate::code::{AssetCode, RequestCode};
use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A start that moves by less than this is no change worth telling.
const SAME_START: TimeDelta = TimeDelta::minutes(15);

/// One request that is planned otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Planned now, and was not before.
    In {
        /// Which.
        request: RequestCode,
        /// Its place.
        place: usize,
    },
    /// Was planned and is not now, though it is still asked for: it waits.
    Out {
        /// Which.
        request: RequestCode,
    },
    /// By another recipe, or by the true part instead.
    OtherWay {
        /// Which.
        request: RequestCode,
    },
    /// Sooner or later than before.
    Moved {
        /// Which.
        request: RequestCode,
        /// When work on it was to start.
        from: DateTime<Utc>,
        /// When it starts now.
        to: DateTime<Utc>,
        /// Which place it had.
        was_place: usize,
        /// Which it has now.
        place: usize,
    },
    /// From other lots.
    OtherLots {
        /// Which.
        request: RequestCode,
        /// From these before.
        from: BTreeSet<String>,
        /// From these now.
        to: BTreeSet<String>,
    },
}

impl Change {
    /// Which request it is about.
    #[must_use]
    pub const fn request(&self) -> &RequestCode {
        match self {
            Self::In { request, .. }
            | Self::Out { request }
            | Self::OtherWay { request }
            | Self::Moved { request, .. }
            | Self::OtherLots { request, .. } => request,
        }
    }
}

/// What the new line-up does otherwise than the old one, in the new one's order, what fell out
/// last.
#[must_use]
pub fn changes(old: &LineUp, new: &LineUp) -> Vec<Change> {
    let mut changes: Vec<Change> = new
        .places
        .iter()
        .flat_map(|place| changes_of(old, place))
        .collect();
    let waits: BTreeSet<&RequestCode> = new.waiting.iter().map(|w| &w.request).collect();
    let fallen = old.places.iter().filter(|p| waits.contains(&p.request));
    changes.extend(fallen.map(|p| Change::Out {
        request: p.request.clone(),
    }));
    changes
}

fn changes_of(old: &LineUp, place: &Place) -> Vec<Change> {
    let request = place.request.clone();
    let Some(before) = old.places.iter().find(|p| p.request == request) else {
        return vec![Change::In {
            request,
            place: place.number,
        }];
    };
    if before.recipe != place.recipe {
        return vec![Change::OtherWay { request }];
    }
    let (was, is) = in_both(before, place);
    let from = turn(was).unwrap_or(before.done);
    let to = turn(is).unwrap_or(place.done);
    let moved = (to - from).abs() >= SAME_START;
    let moved = moved.then(|| Change::Moved {
        request: request.clone(),
        from,
        to,
        was_place: before.number,
        place: place.number,
    });
    let (from, to) = (lots(was), lots(is));
    let other = (from != to).then_some(Change::OtherLots { request, from, to });
    moved.into_iter().chain(other).collect()
}

/// The work of one way that both have still to do: what was done since then only the old place has, and
/// what is to be done again only the new one.
fn in_both<'a>(before: &'a Place, place: &'a Place) -> (&'a [Work], &'a [Work]) {
    let (was, is) = (before.work.len(), place.work.len());
    let both = was.min(is);
    (&before.work[was - both..], &place.work[is - both..])
}

fn lots(work: &[Work]) -> BTreeSet<String> {
    let stages = work.iter().filter_map(Work::stage);
    let draws = stages.flat_map(|stage| &stage.lots);
    draws.map(|draw| draw.lot.clone()).collect()
}

/// A machine that is back at another time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Return {
    /// Which.
    pub asset: AssetCode,
    /// When it was to be back; none if it was not, within the line-up.
    pub was: Option<DateTime<Utc>>,
    /// When it is back now; none if it is not, within the line-up.
    pub is: Option<DateTime<Utc>>,
}

/// The machines that are back at another time by the new line-up than by the old one, the first to be back
/// first, what is not back any more last.
#[must_use]
pub fn returns(old: &LineUp, new: &LineUp) -> Vec<Return> {
    let (before, after) = (backs(old), backs(new));
    let assets: BTreeSet<&AssetCode> = before.keys().chain(after.keys()).copied().collect();
    let mut returns: Vec<Return> = assets
        .into_iter()
        .map(|asset| Return {
            asset: asset.clone(),
            was: before.get(asset).copied(),
            is: after.get(asset).copied(),
        })
        .filter(|it| match (it.was, it.is) {
            (Some(was), Some(is)) => (is - was).abs() >= SAME_START,
            (was, is) => was != is,
        })
        .collect();
    returns.sort_by_key(|it| (it.is.is_none(), it.is, it.was));
    returns
}

fn backs(line_up: &LineUp) -> BTreeMap<&AssetCode, DateTime<Utc>> {
    let places = line_up.places.iter();
    places.filter_map(|p| Some((&p.asset, p.back?))).collect()
}
