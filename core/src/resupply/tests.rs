//! The worked examples: pump and crane of the test site each wait for one part of 5 200 g from one lot. 9 000
//! g are there, so that the pump is served and the crane waits at 40 points an hour until the end of 7 days,
//! minute 10 080. What a trip lands at minute 1 440 may be used at 1 500; the cell is manned from 1 800 on,
//! and the crane is back 229 minutes later (set-up 15, spraying 124, mill 60, first run 30): at 2 029.

use super::samples::{can, item, trip};
use super::*;
use crate::code::RequestCode;
use crate::lineup::Budget;
use crate::lineup::tests::site::{at, code, request, site};

const BUDGET: Budget = Budget {
    iterations: 400,
    seed: 1,
};

/// A load must last until 14 days after minute 1 440 and an hour: to 21 660. What the crane back at 2 029
/// saves until then; of it 40 x (10 080 - 2 029) within the plan.
const CRANE: i64 = 40 * (21_660 - 2_029);

fn setting(items: Vec<Item>) -> Setting {
    let mut situation = site();
    let crane = request("R2", "crane", "P-1", "P-1-316L");
    situation.requests.push(crane);
    Setting {
        situation,
        trip: trip("BOAT"),
        next: NextTrip::Days(14),
        items,
        failures: vec![],
    }
}

fn proposed(setting: Setting) -> Proposal {
    proposed_with(setting, &[])
}

fn proposed_with(setting: Setting, sets: &[Vec<crate::code::ItemCode>]) -> Proposal {
    let yardstick = yardstick(setting);
    let order = Order {
        yardstick: &yardstick,
        sets,
        rules: None,
    };
    propose(order, &mut || false, &mut |_| {}).expect("not stopped")
}

fn load(pairs: &[(&str, i64)]) -> Load {
    let load = pairs.iter().map(|(item, units)| (code(item), *units));
    load.collect()
}

/// One can of 5 kg is no use to a part that takes 5 200 g from one lot, two are one lot of 10 kg: neither can
/// averts anything by itself, and the two together what the crane costs.
#[test]
fn as_many_cans_go_as_free_somebody_and_no_more() {
    let found = proposed(setting(vec![can("CAN-5", 5_000)]));
    assert_eq!(found.load, load(&[("CAN-5", 2)]));
    assert_eq!(found.truly.averted(), CRANE);
    assert_eq!(found.truly.backlog, 40 * (10_080 - 2_029));
    let [line] = found.lines.as_slice() else {
        panic!("one line: {:?}", found.lines)
    };
    assert_eq!((line.averts, line.last_averts), (CRANE, CRANE));
    assert_eq!(line.frees, [code::<RequestCode>("R2")]);
    assert!(found.packed.proven);
    assert_eq!(found.behind, []);
}

/// 6 kg carry one can of 5.5 kg gross, which averts nothing: nothing goes. With ten more two go.
#[test]
fn what_ten_kilograms_more_would_bring_is_told() {
    let mut setting = setting(vec![can("CAN-5", 5_000)]);
    setting.trip.payload_g = 6_000;
    let found = proposed(setting);
    assert_eq!(found.load, Load::new());
    assert_eq!(found.ten_kg_more, CRANE);
}

/// A true part that the crane waits for lands at 1 500; fitted by one person in 240 minutes from 1 800 on the
/// crane is back at 2 040, eleven minutes later than by two cans, at a tenth of the mass.
#[test]
fn a_true_part_goes_where_it_does_as_well() {
    let mut setting = setting(vec![can("CAN-5", 5_000), item("TRUE", 1_000)]);
    setting.items[1].content = Content::Part(code("P-1"));
    setting.trip.payload_g = 3_000;
    let found = proposed(setting);
    assert_eq!(found.load, load(&[("TRUE", 1)]));
    assert_eq!(found.truly.averted(), 40 * (21_660 - 2_040));
}

/// Gloves must go though they avert nothing here; of three pairs of boots named after them, 1 kg each, the 12
/// kg that are left when two cans of 5.5 kg and the gloves are on take none.
#[test]
fn what_must_go_goes_first_by_order_of_naming() {
    let items = vec![
        can("CAN-5", 5_000),
        item("GLOVES", 1_000),
        item("BOOTS", 6_000),
    ];
    let mut setting = setting(items);
    setting.trip.payload_g = 12_000;
    setting.trip.must_go = vec![(code("GLOVES"), 1), (code("BOOTS"), 2)];
    let found = proposed(setting);
    assert_eq!(found.load, load(&[("BOOTS", 1), ("GLOVES", 1)]));
    assert_eq!(found.must_left, [(code("BOOTS"), 1)]);
    assert_eq!(found.lines[0].must, 1);
}

/// An adapter that must go takes along the can that it belongs to, which nobody named; where both do not fit,
/// neither goes.
#[test]
fn what_must_go_goes_with_its_set() {
    let items = vec![can("CAN-11", 11_000), item("ADAPTER", 2_000)];
    let set = vec![code("CAN-11"), code("ADAPTER")];
    let mut named = setting(items);
    named.trip.must_go = vec![(code("ADAPTER"), 1)];
    let found = proposed_with(named.clone(), std::slice::from_ref(&set));
    let must: Vec<(&str, i64)> = found
        .lines
        .iter()
        .map(|it| (it.item.as_str(), it.must))
        .collect();
    assert_eq!(must, [("ADAPTER", 1), ("CAN-11", 0)]);
    named.trip.payload_g = 12_000;
    let found = proposed_with(named, &[set]);
    assert_eq!(found.load, Load::new());
    assert_eq!(found.must_left, [(code("ADAPTER"), 1)]);
}

/// A can is of use only with its adapter: both go, or none.
#[test]
fn what_belongs_together_goes_together() {
    let items = vec![can("CAN-11", 11_000), item("ADAPTER", 2_000)];
    let set = vec![code("CAN-11"), code("ADAPTER")];
    let found = proposed_with(setting(items.clone()), std::slice::from_ref(&set));
    assert_eq!(found.load, load(&[("ADAPTER", 1), ("CAN-11", 1)]));
    let mut tight = setting(items);
    tight.trip.payload_g = 12_000;
    assert_eq!(proposed_with(tight, &[set]).load, Load::new());
}

/// The crane's part fails twice in ten days, and 4 800 g of two cans are left when it is back: a list for
/// what is asked for today alone would take two cans, and more than those avert more.
#[test]
fn failures_to_come_ask_for_more_than_today() {
    let mut setting = setting(vec![can("CAN-5", 5_000)]);
    fails(&mut setting, 2_000, 10);
    let found = proposed(setting);
    assert!(found.load[&code("CAN-5")] > 2, "{:?}", found.load);
    let outlook = found.truly.outlook;
    assert!(outlook.served_permille > 900, "{outlook:?}");
}

/// With no filter on the shelf nothing is sprayed after the plan's one build has taken the only one: a can
/// alone averts nothing, with a filter it does.
#[test]
fn powder_is_worth_nothing_without_what_builds_use_up() {
    let mut filter = item("FILTER", 1_000);
    filter.content = Content::Consumable(Consumed {
        per_build_milli: 1_000,
        counted: Some(Counted {
            units: 1,
            at: at(0),
            by: "Storekeeper".to_owned(),
        }),
        ..Consumed::default()
    });
    let setting = setting(vec![can("CAN-11", 11_000), filter]);
    let yardstick = yardstick(setting.clone());
    let averts = |pairs: &[(&str, i64)]| {
        let truly = yardstick.truly(&load(pairs), &mut || false);
        truly.expect("not stopped").averted()
    };
    assert_eq!(averts(&[("CAN-11", 1)]), 0);
    assert_eq!(averts(&[("FILTER", 1)]), 0);
    assert_eq!(averts(&[("CAN-11", 1), ("FILTER", 1)]), CRANE);
    assert_eq!(
        proposed(setting).load,
        load(&[("CAN-11", 1), ("FILTER", 1)])
    );
}

/// Two usual ways: by age the pump's cans are put on too, which it does not need any more than the crane.
#[test]
fn a_proposal_averts_no_less_than_usual_ways_of_ordering() {
    let found = proposed(setting(vec![can("CAN-5", 5_000)]));
    let (aged, aged_averts) = &found.usual.by_age;
    assert_eq!(*aged, load(&[("CAN-5", 4)]));
    assert!(*aged_averts <= found.truly.averted());
    let (same, same_averts) = &found.usual.same_kilos;
    assert_eq!(same[&code("CAN-5")], 18, "100 kg take 18 cans of 5.5");
    assert!(*same_averts <= found.truly.averted());
}

fn two_cans() -> (Yardstick, Truly) {
    let yardstick = yardstick(setting(vec![can("CAN-5", 5_000)]));
    let truly = yardstick.truly(&load(&[("CAN-5", 2)]), &mut || false);
    (yardstick, truly.expect("not stopped"))
}

fn yardstick(setting: Setting) -> Yardstick {
    Yardstick::new(setting, BUDGET, 60, &mut || false).expect("not stopped")
}

fn fails(setting: &mut Setting, milli: i64, days: i64) {
    setting.situation.parts[0].assets = [code("crane")].into();
    setting.failures = vec![FailureRecord {
        part: code("P-1"),
        prior_milli: milli,
        prior_days: days,
        seen: 0,
        seen_days: 0,
    }];
}

/// A day later the crane is back a day later, three days later three: 40 points an hour are lost for so long.
/// In seven days the trip lands at minute 11 580, behind the plan's end, so that nobody plans with it.
#[test]
fn a_slip_costs_what_waits_for_the_trip() {
    let (yardstick, truly) = two_cans();
    let told = slips(
        &yardstick,
        &load(&[("CAN-5", 2)]),
        &truly,
        BUDGET,
        &mut || false,
    );
    let [one, three, seven] = <[Slip; 3]>::try_from(told.expect("not stopped")).expect("three");
    assert_eq!((one.days, one.costs), (1, 40 * 1_440));
    assert_eq!((three.days, three.costs), (3, 40 * 3 * 1_440));
    assert_eq!(one.later, [(code::<RequestCode>("R2"), 1_440)]);
    assert_eq!(one.out, []);
    assert_eq!(seven.out, [code::<RequestCode>("R2")]);
    assert!(seven.costs > three.costs);
}

/// Two failures in ten days are expected: in the 15.04 days until the end 3.01, each of 5 200 g: 15 642 g on
/// the average. 3 800 g are left without the trip, the crane waits for 5 200, two cans bring 10 000.
#[test]
fn what_is_needed_stands_beside_what_is_there() {
    let mut setting = setting(vec![can("CAN-5", 5_000)]);
    fails(&mut setting, 2_000, 10);
    let yardstick = yardstick(setting);
    let two = load(&[("CAN-5", 2)]);
    let truly = yardstick.truly(&two, &mut || false).expect("not stopped");
    let told = needs(&yardstick, &yardstick.left_without(), &two, &truly.left);
    let powder = told
        .iter()
        .find(|it| it.kind == Kind::Powder(code("316L")))
        .expect("powder is needed");
    assert_eq!(
        (powder.waiting, powder.left, powder.brings),
        (5_200, 3_800, 10_000)
    );
    assert!((powder.mean - 15_642).abs() < 160, "{powder:?}");
    assert!(
        powder.mean < powder.in_80 && powder.in_80 < powder.in_95,
        "{powder:?}"
    );
    assert!(powder.enough_without < powder.enough_with, "{powder:?}");
}

/// Five failures are expected for certain (a million in a million days, 5 days). The chances of more than 5,
/// 6 and 7 are 0.3840, 0.2378 and 0.1334 (Poisson distribution of mean 5, any table); with five spares 0.8773
/// failures find none, with six 0.8773 - 0.3840 = 0.4933, with seven 0.2555, with eight 0.1221. Of five that
/// is 0.0511 with seven and 0.0244 with eight: to serve 95 of 100 takes eight, of 3.5 kg each.
#[test]
fn finished_spares_for_a_share_of_failures_are_those_of_the_poisson_table() {
    let mut setting = setting(vec![]);
    fails(&mut setting, 1_000_000_000, 1_000_000);
    let vehicle = trip("TRUCK");
    let first = first_setting(&setting.situation, &vehicle, vec![], setting.failures, 5);
    let yardstick = yardstick(first);
    let spares = spares_for(&yardstick, 0.95);
    assert_eq!(spares.count[&code("P-1")], 8);
    assert_eq!(spares.mass_g, 8 * 3_500);
    assert!((spares.served - 0.9756).abs() < 1e-3, "{spares:?}");
}

/// A cell that leaves with nothing: powder and fuel go together, since either alone serves nobody.
#[test]
fn a_cell_about_to_leave_takes_powder_and_fuel() {
    let mut drum = item("DRUM", 180_000);
    drum.content = Content::Fuel { ml: 200_000 };
    let mut setting = setting(vec![]);
    fails(&mut setting, 2_000, 10);
    let mut vehicle = trip("TRUCK");
    (vehicle.payload_g, vehicle.heaviest_g) = (2_500_000, 300_000);
    let items = vec![can("CAN-11", 11_000), drum];
    let first = first_setting(&setting.situation, &vehicle, items, setting.failures, 10);
    let found = proposed(first);
    assert!(found.load.contains_key(&code("CAN-11")), "{:?}", found.load);
    assert!(found.load.contains_key(&code("DRUM")), "{:?}", found.load);
    assert!(
        found.truly.outlook.served_permille > 800,
        "{:?}",
        found.truly.outlook
    );
    assert_eq!(found.truly.backlog, 0);
}

/// By this sea diesel goes with neither of two sizes of one powder: each size alone seems worth as much as
/// the fuel that all builds need, both together twice as much. Nothing is built without fuel, so that powder
/// alone serves nobody: since some powder is in the cell already, fuel goes.
#[test]
fn of_what_goes_not_together_the_side_goes_that_truly_averts_more() {
    let entry = |un, class: &str| {
        Sheet::Entry(Dangerous {
            un,
            name: "an entry".to_owned(),
            class: class.to_owned(),
            subsidiary: vec![],
            group: None,
            counted: 1_000,
            sheet: "a sheet".to_owned(),
        })
    };
    let powder = |code: &str| Item {
        sheet: entry(1396, "4.3"),
        ..can(code, 11_000)
    };
    let drum = Item {
        content: Content::Fuel { ml: 600_000 },
        sheet: entry(1202, "3"),
        ..item("DRUM", 90_000)
    };
    let mut setting = setting(vec![powder("CAN-A"), powder("CAN-B"), drum]);
    setting.situation.fuel.on_hand_ml = 0;
    (
        setting.situation.fuel.camp_w,
        setting.situation.fuel.idle_ml_per_h_kw,
    ) = (0, 0);
    let rule = |class: &str| CarriageRule {
        un: None,
        class: Some(class.to_owned()),
        group: None,
        refused: false,
        package: None,
        load: None,
        points: 0,
        note: String::new(),
    };
    let rules = CarriageRules {
        mode: Mode::Sea,
        edition: "as this site wrote it down".to_owned(),
        entered_by: "Storekeeper".to_owned(),
        entered_at: at(0),
        points_milli: None,
        rules: vec![rule("3"), rule("4.3")],
        apart: vec![Apart {
            one: "3".to_owned(),
            other: "4.3".to_owned(),
            what: "separated from".to_owned(),
            can_be_kept: false,
        }],
    };
    let yardstick = yardstick(setting);
    let order = Order {
        yardstick: &yardstick,
        sets: &[],
        rules: Some(&rules),
    };
    let found = propose(order, &mut || false, &mut |_| {}).expect("not stopped");
    assert_eq!(found.load, load(&[("DRUM", 1)]));
    assert!(found.truly.averted() > 0);
}
