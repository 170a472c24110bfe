use serde::{Deserialize, Serialize};

use super::faults::Fault;
use super::problem::{Draw, Load, Operation, Problem, StoreDraw, Work};

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
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cycle: Option<String>,
    minutes: i64,
    crew: i64,
    after: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    within: Option<i64>,
    draws: Vec<Draw>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    loads: Vec<Load>,
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
        "'cycle' belongs to a step at a batch station, and an operation with 'powder' is a stage; take it away"
    )]
    StageWithCycle,
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
            Some(_) if keys.cycle.is_some() => return Err(OperationFault::StageWithCycle),
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
                cycle: keys.cycle,
            },
        };
        Ok(Self {
            work,
            minutes: keys.minutes,
            crew: keys.crew,
            after: keys.after,
            within: keys.within,
            draws: keys.draws,
            loads: keys.loads,
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
            within,
            draws,
            loads,
        } = operation;
        let mut keys = Self {
            cells: None,
            powder: None,
            grams: None,
            one_lot: None,
            station: None,
            cycle: None,
            minutes,
            crew,
            after,
            within,
            draws,
            loads,
        };
        match work {
            Work::Stage {
                cells,
                powder,
                grams,
                one_lot,
            } => {
                (keys.cells, keys.powder) = (Some(cells), Some(powder));
                (keys.grams, keys.one_lot) = (Some(grams), Some(one_lot));
            }
            Work::Step { station, cycle } => (keys.station, keys.cycle) = (Some(station), cycle),
        }
        keys
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
mod tests;
