//! When a reading was taken, by whom, and whether it is to be taken again.

use uuid::Uuid;

use super::gauge::Gauge;
use super::queries::{Gauges, Latest};
use crate::page::{Layout, minutes};

/// The readings on record, told in the time of the page.
pub struct Reads<'a> {
    page: &'a Layout,
    gauges: &'a Gauges,
}

/// A reading in words.
pub struct Told {
    /// 'read Tue 24 17:40, 21 h ago, Sprayer'.
    pub when: String,
    /// What to do, where it is too old or was never taken.
    pub again: Option<String>,
}

impl<'a> Reads<'a> {
    pub const fn new(page: &'a Layout, gauges: &'a Gauges) -> Self {
        Reads { page, gauges }
    }

    /// The latest reading of a kind, of one bank or furnace where there may be several.
    pub fn of(&self, gauge: Gauge, of: Option<Uuid>) -> Told {
        self.told(gauge, self.gauges.latest(gauge, of))
    }

    fn told(&self, gauge: Gauge, latest: Option<&Latest>) -> Told {
        let Some(read) = latest else {
            return Told {
                when: "never read".to_owned(),
                again: Some("read it".to_owned()),
            };
        };
        let (at, by) = (&read.at_ms, &read.by);
        let stale = gauge.is_stale(*at, self.page.now());
        Told {
            when: format!("read {}, {}, {by}", self.page.clock(at), self.page.age(at)),
            again: stale.then(|| format!("read again: over {}", good_for(gauge))),
        }
    }
}

fn good_for(gauge: Gauge) -> String {
    match gauge.good_for_min() {
        days if days % 1440 == 0 && days > 1440 => format!("{} days", days / 1440),
        short => minutes(short),
    }
}

/// 'bank pressure 12 h, ... furnace in work 1 h': how long each kind of reading is good.
pub fn good_for_all() -> String {
    let each = Gauge::ALL.iter();
    let each: Vec<String> = each
        .map(|gauge| format!("{} {}", gauge.word(), good_for(*gauge)))
        .collect();
    each.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_long_readings_are_good_is_told_in_days_or_hours() {
        assert_eq!(
            good_for_all(),
            "bank pressure 12 h, bank temperature 12 h, fuel 12 h, nozzle bore 14 days, heater \
             power 30 days, collector drop 24 h, compressor hours 7 days, furnace in work 1 h"
        );
    }
}
