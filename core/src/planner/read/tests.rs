use super::*;
use crate::planner::samples::{
    batch_station, capability, drawing, drawing_any, in_cycle, job, limit, loading, quiet_site,
    stage, station, step, store, within,
};

fn site() -> Problem {
    let mut problem = quiet_site(100);
    problem.stations = vec![station("mill", 1)];
    problem.stores = vec![store("gas", 10, &[(5, 5)])];
    problem.capabilities = vec![capability(&["a1"], &[0, 1])];
    problem.jobs = vec![job(
        1,
        vec![
            drawing(stage("al", 1, 10), "gas", 1, 0),
            step("mill", 10, 1),
        ],
    )];
    problem
}

/// Reads the site with one piece of its text replaced, and says what is wrong with it.
fn refused(from: &str, to: &str) -> String {
    let text = serde_json::to_string(&site()).expect("a problem can be written");
    assert!(text.contains(from), "{from} is in {text}");
    let faults = Problem::from_json(&text.replacen(from, to, 1)).expect_err("the fault is found");
    faults.iter().map(|fault| format!("{fault}\n")).collect()
}

/// A reader that does not know a key refuses the problem: one line, which names it.
#[test]
fn unknown_keys_are_refused_by_name() {
    for (from, key) in [
        (r#""slots":1"#, r#""slots":1,"batches":true"#),
        (r#""minutes":10"#, r#""minutes":10,"until":5"#),
        (r#""station":"mill""#, r#""station":"mill","soak":"long""#),
    ] {
        let said = refused(from, key);
        assert_eq!(said.lines().count(), 1, "{said}");
        assert!(said.contains("unknown field"), "{said}");
    }
    assert!(
        refused(r#""slots":1"#, r#""slots":1,"batches":true"#)
            .starts_with("stations[0].batches: unknown field `batches`")
    );
}

#[test]
fn malformed_text_is_refused_with_its_place() {
    assert!(
        refused("planning-problem/1", "planning-problem/9").starts_with("schema: unknown variant")
    );
    assert!(
        refused(r#""horizon":100"#, r#""horizon":"late""#).starts_with("horizon: invalid type")
    );
    assert!(
        refused(r#""minutes":10"#, r#""minutes":1.5"#).contains("jobs[0].options[0].operations[0]")
    );
    assert!(
        refused(r#""powder":"al","grams":1,"#, r#""powder":"al","#).contains("'grams' is missing")
    );
    assert!(refused(r#""station":"mill","#, "").contains("neither a stage"));
    assert!(
        refused(
            r#""station":"mill","#,
            r#""station":"mill","one_lot":true,"#
        )
        .contains("'one_lot' belongs to a stage")
    );
    assert!(refused(r#""horizon":100,"#, "").contains("missing field `horizon`"));
    for text in ["", "[]", "{", "null", "{} {}", "\u{1F980}"] {
        assert_eq!(
            Problem::from_json(text).map_err(|faults| faults.len()),
            Err(1),
            "{text}"
        );
    }
}

/// A draw is of one store or of any of several, which differ.
#[test]
fn faults_of_a_choice_of_stores_are_told() {
    let one = r#"{"store":"gas","amount":1,"floor":0}"#;
    let draws = "jobs[0].options[0].operations[0].draws";
    let cases = [
        (
            "[]".to_owned(),
            "[0].any_of: empty; name at least one store",
        ),
        (
            format!("[{one},{one}]"),
            "[0].any_of[1].store: 'gas' is given twice",
        ),
        (
            format!("[{one}]").replace("gas", "x"),
            "[0].any_of[0].store: store 'x' is not among",
        ),
        (
            format!("[{one}]").replace(":1", ":-1"),
            "[0].any_of[0].amount: -1 is not within 0",
        ),
        ("[1]".to_owned(), "[0].any_of[0]: invalid type"),
    ];
    for (any_of, expected) in cases {
        let said = refused(one, &format!(r#"{{"any_of":{any_of}}}"#));
        assert!(
            said.starts_with(&format!("{draws}{expected}")),
            "{any_of}: {said}"
        );
        assert_eq!(said.lines().count(), 1, "{said}");
    }
    assert!(refused(one, r#"{"any_of":[],"floor":0}"#).contains("take it away beside 'any_of'"));
    assert!(refused(r#""amount":1,"#, "").contains("'amount' is missing"));
    let mut many = site();
    many.stores.push(store("bundle", 10, &[]));
    let operation = &mut many.jobs[0].options[0].operations[0];
    for _ in 0..8 {
        *operation = drawing_any(operation.clone(), &["gas", "bundle"], 1, 0);
    }
    assert_eq!(many.faults(), []);
    let operation = &mut many.jobs[0].options[0].operations[0];
    *operation = drawing_any(operation.clone(), &["gas", "bundle"], 1, 0);
    let said: Vec<_> = many.faults().iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [format!(
            "{draws}: the stores can be chosen in 512 ways, at most 256 are tried; name fewer of them"
        )]
    );
}

/// A latest start can be kept, and a cycle is run by a batch station; as said, what is given, what is
/// allowed, and what to do.
#[test]
fn faults_of_latest_starts_and_cycles_are_told() {
    let mill = "jobs[0].options[0].operations[1]";
    let within = |minutes: &str| {
        let from = r#""minutes":10,"crew":1,"after":0,"draws":[]"#;
        refused(
            from,
            &format!(r#"{from},"within":{minutes}"#).replace(":0", ":7"),
        )
    };
    assert_eq!(
        within("6"),
        format!(
            "{mill}.within: 6 is less than 'after', 7, and could never be kept; give at least 7, or less 'after'\n"
        )
    );
    assert_eq!(
        within("-1"),
        format!("{mill}.within: -1 is not within 0 to 10000000\n")
    );
    let cycled = |station: &str| {
        refused(
            r#""station":"mill""#,
            &format!(r#""station":{station},"cycle":"soak""#),
        )
    };
    for (station, here) in [
        (r#""mill""#, "station 'mill'"),
        ("null", "a step at no station"),
    ] {
        assert_eq!(
            cycled(station),
            format!(
                "{mill}.cycle: 'soak' is given for {here}, and only a batch station runs cycles; take it away, or give the station \"batch\": true\n"
            )
        );
    }
    assert_eq!(
        cycled(r#""x""#),
        format!("{mill}.station: station 'x' is not among the stations of the problem\n")
    );
    assert!(
        refused(r#""cells":["cell"]"#, r#""cells":["cell"],"cycle":"soak""#)
            .contains("'cycle' belongs to a step at a batch station")
    );
}

/// What is not said is not written: a station without batches and an operation that may wait have no key for
/// it, and what is said is read back.
#[test]
fn latest_starts_and_batches_are_written_where_given() {
    let plain = serde_json::to_string(&site()).expect("a problem can be written");
    for key in ["batch", "within", "cycle"] {
        assert!(!plain.contains(key), "{key} is in {plain}");
    }
    let mut problem = site();
    problem.stations = vec![batch_station("mill", 1)];
    let operations = &mut problem.jobs[0].options[0].operations;
    operations[1] = within(in_cycle(operations[1].clone(), "soak"), 30);
    let text = serde_json::to_string(&problem).expect("a problem can be written");
    for key in [
        r#""batch":true"#,
        r#""within":30"#,
        r#""station":"mill","cycle":"soak""#,
    ] {
        assert!(text.contains(key), "{key} is not in {text}");
    }
    assert_eq!(Problem::from_json(&text), Ok(problem));
}

/// A limit is known, its windows are parted, and a load does not end before it begins.
#[test]
fn faults_of_limits_and_loads_are_told() {
    let mut problem = site();
    problem.limits = vec![limit("power", 40)];
    problem.limits[0].windows = vec![(50, 60, 0), (10, 20, 9)];
    let operations = &mut problem.jobs[0].options[0].operations;
    operations[0] = loading(operations[0].clone(), "power", 30, Some(1));
    operations[1] = loading(operations[1].clone(), "power", 6, Some(1));
    assert_eq!(problem.faults(), []);
    let faults = |fault: fn(&mut Problem)| {
        let mut problem = problem.clone();
        fault(&mut problem);
        let told = problem.faults();
        told.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    let load = |problem: &mut Problem, operation: usize, through| {
        problem.jobs[0].options[0].operations[operation].loads[0].through = Some(through);
    };
    let loads = |operation| format!("jobs[0].options[0].operations[{operation}].loads[0]");
    let of = faults(|problem| problem.limits[0].id = "kw".into());
    assert_eq!(of.len(), 2);
    assert_eq!(
        of[0],
        format!(
            "{}.limit: limit 'power' is not among the limits of the problem",
            loads(0)
        )
    );
    assert_eq!(
        faults(|problem| problem.limits[0].windows.push((15, 51, 9))),
        ["limits[0].windows[2]: 15 to 51 overlaps the window from 50 to 60; part them"]
    );
    assert_eq!(
        faults(|problem| problem.limits.push(limit("power", -1))),
        [
            "limits[1].id: 'power' is given twice; ids are unique",
            "limits[1].capacity: -1 is not within 0 to 1000000000",
        ]
    );
    let mut early = problem.clone();
    load(&mut early, 1, 0);
    load(&mut early, 0, 2);
    let told: Vec<_> = early.faults().iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            format!(
                "{}.through: 2 is not the position of this operation or a later one, 0 to 1",
                loads(0)
            ),
            format!(
                "{}.through: 0 is not the position of this operation or a later one, 1 to 1",
                loads(1)
            ),
        ]
    );
}

/// Each contradiction gives one line with its place, and all of a problem are told at once.
#[test]
fn contradictions_are_told_with_their_place() {
    let cases = [
        (
            r#""store":"gas""#,
            r#""store":"x""#,
            "jobs[0].options[0].operations[0].draws[0].store: store 'x' is not",
        ),
        (
            r#""station":"mill""#,
            r#""station":"x""#,
            "jobs[0].options[0].operations[1].station: station 'x' is not",
        ),
        (
            r#""cells":["cell"]"#,
            r#""cells":["x"]"#,
            "jobs[0].options[0].operations[0].cells[0]: cell 'x' is not",
        ),
        (
            r#""minutes":10"#,
            r#""minutes":0"#,
            "jobs[0].options[0].operations[0].minutes: 0 is not within 1 to",
        ),
        (
            r#""crew":2"#,
            r#""crew":0"#,
            "windows[0].crew: 0 is not within 1 to",
        ),
        (
            r#""to":100"#,
            r#""to":101"#,
            "windows[0].to: 101 is after the horizon, 100",
        ),
        (
            r#""from":0,"to":100"#,
            r#""from":50,"to":50"#,
            "windows[0]: ends at 50, not after its begin at 50",
        ),
        (
            r#""loss_per_hour":[0,1]"#,
            r#""loss_per_hour":[0]"#,
            "capabilities[0].loss_per_hour: 1 figures for 1 assets",
        ),
        (
            r#""loss_per_hour":[0,1]"#,
            r#""loss_per_hour":[2,1]"#,
            "capabilities[0].loss_per_hour[1]: falls from 2 to 1",
        ),
        (
            r#""level":10"#,
            r#""level":-1"#,
            "stores[0].level: -1 is not within 0 to",
        ),
        (
            r#""grams":100000"#,
            r#""grams":9223372036854775807"#,
            "lots[0].grams: 9223372036854775807 is not within",
        ),
        (
            r#""release":0"#,
            r#""release":-3"#,
            "jobs[0].release: -3 is not within 0 to",
        ),
    ];
    for (from, to, expected) in cases {
        let said = refused(from, to);
        assert!(
            said.starts_with(expected) && said.lines().count() == 1,
            "{to}: {said}"
        );
    }
    let mut twice = site();
    twice.jobs.push(twice.jobs[0].clone());
    twice.windows.push(twice.windows[0].clone());
    let said: Vec<_> = twice.faults().iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "windows[1].from: 0 is before the end of the window before it, 100; sort and part them",
            "jobs[1].id: 'j1' is given twice; ids are unique",
        ]
    );
}

/// The largest numbers that are let through do not overflow when they are summed up.
#[test]
fn the_largest_numbers_can_be_planned_with() {
    let mut problem = site();
    problem.horizon = 10_000_000;
    problem.windows[0].to = problem.horizon;
    problem.stores[0].level = 1_000_000_000_000;
    problem.jobs[0].options[0].operations[0].draws[0] = Draw::of("gas", 1_000_000_000_000, 0);
    problem.capabilities[0].loss_per_hour = vec![0, 1_000_000_000];
    assert_eq!(problem.faults(), []);
    let plan = crate::planner::decode(&problem, &[(0, 0)]);
    assert_eq!(
        (plan.loss, crate::planner::check(&problem, &plan)),
        (20_000_000_000, vec![])
    );
}
