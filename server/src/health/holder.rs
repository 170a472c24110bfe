//! Which other program has a file open.

use std::path::Path;

/// Names of the programs that have this file open, as 'sqlite3 (process 1234)'; empty where the system
/// does not tell. Programs of other accounts are not seen.
#[cfg(target_os = "linux")]
pub fn programs_that_hold(file: &Path) -> Vec<String> {
    let Ok(file) = file.canonicalize() else {
        return Vec::new();
    };
    let Ok(processes) = std::fs::read_dir("/proc") else {
        return Vec::new();
    };
    let own = std::process::id().to_string();
    processes
        .flatten()
        .filter(|process| process.file_name().to_str() != Some(&own))
        .filter(|process| has_open(&process.path(), &file))
        .map(|process| {
            let name = std::fs::read_to_string(process.path().join("comm")).unwrap_or_default();
            let id = process.file_name().display().to_string();
            format!("{} (process {id})", name.trim_end())
        })
        .collect()
}

#[cfg(target_os = "linux")]
fn has_open(process: &Path, file: &Path) -> bool {
    let Ok(open) = std::fs::read_dir(process.join("fd")) else {
        return false;
    };
    open.flatten()
        .any(|entry| std::fs::read_link(entry.path()).is_ok_and(|target| target == file))
}

#[cfg(not(target_os = "linux"))]
pub fn programs_that_hold(_: &Path) -> Vec<String> {
    Vec::new()
}
