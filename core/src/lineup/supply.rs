//! Lots and stores as the planner sees them: what may be drawn, from when, until when.

use super::draft::Candidate;
use super::need::{GasSource, bank, steady_fuel_ml_per_h};
use crate::code::{BankCode, RequestCode};
use crate::gas::Bar;
use crate::planner;
use crate::powder::LotState;
use crate::situation::{self, Brings, Situation};
use std::collections::BTreeMap;

/// The store of fuel, in millilitres.
pub const FUEL: &str = "fuel";
/// The store of the compressor's minutes left to its service.
pub const SERVICE: &str = "compressor";

/// The store of a bank, in grams.
#[must_use]
pub fn bank_store(code: &BankCode) -> String {
    format!("gas/{code}")
}

/// Lots that may be drawn now or later: released ones, and powder on its way.
pub(super) fn lots(situation: &Situation) -> Vec<planner::Lot> {
    let horizon = situation.horizon();
    let until =
        |use_by: Option<_>| use_by.map_or(horizon, |t| situation.minute_until(t).min(horizon));
    let on_hand = situation
        .lots
        .iter()
        .filter(|l| l.state == LotState::Released)
        .map(|lot| planner::Lot {
            id: lot.code.to_string(),
            powder: lot.powder.to_string(),
            grams: lot.on_hand.grams_on_hand(),
            from: 0,
            until: until(lot.use_by),
        });
    let coming = situation.deliveries.iter().flat_map(|delivery| {
        let from = landing(situation, delivery);
        delivery
            .brings
            .iter()
            .enumerate()
            .filter_map(move |(line, brings)| match brings {
                Brings::Powder {
                    powder,
                    grams,
                    use_by,
                } => Some(planner::Lot {
                    id: delivery_lot(delivery, line),
                    powder: powder.to_string(),
                    grams: *grams,
                    from,
                    until: until(*use_by),
                }),
                _ => None,
            })
    });
    on_hand
        .chain(coming)
        .filter(|l| l.grams > 0 && l.from < l.until)
        .collect()
}

/// The name of a lot that has no number yet: its delivery, and its line on the delivery's list.
pub(super) fn delivery_lot(delivery: &situation::Delivery, line: usize) -> String {
    format!("{}/{}", delivery.code, line + 1)
}

/// The minute from which what a delivery brings may be used.
pub(super) fn landing(situation: &Situation, delivery: &situation::Delivery) -> i64 {
    (situation.minute_from(delivery.expected) + situation.site.receiving_min).max(0)
}

/// Stores with their arrivals, what is used steadily already set aside.
pub(super) fn stores(
    situation: &Situation,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
) -> Vec<planner::Store> {
    let mut stores: Vec<planner::Store> = situation
        .banks
        .iter()
        .map(|b| bank_levels(situation, b, highest_floor(b, candidates)))
        .collect();
    let fuel = &situation.fuel;
    let arrivals = arrivals(situation, |brings| match brings {
        Brings::Fuel { ml } => Some(*ml),
        _ => None,
    });
    let steady = Steady {
        amount: steady_fuel_ml_per_h(situation),
        minutes: 60,
    };
    stores.push(set_aside(
        FUEL.to_owned(),
        fuel.on_hand_ml,
        &arrivals,
        &steady,
        situation.horizon(),
    ));
    if let Some(minutes) = situation.compressor.as_ref().and_then(|c| c.service_in_min) {
        stores.push(planner::Store {
            id: SERVICE.to_owned(),
            level: minutes,
            arrivals: Vec::new(),
        });
    }
    stores
}

/// A bank's content and what arrives for it.
///
/// Bottles that come are reckoned as if opened together with those that stand here: of each only
/// what lies above the highest pressure that any open request asks for counts, so that no recipe
/// is promised gas that it could not use.
fn bank_levels(
    situation: &Situation,
    stand: &situation::Bank,
    highest_mbar: i64,
) -> planner::Store {
    let level = bank(stand).map_or(0, |b| b.content_grams());
    let arrivals = arrivals(situation, |brings| match brings {
        Brings::Gas {
            bank: code,
            bottles,
            pressure_mbar,
        } if *code == stand.code => {
            let full = situation::Bank {
                bottles: *bottles,
                pressure_mbar: *pressure_mbar,
                ..stand.clone()
            };
            Some((content_at(&full, *pressure_mbar) - content_at(&full, highest_mbar)).max(0))
        }
        _ => None,
    });
    let steady = Steady {
        amount: stand.steady_g_per_day,
        minutes: 1440,
    };
    set_aside(
        bank_store(&stand.code),
        level,
        &arrivals,
        &steady,
        situation.horizon(),
    )
}

fn highest_floor(
    stand: &situation::Bank,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
) -> i64 {
    let source = GasSource::Bank(stand.code.clone());
    let needs = candidates.values().flatten().flat_map(|c| &c.needs);
    needs
        .filter(|n| n.source == source)
        .map(|n| n.source_mbar)
        .max()
        .unwrap_or(1000)
}

/// Grams that must stay in the bank for this pressure; rounded up, since a floor is a need.
pub(super) fn bank_floor_g(stand: &situation::Bank, mbar: i64) -> i64 {
    content_at(stand, mbar) + 1
}

fn content_at(stand: &situation::Bank, mbar: i64) -> i64 {
    let reckon = || {
        let bar = Bar::new(mbar as f64 / 1000.0).ok()?;
        bank(stand).ok()?.content_grams_at(bar).ok()
    };
    reckon().unwrap_or(0)
}

fn arrivals(situation: &Situation, amount: impl Fn(&Brings) -> Option<i64>) -> Vec<(i64, i64)> {
    let mut arrivals: BTreeMap<i64, i64> = BTreeMap::new();
    for delivery in &situation.deliveries {
        let sum: i64 = delivery.brings.iter().filter_map(&amount).sum();
        if sum > 0 {
            *arrivals.entry(landing(situation, delivery)).or_default() += sum;
        }
    }
    arrivals.into_iter().collect()
}

/// Steady use: so much in so many minutes.
struct Steady {
    amount: i64,
    minutes: i64,
}

impl Steady {
    fn over(&self, minutes: i64) -> i64 {
        (self.amount.saturating_mul(minutes.max(0)) + self.minutes - 1).div_euclid(self.minutes)
    }
}

/// A store with its steady use set aside: from each arrival what is used until the next one, or
/// the horizon, and from earlier ones what a later one cannot cover.
fn set_aside(
    id: String,
    level: i64,
    arrivals: &[(i64, i64)],
    steady: &Steady,
    horizon: i64,
) -> planner::Store {
    let mut steps = vec![(0, level)];
    steps.extend(arrivals.iter().copied().filter(|(at, _)| *at <= horizon));
    let mut short = 0;
    let mut end = horizon;
    for (at, amount) in steps.iter_mut().rev() {
        let net = *amount - steady.over(end - *at) - short;
        short = (-net).max(0);
        *amount = net.max(0);
        end = *at;
    }
    let later = steps.split_off(1);
    let arrivals = later
        .into_iter()
        .filter(|(_, amount)| *amount > 0)
        .collect();
    planner::Store {
        id,
        level: steps[0].1,
        arrivals,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The camp burns 2 l an hour. Of 500 l now, 6 days to the boat take 288, so 212 are free.
    /// The boat brings 400 l; until the end of the plan, 8 days later, 384 are set aside: 16 free.
    #[test]
    fn what_is_used_steadily_until_the_next_arrival_is_set_aside() {
        let hourly = Steady {
            amount: 2,
            minutes: 60,
        };
        let store = set_aside(
            "fuel".to_owned(),
            500,
            &[(6 * 1440, 400)],
            &hourly,
            14 * 1440,
        );
        assert_eq!((store.level, store.arrivals), (212, vec![(6 * 1440, 16)]));
    }

    /// The boat brings 300 l where 384 are needed afterwards: the 84 that it lacks are kept from
    /// what is here now, 212 - 84 = 128.
    #[test]
    fn what_a_later_arrival_cannot_cover_is_kept_now() {
        let hourly = Steady {
            amount: 2,
            minutes: 60,
        };
        let store = set_aside(
            "fuel".to_owned(),
            500,
            &[(6 * 1440, 300)],
            &hourly,
            14 * 1440,
        );
        assert_eq!((store.level, store.arrivals), (128, vec![]));
    }

    /// Less than the camp needs leaves nothing to build with, not a negative store.
    #[test]
    fn a_store_is_never_negative() {
        let hourly = Steady {
            amount: 2,
            minutes: 60,
        };
        assert_eq!(
            set_aside("fuel".to_owned(), 10, &[], &hourly, 1440).level,
            0
        );
    }
}
