//! Resupply: what the depot can send, what trips may carry, by which rules, and how often parts fail. What of
//! it goes on the next trip rests on these records.

pub mod carriage;
pub mod failure;
mod first;
pub mod form;
pub mod item;
pub mod list;
mod proposal;
mod records;
mod run;
pub mod set;
mod show;
pub mod trip;

use mendpost_core::people::Act;

use crate::routes::Routes;

pub use run::{FirstLoads, Found, Proposals};

pub fn routes() -> Routes {
    Routes::default()
        .get("/resupply", Act::Look, show::show)
        .post("/resupply/work-out", Act::Plan, show::start)
        .post("/resupply/stop", Act::Plan, show::stop)
        .get("/resupply/first", Act::Look, first::show)
        .post("/resupply/first", Act::Plan, first::start)
        .post("/resupply/first/stop", Act::Plan, first::stop)
        .get("/resupply/records", Act::Look, records::show)
        .merge(item::routes())
        .merge(set::routes())
        .merge(trip::routes())
        .merge(carriage::routes())
        .merge(failure::routes())
        .merge(list::routes())
}
