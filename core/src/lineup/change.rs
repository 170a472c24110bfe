//! What a new line-up does otherwise than the one the crew works to.

use super::line_up::LineUp;
use super::places::Place;
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
    /// Was planned and is not now: it waits, or is closed.
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
    let stays: BTreeSet<&RequestCode> = new.places.iter().map(|p| &p.request).collect();
    changes.extend(
        old.places
            .iter()
            .filter(|p| !stays.contains(&p.request) && p.done > new.now)
            .map(|p| Change::Out {
                request: p.request.clone(),
            }),
    );
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
    let (from, to) = (before.starts(), place.starts());
    let moved = (to - from).abs() >= SAME_START;
    let moved = moved.then(|| Change::Moved {
        request: request.clone(),
        from,
        to,
        was_place: before.number,
        place: place.number,
    });
    let (from, to) = (lots(before), lots(place));
    let other = (from != to).then_some(Change::OtherLots { request, from, to });
    moved.into_iter().chain(other).collect()
}

fn lots(place: &Place) -> BTreeSet<String> {
    let stages = place.stages().flat_map(|(_, stage)| &stage.lots);
    stages.map(|draw| draw.lot.clone()).collect()
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
