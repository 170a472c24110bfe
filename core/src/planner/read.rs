use serde::{Deserialize, Serialize};

use super::faults::Fault;
use super::problem::{Draw, Operation, Problem, StoreDraw, Work};

impl Problem {
    /// Reads a problem from JSON, refusing what is malformed, unknown or contradictory.
    ///
    /// # Errors
    ///
    /// A text that is no JSON, lacks a key or carries an unknown one gives one fault, the first found;
    /// a readable problem gives every fault of its content, each with its place.
    pub fn from_json(text: &str) -> Result<Self, Vec<Fault>> {
        let mut reader = serde_json::Deserializer::from_str(text);
        let problem: Self = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
            let place = error.path().to_string();
            let place = if place == "." {
                "problem".to_owned()
            } else {
                place
            };
            vec![Fault::new(place, error.into_inner().to_string())]
        })?;
        reader
            .end()
            .map_err(|error| vec![Fault::new("problem".to_owned(), error.to_string())])?;
        let faults = problem.faults();
        if faults.is_empty() {
            Ok(problem)
        } else {
            Err(faults)
        }
    }
}

/// The keys of an operation as written: a stage and a step share most of them.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OperationKeys {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cells: Option<Vec<String>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    powder: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    grams: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    one_lot: Option<bool>,
    /// The outer option tells whether the key was there at all, the inner one whether it is null.
    #[serde(default, with = "present", skip_serializing_if = "Option::is_none")]
    station: Option<Option<String>>,
    minutes: i64,
    crew: i64,
    after: i64,
    draws: Vec<Draw>,
}

/// What is wrong with the keys of an operation.
#[derive(Debug, thiserror::Error)]
pub(super) enum OperationFault {
    #[error(
        "a stage (it has 'powder') also needs 'cells', 'grams' and 'one_lot', and '{0}' is missing"
    )]
    StageLacks(&'static str),
    #[error("an operation with 'powder' is a stage and has no 'station'; give one or the other")]
    StageWithStation,
    #[error(
        "'{0}' belongs to a stage, and this operation has no 'powder'; add it, or take '{0}' away"
    )]
    StepHas(&'static str),
    #[error(
        "neither a stage (it lacks 'powder') nor a step (it lacks 'station'); give one of them, 'station' may be null"
    )]
    Neither,
}

impl TryFrom<OperationKeys> for Operation {
    type Error = OperationFault;

    fn try_from(keys: OperationKeys) -> Result<Self, OperationFault> {
        let work = match keys.powder {
            Some(_) if keys.station.is_some() => return Err(OperationFault::StageWithStation),
            Some(powder) => Work::Stage {
                cells: keys.cells.ok_or(OperationFault::StageLacks("cells"))?,
                powder,
                grams: keys.grams.ok_or(OperationFault::StageLacks("grams"))?,
                one_lot: keys.one_lot.ok_or(OperationFault::StageLacks("one_lot"))?,
            },
            None if keys.cells.is_some() => return Err(OperationFault::StepHas("cells")),
            None if keys.grams.is_some() => return Err(OperationFault::StepHas("grams")),
            None if keys.one_lot.is_some() => return Err(OperationFault::StepHas("one_lot")),
            None => Work::Step {
                station: keys.station.ok_or(OperationFault::Neither)?,
            },
        };
        Ok(Self {
            work,
            minutes: keys.minutes,
            crew: keys.crew,
            after: keys.after,
            draws: keys.draws,
        })
    }
}

impl From<Operation> for OperationKeys {
    fn from(operation: Operation) -> Self {
        let Operation {
            work,
            minutes,
            crew,
            after,
            draws,
        } = operation;
        let (cells, powder, grams, one_lot, station) = match work {
            Work::Stage {
                cells,
                powder,
                grams,
                one_lot,
            } => (Some(cells), Some(powder), Some(grams), Some(one_lot), None),
            Work::Step { station } => (None, None, None, None, Some(station)),
        };
        Self {
            cells,
            powder,
            grams,
            one_lot,
            station,
            minutes,
            crew,
            after,
            draws,
        }
    }
}

/// The keys of a draw as written: of one store, or of any of several.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DrawKeys {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    store: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    amount: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    floor: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    any_of: Option<Vec<StoreDraw>>,
}

/// What is wrong with the keys of a draw.
#[derive(Debug, thiserror::Error)]
pub(super) enum DrawFault {
    #[error(
        "a draw is of one store, with 'store', 'amount' and 'floor', or of 'any_of' several; '{0}' is missing"
    )]
    Lacks(&'static str),
    #[error("a draw with 'any_of' has its '{0}' within each of them; take it away beside 'any_of'")]
    Both(&'static str),
}

impl TryFrom<DrawKeys> for Draw {
    type Error = DrawFault;

    fn try_from(keys: DrawKeys) -> Result<Self, DrawFault> {
        let Some(choices) = keys.any_of else {
            return Ok(Self::Of(StoreDraw {
                store: keys.store.ok_or(DrawFault::Lacks("store"))?,
                amount: keys.amount.ok_or(DrawFault::Lacks("amount"))?,
                floor: keys.floor.ok_or(DrawFault::Lacks("floor"))?,
            }));
        };
        let beside = [
            ("store", keys.store.is_some()),
            ("amount", keys.amount.is_some()),
            ("floor", keys.floor.is_some()),
        ];
        match beside.into_iter().find(|(_, given)| *given) {
            Some((key, _)) => Err(DrawFault::Both(key)),
            None => Ok(Self::AnyOf(choices)),
        }
    }
}

impl From<Draw> for DrawKeys {
    fn from(draw: Draw) -> Self {
        let mut keys = Self {
            store: None,
            amount: None,
            floor: None,
            any_of: None,
        };
        match draw {
            Draw::Of(draw) => {
                keys.store = Some(draw.store);
                keys.amount = Some(draw.amount);
                keys.floor = Some(draw.floor);
            }
            Draw::AnyOf(choices) => keys.any_of = Some(choices),
        }
        keys
    }
}

/// Tells a key that is null from one that is absent.
mod present {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    #[expect(
        clippy::option_option,
        reason = "absent, null and given are three different things here"
    )]
    pub fn deserialize<'de, D: Deserializer<'de>>(
        reader: D,
    ) -> Result<Option<Option<String>>, D::Error> {
        Option::deserialize(reader).map(Some)
    }

    #[expect(
        clippy::option_option,
        clippy::ref_option,
        reason = "the shape that serde asks for"
    )]
    pub fn serialize<S: Serializer>(
        value: &Option<Option<String>>,
        writer: S,
    ) -> Result<S::Ok, S::Error> {
        value.as_ref().and_then(Option::as_ref).serialize(writer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::samples::{
        capability, drawing, drawing_any, job, quiet_site, stage, station, step, store,
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
        let faults =
            Problem::from_json(&text.replacen(from, to, 1)).expect_err("the fault is found");
        faults.iter().map(|fault| format!("{fault}\n")).collect()
    }

    /// A reader that does not know a key refuses the problem: one line, which names it.
    #[test]
    fn unknown_keys_are_refused_by_name() {
        for (from, key) in [
            (r#""slots":1"#, r#""slots":1,"batch":true"#),
            (r#""minutes":10"#, r#""minutes":10,"within":5"#),
            (r#""earliest":0"#, r#""earliest":0,"debt":5"#),
            (r#""horizon":100"#, r#""horizon":100,"limits":[]"#),
        ] {
            let said = refused(from, key);
            assert_eq!(said.lines().count(), 1, "{said}");
            assert!(said.contains("unknown field"), "{said}");
        }
        assert!(
            refused(r#""slots":1"#, r#""slots":1,"batch":true"#)
                .starts_with("stations[0].batch: unknown field `batch`")
        );
    }

    #[test]
    fn malformed_text_is_refused_with_its_place() {
        assert!(
            refused("planning-problem/1", "planning-problem/9")
                .starts_with("schema: unknown variant")
        );
        assert!(
            refused(r#""horizon":100"#, r#""horizon":"late""#).starts_with("horizon: invalid type")
        );
        assert!(
            refused(r#""minutes":10"#, r#""minutes":1.5"#)
                .contains("jobs[0].options[0].operations[0]")
        );
        assert!(
            refused(r#""powder":"al","grams":1,"#, r#""powder":"al","#)
                .contains("'grams' is missing")
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
        assert!(
            refused(one, r#"{"any_of":[],"floor":0}"#).contains("take it away beside 'any_of'")
        );
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
}
