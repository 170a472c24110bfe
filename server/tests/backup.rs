//! Copies and restoring from the command line, beside a running service and without one; and a service
//! whose data are damaged, locked, or cannot be written.
#![cfg(unix)]

mod binary;

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

use binary::{Server, assert_fails, command, mendpost, mode, text};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use tempfile::TempDir;

/// A demonstration that was started once and stopped, with what its first start has copied.
fn stopped_demonstration(folder: &Path) -> PathBuf {
    let data = folder.join("cell");
    let mut server = demonstration(&data);
    newest_copy(&data.join("backup"));
    assert!(server.stop("TERM").success());
    data
}

fn demonstration(data: &Path) -> Server {
    Server::start(&["demo", "--data", text(data), "--listen", "127.0.0.1:0"])
}

/// Waits for a first copy: a service makes one soon after its start.
fn newest_copy(folder: &Path) -> PathBuf {
    for _ in 0..200 {
        if let Some(copy) = copies(folder).pop() {
            return copy;
        }
        sleep(Duration::from_millis(50));
    }
    panic!("no copy in {}", folder.display());
}

fn copies(folder: &Path) -> Vec<PathBuf> {
    let Ok(files) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut copies: Vec<PathBuf> = files
        .map(|file| file.expect("a file").path())
        .filter(|path| path.extension().is_some_and(|end| end == "db"))
        .collect();
    copies.sort();
    copies
}

fn told(output: &std::process::Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// By itself soon after the start, and by hand beside it; the stop is not hindered, and leaves no log.
#[test]
fn copies_are_made_beside_a_running_service() {
    let folder = TempDir::new().expect("a temporary folder");
    let (data, stick) = (folder.path().join("cell"), folder.path().join("stick"));
    let mut server = demonstration(&data);
    let own = data.join("backup");
    let first = newest_copy(&own);
    assert_eq!((mode(&own), mode(&first)), (0o700, 0o600));

    let missing = ["backup", "--data", text(&data), "--to", text(&stick)];
    assert_fails(
        &mendpost(&missing),
        1,
        "is not there; put the stick or disk in",
    );
    assert!(!stick.exists());
    fs::create_dir(&stick).expect("the stick is put in");
    let made = mendpost(&missing);
    assert!(made.status.success(), "{made:?}");
    assert!(told(&made).starts_with("Copied and checked, up to journal "));
    assert!(
        mendpost(&["backup", "--data", text(&data)])
            .status
            .success()
    );
    assert!(server.stop("TERM").success());
    assert!(
        !data.join("mendpost.db-wal").exists(),
        "the log is folded back"
    );

    let checked = mendpost(&["backup", "--check", text(&stick)]);
    assert!(checked.status.success(), "{checked:?}");
    assert!(told(&checked).starts_with("good     mendpost-"));
}

/// Copies are being made one after the other while the signal comes.
#[test]
fn a_copy_under_way_does_not_hinder_the_stop() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("cell");
    let mut server = demonstration(&data);
    newest_copy(&data.join("backup"));
    let arguments = ["backup", "--data", text(&data)];
    let mut copying = command(&arguments).spawn().expect("the binary starts");
    assert!(server.stop("TERM").success());
    assert!(copying.wait().expect("it ends").success());
    let checked = mendpost(&["backup", "--check", text(&data.join("backup"))]);
    assert!(checked.status.success(), "{checked:?}");
}

#[test]
fn a_flipped_bit_is_told_and_not_restored() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = stopped_demonstration(folder.path());
    let copy = newest_copy(&data.join("backup"));
    let mut bytes = fs::read(&copy).expect("read");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 4;
    fs::write(&copy, bytes).expect("written");

    let checked = mendpost(&["backup", "--check", text(&data.join("backup"))]);
    assert_fails(&checked, 1, "1 of 1 copies in");
    assert!(
        told(&checked).starts_with("damaged  mendpost-"),
        "{checked:?}"
    );
    let elsewhere = folder.path().join("elsewhere");
    let restore = ["restore", "--data", text(&elsewhere), "--from", text(&copy)];
    assert_fails(&mendpost(&restore), 1, "is not what was copied");
    assert!(!elsewhere.exists());
}

/// To another folder, and served from there; over the old one only when told, and not while it runs.
#[test]
fn a_copy_is_restored_and_served() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = stopped_demonstration(folder.path());
    let copy = newest_copy(&data.join("backup"));
    let elsewhere = folder.path().join("elsewhere");
    let restore = ["restore", "--data", text(&elsewhere), "--from", text(&copy)];
    let restored = mendpost(&restore);
    assert!(restored.status.success(), "{restored:?}");
    assert!(told(&restored).starts_with("Restored up to journal "));
    assert_eq!(mode(&elsewhere.join("mendpost.db")), 0o600);

    let over = ["restore", "--data", text(&data), "--from", text(&copy)];
    assert_fails(
        &mendpost(&over),
        1,
        "to put its data aside and restore, add --replace",
    );
    let over = [&over[..], &["--replace"]].concat();
    let mut server = demonstration(&data);
    assert_fails(&mendpost(&over), 1, "another mendpost is running on");
    assert!(server.stop("TERM").success());
    let restored = mendpost(&over);
    assert!(restored.status.success(), "{restored:?}");
    let kept = told(&restored);
    let (_, kept) = kept
        .trim_end()
        .split_once("What was there is kept in ")
        .expect("a folder");
    assert!(Path::new(kept).join("mendpost.db").is_file());

    let mut server = demonstration(&elsewhere);
    assert!(server.ask("/sign-in").contains("Port Ansel"));
    assert!(server.stop("TERM").success());
}

async fn change(data: &Path, statements: &'static str) -> SqliteConnection {
    let mut connection = SqliteConnectOptions::new()
        .filename(data.join("mendpost.db"))
        .connect()
        .await
        .expect("it opens");
    sqlx::raw_sql(statements)
        .execute(&mut connection)
        .await
        .expect(statements);
    connection
}

/// Damage is told on every page, with the command that restores the newest good copy.
#[tokio::test]
async fn damaged_data_are_shown_read_only() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = stopped_demonstration(folder.path());
    let forged = "drop trigger journal_kept; update journal set actor = 'x' where sequence = 3";
    change(&data, forged).await.close().await.expect("closed");
    let mut server = demonstration(&data);
    let page = server.ask("/sign-in");
    let copy = newest_copy(&data.join("backup"));
    assert!(
        page.contains("Read only. The database is damaged: journal entry 3 was changed")
            && page.contains(&format!("--from {} --replace", copy.display())),
        "{page}"
    );
    assert!(server.stop("TERM").success());

    // What is no database at all is told before anything is served.
    fs::write(data.join("mendpost.db"), "x".repeat(8192)).expect("written");
    let refused = mendpost(&["demo", "--data", text(&data)]);
    assert_fails(&refused, 1, "is damaged and cannot be opened");
    assert_fails(&refused, 1, &format!("--from {} --replace", copy.display()));
}

/// The program that holds the file is named: here it is the test itself.
#[tokio::test]
async fn a_locked_database_names_who_holds_it() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = stopped_demonstration(folder.path());
    let held = change(&data, "pragma locking_mode = exclusive; begin exclusive").await;
    let refused = mendpost(&["demo", "--data", text(&data)]);
    let holder = format!("(process {})", std::process::id());
    assert_fails(&refused, 1, "is locked by");
    if cfg!(target_os = "linux") {
        assert_fails(&refused, 1, &holder);
    }
    drop(held);
}

/// An account that may read the folder and not write it: served from a copy elsewhere, read-only. Root
/// may write everything, so the service runs as nobody then.
#[test]
fn a_folder_that_cannot_be_written_is_shown_all_the_same() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = stopped_demonstration(folder.path());
    let temporary = folder.path().join("tmp");
    fs::create_dir(&temporary).expect("made");
    let allow = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("ours");
    };
    allow(folder.path(), 0o755);
    allow(&temporary, 0o777);
    allow(&data, 0o555);
    allow(&data.join("mendpost.db"), 0o444);
    allow(&data.join("mendpost.lock"), 0o444);
    let binary = folder.path().join("mendpost");
    fs::copy(env!("CARGO_BIN_EXE_mendpost"), &binary).expect("copied");
    let mut serve = std::process::Command::new(&binary);
    serve
        .args(["demo", "--data", text(&data), "--listen", "127.0.0.1:0"])
        .env("TMPDIR", &temporary)
        .stdout(std::process::Stdio::piped());
    if fs::metadata("/proc/self").is_ok_and(|own| std::os::unix::fs::MetadataExt::uid(&own) == 0) {
        serve.uid(65_534).gid(65_534);
    }
    let mut server = Server::spawn(serve);
    let page = server.ask("/sign-in");
    assert!(
        page.contains("Read only. The folder")
            && page.contains("cannot be written: Permission denied"),
        "{page}"
    );
    assert!(page.contains("Port Ansel"));
    assert!(server.stop("TERM").success());
    assert_eq!(
        fs::read_dir(&temporary).expect("there").count(),
        0,
        "nothing is left"
    );
    allow(&data, 0o755);
}
