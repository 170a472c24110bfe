//! Requests that wait: what keeps each out, and the smallest change that lets it in.
//!
//! Nothing here is guessed. A request is put behind the line-up with everything it could lack
//! given in plenty; then one after another is taken away again, and what cannot be spared is a
//! gate. How much of it is needed is found by planning with less and less.

use super::draft::Candidate;
use super::gate::{Gate, Opens, Shut};
use super::kit;
use super::need::{GasSource, StageNeed};
use super::relax::{Plenty, Relax};
use super::supply::GAS;
use crate::code::{AssetCode, BankCode, RecipeCode, RequestCode};
use crate::gas::Bar;
use crate::planner::{Draw, JobOption, Plan, PlannedJob, Problem, Window, Work, add};
use crate::powder::{Lot, LotState};
use crate::situation::{Request, Situation};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A request that is not served, with its gates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waiting {
    /// The request.
    pub request: RequestCode,
    /// Its machine.
    pub asset: AssetCode,
    /// What the crew calls the part.
    pub part_name: String,
    /// The loss rate that would stop now if its asset alone came back.
    pub stops_per_hour: i64,
    /// Its ways, the one with fewest gates first.
    pub ways: Vec<WaitingWay>,
}

/// A way to serve a request, and what keeps it shut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaitingWay {
    /// The recipe and its revision; none for the true part, or where there is no recipe.
    pub recipe: Option<(RecipeCode, i64)>,
    /// Its gates: opening all of them lets it in.
    pub shut: Vec<Shut>,
}

/// Places behind a plan every job left out that fits there and adds no loss.
///
/// A search may leave out what saves nothing, such as a worn part of a machine that still runs;
/// the crew still wants it done.
#[must_use]
pub fn complete(problem: &Problem, plan: &Plan) -> Plan {
    let mut best = plan.clone();
    for (j, job) in problem.jobs.iter().enumerate() {
        if !plan.left_out.contains(&job.id) {
            continue;
        }
        let tries = (0..job.options.len()).map(|o| add(problem, &best, &[(j, o)]));
        let fits = |tried: &Plan| tried.jobs.len() > best.jobs.len() && tried.loss <= best.loss;
        if let Some(tried) = tries.filter(fits).min_by_key(|tried| tried.loss) {
            best = Plan {
                bound: plan.bound,
                proven: plan.proven,
                ..tried
            };
        }
    }
    best
}

fn more_kit(kit: crate::code::KitCode, need: i64, have: i64, count: i64) -> Shut {
    let opens = Opens::MoreKit {
        kit: kit.clone(),
        count,
    };
    Shut::new(Gate::Kit { kit, need, have }, opens)
}

/// Which job and option of the problem a planned job is.
pub(super) fn position(problem: &Problem, planned: &PlannedJob) -> Option<(usize, usize)> {
    let job = problem.jobs.iter().position(|j| j.id == planned.id)?;
    let option = problem.jobs[job]
        .options
        .iter()
        .position(|o| o.id == planned.option)?;
    Some((job, option))
}

pub(super) fn waiting(
    situation: &Situation,
    problem: &Problem,
    plan: &Plan,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
) -> Vec<Waiting> {
    let mut waiting: Vec<Waiting> = situation
        .requests
        .iter()
        .filter(|r| plan.left_out.iter().any(|id| id == r.code.as_str()))
        .map(|request| Waiting {
            request: request.code.clone(),
            asset: request.asset.clone(),
            part_name: request.part_name.clone(),
            stops_per_hour: stops_now(problem, request),
            ways: ways(situation, problem, plan, candidates, request),
        })
        .collect();
    waiting.sort_by_key(|w| (std::cmp::Reverse(w.stops_per_hour), w.request.clone()));
    waiting
}

/// The fall of the loss rate if the request's asset alone came back now.
fn stops_now(problem: &Problem, request: &Request) -> i64 {
    let down_now = |asset: &String| {
        problem
            .assets
            .get(asset)
            .and_then(|a| a.down_from)
            .is_none()
    };
    let mine = |asset: &String| asset == request.asset.as_str();
    problem
        .capabilities
        .iter()
        .filter(|c| c.assets.iter().any(|a| mine(a) && down_now(a)))
        .map(|c| {
            let down = c.assets.iter().filter(|a| down_now(a)).count();
            let rate = |k: usize| c.loss_per_hour.get(k).copied().unwrap_or(0);
            rate(down) - rate(down.saturating_sub(1))
        })
        .sum()
}

fn ways(
    situation: &Situation,
    problem: &Problem,
    plan: &Plan,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
    request: &Request,
) -> Vec<WaitingWay> {
    let mut ways: Vec<WaitingWay> = candidates
        .get(&request.code)
        .into_iter()
        .flatten()
        .map(|candidate| {
            let mut shut = candidate.shut.clone();
            let hopeless = shut
                .iter()
                .any(|s| matches!(s.opens, Opens::Shut { .. } | Opens::TruePart));
            if let Some(option) = candidate.option.as_ref().filter(|_| !hopeless) {
                shut.extend(
                    Behind::new(situation, problem, plan, request, option, &candidate.needs)
                        .gates(),
                );
            }
            if shut.is_empty() {
                shut.push(Shut::new(Gate::Outranked, Opens::LeaveOut));
            }
            WaitingWay {
                recipe: candidate.recipe.clone(),
                shut,
            }
        })
        .collect();
    ways.sort_by_key(|way| way.shut.len());
    ways
}

/// One option of a request, put behind the line-up.
struct Behind<'a> {
    situation: &'a Situation,
    plan: &'a Plan,
    needs: &'a [StageNeed],
    /// The problem with this option as the job's only one.
    problem: Problem,
    job: usize,
}

impl<'a> Behind<'a> {
    fn new(
        situation: &'a Situation,
        problem: &Problem,
        plan: &'a Plan,
        request: &Request,
        option: &JobOption,
        needs: &'a [StageNeed],
    ) -> Self {
        let mut problem = problem.clone();
        let job = problem
            .jobs
            .iter()
            .position(|j| j.id == request.code.as_str())
            .unwrap_or(0);
        problem.jobs[job].options = vec![option.clone()];
        Self {
            situation,
            plan,
            needs,
            problem,
            job,
        }
    }

    /// Every gate that depends on what is on hand and when; none if it fits behind the line-up.
    fn gates(&self) -> Vec<Shut> {
        if self.fits(&Plenty::of(&[])) {
            return Vec::new();
        }
        let option = &self.problem.jobs[self.job].options[0];
        let mut kept = Relax::all(option, &self.problem.stores);
        if !self.fits(&Plenty::of(&kept)) {
            return vec![Shut::new(Gate::Time, Opens::OtherFigures)];
        }
        for relax in kept.clone() {
            let fewer: Vec<Relax> = kept.iter().filter(|r| **r != relax).cloned().collect();
            if self.fits(&Plenty::of(&fewer)) {
                kept = fewer;
            }
        }
        kept.iter().map(|relax| self.shut(relax, &kept)).collect()
    }

    fn fits(&self, plenty: &Plenty) -> bool {
        self.end(plenty, self.plan).is_some()
    }

    /// When the job ends behind a plan if so much is given, or none if it still does not fit.
    fn end(&self, plenty: &Plenty, before: &Plan) -> Option<i64> {
        let problem = plenty.give(&self.problem);
        let job = &problem.jobs[self.job];
        let plan = add(&problem, before, &[(self.job, 0)]);
        let planned = plan.jobs.iter().find(|p| p.id == job.id)?;
        let last = planned
            .operations
            .last()
            .zip(job.options[0].operations.last());
        Some(last.map_or(0, |(spot, operation)| spot.start + operation.minutes))
    }

    /// The least amount of one thing that suffices, all else that is kept given in plenty.
    fn least(&self, relax: &Relax, kept: &[Relax], most: i64) -> i64 {
        let (mut short, mut enough) = (0, most.max(1));
        while enough - short > 1 {
            let middle = short + (enough - short) / 2;
            if self.fits(&Plenty::of(kept).with(relax, middle)) {
                enough = middle;
            } else {
                short = middle;
            }
        }
        enough
    }

    fn shut(&self, relax: &Relax, kept: &[Relax]) -> Shut {
        match relax {
            Relax::Powder(powder) => self.powder(powder, kept),
            Relax::Store(store) => self.store(store, kept),
            Relax::Limit(limit) => self.fixture(limit, kept),
            Relax::Station(id) => match id.parse() {
                Ok(station) => {
                    let gate = Gate::Station { station };
                    let opens =
                        id.parse()
                            .map_or(Opens::OtherFigures, |station| Opens::StationBack {
                                station,
                            });
                    Shut::new(gate, opens)
                }
                Err(_) => Shut::new(Gate::Time, Opens::OtherFigures),
            },
            Relax::People => {
                let people = self.least(relax, kept, super::relax::MANY_PEOPLE);
                let most = self
                    .problem
                    .windows
                    .iter()
                    .map(|w| w.crew)
                    .max()
                    .unwrap_or(0);
                Shut::new(
                    Gate::Crew {
                        need: most + people,
                        most,
                    },
                    Opens::MorePeople { people },
                )
            }
            Relax::Duty => {
                let minutes = self.least(relax, kept, DAY_MIN);
                let longest_min = longest_attended(&self.problem.windows);
                let gate = Gate::DutyTooShort {
                    need_min: longest_min + minutes,
                    longest_min,
                };
                Shut::new(gate, Opens::LongerDuty { minutes })
            }
            Relax::Time => {
                let end = self
                    .end(&Plenty::of(kept), self.plan)
                    .unwrap_or(self.problem.horizon);
                let days = (end - self.problem.horizon).max(1).div_euclid(1440) + 1;
                Shut::new(Gate::Time, Opens::FurtherAhead { days })
            }
        }
    }

    fn powder(&self, powder: &str, kept: &[Relax]) -> Shut {
        let relax = Relax::Powder(powder.to_owned());
        let stages = || {
            self.problem.jobs[self.job].options[0]
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
                .filter(|l| l.powder == powder)
                .map(|l| (l.grams - used(&l.id)).max(0))
        };
        let without: Vec<Relax> = kept.iter().filter(|r| **r != relax).cloned().collect();
        let gate = |powder| Gate::Powder {
            powder,
            need_g: if one_lot { largest_need } else { all },
            one_lot,
            largest_g: free().max().unwrap_or(0),
            total_g: free().sum(),
            taken: self.end(&Plenty::of(&without), &Plan::default()).is_some(),
        };
        let Ok(code) = powder.parse() else {
            return Shut::new(Gate::Time, Opens::OtherFigures);
        };
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
    fn lot_to_release(&self, powder: &str, without: &[Relax]) -> Option<&Lot> {
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

    fn store(&self, store: &str, kept: &[Relax]) -> Shut {
        let relax = Relax::Store(store.to_owned());
        let draws = || self.draws(&self.problem.jobs[self.job].options[0], store);
        let need: i64 = draws().map(|(amount, _)| amount).sum();
        let floor = draws().map(|(_, floor)| floor).max().unwrap_or(0);
        let here = self.problem.stores.iter().find(|s| s.id == store);
        let all = here.map_or(0, |s| {
            s.level + s.arrivals.iter().map(|(_, amount)| amount).sum::<i64>()
        });
        let have = (all - self.taken_from(store) - floor).max(0);
        let amount = self.least(&relax, kept, need + floor + 1);
        match store.strip_prefix(GAS).map(str::parse::<BankCode>) {
            Some(Ok(bank)) => self.gas(&bank, need, have, amount, kept),
            _ if let Some(kit) = kit::code_of(store) => more_kit(kit, need, have, amount),
            _ if store == super::supply::FUEL => Shut::new(
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
    fn fixture(&self, limit: &str, kept: &[Relax]) -> Shut {
        let Some(kit) = kit::code_of(limit) else {
            return Shut::new(Gate::Time, Opens::OtherFigures);
        };
        let loads = self.problem.jobs[self.job].options[0].operations.iter();
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
        let store = super::supply::bank_store(code);
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
        let without: Vec<Relax> = kept.iter().filter(|r| **r != relax).cloned().collect();
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

const DAY_MIN: i64 = 1440;

fn longest_attended(windows: &[Window]) -> i64 {
    let (mut longest, mut from, mut to) = (0, 0, -1);
    for w in windows {
        if w.from != to {
            from = w.from;
        }
        to = w.to;
        longest = longest.max(to - from);
    }
    longest
}

/// Pressure of a full bottle, absolute, in millibar: 200 bar is the usual filling, common
/// practice, no source.
const FULL_BOTTLE_MBAR: i64 = 201_000;

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
    let pace = super::supply::pace(situation);
    super::need::bank(stand)
        .ok()?
        .usable_grams_at(pace, floor)
        .ok()
}
