//! What the site needs done, what each hour costs now, and the assets that do it.

mod asset;
mod capability;
mod form;
mod list;
mod listing;
pub mod queries;
mod report;
mod saying;
pub mod standing;
mod state;
mod what_if;

use mendpost_core::journal::Subject;
use mendpost_core::people::Act;

use crate::AppState;
use crate::error::AppError;
use crate::page::age;
use crate::routes::Routes;
use crate::version::Stale;
use queries::AssetRow;

pub fn routes() -> Routes {
    Routes::default()
        .get("/site/needs", Act::Look, list::show)
        .get("/site/needs/{code}", Act::Look, capability::show)
        .get("/site/needs/{code}/change", Act::SetUpSite, saying::open)
        .post("/site/needs/{code}/change", Act::SetUpSite, saying::change)
        .get("/site/needs/{code}/what-if", Act::Plan, what_if::show)
        .get("/site/add-need", Act::SetUpSite, saying::blank)
        .post("/site/add-need", Act::SetUpSite, saying::add)
        .get("/site/assets/{code}", Act::Look, asset::show)
        .get(
            "/site/assets/{code}/name",
            Act::SetUpSite,
            listing::open_name,
        )
        .post("/site/assets/{code}/name", Act::SetUpSite, listing::rename)
        .get(
            "/site/assets/{code}/report/{what}",
            Act::ReportAsset,
            report::open,
        )
        .post(
            "/site/assets/{code}/report/{what}",
            Act::ReportAsset,
            report::save,
        )
        .get("/site/add-asset", Act::SetUpSite, listing::blank)
        .post("/site/add-asset", Act::SetUpSite, listing::add)
}

/// Where all of it stands.
pub const PATH: &str = "/site/needs";

/// The address of a capability. A code may hold a slash.
pub fn capability_path(code: &str) -> String {
    format!("{PATH}/{}", code.replace('/', "%2F"))
}

/// Says who changed an asset while a form of it was open, and how it stands now.
async fn overtaken(
    state: &AppState,
    asset: &AssetRow,
    now: i64,
    stands: &str,
) -> Result<String, AppError> {
    let subject = Subject::new("asset", &asset.code);
    let stale = Stale::of(&state.db.read, &subject, asset.version, Vec::new()).await?;
    let who = stale.made.map_or_else(
        || "somebody changed this asset".to_owned(),
        |made| format!("{} changed this asset {}", made.by, age(made.at, now)),
    );
    Ok(format!(
        "Not saved: {who}, while you had it open. {stands}; save again if yours is still right."
    ))
}

/// The address of an asset.
pub fn asset_path(code: &str) -> String {
    format!("/site/assets/{}", code.replace('/', "%2F"))
}
