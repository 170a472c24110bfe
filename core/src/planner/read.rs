use serde::{Deserialize, Serialize};

use super::faults::Fault;
use super::problem::{Draw, Operation, Problem, Work};

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
