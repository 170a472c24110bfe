//! Asks a Python program for values.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde::de::DeserializeOwned;
use serde_json::Value;

/// What the program answers on its standard output to what it is asked on its standard input; fails
/// the test if Python or a package is missing.
pub fn answers<T: DeserializeOwned>(program: &str, asked: &Value) -> Vec<T> {
    let python = python();
    let mut child = Command::new(&python)
        .args(["-c", program])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{}: {error}; {REMEDY}", python.display()));
    let mut stdin = child.stdin.take().expect("standard input was asked for");
    let sent = stdin.write_all(asked.to_string().as_bytes());
    drop(stdin);
    let output = child.wait_with_output().expect("the child was started");
    assert!(
        output.status.success() && sent.is_ok(),
        "{} could not answer ({}); {REMEDY}",
        python.display(),
        output.status,
    );
    serde_json::from_slice(&output.stdout).expect("a list of answers")
}

const REMEDY: &str = "make the environment with `python3 -m venv target/venv && \
    target/venv/bin/pip install ortools CoolProp scipy trimesh` in the workspace root, \
    or name another Python in MENDPOST_PYTHON";

fn python() -> PathBuf {
    std::env::var_os("MENDPOST_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/venv/bin/python"),
        PathBuf::from,
    )
}
