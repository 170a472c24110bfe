//! The one place that reads the time of day.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::Utc;

/// Where the service takes the time from.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The machine's clock.
    System,
    /// A time that stands still until it is moved, so that tests repeat.
    Fixed(Arc<AtomicI64>),
}

impl Clock {
    /// A clock that stands at this many milliseconds since 1970, UTC.
    pub fn fixed(unix_ms: i64) -> Self {
        Clock::Fixed(Arc::new(AtomicI64::new(unix_ms)))
    }

    /// Milliseconds since 1970, UTC.
    pub fn now(&self) -> i64 {
        match self {
            Clock::System => Utc::now().timestamp_millis(),
            Clock::Fixed(unix_ms) => unix_ms.load(Ordering::SeqCst),
        }
    }
}
