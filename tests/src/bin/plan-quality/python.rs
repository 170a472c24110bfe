//! Programs in Python beside the reference tests, asked for a JSON answer.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde::de::DeserializeOwned;

/// What a program of `tests/reference/planner` prints.
///
/// # Errors
/// Without a Python, or with what the program says where it fails.
pub fn answer<T: DeserializeOwned>(program: &str, args: &[&OsStr]) -> Result<T, String> {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = std::env::var_os("MENDPOST_PYTHON")
        .map_or_else(|| tests.join("../target/venv/bin/python"), PathBuf::from);
    let output = Command::new(&python)
        .arg(tests.join("reference/planner").join(program))
        .args(args)
        .output()
        .map_err(|error| {
            format!("{}: {error}; name a Python with the packages of .ci/requirements.txt in MENDPOST_PYTHON", python.display())
        })?;
    if !output.status.success() {
        let said = String::from_utf8_lossy(&output.stderr);
        let last = said.lines().last().unwrap_or("no word why");
        return Err(format!("{program}: {last}"));
    }
    serde_json::from_slice(&output.stdout).map_err(|error| format!("{program}: {error}"))
}
