//! What the site needs done, and the machines that do it.

use crate::code::{AssetCode, CapabilityCode};
use chrono::{DateTime, Utc};

/// A machine of the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asset {
    /// Its code.
    pub code: AssetCode,
    /// Its name.
    pub name: String,
    /// Since when, or from when, it is down; none while it runs and nobody expects it to stop.
    pub down_from: Option<DateTime<Utc>>,
    /// When a replacement is expected that does not depend on the cell.
    pub back: Option<DateTime<Utc>>,
}

/// What the site needs done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Capability {
    /// Its code.
    pub code: CapabilityCode,
    /// Its name.
    pub name: String,
    /// The machines that give it.
    pub assets: Vec<AssetCode>,
    /// How many of them must run.
    pub must_run: i64,
    /// What is lost each hour while none, one, two ... of them are down: one figure more than assets.
    pub loss_per_hour: Vec<i64>,
    /// Who said so.
    pub said_by: String,
    /// When.
    pub said_at: DateTime<Utc>,
}
