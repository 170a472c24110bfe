//! The site as if something were otherwise: what the crew assumes, and nothing is changed by.
//!
//! An assumption is put into the situation, so that it is drafted as any line-up is. What it says of
//! the order alone (done first, left out) goes along beside it.

use super::draft::draft;
use crate::catalogue::Skill;
use crate::code::{
    BankCode, CapabilityCode, DeliveryCode, LotCode, PowderCode, RequestCode, StationCode,
};
use crate::planner::MAX_COUNT;
use crate::planner::Problem;
use crate::powder::{Lot, LotState};
use crate::quantity::Milligrams;
use crate::situation::{Bank, Closed, Shift, Situation};
use chrono::{DateTime, TimeDelta, Utc};

/// The most days by which a delivery is assumed late.
pub const MOST_DAYS: i64 = 60;
/// The most powder that is assumed more, in grams.
pub const MOST_GRAMS: i64 = 1_000_000;
/// The most bottles that are assumed more.
pub const MOST_BOTTLES: i64 = 200;
/// The highest pressure at which they are assumed filled, absolute, in millibar.
pub const MOST_MBAR: i64 = 400_000;
/// The most fuel that is assumed more, in millilitres.
pub const MOST_FUEL_ML: i64 = 100_000_000;
/// The largest factor of a loss figure, in thousandths; the smallest is 0.
pub const MOST_PERMILLE: i64 = 100_000;

/// One thing that is assumed otherwise than it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Assumption {
    /// A delivery comes so many days later than expected.
    Late {
        /// Which.
        delivery: DeliveryCode,
        /// How many days.
        days: i64,
    },
    /// A delivery does not come.
    NeverComes {
        /// Which.
        delivery: DeliveryCode,
    },
    /// The cell, or all of a station, is out for a while.
    Out {
        /// Which station; none: the cell.
        station: Option<StationCode>,
        /// From when.
        from: DateTime<Utc>,
        /// Until when, not included.
        until: DateTime<Utc>,
    },
    /// One person fewer is on duty, throughout.
    OneFewer {
        /// One of those who can do this; none: of those who can do neither, where there are such.
        skill: Option<Skill>,
    },
    /// More powder is here now, released, as one lot.
    Powder {
        /// Which.
        powder: PowderCode,
        /// How much, in grams.
        grams: i64,
    },
    /// More full bottles are here now, and stand as a bank of their own.
    Gas {
        /// Like those of this bank.
        bank: BankCode,
        /// How many.
        bottles: i64,
        /// Pressure at which they were filled, absolute, in millibar.
        pressure_mbar: i64,
    },
    /// More fuel is here now.
    Fuel {
        /// How much, in millilitres.
        ml: i64,
    },
    /// A keep-back is given up, all of it.
    GivenUp {
        /// Its number.
        keep_back: i64,
    },
    /// A request is done before all others.
    First {
        /// Which.
        request: RequestCode,
    },
    /// A request is not done.
    LeftOut {
        /// Which.
        request: RequestCode,
    },
    /// The loss rates of a capability are so many times what was said.
    LossTimes {
        /// Which.
        capability: CapabilityCode,
        /// The factor, in thousandths.
        permille: i64,
    },
}

/// Why something cannot be assumed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AssumptionFault {
    /// The site has no such thing.
    #[error("'{code}' is no {what} here; choose one of the list")]
    Unknown {
        /// What was looked for.
        what: &'static str,
        /// What was given.
        code: String,
    },
    /// A figure out of range.
    #[error("{given} {unit} is out of range; give {least} to {most}")]
    Range {
        /// What was given.
        given: i64,
        /// In which unit.
        unit: &'static str,
        /// The least that is allowed.
        least: i64,
        /// The most that is allowed.
        most: i64,
    },
    /// An end that is not after its begin, or that is past.
    #[error("it ends at {until}, which is not after {after}; give a later end")]
    EndsTooSoon {
        /// The end.
        until: DateTime<Utc>,
        /// Its begin, or now.
        after: DateTime<Utc>,
    },
    /// There is nobody of this kind to be missing.
    #[error(
        "nobody on duty is of that kind ({}); choose another", skill.map_or("no skill named", Skill::as_str)
    )]
    Nobody {
        /// Of which skill; none: of neither.
        skill: Option<Skill>,
    },
    /// It contradicts an assumption before it.
    #[error("'{code}' is assumed otherwise already; assume one thing of it")]
    Twice {
        /// Of what.
        code: String,
    },
}

/// The site with what was assumed.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumed {
    /// The situation with all that can be said in it.
    pub situation: Situation,
    /// Requests done before all others, in this order.
    pub first: Vec<RequestCode>,
    /// Requests that are not done.
    pub left_out: Vec<RequestCode>,
}

impl Assumed {
    /// The planning problem: a request that is left out has no option, and its machine stays down.
    #[must_use]
    pub fn problem(&self) -> Problem {
        let mut problem = draft(&self.situation).problem;
        for job in &mut problem.jobs {
            if self.left_out.iter().any(|code| code.as_str() == job.id) {
                job.options.clear();
            }
        }
        problem
    }
}

/// The situation with all assumptions; without any it is as it was.
///
/// # Errors
/// Every assumption that cannot be made, by its place in the list.
pub fn assume(
    situation: &Situation,
    assumptions: &[Assumption],
) -> Result<Assumed, Vec<(usize, AssumptionFault)>> {
    let mut assumed = Assumed {
        situation: situation.clone(),
        first: Vec::new(),
        left_out: Vec::new(),
    };
    let mut faults = Vec::new();
    for (place, assumption) in assumptions.iter().enumerate() {
        let twice = assumptions[..place].iter().find_map(|other| {
            let code = subject(assumption)?;
            (subject(other) == Some(code)).then(|| AssumptionFault::Twice {
                code: code.1.to_owned(),
            })
        });
        let made = twice.map_or_else(|| assumed.make(assumption), Err);
        faults.extend(made.err().map(|fault| (place, fault)));
    }
    if faults.is_empty() {
        Ok(assumed)
    } else {
        Err(faults)
    }
}

/// What may be assumed otherwise only once: its kind and its code.
fn subject(assumption: &Assumption) -> Option<(u8, &str)> {
    match assumption {
        Assumption::Late { delivery, .. } | Assumption::NeverComes { delivery } => {
            Some((0, delivery.as_str()))
        }
        Assumption::First { request } | Assumption::LeftOut { request } => {
            Some((1, request.as_str()))
        }
        Assumption::LossTimes { capability, .. } => Some((2, capability.as_str())),
        _ => None,
    }
}

const fn within(
    given: i64,
    unit: &'static str,
    least: i64,
    most: i64,
) -> Result<(), AssumptionFault> {
    if given < least || given > most {
        return Err(AssumptionFault::Range {
            given,
            unit,
            least,
            most,
        });
    }
    Ok(())
}

fn unknown(what: &'static str, code: &impl ToString) -> AssumptionFault {
    AssumptionFault::Unknown {
        what,
        code: code.to_string(),
    }
}

impl Assumed {
    fn make(&mut self, assumption: &Assumption) -> Result<(), AssumptionFault> {
        match assumption {
            Assumption::Late { delivery, days } => self.late(delivery, *days),
            Assumption::NeverComes { delivery } => self.never_comes(delivery),
            Assumption::Out {
                station,
                from,
                until,
            } => self.out(station.as_ref(), *from, *until),
            Assumption::OneFewer { skill } => self.one_fewer(*skill),
            Assumption::Powder { powder, grams } => self.powder(powder, *grams),
            Assumption::Gas {
                bank,
                bottles,
                pressure_mbar,
            } => self.gas(bank, *bottles, *pressure_mbar),
            Assumption::Fuel { ml } => {
                within(*ml, "ml", 1, MOST_FUEL_ML)?;
                self.situation.fuel.on_hand_ml += ml;
                Ok(())
            }
            Assumption::GivenUp { keep_back } => self.given_up(*keep_back),
            Assumption::First { request } => {
                self.known(request)?;
                self.first.push(request.clone());
                Ok(())
            }
            Assumption::LeftOut { request } => {
                self.known(request)?;
                self.left_out.push(request.clone());
                Ok(())
            }
            Assumption::LossTimes {
                capability,
                permille,
            } => self.loss_times(capability, *permille),
        }
    }

    fn known(&self, request: &RequestCode) -> Result<(), AssumptionFault> {
        let known = self.situation.request(request);
        known
            .map(|_| ())
            .ok_or_else(|| unknown("open request", request))
    }

    fn late(&mut self, code: &DeliveryCode, days: i64) -> Result<(), AssumptionFault> {
        within(days, "days", 1, MOST_DAYS)?;
        let mut deliveries = self.situation.deliveries.iter_mut();
        let delivery = deliveries
            .find(|d| d.code == *code)
            .ok_or_else(|| unknown("delivery", code))?;
        delivery.expected += TimeDelta::days(days);
        Ok(())
    }

    fn never_comes(&mut self, code: &DeliveryCode) -> Result<(), AssumptionFault> {
        let deliveries = &mut self.situation.deliveries;
        let place = deliveries
            .iter()
            .position(|d| d.code == *code)
            .ok_or_else(|| unknown("delivery", code))?;
        deliveries.remove(place);
        Ok(())
    }

    fn out(
        &mut self,
        station: Option<&StationCode>,
        from: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Result<(), AssumptionFault> {
        let after = from.max(self.situation.now);
        if until <= after {
            return Err(AssumptionFault::EndsTooSoon { until, after });
        }
        let closed = |slots| Closed {
            from,
            to: until,
            slots,
            reason: "assumed".to_owned(),
        };
        let Some(code) = station else {
            self.situation.cell.closed.push(closed(1));
            return Ok(());
        };
        let mut stations = self.situation.stations.iter_mut();
        let station = stations
            .find(|s| s.code == *code)
            .ok_or_else(|| unknown("station", code))?;
        station.closed.push(closed(station.slots));
        Ok(())
    }

    fn one_fewer(&mut self, skill: Option<Skill>) -> Result<(), AssumptionFault> {
        let missing = |shift: &Shift| match skill {
            Some(skill) => shift.able(skill) > 0,
            None => shift.crew > 0,
        };
        let shifts = &mut self.situation.shifts;
        if !shifts.iter().any(missing) {
            return Err(AssumptionFault::Nobody { skill });
        }
        for shift in shifts.iter_mut().filter(|shift| missing(shift)) {
            shift.crew -= 1;
            match skill {
                Some(Skill::Sprayer) => shift.sprayers -= 1,
                Some(Skill::Machinist) => shift.machinists -= 1,
                None => {}
            }
            shift.sprayers = shift.sprayers.min(shift.crew);
            shift.machinists = shift.machinists.min(shift.crew);
        }
        shifts.retain(|shift| shift.crew > 0);
        Ok(())
    }

    fn powder(&mut self, powder: &PowderCode, grams: i64) -> Result<(), AssumptionFault> {
        within(grams, "g", 1, MOST_GRAMS)?;
        self.situation
            .powder(powder)
            .ok_or_else(|| unknown("powder", powder))?;
        let taken = |code: &LotCode| self.situation.lot(code).is_some();
        let code = fresh(taken).ok_or_else(|| unknown("powder", powder))?;
        self.situation.lots.push(Lot {
            code,
            powder: powder.clone(),
            state: LotState::Released,
            state_note: "assumed".to_owned(),
            on_hand: Milligrams::from_grams(grams),
            use_by: None,
            opened: false,
        });
        Ok(())
    }

    fn gas(
        &mut self,
        code: &BankCode,
        bottles: i64,
        pressure_mbar: i64,
    ) -> Result<(), AssumptionFault> {
        within(bottles, "bottles", 1, MOST_BOTTLES)?;
        within(pressure_mbar, "mbar", 1, MOST_MBAR)?;
        let banks = &self.situation.banks;
        let like = banks
            .iter()
            .find(|b| b.code == *code)
            .ok_or_else(|| unknown("bank", code))?;
        let taken = |code: &BankCode| banks.iter().any(|b| b.code == *code);
        let more = Bank {
            code: fresh(taken).ok_or_else(|| unknown("bank", code))?,
            bottles,
            pressure_mbar,
            steady_g_per_day: 0,
            ..like.clone()
        };
        self.situation.banks.push(more);
        Ok(())
    }

    fn given_up(&mut self, number: i64) -> Result<(), AssumptionFault> {
        let keep_backs = &mut self.situation.keep_backs;
        let place = keep_backs.iter().position(|it| it.number == number);
        keep_backs.remove(place.ok_or_else(|| unknown("keep-back", &number))?);
        Ok(())
    }

    fn loss_times(&mut self, code: &CapabilityCode, permille: i64) -> Result<(), AssumptionFault> {
        within(permille, "thousandths", 0, MOST_PERMILLE)?;
        let mut capabilities = self.situation.capabilities.iter_mut();
        let capability = capabilities
            .find(|c| c.code == *code)
            .ok_or_else(|| unknown("capability", code))?;
        let highest = capability.loss_per_hour.iter().copied().max().unwrap_or(0);
        within(
            permille,
            "thousandths",
            0,
            MAX_COUNT * 1000 / highest.max(1),
        )?;
        for rate in &mut capability.loss_per_hour {
            *rate = (rate.saturating_mul(permille) + 500).div_euclid(1000);
        }
        Ok(())
    }
}

/// The first of 'assumed-1', 'assumed-2' ... that is not taken.
fn fresh<T: std::str::FromStr>(taken: impl Fn(&T) -> bool) -> Option<T> {
    (1..1000)
        .filter_map(|n| format!("assumed-{n}").parse().ok())
        .find(|code| !taken(code))
}
