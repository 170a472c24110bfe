//! Debian's Chromium without a window, started and stopped through its `chromedriver`.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

use serde_json::json;
use tempfile::TempDir;
use thirtyfour::{ChromiumLikeCapabilities, DesiredCapabilities, WebDriver};

/// Whether pages may run scripts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scripts {
    On,
    Off,
}

/// A browser with a profile of its own, ended with all its processes when dropped.
#[derive(Debug)]
pub struct Chromium {
    pub driver: WebDriver,
    // Dropped in this order: a folder can go once no process writes to it.
    _processes: Processes,
    _profile: TempDir,
}

impl Chromium {
    pub async fn start(scripts: Scripts) -> Chromium {
        let profile = TempDir::new().expect("a temporary folder");
        let processes = Processes::start(&profile);
        let mut wanted = DesiredCapabilities::chrome();
        let folder = format!("--user-data-dir={}", profile.path().display());
        for flag in FLAGS.into_iter().chain([folder.as_str()]) {
            wanted.add_arg(flag).expect("a flag is text");
        }
        if scripts == Scripts::Off {
            wanted
                .add_experimental_option("prefs", json!({ SCRIPTS: BLOCKED }))
                .expect("preferences are JSON");
        }
        let driver = WebDriver::builder(format!("http://127.0.0.1:{}", processes.port), wanted)
            .request_timeout(PATIENCE)
            .connect()
            .await
            .unwrap_or_else(|error| panic!("Chromium does not start: {error}; {REMEDY}"));
        Chromium {
            driver,
            _processes: processes,
            _profile: profile,
        }
    }

    /// Closes the browser as a person would. Dropping it is enough, but ends it by force.
    pub async fn quit(self) {
        let closed = self.driver.clone().quit().await;
        closed.expect("Chromium closes");
    }
}

/// No window, no sandbox (which root may not have), and no talk of the browser's own with the network.
const FLAGS: [&str; 9] = [
    "--headless=new",
    "--window-size=1280,800",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
];

const SCRIPTS: &str = "profile.managed_default_content_settings.javascript";
const BLOCKED: u8 = 2;

/// The longest that one command to the browser may take.
const PATIENCE: Duration = Duration::from_secs(60);

const REMEDY: &str = "install Debian's packages chromium and chromium-driver, as `.ci/test` does";

/// `chromedriver`, and through it the browser. Both stay in our process group, so that Ctrl-C ends them.
#[derive(Debug)]
struct Processes {
    chromedriver: Child,
    /// Kept open: a program that cannot write what it has to say ends.
    _output: BufReader<ChildStdout>,
    port: u16,
}

impl Processes {
    /// Lets `chromedriver` choose a free port. Where walks start side by side it was seen to end without
    /// having found one, so it may try several times.
    fn start(home: &TempDir) -> Processes {
        (0..TRIES)
            .find_map(|_| Processes::try_start(home))
            .unwrap_or_else(|| panic!("chromedriver told no port in {TRIES} starts; {REMEDY}"))
    }

    /// Starts `chromedriver` and waits until it tells its port, or ends without one.
    fn try_start(home: &TempDir) -> Option<Processes> {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            // Chromium's helpers put their sockets there.
            .env("TMPDIR", home.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| panic!("chromedriver does not start: {error}; {REMEDY}"));
        let mut output =
            BufReader::new(child.stdout.take().expect("standard output was asked for"));
        let port = output
            .by_ref()
            .lines()
            .map_while(Result::ok)
            .find_map(|line| {
                super::between(&line, "successfully on port ", ".")?
                    .parse()
                    .ok()
            });
        let Some(port) = port else {
            let _ = child.kill();
            let _ = child.wait();
            return None;
        };
        Some(Processes {
            chromedriver: child,
            _output: output,
            port,
        })
    }

    /// Asks `chromedriver` to close the browser, if it still runs, and to end.
    fn ask_to_end(&self) -> io::Result<()> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port))?;
        stream.set_read_timeout(Some(GRACE))?;
        stream.write_all(b"GET /shutdown HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")?;
        stream.read(&mut [0; 64]).map(|_| ())
    }
}

/// How often `chromedriver` is started before a walk fails.
const TRIES: u32 = 10;

/// How long the browser may take to close before `chromedriver` is ended by force.
const GRACE: Duration = Duration::from_secs(10);

impl Drop for Processes {
    fn drop(&mut self) {
        // It may be gone already, or not answer.
        let _ = self.ask_to_end();
        let _ = self.chromedriver.kill();
        let _ = self.chromedriver.wait();
    }
}
