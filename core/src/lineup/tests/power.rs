use super::site::{at, code, lot, recipe, request, site};
use super::{gates, planned};
use crate::catalogue::{Operation, OperationKind};
use crate::lineup::{Gate, LineUp, Work, power_by_time};
use crate::planner::Search;
use crate::situation::{Capability, Situation, Station};

/// A site with a furnace of 30 kW beside the cell; R1's part goes into it for four hours after spraying, R2's
/// is only sprayed. Spraying takes 33 kW (compressor 15, extraction 5, heater the rest) and the camp 5: with
/// the furnace that is 68 kW.
fn with_a_furnace() -> Situation {
    let mut situation = site();
    situation.stations.push(Station {
        code: code("furnace"),
        name: "Furnace".to_owned(),
        slots: 1,
        batch: false,
        power_w: 30_000,
        closed: vec![],
    });
    let mut heated = recipe("P-1-HEATED", "P-1", 2_000);
    heated.operations.insert(
        1,
        Operation {
            station: Some(code("furnace")),
            crew: 0,
            ..Operation::step(OperationKind::HeatTreat, "heat", 240)
        },
    );
    situation.recipes.push(heated);
    situation.requests[0] = request("R1", "pump-1", "P-1", "P-1-HEATED");
    situation
        .requests
        .push(request("R2", "crane", "P-1", "P-1-316L"));
    situation.lots.push(lot("L0002", 9_000));
    situation
}

fn peak(situation: &Situation, line_up: &LineUp) -> i64 {
    let loads = power_by_time(situation, line_up);
    loads.iter().map(|(_, watts)| *watts).max().expect("loads")
}

fn stage_starts(line_up: &LineUp, request: &str) -> chrono::DateTime<chrono::Utc> {
    let place = line_up
        .places
        .iter()
        .find(|p| p.request.as_str() == request);
    let mut stages = place.expect("a place").stages();
    stages.next().expect("a stage").1.setup_from
}

/// A set of 100 kW carries both at once; one of 60 kW cannot, so the second build waits for the furnace.
#[test]
fn the_cell_waits_where_the_set_cannot_carry_furnace_and_spray() {
    let mut situation = with_a_furnace();
    situation.fuel.rated_w = 100_000;
    let strong = planned(&situation);
    assert!(peak(&situation, &strong) > 60_000);
    situation.fuel.rated_w = 60_000;
    let weak = planned(&situation);
    assert!(peak(&situation, &weak) <= 60_000);
    assert!(stage_starts(&weak, "R2") > stage_starts(&strong, "R2"));
}

/// The load is the camp's 5 kW before and after work, and adds up what works in between.
#[test]
fn the_load_adds_up_what_works_at_a_time() {
    let situation = with_a_furnace();
    let line_up = planned(&situation);
    let loads = power_by_time(&situation, &line_up);
    assert_eq!(loads[0], (at(0), 5_000));
    assert_eq!(loads.last().expect("loads").1, 5_000);
    let Some(Work::Stage(stage)) = line_up.places[0].work.first() else {
        panic!("R1 begins with a stage")
    };
    let spraying = loads.iter().find(|(at, _)| *at == stage.setup_from);
    assert_eq!(spraying.expect("a change").1, 5_000 + stage.need.power_w);
}

/// A furnace that takes more than the set gives keeps its recipe out, and says by how much.
#[test]
fn a_step_beyond_the_set_is_a_gate() {
    let mut situation = with_a_furnace();
    situation.stations[1].power_w = 58_000;
    let shut = gates(&situation, "R1").remove(0);
    assert_eq!(
        shut.gate,
        Gate::Power {
            need_w: 63_000,
            most_w: 60_000
        }
    );
}

/// Two parts of one cycle go into a furnace for two at once; of two cycles, or in a furnace that takes no
/// loads, the second waits for the first, four hours. R1's machine costs 85 an hour and R2's 80: to wait 79 minutes for R2's
/// part costs 112; R2's machine is back 4 h less these and less the hour in which the mill cuts R1's part
/// sooner, 101 minutes, which saves 135.
#[test]
fn parts_of_one_cycle_share_a_load() {
    let apart = |batch: bool, slots: i64, cycles: [&str; 2]| {
        let mut situation = with_a_furnace();
        situation.fuel.rated_w = 200_000;
        let of_crane = |it: &&mut Capability| it.assets.contains(&code("crane"));
        let mut capabilities = situation.capabilities.iter_mut();
        let lifting = capabilities.find(of_crane).expect("what the crane does");
        lifting.loss_per_hour = vec![0, 80];
        let furnace = situation.stations.last_mut().expect("the furnace");
        (furnace.batch, furnace.slots) = (batch, slots);
        let heated = situation.recipes.last().expect("the heated one").clone();
        let mut other = recipe("P-1-OTHER", "P-1", 2_000);
        other.operations = heated.operations;
        situation.recipes.push(other);
        situation.requests[1] = request("R2", "crane", "P-1", "P-1-OTHER");
        for (recipe, cycle) in situation.recipes.iter_mut().rev().zip(cycles) {
            cycle.clone_into(&mut recipe.operations[1].cycle);
        }
        // The first may wait for the second before it goes in.
        let problem = crate::lineup::draft(&situation).problem;
        let mut search = Search::new(&problem, 1);
        search.run(2_000, 0.0..1.0, &mut || false);
        let line_up = super::completed(&situation, problem.clone(), search.best());
        let heats = line_up.places.iter().map(|place| place.work[1].starts());
        let heats: Vec<_> = heats.collect();
        assert_eq!(heats.len(), 2);
        (heats[0] - heats[1]).num_minutes().abs()
    };
    assert!(apart(true, 2, ["SR-2", "SR-4"]) >= 240);
    assert!(apart(false, 1, ["SR-2", "SR-2"]) >= 240);
    assert_eq!(apart(true, 2, ["SR-2", "SR-2"]), 0);
}
