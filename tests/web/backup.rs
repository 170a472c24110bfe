//! Copies of the data: made by the clock and by hand, carried, kept, and shown.

mod restoring;

use std::fs;
use std::path::{Path, PathBuf};

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::backup::check::{self, sum_file};
use mendpost_server::backup::keeper::{copy_if_due, own_folder};
use mendpost_server::backup::name::{CopyName, Why};
use mendpost_server::backup::{copy, shelf::Shelf};
use mendpost_server::config::Config;
use mendpost_server::db::{self, FILE};
use mendpost_server::health::start;
use mendpost_server::routes::Routes;
use mendpost_tests::{App, START, between};
use sqlx::ConnectOptions;
use tempfile::TempDir;

async fn one_copy(app: &App) -> PathBuf {
    copy_if_due(&app.state).await;
    let shelf = shelf(&own_folder(&app.state.db.folder));
    shelf.path(&shelf.newest().expect("a copy").name)
}

fn shelf(folder: &Path) -> Shelf {
    Shelf::list(folder).expect("listed")
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

/// One stick for two cells: the copies of the other one are neither shown as ours nor let go, however
/// old; ours of long ago go.
#[tokio::test(flavor = "multi_thread")]
async fn copies_of_another_site_are_left_alone() {
    let stick = TempDir::new().expect("a temporary folder");
    let config = Config {
        demonstration: true,
        backup_to: vec![stick.path().to_owned()],
        ..Config::default()
    };
    let other = App::of_another_site(config.clone()).await;
    copy_if_due(&other.state).await;
    let theirs = shelf(stick.path()).copies[0].name.clone();
    let mut app = App::with(config, Routes::default()).await;
    app.sign_in(Role::Crew).await;
    for litres in ["390", "380"] {
        app.post("/cell/reading", &[("fuel", litres)]).await;
        copy_if_due(&app.state).await;
        app.wait_minutes(3 * 366 * 24 * 60);
        app.sign_in(Role::Crew).await;
    }
    let copies = shelf(stick.path()).copies;
    assert!(copies.iter().any(|copy| copy.name == theirs));
    assert_eq!(copies.len(), 2, "of ours only the newest is left");
    let page = app.get("/site/backup").await;
    assert!(!page.contains(&theirs.to_string()));
    assert!(page.contains("1 there of another site"), "{}", page.body);
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
    // Its journal's code stands under the file's name.
    let file = between(row, "<td>", "<span").expect("a file");
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

/// A database of an older structure is copied before it is changed; when that fails it is not changed.
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_is_made_before_the_structure_changes() {
    let folder = TempDir::new().expect("a temporary folder");
    let (older, newest) = older_database(folder.path()).await;
    fs::write(own_folder(folder.path()), "in the way").expect("written");
    let refused = db::Db::open(folder.path()).await.expect_err("refused");
    assert!(
        refused.to_string().contains("no copy of it could be made"),
        "{refused}"
    );
    let told = start::open(folder.path()).await.err().expect("refused");
    assert!(
        told.to_string()
            .ends_with("can be written and has room, and start again"),
        "{told}"
    );
    assert_eq!(structure(folder.path()).await, older, "nothing was changed");

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
    assert_eq!(copy.structure, older);

    // Opened again there is nothing to change, and nothing is copied.
    db::Db::open(folder.path())
        .await
        .expect("opens")
        .close()
        .await;
    assert_eq!(self::shelf(&own_folder(folder.path())).copies.len(), 1);
}

/// A database as it was before the last change of structure: which that was, and which is the newest.
async fn older_database(folder: &Path) -> (i64, i64) {
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
    let older = steps.last().expect("more than one step").version;
    sqlx::migrate::Migrator::with_migrations(steps)
        .run_direct(None, &mut connection, false)
        .await
        .expect("an older structure");
    (older, newest)
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
