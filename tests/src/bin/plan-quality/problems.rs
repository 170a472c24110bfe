//! Folders of problems.

use std::collections::BTreeMap;
use std::fs;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use mendpost_core::planner::Problem;
use serde::Deserialize;

/// What is known of a problem.
#[derive(Deserialize)]
pub struct Known {
    pub loss: i64,
    /// What CP-SAT proves within a minute.
    pub bound: i64,
}

/// A problem of a folder.
pub struct Named {
    pub name: String,
    pub file: PathBuf,
    pub problem: Problem,
}

impl Named {
    pub fn jobs(&self) -> usize {
        self.problem.jobs.len()
    }
}

/// What is known of the problems of a folder, by name.
pub fn best_known(folder: &Path) -> Result<BTreeMap<String, Known>, String> {
    let file = folder.join("best-known.json");
    serde_json::from_str(&text(&file)?).map_err(|error| format!("{}: {error}", file.display()))
}

/// The problems in `instances/` of a folder, one in so many of them, by size.
pub fn instances(folder: &Path, every: NonZeroUsize) -> Result<Vec<Named>, String> {
    let mut problems = problems(&folder.join("instances"))?;
    problems.sort_by_key(Named::jobs);
    Ok(one_in(every, problems).collect())
}

/// The problems of a folder in the order of their names.
pub fn problems(folder: &Path) -> Result<Vec<Named>, String> {
    let unreadable = |error| format!("{}: {error}", folder.display());
    let mut files = Vec::new();
    for file in fs::read_dir(folder).map_err(unreadable)? {
        files.push(file.map_err(unreadable)?.path());
    }
    files.retain(|path| path.extension().is_some_and(|it| it == "json"));
    files.sort();
    files.into_iter().map(named).collect()
}

fn named(file: PathBuf) -> Result<Named, String> {
    let stem = file.file_stem().unwrap_or_default();
    let name = stem.to_string_lossy().into_owned();
    let problem = Problem::from_json(&text(&file)?)
        .map_err(|faults| format!("{}: {}", file.display(), faults[0]))?;
    Ok(Named {
        name,
        file,
        problem,
    })
}

fn text(file: &Path) -> Result<String, String> {
    fs::read_to_string(file).map_err(|error| format!("{}: {error}", file.display()))
}

/// The first one of each so many.
pub fn one_in<T>(every: NonZeroUsize, all: Vec<T>) -> impl Iterator<Item = T> {
    all.into_iter().step_by(every.get())
}
