mod absurd;
mod more;

use proptest::prelude::*;

use super::samples::{
    batch_station, capability, drawing, drawing_any, in_cycle, job, limit, loading, lot,
    milled_by_turns, one_machine, quiet_site, stage, station, step, store, within,
};
use super::*;

fn searched(problem: &Problem, seed: u64, iterations: u64) -> Plan {
    let mut search = Search::new(problem, seed);
    search.run(iterations, 0.0..1.0, &mut || false);
    search.best().clone()
}

/// The wage of splitting a job: the long cell job feeds the mill last, though it is sprayed first.
/// Sprayed in the order j1 (10), j2 (10), with mills of 50 (j1) and 5 (j2); j1 also waits 20 for nothing
/// else. Milling j2 first (20 to 25) and then j1 (30 to 80) loses 25 x 9 + 80 x 1 = 305.
#[test]
fn a_job_sprayed_first_may_be_milled_last() {
    assert_eq!(searched(&milled_by_turns(), 1, 500).loss, 305);
}

/// Parts sprayed by 10, 20 and 30; j1 and j2 are soaked and j3 is aged, 60 min each, in one furnace. Put in
/// at once, j1 ends at 70, and the two others at 130 and 190: 390. If j1 waits 10 min for j2 they end at 80
/// together, and j3 at 140: 300.
#[test]
fn a_part_waits_for_another_one_to_share_a_batch() {
    let mut problem = quiet_site(300);
    problem.stations = vec![batch_station("furnace", 2)];
    let part = |n, cycle| {
        let bake = in_cycle(step("furnace", 60, 0), cycle);
        job(n, vec![stage("al", 1, 10), bake])
    };
    problem.jobs = vec![part(1, "soak"), part(2, "soak"), part(3, "age")];
    problem.capabilities = ["a1", "a2", "a3"]
        .map(|asset| capability(&[asset], &[0, 1]))
        .to_vec();
    assert_eq!(crew_plan(&problem, CrewOrder::OldestFirst).loss, 390);
    assert_eq!(searched(&problem, 1, 500).loss, 300);
}

/// A worn part of a machine that is down anyway costs 50 later, and brings nothing back, as the machine's
/// other part has no powder: it stays out.
#[test]
fn what_costs_later_and_saves_nothing_stays_out() {
    let mut problem = quiet_site(100);
    problem.jobs = vec![
        job(1, vec![stage("al", 1, 10)]),
        job(2, vec![stage("cu", 1, 10)]),
    ];
    problem.jobs[1].asset = "a1".into();
    problem.capabilities = vec![capability(&["a1"], &[0, 1])];
    assert_eq!(searched(&problem, 1, 10).left_out, ["j2"]);
    problem.jobs[0].options[0].debt = 50;
    let plan = searched(&problem, 1, 10);
    assert_eq!((plan.loss, plan.left_out.len()), (100, 2));
}

/// Tables decide which machine goes first: with the last of two dear (0, 1, 100) and both equally long, it
/// does not matter which, but three parts of one machine wait behind one of the other.
/// a2 (10 min) first: 10 x 100 + 30 x 1 = 1030.
#[test]
fn the_shorter_machine_of_a_pair_goes_first() {
    let mut problem = quiet_site(40);
    let part = || vec![stage("al", 1, 10)];
    problem.jobs = vec![
        job(1, part()),
        job(2, part()),
        job(3, part()),
        job(4, part()),
    ];
    problem.jobs[2].asset = "a1".into();
    problem.jobs[3].asset = "a1".into();
    problem.capabilities = vec![capability(&["a1", "a2"], &[0, 1, 100])];
    let plan = searched(&problem, 1, 500);
    assert_eq!((plan.loss, plan.jobs[0].id.as_str()), (1030, "j2"));
}

/// 'Largest rate first' asks by how much the rate of now falls: two of two pumps down at 0, 5, 100 fall by
/// 95, which goes before a crane at 60.
#[test]
fn the_crews_order_goes_by_the_fall_of_the_rate() {
    let mut problem = quiet_site(100);
    problem.jobs = (1..=3).map(|n| job(n, vec![stage("al", 1, 10)])).collect();
    problem.capabilities = vec![
        capability(&["a1"], &[0, 60]),
        capability(&["a2", "a3"], &[0, 5, 100]),
    ];
    let order = |order| {
        crew_plan(&problem, order)
            .jobs
            .into_iter()
            .map(|job| job.id)
            .collect::<Vec<_>>()
    };
    assert_eq!(order(CrewOrder::LargestRateFirst), ["j2", "j3", "j1"]);
    assert_eq!(order(CrewOrder::OldestFirst), ["j1", "j2", "j3"]);
}

/// A warm start from a good plan is never forgotten, even without a single iteration.
#[test]
fn a_warm_start_keeps_what_it_was_given() {
    let problem = one_machine(&[12, 8, 15, 9], &[4, 5, 3, 5], &[16, 26, 25, 27]);
    let best = searched(&problem, 1, 2000);
    let mut search = Search::new(&problem, 2);
    search.warm_start(&best);
    assert_eq!(search.best_loss(), 67);
}

/// Job 1 draws 5 from either bottle, job 2 draws 6 and fits the small one only. The decoder by itself keeps the
/// full bottle, and the small one with 1 left is no use to job 2. The best plan takes of the full one first:
/// 10 x 10 + 1 x 20 = 120; with job 2 first it is 1 x 10 + 10 x 20 = 210, without it 10 x 10 + 1 x 100 = 200.
#[test]
fn what_others_need_is_left_in_the_store_that_they_need() {
    let mut problem = one_machine(&[10, 10, 80], &[10, 1, 0], &[0; 3]);
    problem.stores = vec![store("small", 6, &[]), store("full", 10, &[])];
    let first = |n: usize| problem.jobs[n].options[0].operations[0].clone();
    let either = drawing_any(first(0), &["small", "full"], 5, 0);
    let small = drawing(first(1), "small", 6, 0);
    problem.jobs[0].options[0].operations = vec![either];
    problem.jobs[1].options[0].operations = vec![small];
    let plan = searched(&problem, 1, 2000);
    assert_eq!((plan.loss, check(&problem, &plan)), (120, vec![]));
}

fn operation() -> impl Strategy<Value = Operation> {
    let powders = prop::sample::select(vec!["al", "cu", "none"]);
    let sprayed = (powders, 0_i64..40, any::<bool>(), 1_i64..90).prop_map(
        |(powder, grams, one_lot, minutes)| {
            let mut it = stage(powder, grams, minutes);
            if let Work::Stage {
                one_lot: from_one, ..
            } = &mut it.work
            {
                *from_one = one_lot;
            }
            if minutes % 2 == 0 {
                return drawing(it, "gas", grams * 3, minutes % 30);
            }
            let it = drawing_any(it, &["gas", "bundle"], grams * 3, minutes % 30);
            drawing_any(it, &["bundle", "fuel"], grams, 0)
        },
    );
    let stations = prop::sample::select(vec!["mill", "furnace"]);
    let stepped =
        (stations, 1_i64..200, 0_i64..3).prop_map(|(at, minutes, crew)| step(at, minutes, crew));
    let baked = (1_i64..4, 0_i64..3, 0_usize..3).prop_map(|(hours, crew, cycle)| {
        let it = step("furnace", hours * 60, crew / 2);
        match ["soak", "age"].get(cycle) {
            Some(name) => in_cycle(it, name),
            None => it,
        }
    });
    let wait = prop::option::weighted(0.3, 0_i64..150);
    (prop_oneof![sprayed, stepped, baked], 0_i64..40, wait).prop_map(|(mut it, after, wait)| {
        it.after = after / 20 * after;
        it.within = wait.map(|minutes| it.after + minutes);
        it
    })
}

/// Takes away what a station without batches has no use for.
fn without_cycles(problem: &mut Problem) {
    let options = problem.jobs.iter_mut().flat_map(|job| &mut job.options);
    for operation in options.flat_map(|option| &mut option.operations) {
        if let Work::Step { cycle, .. } = &mut operation.work {
            *cycle = None;
        }
    }
}

/// Loads for operations of an option, `through` reaching to the end of it at most.
fn with_loads(operations: Vec<Operation>, loads: &[(bool, i64, usize)]) -> Vec<Operation> {
    let last = operations.len().saturating_sub(1);
    let mut loads = loads.iter().cycle();
    let loaded = operations.into_iter().enumerate().map(|(n, operation)| {
        loads
            .by_ref()
            .take((n + 1) % 3)
            .fold(operation, |operation, (power, amount, reach)| {
                let through = (reach % 2 == 1).then(|| (n + reach / 2).min(last));
                loading(
                    operation,
                    if *power { "power" } else { "plates" },
                    *amount,
                    through,
                )
            })
    });
    loaded.collect()
}

prop_compose! {
    fn a_job()(
        options in prop::collection::vec((prop::collection::vec(operation(), 0..5), 0_i64..300), 0..3),
        loads in prop::collection::vec((any::<bool>(), 0_i64..4, 0_usize..8), 1..6),
        release in 0_i64..200,
        asset in 0_usize..5,
    ) -> Job {
        let mut it = job(1, Vec::new());
        it.asset = format!("a{asset}");
        it.release = release / 2 * (release % 2);
        it.options = options.into_iter().enumerate().map(|(n, (operations, earliest))| {
            let operations = with_loads(operations, &loads);
            JobOption { debt: earliest % 3 * 400, id: format!("way-{n}"), earliest: earliest / 3 * (earliest % 2), operations }
        }).collect();
        it
    }
}

prop_compose! {
    /// Any site, absurd ones too: no duty, no lots, no slots, deliveries after the horizon, lots that expire
    /// before they arrive.
    pub(super) fn a_problem()(
        windows in prop::collection::vec((0_i64..120, 1_i64..200, 1_i64..4), 0..5),
        lots in prop::collection::vec((any::<bool>(), 0_i64..90, 0_i64..700, 0_i64..900), 0..5),
        slots in (0_i64..3, 0_i64..3),
        batch in any::<bool>(),
        gas in (0_i64..300, prop::collection::vec((0_i64..900, 0_i64..200), 0..3)),
        further in (0_i64..200, 0_i64..60),
        limits in prop::collection::vec((1_i64..8, 0_i64..300, 0_i64..5), 2),
        cell in (0_i64..100, 0_i64..20, 0_i64..10, 0_i64..60, any::<bool>(), 0_i64..400),
        rates in prop::collection::vec(0_i64..50, 6),
        down in prop::collection::vec(prop::option::of(-50_i64..600), 5),
        jobs in prop::collection::vec(a_job(), 0..7),
    ) -> Problem {
        let mut problem = quiet_site(700);
        problem.windows.clear();
        let mut free = 0;
        for (gap, length, crew) in windows {
            let from = free + gap / 20 * gap;
            free = (from + length).min(700);
            if from < free {
                problem.windows.push(Window { from, to: free, crew });
            }
        }
        problem.lots = lots.into_iter().enumerate().map(|(n, (al, grams, from, until))| {
            let from = from / 2 * (from % 2);
            Lot { from, until, ..lot(&format!("lot-{n}"), if al { "al" } else { "cu" }, grams) }
        }).collect();
        problem.stations = vec![
            station("mill", slots.0),
            if batch { batch_station("furnace", slots.1) } else { station("furnace", slots.1) },
        ];
        problem.stations[0].closed = vec![(slots.0 * 90, slots.0 * 90 + 60, 1)];
        problem.stores = vec![
            store("gas", gas.0, &gas.1),
            store("bundle", further.0, &[]),
            store("fuel", further.1, &[(300, 40)]),
        ];
        problem.limits = [("power", limits[0]), ("plates", limits[1])].map(|(id, (capacity, from, fewer))| {
            let windows = vec![(from, from + 60, capacity.min(fewer)), (500, 700, capacity / 2)];
            Limit { windows, ..limit(id, capacity) }
        }).to_vec();
        let (free_from, warm_up, same_powder, changeover, clean, shut) = cell;
        let site = &mut problem.cells[0];
        (site.free_from, site.warm_up, site.same_powder) = (free_from, warm_up, same_powder);
        site.default_changeover = changeover;
        site.powder = (!clean).then(|| "cu".to_owned());
        site.closed = vec![(shut, shut + 50)];
        let sums: Vec<i64> = rates.iter().scan(0, |sum, rate| { *sum += rate; Some(*sum) }).collect();
        problem.capabilities = vec![
            capability(&["a0", "a1", "a2"], &sums[..4]),
            Capability { from: sums[1], ..capability(&["a2", "a3"], &sums[1..4]) },
        ];
        for (n, minute) in down.into_iter().enumerate() {
            problem.assets.insert(format!("a{n}"), Asset { down_from: minute, back: minute.map(|m| 650 - m) });
        }
        problem.jobs = jobs;
        for (n, job) in problem.jobs.iter_mut().enumerate() {
            job.id = format!("j{n}");
        }
        if !batch {
            without_cycles(&mut problem);
        }
        problem
    }
}

prop_compose! {
    /// A site that works, with two shifts and a night, where jobs share few plates: each job takes some with
    /// one operation and keeps them to a later one, which may have to wait for the mill.
    pub(super) fn a_problem_of_plates()(
        capacity in 1_i64..4,
        away in prop::collection::vec((0_i64..40, 1_i64..60, 0_i64..3), 0..4),
        shut in (0_i64..300, 1_i64..200),
        jobs in prop::collection::vec(
            prop::collection::vec((any::<bool>(), 1_i64..40, 0_i64..20, 1_i64..3, 0_usize..4), 2..5),
            1..6,
        ),
    ) -> Problem {
        let mut problem = quiet_site(700);
        let shift = |from, to| Window { from, to, crew: 3 };
        problem.windows = vec![shift(0, 250), shift(350, 700)];
        problem.stations = vec![station("mill", 1)];
        problem.stations[0].closed = vec![(shut.0, shut.0 + shut.1, 1)];
        problem.limits = vec![limit("plates", capacity)];
        let mut free = 0;
        problem.limits[0].windows = away.into_iter().map(|(gap, length, left)| {
            let from = free + gap;
            free = from + length;
            (from, free, left)
        }).collect();
        problem.capabilities = vec![capability(&["a0", "a1", "a2"], &[0, 1, 5, 7])];
        problem.jobs = jobs.into_iter().enumerate().map(|(n, operations)| {
            let last = operations.len() - 1;
            let operations = operations.into_iter().enumerate().map(|(at, (spray, minutes, after, plates, reach))| {
                let mut it = if spray { stage("al", 1, minutes) } else { step("mill", minutes, minutes % 2) };
                it.after = after;
                if reach == 0 { it } else { loading(it, "plates", plates, Some((at + reach - 1).min(last))) }
            });
            job(n, operations.collect())
        }).collect();
        problem
    }
}

prop_compose! {
    /// A site that works, with two shifts and a night, where parts are blasted, sprayed soon after, put into a
    /// furnace with others, and milled; each may wait only so long for the next.
    pub(super) fn a_problem_of_batches()(
        slots in 1_i64..4,
        shut in (0_i64..300, 1_i64..120, 0_i64..3),
        jobs in prop::collection::vec((
            (1_i64..30, 10_i64..60, 1_usize..3, any::<bool>(), 1_i64..40),
            (prop::option::of(0_i64..60), prop::option::of(0_i64..90), prop::option::of(0_i64..200)),
            0_i64..200,
        ), 1..7),
    ) -> Problem {
        let mut problem = quiet_site(1000);
        let shift = |from, to| Window { from, to, crew: 3 };
        problem.windows = vec![shift(0, 250), shift(350, 600), shift(700, 1000)];
        problem.stations = vec![station("bench", 1), batch_station("furnace", slots), station("mill", 1)];
        problem.stations[1].closed = vec![(shut.0, shut.0 + shut.1, shut.2)];
        problem.capabilities = vec![capability(&["a0", "a1", "a2"], &[0, 1, 5, 7])];
        problem.jobs = jobs.into_iter().enumerate().map(|(n, (minutes, waits, release))| {
            let (blast, spray, hours, soak, mill) = minutes;
            let name = if soak { "soak" } else { "age" };
            let furnace = in_cycle(step("furnace", 60 * i64::try_from(hours).unwrap_or(1), 0), name);
            let limited = |it, wait: Option<i64>| wait.map_or_else(|| Operation::clone(&it), |wait| within(it.clone(), wait));
            let mut job = job(n, vec![
                step("bench", blast, 1),
                limited(stage("al", 1, spray), waits.0),
                limited(furnace, waits.1),
                limited(step("mill", mill, 1), waits.2),
            ]);
            job.release = release / 2 * (release % 2);
            job
        }).collect();
        problem
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// The verifier finds nothing in any plan of the search, which is never worse than a crew's own, never
    /// below the bound, and the same for the same seed.
    #[test]
    fn plans_are_sound_repeatable_and_never_worse_than_the_crews(problem in a_problem(), seed in 0_u64..9) {
        prop_assert_eq!(problem.faults(), []);
        let plan = searched(&problem, seed, 300);
        prop_assert_eq!(check(&problem, &plan), []);
        for order in [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst] {
            prop_assert!(plan.loss <= crew_plan(&problem, order).loss);
        }
        prop_assert!(bound(&problem) <= plan.loss);
        prop_assert_eq!(&plan, &searched(&problem, seed, 300));
    }

    /// Whatever the order, what is decoded keeps every rule.
    #[test]
    fn any_order_decodes_to_a_sound_plan(
        problem in a_problem(),
        order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10),
    ) {
        let plan = decode(&problem, &order);
        prop_assert_eq!(check(&problem, &plan), []);
    }

    /// In whatever order the crew numbers the jobs, its plan keeps every rule, and one more job behind them
    /// makes none of them later.
    #[test]
    fn the_crews_own_order_is_sound(
        problem in a_problem(),
        order in prop::collection::vec(0_usize..8, 0..10),
    ) {
        let own = |order: &[usize]| own_plan(&problem, order, &mut || false).expect("not stopped");
        let plan = own(&order);
        prop_assert_eq!(check(&problem, &plan), []);
        let fewer = order.split_last().map_or(&order[..], |(_, fewer)| fewer);
        for job in own(fewer).jobs {
            let start = |job: &PlannedJob| job.operations.last().map(|spot| spot.start);
            let still = plan.jobs.iter().find(|it| it.id == job.id);
            prop_assert!(still.is_some_and(|still| start(still) <= start(&job)));
        }
    }

    /// What is kept from one operation to a later one never lacks in between, in whichever order the jobs
    /// are placed and however far each is carried before the next.
    #[test]
    fn what_is_kept_never_lacks(problem in a_problem_of_plates(), seed in 0_u64..9) {
        prop_assert_eq!(problem.faults(), []);
        let plan = searched(&problem, seed, 300);
        prop_assert_eq!(check(&problem, &plan), []);
        let order: Vec<_> = (0..problem.jobs.len()).map(|job| (job, 0)).collect();
        let plan = decode(&problem, &order);
        prop_assert_eq!(check(&problem, &plan), []);
        prop_assert_eq!(check(&problem, &extend(&problem, &plan, &order)), []);
    }

    /// Whatever is in the furnace is there together, and nothing waits longer than it may, in whichever order
    /// the jobs are placed and however far each is carried before the next. Placed anew, nothing is lost.
    #[test]
    fn batches_and_waits_are_kept(problem in a_problem_of_batches(), seed in 0_u64..9) {
        prop_assert_eq!(problem.faults(), []);
        let order: Vec<_> = (0..problem.jobs.len()).map(|job| (job, 0)).collect();
        for plan in [searched(&problem, seed, 300), decode(&problem, &order)] {
            prop_assert_eq!(check(&problem, &plan), []);
            let again = extend(&problem, &plan, &[]);
            prop_assert_eq!(check(&problem, &again), []);
            prop_assert!(again.loss <= plan.loss, "{} and then {}", plan.loss, again.loss);
            let rest: Vec<_> = order.iter().skip(1).copied().collect();
            let first = Plan { jobs: plan.jobs.iter().take(1).cloned().collect(), ..Plan::default() };
            prop_assert_eq!(check(&problem, &add(&problem, &first, &rest)), []);
        }
    }

    /// A plan with jobs behind it keeps every rule, also where less is there than it was made for.
    #[test]
    fn an_extended_plan_is_sound(
        problem in a_problem(),
        order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10),
        further in prop::collection::vec((0_usize..8, 0_usize..3), 0..4),
        taken in (any::<bool>(), any::<bool>(), any::<bool>()),
    ) {
        let plan = decode(&problem, &order);
        let mut left = problem.clone();
        if taken.0 { left.lots.pop(); }
        if taken.1 { left.stores[1].level = 0; }
        if taken.2 { left.limits[1].capacity -= 1; }
        let extended = extend(&left, &plan, &further);
        prop_assert_eq!(check(&left, &extended), []);
    }

    /// A plan with jobs added keeps every rule, and everything that it had to the minute.
    #[test]
    fn what_is_added_moves_nothing(
        problem in a_problem(),
        order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10),
        further in prop::collection::vec((0_usize..8, 0_usize..3), 0..4),
    ) {
        let plan = decode(&problem, &order);
        let added = add(&problem, &plan, &further);
        prop_assert_eq!(check(&problem, &added), []);
        prop_assert_eq!(&added.jobs[..plan.jobs.len()], &plan.jobs[..]);
    }

    /// What is written is read back as it was.
    #[test]
    fn a_problem_survives_writing_and_reading(problem in a_problem()) {
        let text = serde_json::to_string(&problem).expect("a problem has string keys only");
        prop_assert_eq!(Problem::from_json(&text), Ok(problem));
    }
}
