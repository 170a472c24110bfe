//! Failure rates: what is expected beside what was seen.

use mendpost_core::resupply::FailureRecord;
use mendpost_server::resupply::failure::queries;
use mendpost_tests::{App, START, number, text};

use super::{refuses_each, send, storekeeper};

const PATH: &str = "/resupply/failures/RC-RING";

async fn failures(app: &App, part: &str) -> FailureRecord {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    let all = queries::failures(&mut reading, START)
        .await
        .expect("records");
    let found = all.into_iter().find(|it| it.part.as_str() == part);
    found.expect("the part")
}

/// The first report came 10.2 days ago, which are ten whole ones. The ring was reported by requests 2, 32 and
/// 33, and expected twice in 180 days; of the tray frame nobody said anything.
#[tokio::test]
async fn what_is_expected_stands_beside_what_was_seen() {
    let mut app = storekeeper().await;
    let ring = failures(&app, "RC-RING").await;
    assert_eq!((ring.prior_milli, ring.prior_days), (2_000, 180));
    assert_eq!((ring.seen, ring.seen_days), (3, 10));
    let frame = failures(&app, "IP-TRAYFRAME").await;
    assert_eq!((frame.prior_milli, frame.prior_days, frame.seen), (0, 0, 1));
    let page = app.get("/resupply/failures").await;
    for said in [
        "Say how often you expect parts to fail: of 20 of 32 nobody has.",
        "Seen in 10 days",
        "2 in 180 days",
        "they weep before they fail",
        "Cold store keeper, ",
        "nobody said",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
}

/// Said anew it holds, in thousandths; the earlier saying stays, and a stale form says nothing.
#[tokio::test]
async fn a_rate_is_said_anew() {
    let mut app = storekeeper().await;
    let rate = [
        ("times", "1,5"),
        ("days", "90"),
        ("why", "sand"),
        ("version", "1"),
    ];
    let page = app.get(PATH).await;
    assert!(
        page.contains("RC-RING: seen here 3 times in 10 days."),
        "{}",
        page.body
    );
    let answer = send(&mut app, PATH, &rate, &[]).await;
    assert_eq!(answer.location(), "/resupply/failures", "{}", answer.body);
    let ring = failures(&app, "RC-RING").await;
    assert_eq!((ring.prior_milli, ring.prior_days), (1_500, 90));
    let stale = send(&mut app, PATH, &rate, &[("times", "9")]).await;
    assert!(stale.contains("Save mine over it"), "{}", stale.body);
    assert_eq!(failures(&app, "RC-RING").await.prior_milli, 1_500);
    let all = "select count(*) from failure_said f join part p on p.id = f.part_id where p.code = 'RC-RING'";
    assert_eq!(number(&app, all).await, Some(2));
    let by = "select said_by from failure_said order by said_ms desc, version desc limit 1";
    assert_eq!(text(&app, by).await.as_deref(), Some("Storekeeper"));
}

#[tokio::test]
async fn a_fault_of_each_field_stands_beside_it() {
    let mut app = storekeeper().await;
    let rate = [
        ("times", "1.5"),
        ("days", "90"),
        ("why", "sand"),
        ("version", "1"),
    ];
    let wrong = [
        ("times", ""),
        ("times", "0"),
        ("times", "0.0001"),
        ("times", "often"),
        ("days", ""),
        ("days", "0"),
        ("days", "36501"),
    ];
    refuses_each(&mut app, PATH, &rate, &wrong, ">sand</textarea>").await;
    let silent = send(&mut app, PATH, &rate, &[("why", " ")]).await;
    assert!(silent.field_error("why").is_some(), "{}", silent.body);
    assert_eq!(failures(&app, "RC-RING").await.prior_milli, 2_000);
}
