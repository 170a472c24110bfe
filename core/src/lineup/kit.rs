//! Plates and fixtures as the planner sees them: a plate is used up, a fixture comes back.

use super::gate::{Gate, Opens, Shut};
use crate::catalogue::Operation;
use crate::code::KitCode;
use crate::planner::{Draw, Limit, Load, Store};
use crate::situation::{Kit, KitKind, Situation};

/// How the stores of plates and the limits of fixtures begin.
pub(super) const KIT: &str = "kit/";

/// The store of a plate or the limit of a fixture, in pieces.
#[must_use]
pub fn kit_id(code: &KitCode) -> String {
    format!("{KIT}{code}")
}

/// The code behind a store or limit of kit.
pub(super) fn code_of(id: &str) -> Option<KitCode> {
    id.strip_prefix(KIT)?.parse().ok()
}

/// Plates, by the piece.
pub(super) fn stores(situation: &Situation) -> impl Iterator<Item = Store> {
    of_kind(situation, KitKind::Plate).map(|kit| Store {
        id: kit_id(&kit.code),
        level: kit.count,
        arrivals: Vec::new(),
    })
}

/// Fixtures, by the piece.
pub(super) fn limits(situation: &Situation) -> impl Iterator<Item = Limit> {
    of_kind(situation, KitKind::Fixture).map(|kit| Limit {
        id: kit_id(&kit.code),
        capacity: kit.count,
        windows: Vec::new(),
    })
}

/// The plate that an operation uses up.
pub(super) fn draws(situation: &Situation, operation: &Operation) -> Result<Vec<Draw>, Shut> {
    let Some(plate) = &operation.plate else {
        return Ok(Vec::new());
    };
    known(situation, plate, KitKind::Plate)?;
    Ok(vec![Draw::of(kit_id(plate), 1, 0)])
}

/// The fixture that an operation holds, through the later one that its recipe names.
///
/// A recipe whose hold ends before it begins, or with an operation that it has not, is faulty; the
/// planner takes the nearest that there is.
pub(super) fn loads(
    situation: &Situation,
    operations: &[Operation],
    at: usize,
) -> Result<Vec<Load>, Shut> {
    let Some(held) = &operations[at].fixture else {
        return Ok(Vec::new());
    };
    known(situation, &held.fixture, KitKind::Fixture)?;
    Ok(vec![Load {
        limit: kit_id(&held.fixture),
        amount: 1,
        through: Some(held.through.clamp(at + 1, operations.len()) - 1),
    }])
}

fn known(situation: &Situation, code: &KitCode, kind: KitKind) -> Result<(), Shut> {
    if of_kind(situation, kind).any(|kit| kit.code == *code) {
        return Ok(());
    }
    let gate = Gate::Kit {
        kit: code.clone(),
        need: 1,
        have: 0,
    };
    let opens = Opens::MoreKit {
        kit: code.clone(),
        count: 1,
    };
    Err(Shut::new(gate, opens))
}

fn of_kind(situation: &Situation, kind: KitKind) -> impl Iterator<Item = &Kit> {
    situation.kit.iter().filter(move |kit| kit.kind == kind)
}
