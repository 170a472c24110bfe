//! One way of a request that waits, put behind the line-up with plenty of this and little of that.

use crate::catalogue::Skill;
use crate::code::DeliveryCode;
use crate::lineup::draft::Candidate;
use crate::lineup::gate::{Gate, Opens, Shut};
use crate::lineup::hold::Holds;
use crate::lineup::least::least;
use crate::lineup::need::StageNeed;
use crate::lineup::relax::{MANY_PEOPLE, Plenty, Relax};
use crate::lineup::supply::landing;
use crate::planner::{JobOption, Plan, Problem, Window, add};
use crate::situation::{Request, Situation};

pub(super) struct Behind<'a> {
    pub(super) situation: &'a Situation,
    pub(super) plan: &'a Plan,
    pub(super) needs: &'a [StageNeed],
    /// The option as if nothing were kept back.
    pub(super) unheld: &'a JobOption,
    /// The problem with this option as the job's only one, from lots that last to the end or, where powder is
    /// kept back, from others.
    pub(super) problem: Problem,
    pub(super) job: usize,
}

impl<'a> Behind<'a> {
    pub(super) fn new(
        situation: &'a Situation,
        problem: &Problem,
        plan: &'a Plan,
        request: &Request,
        candidate: &'a Candidate,
        option: &'a JobOption,
    ) -> Self {
        let mut problem = problem.clone();
        let job = problem
            .jobs
            .iter()
            .position(|j| j.id == request.code.as_str())
            .unwrap_or(0);
        let holds = Holds::of(situation, &situation.keep_backs);
        problem.jobs[job].options = holds.ways(request.asset.as_str(), option);
        Self {
            situation,
            plan,
            needs: &candidate.needs,
            unheld: option,
            problem,
            job,
        }
    }

    pub(super) fn option(&self) -> &JobOption {
        &self.problem.jobs[self.job].options[0]
    }

    /// Every gate that depends on what is on hand and when.
    pub(super) fn gates(&self) -> Vec<Shut> {
        if self.fits(&Plenty::of(&[])) {
            return self.not_worth().into_iter().collect();
        }
        if let Some(shut) = self.kept_back(&Plenty::of(&[])) {
            return vec![shut];
        }
        let mut kept = self.all();
        if !self.fits(&Plenty::of(&kept)) {
            return vec![Shut::new(Gate::Time, Opens::OtherFigures)];
        }
        for relax in kept.clone() {
            let fewer = without(&kept, &relax);
            if self.fits(&Plenty::of(&fewer)) {
                kept = fewer;
            }
        }
        kept.iter().map(|relax| self.shut(relax, &kept)).collect()
    }

    /// All that it could lack. A lot that waits for its release comes before a delivery that could come
    /// sooner.
    fn all(&self) -> Vec<Relax> {
        let here = Relax::all(self.option(), &self.problem.stores);
        let released = here.iter().any(|relax| match relax {
            Relax::Powder(powder) => self
                .lot_to_release(powder, &without(&here, relax))
                .is_some(),
            _ => false,
        });
        if released {
            return here;
        }
        let coming = self
            .situation
            .deliveries
            .iter()
            .map(|delivery| Relax::Delivery {
                code: delivery.code.clone(),
                lands: landing(self.situation, delivery),
            });
        here.iter().cloned().chain(coming).collect()
    }

    pub(super) fn fits(&self, plenty: &Plenty) -> bool {
        self.end(plenty, self.plan).is_some()
    }

    /// When the job ends behind a plan if so much is given, or none if it still does not fit.
    pub(super) fn end(&self, plenty: &Plenty, before: &Plan) -> Option<i64> {
        let problem = plenty.give(&self.problem);
        let job = &problem.jobs[self.job];
        let ways = job.options.iter().enumerate();
        let ends = ways.filter_map(|(n, option)| {
            let plan = add(&problem, before, &[(self.job, n)]);
            let planned = plan.jobs.iter().find(|p| p.id == job.id)?;
            let last = planned.operations.last().zip(option.operations.last());
            Some(last.map_or(0, |(spot, operation)| spot.start + operation.minutes))
        });
        ends.min()
    }

    /// The least amount of one thing that suffices, all else that is kept given in plenty.
    pub(super) fn least(&self, relax: &Relax, kept: &[Relax], most: i64) -> i64 {
        least(0, most.max(1), |amount| {
            self.fits(&Plenty::of(kept).with(relax, amount))
        })
    }

    fn shut(&self, relax: &Relax, kept: &[Relax]) -> Shut {
        match relax {
            Relax::Powder(powder) => self.powder(powder, kept),
            Relax::Store(store) => self.store(store, kept),
            Relax::Limit(limit) => self.fixture(limit, kept),
            Relax::Station(id) => self.station(id, kept),
            Relax::People => self.people(kept),
            Relax::Able(skill) => self.able(*skill, kept),
            Relax::Duty => self.duty(kept),
            Relax::Yes(limit) => self.yes(limit, kept),
            Relax::Delivery { code, lands } => self.delivery(code, *lands, kept),
            Relax::Time => {
                let end = self
                    .end(&Plenty::of(kept), self.plan)
                    .unwrap_or(self.problem.horizon);
                let days = (end - self.problem.horizon).max(1).div_euclid(DAY_MIN) + 1;
                Shut::new(Gate::Time, Opens::FurtherAhead { days })
            }
        }
    }

    fn station(&self, id: &str, kept: &[Relax]) -> Shut {
        let Ok(station) = id.parse::<crate::code::StationCode>() else {
            return Shut::new(Gate::Time, Opens::OtherFigures);
        };
        let relax = Relax::Station(id.to_owned());
        let horizon = self.problem.horizon;
        if !self.fits(&Plenty::of(kept).with(&relax, horizon)) {
            let gate = Gate::StationFull {
                station: station.clone(),
            };
            return Shut::new(gate, Opens::MoreSlots { station, slots: 1 });
        }
        let minutes = self.least(&relax, kept, horizon);
        let closed = self.problem.stations.iter().find(|s| s.id == id);
        let ends = closed.and_then(|s| s.closed.iter().map(|c| c.1).max());
        let by = (ends.unwrap_or(horizon) - minutes).max(0);
        let opens = Opens::StationBack {
            station: station.clone(),
            by: Some(self.situation.moment(by)),
        };
        Shut::new(Gate::Station { station }, opens)
    }

    fn people(&self, kept: &[Relax]) -> Shut {
        let people = self.least(&Relax::People, kept, MANY_PEOPLE);
        let windows = self.problem.windows.iter();
        let most = windows.map(|w| w.crew).max().unwrap_or(0);
        let gate = Gate::Crew {
            need: most + people,
            most,
        };
        Shut::new(gate, Opens::MorePeople { people })
    }

    fn able(&self, skill: Skill, kept: &[Relax]) -> Shut {
        let people = self.least(&Relax::Able(skill), kept, MANY_PEOPLE);
        let shifts = self.situation.shifts.iter();
        let most = shifts.map(|shift| shift.able(skill)).max().unwrap_or(0);
        let gate = Gate::NobodyQualified { skill, most };
        Shut::new(gate, Opens::MoreQualified { skill, people })
    }

    fn duty(&self, kept: &[Relax]) -> Shut {
        let minutes = self.least(&Relax::Duty, kept, DAY_MIN);
        let longest_min = longest_attended(&self.problem.windows);
        let gate = Gate::DutyTooShort {
            need_min: longest_min + minutes,
            longest_min,
        };
        Shut::new(gate, Opens::LongerDuty { minutes })
    }

    fn yes(&self, id: &str, kept: &[Relax]) -> Shut {
        let limit = self.problem.limits.iter().find(|l| l.id == id);
        let ends = limit.and_then(|l| l.windows.last()).map_or(0, |w| w.0);
        let relax = Relax::Yes(id.to_owned());
        let minutes = self.least(&relax, kept, self.problem.horizon);
        Shut::new(
            Gate::YesRunsOut {
                until: self.situation.moment(ends),
            },
            Opens::YesUntil {
                until: self.situation.moment(ends + minutes),
            },
        )
    }

    fn delivery(&self, code: &DeliveryCode, lands: i64, kept: &[Relax]) -> Shut {
        let relax = Relax::Delivery {
            code: code.clone(),
            lands,
        };
        let known = self.situation.deliveries.iter().find(|d| d.code == *code);
        let gate = Gate::Delivery {
            delivery: code.clone(),
            expected: known.map_or(self.situation.moment(lands), |d| d.expected),
        };
        let opens = Opens::Sooner {
            delivery: code.clone(),
            minutes: self.least(&relax, kept, lands),
        };
        Shut::new(gate, opens)
    }

    /// It fits, and would cost more than it saves: by how much.
    fn not_worth(&self) -> Option<Shut> {
        let debt = self.option().debt;
        let with = add(&self.problem, self.plan, &[(self.job, 0)]);
        let without = crate::planner::loss(&self.problem, self.plan);
        let dearer = with.loss - without;
        (debt > 0 && dearer > 0).then(|| {
            let opens = Opens::LessDebt { debt: dearer };
            Shut::new(Gate::NotWorth { debt }, opens)
        })
    }
}

pub(super) fn without(kept: &[Relax], relax: &Relax) -> Vec<Relax> {
    kept.iter().filter(|r| *r != relax).cloned().collect()
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
