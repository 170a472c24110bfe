//! A load of the furnace: which parts may share it.

use crate::catalogue::{OperationKind, Recipe};
use crate::code::StationCode;

/// The cycle by which parts share a load; none if the operation is in no furnace here.
///
/// It is that of the operation by its name; one without a name is shared only by parts of the same operation of the
/// same revision.
#[must_use]
pub fn cycle(recipe: &Recipe, at: usize) -> Option<(StationCode, String)> {
    let operation = recipe.operations.get(at)?;
    let station = operation.station.clone()?;
    if operation.kind != OperationKind::HeatTreat {
        return None;
    }
    let cycle = match operation.cycle.as_str() {
        "" => format!("{}.r{}/{}", recipe.code, recipe.revision, at + 1),
        named => named.to_owned(),
    };
    Some((station, cycle))
}

/// Why a part does not go into a load.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoRoom {
    /// Its furnace cycle is another.
    #[error("the load runs {load}, and this part asks for {part}; give it a load of its own")]
    OtherCycle {
        /// What the load runs.
        load: String,
        /// What the part asks for.
        part: String,
    },
    /// Another furnace.
    #[error("the load is in {load}, and this part goes into {part}")]
    OtherStation {
        /// Where the load is.
        load: StationCode,
        /// Where the part goes.
        part: StationCode,
    },
    /// No slot is left.
    #[error("the furnace takes {slots} at a time; open another load when it is free")]
    Full {
        /// How many it takes.
        slots: i64,
    },
}

/// Whether a part that asks for a cycle goes into a load.
///
/// # Errors
/// Why it does not.
pub fn may_join(
    load: (&StationCode, &str),
    part: (&StationCode, &str),
    (slots, taken): (i64, usize),
) -> Result<(), NoRoom> {
    if load.0 != part.0 {
        return Err(NoRoom::OtherStation {
            load: load.0.clone(),
            part: part.0.clone(),
        });
    }
    if load.1 != part.1 {
        return Err(NoRoom::OtherCycle {
            load: load.1.to_owned(),
            part: part.1.to_owned(),
        });
    }
    match i64::try_from(taken).is_ok_and(|taken| taken < slots) {
        true => Ok(()),
        false => Err(NoRoom::Full { slots }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::recipe_of;
    use OperationKind::{Cut, HeatTreat, Spray};

    fn furnace() -> StationCode {
        "furnace".parse().expect("a code")
    }

    /// A named cycle is shared by whatever asks for it; one without a name by nothing else, and cutting is in no
    /// furnace.
    #[test]
    fn a_cycle_has_a_name_or_is_the_operation_itself() {
        let mut recipe = recipe_of(&[Spray, HeatTreat, Cut]);
        assert_eq!(cycle(&recipe, 1), None, "it is sent out, or done by hand");
        recipe.operations[1].station = Some(furnace());
        assert_eq!(cycle(&recipe, 1), Some((furnace(), "B-1.r1/2".to_owned())));
        "SR-2".clone_into(&mut recipe.operations[1].cycle);
        assert_eq!(cycle(&recipe, 1), Some((furnace(), "SR-2".to_owned())));
        recipe.operations[2].station = Some(furnace());
        assert_eq!(cycle(&recipe, 2), None);
        assert_eq!(cycle(&recipe, 9), None);
    }

    /// Two slots, one of them taken: another of the same cycle goes in, and a third does not.
    #[test]
    fn parts_of_one_cycle_share_a_load_while_there_is_room() {
        let (here, other) = (furnace(), "vacuum".parse().expect("a code"));
        let join = |part, taken| may_join((&here, "SR-2"), part, (2, taken));
        assert_eq!(join((&here, "SR-2"), 1), Ok(()));
        assert_eq!(join((&here, "SR-2"), 2), Err(NoRoom::Full { slots: 2 }));
        assert!(matches!(
            join((&here, "SR-96"), 0),
            Err(NoRoom::OtherCycle { .. })
        ));
        assert!(matches!(
            join((&other, "SR-2"), 0),
            Err(NoRoom::OtherStation { .. })
        ));
    }
}
