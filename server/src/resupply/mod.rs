//! Resupply: what the depot can send, what trips may carry, by which rules, and how often parts fail. What of it
//! goes on the next trip rests on these records.

pub mod carriage;
pub mod failure;
pub mod form;
pub mod item;
pub mod list;
mod records;
pub mod set;
pub mod trip;

use mendpost_core::people::Act;

use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default()
        .get("/resupply", Act::Look, records::show)
        .merge(item::routes())
        .merge(set::routes())
        .merge(trip::routes())
        .merge(carriage::routes())
        .merge(failure::routes())
        .merge(list::routes())
}
