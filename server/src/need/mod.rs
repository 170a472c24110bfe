//! What the site needs done, what each hour costs now, and the assets that do it.

mod asset;
mod capability;
mod form;
pub(crate) mod item;
mod list;
mod listing;
mod naming;
pub mod queries;
mod report;
mod retire;
mod retired;
mod saying;
pub mod standing;
mod state;
mod what_if;

use mendpost_core::people::Act;

use crate::routes::Routes;
use item::Thing;

pub fn routes() -> Routes {
    let routes = Routes::default()
        .get("/site/needs", Act::Look, list::show)
        .get("/site/needs/{code}", Act::Look, capability::show)
        .get("/site/needs/{code}/change", Act::SetUpSite, saying::open)
        .post("/site/needs/{code}/change", Act::SetUpSite, saying::change)
        .get("/site/needs/{code}/what-if", Act::Plan, what_if::show)
        .get("/site/add-need", Act::SetUpSite, saying::blank)
        .post("/site/add-need", Act::SetUpSite, saying::add)
        .get("/site/assets/{code}", Act::Look, asset::show)
        .get(REPORT, Act::ReportAsset, report::open)
        .post(REPORT, Act::ReportAsset, report::save)
        .get("/site/add-asset", Act::SetUpSite, listing::blank)
        .post("/site/add-asset", Act::SetUpSite, listing::add);
    let routes = of_item(routes, Thing::Asset, ASSET_ACTS);
    of_item(routes, Thing::Capability, CAPABILITY_ACTS)
}

const REPORT: &str = "/site/assets/{code}/report/{what}";

/// Where an item is named, retired and brought back.
const ASSET_ACTS: [&str; 3] = [
    "/site/assets/{code}/name",
    "/site/assets/{code}/retire",
    "/site/assets/{code}/bring-back",
];
const CAPABILITY_ACTS: [&str; 3] = [
    "/site/needs/{code}/name",
    "/site/needs/{code}/retire",
    "/site/needs/{code}/bring-back",
];

fn of_item(routes: Routes, thing: Thing, [name, retire, back]: [&'static str; 3]) -> Routes {
    let act = Act::SetUpSite;
    routes
        .get(name, act, move |state, visit, code| {
            naming::open(thing, state, visit, code)
        })
        .post(name, act, move |state, visit, who, code, form| {
            naming::rename(thing, state, visit, who, code, form)
        })
        .get(retire, act, move |state, visit, code| {
            retire::ask_why(thing, state, visit, code)
        })
        .post(retire, act, move |state, visit, who, code, form| {
            retire::retire(thing, state, visit, who, code, form)
        })
        .post(back, act, move |state, who, code, form| {
            retire::bring_back(thing, state, who, code, form)
        })
}

/// Where all of it stands.
pub const PATH: &str = "/site/needs";

/// The address of a capability. A code may hold a slash.
pub fn capability_path(code: &str) -> String {
    format!("{PATH}/{}", code.replace('/', "%2F"))
}

/// The address of an asset.
pub fn asset_path(code: &str) -> String {
    format!("/site/assets/{}", code.replace('/', "%2F"))
}
