//! Parts whose next operation is a heat treatment in a furnace here.

use mendpost_core::catalogue::Recipe;
use mendpost_core::code::{RequestCode, StationCode};
use mendpost_core::finish::cycle;
use mendpost_core::lineup::still_done;
use mendpost_core::situation::Situation;

use super::queries::Load;

/// A part that waits for a furnace.
pub struct Ready<'a> {
    pub code: &'a RequestCode,
    pub recipe: &'a Recipe,
    /// Place of the heat treatment among the recipe's operations, from 0.
    pub at: usize,
    pub station: StationCode,
    pub cycle: String,
}

impl Ready<'_> {
    /// Its request's number.
    pub fn number(&self) -> i64 {
        let digits = self.code.as_str().trim_start_matches('R');
        digits.parse().unwrap_or_default()
    }
}

/// Every such part that is not on hold and in no open load.
pub fn ready<'a>(situation: &'a Situation, loads: &[Load]) -> Vec<Ready<'a>> {
    let in_furnace = |number: i64| {
        let open = loads.iter().filter(|load| load.is_open());
        open.flat_map(|load| &load.parts)
            .any(|part| part.request == number)
    };
    let requests = situation.requests.iter();
    let ready = requests
        .filter(|request| request.on_hold.is_empty())
        .filter_map(|request| {
            let begun = request.begun.as_ref()?;
            let recipe = situation.recipe(&begun.recipe, begun.revision)?;
            let at = still_done(recipe, begun, situation.now);
            let (station, cycle) = cycle(recipe, at)?;
            Some(Ready {
                code: &request.code,
                recipe,
                at,
                station,
                cycle,
            })
        });
    ready.filter(|part| !in_furnace(part.number())).collect()
}
