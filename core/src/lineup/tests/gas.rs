use super::site::{at, code, request, site};
use super::{draft, gates, is_planned, planned};
use crate::gas::Gas;
use crate::lineup::{GasSource, Gate, LineUp, Opens, Setting, Work, endurance, holds_c};
use crate::situation::{Bank, Brings, Delivery, Situation};

const NITROGEN: Setting = Setting {
    gas: Gas::Nitrogen,
    pressure_mbar: 45_000,
    temperature_c: 600,
};

/// The site with its recipe sprayed on nitrogen at 45 bar, and two banks of twelve bottles: a low one at 90
/// bar and a full one at 190.
fn two_banks() -> Situation {
    let mut situation = site();
    for operation in &mut situation.recipes[0].operations {
        if let Some(spray) = &mut operation.spray {
            spray.gas = Gas::Nitrogen;
            spray.pressure_mbar = 45_000;
            spray.deposited_g = 300;
        }
    }
    let bank = |name: &str, pressure_mbar| Bank {
        code: code(name),
        bottles: 12,
        pressure_mbar,
        ..situation.banks[0].clone()
    };
    situation.banks = vec![bank("FULL", 190_000), bank("LOW", 90_000)];
    situation
}

fn bank_of(line_up: &LineUp, request: &str) -> GasSource {
    let place = line_up
        .places
        .iter()
        .find(|p| p.request.as_str() == request);
    let work = &place.expect("a place").work;
    let mut stages = work.iter().filter_map(|work| match work {
        Work::Stage(stage) => Some(stage.need.source.clone()),
        Work::Step(_) => None,
    });
    let last = stages.next_back();
    last.expect("a stage")
}

/// A build of some 20 kg of gas fits into the low bank, 40 bar above its floor: so it is taken from there,
/// and the full one keeps its pressure.
#[test]
fn a_build_takes_the_lowest_bank_that_still_holds_it() {
    let situation = two_banks();
    assert_eq!(
        bank_of(&planned(&situation), "R1"),
        GasSource::Bank(code("LOW"))
    );
}

/// At 52 bar the low bank holds the 50 that are asked for, but not the build: the full one serves.
#[test]
fn a_bank_that_would_sink_below_its_floor_is_passed_over() {
    let mut situation = two_banks();
    situation.banks[1].pressure_mbar = 52_000;
    assert_eq!(
        bank_of(&planned(&situation), "R1"),
        GasSource::Bank(code("FULL"))
    );
}

/// No bank holds the pressure; eight bottles come on the second day and are opened by themselves:
/// at 100 bar they serve the build, which joined with 600 l at 40 bar they could not.
#[test]
fn bottles_on_their_way_are_a_bank_of_their_own() {
    let mut situation = two_banks();
    situation.banks = vec![Bank {
        bottles: 12,
        pressure_mbar: 40_000,
        ..situation.banks[0].clone()
    }];
    assert!(!is_planned(&situation, "R1"));
    situation.deliveries.push(Delivery {
        code: code("BOAT"),
        name: "boat".to_owned(),
        expected: at(1440 + 480),
        latest: None,
        payload_kg: None,
        brings: vec![Brings::Gas {
            bank: code("FULL"),
            bottles: 8,
            pressure_mbar: 100_000,
        }],
    });
    let line_up = planned(&situation);
    assert_eq!(bank_of(&line_up, "R1"), GasSource::Bank(code("BOAT/1")));
    assert!(line_up.places[0].starts() >= at(1440 + 480 + 60 - 60));
}

/// The gate tells how much gas must come; in bottles of their own exactly that opens it, and a bottle less
/// does not.
#[test]
fn as_many_bottles_as_the_gate_says_let_it_in() {
    let mut situation = two_banks();
    for bank in &mut situation.banks {
        bank.pressure_mbar = 40_000;
    }
    let Opens::MoreGas { bottles, .. } = gates(&situation, "R1").remove(0).opens else {
        panic!("no gas gate")
    };
    let mut with = |bottles| {
        let more = Bank {
            code: code("MORE"),
            bottles,
            pressure_mbar: 201_000,
            ..situation.banks[0].clone()
        };
        situation.banks.truncate(2);
        situation.banks.push(more);
        is_planned(&situation, "R1")
    };
    assert!(with(bottles));
    assert!(bottles == 1 || !with(bottles - 1), "{bottles} bottles");
}

/// Both banks one after another: the minutes are those of all gas above the two floors.
#[test]
fn minutes_count_every_bank_above_its_floor() {
    let situation = two_banks();
    let left = endurance(&situation, NITROGEN).expect("a figure");
    let codes: Vec<_> = left.banks.iter().map(|b| b.bank.as_str()).collect();
    assert_eq!(codes, ["LOW", "FULL"]);
    let sum: i64 = left.banks.iter().map(|b| b.usable_g).sum();
    assert_eq!(left.usable_g, Some(sum));
    assert_eq!(left.source, GasSource::Bank(code("LOW")));
}

/// Drawn slowly all that lies above the floor counts, drawn fast what the cold leaves, and at a pace of
/// a half something between; the line-up's floors follow.
#[test]
fn the_sites_pace_lies_between_slow_and_fast() {
    let mut situation = two_banks();
    let mut usable = |fast_permille| {
        situation.cell.fast_permille = fast_permille;
        let left = endurance(&situation, NITROGEN).expect("a figure");
        let full = left.banks[1].clone();
        let floor = draft(&situation).problem.jobs[0].options[0].operations[0]
            .draws
            .iter()
            .flat_map(|draw| draw.choices())
            .find(|choice| choice.store == "gas/FULL")
            .expect("a choice")
            .floor;
        (
            full.usable_g,
            full.slow_g,
            full.fast_g.expect("warm"),
            floor,
        )
    };
    let (slow, half, fast) = (usable(0), usable(500), usable(1000));
    assert_eq!(slow.0, slow.1);
    assert!((fast.0 - fast.2).abs() <= 1);
    assert!(fast.0 < half.0 && half.0 < slow.0);
    assert!(slow.3 < half.3 && half.3 < fast.3);
}

/// 45 bar at 600 C take some 12 kW of heat at a throat of 2 mm: a heater of 9 kW cannot, holds a lower
/// temperature, and with exactly what is said it can.
#[test]
fn a_heater_that_is_too_weak_is_a_gate() {
    let mut situation = two_banks();
    situation.recipes[0].operations[0]
        .spray
        .as_mut()
        .expect("a stage")
        .temperature_c = 600;
    assert_eq!(holds_c(&situation, NITROGEN), None, "nobody told");
    situation.cell.heater_w = Some(9_000);
    let shut = gates(&situation, "R1").remove(0);
    let Gate::Heater {
        need_w,
        most_w: 9_000,
        holds_c: Some(held),
    } = shut.gate
    else {
        panic!("{shut:?}")
    };
    assert!((300..600).contains(&held), "{held} C");
    assert_eq!(
        shut.opens,
        Opens::MoreHeat {
            watts: need_w - 9_000
        }
    );
    situation.cell.heater_w = Some(need_w - 1);
    assert!(!is_planned(&situation, "R1"));
    situation.cell.heater_w = Some(need_w);
    assert!(is_planned(&situation, "R1"));
    assert_eq!(holds_c(&situation, NITROGEN), Some(600));
}

/// A throat worn from 2.0 to 2.2 mm takes (2.2 / 2.0)^2 = 1.21 times the gas, in every later plan.
#[test]
fn a_worn_throat_takes_more_gas() {
    let mut situation = two_banks();
    let mut flow = |throat_um| {
        situation.cell.throat_um = throat_um;
        endurance(&situation, NITROGEN)
            .expect("a figure")
            .flow_g_per_h as f64
    };
    assert!((flow(2200) / flow(2000) - 1.21).abs() < 1e-4);
}

/// Two requests want the one build that the low bank still holds: the second goes to the full one.
#[test]
fn the_next_build_goes_to_the_next_bank() {
    let mut situation = two_banks();
    situation.banks[1].pressure_mbar = 85_000;
    situation
        .requests
        .push(request("R2", "crane", "P-1", "P-1-316L"));
    situation.lots.push(super::site::lot("L0002", 9_000));
    let line_up = planned(&situation);
    assert_eq!(bank_of(&line_up, "R1"), GasSource::Bank(code("LOW")));
    assert_eq!(bank_of(&line_up, "R2"), GasSource::Bank(code("FULL")));
}
