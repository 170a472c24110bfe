//! The machines of the site, and what the site needs done by them.

use super::{Ids, id_of};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::SiteData;
use mendpost_core::journal::Subject;
use mendpost_core::situation::Capability;
use serde_json::json;
use uuid::Uuid;

pub(super) async fn assets(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for asset in &data.assets {
        let id = Uuid::now_v7();
        let code = asset.code.as_str();
        let down_from = asset.down_from.map(|t| t.timestamp_millis());
        let back = asset.back.map(|t| t.timestamp_millis());
        sqlx::query!(
            "insert into asset (id, code, name, down_from_ms, back_ms) values (?, ?, ?, ?, ?)",
            id,
            code,
            asset.name,
            down_from,
            back,
        )
        .execute(change.connection())
        .await?;
        let content = json!({ "name": asset.name, "down_from": down_from, "back": back });
        change
            .journal("asset.listed", Subject::new("asset", code), content)
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
        insert_capability(change, capability, ids).await?;
        let content = json!({
            "name": capability.name,
            "assets": capability.assets,
            "must_run": capability.must_run,
            "loss_per_hour": capability.loss_per_hour,
            "said_by": capability.said_by,
        });
        let subject = Subject::new("capability", &capability.code);
        change
            .journal("capability.listed", subject, content)
            .await?;
    }
    Ok(())
}

async fn insert_capability(
    change: &mut Change,
    capability: &Capability,
    ids: &Ids,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let code = capability.code.as_str();
    let said = capability.said_at.timestamp_millis();
    sqlx::query!(
        "insert into capability (id, code, name, must_run, said_by, said_ms)
         values (?, ?, ?, ?, ?, ?)",
        id,
        code,
        capability.name,
        capability.must_run,
        capability.said_by,
        said,
    )
    .execute(change.connection())
    .await?;
    for (position, asset) in (1_i64..).zip(&capability.assets) {
        let asset = id_of(&ids.assets, asset)?;
        sqlx::query!(
            "insert into capability_asset (capability_id, asset_id, position) values (?, ?, ?)",
            id,
            asset,
            position,
        )
        .execute(change.connection())
        .await?;
    }
    for (down, loss) in (0_i64..).zip(&capability.loss_per_hour) {
        sqlx::query!(
            "insert into capability_loss (capability_id, down, loss_per_hour) values (?, ?, ?)",
            id,
            down,
            loss,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}
