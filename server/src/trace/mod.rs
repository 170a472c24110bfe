//! What is in a part, and what a lot, a container, a nozzle or a bank touched.

mod hold;
mod part;
pub mod queries;
mod touched;

use mendpost_core::people::Act;

use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default()
        .get("/requests/{number}/trace", Act::Look, part::show)
        .get("/powder/{lot}/trace", Act::Look, touched::by_lot)
        .get("/powder/{lot}/trace/hold", Act::HoldLot, hold::show)
        .post("/powder/{lot}/trace/hold", Act::HoldLot, hold::save)
        .get("/trace/nozzles/{nozzle}", Act::Look, touched::by_nozzle)
        .get("/trace/banks/{bank}", Act::Look, touched::by_bank)
}
