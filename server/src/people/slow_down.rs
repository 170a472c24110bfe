//! Tries at a passphrase are slowed down by name, never locked out: at three in the morning a lock-out
//! is itself a danger.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Failed tries by name, kept in memory: after a restart counting begins anew.
#[derive(Debug, Clone, Default)]
pub struct SlowDown {
    tries: Arc<Mutex<BTreeMap<String, Tries>>>,
}

#[derive(Debug, Clone, Copy)]
struct Tries {
    count: u32,
    last: i64,
}

impl SlowDown {
    /// Counts a try for this name, or says how many seconds to wait before the next is looked at.
    ///
    /// The try counts before its outcome is known, so that many at once are no way round.
    pub fn admit(&self, name: &str, now: i64) -> Result<(), i64> {
        let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        tries.retain(|_, tries| (now - tries.last).abs() < FORGOTTEN_AFTER_MS);
        let name = key(name);
        let count = match tries.get(&name) {
            None => 0,
            Some(earlier) => {
                let wait =
                    delay_ms(earlier.count).min(earlier.last + delay_ms(earlier.count) - now);
                if wait > 0 {
                    return Err((wait + 999) / 1000);
                }
                earlier.count
            }
        };
        if tries.len() >= MOST_NAMES && !tries.contains_key(&name) {
            let oldest = tries
                .iter()
                .min_by_key(|(_, tries)| tries.last)
                .map(|(name, _)| name.clone());
            oldest.map(|oldest| tries.remove(&oldest));
        }
        tries.insert(
            name,
            Tries {
                count: count + 1,
                last: now,
            },
        );
        Ok(())
    }

    /// Forgets the tries of somebody who has signed in.
    pub fn forget(&self, name: &str) {
        self.tries
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .remove(&key(name));
    }
}

const FORGOTTEN_AFTER_MS: i64 = 15 * 60 * 1000;
const MOST_NAMES: usize = 1000;

/// Three tries are free; then the wait doubles from one second to half a minute.
fn delay_ms(count: u32) -> i64 {
    match count {
        0..=2 => 0,
        3..=7 => 1000 << (count - 3),
        _ => 30_000,
    }
}

/// Names count as the database compares them, cut so that memory stays small.
fn key(name: &str) -> String {
    name.trim()
        .chars()
        .take(60)
        .collect::<String>()
        .to_ascii_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tries at 0 s, three free, then waits of 1, 2, 4, 8, 16 and from then on 30 s.
    #[test]
    fn waits_double_up_to_half_a_minute() {
        let slow_down = SlowDown::default();
        let mut now = 0;
        for expected in [0, 0, 0, 1, 2, 4, 8, 16, 30, 30] {
            if expected > 0 {
                assert_eq!(slow_down.admit("lead", now), Err(expected));
                now += expected * 1000;
            }
            assert_eq!(slow_down.admit("lead", now), Ok(()));
        }
        assert_eq!(slow_down.admit("someone else", now), Ok(()));
        assert_eq!(slow_down.admit(" LEAD ", now), Err(30));
        slow_down.forget("Lead");
        assert_eq!(slow_down.admit("lead", now), Ok(()));
    }

    #[test]
    fn a_clock_put_back_makes_nobody_wait_longer() {
        let slow_down = SlowDown::default();
        for _ in 0..3 {
            assert_eq!(slow_down.admit("lead", 600_000), Ok(()));
        }
        assert_eq!(slow_down.admit("lead", 0), Err(1));
    }

    #[test]
    fn memory_is_bounded() {
        let slow_down = SlowDown::default();
        for number in 0..5000 {
            assert_eq!(slow_down.admit(&format!("name {number}"), number), Ok(()));
        }
        assert_eq!(
            slow_down.tries.lock().expect("not poisoned").len(),
            MOST_NAMES
        );
    }
}
