//! Shift change: what the next shift is told, what makes a handover dangerous, and whether it was heard.
//!
//! A handover is one [`Record`]. What keeps it from being told is [`untold`], which higher-risk matters it holds
//! [`triggers`], what the receiver looks at with own eyes [`facts()`], and what keeps it from being taken over
//! [`unheard`]. Accidents in many trades trace back to a handover in which half-done work looked done, or a
//! safeguard was off and nobody had written it down: so no field stands for 'none' by being blank.

mod facts;
mod hearing;
mod place;
mod record;
mod risk;
mod telling;
mod told;

#[cfg(test)]
mod tests;

pub use facts::{FACTS, Fact, facts};
pub use hearing::{Heard, Seen, Unheard, unheard};
pub use place::{Place, Word};
pub use record::{
    ClockBox, Guard, GuardLine, Half, HalfKind, Held, HeldKind, Line, Moved, People, Question,
    Record, Stand,
};
pub use risk::{Risk, Trigger, risk, triggers};
pub use telling::{MOST_MUSTS, Untold, Why, untold};
pub use told::Told;

/// Minutes for which a reading may be told or taken over: an hour.
///
/// Common practice, no source: what was read longer ago may have changed with the cell at work.
pub const GOOD_FOR_MIN: i64 = 60;

/// Minutes of a shift after which its handover is to be drafted: half of twelve hours.
///
/// Common practice, no source: what is written at the last minute is written from memory.
pub const DRAFT_AFTER_MIN: i64 = 6 * 60;

/// Whole minutes from one moment to another, both in milliseconds, rounded up: an age is never told younger.
fn minutes(from_ms: i64, to_ms: i64) -> i64 {
    to_ms
        .saturating_sub(from_ms)
        .saturating_add(59_999)
        .div_euclid(60_000)
}
