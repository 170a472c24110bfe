//! What is assumed otherwise: the situation that comes of it, and what cannot be assumed.

use super::site::{at, boat, code, lot, request, site};
use super::{completed, planned};
use crate::catalogue::Skill;
use crate::lineup::{Assumed, Assumption, AssumptionFault, Return, assume, returns};
use crate::planner::{CrewOrder, crew_plan};
use crate::situation::Situation;
use proptest::prelude::*;

/// The boat comes on the third day at noon with 9 kg more.
fn with_boat() -> Situation {
    let mut situation = site();
    situation.deliveries = vec![boat(2 * 1440 + 720, 9_000)];
    situation
}

fn one(situation: &Situation, assumption: Assumption) -> Result<Assumed, AssumptionFault> {
    assume(situation, &[assumption]).map_err(|mut faults| faults.remove(0).1)
}

fn made(situation: &Situation, assumption: Assumption) -> Situation {
    one(situation, assumption)
        .expect("it can be assumed")
        .situation
}

fn fault(situation: &Situation, assumption: Assumption) -> String {
    one(situation, assumption)
        .expect_err("it cannot be assumed")
        .to_string()
}

#[test]
fn without_assumptions_nothing_is_otherwise() {
    let assumed = assume(&with_boat(), &[]).expect("nothing to refuse");
    assert_eq!(assumed.situation, with_boat());
    assert_eq!((assumed.first, assumed.left_out), (vec![], vec![]));
}

/// Noon of the third day and 4 days are noon of the seventh; what is received then may be used an hour later.
#[test]
fn a_delivery_comes_later_or_not_at_all() {
    let late = Assumption::Late {
        delivery: code("BOAT"),
        days: 4,
    };
    let problem = one(&with_boat(), late).expect("it can be late").problem();
    let from: Vec<i64> = problem.lots.iter().map(|lot| lot.from).collect();
    assert_eq!(from, [0, 6 * 1440 + 720 + 60]);
    let never = Assumption::NeverComes {
        delivery: code("BOAT"),
    };
    assert!(made(&with_boat(), never.clone()).deliveries.is_empty());
    let days = |days| Assumption::Late {
        delivery: code("BOAT"),
        days,
    };
    assert_eq!(
        fault(&with_boat(), days(61)),
        "61 days is out of range; give 1 to 60"
    );
    assert_eq!(
        fault(&site(), never.clone()),
        "'BOAT' is no delivery here; choose one of the list"
    );
    let both = assume(&with_boat(), &[days(1), never]).expect_err("only one of them");
    let twice = AssumptionFault::Twice {
        code: "BOAT".to_owned(),
    };
    assert_eq!(both, [(1, twice)]);
}

/// The mill is out until noon of the first day. R1 is sprayed from 06:00 on and would be there before: it is
/// milled at noon.
#[test]
fn a_station_is_out_for_a_while() {
    let out = |from, until| Assumption::Out {
        station: Some(code("mill")),
        from: at(from),
        until: at(until),
    };
    let situation = made(&site(), out(0, 720));
    let before = planned(&site());
    let after = planned(&situation);
    let milled = |at: usize| after.places[0].work[at].starts();
    assert!(before.places[0].work[1].starts() < at(720));
    assert_eq!(milled(1), at(720));
    // Milled for an hour and run for half of one: back at 13:30.
    let told = returns(&before, &after);
    let back = Return {
        asset: code("pump-1"),
        was: Some(before.places[0].done),
        is: Some(at(810)),
    };
    assert_eq!(told, [back]);
    let cell = Assumption::Out {
        station: None,
        from: at(0),
        until: at(1440),
    };
    assert!(planned(&made(&site(), cell)).places[0].starts() >= at(1440));
    assert_eq!(
        fault(&site(), out(90, 90)),
        "it ends at 2026-11-25 01:30:00 UTC, which is not after 2026-11-25 01:30:00 UTC; give a later end"
    );
    let kiln = Assumption::Out {
        station: Some(code("kiln")),
        from: at(0),
        until: at(9),
    };
    assert_eq!(
        fault(&site(), kiln),
        "'kiln' is no station here; choose one of the list"
    );
}

/// Of two people one can spray. Without that one, one is left who cannot; without the other, one who can.
/// Of one on duty nobody is left, and the shift falls away.
#[test]
fn one_person_fewer_is_on_duty() {
    let mut situation = site();
    situation.shifts.truncate(1);
    situation.shifts[0].sprayers = 1;
    let without = |skill| made(&situation, Assumption::OneFewer { skill }).shifts;
    let left = |skill| {
        let shift = without(skill)[0];
        (shift.crew, shift.sprayers, shift.machinists)
    };
    assert_eq!(left(Some(Skill::Sprayer)), (1, 0, 1));
    assert_eq!(left(Some(Skill::Machinist)), (1, 1, 1));
    assert_eq!(left(None), (1, 1, 1));
    situation.shifts[0].crew = 1;
    let alone = made(&situation, Assumption::OneFewer { skill: None });
    assert_eq!(alone.shifts, []);
    situation.shifts[0].sprayers = 0;
    let skill = Some(Skill::Sprayer);
    assert_eq!(
        fault(&situation, Assumption::OneFewer { skill }),
        "nobody on duty is of that kind (sprayer); choose another"
    );
}

/// 4 kg are deposited at 0.8, 5 kg and what is lost on the way: 3 kg on hand do not do, with 9 kg more they do.
#[test]
fn more_powder_lets_in_what_waits() {
    let mut situation = site();
    situation.lots = vec![lot("L0001", 3_000), lot("assumed-1", 1)];
    assert!(planned(&situation).places.is_empty());
    let more = |powder, grams| Assumption::Powder {
        powder: code(powder),
        grams,
    };
    let assumed = made(&situation, more("316L", 9_000));
    let names: Vec<&str> = assumed.lots.iter().map(|lot| lot.code.as_str()).collect();
    assert_eq!(names, ["L0001", "assumed-1", "assumed-2"]);
    assert_eq!(planned(&assumed).places.len(), 1);
    assert_eq!(
        fault(&situation, more("316L", 0)),
        "0 g is out of range; give 1 to 1000000"
    );
    assert_eq!(
        fault(&situation, more("Cu", 5)),
        "'Cu' is no powder here; choose one of the list"
    );
}

#[test]
fn more_bottles_stand_as_a_bank_of_their_own() {
    let more = |bank, bottles, pressure_mbar| Assumption::Gas {
        bank: code(bank),
        bottles,
        pressure_mbar,
    };
    let assumed = made(&site(), more("A", 4, 200_000));
    let bank = &assumed.banks[1];
    assert_eq!((bank.bottles, bank.pressure_mbar), (4, 200_000));
    assert_eq!(assumed.banks[0], site().banks[0]);
    assert_eq!(
        fault(&site(), more("A", 201, 200_000)),
        "201 bottles is out of range; give 1 to 200"
    );
    assert_eq!(
        fault(&site(), more("A", 4, 0)),
        "0 mbar is out of range; give 1 to 400000"
    );
    assert_eq!(
        fault(&site(), more("B", 4, 200_000)),
        "'B' is no bank here; choose one of the list"
    );
}

/// 2000 l are here; with 50 l more, 2050.
#[test]
fn more_fuel_is_here() {
    let more = |ml| Assumption::Fuel { ml };
    assert_eq!(made(&site(), more(50_000)).fuel.on_hand_ml, 2_050_000);
    assert_eq!(
        fault(&site(), more(-1)),
        "-1 ml is out of range; give 1 to 100000000"
    );
}

/// Two pumps, one part each. The first request left out, only the second has a place, and its loss counts on.
#[test]
fn a_request_is_left_out_or_done_first() {
    let mut situation = site();
    let second = request("R2", "pump-2", "P-1", "P-1-316L");
    situation.requests.push(second);
    situation.lots[0] = lot("L0001", 20_000);
    let left_out = Assumption::LeftOut {
        request: code("R1"),
    };
    let assumed = one(&situation, left_out.clone()).expect("it can be left out");
    let problem = assumed.problem();
    assert_eq!(problem.jobs.len(), 2, "its machine stays down");
    let plan = crew_plan(&problem, CrewOrder::OldestFirst);
    let line_up = completed(&assumed.situation, problem, &plan);
    let places: Vec<&str> = line_up.places.iter().map(|p| p.request.as_str()).collect();
    assert_eq!(places, ["R2"]);
    let first = |request| Assumption::First {
        request: code(request),
    };
    let assumed = one(&situation, first("R2")).expect("it can be first");
    assert_eq!(assumed.first, [code("R2")]);
    assert_eq!(
        fault(&situation, first("R9")),
        "'R9' is no open request here; choose one of the list"
    );
    let both = assume(&situation, &[left_out, first("R1")]).expect_err("not both");
    assert_eq!(both[0].0, 1);
}

/// 5 and 90 an hour, times 1.5: 7.5, rounded up to 8, and 135.
#[test]
fn a_loss_figure_is_taken_times_a_factor() {
    let times = |capability, permille| Assumption::LossTimes {
        capability: code(capability),
        permille,
    };
    let assumed = made(&site(), times("water", 1500));
    assert_eq!(assumed.capabilities[0].loss_per_hour, [0, 8, 135]);
    assert_eq!(
        fault(&site(), times("water", -1)),
        "-1 thousandths is out of range; give 0 to 100000"
    );
    assert_eq!(
        fault(&site(), times("light", 1000)),
        "'light' is no capability here; choose one of the list"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Whatever is assumed of the site, its problem keeps the contract, and more powder or fuel takes nothing
    /// from what the same order does.
    #[test]
    fn what_is_assumed_makes_a_problem(
        grams in 1_i64..20_000,
        ml in 1_i64..1_000_000,
        days in 1_i64..20,
        out in (0_i64..4000, 1_i64..4000),
        permille in 0_i64..9_000,
    ) {
        let more = [
            Assumption::Powder { powder: code("316L"), grams },
            Assumption::Fuel { ml },
        ];
        let plenty = assume(&with_boat(), &more).expect("it can be assumed");
        prop_assert_eq!(plenty.problem().faults(), vec![]);
        let oldest = |problem| crew_plan(&problem, CrewOrder::OldestFirst).loss;
        let as_it_is = assume(&with_boat(), &[]).expect("nothing to refuse");
        prop_assert!(oldest(plenty.problem()) <= oldest(as_it_is.problem()));
        let worse = [
            Assumption::Late { delivery: code("BOAT"), days },
            Assumption::Out { station: Some(code("mill")), from: at(out.0), until: at(out.0 + out.1) },
            Assumption::OneFewer { skill: None },
            Assumption::LossTimes { capability: code("quay"), permille },
        ];
        let worse = assume(&with_boat(), &worse).expect("it can be assumed");
        prop_assert_eq!(worse.problem().faults(), vec![]);
    }
}
