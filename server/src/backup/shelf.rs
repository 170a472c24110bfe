//! The copies in a folder.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use mendpost_core::journal::Hash;

use super::check::sum_file;
use super::copy::PART;
use super::keep::may_go;
use super::name::CopyName;

/// The copies that one folder holds, oldest first.
#[derive(Debug, Clone, Default)]
pub struct Shelf {
    pub folder: PathBuf,
    pub copies: Vec<Shelved>,
    /// Copies of another site or another course of events, which are none of ours: a stick may serve
    /// two cells.
    pub foreign: usize,
}

/// A copy with its sum: it was checked when it was made. A file without a sum is none.
#[derive(Debug, Clone)]
pub struct Shelved {
    pub name: CopyName,
    pub bytes: u64,
    /// Hash of its last entry, once it is known to be of our journal.
    pub head: Option<Hash>,
}

impl Shelf {
    /// Lists a folder without reading the copies. One that is missing holds none.
    ///
    /// # Errors
    /// When it is there and cannot be listed.
    pub fn list(folder: &Path) -> io::Result<Shelf> {
        let mut shelf = Shelf {
            folder: folder.to_owned(),
            ..Shelf::default()
        };
        let inside = match fs::read_dir(folder) {
            Ok(inside) => inside,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(shelf),
            Err(error) => return Err(error),
        };
        for file in inside {
            let file = file?;
            let Some(name) = file.file_name().to_str().and_then(|name| name.parse().ok()) else {
                continue;
            };
            if sum_file(&file.path()).is_file() {
                shelf.copies.push(Shelved {
                    name,
                    bytes: file.metadata()?.len(),
                    head: None,
                });
            }
        }
        shelf.copies.sort_by(|a, b| a.name.cmp(&b.name));
        Ok(shelf)
    }

    /// Every file in a folder that has the name of a copy, with a sum or without.
    pub fn files(folder: &Path) -> io::Result<Vec<PathBuf>> {
        let mut files = Vec::new();
        for file in fs::read_dir(folder)? {
            let file = file?;
            let name = file.file_name();
            if name
                .to_str()
                .is_some_and(|name| name.parse::<CopyName>().is_ok())
            {
                files.push(file.path());
            }
        }
        Ok(files)
    }

    /// Leaves out the copies that are not of our journal, by the hashes that it has at their last entries.
    pub fn without_foreign(mut self, heads: &BTreeMap<i64, Hash>) -> Shelf {
        let all = self.copies.len();
        self.copies.retain_mut(|copy| {
            let sequence = copy.name.sequence;
            let head = heads.get(&sequence).copied();
            copy.head = head.filter(|head| copy.name.is_at(sequence, *head));
            copy.head.is_some()
        });
        self.foreign = all - self.copies.len();
        self
    }

    pub fn newest(&self) -> Option<&Shelved> {
        self.copies.last()
    }

    pub fn path(&self, name: &CopyName) -> PathBuf {
        self.folder.join(name.to_string())
    }

    /// Whether one of the copies holds everything up to this entry of the journal.
    pub fn holds(&self, sequence: i64, head: Hash) -> bool {
        self.copies
            .iter()
            .any(|copy| copy.name.is_at(sequence, head))
    }

    /// Removes what the rule of keeping lets go, and parts that a copying of another day left behind.
    pub fn tidy(&self, now: i64) -> io::Result<()> {
        let names: Vec<CopyName> = self.copies.iter().map(|copy| copy.name.clone()).collect();
        for name in may_go(&names, now) {
            let path = self.path(&name);
            // Without its sum it is no copy any more, also when the removing is cut off here.
            fs::remove_file(sum_file(&path))?;
            fs::remove_file(&path)?;
            tracing::info!(copy = %name, "an old copy was removed");
        }
        self.remove_parts(now)
    }

    fn remove_parts(&self, now: i64) -> io::Result<()> {
        if !self.folder.is_dir() {
            return Ok(());
        }
        for file in fs::read_dir(&self.folder)? {
            let file = file?;
            let name = file.file_name();
            if name.to_str().is_some_and(|name| is_stale_part(name, now)) {
                fs::remove_file(file.path())?;
            }
        }
        Ok(())
    }
}

const DAY_MS: i64 = 24 * 60 * 60 * 1000;

/// The name of a part tells when it was begun, as `mendpost-20261125T044000Z-1.part`.
fn is_stale_part(name: &str, now: i64) -> bool {
    let begun = name
        .strip_suffix(PART)
        .and_then(|name| name.strip_prefix("mendpost-"))
        .and_then(|name| name.split_once('-'))
        .filter(|(_, turn)| turn.parse::<u32>().is_ok())
        .and_then(|(stamp, _)| chrono::NaiveDateTime::parse_from_str(stamp, "%Y%m%dT%H%M%SZ").ok());
    begun.is_some_and(|begun| now - begun.and_utc().timestamp_millis() > DAY_MS)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use mendpost_core::journal::Hash;
    use tempfile::TempDir;

    use super::super::name::Why;
    use super::*;

    const NOW: i64 = 1_795_581_600_000;

    fn files(folder: &Path) -> BTreeSet<String> {
        fs::read_dir(folder)
            .expect("a folder")
            .map(|file| {
                file.expect("a file")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .collect()
    }

    /// Old copies go with their sums; what has no name or sum of ours stays, whatever it looks like.
    #[test]
    fn nothing_but_our_own_old_copies_is_removed() {
        let folder = TempDir::new().expect("a temporary folder");
        let copy = |days_ago, sequence| {
            CopyName::new(NOW - days_ago * DAY_MS, sequence, Hash([7; 32]), Why::Timed).to_string()
        };
        let (old, new, unsummed) = (copy(800, 1), copy(0, 2), copy(900, 3));
        let others = [
            "mendpost.db",
            "photos.db",
            "photos.db.sha256",
            "mendpost-20200101T000000Z-1.part.txt",
            "mendpost-20261125T044000Z-1.part",
        ];
        let ours = [&old, &new].map(|name| [name.clone(), format!("{name}.sha256")]);
        let stale = "mendpost-20200101T000000Z-1.part".to_owned();
        let all = ours.into_iter().flatten().chain([unsummed.clone(), stale]);
        for name in all.chain(others.map(str::to_owned)) {
            fs::write(folder.path().join(name), "x").expect("writable");
        }

        let shelf = Shelf::list(folder.path()).expect("listed");
        assert_eq!(shelf.copies.len(), 2);
        assert!(shelf.holds(2, Hash([7; 32])) && !shelf.holds(2, Hash([8; 32])));
        shelf.tidy(NOW).expect("tidied");
        let mut left: BTreeSet<String> = others.map(str::to_owned).into();
        left.extend([new.clone(), format!("{new}.sha256"), unsummed]);
        assert_eq!(files(folder.path()), left);
    }
}
