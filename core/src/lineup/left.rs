//! What a plan leaves of lots and stores.

use super::hold::{kept_powder, plain};
use super::places::option_of;
use crate::planner::{Lot, Plan, Problem};
use std::collections::BTreeMap;

/// What is left when a plan is carried out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Left {
    /// Lots, with what is left of each, by the powder's own code.
    pub lots: Vec<Lot>,
    /// Of each store what is left of its level and of all that arrives.
    pub stores: BTreeMap<String, LeftStore>,
}

/// What is left of a store.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LeftStore {
    /// How much.
    pub level: i64,
    /// The minute from which all of it is there.
    pub from: i64,
}

/// What a plan leaves. Stores that only count what is kept back are not told.
#[must_use]
pub fn left(problem: &Problem, plan: &Plan) -> Left {
    let mut left = Left {
        lots: problem.lots.clone(),
        stores: problem
            .stores
            .iter()
            .filter(|store| kept_powder(&store.id).is_none())
            .map(|store| {
                let came = store.arrivals.iter();
                let (from, amount) =
                    came.fold((0, 0), |(last, sum), (at, it)| (last.max(*at), sum + it));
                let level = store.level + amount;
                (store.id.clone(), LeftStore { level, from })
            })
            .collect(),
    };
    for planned in &plan.jobs {
        let Some((_, option)) = option_of(problem, planned) else {
            continue;
        };
        for (operation, spot) in option.operations.iter().zip(&planned.operations) {
            for draw in &spot.lots {
                let same = left.lots.iter_mut().filter(|lot| lot.id == draw.lot);
                same.for_each(|lot| lot.grams -= draw.grams);
            }
            for (n, draw) in operation.draws.iter().enumerate() {
                let named = spot.from.get(n).and_then(Option::as_ref);
                let choices = draw.choices().iter();
                let taken = choices
                    .filter(|choice| named.is_none_or(|store| choice.store == *store))
                    .take(1);
                for choice in taken {
                    if let Some(store) = left.stores.get_mut(&choice.store) {
                        store.level -= choice.amount;
                    }
                }
            }
        }
    }
    for lot in &mut left.lots {
        lot.powder = plain(&lot.powder).to_owned();
    }
    left.lots.retain(|lot| lot.grams > 0);
    left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lineup::draft;
    use crate::lineup::tests::site::{boat, site};
    use crate::planner::{CrewOrder, crew_plan};

    /// One part of 5 200 g is built from 9 000: 3 800 are left, beside 2 000 that a boat brings, usable an
    /// hour after it lands at minute 1 000.
    #[test]
    fn a_plan_leaves_what_it_does_not_draw() {
        let mut situation = site();
        situation.deliveries = vec![boat(1_000, 2_000)];
        let problem = draft(&situation).problem;
        let plan = crew_plan(&problem, CrewOrder::OldestFirst);
        let left = left(&problem, &plan);
        let lots: Vec<(i64, i64)> = left.lots.iter().map(|l| (l.grams, l.from)).collect();
        assert_eq!(lots, [(3_800, 0), (2_000, 1_060)]);
        let fuel = |problem: &Problem| {
            let mut stores = problem.stores.iter();
            stores.find(|s| s.id == "fuel").map_or(0, |s| s.level)
        };
        assert!(left.stores["fuel"].level < fuel(&problem));
        let nothing = Plan::default();
        assert_eq!(
            super::left(&problem, &nothing).stores["fuel"].level,
            fuel(&problem)
        );
    }
}
