//! The built binary `mendpost`, serving the demonstration site on a port of its own.

use std::env;
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;

use tempfile::TempDir;

/// A demonstration that runs until it is dropped, and then leaves nothing behind.
#[derive(Debug)]
pub struct Demonstration {
    child: Child,
    address: String,
    folder: TempDir,
}

impl Demonstration {
    /// Starts a new demonstration and waits until it says where it listens.
    pub fn start() -> Demonstration {
        Demonstration::start_with(&[])
    }

    /// The same in a folder that stays, from one start to the next.
    pub fn start_in(data: &Path) -> Demonstration {
        Demonstration::start_with(&["--data".as_ref(), data.as_os_str()])
    }

    fn start_with(more: &[&OsStr]) -> Demonstration {
        let folder = TempDir::new().expect("a temporary folder");
        let log = File::create(folder.path().join(LOG)).expect("a file in a new folder");
        let binary = binary();
        let mut child = Command::new(&binary)
            .args(["demo", "--listen", "127.0.0.1:0"])
            .args(more)
            .env("TMPDIR", folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .unwrap_or_else(|error| panic!("cannot start {}: {error}", binary.display()));
        let output = child.stdout.take().expect("standard output was asked for");
        let mut demonstration = Demonstration {
            child,
            address: String::new(),
            folder,
        };
        let mut line = String::new();
        BufReader::new(output)
            .read_line(&mut line)
            .expect("a line of text");
        demonstration.address = super::between(&line, "http://", "/")
            .unwrap_or_else(|| panic!("no address in '{line}'"))
            .to_owned();
        demonstration
    }

    /// Ends the process as a power cut would: at once, whatever it is about.
    pub fn kill(mut self) {
        self.child.kill().expect("the process is ours");
        self.child.wait().expect("a killed process ends");
    }

    /// The address of a page.
    pub fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }
}

impl Drop for Demonstration {
    fn drop(&mut self) {
        if thread::panicking() {
            let log = fs::read_to_string(self.folder.path().join(LOG)).unwrap_or_default();
            eprintln!("what the demonstration logged:\n{log}");
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const LOG: &str = "mendpost.log";

/// The binary named in `MENDPOST_BIN`, else the one beside the program that asks: tests and programs
/// of this package lie in the target folder of the same profile.
fn binary() -> PathBuf {
    if let Some(named) = env::var_os("MENDPOST_BIN") {
        return PathBuf::from(named);
    }
    let own = env::current_exe().expect("a program knows where it lies");
    let name = format!("mendpost{}", env::consts::EXE_SUFFIX);
    own.ancestors()
        .skip(1)
        .take(2)
        .map(|folder| folder.join(&name))
        .find(|candidate| candidate.is_file())
        .unwrap_or_else(|| {
            panic!(
                "no {name} beside {}; build it with `cargo build`, or name one in MENDPOST_BIN",
                own.display()
            )
        })
}
