//! Gates of what is used up: powder, gas, fuel, hours of the compressor.

use super::behind::{Behind, without};
use super::position;
use crate::code::{BankCode, KitCode};
use crate::gas::Bar;
use crate::lineup::gate::{Gate, Opens, Shut};
use crate::lineup::hold::plain;
use crate::lineup::kit;
use crate::lineup::need::{GasSource, StageNeed};
use crate::lineup::relax::{Plenty, Relax};
use crate::lineup::supply::{FULL_BOTTLE_MBAR, GAS};
use crate::planner::{Draw, JobOption, Plan, Work};
use crate::powder::{Lot, LotState};
use crate::situation::Situation;

impl Behind<'_> {
    pub(super) fn powder(&self, powder: &str, kept: &[Relax]) -> Shut {
        let relax = Relax::Powder(powder.to_owned());
        let stages = || {
            self.option()
                .operations
                .iter()
                .filter_map(|o| match &o.work {
                    Work::Stage {
                        powder: p,
                        grams,
                        one_lot,
                        ..
                    } if p == powder => Some((*grams, *one_lot)),
                    _ => None,
                })
        };
        let one_lot = stages().any(|(_, one_lot)| one_lot);
        let all: i64 = stages().map(|(grams, _)| grams).sum();
        let largest_need = stages().map(|(grams, _)| grams).max().unwrap_or(0);
        let used = |lot: &str| -> i64 {
            let draws = self
                .plan
                .jobs
                .iter()
                .flat_map(|j| &j.operations)
                .flat_map(|s| &s.lots);
            draws.filter(|d| d.lot == lot).map(|d| d.grams).sum()
        };
        let free = || {
            self.problem
                .lots
                .iter()
                .filter(|l| plain(&l.powder) == powder)
                .map(|l| (l.grams - used(&l.id)).max(0))
        };
        let without = without(kept, &relax);
        let expires = self.fits(&Plenty::of(&without).and_fresh(powder));
        let gate = |powder| Gate::Powder {
            powder,
            need_g: if one_lot { largest_need } else { all },
            one_lot,
            largest_g: free().max().unwrap_or(0),
            total_g: free().sum(),
            expires,
            taken: self.end(&Plenty::of(&without), &Plan::default()).is_some(),
        };
        let Ok(code) = powder.parse() else {
            return Shut::new(Gate::Time, Opens::OtherFigures);
        };
        if let Some(shut) = self.kept_back(&Plenty::of(&without)) {
            return shut;
        }
        if let Some(lot) = self.lot_to_release(powder, &without) {
            return Shut::new(
                gate(code),
                Opens::Release {
                    lot: lot.code.clone(),
                },
            );
        }
        let grams = self.least(&relax, kept, all);
        Shut::new(
            gate(code.clone()),
            Opens::MorePowder {
                powder: code,
                grams,
                one_lot,
            },
        )
    }

    /// The smallest lot that is not released and would suffice if it were.
    pub(super) fn lot_to_release(&self, powder: &str, without: &[Relax]) -> Option<&Lot> {
        let stopped = |l: &&Lot| {
            matches!(
                l.state,
                LotState::Arrived | LotState::Quarantine | LotState::Hold
            ) && l.powder.as_str() == powder
                && l.on_hand.grams_on_hand() > 0
        };
        let mut lots: Vec<&Lot> = self.situation.lots.iter().filter(stopped).collect();
        lots.sort_by_key(|l| l.on_hand);
        lots.into_iter().find(|lot| {
            let until = lot
                .use_by
                .map_or(self.problem.horizon, |t| self.situation.minute_until(t));
            until > 0
                && self.fits(&Plenty::of(without).and_lot(
                    lot.on_hand.grams_on_hand(),
                    powder,
                    until,
                ))
        })
    }

    pub(super) fn store(&self, store: &str, kept: &[Relax]) -> Shut {
        let relax = Relax::Store(store.to_owned());
        let draws = || self.draws(self.option(), store);
        let need: i64 = draws().map(|(amount, _)| amount).sum();
        let floor = draws().map(|(_, floor)| floor).max().unwrap_or(0);
        let here = self.problem.stores.iter().find(|s| s.id == store);
        let all = here.map_or(0, |s| {
            s.level + s.arrivals.iter().map(|(_, amount)| amount).sum::<i64>()
        });
        let have = (all - self.taken_from(store) - floor).max(0);
        let amount = self.least(&relax, kept, need + floor + 1);
        let others = || self.kept_back(&Plenty::of(&without(kept, &relax)));
        if let Some(shut) = store.starts_with(GAS).then(others).flatten() {
            return shut;
        }
        match store.strip_prefix(GAS).map(str::parse::<BankCode>) {
            Some(Ok(bank)) => self.gas(&bank, need, have, amount, kept),
            _ if let Some(kit) = kit::code_of(store) => more_kit(kit, need, have, amount),
            _ if store == crate::lineup::FUEL => Shut::new(
                Gate::Fuel {
                    need_ml: need,
                    have_ml: have,
                },
                Opens::MoreFuel { ml: amount },
            ),
            _ => Shut::new(
                Gate::Compressor {
                    need_min: need,
                    have_min: have,
                },
                Opens::Service,
            ),
        }
    }

    /// Too few fixtures at the time at which the job would hold them.
    pub(super) fn fixture(&self, limit: &str, kept: &[Relax]) -> Shut {
        let Some(kit) = kit::code_of(limit) else {
            return Shut::new(Gate::Time, Opens::OtherFigures);
        };
        let loads = self.option().operations.iter();
        let held = loads.flat_map(|o| &o.loads).filter(|l| l.limit == limit);
        let most: i64 = held.map(|load| load.amount).sum();
        let here = self.problem.limits.iter().find(|l| l.id == limit);
        let have = here.map_or(0, |l| l.capacity);
        let count = self.least(&Relax::Limit(limit.to_owned()), kept, most);
        more_kit(kit, have + count, have, count)
    }

    fn gas(&self, code: &BankCode, need_g: i64, have_g: i64, grams: i64, kept: &[Relax]) -> Shut {
        let stand = self.situation.banks.iter().find(|b| b.code == *code);
        let needs = self.needs.iter().filter_map(|n| self.nozzle_mbar(n));
        let need_mbar = needs.max().unwrap_or(0) + stand.map_or(0, |b| b.drop_mbar);
        let have_mbar = stand.map_or(0, |b| b.pressure_mbar);
        let usable = stand.and_then(|b| usable_above(self.situation, b, need_mbar));
        let store = crate::lineup::supply::bank_store(code);
        let have_g = usable.map_or(have_g, |grams| (grams - self.taken_from(&store)).max(0));
        let bottle = stand
            .and_then(|b| usable_of_one_bottle(self.situation, b, need_mbar))
            .unwrap_or(grams)
            .max(1);
        let opens = Opens::MoreGas {
            bank: code.clone(),
            grams,
            bottles: (grams + bottle - 1).div_euclid(bottle),
        };
        if have_mbar < need_mbar {
            return Shut::new(
                Gate::GasPressure {
                    bank: code.clone(),
                    need_mbar,
                    have_mbar,
                },
                opens,
            );
        }
        let relax = Relax::Store(store);
        let without = without(kept, &relax);
        let taken = self.end(&Plenty::of(&without), &Plan::default()).is_some();
        Shut::new(
            Gate::Gas {
                bank: code.clone(),
                need_g,
                have_g,
                taken,
            },
            opens,
        )
    }

    /// What a stage that is served from bottles asks for at the nozzle, in millibar.
    fn nozzle_mbar(&self, need: &StageNeed) -> Option<i64> {
        let GasSource::Bank(code) = &need.source else {
            return None;
        };
        let stand = self.situation.banks.iter().find(|b| b.code == *code);
        Some(need.source_mbar - stand.map_or(0, |b| b.drop_mbar))
    }

    /// What the line-up takes from a store.
    fn taken_from(&self, store: &str) -> i64 {
        let mut taken = 0;
        for planned in &self.plan.jobs {
            let Some((j, o)) = position(&self.problem, planned) else {
                continue;
            };
            let operations = &self.problem.jobs[j].options[o].operations;
            for (operation, spot) in operations.iter().zip(&planned.operations) {
                for (n, draw) in operation.draws.iter().enumerate() {
                    let chosen = spot.from.get(n).and_then(Option::as_deref);
                    let from = draw.choices().iter();
                    let mut from = from.filter(|c| chosen.is_none_or(|id| c.store == id));
                    let from = from.next().filter(|c| c.store == store);
                    taken += from.map_or(0, |c| c.amount);
                }
            }
        }
        taken
    }

    fn draws<'b>(
        &self,
        option: &'b JobOption,
        store: &'b str,
    ) -> impl Iterator<Item = (i64, i64)> + 'b {
        option
            .operations
            .iter()
            .flat_map(|o| &o.draws)
            .flat_map(Draw::choices)
            .filter(move |d| d.store == store)
            .map(|d| (d.amount, d.floor))
    }
}

fn more_kit(kit: KitCode, need: i64, have: i64, count: i64) -> Shut {
    let opens = Opens::MoreKit {
        kit: kit.clone(),
        count,
    };
    Shut::new(Gate::Kit { kit, need, have }, opens)
}

/// Grams that one full bottle of a bank gives above a pressure at the site's pace.
fn usable_of_one_bottle(
    situation: &Situation,
    stand: &crate::situation::Bank,
    mbar: i64,
) -> Option<i64> {
    let full = crate::situation::Bank {
        bottles: 1,
        pressure_mbar: FULL_BOTTLE_MBAR,
        ..stand.clone()
    };
    usable_above(situation, &full, mbar)
}

/// Grams that a bank gives above a pressure in one go at the site's pace.
fn usable_above(situation: &Situation, stand: &crate::situation::Bank, mbar: i64) -> Option<i64> {
    let floor = Bar::new(mbar as f64 / 1000.0).ok()?;
    let pace = crate::lineup::supply::pace(situation);
    crate::lineup::bank(stand)
        .ok()?
        .usable_grams_at(pace, floor)
        .ok()
}
