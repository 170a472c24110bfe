//! Killed in the middle of writing, again and again: what was acknowledged is there, nothing is half
//! done, and the journal's chain is whole.
//!
//! `MENDPOST_KILLS` says how many times; 20 unless told otherwise.

mod tablet;
mod verified;

use std::collections::BTreeSet;
use std::env;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use mendpost_server::db::open_to_read;
use mendpost_server::verify::replayed;
use mendpost_tests::service::Service;
use sqlx::SqlitePool;
use tempfile::TempDir;
use tokio::time::sleep;

use tablet::Tablet;

/// Four tablets report parts as fast as they can; every report is a request, its ways, at times a
/// machine that is down, and their journal entries. The process is killed at another moment each time.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn nothing_acknowledged_is_lost_and_nothing_is_half_done() {
    let rounds: u32 = env::var("MENDPOST_KILLS").map_or(20, |text| text.parse().expect("a number"));
    let folder = TempDir::new().expect("a temporary folder");
    let data = folder.path().join("cell");
    let acknowledged = Arc::new(Mutex::new(BTreeSet::new()));
    let mut unfinished = 0;
    for round in 0..rounds {
        let service = Service::demonstration_in(&data);
        let mut writers = Vec::new();
        for writer in WRITERS {
            let mut tablet = Tablet::new(service.url(""));
            tablet.sign_in(writer).await;
            let acknowledged = Arc::clone(&acknowledged);
            writers.push(tokio::spawn(async move {
                for count in 0.. {
                    let name = format!("crash test {round}-{writer}-{count}");
                    if !tablet.report(&name).await {
                        return 1_usize;
                    }
                    acknowledged.lock().expect("no writer fails").insert(name);
                }
                0
            }));
        }
        // Moments spread over the time of many commits, the same in every run.
        sleep(Duration::from_millis(20 + u64::from(round) * 37 % 300)).await;
        service.kill();
        for writer in writers {
            unfinished += writer.await.expect("a writer only stops");
        }
        let known = acknowledged.lock().expect("no writer fails").clone();
        check(&data, &known).await;
    }
    let known = acknowledged.lock().expect("no writer fails").len();
    println!("{rounds} kills: {known} reports acknowledged, {unfinished} cut off");
    assert!(
        known > usize::try_from(rounds).expect("a small number"),
        "the writers wrote: {known}"
    );
    assert!(
        unfinished > 0,
        "no report was cut off: the test tests nothing"
    );
}

const WRITERS: [&str; 4] = ["Cell lead", "Sprayer", "Machinist", "Storekeeper"];

async fn check(data: &Path, acknowledged: &BTreeSet<String>) {
    let pool = open_to_read(data).await.expect("it opens");
    let integrity = texts(&pool, "select * from pragma_integrity_check").await;
    assert_eq!(integrity, ["ok"]);
    let broken = texts(&pool, "select \"table\" from pragma_foreign_key_check").await;
    assert!(broken.is_empty(), "{broken:?}");
    replayed(&pool)
        .await
        .expect("a whole chain, and tables that hold what it says");

    let found: BTreeSet<String> = texts(&pool, "select part_name from request")
        .await
        .into_iter()
        .collect();
    let lost: Vec<&String> = acknowledged.difference(&found).collect();
    assert!(lost.is_empty(), "acknowledged and lost: {lost:?}");
    for (what, query) in HALF_DONE {
        let half = texts(&pool, query).await;
        assert!(half.is_empty(), "{what}: {half:?}");
    }
    pool.close().await;
}

/// What must not be, whatever was cut off.
const HALF_DONE: [(&str, &str); 4] = [
    (
        "requests that no journal entry tells of",
        "select part_name from request where part_name like 'crash test %' and not exists (
           select 1 from journal where kind = 'request.filed' and subject_id = 'R' || number)",
    ),
    (
        "journal entries of requests that are not there",
        "select subject_id from journal where kind = 'request.filed' and not exists (
           select 1 from request where 'R' || number = subject_id)",
    ),
    (
        "requests whose answer was not kept, so that the form sent again would file them twice",
        "select part_name from request r where part_name like 'crash test %' and not exists (
           select 1 from answered a where a.location = '/requests/' || r.number)",
    ),
    (
        "answers to nothing",
        "select location from answered a where location like '/requests/%' and not exists (
           select 1 from request r where a.location = '/requests/' || r.number)",
    ),
];

async fn texts(pool: &SqlitePool, query: &'static str) -> Vec<String> {
    sqlx::query_scalar(query)
        .fetch_all(pool)
        .await
        .expect(query)
}
