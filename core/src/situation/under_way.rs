//! A build under way, as what is planned next must take it: kept where it is.

use super::{Begun, Situation};
use crate::code::{LotCode, RecipeCode, RequestCode};
use crate::quantity::Milligrams;
use chrono::{DateTime, Utc};

/// What is under the nozzle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnderWay {
    /// The build's number.
    pub build: i64,
    /// Whose part it is.
    pub request: RequestCode,
    /// By which recipe ...
    pub recipe: RecipeCode,
    /// ... and revision of it.
    pub revision: i64,
    /// How many of its operations are done when the build ends.
    pub done: usize,
    /// When that is to be.
    pub ends_at: DateTime<Utc>,
    /// What is still to be drawn for it beyond what the feeder holds, and from which lots, in their order.
    pub to_draw: Milligrams,
    /// Those lots.
    pub lots: Vec<LotCode>,
}

impl Situation {
    /// Keeps what is under the nozzle: the cell is its own until it ends, the request goes on after it, and what it
    /// still takes of its lots is nobody else's. What the feeder holds is not among the lots on hand by then.
    pub fn keep_under_nozzle(&mut self, build: &UnderWay) {
        let free = self.cell.free_from.unwrap_or(build.ends_at);
        self.cell.free_from = Some(free.max(build.ends_at));
        let mut requests = self.requests.iter_mut();
        if let Some(request) = requests.find(|it| it.code == build.request) {
            request.building = Some(build.build);
            request.begun = Some(Begun {
                recipe: build.recipe.clone(),
                revision: build.revision,
                done: build.done,
                ended_at: build.ends_at,
            });
        }
        let mut left = build.to_draw.0;
        for code in &build.lots {
            let mut lots = self.lots.iter_mut();
            if let Some(lot) = lots.find(|it| it.code == *code) {
                let taken = left.min(lot.on_hand.0).max(0);
                lot.on_hand.0 -= taken;
                left -= taken;
            }
        }
    }
}
