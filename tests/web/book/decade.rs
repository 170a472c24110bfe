//! A hundredth of ten years of one busy cell, as `ten-years` makes them: the book holds, and the pages open.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::change::verify_journal;
use mendpost_server::db::Db;
use mendpost_tests::decade::{Extent, make, state_on};
use mendpost_tests::{App, START, number};
use tempfile::TempDir;

use super::replayed;

/// The lead's browser in front of a few weeks of two hundred builds.
async fn few_weeks() -> App {
    let folder = TempDir::new().expect("a temporary folder");
    let db = Db::open(folder.path()).await.expect("a new database opens");
    let (state, time) = state_on(db);
    make(&state, &time, Extent::TEN_YEARS.one_in(100), START)
        .await
        .expect("every act is one that the service allows");
    let mut app = App::serving(state, time, folder);
    app.sign_in(Role::Lead).await;
    app
}

/// 200 builds with 2 000 movements of 6 lots: the journal is whole and tells the book of the tables, and what there
/// is much of is shown in part, the newest first, with a way to the rest.
#[tokio::test]
async fn the_book_of_a_busy_cell_is_made_again_from_its_journal() {
    let mut app = few_weeks().await;
    verify_journal(&app.state.db.read)
        .await
        .expect("a readable journal")
        .expect("a whole chain");
    replayed(&app).await;
    let movements = number(&app, "select count(*) from movement").await;
    assert!(
        movements.is_some_and(|it| (1_900..2_200).contains(&it)),
        "{movements:?}"
    );
    assert!(number(&app, "select count(*) from build").await >= Some(200));
    for path in [
        "/builds/1",
        "/builds/200",
        "/requests/1001/trace",
        "/powder/L1001",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::OK, "{path}");
    }
}
