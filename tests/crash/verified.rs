//! `mendpost verify` as a crew runs it: what it says, and how it ends.

use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::Output;

use mendpost_server::db::FILE;
use mendpost_tests::between;
use mendpost_tests::service::{Service, ended};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use tempfile::TempDir;

fn verify(arguments: &[&OsStr]) -> Output {
    let mut all: Vec<&OsStr> = vec!["verify".as_ref()];
    all.extend(arguments);
    ended(&all)
}

fn said(output: &Output) -> (Option<i32>, String) {
    let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    (output.status.code(), String::from_utf8(text).expect("text"))
}

async fn change(data: &Path, statement: &'static str) {
    let options = SqliteConnectOptions::new().filename(data.join(FILE));
    let mut connection = options.connect().await.expect("it opens");
    sqlx::raw_sql(statement)
        .execute(&mut connection)
        .await
        .expect(statement);
    connection.close().await.expect("it closes");
}

/// Beside a running service it ends with 0 and tells the code; with that code it ends with 0 again. A code typed
/// wrongly is a matter of typing, 2. A copy verifies by its file. After somebody changed a reading in the file it
/// ends with 1 and one line, which names the entry.
#[tokio::test(flavor = "multi_thread")]
async fn verify_ends_as_other_commands_do() {
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("cell");
    let service = Service::demonstration_in(&data);
    let here: [&OsStr; 2] = ["--data".as_ref(), data.as_os_str()];
    let (exit, text) = said(&verify(&here));
    assert_eq!(exit, Some(0), "{text}");
    assert!(
        text.contains("These tables hold what it says: movement ("),
        "{text}"
    );
    assert!(
        text.contains("Not replayed: ") && text.contains("person"),
        "{text}"
    );
    let code = between(&text, ", code ", ". Write")
        .expect("a code")
        .to_owned();

    let head: [&OsStr; 2] = ["--head".as_ref(), code.as_ref()];
    let (exit, text) = said(&verify(&[here, head].concat()));
    assert_eq!(exit, Some(0), "{text}");
    assert!(
        text.contains(&format!("It fits what was written down: {code}.")),
        "{text}"
    );
    let slip = code.replacen('-', "-9", 1);
    let (exit, text) = said(&verify(
        &[here, ["--head".as_ref(), slip.as_ref()]].concat(),
    ));
    assert_eq!(exit, Some(2), "{text}");
    drop(service);

    let copies = data.join("backup");
    let copy = fs::read_dir(&copies)
        .expect("copies")
        .flatten()
        .map(|it| it.path());
    let mut copy = copy.filter(|path| path.extension().is_some_and(|it| it == "db"));
    if let Some(copy) = copy.next() {
        let (exit, text) = said(&verify(&["--copy".as_ref(), copy.as_os_str()]));
        assert_eq!(exit, Some(0), "{text}");
    }

    change(
        &data,
        "drop trigger journal_kept; update journal set content = '{}' where sequence = 7;",
    )
    .await;
    let (exit, text) = said(&verify(&here));
    assert_eq!(exit, Some(1), "{text}");
    assert_eq!(text.lines().count(), 1, "{text}");
    assert!(
        text.contains("journal entry 7 was changed after it was written"),
        "{text}"
    );
    assert!(text.contains("mendpost verify --copy FILE"), "{text}");
    let nowhere = folder.path().join("nowhere");
    let (exit, text) = said(&verify(&["--data".as_ref(), nowhere.as_os_str()]));
    assert_eq!(exit, Some(1), "{text}");
}
