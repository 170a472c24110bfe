//! Every gate with the smallest change that opens it: that change lets the request in, one unit
//! less does not.

use super::site::{at, code, lot, part, request, site};
use super::{from_nothing, gates, is_planned, opens, place};
use crate::catalogue::{Flag, OperationKind, RecipeState, Skill, Who};
use crate::gas::Gas;
use crate::lineup::{Gate, Opens, Work};
use crate::powder::LotState;
use crate::situation::{BaseMetal, Brings, Closed, Compressor, Delivery, Situation, StandIn, Way};
use chrono::TimeDelta;

/// The small site with figures changed, and R1's one gate there.
fn shut(change: impl Fn(&mut Situation)) -> (Situation, Gate, Opens) {
    let mut situation = site();
    change(&mut situation);
    let mut gates = gates(&situation, "R1");
    assert_eq!(gates.len(), 1, "one gate: {gates:?}");
    let shut = gates.remove(0);
    (situation, shut.gate, shut.opens)
}

#[test]
fn a_part_that_is_not_listed() {
    let (_, gate, opens) = shut(|s| {
        s.requests[0].part = None;
        s.requests[0].ways.clear();
    });
    assert_eq!((gate, opens), (Gate::NotListed, Opens::ListPart));
}

#[test]
fn a_part_without_a_recipe() {
    let (_, gate, opens) = shut(|s| s.requests[0].ways.clear());
    assert_eq!((gate, opens), (Gate::NoRecipe, Opens::WriteRecipe));
}

#[test]
fn a_recipe_that_is_not_approved() {
    let (mut situation, _, opens) = shut(|s| s.recipes[0].state = RecipeState::Proposed);
    assert_eq!(
        opens,
        Opens::Approve {
            recipe: code("P-1-316L"),
            revision: 1
        }
    );
    situation.recipes[0].state = RecipeState::Approved;
    assert!(is_planned(&situation, "R1"));
}

#[test]
fn a_part_too_large_or_too_heavy() {
    let (_, gate, _) = shut(|s| s.parts[0].envelope_mm = [1001, 100, 100]);
    assert_eq!(
        gate,
        Gate::TooLarge {
            part_mm: [1001, 100, 100],
            booth_mm: [1000, 800, 800]
        }
    );
    let (_, gate, _) = shut(|s| s.parts[0].mass_g = 60_001);
    assert_eq!(
        gate,
        Gate::TooHeavy {
            part_g: 60_001,
            most_g: 60_000
        }
    );
}

/// The manipulator turns 60 kg. Weighed at 60 001 g the part is too heavy, whatever the catalogue says;
/// weighed lighter than the catalogue has it, the catalogue counts.
#[test]
fn the_heavier_of_catalogue_and_scale_counts() {
    let (_, gate, _) = shut(|s| s.requests[0].mass_g = Some(60_001));
    let too_heavy = Gate::TooHeavy {
        part_g: 60_001,
        most_g: 60_000,
    };
    assert_eq!(gate, too_heavy);
    let (situation, gate, _) = shut(|s| {
        s.parts[0].mass_g = 60_001;
        s.requests[0].mass_g = Some(59_000);
    });
    assert_eq!(gate, too_heavy);
    let mut lighter = situation;
    lighter.parts[0].mass_g = 60_000;
    lighter.requests[0].mass_g = Some(60_000);
    assert!(is_planned(&lighter, "R1"));
}

/// Two lots of 4 000 g are more than the 5 200 needed, and no use: one lot must hold it all.
#[test]
fn powder_in_one_lot() {
    let (mut situation, gate, opens) =
        shut(|s| s.lots = vec![lot("L0001", 4000), lot("L0002", 4000)]);
    let Gate::Powder {
        need_g: 5200,
        one_lot: true,
        largest_g: 4000,
        total_g: 8000,
        taken: false,
        ..
    } = gate
    else {
        panic!("{gate:?}")
    };
    assert_eq!(
        opens,
        Opens::MorePowder {
            powder: code("316L"),
            grams: 5200,
            one_lot: true
        }
    );
    situation.lots.push(lot("L0003", 5199));
    assert!(!is_planned(&situation, "R1"));
    situation.lots[2] = lot("L0003", 5200);
    assert!(is_planned(&situation, "R1"));
}

/// Where any mix will do, the same two lots suffice, and of 3 000 g 2 200 are missing.
#[test]
fn powder_in_any_lots() {
    let mixed = |s: &mut Situation| {
        if let Some(spray) = &mut s.recipes[0].operations[0].spray {
            spray.one_lot = false;
        }
    };
    let (mut situation, _, opens) = shut(|s| {
        mixed(s);
        s.lots = vec![lot("L0001", 1000), lot("L0002", 2000)];
    });
    assert_eq!(
        opens,
        Opens::MorePowder {
            powder: code("316L"),
            grams: 2200,
            one_lot: false
        }
    );
    situation.lots.push(lot("L0003", 2199));
    assert!(!is_planned(&situation, "R1"));
    situation.lots[2] = lot("L0003", 2200);
    assert!(is_planned(&situation, "R1"));
}

/// A lot on hold that would suffice is named rather than powder from elsewhere.
#[test]
fn a_lot_on_hold() {
    let (mut situation, _, opens) = shut(|s| s.lots[0].state = LotState::Hold);
    assert_eq!(opens, Opens::Release { lot: code("L0001") });
    situation.lots[0].state = LotState::Released;
    assert!(is_planned(&situation, "R1"));
}

/// The lot may be used until 07:00, and spraying ends at 08:19; another lot of the whole need opens it.
#[test]
fn a_lot_that_expires_first() {
    let (mut situation, gate, opens) = shut(|s| s.lots[0].use_by = Some(at(420)));
    assert!(
        matches!(
            gate,
            Gate::Powder {
                largest_g: 9000,
                expires: true,
                ..
            }
        ),
        "{gate:?}"
    );
    assert_eq!(
        opens,
        Opens::MorePowder {
            powder: code("316L"),
            grams: 5200,
            one_lot: true
        }
    );
    situation.lots.push(lot("L0002", 5199));
    assert!(!is_planned(&situation, "R1"));
    situation.lots[1] = lot("L0002", 5200);
    assert!(is_planned(&situation, "R1"));
}

/// The boat brings the powder at 16:00 of the last day, and with receiving it may be sprayed from 17:00:
/// sprayed and milled it must be by 18:00 of that day.
#[test]
fn powder_that_comes_too_late() {
    let (mut situation, gate, opens) = shut(|s| {
        s.lots.clear();
        s.deliveries = vec![Delivery {
            code: code("BOAT-1"),
            name: "boat".to_owned(),
            expected: at(6 * 1440 + 960),
            latest: None,
            payload_kg: None,
            brings: vec![Brings::Powder {
                powder: code("316L"),
                grams: 9000,
                use_by: None,
            }],
        }];
    });
    let delivery = code("BOAT-1");
    let expected = at(6 * 1440 + 960);
    assert_eq!(gate, Gate::Delivery { delivery, expected });
    let Opens::Sooner { minutes, .. } = opens else {
        panic!("{opens:?}")
    };
    situation.deliveries[0].expected = expected - TimeDelta::minutes(minutes - 1);
    assert!(!is_planned(&situation, "R1"));
    situation.deliveries[0].expected = expected - TimeDelta::minutes(minutes);
    assert!(is_planned(&situation, "R1"));
}

/// Two requests want the same lot; it would hold either of them.
#[test]
fn powder_that_the_line_up_takes_for_another() {
    let mut situation = site();
    situation
        .requests
        .push(request("R2", "crane", "P-1", "P-1-316L"));
    let gates = gates(&situation, "R2");
    let Gate::Powder {
        largest_g: 3800,
        taken: true,
        ..
    } = gates[0].gate
    else {
        panic!("{gates:?}")
    };
}

fn on_nitrogen(situation: &mut Situation, mbar: i64) {
    for spray in situation.recipes[0]
        .operations
        .iter_mut()
        .filter_map(|o| o.spray.as_mut())
    {
        spray.gas = Gas::Nitrogen;
        spray.pressure_mbar = mbar;
        spray.deposited_g = 1500;
    }
}

/// 50 bar and 5 of drop are more than the 40 bar read: full bottles open it, and exactly the mass
/// said, put in as a higher reading would, does.
#[test]
fn gas_pressure() {
    let (mut situation, gate, opens) = shut(|s| {
        on_nitrogen(s, 50_000);
        s.banks[0].pressure_mbar = 40_000;
    });
    assert_eq!(
        gate,
        Gate::GasPressure {
            bank: code("A"),
            need_mbar: 55_000,
            have_mbar: 40_000
        }
    );
    let Opens::MoreGas { grams, bottles, .. } = opens else {
        panic!("{opens:?}")
    };
    let one = bottles_of(&situation, 1);
    assert_eq!(
        bottles,
        (grams + one - 1) / one,
        "{grams} g at {one} g a bottle"
    );
    situation.banks[0].pressure_mbar = 200_000;
    assert!(is_planned(&situation, "R1"));
}

/// What so many bottles at 201 bar absolute give above 55 bar, reckoned here from the density.
fn bottles_of(situation: &Situation, bottles: i64) -> i64 {
    use crate::gas::range::whole_down;
    use crate::gas::{Bar, Celsius, density};
    let bank = &situation.banks[0];
    let of = |bar: f64| {
        let celsius = Celsius::new(bank.temperature_mc as f64 / 1000.0).expect("a temperature");
        density(bank.gas, Bar::new(bar).expect("a pressure"), celsius)
            .expect("in range")
            .get()
    };
    let litres = bank.bottle_ml as f64 / 1000.0 * bottles as f64;
    whole_down((of(201.0) - of(55.0)) * litres)
}

/// At 70 bar the bank holds the pressure but not the mass.
#[test]
fn gas_mass() {
    let (_, gate, _) = shut(|s| {
        on_nitrogen(s, 50_000);
        s.banks[0].pressure_mbar = 70_000;
    });
    assert!(
        matches!(gate, Gate::Gas { need_g, have_g, taken: false, .. } if have_g < need_g),
        "{gate:?}"
    );
}

#[test]
fn a_gas_that_is_not_here() {
    let (_, gate, opens) = shut(|s| {
        if let Some(spray) = &mut s.recipes[0].operations[0].spray {
            spray.gas = Gas::Helium;
        }
    });
    assert_eq!(
        (gate, opens),
        (
            Gate::NoGas { gas: Gas::Helium },
            Opens::GetGas { gas: Gas::Helium }
        )
    );
}

/// 2 l fewer than the camp takes; exactly what is said lets the request in, a millilitre less not.
#[test]
fn fuel() {
    let steady = |s: &Situation| crate::lineup::steady_fuel_ml_per_h(s) * 7 * 24;
    let (mut situation, gate, opens) = shut(|s| s.fuel.on_hand_ml = steady(s) + 2_000);
    assert!(
        matches!(gate, Gate::Fuel { have_ml: 2_000, .. }),
        "{gate:?}"
    );
    let Opens::MoreFuel { ml } = opens else {
        panic!("{opens:?}")
    };
    situation.fuel.on_hand_ml += ml - 1;
    assert!(!is_planned(&situation, "R1"));
    situation.fuel.on_hand_ml += 1;
    assert!(is_planned(&situation, "R1"));
}

/// Spraying takes 139 min of the compressor, and 100 are left to its service.
#[test]
fn hours_of_the_compressor() {
    let (_, gate, opens) = shut(|s| {
        s.compressor = s.compressor.take().map(|c| Compressor {
            service_in_min: Some(100),
            ..c
        });
    });
    assert_eq!(
        (gate, opens),
        (
            Gate::Compressor {
                need_min: 124,
                have_min: 100
            },
            Opens::Service
        )
    );
}

#[test]
fn more_power_than_the_set_gives() {
    let (_, gate, opens) = shut(|s| s.fuel.camp_w = 50_000);
    let Gate::Power {
        need_w,
        most_w: 60_000,
    } = gate
    else {
        panic!("{gate:?}")
    };
    assert_eq!(
        opens,
        Opens::LessPower {
            watts: need_w - 60_000
        }
    );
}

/// The mill is out for the whole plan.
#[test]
fn a_station_that_is_out() {
    let (mut situation, _, opens) = shut(|s| {
        s.stations[0].closed = vec![Closed {
            from: at(0),
            to: at(7 * 1440),
            slots: 1,
            reason: "bearing".to_owned(),
        }];
    });
    let Opens::StationBack { by: Some(by), .. } = opens else {
        panic!("{opens:?}")
    };
    situation.stations[0].closed[0].to = by + TimeDelta::minutes(1);
    assert!(!is_planned(&situation, "R1"));
    situation.stations[0].closed[0].to = by;
    assert!(is_planned(&situation, "R1"));
}

#[test]
fn more_people_than_are_ever_on_duty() {
    let (mut situation, gate, opens) = shut(|s| s.recipes[0].operations[2].crew = 3);
    assert_eq!(
        (gate, opens),
        (
            Gate::Crew { need: 3, most: 2 },
            Opens::MorePeople { people: 1 }
        )
    );
    situation.shifts.iter_mut().for_each(|s| s.crew = 3);
    assert!(is_planned(&situation, "R1"));
}

/// Two people are on duty at any time, and the only sprayer is away all week.
#[test]
fn nobody_on_duty_who_can_spray() {
    let (mut situation, gate, opens) =
        shut(|s| s.shifts.iter_mut().for_each(|shift| shift.sprayers = 0));
    let skill = Skill::Sprayer;
    assert_eq!(
        (gate, opens),
        (
            Gate::NobodyQualified { skill, most: 0 },
            Opens::MoreQualified { skill, people: 1 }
        )
    );
    situation.shifts[0].sprayers = 1;
    assert!(is_planned(&situation, "R1"));
}

/// Where the one machinist works on the first day only, milling is over by that evening.
#[test]
fn milling_waits_for_the_machinist() {
    let mut situation = site();
    let days = situation.shifts.iter_mut().skip(1);
    days.for_each(|shift| shift.machinists = 0);
    let milled = |situation: &Situation| {
        let place = place(situation, "R1");
        let mut steps = place.work.into_iter().rev().filter_map(|work| match work {
            Work::Step(step) if step.kind == OperationKind::Cut => Some(step.end),
            _ => None,
        });
        steps.next().expect("it is milled")
    };
    assert!(milled(&situation) <= situation.shifts[0].to);
    situation.shifts[0].machinists = 0;
    situation.shifts[3].machinists = 1;
    assert!(milled(&situation) > situation.shifts[3].from);
}

/// The one slot of the mill is out from the first hour to the last for something else that is never
/// over; a second slot opens it.
#[test]
fn a_station_without_a_slot() {
    let (mut situation, gate, opens) = shut(|s| s.stations[0].slots = 0);
    let station = || code("mill");
    assert_eq!(
        (gate, opens),
        (
            Gate::StationFull { station: station() },
            Opens::MoreSlots {
                station: station(),
                slots: 1
            }
        )
    );
    situation.stations[0].slots = 1;
    assert!(is_planned(&situation, "R1"));
}

/// The recipe holds on steel and bronze. What somebody took for steel is a hold until it is known.
#[test]
fn a_base_metal_that_nobody_knows() {
    let (mut situation, gate, opens) = shut(|s| {
        s.recipes[0].base_metals = [code("ST"), code("BZ")].into();
        s.requests[0].base_metal = Some(BaseMetal {
            metal: code("ST"),
            known: false,
        });
    });
    let assumed = Some(code("ST"));
    assert_eq!(
        (gate, opens),
        (Gate::BaseMetalUnknown { assumed }, Opens::FindMetal)
    );
    if let Some(base) = &mut situation.requests[0].base_metal {
        base.known = true;
    }
    assert!(is_planned(&situation, "R1"));
    situation.requests[0].base_metal = None;
    assert!(!is_planned(&situation, "R1"));
}

/// Aluminium is not among the metals of the recipe: one that holds on it is needed.
#[test]
fn a_base_metal_of_another_recipe() {
    let (mut situation, gate, opens) = shut(|s| {
        s.recipes[0].base_metals = [code("ST")].into();
        s.requests[0].base_metal = Some(BaseMetal {
            metal: code("AL"),
            known: true,
        });
    });
    assert_eq!(
        gate,
        Gate::OtherMetal {
            metal: code("AL"),
            holds_on: vec![code("ST")]
        }
    );
    assert_eq!(opens, Opens::RecipeFor { metal: code("AL") });
    situation.recipes[0].base_metals.insert(code("AL"));
    assert!(is_planned(&situation, "R1"));
}

/// Pump 1 alone down costs 5 points an hour, and pump 2 is down too: with both 90. The stand-in saves
/// what it can within the week; a debt dearer by one point than that is not worth it.
#[test]
fn a_stand_in_that_costs_more_than_it_saves() {
    let mut situation = site();
    let stand_in = |s: &mut Situation| {
        s.requests[0].ways = vec![Way::StandIn(StandIn {
            recipe: code("P-1-316L"),
            off_by: at(30 * 1440),
            swap_min: 240,
            second_build: 10_000_000,
        })];
    };
    stand_in(&mut situation);
    let used = |s: &Situation| from_nothing(s).places.iter().any(|p| p.stand_in);
    let waiting = from_nothing(&situation).waiting.remove(0);
    let shut = &waiting.ways[0].shut[0];
    // 240 min at 5 an hour, and 10 000 000 points of 60 minutes
    let debt = 240 * 5 + 600_000_000;
    assert_eq!(shut.gate, Gate::NotWorth { debt });
    let Opens::LessDebt { debt } = shut.opens else {
        panic!("{shut:?}")
    };
    let points = (debt + 59) / 60;
    let second_build = |s: &mut Situation, points: i64| {
        if let Way::StandIn(stand_in) = &mut s.requests[0].ways[0] {
            stand_in.second_build = points;
        }
    };
    second_build(&mut situation, 10_000_000 - points);
    assert!(used(&situation));
    second_build(&mut situation, 10_000_000 - points + 1);
    assert!(!used(&situation));
}

/// 139 min with set-up and warm-up; the duty is cut to 138.
#[test]
fn spraying_that_fits_in_no_attended_period() {
    let (mut situation, gate, opens) = shut(|s| {
        s.shifts
            .iter_mut()
            .for_each(|x| x.to = x.from + chrono::TimeDelta::minutes(138))
    });
    assert_eq!(
        gate,
        Gate::DutyTooShort {
            need_min: 139,
            longest_min: 138
        }
    );
    assert_eq!(opens, Opens::LongerDuty { minutes: 1 });
    situation
        .shifts
        .iter_mut()
        .for_each(|x| x.to = x.from + TimeDelta::minutes(139));
    assert!(is_planned(&situation, "R1"));
}

/// The broken part comes on the seventh day at 16:00: two hours of spraying are left of it, and
/// the mill would have its turn on the eighth.
#[test]
fn nothing_missing_but_days() {
    let (mut situation, gate, opens) =
        shut(|s| s.requests[0].at_cell_from = Some(at(6 * 1440 + 960)));
    assert_eq!((gate, opens), (Gate::Time, Opens::FurtherAhead { days: 1 }));
    situation.site.plan_days = 8;
    situation.shifts.push(crate::situation::Shift {
        from: at(7 * 1440 + 360),
        to: at(7 * 1440 + 1080),
        crew: 2,
        sprayers: 2,
        machinists: 2,
    });
    assert!(is_planned(&situation, "R1"));
}

/// The same where only one of two can cut: the weeks behind the end have him too.
#[test]
fn nothing_missing_but_days_where_few_can_cut() {
    let (_, gate, opens) = shut(|s| {
        s.shifts.iter_mut().for_each(|shift| shift.machinists = 1);
        s.requests[0].at_cell_from = Some(at(6 * 1440 + 960));
    });
    assert_eq!((gate, opens), (Gate::Time, Opens::FurtherAhead { days: 1 }));
}

/// Only one of two can spray, and the duty is a minute too short: he stays that minute too.
#[test]
fn a_longer_duty_is_one_of_the_same_people() {
    let (_, _, opens) = shut(|s| {
        s.shifts.iter_mut().for_each(|shift| {
            shift.sprayers = 1;
            shift.to = shift.from + TimeDelta::minutes(138);
        });
    });
    assert_eq!(opens, Opens::LongerDuty { minutes: 1 });
}

/// No yes and no powder: both are told, and both must be opened.
#[test]
fn two_gates_are_both_told() {
    let mut situation = site();
    situation.parts[0] = part("P-1", &[Flag::CanInjure]);
    situation.lots[0] = lot("L0001", 100);
    let said = opens(&situation, "R1");
    assert_eq!(
        said[0],
        Opens::Yes {
            who: Who::OwnersEngineer,
            written: false
        }
    );
    assert_eq!(
        said[1],
        Opens::MorePowder {
            powder: code("316L"),
            grams: 5200,
            one_lot: true
        }
    );
}
