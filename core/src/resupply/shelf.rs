//! Consumables as stores of a planning problem: what builds use up of them, and what the days do.

use super::item::{Consumed, Content, Item};
use crate::code::ItemCode;
use crate::lineup::Rebuild;
use crate::planner::{Draw, Operation, Problem, Store, Work};
use chrono::{DateTime, Utc};

/// How the stores of consumables begin; no code of the site's other stores does.
const ITEM: &str = "item/";

/// A consumable of which somebody counted what there is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shelf {
    /// Which.
    pub item: ItemCode,
    /// What there is now, in thousandths of a unit.
    pub on_hand_milli: i64,
    /// Thousandths of a unit for each build.
    pub per_build_milli: i64,
    /// Thousandths of a unit for each hour of spraying.
    pub per_hour_milli: i64,
    /// Thousandths of a unit for each day.
    pub per_day_milli: i64,
}

/// The consumables of which somebody counted what there is; of the others nothing can be reckoned.
#[must_use]
pub fn shelves(items: &[Item], now: DateTime<Utc>) -> Vec<Shelf> {
    let counted = items.iter().filter_map(|item| match &item.content {
        Content::Consumable(consumed) => Some(Shelf {
            item: item.code.clone(),
            on_hand_milli: on_hand_milli(consumed, now)?,
            per_build_milli: consumed.per_build_milli,
            per_hour_milli: consumed.per_hour_milli,
            per_day_milli: consumed.per_day_milli,
        }),
        _ => None,
    });
    counted.collect()
}

/// What was counted, less what builds, spraying and days have taken since; none if nobody counted.
fn on_hand_milli(consumed: &Consumed, now: DateTime<Utc>) -> Option<i64> {
    let counted = consumed.counted.as_ref()?;
    let days_milli = (now - counted.at).num_minutes().max(0) * consumed.per_day_milli / 1440;
    let hours_milli = consumed.spray_min_since * consumed.per_hour_milli / 60;
    let builds_milli = consumed.builds_since * consumed.per_build_milli;
    Some((counted.units * 1000 - days_milli - hours_milli - builds_milli).max(0))
}

impl Shelf {
    /// The store of a problem that holds it, in thousandths of a unit.
    #[must_use]
    pub fn store(&self) -> String {
        Self::store_of(&self.item)
    }

    /// The store that would hold a consumable.
    pub(super) fn store_of(item: &ItemCode) -> String {
        format!("{ITEM}{item}")
    }

    /// The consumable that a store of a problem holds; none for other stores.
    #[must_use]
    pub fn item_of(store: &str) -> Option<&str> {
        store.strip_prefix(ITEM)
    }

    /// What a build of so many minutes of spraying takes, in thousandths of a unit, rounded up.
    #[must_use]
    pub const fn taken_milli(&self, spray_min: i64) -> i64 {
        self.per_build_milli + (spray_min * self.per_hour_milli + 59).div_euclid(60)
    }

    /// What so many minutes take without building, in thousandths of a unit.
    #[must_use]
    pub const fn worn_milli(&self, minutes: i64) -> i64 {
        minutes * self.per_day_milli / 1440
    }
}

/// Puts consumables into a problem as stores: what is there, `units` of each that arrive at `landing`, and
/// what each stage takes; what is taken for each build is taken by its first stage.
///
/// A problem does not know what the days take; that is reckoned in the outlook.
pub(super) fn shelve(
    problem: &mut Problem,
    shelves: &[Shelf],
    landing: i64,
    units: impl Fn(&ItemCode) -> i64,
) {
    for shelf in shelves {
        let coming = units(&shelf.item) * 1000;
        problem.stores.push(Store {
            id: shelf.store(),
            level: shelf.on_hand_milli,
            arrivals: (coming > 0)
                .then_some((landing, coming))
                .into_iter()
                .collect(),
        });
        let options = problem.jobs.iter_mut().flat_map(|job| &mut job.options);
        for option in options {
            let mut builds = shelf.per_build_milli;
            for stage in option.operations.iter_mut().filter(|it| it.is_stage()) {
                let hours = Shelf {
                    per_build_milli: std::mem::take(&mut builds),
                    ..shelf.clone()
                };
                draw(stage, &hours);
            }
        }
    }
}

/// A stage's handling and gas-only minutes count as spraying: rather too much than too little.
fn draw(stage: &mut Operation, shelf: &Shelf) {
    debug_assert!(
        matches!(stage.work, Work::Stage { .. }),
        "a step takes none"
    );
    let amount = shelf.taken_milli(stage.minutes);
    if amount > 0 {
        stage.draws.push(Draw::of(shelf.store(), amount, 0));
    }
}

/// Adds what a rebuild takes of consumables to its draws.
pub(super) fn take(rebuild: &mut Rebuild, shelves: &[Shelf]) {
    for shelf in shelves {
        let amount = shelf.taken_milli(rebuild.spray_min);
        if amount > 0 || shelf.per_day_milli > 0 {
            rebuild.draws.push(Draw::of(shelf.store(), amount, 0));
        }
    }
}
