//! Whether a recipe says all that must be said before it can be planned with.

use super::{Operation, OperationKind, Recipe};

/// What a recipe lacks or contradicts.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RecipeFault {
    /// An operation that every recipe has.
    #[error(
        "no operation '{kind}'; give one with its minutes, they are part of the time to the machine's return"
    )]
    Missing {
        /// Its kind.
        kind: OperationKind,
    },
    /// An operation that stands before one that must come first.
    #[error("operation {position}, {later}, stands before the last {earlier}; put it after")]
    Order {
        /// Its place, from 1.
        position: usize,
        /// Its kind.
        later: OperationKind,
        /// The kind that comes first.
        earlier: OperationKind,
    },
    /// A step without minutes, which would be planned as taking none.
    #[error("operation {position}, {kind}, takes {minutes} minutes; give 1 or more")]
    Minutes {
        /// Its place, from 1.
        position: usize,
        /// Its kind.
        kind: OperationKind,
        /// What was given.
        minutes: i64,
    },
    /// A stage without what it sprays, or a step with it.
    #[error("operation {position}, {kind}, {}", spray_text(*.given))]
    Spray {
        /// Its place, from 1.
        position: usize,
        /// Its kind.
        kind: OperationKind,
        /// Whether it says what it sprays.
        given: bool,
    },
    /// A step that is sent out and keeps people or a station of the site.
    #[error("operation {position} is sent out; it has no station and no crew here")]
    Away {
        /// Its place, from 1.
        position: usize,
    },
    /// A stage that is sent out.
    #[error("operation {position} sprays; only a step can be sent out")]
    AwayStage {
        /// Its place, from 1.
        position: usize,
    },
    /// A plate under what does not spray.
    #[error("operation {position} uses up a plate; only a stage does")]
    Plate {
        /// Its place, from 1.
        position: usize,
    },
    /// A fixture that is free again before it is taken, or never.
    #[error(
        "operation {position} holds a fixture until operation {through}; give one from {position} to {operations}"
    )]
    Held {
        /// Place of the operation that takes it, from 1.
        position: usize,
        /// Place of the one at whose end it is to be free.
        through: usize,
        /// How many operations there are.
        operations: usize,
    },
    /// Dimensions that nobody measures.
    #[error("it lists dimensions and has no operation 'measure'; put one before the release")]
    NotMeasured,
    /// A dimension whose name another has.
    #[error("the dimension '{name}' is listed twice; call one of them otherwise")]
    SizeTwice {
        /// The name.
        name: String,
    },
    /// A longest wait that could never be kept.
    #[error(
        "operation {position} waits {after} minutes at least and {within} at most; give at least {after}"
    )]
    Within {
        /// Its place, from 1.
        position: usize,
        /// The least wait.
        after: i64,
        /// The longest.
        within: i64,
    },
    /// A longest wait after what is not simply done again where the wait was too long: all but blasting and masking.
    #[error(
        "operation {position} may wait only so long, and neither blasting nor masking stands before it, to be done again; put one before it, or leave the longest wait out"
    )]
    WithinAfter {
        /// Its place, from 1.
        position: usize,
    },
}

const fn spray_text(given: bool) -> &'static str {
    if given {
        "says what it sprays; only the kind 'spray' does"
    } else {
        "does not say what it sprays"
    }
}

/// What every recipe ends with, in this order.
const TO_THE_MACHINE: [OperationKind; 4] = [
    OperationKind::Release,
    OperationKind::Carry,
    OperationKind::Fit,
    OperationKind::FirstRun,
];

impl Recipe {
    /// Everything that it lacks or contradicts; empty if it can be planned with.
    ///
    /// Release, carry, fit and first run are asked for, because a machine is back when its part has
    /// run in it, and what nobody gave minutes for would count as done at once.
    #[must_use]
    pub fn faults(&self) -> Vec<RecipeFault> {
        let mut faults = Vec::new();
        if !self.has(OperationKind::Spray) {
            faults.push(RecipeFault::Missing {
                kind: OperationKind::Spray,
            });
        }
        for kind in TO_THE_MACHINE {
            if !self.has(kind) {
                faults.push(RecipeFault::Missing { kind });
            }
        }
        for (position, operation) in (1..).zip(&self.operations) {
            faults.extend(operation_fault(position, operation));
            faults.extend(self.kit_faults(position, operation));
            faults.extend(self.wait_fault(position, operation));
        }
        faults.extend(self.order_faults());
        faults.extend(self.size_faults());
        faults
    }

    fn size_faults(&self) -> Vec<RecipeFault> {
        let mut faults = Vec::new();
        if !self.sizes.is_empty() && !self.has(OperationKind::Measure) {
            faults.push(RecipeFault::NotMeasured);
        }
        for (at, size) in self.sizes.iter().enumerate() {
            if self.sizes[..at]
                .iter()
                .any(|before| before.name == size.name)
            {
                let name = size.name.clone();
                faults.push(RecipeFault::SizeTwice { name });
            }
        }
        faults
    }

    fn kit_faults(&self, position: usize, operation: &Operation) -> Vec<RecipeFault> {
        let mut faults = Vec::new();
        let sprays = operation.kind == OperationKind::Spray;
        if operation.away_days.is_some() {
            if sprays {
                faults.push(RecipeFault::AwayStage { position });
            } else if operation.station.is_some() || operation.crew > 0 {
                faults.push(RecipeFault::Away { position });
            }
        }
        if operation.plate.is_some() && !sprays {
            faults.push(RecipeFault::Plate { position });
        }
        let operations = self.operations.len();
        let through = operation.fixture.as_ref().map(|held| held.through);
        if let Some(through) = through.filter(|t| !(position..=operations).contains(t)) {
            faults.push(RecipeFault::Held {
                position,
                through,
                operations,
            });
        }
        faults
    }

    fn wait_fault(&self, position: usize, operation: &Operation) -> Option<RecipeFault> {
        let within = operation.within_min?;
        let after = operation.after_min;
        if within < after {
            return Some(RecipeFault::Within {
                position,
                after,
                within,
            });
        }
        let before = position.checked_sub(2).map(|at| &self.operations[at]);
        let again = before.is_some_and(|it| it.kind.readies() && it.away_days.is_none());
        (!again).then_some(RecipeFault::WithinAfter { position })
    }

    fn has(&self, kind: OperationKind) -> bool {
        self.operations.iter().any(|o| o.kind == kind)
    }

    fn order_faults(&self) -> Vec<RecipeFault> {
        let last = |kind| self.operations.iter().rposition(|o| o.kind == kind);
        let first = |kind| self.operations.iter().position(|o| o.kind == kind);
        let chain = [OperationKind::Spray].into_iter().chain(TO_THE_MACHINE);
        chain
            .zip(TO_THE_MACHINE)
            .filter_map(|(earlier, later)| {
                let (before, after) = (last(earlier)?, first(later)?);
                (after < before).then_some(RecipeFault::Order {
                    position: after + 1,
                    later,
                    earlier,
                })
            })
            .collect()
    }
}

fn operation_fault(position: usize, operation: &Operation) -> Option<RecipeFault> {
    let kind = operation.kind;
    let sprays = kind == OperationKind::Spray;
    if sprays != operation.spray.is_some() {
        return Some(RecipeFault::Spray {
            position,
            kind,
            given: !sprays,
        });
    }
    (!sprays && operation.minutes < 1).then_some(RecipeFault::Minutes {
        position,
        kind,
        minutes: operation.minutes,
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::catalogue::{Held, Motion, RecipeState, RecipeText, Spray};
    use crate::gas::Gas;
    use OperationKind::{Carry, Cut, FirstRun, Fit, Release, Spray as SprayKind};

    fn spray() -> Spray {
        Spray {
            powder: "CUAL10".parse().expect("a code"),
            deposited_g: 500,
            volume: None,
            one_lot: true,
            gas: Gas::Air,
            pressure_mbar: 35_000,
            temperature_c: 500,
            feed_g_per_min: 45,
            efficiency_permille: 600,
            efficiency_sd_permille: 40,
            approval_builds: 4,
            start_stop_loss_g: 60,
            coupon_g: 40,
            handling_min: 20,
            gas_only_min: 4,
            motion: Motion::default(),
            weighed: vec![],
            timed: vec![],
        }
    }

    /// A draft with these operations, each named by its kind.
    pub(crate) fn recipe(kinds: &[OperationKind]) -> Recipe {
        let operation = |kind: &OperationKind| match *kind {
            SprayKind => Operation::stage("spray", spray()),
            kind => Operation::step(kind, kind.as_str(), 30),
        };
        Recipe {
            code: "B-1".parse().expect("a code"),
            part: "P-1".parse().expect("a code"),
            revision: 1,
            state: RecipeState::Draft,
            written_by: String::new(),
            also_written_by: [].into(),
            approved_by: String::new(),
            base_metals: [].into(),
            sizes: Vec::new(),
            coupons: Vec::new(),
            operations: kinds.iter().map(operation).collect(),
            flags: [].into(),
            text: RecipeText::default(),
        }
    }

    /// A recipe that ends at the mill does not say when the machine is back.
    #[test]
    fn the_way_to_the_machine_is_asked_for() {
        assert_eq!(
            recipe(&[SprayKind, Cut, Release, Carry, Fit, FirstRun]).faults(),
            []
        );
        assert_eq!(
            recipe(&[SprayKind, Cut, Release, Fit]).faults(),
            [
                RecipeFault::Missing { kind: Carry },
                RecipeFault::Missing { kind: FirstRun }
            ]
        );
    }

    /// A part released before its second layer, and one fitted before it is carried, are mistakes.
    #[test]
    fn what_comes_last_stands_last() {
        assert_eq!(
            recipe(&[SprayKind, Release, SprayKind, Fit, Carry, FirstRun]).faults(),
            [
                RecipeFault::Order {
                    position: 2,
                    later: Release,
                    earlier: SprayKind
                },
                RecipeFault::Order {
                    position: 4,
                    later: Fit,
                    earlier: Carry
                }
            ]
        );
    }

    /// What lists a bore is measured, and lists it once.
    #[test]
    fn what_lists_dimensions_is_measured() {
        let mut recipe = recipe(&[SprayKind, Cut, Release, Carry, Fit, FirstRun]);
        let bore = || "bore: 60 (59.99 to 60.03) mm".parse().expect("a dimension");
        recipe.sizes = vec![bore()];
        assert_eq!(recipe.faults(), [RecipeFault::NotMeasured]);
        recipe.insert(2, Operation::step(OperationKind::Measure, "measure", 30));
        assert_eq!(recipe.faults(), []);
        recipe.sizes.push(bore());
        let name = "bore".to_owned();
        assert_eq!(recipe.faults(), [RecipeFault::SizeTwice { name }]);
    }

    /// Minutes that nobody gave are told, never planned as none.
    #[test]
    fn a_step_takes_time_and_a_stage_says_what_it_sprays() {
        let mut recipe = recipe(&[SprayKind, Release, Carry, Fit, FirstRun]);
        recipe.operations[0].spray = None;
        recipe.operations[1].minutes = 0;
        let told: Vec<_> = recipe.faults().iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "operation 1, spray, does not say what it sprays",
                "operation 2, release, takes 0 minutes; give 1 or more"
            ]
        );
    }

    /// What is sent out keeps nobody here; a plate lies under a stage; what is held is given back.
    #[test]
    fn what_is_sent_out_and_what_is_held_is_told_where_it_cannot_be() {
        let mut recipe = recipe(&[SprayKind, Cut, Release, Carry, Fit, FirstRun]);
        let held = |through| Held {
            fixture: "F-1".parse().expect("a code"),
            through,
        };
        recipe.operations[0].fixture = Some(held(2));
        recipe.operations[0].plate = Some("P-1".parse().expect("a code"));
        recipe.operations[1].away_days = Some(3);
        recipe.operations[1].crew = 0;
        assert_eq!(recipe.faults(), []);
        recipe.operations[0].away_days = Some(2);
        recipe.operations[1].crew = 1;
        recipe.operations[2].plate = Some("P-1".parse().expect("a code"));
        recipe.operations[2].fixture = Some(held(2));
        recipe.operations[3].fixture = Some(held(7));
        let told: Vec<_> = recipe.faults().iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "operation 1 sprays; only a step can be sent out",
                "operation 2 is sent out; it has no station and no crew here",
                "operation 3 uses up a plate; only a stage does",
                "operation 3 holds a fixture until operation 2; give one from 3 to 6",
                "operation 4 holds a fixture until operation 7; give one from 4 to 6",
            ]
        );
    }

    /// Blasted metal is sprayed within four hours; a wait of at least 60 and at most 30 minutes cannot be,
    /// and neither the first operation nor what follows a stage has a step before it to do again.
    #[test]
    fn a_longest_wait_follows_a_step() {
        let with = |at: usize, after: i64, within: i64| {
            let mut recipe = recipe(&[
                OperationKind::Blast,
                SprayKind,
                Cut,
                Release,
                Carry,
                Fit,
                FirstRun,
            ]);
            recipe.operations[at].after_min = after;
            recipe.operations[at].within_min = Some(within);
            recipe.faults()
        };
        assert_eq!(with(1, 0, 240), []);
        assert_eq!(
            with(1, 60, 30),
            [RecipeFault::Within {
                position: 2,
                after: 60,
                within: 30
            }]
        );
        assert_eq!(with(0, 0, 240), [RecipeFault::WithinAfter { position: 1 }]);
        assert_eq!(with(2, 0, 240), [RecipeFault::WithinAfter { position: 3 }]);
    }
}
