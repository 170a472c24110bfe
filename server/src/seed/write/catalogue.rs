//! Parts with their flags, and every revision of every recipe.

use super::Ids;
use crate::catalogue::queries::{NewWeighed, enter, throat_um};
use crate::catalogue::store::{insert_part, insert_recipe, said};
use crate::change::Change;
use crate::error::AppError;
use crate::kit;
use crate::seed::SiteData;
use crate::shape::queries::keep;
use mendpost_core::journal::Subject;
use serde_json::json;
use uuid::Uuid;

pub(super) async fn metals(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for metal in &data.metals {
        let (id, code) = (Uuid::now_v7(), metal.code.as_str());
        sqlx::query!(
            "insert into metal (id, code, name) values (?, ?, ?)",
            id,
            code,
            metal.name
        )
        .execute(change.connection())
        .await?;
        let content = json!({ "version": 1, "name": metal.name });
        let subject = Subject::new("metal", code);
        change.journal("metal.listed", subject, content).await?;
        ids.metals.insert(metal.code.clone(), id);
    }
    Ok(())
}

pub(super) async fn kit(change: &mut Change, data: &SiteData) -> Result<(), AppError> {
    for kit in &data.kit {
        kit::queries::insert(change.connection(), kit).await?;
        let content = json!({
            "version": 1,
            "name": kit.name,
            "kind": kit.kind,
            "count": kit.count,
        });
        let subject = Subject::new("kit", &kit.code);
        change.journal("kit.listed", subject, content).await?;
    }
    Ok(())
}

/// Whoever gave them is not told by the files.
pub(super) async fn shapes(change: &mut Change, data: &SiteData) -> Result<(), AppError> {
    for reading in &data.shapes {
        keep(change, reading, "the site’s files").await?;
    }
    Ok(())
}

pub(super) async fn parts(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for part in &data.parts {
        let id = insert_part(change, part).await?;
        let subject = Subject::new("part", &part.code);
        change
            .journal("part.listed", subject, said(part, 1))
            .await?;
        ids.parts.insert(part.code.clone(), id);
    }
    Ok(())
}

pub(super) async fn recipes(change: &mut Change, data: &SiteData) -> Result<(), AppError> {
    for recipe in &data.recipes {
        insert_recipe(change, recipe).await?;
        let content = json!({
            "part": recipe.part,
            "revision": recipe.revision,
            "state": recipe.state,
            "written_by": recipe.written_by,
            "approved_by": recipe.approved_by,
            "base_metals": recipe.base_metals,
            "operations": recipe.operations.len(),
            "flags": recipe.flags,
            "text": recipe.text,
            "sizes": recipe.sizes,
            "coupons": recipe.coupons,
        });
        let subject = Subject::new("recipe", format!("{}/{}", recipe.code, recipe.revision));
        change.journal("recipe.entered", subject, content).await?;
    }
    Ok(())
}

pub(super) async fn weighed(change: &mut Change, data: &SiteData) -> Result<(), AppError> {
    for build in &data.weighed {
        let built_ms = build.built_at.timestamp_millis();
        let throat_um = match build.throat_um {
            Some(told) => told,
            None => throat_um(change.connection(), built_ms).await?,
        };
        let new = NewWeighed {
            recipe: build.recipe.as_str(),
            revision: build.revision,
            position: build.position,
            fed_mg: build.fed.0,
            deposited_mg: build.deposited.0,
            lot: build.lot.as_ref().map(|lot| lot.as_str()),
            throat_um,
            request: None,
            built_ms,
            by: &build.weighed_by,
            note: &build.note,
        };
        enter(change, &new).await?;
    }
    Ok(())
}
