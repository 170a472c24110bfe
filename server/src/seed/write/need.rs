//! The machines of the site, and what the site needs done by them.

use super::{Ids, id_of};
use crate::change::Change;
use crate::error::AppError;
use crate::need::queries::{self, Said};
use crate::seed::SiteData;
use mendpost_core::journal::Subject;
use serde_json::json;
use uuid::Uuid;

pub(super) async fn assets(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for asset in &data.assets {
        let id = queries::insert_asset(change.connection(), asset).await?;
        let down_from = asset.down_from.map(|t| t.timestamp_millis());
        let back = asset.back.map(|t| t.timestamp_millis());
        let content = json!({ "name": asset.name, "down_from": down_from, "back": back });
        change
            .journal("asset.listed", Subject::new("asset", &asset.code), content)
            .await?;
        ids.assets.insert(asset.code.clone(), id);
    }
    Ok(())
}

pub(super) async fn capabilities(
    change: &mut Change,
    data: &SiteData,
    ids: &Ids,
) -> Result<(), AppError> {
    for capability in &data.capabilities {
        let assets: Vec<Uuid> = capability
            .assets
            .iter()
            .map(|asset| id_of(&ids.assets, asset))
            .collect::<Result<_, _>>()?;
        let id = queries::insert_capability(change, capability).await?;
        let said = Said {
            capability: id,
            version: 1,
            assets: &assets,
            entered_by: "",
        };
        queries::say(change, &said, capability).await?;
        let subject = Subject::new("capability", &capability.code);
        let content = queries::content(capability, 1);
        change
            .journal("capability.listed", subject, content)
            .await?;
    }
    Ok(())
}
