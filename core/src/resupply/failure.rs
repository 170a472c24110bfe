//! How often a part fails: what somebody expects, and what the site has seen.

use crate::code::PartCode;

/// What is known of the failures of a part, on all machines that it fits together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FailureRecord {
    /// Which part.
    pub part: PartCode,
    /// Failures that somebody expects in [`Self::prior_days`], in thousandths; 0 if nobody said.
    pub prior_milli: i64,
    /// In so many days; 0 if nobody said.
    pub prior_days: i64,
    /// Failures that were reported here.
    pub seen: i64,
    /// In so many days: since the site's first record.
    pub seen_days: i64,
}
