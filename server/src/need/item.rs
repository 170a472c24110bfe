//! An asset or a capability as the acts on it find it: those that name it, retire it and bring it back
//! do the same to both.

use mendpost_core::journal::Subject;
use serde_json::Value;
use sqlx::SqliteExecutor;
use uuid::Uuid;

use super::{asset_path, capability_path, queries};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::page::age;
use crate::version::Stale;

/// What an item is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    Asset,
    Capability,
}

impl Thing {
    /// The word in the journal and on pages.
    pub const fn word(self) -> &'static str {
        match self {
            Thing::Asset => "asset",
            Thing::Capability => "capability",
        }
    }

    pub fn path(self, code: &str) -> String {
        match self {
            Thing::Asset => asset_path(code),
            Thing::Capability => capability_path(code),
        }
    }

    pub fn none(self, code: &str) -> AppError {
        AppError::NotFound {
            what: format!("{} '{code}'", self.word()),
        }
    }
}

/// An asset or a capability.
#[derive(Debug, Clone)]
pub struct Item {
    pub thing: Thing,
    pub id: Uuid,
    pub code: String,
    pub name: String,
    pub version: i64,
    /// Why it is no longer in use; none if it is.
    pub retired_reason: Option<String>,
}

impl Item {
    pub async fn find(
        thing: Thing,
        executor: impl SqliteExecutor<'_>,
        code: &str,
    ) -> Result<Item, AppError> {
        let found = queries::item(executor, thing, code).await?;
        found.ok_or_else(|| thing.none(code))
    }

    pub fn path(&self) -> String {
        self.thing.path(&self.code)
    }

    /// What a page says that it is about.
    pub fn pair(&self) -> (&'static str, String) {
        let word = match self.thing {
            Thing::Asset => "Asset",
            Thing::Capability => "Capability",
        };
        (word, format!("{}, {}", self.name, self.code))
    }

    /// Refuses what is done only to something in use.
    pub fn in_use(&self) -> Result<(), AppError> {
        match &self.retired_reason {
            None => Ok(()),
            Some(reason) => Err(AppError::Conflict(format!(
                "{} is retired ({reason}); bring it back on its page first",
                self.name
            ))),
        }
    }

    /// What is wrong with listing something else under its code.
    pub fn taken(&self) -> String {
        let Item { code, name, .. } = self;
        match self.retired_reason {
            None => format!("{code} is {name} already; give another"),
            Some(_) => {
                format!("{code} is {name}, which is retired; bring that back, or give another")
            }
        }
    }

    /// Journals an act on it; the entry's number. `content` tells the version that the act made.
    pub async fn journal(
        &self,
        change: &mut Change,
        act: &str,
        content: Value,
    ) -> Result<i64, AppError> {
        let subject = Subject::new(self.thing.word(), &self.code);
        let kind = format!("{}.{act}", self.thing.word());
        change.journal(&kind, subject, content).await
    }

    /// Says who changed it while a form of it was open, and how it stands now.
    pub async fn overtaken(
        &self,
        state: &AppState,
        now: i64,
        stands: &str,
    ) -> Result<String, AppError> {
        let word = self.thing.word();
        let subject = Subject::new(word, &self.code);
        let stale = Stale::of(&state.db.read, &subject, self.version, Vec::new()).await?;
        let who = match stale.made {
            None => format!("somebody changed this {word}"),
            Some(made) => format!("{} changed this {word} {}", made.by, age(made.at, now)),
        };
        Ok(format!(
            "Not saved: {who}, while you had it open. {stands}; save again if yours is still right."
        ))
    }
}
