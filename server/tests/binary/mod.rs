//! The binary, run as people run it: to its end, or as a service until it is told to stop.
#![allow(dead_code, reason = "each test file uses its part")]

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

pub fn mendpost(arguments: &[&str]) -> Output {
    command(arguments)
        .stdin(Stdio::null())
        .output()
        .expect("the binary runs")
}

pub fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_mendpost"));
    command
        .args(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

pub fn assert_fails(output: &Output, code: i32, fault: &str) {
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{told}");
    assert!(
        told.starts_with("mendpost: ") && told.contains(fault),
        "no '{fault}' in '{told}'"
    );
    assert_eq!(told.trim_end().lines().count(), 1, "{told}");
}

pub fn mode(path: &Path) -> u32 {
    fs::metadata(path).expect("it exists").permissions().mode() & 0o777
}

pub fn text(path: &Path) -> &str {
    path.to_str().expect("temporary folders have plain names")
}

/// A running server, ended with the test whatever happens.
pub struct Server {
    child: Child,
    pub address: String,
}

impl Server {
    pub fn start(arguments: &[&str]) -> Server {
        Server::spawn(command(arguments))
    }

    /// Waits for the line that says where it listens.
    pub fn spawn(mut command: Command) -> Server {
        let mut child = command
            .stderr(Stdio::null())
            .spawn()
            .expect("the binary starts");
        let mut line = String::new();
        let output = child.stdout.take().expect("piped");
        BufReader::new(output)
            .read_line(&mut line)
            .expect("a line of text");
        let (_, rest) = line.split_once("http://").expect("the address to open");
        let (address, _) = rest.split_once('/').expect("an address with a path");
        Server {
            address: address.to_owned(),
            child,
        }
    }

    pub fn ask(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(&self.address).expect("it listens");
        let request =
            format!("GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
        stream
            .write_all(request.as_bytes())
            .expect("it takes a request");
        let mut answer = String::new();
        stream
            .read_to_string(&mut answer)
            .expect("it answers in text");
        answer
    }

    pub fn stop(&mut self, signal: &str) -> std::process::ExitStatus {
        let id = self.child.id().to_string();
        let sent = Command::new("kill")
            .args(["-s", signal, &id])
            .status()
            .expect("kill runs");
        assert!(sent.success());
        self.child.wait().expect("it ends")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
