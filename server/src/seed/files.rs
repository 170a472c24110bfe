//! The seed files as text: from a folder, or the demonstration site's from within the binary.

use super::fault::{Faults, SeedFault};
use rust_embed::RustEmbed;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::{fs, io};

/// Files larger than this are no seed files, and are refused unread.
const LARGEST: u64 = 4 << 20;

/// The files that a site is read from, beside the STL files that `parts.csv` names; what is not needed
/// may be missing.
pub(super) const NAMES: [&str; 35] = [
    "site.toml",
    "people.csv",
    "powders.csv",
    "lots.csv",
    "containers.csv",
    "changeovers.csv",
    "stations.csv",
    "closures.csv",
    "duty_hours.csv",
    "deliveries.csv",
    "delivery_lines.csv",
    "assets.csv",
    "capabilities.csv",
    "metals.csv",
    "kit.csv",
    "tools.csv",
    "parts.csv",
    "recipes.csv",
    "operations.csv",
    "sprays.csv",
    "weighed_builds.csv",
    "requests.csv",
    "ways.csv",
    "yeses.csv",
    "interim_parts.csv",
    "keep_backs.csv",
    "items.csv",
    "item_sets.csv",
    "trips.csv",
    "must_go.csv",
    "carriage.csv",
    "carriage_rules.csv",
    "carriage_apart.csv",
    "part_failures.csv",
    "README.md",
];

/// The bytes of the seed files, by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SeedFiles(BTreeMap<String, Vec<u8>>);

/// A folder of seed files that cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("cannot read {}: {cause}", .path.display())]
pub struct UnreadableSeed {
    /// The folder or file.
    pub path: PathBuf,
    /// Why.
    #[source]
    pub cause: io::Error,
}

#[derive(RustEmbed)]
#[folder = "../seed-data/"]
struct Demonstration;

impl SeedFiles {
    /// The demonstration site.
    #[must_use]
    pub fn demonstration() -> Self {
        let file = |name: std::borrow::Cow<'static, str>| {
            let content = Demonstration::get(&name)?.data.into_owned();
            Some((name.into_owned(), content))
        };
        Self(Demonstration::iter().filter_map(file).collect())
    }

    /// Each file by name, in the order of names.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &[u8])> {
        self.0
            .iter()
            .map(|(name, content)| (name.as_str(), content.as_slice()))
    }

    /// The files of a folder; folders within it are left alone.
    ///
    /// # Errors
    /// [`UnreadableSeed`] if the folder or a file in it cannot be read, or is too large.
    pub fn from_folder(folder: &Path) -> Result<Self, UnreadableSeed> {
        let unreadable = |path: &Path, cause| UnreadableSeed {
            path: path.to_owned(),
            cause,
        };
        let mut files = BTreeMap::new();
        for entry in fs::read_dir(folder).map_err(|cause| unreadable(folder, cause))? {
            let path = entry.map_err(|cause| unreadable(folder, cause))?.path();
            let about = fs::metadata(&path).map_err(|cause| unreadable(&path, cause))?;
            let name = path.file_name().and_then(|n| n.to_str()).unwrap_or("?");
            if !about.is_file() || name.starts_with('.') {
                continue;
            }
            if about.len() > LARGEST {
                let text = format!("it has {} bytes; at most {LARGEST} are read", about.len());
                return Err(unreadable(&path, io::Error::other(text)));
            }
            let content = fs::read(&path).map_err(|cause| unreadable(&path, cause))?;
            files.insert(name.to_owned(), content);
        }
        Ok(Self(files))
    }

    /// Replaces one file, or adds it.
    pub fn set(&mut self, name: &str, content: impl Into<Vec<u8>>) {
        self.0.insert(name.to_owned(), content.into());
    }

    /// The text of one file, without a byte order mark; none if it is missing.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<String> {
        let text = String::from_utf8_lossy(self.0.get(name)?);
        Some(text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned())
    }

    /// The names of the STL files.
    pub(super) fn shapes(&self) -> impl Iterator<Item = &str> {
        let names = self.0.keys().map(String::as_str);
        names.filter(|name| is_shape(name))
    }

    /// The bytes of an STL file.
    pub(super) fn shape(&self, name: &str) -> Option<&[u8]> {
        let content = self.0.get(name).filter(|_| is_shape(name));
        content.map(Vec::as_slice)
    }

    pub(crate) fn check(&self, faults: &Faults) {
        for (name, content) in &self.0 {
            if is_shape(name) {
                continue;
            }
            if !NAMES.contains(&name.as_str()) {
                let known = NAMES.join(", ");
                faults.in_file(
                    name,
                    format!("no such file is known; known are {known} and *.stl"),
                );
            }
            if let Err(error) = std::str::from_utf8(content) {
                let before = &content[..error.valid_up_to()];
                let line = before.iter().filter(|b| **b == b'\n').count() + 1;
                faults.add(SeedFault {
                    file: name.clone(),
                    line: u64::try_from(line).ok(),
                    column: None,
                    what: "not UTF-8 text; save the file as CSV with the character set UTF-8"
                        .to_owned(),
                });
            }
        }
    }
}

fn is_shape(name: &str) -> bool {
    let end = Path::new(name).extension();
    end.is_some_and(|end| end.eq_ignore_ascii_case("stl"))
}
