//! Random histories through the service's own way of moving powder.

use mendpost_core::code::LotCode;
use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::Place;
use mendpost_server::book::{self, Line};
use mendpost_server::change::{Actor, Change};
use mendpost_tests::{App, number};
use serde_json::json;

use super::replayed;

/// Whatever is tried, in whatever order: what cannot be is refused and leaves no trace, what can be is entered once,
/// the book made again from the journal is the book of the tables, and its sum is what came. The seeds are fixed, so
/// that a failure can be looked at.
#[tokio::test]
async fn whatever_is_tried_nothing_is_lost() {
    for seed in 1..=4 {
        let app = App::new().await;
        let mut random = fastrand::Rng::with_seed(seed);
        let (mut entered, mut refused) = (0, 0);
        for _ in 0..150 {
            match tried(&app, &mut random).await {
                true => entered += 1,
                false => refused += 1,
            }
        }
        assert!(
            entered > 20 && refused > 20,
            "{entered} entered, {refused} refused"
        );
        replayed(&app).await;
        let below = "select count(*) from container_now where milligrams < 0";
        assert_eq!(number(&app, below).await, Some(0));
    }
}

/// Moves some powder somewhere, or takes back what an earlier entry moved; whether that could be.
async fn tried(app: &App, random: &mut fastrand::Rng) -> bool {
    let mut change = Change::begin(&app.state, Actor::Mendpost)
        .await
        .expect("the writer");
    let subject = Subject::new("lot", "tried");
    if random.u8(..) < 40 {
        let last = number(app, "select max(sequence) from journal")
            .await
            .unwrap_or(1);
        let of = random.i64(1..=last);
        let back = book::take_back(&mut change, of, "tried", subject, None).await;
        return match back {
            Ok(_) => change.commit().await.is_ok(),
            Err(_) => false,
        };
    }
    let (lot, containers) = [
        ("L0390", ["L0390-1", "L0390-2"]),
        ("L0393", ["L0393-1", "L0393-2"]),
        ("L0395", ["L0395-1", "L0395-2"]),
    ][random.usize(..3)];
    let container = Place::Container(containers[random.usize(..2)].parse().expect("a code"));
    let other = Place::Container(containers[random.usize(..2)].parse().expect("a code"));
    let (from, to, reason) = match random.usize(..7) {
        0 => (container, Place::Feeder, Reason::Draw),
        1 => (Place::Feeder, container, Reason::Return),
        2 => (container, Place::Waste, Reason::WriteOff),
        3 => (container, Place::Gap, Reason::Count),
        4 => (Place::Gap, container, Reason::Count),
        5 => (container, other, Reason::Repack),
        _ => (Place::Feeder, Place::Waste, Reason::WriteOff),
    };
    let lot: LotCode = lot.parse().expect("a code");
    let movement = book::movement(&lot, from, to, random.i64(1..3_000_000), reason);
    let line = Line {
        movement,
        note: "",
        at_ms: change.now(),
    };
    match book::record(&mut change, "powder.tried", subject, json!({}), &[line]).await {
        Ok(_) => change.commit().await.is_ok(),
        Err(_) => false,
    }
}
