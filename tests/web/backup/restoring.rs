//! From a copy back to a site: the same rows, and nothing of a copy that is not whole.

use std::fs;
use std::path::Path;

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::backup::check::{self, Fault, sum_file};
use mendpost_server::backup::copy;
use mendpost_server::backup::name::Why;
use mendpost_server::backup::restore::{Restore, RestoreError, Restored, restore};
use mendpost_server::clock::Clock;
use mendpost_server::db::{self, FILE};
use mendpost_tests::{App, START};
use sqlx::sqlite::SqliteConnection;
use sqlx::{AssertSqlSafe, ConnectOptions};
use tempfile::TempDir;

use super::one_copy;

/// Four people enter readings while five copies are made. Each copy is what the site was at its journal
/// entry: nothing later, nothing half. One is restored elsewhere and compared row by row.
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_under_load_restores_to_the_same_rows() {
    let app = App::new().await;
    let source = app.state.db.file.to_path_buf();
    let folder = TempDir::new().expect("a temporary folder");
    let mut writers = Vec::new();
    for _ in 0..4 {
        let mut browser = app.other_browser();
        browser.sign_in(Role::Crew).await;
        writers.push(tokio::spawn(async move {
            for litres in 400..412 {
                let fields = [("fuel", litres.to_string())];
                let fields = fields
                    .each_ref()
                    .map(|(name, value)| (*name, value.as_str()));
                let answer = browser.post("/cell/reading", &fields).await;
                assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
            }
        }));
    }
    let mut copies = Vec::new();
    while copies.len() < 5 || writers.iter().any(|writer| !writer.is_finished()) {
        let copied = copy::make(&source, folder.path(), START, Why::Timed)
            .await
            .expect("a whole copy");
        copies.push(copied);
    }
    for writer in writers {
        writer.await.expect("every reading is taken");
    }
    let sequences: Vec<i64> = copies.iter().map(|copy| copy.whole.sequence).collect();
    assert!(sequences.is_sorted());
    assert!(
        sequences.first() < sequences.last(),
        "writing went on while copies were made: {sequences:?}"
    );

    for copied in [
        &copies[0],
        &copies[copies.len() / 2],
        &copies[copies.len() - 1],
    ] {
        let elsewhere = TempDir::new().expect("a temporary folder");
        let restored = restored(&copied.path, elsewhere.path(), false)
            .await
            .expect("restored");
        assert_eq!(restored.whole, copied.whole);
        assert_same_rows(&source, &elsewhere.path().join(FILE), copied.whole.sequence).await;
    }
}

/// Every table of the restored site holds what the source held when its journal stood there, and
/// nothing else; but for the sessions, and the entry that tells of the restoring.
async fn assert_same_rows(source: &Path, restored: &Path, sequence: i64) {
    let mut connection = db::reading(source).connect().await.expect("readable");
    sqlx::query("attach ? as restored")
        .bind(restored.to_str().expect("a plain name"))
        .execute(&mut connection)
        .await
        .expect("attached");
    let tables: Vec<String> = sqlx::query_scalar(
        "select name from sqlite_schema where type = 'table' and name not like 'sqlite_%'",
    )
    .fetch_all(&mut connection)
    .await
    .expect("tables");
    assert!(tables.len() > 20, "{tables:?}");
    for table in tables {
        let of_then = match table.as_str() {
            "journal" => format!("where sequence <= {sequence}"),
            "answered" => format!("where journal_sequence <= {sequence}"),
            // What was entered later is in a later entry of the journal.
            "reading" => format!(
                "where lower(hex(id)) not in (select replace(subject_id, '-', '')
                 from main.journal where subject_kind = 'reading' and sequence > {sequence})"
            ),
            "session" => "where false".to_owned(),
            _ => String::new(),
        };
        let of_restored = match table.as_str() {
            "journal" => format!("where sequence <> {} + 1", sequence),
            _ => String::new(),
        };
        let then = format!("select * from main.{table} {of_then}");
        let now = format!("select * from restored.{table} {of_restored}");
        for (rows, without) in [(&then, &now), (&now, &then)] {
            let differing = count(&mut connection, &format!("{rows} except {without}")).await;
            assert_eq!(differing, 0, "{table}");
        }
        let counts = (
            count(&mut connection, &then).await,
            count(&mut connection, &now).await,
        );
        assert_eq!(counts.0, counts.1, "{table}");
    }
    let (kind, content): (String, String) =
        sqlx::query_as("select kind, content from restored.journal where sequence = ?")
            .bind(sequence + 1)
            .fetch_one(&mut connection)
            .await
            .expect("an entry of its own");
    assert_eq!(kind, "site.restored");
    assert!(
        content.contains(&format!("\"sequence\":{sequence}")),
        "{content}"
    );
}

async fn count(connection: &mut SqliteConnection, rows: &str) -> i64 {
    sqlx::query_scalar(AssertSqlSafe(format!("select count(*) from ({rows})")))
        .fetch_one(connection)
        .await
        .expect("rows")
}

async fn restored(from: &Path, to: &Path, replace: bool) -> Result<Restored, RestoreError> {
    let wanted = Restore {
        folder: to.to_owned(),
        from: from.to_owned(),
        replace,
        without_sum: false,
    };
    restore(&wanted, &Clock::fixed(START)).await
}

/// One bit anywhere: the sum finds it, and nothing is restored. 64 places spread over the file by a
/// fixed rule, and the first and last byte.
#[tokio::test(flavor = "multi_thread")]
async fn a_flipped_bit_is_found_wherever_it_is() {
    let app = App::new().await;
    let copy = one_copy(&app).await;
    let whole = fs::read(&copy).expect("read");
    let step = 2_654_435_761_usize;
    let places = (0..64).map(|n| n * step % whole.len());
    let elsewhere = TempDir::new().expect("a temporary folder");
    for (n, place) in places.chain([0, whole.len() - 1]).enumerate() {
        let mut flipped = whole.clone();
        flipped[place] ^= 1 << (n % 8);
        fs::write(&copy, &flipped).expect("written");
        let refused = restored(&copy, elsewhere.path(), false)
            .await
            .expect_err("refused");
        assert!(
            refused.to_string().contains("is not what was copied"),
            "byte {place}: {refused}"
        );
    }
    assert_eq!(fs::read_dir(elsewhere.path()).expect("there").count(), 0);
    fs::write(&copy, &whole).expect("written");
    restored(&copy, elsewhere.path(), false)
        .await
        .expect("whole again");
}

/// A forger may make the sum fit; the chain, the references and the pages still tell.
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_with_a_fitting_sum_is_still_checked_through_and_through() {
    let app = App::new().await;
    let copy = one_copy(&app).await;
    let whole = fs::read(&copy).expect("read");
    for (change, fault) in [
        (
            "drop trigger journal_kept; update journal set actor = 'nobody' where sequence = 1",
            "journal entry 1 was changed",
        ),
        (
            "pragma foreign_keys = off; delete from asset where id = (select asset_id from request)",
            "point to nothing",
        ),
    ] {
        let mut connection = sqlx::sqlite::SqliteConnectOptions::new()
            .filename(&copy)
            .connect()
            .await
            .expect("writable");
        sqlx::raw_sql(change)
            .execute(&mut connection)
            .await
            .expect(change);
        drop(connection);
        fs::write(sum_file(&copy), check::sum(&copy).expect("read")).expect("written");
        let elsewhere = TempDir::new().expect("a temporary folder");
        let refused = restored(&copy, elsewhere.path(), false)
            .await
            .expect_err("refused");
        assert!(refused.to_string().contains(fault), "{refused}");
        fs::write(&copy, &whole).expect("written");
    }
    // The tail of the file is gone, as on a stick pulled too early.
    fs::write(&copy, &whole[..whole.len() / 2]).expect("written");
    let fault = check::file(&copy).await.expect_err("half a file");
    assert!(
        matches!(fault, Fault::Pages(_) | Fault::Unreadable(_)),
        "{fault}"
    );
}

/// What is there is not touched without being told, and kept when it is replaced; whoever was signed in
/// has to sign in again.
#[tokio::test(flavor = "multi_thread")]
async fn restoring_overwrites_nothing_and_keeps_what_it_replaces() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let copy = one_copy(&app).await;
    let elsewhere = TempDir::new().expect("a temporary folder");
    let first = restored(&copy, elsewhere.path(), false)
        .await
        .expect("restored");
    assert_eq!(first.kept, None);
    let before = fs::read(elsewhere.path().join(FILE)).expect("read");

    let refused = restored(&copy, elsewhere.path(), false)
        .await
        .expect_err("refused");
    assert!(refused.to_string().ends_with("add --replace"), "{refused}");
    assert_eq!(fs::read(elsewhere.path().join(FILE)).expect("read"), before);
    for _ in 0..2 {
        let second = restored(&copy, elsewhere.path(), true)
            .await
            .expect("restored");
        let kept = second.kept.expect("something was there").join(FILE);
        assert_eq!(
            check::file(&kept).await.expect("whole").sequence,
            first.whole.sequence + 1
        );
    }
    let db = db::Db::open(elsewhere.path()).await.expect("opens");
    let sessions: i64 = sqlx::query_scalar("select count(*) from session")
        .fetch_one(&db.read)
        .await
        .expect("counted");
    assert_eq!(sessions, 0);
    let busy = restored(&copy, elsewhere.path(), true)
        .await
        .expect_err("in use");
    assert!(
        busy.to_string().contains("another mendpost is running"),
        "{busy}"
    );
    db.close().await;
    let left: Vec<_> = fs::read_dir(elsewhere.path())
        .expect("there")
        .map(|file| {
            file.expect("a file")
                .file_name()
                .into_string()
                .expect("plain")
        })
        .filter(|name| name.starts_with("restoring"))
        .collect();
    assert_eq!(left, [] as [&str; 0]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_of_a_newer_structure_or_without_a_sum_is_refused() {
    let app = App::new().await;
    let copy = one_copy(&app).await;
    let elsewhere = TempDir::new().expect("a temporary folder");
    fs::remove_file(sum_file(&copy)).expect("removed");
    let refused = restored(&copy, elsewhere.path(), false)
        .await
        .expect_err("refused");
    assert!(
        refused.to_string().contains("add --without-sum"),
        "{refused}"
    );

    let mut connection = sqlx::sqlite::SqliteConnectOptions::new()
        .filename(&copy)
        .connect()
        .await
        .expect("writable");
    sqlx::query("update _sqlx_migrations set version = 9999 where version = 1")
        .execute(&mut connection)
        .await
        .expect("changed");
    drop(connection);
    let wanted = Restore {
        folder: elsewhere.path().to_owned(),
        from: copy,
        replace: false,
        without_sum: true,
    };
    let refused = restore(&wanted, &Clock::fixed(START))
        .await
        .expect_err("refused");
    assert!(
        refused
            .to_string()
            .contains("newer mendpost (structure 9999"),
        "{refused}"
    );
}
