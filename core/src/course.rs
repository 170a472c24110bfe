//! The course of a request: where it stands, which steps are legal there, and the fourteen layers from the
//! stopped machine to the true part.
//!
//! The one place that says so. Common practice, no source, as to the order of the layers.

use crate::catalogue::OperationKind;
use crate::word_enum;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

word_enum! {
    /// Where a request stands.
    Stand {
        /// Somebody has reported it.
        Reported = "reported",
        /// Somebody has said how it may be served.
        Sorted = "sorted",
        /// Work has begun.
        InWork = "in-work",
        /// Its part is released, and not fitted yet.
        Released = "released",
        /// Its part is fitted and has run.
        Served = "served",
        /// It is not served here.
        Refused = "refused",
        /// Nobody asks for it any more.
        Withdrawn = "withdrawn",
    }
}

word_enum! {
    /// What may be done with a request.
    Step {
        /// Say by which ways it may be served.
        Sort = "sort",
        /// Say that it is not served here.
        Refuse = "refuse",
        /// Say that nobody asks for it any more.
        Withdraw = "withdraw",
        /// Take up one that was refused or withdrawn.
        Reopen = "reopen",
        /// Do the next operation.
        Work = "work",
        /// Let the part go.
        Release = "release",
        /// The last operation: fitted, and run.
        Finish = "finish",
        /// Begin anew: the part is not what it should be.
        SendBack = "send-back",
        /// Throw the piece away, and begin with another.
        Scrap = "scrap",
        /// Go back to an operation that is done.
        Rework = "rework",
    }
}

/// A step that is not legal where a request stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a request that is {stand} allows no step '{step}'")]
pub struct NotNow {
    /// Where it stands.
    pub stand: Stand,
    /// What was to be done.
    pub step: Step,
}

impl Stand {
    /// Where a request stands after a step.
    ///
    /// # Errors
    /// [`NotNow`] where that step is not legal.
    pub const fn after(self, step: Step) -> Result<Self, NotNow> {
        use Stand::{InWork, Refused, Released, Reported, Served, Sorted, Withdrawn};
        Ok(match (self, step) {
            (Reported | Sorted, Step::Sort) | (InWork | Released, Step::SendBack | Step::Scrap) => {
                Sorted
            }
            (Reported | Sorted, Step::Refuse) => Refused,
            (Reported | Sorted | InWork, Step::Withdraw) => Withdrawn,
            (Refused | Withdrawn, Step::Reopen) => Reported,
            (Sorted | InWork, Step::Work) | (InWork | Released, Step::Rework) => InWork,
            (InWork, Step::Release) | (Released, Step::Work) => Released,
            (Released, Step::Finish) => Served,
            (stand, step) => return Err(NotNow { stand, step }),
        })
    }

    /// Whether it still waits to be served.
    #[must_use]
    pub const fn is_open(self) -> bool {
        matches!(
            self,
            Self::Reported | Self::Sorted | Self::InWork | Self::Released
        )
    }
}

/// The step that doing an operation is: the release lets the part go, and the last one ends the request.
#[must_use]
pub const fn step_of(kind: OperationKind, is_last: bool) -> Step {
    match (kind, is_last) {
        (OperationKind::Release, _) => Step::Release,
        (_, true) => Step::Finish,
        _ => Step::Work,
    }
}

word_enum! {
    /// A layer of a request's course, from the bottom.
    Layer {
        /// Somebody asks.
        Asked = "asked",
        /// The broken part is here, tagged, weighed, its metal known.
        Arrived = "arrived",
        /// By which ways it may be served.
        Sorted = "sorted",
        /// Those who must say yes have said so.
        Yes = "yes",
        /// An approved recipe is chosen.
        Recipe = "recipe",
        /// Powder is drawn for it.
        Powder = "powder",
        /// Cleaned, masked, blasted.
        Prepared = "prepared",
        /// Sprayed.
        Sprayed = "sprayed",
        /// Heat treated.
        HeatTreated = "heat-treated",
        /// Cut to size.
        Cut = "cut",
        /// Measured, and looked at for cracks.
        Measured = "measured",
        /// Released, with its tag.
        Released = "released",
        /// Fitted, and run.
        Fitted = "fitted",
        /// A stand-in is off again, and the true part in its place.
        Back = "back",
    }
}

impl Layer {
    /// The layer that an operation belongs to.
    #[must_use]
    pub const fn of(kind: OperationKind) -> Self {
        match kind {
            OperationKind::Blast | OperationKind::Mask => Self::Prepared,
            OperationKind::Spray => Self::Sprayed,
            OperationKind::HeatTreat => Self::HeatTreated,
            OperationKind::Cut => Self::Cut,
            OperationKind::CrackCheck | OperationKind::Measure => Self::Measured,
            OperationKind::Release => Self::Released,
            OperationKind::Carry | OperationKind::Fit | OperationKind::FirstRun => Self::Fitted,
        }
    }
}

/// Who did something, and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// Their name.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// What is known of a layer.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Facts {
    /// What was done of it, in order.
    pub done: Vec<Stamp>,
    /// How many things belong to it; 0: nothing does, and it is left out.
    pub of: usize,
    /// What is missing before it can be done.
    pub missing: Vec<String>,
}

/// How a layer stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// All of it is done.
    Done,
    /// Some of it is done.
    Begun,
    /// It is what comes next.
    Next,
    /// It cannot be done before something that is missing is there.
    Missing,
    /// Its turn has not come.
    Later,
    /// This request has no such layer.
    LeftOut,
}

/// Every layer with its standing, from the bottom; a layer nothing is known of is left out.
///
/// What comes next is the lowest that is neither done nor lacking anything, unless something is begun.
#[must_use]
pub fn course(known: &BTreeMap<Layer, Facts>) -> Vec<(Layer, Standing)> {
    let nothing = Facts::default();
    let begun = |facts: &Facts| !facts.done.is_empty() && facts.done.len() < facts.of;
    let mut next_told = known.values().any(begun);
    Layer::ALL
        .iter()
        .map(|layer| {
            let facts = known.get(layer).unwrap_or(&nothing);
            let standing = if facts.of == 0 {
                Standing::LeftOut
            } else if facts.done.len() >= facts.of {
                Standing::Done
            } else if !facts.missing.is_empty() {
                Standing::Missing
            } else if !facts.done.is_empty() {
                Standing::Begun
            } else if !next_told {
                next_told = true;
                Standing::Next
            } else {
                Standing::Later
            };
            (*layer, standing)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every step at every stand: what is not in this table is refused.
    #[test]
    fn only_the_legal_steps_lead_on() {
        use Stand::{InWork, Refused, Released, Reported, Served, Sorted, Withdrawn};
        let legal = [
            (Reported, Step::Sort, Sorted),
            (Reported, Step::Refuse, Refused),
            (Reported, Step::Withdraw, Withdrawn),
            (Sorted, Step::Sort, Sorted),
            (Sorted, Step::Refuse, Refused),
            (Sorted, Step::Withdraw, Withdrawn),
            (Sorted, Step::Work, InWork),
            (InWork, Step::Work, InWork),
            (InWork, Step::Release, Released),
            (InWork, Step::SendBack, Sorted),
            (InWork, Step::Scrap, Sorted),
            (InWork, Step::Rework, InWork),
            (InWork, Step::Withdraw, Withdrawn),
            (Released, Step::Work, Released),
            (Released, Step::Finish, Served),
            (Released, Step::SendBack, Sorted),
            (Released, Step::Scrap, Sorted),
            (Released, Step::Rework, InWork),
            (Refused, Step::Reopen, Reported),
            (Withdrawn, Step::Reopen, Reported),
        ];
        for stand in Stand::ALL {
            for step in Step::ALL {
                let found = legal.iter().find(|(s, t, _)| s == stand && t == step);
                let (stand, step) = (*stand, *step);
                let expected = found.map(|(.., then)| *then).ok_or(NotNow { stand, step });
                assert_eq!(stand.after(step), expected, "{stand}, {step}");
            }
        }
        assert_eq!(
            Served.after(Step::Work).map_err(|e| e.to_string()),
            Err("a request that is served allows no step 'work'".to_owned())
        );
    }

    fn facts(done: usize, of: usize, missing: &[&str]) -> Facts {
        let stamp = Stamp {
            by: "Sprayer".to_owned(),
            at: DateTime::UNIX_EPOCH,
        };
        Facts {
            done: vec![stamp; done],
            of,
            missing: missing.iter().map(ToString::to_string).collect(),
        }
    }

    /// Asked for; its tag is missing, which keeps nobody from sorting it. The yes is missing too, the
    /// recipe is there, and nothing is heat treated.
    #[test]
    fn each_layer_says_how_it_stands() {
        let known = BTreeMap::from([
            (Layer::Asked, facts(1, 1, &[])),
            (Layer::Arrived, facts(0, 1, &["its tag"])),
            (Layer::Sorted, facts(0, 1, &[])),
            (Layer::Yes, facts(0, 1, &["the engineer’s yes"])),
            (Layer::Recipe, facts(1, 1, &[])),
            (Layer::Sprayed, facts(0, 2, &[])),
            (Layer::Cut, facts(0, 1, &[])),
        ]);
        let stands: BTreeMap<Layer, Standing> = course(&known).into_iter().collect();
        assert_eq!(stands.len(), 14);
        for (layer, standing) in [
            (Layer::Asked, Standing::Done),
            (Layer::Sorted, Standing::Next),
            (Layer::Yes, Standing::Missing),
            (Layer::Recipe, Standing::Done),
            (Layer::Arrived, Standing::Missing),
            (Layer::Sprayed, Standing::Later),
            (Layer::HeatTreated, Standing::LeftOut),
            (Layer::Cut, Standing::Later),
            (Layer::Back, Standing::LeftOut),
        ] {
            assert_eq!(stands[&layer], standing, "{layer}");
        }
    }

    /// One of two stages is sprayed: the other one is what is going on, and cutting comes later.
    #[test]
    fn what_is_begun_goes_on() {
        let known = BTreeMap::from([
            (Layer::Sorted, facts(1, 1, &[])),
            (Layer::Sprayed, facts(1, 2, &[])),
            (Layer::Cut, facts(0, 1, &[])),
        ]);
        let stands: BTreeMap<Layer, Standing> = course(&known).into_iter().collect();
        assert_eq!(stands[&Layer::Sprayed], Standing::Begun);
        assert_eq!(stands[&Layer::Cut], Standing::Later);
    }
}
