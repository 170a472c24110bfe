//! The bare packing problem: how many of each item to take, so that what is taken is worth most within
//! several limits.
//!
//! `model` is the problem as the search sees it: items of which all or none are taken form a group, groups that
//! are never taken together a block. `price` bounds what can be reached by prices on the limits (Lagrangian
//! relaxation): at any prices it is a true bound, and whole numbers say how much; floating point only chooses
//! the prices. `first` takes greedily and exchanges, `branch` splits the problem until nothing is left that
//! could be worth more. `check` verifies an answer and shares no code with the rest.

mod branch;
mod check;
mod faults;
mod first;
mod model;
mod price;
#[cfg(test)]
mod tests;

use crate::planner::Fault;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use check::check;
pub use faults::{MAX_FIGURE, MAX_ITEMS, MAX_UNITS};

/// What can be taken, what it is worth, and within which limits. All figures are whole numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Packing {
    /// The best worth known of a published problem, carried along; the search does not use it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known: Option<i64>,
    /// What all together must not exceed: mass, room, points.
    pub limits: Vec<PackLimit>,
    /// What can be taken.
    pub items: Vec<PackItem>,
    /// Each list: at least one of each of these, or none of any.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sets: Vec<Vec<String>>,
    /// Each pair: never both.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub apart: Vec<(String, String)>,
}

/// What all together must not exceed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PackLimit {
    /// Unique among limits.
    pub id: String,
    /// The most, in a unit of its own.
    pub limit: i64,
}

/// Something of which some units can be taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PackItem {
    /// Unique among items.
    pub id: String,
    /// The most units.
    pub max: i64,
    /// What the first unit is worth, what the second one adds, and so on; the last figure repeats. They may
    /// rise, and be below 0.
    pub worth: Vec<i64>,
    /// What one unit takes of a limit, by its id; of others it takes nothing.
    #[serde(default)]
    pub uses: BTreeMap<String, i64>,
    /// The least number of units.
    #[serde(default)]
    pub must: i64,
}

/// What to take.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Packed {
    /// What it is worth.
    pub worth: i64,
    /// Nothing is worth more than this.
    pub bound: i64,
    /// Nothing is worth more than what is taken.
    pub proven: bool,
    /// How many of each item that is taken at all.
    pub take: BTreeMap<String, i64>,
}

impl Packing {
    /// Reads a packing problem from JSON, refusing what is malformed, unknown or contradictory.
    ///
    /// # Errors
    ///
    /// A text that is no JSON, lacks a key or carries an unknown one gives one fault, the first found; a
    /// readable problem gives every fault of its content, each with its place.
    pub fn from_json(text: &str) -> Result<Self, Vec<Fault>> {
        let whole = |place: String| match place.as_str() {
            "." | "?" => "packing".to_owned(),
            _ => place,
        };
        let fault = |place, what| vec![Fault { place, what }];
        let mut reader = serde_json::Deserializer::from_str(text);
        let packing: Self = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
            let place = whole(error.path().to_string());
            fault(place, error.into_inner().to_string())
        })?;
        let end = reader.end();
        end.map_err(|error| fault("packing".to_owned(), error.to_string()))?;
        let faults = packing.faults();
        if faults.is_empty() {
            Ok(packing)
        } else {
            Err(faults)
        }
    }
}

/// Packs as much worth as it finds, until nothing better is left, so many nodes of the search are looked at,
/// or
/// `stop` says so.
///
/// The problem is taken to be free of faults (see [`Packing::faults`]). Without `stop` the answer depends on
/// the problem and the number of nodes alone.
#[must_use]
pub fn pack(packing: &Packing, budget_nodes: u64, stop: &mut dyn FnMut() -> bool) -> Packed {
    let model = model::Model::of(packing);
    let found = branch::search(&model, budget_nodes, stop);
    let named = packing.items.iter().zip(&found.take);
    Packed {
        worth: found.worth,
        bound: found.bound,
        proven: found.bound == found.worth,
        take: named
            .filter(|(_, units)| **units > 0)
            .map(|(item, units)| (item.id.clone(), i64::from(*units)))
            .collect(),
    }
}
