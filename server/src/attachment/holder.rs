use mendpost_core::journal::Subject;
use sqlx::{SqliteExecutor, SqlitePool};

use super::queries;
use crate::page::Screen;
use crate::powder::lot_path;

/// What photos and papers belong to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    pub kind: HolderKind,
    /// Number of a request or a build, code of a lot or a part: as the journal and the address have it.
    pub key: String,
    /// What it is in words, as 'Feed pump 1, impeller'.
    pub name: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HolderKind {
    Request,
    Lot,
    Part,
    Build,
}

impl Holder {
    /// A request by its number, open or not.
    pub async fn request(
        executor: impl SqliteExecutor<'_>,
        number: i64,
    ) -> Result<Option<Holder>, sqlx::Error> {
        let name = queries::request_name(executor, number).await?;
        Ok(name.map(|name| Holder {
            kind: HolderKind::Request,
            key: number.to_string(),
            name,
        }))
    }

    pub async fn lot(
        executor: impl SqliteExecutor<'_>,
        code: &str,
    ) -> Result<Option<Holder>, sqlx::Error> {
        let name = queries::lot_name(executor, code).await?;
        Ok(name.map(|name| Holder {
            kind: HolderKind::Lot,
            key: code.to_owned(),
            name,
        }))
    }

    /// A part of the catalogue: its drawings, and how it looks.
    pub async fn part(
        executor: impl SqliteExecutor<'_>,
        code: &str,
    ) -> Result<Option<Holder>, sqlx::Error> {
        let name = queries::part_name(executor, code).await?;
        Ok(name.map(|name| Holder {
            kind: HolderKind::Part,
            key: code.to_owned(),
            name,
        }))
    }

    /// A build: how the part was parked at a stop, what was found, how it came out.
    pub async fn build(
        executor: impl SqliteExecutor<'_>,
        number: i64,
    ) -> Result<Option<Holder>, sqlx::Error> {
        let name = queries::build_name(executor, number).await?;
        Ok(name.map(|name| Holder {
            kind: HolderKind::Build,
            key: number.to_string(),
            name,
        }))
    }

    /// By kind and key, as they are stored.
    pub(super) async fn stored(
        read: &SqlitePool,
        kind: &str,
        key: &str,
    ) -> Result<Option<Holder>, sqlx::Error> {
        match (kind, key.parse()) {
            ("request", Ok(number)) => Holder::request(read, number).await,
            ("build", Ok(number)) => Holder::build(read, number).await,
            ("part", _) => Holder::part(read, key).await,
            _ => Holder::lot(read, key).await,
        }
    }

    /// As people say it: 'R41', 'L0408', 'build 3'.
    pub fn code(&self) -> String {
        match self.kind {
            HolderKind::Request => format!("R{}", self.key),
            HolderKind::Build => format!("build {}", self.key),
            HolderKind::Lot | HolderKind::Part => self.key.clone(),
        }
    }

    /// Where its own page stands.
    pub fn path(&self) -> String {
        match self.kind {
            HolderKind::Request => format!("/requests/{}", self.key),
            HolderKind::Lot => lot_path(&self.key),
            HolderKind::Part => format!("/catalogue/{}", self.key),
            HolderKind::Build => format!("/builds/{}", self.key),
        }
    }

    /// Where its photos and papers are all shown and more are added.
    pub fn photos_path(&self) -> String {
        format!("{}/photos", self.path())
    }

    pub fn screen(&self) -> Screen {
        match self.kind {
            HolderKind::Request | HolderKind::Build => Screen::Requests,
            HolderKind::Lot => Screen::Powder,
            HolderKind::Part => Screen::Catalogue,
        }
    }

    /// What to photograph.
    pub fn wanted(&self) -> &'static str {
        match self.kind {
            HolderKind::Request => {
                "Photograph the damage with a scale beside it, and the whole part once."
            }
            HolderKind::Lot => {
                "Photograph the maker’s certificate, or add it as a PDF, and the label of each container."
            }
            HolderKind::Part => {
                "Add the drawing as a PDF, or photograph it, and the part where it sits in its machine."
            }
            HolderKind::Build => {
                "Photograph how it is parked at a stop, what was found, and how it came out of the booth."
            }
        }
    }

    /// What a tablet offers to choose or to take: of a build photos, so that it opens its camera.
    pub fn accepts(&self) -> &'static str {
        match self.kind {
            HolderKind::Build => "image/*",
            _ => "image/jpeg,image/png,image/webp,application/pdf",
        }
    }

    pub fn subject(&self) -> Subject {
        let key = match self.kind {
            HolderKind::Build => self.key.clone(),
            _ => self.code(),
        };
        Subject::new(self.kind.word(), key)
    }
}

impl HolderKind {
    /// As it is stored.
    pub fn word(self) -> &'static str {
        match self {
            HolderKind::Request => "request",
            HolderKind::Lot => "lot",
            HolderKind::Part => "part",
            HolderKind::Build => "build",
        }
    }
}
