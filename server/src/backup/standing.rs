//! How the copies stand: told in one quiet line while all is well, and with what to do when not.

use std::io;
use std::path::Path;

use mendpost_core::journal::Hash;

use super::keeper::{self, Failure};
use super::shelf::{Shelf, Shelved};
use crate::AppState;
use crate::change::head;
use crate::error::AppError;
use crate::page::{Layout, Notice, whole};

/// The copies of all folders beside the data as they are now.
pub struct Standing {
    pub places: Vec<Place>,
    sequence: i64,
    head: Hash,
    now: i64,
    /// Nothing changes, so nothing needs to be copied.
    read_only: bool,
}

/// One folder of copies.
pub struct Place {
    /// The folder beside the data is called 'backup', others by their path.
    pub name: String,
    pub shelf: io::Result<Shelf>,
    /// Whether the folder is there; that beside the data is made when it is needed.
    pub is_there: bool,
    /// Whether it is lost together with the data: a stick that is not in leaves a folder of this disk.
    pub same_disk: bool,
    pub failure: Option<Failure>,
}

impl Standing {
    pub async fn load(state: &AppState, page: &Layout) -> Result<Standing, AppError> {
        let (sequence, head) = head(&mut *state.db.read.acquire().await?).await?;
        let own = keeper::own_folder(&state.db.folder);
        let mut places = vec![place(state, &own, "backup".to_owned()).await];
        places[0].is_there = true;
        for folder in &state.config.backup_to {
            places.push(place(state, folder, folder.display().to_string()).await);
        }
        Ok(Standing {
            places,
            sequence,
            head,
            now: page.now(),
            read_only: !state.health.may_write(),
        })
    }

    /// As 'Last good copy 2 h ago, in backup, 812 journal entries; on /media/stick 3 days ago.'
    pub fn line(&self, page: &Layout) -> String {
        let told: Vec<String> = self
            .places
            .iter()
            .filter_map(|place| {
                let newest = place.newest()?;
                let age = page.age(&newest.name.at);
                Some(if place.name == "backup" {
                    let entries = whole(newest.name.sequence);
                    format!("{age}, in backup, {entries} journal entries")
                } else {
                    format!("on {} {age}", place.name)
                })
            })
            .collect();
        if told.is_empty() {
            "No good copy yet.".to_owned()
        } else {
            format!("Last good copy {}.", told.join("; "))
        }
    }

    /// Whether one of the copies holds every change.
    pub fn holds_all(&self) -> bool {
        self.places
            .iter()
            .filter_map(|place| place.shelf.as_ref().ok())
            .any(|shelf| shelf.holds(self.sequence, self.head))
    }

    /// What must be said aloud.
    pub fn notices(&self, page: &Layout) -> Vec<Notice> {
        if self.read_only {
            return Vec::new();
        }
        self.places
            .iter()
            .filter_map(|place| self.notice(page, place))
            .collect()
    }

    fn notice(&self, page: &Layout, place: &Place) -> Option<Notice> {
        let name = &place.name;
        if !place.is_there {
            let age = place.newest_age(page);
            return Some(Notice::waits(
                format!("{name} is not there{age}."),
                "Put the stick or disk in, or start the service without --backup-to for it.",
            ));
        }
        if let Some(failure) = &place.failure {
            return Some(Notice::wrong(
                format!("No copy was made in {name}, {}.", page.age(&failure.at)),
                format!("It failed: {}. {RETRY}", failure.text),
            ));
        }
        match &place.shelf {
            Err(error) => Some(Notice::wrong(
                format!("The copies in {name} cannot be listed."),
                format!("{error}. See that the account that runs Mendpost may read the folder."),
            )),
            Ok(shelf) if shelf.holds(self.sequence, self.head) => None,
            Ok(shelf) => match shelf.newest() {
                None => Some(Notice::waits(format!("No good copy in {name} yet."), SOON)),
                Some(newest) if self.is_old(newest) => Some(Notice::wrong(
                    format!(
                        "The last good copy in {name} was made {}.",
                        page.age(&newest.name.at)
                    ),
                    format!(
                        "{} Press Copy now on the Backup page.",
                        self.unsaved(newest)
                    ),
                )),
                Some(_) => None,
            },
        }
    }

    /// Older than a day, or from the future, which tells nothing of its age.
    fn is_old(&self, newest: &Shelved) -> bool {
        !(0..=OLD_MS).contains(&(self.now - newest.name.at))
    }

    fn unsaved(&self, newest: &Shelved) -> String {
        match self.sequence - newest.name.sequence {
            1 => "One change is in no copy.".to_owned(),
            more @ 2.. => format!("{} changes are in no copy.", whole(more)),
            _ => "It is one of another course of events.".to_owned(),
        }
    }
}

impl Place {
    pub fn newest(&self) -> Option<&Shelved> {
        self.shelf.as_ref().ok()?.newest()
    }

    fn newest_age(&self, page: &Layout) -> String {
        self.failure.as_ref().map_or_else(String::new, |failure| {
            format!(", noticed {}", page.age(&failure.at))
        })
    }
}

const OLD_MS: i64 = 24 * 60 * 60 * 1000;
const SOON: &str =
    "The service makes one within minutes; if this stays, press Copy now on the Backup page.";
const RETRY: &str = "It is tried again every 10 minutes.";

async fn place(state: &AppState, folder: &Path, name: String) -> Place {
    let shelf = keeper::list(state, folder).await;
    Place {
        is_there: shelf.is_err() || folder.is_dir(),
        same_disk: is_same_disk(folder, &state.db.folder),
        shelf,
        failure: state.keeper.failure(folder),
        name,
    }
}

#[cfg(unix)]
fn is_same_disk(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let disk = |folder: &Path| folder.metadata().map(|found| found.dev()).ok();
    disk(one).is_some_and(|found| Some(found) == disk(other))
}

#[cfg(not(unix))]
fn is_same_disk(_: &Path, _: &Path) -> bool {
    false
}
