//! Copies by the clock, while the service runs: made, carried to the other folders, and let go.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use mendpost_core::journal::Hash;
use tokio::sync::watch;
use tokio::task::spawn_blocking;
use tokio::time::{MissedTickBehavior, interval};

use super::copy::{self, Copied, CopyError, hash_at, make_private_folder};
use super::name::{CopyName, Why};
use super::shelf::Shelf;
use crate::AppState;
use crate::change::head;

/// What the service remembers of its copying.
#[derive(Debug, Clone, Default)]
pub struct Keeper {
    /// One copying at a time.
    turn: Arc<tokio::sync::Mutex<()>>,
    /// The last failure of each folder, until it succeeds.
    failures: Arc<Mutex<BTreeMap<PathBuf, Failure>>>,
}

/// A folder to which nothing could be copied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    pub at: i64,
    pub text: String,
}

impl Keeper {
    /// The last failure of a folder, if nothing was copied there since.
    pub fn failure(&self, folder: &Path) -> Option<Failure> {
        self.failures().get(folder).cloned()
    }

    fn note<T>(
        &self,
        folder: &Path,
        at: i64,
        outcome: Result<T, CopyError>,
    ) -> Result<T, CopyError> {
        match &outcome {
            Ok(_) => {
                self.failures().remove(folder);
            }
            Err(error) => {
                tracing::error!(folder = %folder.display(), cause = %error, "no copy was made");
                let text = error.to_string();
                self.failures()
                    .insert(folder.to_owned(), Failure { at, text });
            }
        }
        outcome
    }

    /// Whether a folder failed so short a time ago that it is left alone for now.
    fn is_resting(&self, folder: &Path, now: i64) -> bool {
        self.failure(folder)
            .is_some_and(|failure| (0..RETRY_MS).contains(&(now - failure.at)))
    }

    fn failures(&self) -> std::sync::MutexGuard<'_, BTreeMap<PathBuf, Failure>> {
        self.failures.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The folder of copies beside a site's data.
pub fn own_folder(data: &Path) -> PathBuf {
    data.join("backup")
}

/// Makes copies until it is told to stop. A copying under way is broken off then, and what it began is
/// removed.
pub async fn keep(state: AppState, mut stop: watch::Receiver<bool>) {
    let mut minutes = interval(LOOK_EVERY);
    minutes.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let work = async {
        loop {
            minutes.tick().await;
            copy_if_due(&state).await;
        }
    };
    tokio::select! {
        () = work => (),
        _ = stop.wait_for(|stop| *stop) => (),
    }
}

/// Makes a copy when it is time and something changed, brings the newest to the folders that lack it,
/// and lets old ones go. Failures are logged and remembered.
pub async fn copy_if_due(state: &AppState) {
    if !state.health.may_write() {
        return;
    }
    let _turn = state.keeper.turn.lock().await;
    let folder = own_folder(&state.db.folder);
    let now = state.clock.now();
    if !state.keeper.is_resting(&folder, now) && is_due(state, &folder, now).await {
        // The failure is remembered.
        let _ = make(state, &folder, now, Why::Timed).await;
    }
    spread(state, now).await;
}

/// Makes a copy because a person wants one.
pub async fn copy_now(state: &AppState) -> Result<Copied, CopyError> {
    let _turn = state.keeper.turn.lock().await;
    let now = state.clock.now();
    let copied = make(state, &own_folder(&state.db.folder), now, Why::Asked).await?;
    spread(state, now).await;
    Ok(copied)
}

/// How often the service looks whether a copy is due.
const LOOK_EVERY: Duration = Duration::from_secs(60);

const HOUR_MS: i64 = 60 * 60 * 1000;

/// The age at which the newest copy gets a successor.
const EVERY_MS: i64 = 4 * HOUR_MS;

/// How long a folder that failed is left alone.
const RETRY_MS: i64 = HOUR_MS / 6;

async fn is_due(state: &AppState, folder: &Path, now: i64) -> bool {
    let Ok(shelf) = list(state, folder).await else {
        return true;
    };
    let Ok((sequence, head)) = stored_head(state).await else {
        return true;
    };
    due(&shelf, sequence, head, now)
}

/// A copy is due when the newest is old enough, or claims to be from the future, and none holds all.
fn due(shelf: &Shelf, sequence: i64, head: Hash, now: i64) -> bool {
    let young = shelf
        .newest()
        .is_some_and(|newest| (0..EVERY_MS).contains(&(now - newest.name.at)));
    sequence > 0 && !young && !shelf.holds(sequence, head)
}

async fn stored_head(state: &AppState) -> Result<(i64, Hash), sqlx::Error> {
    let mut connection = state.db.read.acquire().await?;
    head(&mut connection).await
}

async fn make(state: &AppState, folder: &Path, now: i64, why: Why) -> Result<Copied, CopyError> {
    let made = match make_private_folder(folder) {
        Ok(()) => copy::make(&state.db.file, folder, now, why).await,
        Err(cause) => Err(CopyError::Write {
            folder: folder.to_owned(),
            cause,
        }),
    };
    let copied = state.keeper.note(folder, now, made)?;
    tracing::info!(copy = %copied.name, bytes = copied.bytes, "a copy was made");
    Ok(copied)
}

/// Brings the newest copy to every other folder that lacks it, and tidies all.
async fn spread(state: &AppState, now: i64) {
    let own = own_folder(&state.db.folder);
    tidy(state, &own, now).await;
    let Ok(shelf) = list(state, &own).await else {
        return;
    };
    let Some(newest) = shelf.newest().map(|newest| newest.name.clone()) else {
        return;
    };
    for folder in &state.config.backup_to {
        if state.keeper.is_resting(folder, now) {
            continue;
        }
        let carried = carry(shelf.path(&newest), newest.clone(), folder.clone()).await;
        if state.keeper.note(folder, now, carried).is_ok() {
            tidy(state, folder, now).await;
        }
    }
}

async fn carry(from: PathBuf, name: CopyName, folder: PathBuf) -> Result<(), CopyError> {
    spawn_blocking(move || {
        let there = Shelf::list(&folder).is_ok_and(|shelf| {
            shelf.copies.iter().any(|copy| copy.name == name) && folder.is_dir()
        });
        if there {
            return Ok(());
        }
        copy::carry(&from, &name, &folder).map(|_| ())
    })
    .await?
}

async fn tidy(state: &AppState, folder: &Path, now: i64) {
    let tidied = match list(state, folder).await {
        Ok(shelf) => spawn_blocking(move || shelf.tidy(now))
            .await
            .unwrap_or_else(|stopped| Err(io::Error::other(stopped))),
        Err(error) => Err(error),
    };
    if let Err(error) = tidied {
        tracing::warn!(folder = %folder.display(), cause = %error, "old copies were not removed");
    }
}

/// The copies of our journal in a folder, listed off the threads that answer requests: a stick may take
/// its time.
pub async fn list(state: &AppState, folder: &Path) -> io::Result<Shelf> {
    let folder = folder.to_owned();
    let shelf = spawn_blocking(move || Shelf::list(&folder))
        .await
        .map_err(io::Error::other)??;
    let mut heads = BTreeMap::new();
    for copy in &shelf.copies {
        let sequence = copy.name.sequence;
        let head = hash_at(&state.db.read, sequence).await;
        if let Some(head) = head.map_err(io::Error::other)? {
            heads.insert(sequence, head);
        }
    }
    Ok(shelf.without_foreign(&heads))
}

#[cfg(test)]
mod tests {
    use super::super::shelf::Shelved;
    use super::*;

    const NOW: i64 = 1_795_581_600_000;

    fn shelf(hours_ago: i64, sequence: i64) -> Shelf {
        let name = CopyName::new(
            NOW - hours_ago * HOUR_MS,
            sequence,
            Hash([1; 32]),
            Why::Timed,
        );
        Shelf {
            copies: vec![Shelved {
                name,
                bytes: 1,
                head: None,
            }],
            ..Shelf::default()
        }
    }

    /// The journal stands at 812. A copy of 811 is followed after four hours, one of 812 never; the
    /// same number in another history is not the same, and a copy from the future counts for nothing.
    #[test]
    fn a_copy_is_due_when_the_last_is_old_and_lacks_something() {
        let head = Hash([1; 32]);
        assert!(due(&Shelf::default(), 812, head, NOW), "none yet");
        assert!(
            !due(&Shelf::default(), 0, Hash::START, NOW),
            "nothing to copy"
        );
        assert!(!due(&shelf(3, 811), 812, head, NOW));
        assert!(due(&shelf(4, 811), 812, head, NOW));
        assert!(!due(&shelf(400, 812), 812, head, NOW), "it holds all");
        assert!(due(&shelf(400, 812), 812, Hash([2; 32]), NOW));
        assert!(due(&shelf(-1, 811), 812, head, NOW));
    }
}
