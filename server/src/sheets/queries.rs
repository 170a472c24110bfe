use chrono_tz::Tz;
use mendpost_core::journal::Subject;
use sqlx::{SqliteConnection, SqliteExecutor};

use super::kind::Kind;
use super::{asset, capability, lot, part, recipe, writing};
use crate::error::AppError;
use crate::journal;
use crate::seed::records::Separator;

/// How many there are of each kind that a sheet would hold, in the order of [`Kind::ALL`].
pub async fn counts(
    executor: impl SqliteExecutor<'_>,
) -> Result<[i64; Kind::ALL.len()], sqlx::Error> {
    sqlx::query!(
        "select (select count(*) from asset where retired_reason is null) as assets,
           (select count(*) from capability where retired_reason is null) as capabilities,
           (select count(*) from part) as parts, (select count(*) from recipe) as recipes,
           (select count(*) from lot) as lots"
    )
    .map(|row| {
        [
            row.assets,
            row.capabilities,
            row.parts,
            row.recipes,
            row.lots,
        ]
    })
    .fetch_one(executor)
    .await
}

/// A file of a kind with what stands; none if the kind has no such file.
pub async fn written(
    kind: Kind,
    file: &str,
    connection: &mut SqliteConnection,
    zone: Tz,
    separator: Separator,
) -> Result<Option<Vec<u8>>, AppError> {
    let Some(sheet) = kind.sheets().iter().find(|sheet| sheet.file == file) else {
        return Ok(None);
    };
    let written = match kind {
        Kind::Assets => {
            let assets = asset::stored(connection).await?;
            writing::sheet(sheet, assets, zone, separator)
        }
        Kind::Capabilities => {
            let capabilities = capability::stored(connection).await?;
            writing::sheet(sheet, capabilities, zone, separator)
        }
        Kind::Parts => {
            let parts = part::stored(connection).await?;
            writing::sheet(sheet, parts, zone, separator)
        }
        Kind::Recipes => {
            let recipes = recipe::stored(connection).await?;
            match file {
                "recipes.csv" => writing::sheet(sheet, recipes, zone, separator),
                "operations.csv" => {
                    writing::sheet(sheet, recipe::operations_of(&recipes), zone, separator)
                }
                _ => writing::sheet(sheet, recipe::sprays_of(&recipes), zone, separator),
            }
        }
        Kind::Lots if file == kind.sheets()[0].file => {
            let lots = lot::stored(connection).await?;
            writing::sheet(sheet, lots, zone, separator)
        }
        Kind::Lots => {
            let lots = lot::stored(connection).await?;
            writing::sheet(sheet, lot::containers_of(&lots), zone, separator)
        }
    };
    written.map(Some)
}

/// The last imports of a kind, the newest first.
pub async fn imports(
    executor: impl SqliteExecutor<'_>,
    kind: Kind,
) -> Result<Vec<journal::Told>, sqlx::Error> {
    journal::of(executor, &Subject::new("sheet", kind.word()), None, 10).await
}

/// Keeps the text of a sheet by its hash; one that is kept already stays.
pub async fn keep(
    connection: &mut SqliteConnection,
    (hash, text): (&str, &str),
    journal_sequence: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into sheet_text (hash, text, journal_sequence) values (unhex(?), ?, ?) on conflict (hash) do nothing",
        hash,
        text,
        journal_sequence,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The text of an imported sheet, by the hash that its journal entry holds.
pub async fn kept(
    executor: impl SqliteExecutor<'_>,
    hash: &str,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select text from sheet_text where hash = unhex(?)", hash)
        .fetch_optional(executor)
        .await
}
