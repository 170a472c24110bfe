//! Keep-backs: what is held for named machines.

use crate::code::{AssetCode, BankCode, PowderCode};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What a keep-back holds.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Held {
    /// Powder, of any lot that may be sprayed.
    Powder(PowderCode),
    /// Gas of a bank, at the pressure that the named machines' recipes ask for.
    Gas(BankCode),
}

/// An amount of powder or gas held for named machines; given up only by a named act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeepBack {
    /// Its number.
    pub number: i64,
    /// Of what.
    pub held: Held,
    /// How much of it is held still, in grams; above 0.
    pub grams: i64,
    /// For these machines, at least one.
    pub assets: BTreeSet<AssetCode>,
    /// Why.
    pub reason: String,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Who said so.
    pub said_by: String,
}
