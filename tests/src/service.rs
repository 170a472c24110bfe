//! The built binary `mendpost`, serving a site on a port of its own.

use std::env;
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;

use tempfile::TempDir;

/// A service that runs until it is dropped, and then leaves nothing behind.
#[derive(Debug)]
pub struct Service {
    child: Child,
    address: String,
    folder: TempDir,
}

impl Service {
    /// A new demonstration.
    pub fn demonstration() -> Service {
        // Loads are judged by hundreds of plans: coarse ones do for a test.
        let arguments = ["demo", "--load-iterations", "100"];
        Service::start(new_folder(), &arguments.map(OsStr::new))
    }

    /// The demonstration in a folder that stays, from one start to the next.
    pub fn demonstration_in(data: &Path) -> Service {
        let arguments = ["demo".as_ref(), "--data".as_ref(), data.as_os_str()];
        Service::start(new_folder(), &arguments)
    }

    /// A real site, made as its crew makes it, and the start code of its first person.
    pub fn real(lead: &str) -> (Service, String) {
        let folder = new_folder();
        let (files, data) = (folder.path().join("files"), folder.path().join("data"));
        run(&["files".as_ref(), files.as_os_str()]);
        let said = run(&[
            "init".as_ref(),
            "--data".as_ref(),
            data.as_os_str(),
            "--site".as_ref(),
            files.as_os_str(),
            "--lead".as_ref(),
            lead.as_ref(),
        ]);
        let code = super::between(&said, "shown this once: ", "\n");
        let code = code
            .unwrap_or_else(|| panic!("no start code in '{said}'"))
            .to_owned();
        let arguments = ["serve".as_ref(), "--data".as_ref(), data.as_os_str()];
        (Service::start(folder, &arguments), code)
    }

    /// Starts the binary and waits until it says where it listens.
    fn start(folder: TempDir, arguments: &[&OsStr]) -> Service {
        let log = File::create(folder.path().join(LOG)).expect("a file in a new folder");
        let binary = binary();
        let mut child = Command::new(&binary)
            .args(arguments)
            .args(["--listen", "127.0.0.1:0"])
            .env("TMPDIR", folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .unwrap_or_else(|error| panic!("cannot start {}: {error}", binary.display()));
        let output = child.stdout.take().expect("standard output was asked for");
        let mut service = Service {
            child,
            address: String::new(),
            folder,
        };
        let mut line = String::new();
        BufReader::new(output)
            .read_line(&mut line)
            .expect("a line of text");
        service.address = super::between(&line, "http://", "/")
            .unwrap_or_else(|| panic!("no address in '{line}'"))
            .to_owned();
        service
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

impl Drop for Service {
    fn drop(&mut self) {
        if thread::panicking() {
            let log = fs::read_to_string(self.folder.path().join(LOG)).unwrap_or_default();
            eprintln!("what the service logged:\n{log}");
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const LOG: &str = "mendpost.log";

fn new_folder() -> TempDir {
    TempDir::new().expect("a temporary folder")
}

/// Runs the binary to its end.
pub fn ended(arguments: &[&OsStr]) -> Output {
    Command::new(binary())
        .args(arguments)
        .output()
        .expect("the binary starts")
}

/// Runs the binary to its end; what it says.
fn run(arguments: &[&OsStr]) -> String {
    let output = ended(arguments);
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).expect("text")
}

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
