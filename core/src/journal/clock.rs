//! When the clock's claim is to be doubted: the order of entries is true, their times are said.

/// What is odd about the time of an entry, or of this moment, beside that of the entry before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// The clock stands this many milliseconds before the entry.
    Back(i64),
    /// The clock stands this many milliseconds after the entry, and nothing was entered between.
    Ahead(i64),
}

/// How far after the entry before it a time is believed, in milliseconds: 24 hours.
///
/// Common practice, no source: at a site that works every day something is entered every day.
pub const BELIEVED_MS: i64 = 24 * 60 * 60 * 1000;

/// Doubts a time that is earlier than the one before it, or more than 24 hours later. Both in
/// milliseconds since 1970.
pub fn doubt(before: i64, time: i64) -> Option<Doubt> {
    let later = time.saturating_sub(before);
    match later {
        ..0 => Some(Doubt::Back(later.saturating_neg())),
        0..=BELIEVED_MS => None,
        _ => Some(Doubt::Ahead(later)),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const MINUTE: i64 = 60_000;

    /// An entry at 14:40 after one at 16:50 went back by 130 minutes.
    #[test]
    fn an_earlier_time_went_back() {
        let before = 1_795_581_600_000 + 130 * MINUTE;
        assert_eq!(
            doubt(before, 1_795_581_600_000),
            Some(Doubt::Back(130 * MINUTE))
        );
        assert_eq!(doubt(before, before - 1), Some(Doubt::Back(1)));
    }

    /// Exactly a day is believed, a millisecond more is not: the clock of a machine whose battery died
    /// may as well stand years ahead.
    #[test]
    fn more_than_a_day_later_is_ahead() {
        let before = 1_795_581_600_000;
        assert_eq!(doubt(before, before), None);
        assert_eq!(doubt(before, before + 24 * 60 * MINUTE), None);
        let later = 24 * 60 * MINUTE + 1;
        assert_eq!(doubt(before, before + later), Some(Doubt::Ahead(later)));
    }

    proptest! {
        /// Any two times can be compared, also those at the ends of what a number holds.
        #[test]
        fn a_doubt_tells_how_far(before in any::<i64>(), time in any::<i64>()) {
            match doubt(before, time) {
                None => prop_assert!(time >= before),
                Some(Doubt::Back(ms)) => prop_assert!(time < before && ms > 0),
                Some(Doubt::Ahead(ms)) => prop_assert!(time > before && ms > BELIEVED_MS),
            }
        }
    }
}
