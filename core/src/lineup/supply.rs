//! Lots and stores as the planner sees them: what may be drawn, from when, until when.

use super::need::{bank, banks_of, steady_fuel_ml_per_h};
use crate::code::{BankCode, DeliveryCode};
use crate::gas::{Bar, Gas, Pace};
use crate::planner;
use crate::powder::LotState;
use crate::situation::{self, Brings, Situation};
use std::collections::BTreeMap;

/// The store of fuel, in millilitres.
pub const FUEL: &str = "fuel";
/// The store of the compressor's minutes left to its service.
pub const SERVICE: &str = "compressor";

/// Pressure of a full bottle, absolute, in millibar: 200 bar is the usual filling, common
/// practice, no source.
pub(super) const FULL_BOTTLE_MBAR: i64 = 201_000;

/// How the stores of gas begin.
pub(super) const GAS: &str = "gas/";

/// The store of a bank, in grams.
#[must_use]
pub fn bank_store(code: &BankCode) -> String {
    format!("{GAS}{code}")
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
pub(super) fn stores(situation: &Situation) -> Vec<planner::Store> {
    let mut stores: Vec<planner::Store> = situation
        .banks
        .iter()
        .map(|stand| bank_level(situation, stand))
        .collect();
    stores.extend(coming(situation).iter().map(|c| c.level(situation)));
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
    stores.extend(super::kit::stores(situation));
    stores
}

/// What may be drawn for a gas: every bank of it, the lowest pressure first, then bottles on their
/// way in the order of their coming, each with what must be left in it.
pub(super) fn gas_draws(
    situation: &Situation,
    gas: Gas,
    grams: i64,
    nozzle_mbar: i64,
) -> Vec<planner::StoreDraw> {
    let draw = |store: String, bank: &situation::Bank| planner::StoreDraw {
        store,
        amount: grams,
        floor: bank_floor_g(situation, bank, grams, nozzle_mbar + bank.drop_mbar),
    };
    let here = banks_of(situation, gas).into_iter();
    let here = here.map(|stand| draw(bank_store(&stand.code), stand));
    let coming = coming(situation).into_iter().filter(|c| c.bank.gas == gas);
    here.chain(coming.map(|c| draw(c.store, &c.bank))).collect()
}

/// The stores from which a gas may be drawn.
pub(super) fn gas_stores(situation: &Situation, gas: Gas) -> Vec<String> {
    let here = banks_of(situation, gas).into_iter();
    let here = here.map(|stand| bank_store(&stand.code));
    let coming = coming(situation).into_iter().filter(|c| c.bank.gas == gas);
    here.chain(coming.map(|c| c.store)).collect()
}

/// The stores of a bank: its own, and those of full bottles that are on their way to it.
#[must_use]
pub fn bank_stores(situation: &Situation, bank: &BankCode) -> Vec<String> {
    let coming = coming(situation).into_iter();
    let coming = coming.filter(|it| it.bank.code == *bank);
    std::iter::once(bank_store(bank))
        .chain(coming.map(|it| it.store))
        .collect()
}

/// Full bottles on their way, which will stand as a bank of their own.
pub(super) struct Coming {
    pub(super) delivery: DeliveryCode,
    pub(super) store: String,
    /// The minute from which they may be used.
    pub(super) from: i64,
    /// Like the bank for which they come, but full.
    pub(super) bank: situation::Bank,
}

impl Coming {
    fn level(&self, situation: &Situation) -> planner::Store {
        let until = next_gas(situation, &self.bank.code, self.from);
        let lost = leaks(&self.bank).over(until - self.from);
        planner::Store {
            id: self.store.clone(),
            level: 0,
            arrivals: vec![(self.from, (content_g(&self.bank) - lost).max(0))],
        }
    }
}

/// Bottles that can be used within the plan, in the order of their coming.
pub(super) fn coming(situation: &Situation) -> Vec<Coming> {
    let mut coming = Vec::new();
    for delivery in &situation.deliveries {
        let from = landing(situation, delivery);
        for (line, brings) in delivery.brings.iter().enumerate() {
            let Brings::Gas {
                bank: code,
                bottles,
                pressure_mbar,
            } = brings
            else {
                continue;
            };
            let stand = situation.banks.iter().find(|b| b.code == *code);
            coming.extend(stand.map(|stand| Coming {
                delivery: delivery.code.clone(),
                store: format!("{GAS}{}", delivery_lot(delivery, line)),
                from,
                bank: situation::Bank {
                    bottles: *bottles,
                    pressure_mbar: *pressure_mbar,
                    ..stand.clone()
                },
            }));
        }
    }
    coming.retain(|c| c.from <= situation.horizon() && content_g(&c.bank) > 0);
    coming.sort_by_key(|c| c.from);
    coming
}

/// What a bank holds now, less what leaves it without spraying until the next bottles for it.
fn bank_level(situation: &Situation, stand: &situation::Bank) -> planner::Store {
    planner::Store {
        id: bank_store(&stand.code),
        level: (content_g(stand) - leaked_g(situation, stand)).max(0),
        arrivals: Vec::new(),
    }
}

/// What leaves a bank without spraying until its next bottles may be used, or the end of the plan.
pub(super) fn leaked_g(situation: &Situation, stand: &situation::Bank) -> i64 {
    leaks(stand).over(next_gas(situation, &stand.code, 0))
}

/// The minute after this one at which the next bottles for a bank may be used, or the end of the plan.
fn next_gas(situation: &Situation, code: &BankCode, after: i64) -> i64 {
    let brings_gas = |brings: &Brings| matches!(brings, Brings::Gas { bank, bottles, .. } if bank == code && *bottles > 0);
    let coming = situation.deliveries.iter();
    let coming = coming.filter(|delivery| delivery.brings.iter().any(brings_gas));
    coming
        .map(|delivery| landing(situation, delivery))
        .filter(|minute| *minute > after)
        .min()
        .map_or(situation.horizon(), |at| at.min(situation.horizon()))
}

const fn leaks(stand: &situation::Bank) -> Steady {
    Steady {
        amount: stand.steady_g_per_day,
        minutes: 1440,
    }
}

/// How fast bottles are drawn at this site.
pub(super) fn pace(situation: &Situation) -> Pace {
    Pace::new(situation.cell.fast_permille as f64 / 1000.0).unwrap_or(Pace::FAST)
}

/// Grams that must stay in a bank after a draw for this pressure to hold until its end; rounded up,
/// since a floor is a need.
pub(super) fn bank_floor_g(
    situation: &Situation,
    stand: &situation::Bank,
    drawn_g: i64,
    mbar: i64,
) -> i64 {
    let reckon = || {
        let bar = Bar::new(mbar as f64 / 1000.0).ok()?;
        let bank = bank(stand).ok()?;
        // More than the bottles ever hold: what they must keep after all they can give.
        let drawn_g = drawn_g.min(bank.most_grams().ok()?);
        bank.floor_grams(drawn_g, pace(situation), bar).ok()
    };
    reckon().unwrap_or(0)
}

/// Grams in a bank now; none if its reading is beyond what the equation of state holds for.
pub(super) fn content_g(stand: &situation::Bank) -> i64 {
    bank(stand).map_or(0, |b| b.content_grams())
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
