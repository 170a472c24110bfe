//! A small site for tests: two pumps of which one must run, a crane, one powder, plenty of all.

use crate::catalogue::{
    Flag, Motion, Operation, OperationKind, Part, Recipe, RecipeState, RecipeText, Rules, Spray,
};
use crate::code::RequestCode;
use crate::gas::Gas;
use crate::powder::{Lot, LotState, Powder};
use crate::quantity::Milligrams;
use crate::situation::{
    Asset, Bank, Brings, Capability, Cell, Chances, Compressor, Damage, Delivery, Fuel, Request,
    Shift, Site, Situation, Spare, Station, Way,
};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// A moment of the test: midnight and so many minutes.
pub fn at(minute: i64) -> DateTime<Utc> {
    "2026-11-25T00:00:00Z"
        .parse::<DateTime<Utc>>()
        .expect("a time")
        + TimeDelta::minutes(minute)
}

pub fn code<T: std::str::FromStr>(text: &str) -> T
where
    T::Err: std::fmt::Debug,
{
    text.parse().expect("a code")
}

/// Seven days, 06:00 to 18:00 with two people; every figure round.
pub fn site() -> Situation {
    Situation {
        now: at(0),
        site: Site {
            name: "Test Quay".to_owned(),
            zone: chrono_tz::UTC,
            altitude_m: 0,
            loss_word: "points".to_owned(),
            plan_days: 7,
            need_permille: 950,
            receiving_min: 60,
            chances: Chances::default(),
        },
        cell: cell(),
        stations: vec![Station {
            code: code("mill"),
            name: "Mill".to_owned(),
            slots: 1,
            batch: false,
            power_w: 5000,
            closed: vec![],
        }],
        kit: vec![],
        shifts: (0..7)
            .map(|day| Shift {
                from: at(day * 1440 + 360),
                to: at(day * 1440 + 1080),
                crew: 2,
                sprayers: 2,
                machinists: 2,
            })
            .collect(),
        powders: vec![Powder {
            code: code("316L"),
            name: "316L stainless".to_owned(),
            solid: None,
        }],
        lots: vec![lot("L0001", 9_000)],
        banks: vec![bank()],
        compressor: Some(Compressor {
            free_air_l_per_min: 2000,
            max_mbar: 36_000,
            inlet_c: 20,
            power_w: 15_000,
            service_in_min: None,
            receiver: None,
        }),
        fuel: fuel(),
        deliveries: vec![],
        keep_backs: vec![],
        capabilities: vec![
            capability("water", &["pump-1", "pump-2"], &[0, 5, 90]),
            capability("quay", &["crane"], &[0, 40]),
        ],
        assets: vec![asset("pump-1"), asset("pump-2"), asset("crane")],
        rules: Rules::usual(),
        metals: Vec::new(),
        outcomes: BTreeMap::new(),
        parts: vec![part("P-1", &[Flag::FormOnly])],
        recipes: vec![recipe("P-1-316L", "P-1", 4_000)],
        requests: vec![request("R1", "pump-1", "P-1", "P-1-316L")],
    }
}

fn cell() -> Cell {
    Cell {
        name: "cell".to_owned(),
        free_from: None,
        feeder: None,
        feeder_g: None,
        warm_up_min: 10,
        same_powder_min: 5,
        default_changeover_min: 60,
        changeover_min: BTreeMap::new(),
        booth_mm: [1000, 800, 800],
        max_part_g: 60_000,
        throat_um: 2000,
        discharge_permille: 1000,
        carrier_permille: 50,
        max_mbar: 60_000,
        max_c: 900,
        heater_permille: 900,
        heater_w: None,
        divergent: None,
        worn_um: None,
        collector_limit_pa: None,
        heel_g: 0,
        fast_permille: 0,
        extraction_w: 5000,
        closed: vec![],
    }
}

fn bank() -> Bank {
    Bank {
        code: code("A"),
        gas: Gas::Nitrogen,
        bottles: 12,
        bottle_ml: 50_000,
        pressure_mbar: 120_000,
        temperature_mc: 20_000,
        read_at: at(0),
        read_by: "sprayer".to_owned(),
        drop_mbar: 5_000,
        steady_g_per_day: 0,
    }
}

fn fuel() -> Fuel {
    Fuel {
        on_hand_ml: 2_000_000,
        read_at: at(0),
        read_by: "sprayer".to_owned(),
        rated_w: 60_000,
        ml_per_kwh: 270,
        idle_ml_per_h_kw: 40,
        camp_w: 5_000,
    }
}

/// A boat expected at a minute from now, with so much of the one powder.
pub fn boat(minute: i64, grams: i64) -> Delivery {
    Delivery {
        code: code("BOAT"),
        name: "boat".to_owned(),
        expected: at(minute),
        latest: None,
        payload_kg: None,
        brings: vec![Brings::Powder {
            powder: code("316L"),
            grams,
            use_by: None,
        }],
    }
}

pub fn lot(number: &str, grams: i64) -> Lot {
    Lot {
        code: code(number),
        powder: code("316L"),
        state: LotState::Released,
        state_note: String::new(),
        on_hand: Milligrams::from_grams(grams),
        use_by: None,
        opened: false,
    }
}

fn asset(name: &str) -> Asset {
    Asset {
        code: code(name),
        name: name.to_owned(),
        down_from: Some(at(-60)),
        back: None,
    }
}

fn capability(name: &str, assets: &[&str], loss: &[i64]) -> Capability {
    Capability {
        code: code(name),
        name: name.to_owned(),
        assets: assets.iter().map(|a| code(a)).collect(),
        must_run: 1,
        loss_per_hour: loss.to_vec(),
        loss_range: None,
        said_by: "site lead".to_owned(),
        said_at: at(-1440),
    }
}

pub fn part(number: &str, flags: &[Flag]) -> Part {
    Part {
        code: code(number),
        name: "impeller".to_owned(),
        envelope_mm: [200, 200, 90],
        mass_g: 3_500,
        flags: flags.iter().copied().collect::<BTreeSet<_>>(),
        assets: BTreeSet::new(),
        allowance_um: 0,
        retired: false,
    }
}

/// One stage on compressed air from one lot, an hour at the mill, half an hour to fit and run.
pub fn recipe(name: &str, part: &str, deposited_g: i64) -> Recipe {
    let step = |kind, station: Option<&str>, minutes| Operation {
        station: station.map(code),
        ..Operation::step(kind, OperationKind::as_str(kind), minutes)
    };
    Recipe {
        code: code(name),
        part: code(part),
        revision: 1,
        state: RecipeState::Approved,
        written_by: "checker".to_owned(),
        also_written_by: ["miller".to_owned()].into(),
        approved_by: "cell lead".to_owned(),
        base_metals: BTreeSet::new(),
        sizes: Vec::new(),
        coupons: Vec::new(),
        operations: vec![
            Operation::stage("spray", spray(deposited_g)),
            step(OperationKind::Cut, Some("mill"), 60),
            step(OperationKind::FirstRun, None, 30),
        ],
        flags: BTreeSet::new(),
        text: RecipeText::default(),
    }
}

fn spray(deposited_g: i64) -> Spray {
    Spray {
        powder: code("316L"),
        deposited_g,
        volume: None,
        one_lot: true,
        gas: Gas::Air,
        pressure_mbar: 30_000,
        temperature_c: 500,
        feed_g_per_min: 50,
        efficiency_permille: 800,
        efficiency_sd_permille: 0,
        approval_builds: 4,
        start_stop_loss_g: 150,
        coupon_g: 50,
        handling_min: 20,
        gas_only_min: 5,
        motion: Motion::default(),
        weighed: vec![],
        timed: vec![],
    }
}

pub fn request(number: &str, asset: &str, part: &str, recipe: &str) -> Request {
    Request {
        code: code::<RequestCode>(number),
        asset: code(asset),
        part: Some(code(part)),
        part_name: "impeller".to_owned(),
        damage: Damage::Damaged,
        description: String::new(),
        reported_at: at(-60),
        asked_by: "harbour office".to_owned(),
        needed_by: None,
        danger: false,
        base_metal: None,
        at_cell_from: None,
        tag: None,
        mass_g: None,
        spare: Spare::NotKnown,
        ways: vec![Way::Recipe(code(recipe))],
        answers: vec![],
        begun: None,
        building: None,
        on_hold: vec![],
    }
}
