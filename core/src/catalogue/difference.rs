//! What a revision changes against another: figures, words, and the order of operations.

use super::{Motion, Operation, OperationKind, Recipe, Spray};
use std::collections::BTreeMap;

/// Something that one revision says otherwise than another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Changed {
    /// A figure or word.
    Said {
        /// Where.
        place: Place,
        /// Which.
        field: Field,
        /// What the old revision says.
        old: Value,
        /// What the new one says.
        new: Value,
    },
    /// An operation that the old revision has not.
    Added(Place),
    /// An operation that the new revision has not; its place in the old one.
    Removed(Place),
    /// An operation that stands elsewhere among those that both have.
    Moved {
        /// Its place in the old revision, from 1.
        from: usize,
        /// Its place in the new one.
        to: Place,
    },
}

/// Where in a revision.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// In none of its operations.
    Whole,
    /// In the operation at this place, from 1, of this kind and name.
    Operation(usize, OperationKind, String),
}

/// Which figure or word; its unit is that of the field of the same name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "each is the field of the same name")]
pub enum Field {
    BaseMetals,
    Flags,
    Coupons,
    Inspection,
    Notes,
    Sizes,
    CouponLimits,
    Kind,
    Name,
    Station,
    Minutes,
    AwayDays,
    Cycle,
    Crew,
    AfterMin,
    WithinMin,
    Plate,
    Fixture,
    /// Place in the revision of the operation at whose end the fixture is free.
    HeldThrough,
    Powder,
    DepositedG,
    VolumeMm3,
    PorosityPermille,
    OneLot,
    Gas,
    PressureMbar,
    TemperatureC,
    FeedGPerMin,
    Nozzle,
    StandoffUm,
    TraverseMmS,
    SpacingUm,
    PreheatC,
    Passes,
    EfficiencyPermille,
    EfficiencySdPermille,
    ApprovalBuilds,
    StartStopLossG,
    CouponG,
    HandlingMin,
    GasOnlyMin,
}

/// What a field says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Value {
    /// Nothing.
    Nothing,
    /// A figure.
    Figure(i64),
    /// Yes or no.
    Choice(bool),
    /// A word or a text.
    Text(String),
    /// Several words.
    List(Vec<String>),
}

/// Everything that `new` says otherwise than `old`: first what concerns the whole, then operation by
/// operation in the order of `new`, then what it left out.
///
/// Operations of one kind, name and powder are the same; of what is left those of one kind are, in
/// their order. What the approver writes is not compared.
#[must_use]
pub fn difference(old: &Recipe, new: &Recipe) -> Vec<Changed> {
    let mut changed = said(&Place::Whole, &whole(old), &whole(new));
    let pairs = pairs(&old.operations, &new.operations);
    let stays = longest_rising(&pairs);
    // An end that only shifts because something came before it is no change.
    let held = |through: usize| pairs.iter().find(|(o, _)| *o + 1 == through);
    for (n, operation) in new.operations.iter().enumerate() {
        let place = place(n, operation);
        let Some((o, _)) = pairs.iter().find(|(_, paired)| *paired == n) else {
            changed.push(Changed::Added(place));
            continue;
        };
        if !stays.contains(o) {
            changed.push(Changed::Moved {
                from: o + 1,
                to: place.clone(),
            });
        }
        let mut before = old.operations[*o].clone();
        if let Some((fixture, (_, to))) = before
            .fixture
            .as_mut()
            .and_then(|fixture| held(fixture.through).map(|pair| (fixture, pair)))
        {
            fixture.through = to + 1;
        }
        changed.extend(said(&place, &fields(&before), &fields(operation)));
    }
    for (o, operation) in old.operations.iter().enumerate() {
        if !pairs.iter().any(|(paired, _)| *paired == o) {
            changed.push(Changed::Removed(place(o, operation)));
        }
    }
    changed
}

/// Everything that an operation says otherwise than one that stands in its place, of whatever kind and name.
#[must_use]
pub fn operation_difference(old: &Operation, new: &Operation) -> Vec<Changed> {
    let place = Place::Operation(1, new.kind, new.name.clone());
    said(&place, &fields(old), &fields(new))
}

fn place(index: usize, operation: &Operation) -> Place {
    Place::Operation(index + 1, operation.kind, operation.name.clone())
}

/// Which operation of the old revision is which of the new, by their indices.
fn pairs(old: &[Operation], new: &[Operation]) -> Vec<(usize, usize)> {
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    let exact = |a: &Operation, b: &Operation| {
        a.kind == b.kind && a.name == b.name && powder(a) == powder(b)
    };
    let alike = |a: &Operation, b: &Operation| a.kind == b.kind;
    for same in [&exact as &dyn Fn(&Operation, &Operation) -> bool, &alike] {
        for (n, operation) in new.iter().enumerate() {
            if pairs.iter().any(|(_, paired)| *paired == n) {
                continue;
            }
            let free = |o: &usize| !pairs.iter().any(|(paired, _)| paired == o);
            let mut candidates = (0..old.len()).filter(free);
            if let Some(o) = candidates.find(|o| same(&old[*o], operation)) {
                pairs.push((o, n));
            }
        }
    }
    pairs.sort_by_key(|(_, n)| *n);
    pairs
}

fn powder(operation: &Operation) -> Option<&str> {
    operation.spray.as_ref().map(|s| s.powder.as_str())
}

/// The most old places that stand in the same order in the new revision: these did not move.
fn longest_rising(pairs: &[(usize, usize)]) -> Vec<usize> {
    let mut best: Vec<Vec<usize>> = Vec::new();
    for (o, _) in pairs {
        let before = best.iter().filter(|run| run.last() < Some(o));
        let mut run = before
            .max_by_key(|run| run.len())
            .cloned()
            .unwrap_or_default();
        run.push(*o);
        best.push(run);
    }
    best.into_iter().max_by_key(Vec::len).unwrap_or_default()
}

type Fields = BTreeMap<Field, Value>;

fn said(place: &Place, old: &Fields, new: &Fields) -> Vec<Changed> {
    let says = |fields: &Fields, field| fields.get(field).cloned().unwrap_or(Value::Nothing);
    let mut all: Vec<&Field> = old.keys().chain(new.keys()).collect();
    all.sort_unstable();
    all.dedup();
    all.into_iter()
        .map(|field| (field, says(old, field), says(new, field)))
        .filter(|(_, old, new)| old != new)
        .map(|(field, old, new)| Changed::Said {
            place: place.clone(),
            field: *field,
            old,
            new,
        })
        .collect()
}

fn whole(recipe: &Recipe) -> Fields {
    let list = |words: Vec<String>| match words.is_empty() {
        true => Value::Nothing,
        false => Value::List(words),
    };
    let flags = recipe.flags.iter().map(ToString::to_string).collect();
    let metals = recipe.base_metals.iter().map(ToString::to_string).collect();
    let sizes = recipe.sizes.iter().map(ToString::to_string).collect();
    let coupons = recipe.coupons.iter().map(ToString::to_string).collect();
    BTreeMap::from([
        (Field::BaseMetals, list(metals)),
        (Field::Flags, list(flags)),
        (Field::Coupons, text(&recipe.text.coupons)),
        (Field::Inspection, text(&recipe.text.inspection)),
        (Field::Notes, text(&recipe.text.notes)),
        (Field::Sizes, list(sizes)),
        (Field::CouponLimits, list(coupons)),
    ])
}

fn fields(operation: &Operation) -> Fields {
    let code = |code: Option<String>| code.map_or(Value::Nothing, Value::Text);
    let fixture = operation.fixture.as_ref();
    let mut fields = BTreeMap::from([
        (Field::Kind, Value::Text(operation.kind.to_string())),
        (Field::Name, text(&operation.name)),
        (
            Field::Station,
            code(operation.station.as_ref().map(ToString::to_string)),
        ),
        (Field::AwayDays, figure(operation.away_days)),
        (Field::Cycle, text(&operation.cycle)),
        (Field::Crew, Value::Figure(operation.crew)),
        (Field::AfterMin, Value::Figure(operation.after_min)),
        (Field::WithinMin, figure(operation.within_min)),
        (
            Field::Plate,
            code(operation.plate.as_ref().map(ToString::to_string)),
        ),
        (
            Field::Fixture,
            code(fixture.map(|held| held.fixture.to_string())),
        ),
        (
            Field::HeldThrough,
            figure(fixture.and_then(|held| i64::try_from(held.through).ok())),
        ),
    ]);
    match &operation.spray {
        Some(spray) => fields.extend(spray_fields(spray)),
        // The minutes of what is sent out are its days.
        None if operation.away_days.is_none() => {
            fields.insert(Field::Minutes, Value::Figure(operation.minutes));
        }
        None => {}
    }
    fields
}

fn spray_fields(spray: &Spray) -> Vec<(Field, Value)> {
    let Motion {
        nozzle,
        standoff_um,
        traverse_mm_s,
        spacing_um,
        preheat_c,
        passes,
    } = &spray.motion;
    let whole = |value: i64| Value::Figure(value);
    vec![
        (Field::Powder, text(spray.powder.as_str())),
        (Field::DepositedG, whole(spray.deposited_g)),
        (Field::VolumeMm3, figure(spray.volume.map(|v| v.mm3))),
        (
            Field::PorosityPermille,
            figure(spray.volume.map(|v| v.porosity_permille)),
        ),
        (Field::OneLot, Value::Choice(spray.one_lot)),
        (Field::Gas, text(spray.gas.as_str())),
        (Field::PressureMbar, whole(spray.pressure_mbar)),
        (Field::TemperatureC, whole(spray.temperature_c)),
        (Field::FeedGPerMin, whole(spray.feed_g_per_min)),
        (Field::Nozzle, text(nozzle)),
        (Field::StandoffUm, figure(*standoff_um)),
        (Field::TraverseMmS, figure(*traverse_mm_s)),
        (Field::SpacingUm, figure(*spacing_um)),
        (Field::PreheatC, figure(*preheat_c)),
        (Field::Passes, figure(*passes)),
        (Field::EfficiencyPermille, whole(spray.efficiency_permille)),
        (
            Field::EfficiencySdPermille,
            whole(spray.efficiency_sd_permille),
        ),
        (Field::ApprovalBuilds, whole(spray.approval_builds)),
        (Field::StartStopLossG, whole(spray.start_stop_loss_g)),
        (Field::CouponG, whole(spray.coupon_g)),
        (Field::HandlingMin, whole(spray.handling_min)),
        (Field::GasOnlyMin, whole(spray.gas_only_min)),
    ]
}

fn figure(value: Option<i64>) -> Value {
    value.map_or(Value::Nothing, Value::Figure)
}

fn text(text: &str) -> Value {
    match text.is_empty() {
        true => Value::Nothing,
        false => Value::Text(text.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::complete::tests::recipe;
    use crate::catalogue::{Held, Way};
    use OperationKind::{Blast, Carry, Cut, FirstRun, Fit, HeatTreat, Release};
    use proptest::prelude::*;

    fn sample() -> Recipe {
        recipe(&[
            Blast,
            OperationKind::Spray,
            HeatTreat,
            Cut,
            Release,
            Carry,
            Fit,
            FirstRun,
        ])
    }

    fn at(place: usize, kind: OperationKind) -> Place {
        Place::Operation(place, kind, kind.to_string())
    }

    #[test]
    fn the_same_revision_differs_in_nothing() {
        assert_eq!(difference(&sample(), &sample()), []);
    }

    /// 20 degrees more and a word on the coupons: two changes, the whole first.
    #[test]
    fn a_figure_and_a_word_are_told_with_both_values() {
        let (old, mut new) = (sample(), sample());
        new.text.coupons = "two, one bent".to_owned();
        let spray = new.operations[1].spray.as_mut().expect("a stage");
        spray.temperature_c += 20;
        assert_eq!(
            difference(&old, &new),
            [
                Changed::Said {
                    place: Place::Whole,
                    field: Field::Coupons,
                    old: Value::Nothing,
                    new: Value::Text("two, one bent".to_owned()),
                },
                Changed::Said {
                    place: at(2, OperationKind::Spray),
                    field: Field::TemperatureC,
                    old: Value::Figure(500),
                    new: Value::Figure(520),
                },
            ]
        );
    }

    /// With an operation more before it everything stands one later, and nothing else has changed:
    /// what was held until the cut, the fourth, is held until the cut, now the fifth.
    #[test]
    fn an_operation_more_or_less_is_one_change() {
        let mut old = sample();
        old.operations[1].fixture = Some(Held {
            fixture: "F-1".parse().expect("a code"),
            through: 4,
        });
        let mut new = old.clone();
        new.insert(2, Operation::step(OperationKind::Mask, "mask", 20));
        let mask = Place::Operation(2, OperationKind::Mask, "mask".to_owned());
        assert_eq!(difference(&old, &new), [Changed::Added(mask.clone())]);
        assert_eq!(difference(&new, &old), [Changed::Removed(mask)]);
    }

    /// Cut before it is heated: one of the two has moved, not both.
    #[test]
    fn two_that_change_places_are_one_move() {
        let (old, mut new) = (sample(), sample());
        new.shift(4, Way::Up);
        let moved = difference(&old, &new);
        assert_eq!(moved.len(), 1, "{moved:?}");
        assert!(matches!(moved[0], Changed::Moved { .. }));
    }

    /// A new name is a changed name, since no other step of its kind is there.
    #[test]
    fn a_renamed_step_is_the_same_step() {
        let (old, mut new) = (sample(), sample());
        "stress relieve".clone_into(&mut new.operations[2].name);
        let changed = difference(&old, &new);
        assert!(
            matches!(
                changed.as_slice(),
                [Changed::Said {
                    field: Field::Name,
                    ..
                }]
            ),
            "{changed:?}"
        );
    }

    proptest! {
        /// However operations are moved about, as many are added one way as removed the other, and
        /// what was only moved is neither.
        #[test]
        fn moving_adds_and_removes_nothing(moves in prop::collection::vec((1_usize..9, any::<bool>()), 0..20)) {
            let (old, mut new) = (sample(), sample());
            for (place, up) in moves {
                new.shift(place, if up { Way::Up } else { Way::Down });
            }
            let changed = difference(&old, &new);
            let in_place = old.operations == new.operations;
            prop_assert_eq!(changed.is_empty(), in_place);
            for change in changed {
                prop_assert!(matches!(change, Changed::Moved { .. }), "{change:?}");
            }
        }
    }
}
