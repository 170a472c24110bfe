//! How far what is told may be off.

/// How far durations, deliveries and builds may turn out other than told.
///
/// A site says what it has seen; without that all of it is common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chances {
    /// Two of three operations take between the told time divided and multiplied by 1 and so many thousandths;
    /// told times are the middle: half of all take longer.
    pub duration_permille: i64,
    /// Minutes by which a delivery is late at most, where nobody said its latest.
    pub late_min: i64,
    /// In how many of 1000 builds a part that the crew may release by itself passes its checks.
    pub own_permille: i64,
    /// The same for a part that somebody else must say yes to.
    pub asked_permille: i64,
    /// The same for one that is built as a trial piece only.
    pub trial_permille: i64,
    /// As how many builds these count beside those on record.
    pub builds: i64,
    /// By no more than so many thousandths above the least loss an order counts as good as the best: of these
    /// the one that the crew works to stays, else the one that survives more is taken.
    pub margin_permille: i64,
}

impl Default for Chances {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            duration_permille: 200,
            late_min: 2 * 1440,
            own_permille: 950,
            asked_permille: 900,
            trial_permille: 800,
            builds: 10,
            margin_permille: 10,
        }
    }
}

/// Builds by one recipe that were checked.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Outcomes {
    /// Released.
    pub passed: i64,
    /// Sprayed, and sent back to begin anew.
    pub failed: i64,
}
