//! Copies of the data: made under load, checked, kept, shown, and restored.

use std::fs;
use std::path::{Path, PathBuf};

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::backup::check::{self, Fault, sum_file};
use mendpost_server::backup::keeper::{copy_if_due, own_folder};
use mendpost_server::backup::name::{CopyName, Why};
use mendpost_server::backup::restore::{Restore, RestoreError, Restored, restore};
use mendpost_server::backup::{copy, shelf::Shelf};
use mendpost_server::clock::Clock;
use mendpost_server::config::Config;
use mendpost_server::db::{self, FILE};
use mendpost_server::routes::Routes;
use mendpost_tests::{App, START, between};
use sqlx::sqlite::SqliteConnection;
use sqlx::{AssertSqlSafe, ConnectOptions};
use tempfile::TempDir;

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

async fn one_copy(app: &App) -> PathBuf {
    copy_if_due(&app.state).await;
    let shelf = shelf(&own_folder(&app.state.db.folder));
    shelf.path(&shelf.newest().expect("a copy").name)
}

fn shelf(folder: &Path) -> Shelf {
    Shelf::list(folder).expect("listed")
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

/// The sum is in the form of `sha256sum` (GNU coreutils), which finds it right.
#[tokio::test(flavor = "multi_thread")]
async fn anybody_can_check_the_sum() {
    let app = App::new().await;
    let copy = one_copy(&app).await;
    let told = std::process::Command::new("sha256sum")
        .arg("-c")
        .arg(sum_file(&copy).file_name().expect("a name"))
        .current_dir(copy.parent().expect("in a folder"))
        .output()
        .expect("sha256sum runs");
    assert!(told.status.success(), "{told:?}");
}

/// A copy every four hours, none while nothing changes; and nothing but the files of the copies.
#[tokio::test(flavor = "multi_thread")]
async fn copies_are_made_by_the_clock_and_only_when_something_changed() {
    let mut app = App::new().await;
    app.sign_in(Role::Crew).await;
    let folder = own_folder(&app.state.db.folder);
    copy_if_due(&app.state).await;
    assert_eq!(shelf(&folder).copies.len(), 1, "soon after the start");
    app.wait_minutes(5 * 60);
    copy_if_due(&app.state).await;
    assert_eq!(shelf(&folder).copies.len(), 1, "it still holds everything");

    app.post("/cell/reading", &[("fuel", "390")]).await;
    copy_if_due(&app.state).await;
    assert_eq!(shelf(&folder).copies.len(), 2);
    app.post("/cell/reading", &[("fuel", "380")]).await;
    app.wait_minutes(4 * 60 - 1);
    copy_if_due(&app.state).await;
    assert_eq!(shelf(&folder).copies.len(), 2, "not yet four hours");
    app.wait_minutes(1);
    copy_if_due(&app.state).await;
    assert_eq!(shelf(&folder).copies.len(), 3);
    let files = fs::read_dir(&folder).expect("there").count();
    assert_eq!(files, 6, "three copies with their sums");

    // Years later the last two are let go; the newest stays.
    app.wait_minutes(3 * 366 * 24 * 60);
    copy_if_due(&app.state).await;
    assert_eq!(shelf(&folder).copies.len(), 1);
}

/// Two copies in one second get names of their own.
#[tokio::test(flavor = "multi_thread")]
async fn copies_of_one_second_do_not_collide() {
    let app = App::new().await;
    let folder = TempDir::new().expect("a temporary folder");
    let file = app.state.db.file.to_path_buf();
    let make = || copy::make(&file, folder.path(), START, Why::Asked);
    let (one, two, three) = tokio::join!(make(), make(), make());
    let mut names = [one, two, three].map(|copied| copied.expect("a copy").name.turn);
    names.sort_unstable();
    assert_eq!(names, [1, 2, 3]);
    assert_eq!(shelf(folder.path()).copies.len(), 3);
}

/// The stick is told to be missing and not made; once it is in it gets the newest copy, compared.
#[tokio::test(flavor = "multi_thread")]
async fn a_second_folder_gets_the_newest_copy_when_it_is_there() {
    let place = TempDir::new().expect("a temporary folder");
    let stick = place.path().join("stick");
    let config = Config {
        demonstration: true,
        backup_to: vec![stick.clone()],
        ..Config::default()
    };
    let mut app = App::with(config, Routes::default()).await;
    app.sign_in(Role::Viewer).await;
    copy_if_due(&app.state).await;
    assert!(!stick.exists(), "a stick is never made");
    let page = app.get("/now").await;
    let missing = format!("{} is not there", stick.display());
    assert!(page.contains(&missing), "{}", page.body);

    fs::create_dir(&stick).expect("the stick is put in");
    app.wait_minutes(11);
    copy_if_due(&app.state).await;
    let own = shelf(&own_folder(&app.state.db.folder));
    let there = shelf(&stick);
    assert_eq!(there.copies.len(), 1);
    let name = &there.copies[0].name;
    assert_eq!(*name, own.copies[0].name);
    assert_eq!(
        fs::read(there.path(name)).expect("read"),
        fs::read(own.path(name)).expect("read")
    );
    check::sum_holds(&there.path(name)).expect("its sum came too");
    let page = app.get("/now").await;
    assert!(!page.contains(&missing));
    assert!(
        page.contains(&format!("on {} 11 min ago", stick.display())),
        "{}",
        page.body
    );
}

/// Now: none yet, then a quiet line, and after a day with unsaved changes what to do.
#[tokio::test(flavor = "multi_thread")]
async fn now_tells_the_age_of_the_last_good_copy() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    assert!(
        app.get("/now")
            .await
            .contains("No good copy in backup yet.")
    );
    copy_if_due(&app.state).await;
    app.wait_minutes(125);
    let page = app.get("/now").await;
    assert!(
        page.contains("Last good copy 2 h ago, in backup, "),
        "{}",
        page.body
    );
    assert!(!page.contains("good copy in backup was made"));

    // A day with nothing new needs no copy; with one change it does.
    app.wait_minutes(23 * 60);
    app.sign_in(Role::Lead).await;
    assert!(
        !app.get("/now")
            .await
            .contains("good copy in backup was made")
    );
    app.post("/cell/reading", &[("fuel", "390")]).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("The last good copy in backup was made 25 h ago.")
            && page.contains("One change is in no copy."),
        "{}",
        page.body
    );
}

/// A folder that cannot be written is told with its reason, on Now and on the page of the copies.
#[tokio::test(flavor = "multi_thread")]
async fn a_failure_is_shown_until_a_copy_succeeds() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let folder = own_folder(&app.state.db.folder);
    fs::write(&folder, "not a folder").expect("written");
    copy_if_due(&app.state).await;
    let page = app.get("/now").await;
    assert!(
        page.contains("No copy was made in backup, just now."),
        "{}",
        page.body
    );
    let answer = app.post("/site/backup", &[]).await;
    assert_eq!(answer.location(), "/site/backup");
    let page = app.get("/site/backup").await;
    assert!(
        page.contains("<b>No copy was made.</b> It failed: cannot write to"),
        "{}",
        page.body
    );

    fs::remove_file(&folder).expect("removed");
    app.post("/site/backup", &[]).await;
    let page = app.get("/site/backup").await;
    assert!(page.contains("<b>SAVED</b>"), "{}", page.body);
    assert!(!page.contains("No copy was made"));
}

/// The lead has one made; the page lists it with age, entry and place. A viewer only looks.
#[tokio::test(flavor = "multi_thread")]
async fn the_page_lists_the_copies_and_makes_one() {
    let mut app = App::new().await;
    app.sign_in(Role::Lead).await;
    let page = app.get("/site/backup").await;
    assert!(page.contains("No good copy here.") && page.contains("Copy now"));
    app.post("/site/backup", &[]).await;
    let page = app.get("/site/backup").await;
    let row = between(&page.body, "<tr><td>just now", "</tr>").expect("a row");
    assert!(
        row.contains("asked for") && row.contains("25 Nov 2026 15:40"),
        "{row}"
    );
    let file = between(row, "<td>", "</td>").expect("a file");
    let name: CopyName = file.parse().expect("its name");
    assert_eq!(name.at, START);

    let mut viewer = app.other_browser();
    viewer.sign_in(Role::Viewer).await;
    assert!(!viewer.get("/site/backup").await.contains("Copy now"));
    assert_eq!(
        viewer.post("/site/backup", &[]).await.status,
        StatusCode::FORBIDDEN
    );
    assert_eq!(shelf(&own_folder(&app.state.db.folder)).copies.len(), 1);
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

/// A database of an older structure is copied before it is changed; when that fails it is not changed.
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_is_made_before_the_structure_changes() {
    let folder = TempDir::new().expect("a temporary folder");
    let newest = older_database(folder.path()).await;
    fs::write(own_folder(folder.path()), "in the way").expect("written");
    let refused = db::Db::open(folder.path()).await.expect_err("refused");
    assert!(
        refused.to_string().contains("no copy of it could be made"),
        "{refused}"
    );
    assert_eq!(
        structure(folder.path()).await,
        newest - 1,
        "nothing was changed"
    );

    fs::remove_file(own_folder(folder.path())).expect("removed");
    let db = db::Db::open(folder.path()).await.expect("opens");
    db.close().await;
    drop(db);
    assert_eq!(structure(folder.path()).await, newest);
    let shelf = shelf(&own_folder(folder.path()));
    assert_eq!(shelf.copies.len(), 1);
    assert_eq!(shelf.copies[0].name.why, Why::Update);
    let copy = check::file(&shelf.path(&shelf.copies[0].name))
        .await
        .expect("whole");
    assert_eq!(copy.structure, newest - 1);

    // Opened again there is nothing to change, and nothing is copied.
    db::Db::open(folder.path())
        .await
        .expect("opens")
        .close()
        .await;
    assert_eq!(self::shelf(&own_folder(folder.path())).copies.len(), 1);
}

/// A database as it was before the last change of structure.
async fn older_database(folder: &Path) -> i64 {
    let newest = db::newest_structure();
    let mut connection = sqlx::sqlite::SqliteConnectOptions::new()
        .filename(folder.join(FILE))
        .create_if_missing(true)
        .connect()
        .await
        .expect("made");
    let steps: Vec<_> = db::MIGRATOR
        .iter()
        .filter(|step| step.version < newest)
        .cloned()
        .collect();
    sqlx::migrate::Migrator::with_migrations(steps)
        .run_direct(None, &mut connection, false)
        .await
        .expect("an older structure");
    newest
}

async fn structure(folder: &Path) -> i64 {
    let mut connection = db::reading(&folder.join(FILE))
        .connect()
        .await
        .expect("readable");
    sqlx::query_scalar("select max(version) from _sqlx_migrations")
        .fetch_one(&mut connection)
        .await
        .expect("a structure")
}
