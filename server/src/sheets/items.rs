//! Assets and capabilities as rows of the database: those in use, and those that no sheet touches.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::code::AssetCode;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::comparison::{Listed, Reader, Standing};
use crate::need::item::{Item, Thing};
use crate::need::queries::items;
use crate::seed::row::Row;

/// By code.
pub struct Items(BTreeMap<String, Item>);

impl Items {
    pub async fn load(
        thing: Thing,
        connection: &mut SqliteConnection,
    ) -> Result<Items, sqlx::Error> {
        let items = items(connection, thing, None).await?.into_iter();
        Ok(Items(items.map(|item| (item.code.clone(), item)).collect()))
    }

    /// Things in use with their rows.
    pub fn standing<T: Listed>(
        &self,
        things: Vec<T>,
        code: impl Fn(&T) -> &str,
    ) -> Vec<Standing<T>> {
        let standing = |value: T| {
            let Item { id, version, .. } = self.0.get(code(&value))?;
            Some(Standing {
                id: *id,
                version: *version,
                value,
            })
        };
        things.into_iter().filter_map(standing).collect()
    }

    /// The ids of all assets, in use or not.
    pub fn ids(&self) -> BTreeMap<AssetCode, Uuid> {
        let id = |item: &Item| Some((item.code.parse().ok()?, item.id));
        self.0.values().filter_map(id).collect()
    }

    /// The assets among them that are retired.
    pub fn retired(&self) -> BTreeSet<AssetCode> {
        let items = self.0.values();
        let retired = items.filter(|item| item.retired_reason.is_some());
        retired.filter_map(|item| item.code.parse().ok()).collect()
    }

    /// Whether none of the codes in a cell is retired; each that is has been noted.
    pub fn are_in_use(&self, reader: &Reader<'_>, row: &Row, column: &str) -> bool {
        let codes = row.given(column).unwrap_or_default().split_whitespace();
        let mut in_use = true;
        for item in codes.filter_map(|code| self.0.get(code)) {
            if let Some(reason) = &item.retired_reason {
                let what = format!(
                    "{} is retired ({reason}); bring it back on its page first, or leave it out",
                    item.code
                );
                row.fault(reader.faults, column, what);
                in_use = false;
            }
        }
        in_use
    }
}
