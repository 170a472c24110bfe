//! Rules of carriage: what somebody wrote down of road, sea and air.

use axum::http::StatusCode;
use mendpost_core::resupply::{CarriageRules, Mode, PackingGroup};
use mendpost_server::resupply::carriage::queries;
use mendpost_tests::{App, number};

use super::{send, storekeeper};

const ROAD: &str = "/resupply/carriage/road";

/// Two rules and one pair, the second rule in the third place of the form.
const RULES: [(&str, &str); 17] = [
    ("version", "1"),
    ("edition", "ADR 2027, 1.1.3.6"),
    ("points_limit", "1000"),
    ("r0_un", "1396"),
    ("r0_class", "4.3"),
    ("r0_packing_group", "II"),
    ("r0_refused", "no"),
    ("r0_package", "15"),
    ("r0_load", "333"),
    ("r0_points", "3"),
    ("r0_note", "transport category 2"),
    ("r2_refused", "yes"),
    ("r2_note", "ask the shipper"),
    ("a0_one", "4.1"),
    ("a0_other", "5.1"),
    ("a0_what", "not together"),
    ("a0_can_be_kept", "no"),
];

async fn of(app: &App, mode: Mode) -> CarriageRules {
    let mut reading = app.state.db.read.acquire().await.expect("a connection");
    let rules = queries::of(&mut reading, mode).await.expect("rules");
    rules.expect("written down")
}

/// The page names edition and author, and says that it declares nothing. By road 1 000 points are the most of
/// one load, and group II counts three for each kilogram (ADR 1.1.3.6.3).
#[tokio::test]
async fn the_rules_are_shown_with_edition_and_warning() {
    let mut app = storekeeper().await;
    let page = app.get("/resupply/carriage").await;
    for said in [
        "A trained shipper decides, by the edition in force; this warns only, and is no declaration.",
        "ADR 2025, 1.1.3.6. At most 1000 points in one load.",
        "entered by Storekeeper, 16 Nov 2026 09:00",
        "class 4.3, group II",
        "3 points a kg or l",
        "UN 1396, group II",
        "at most 15 kg or l in a package, at most 25 kg or l in a load",
        "<b>3 and 4.3</b>",
        "never on one trip",
        "from memory; check the edition in force",
        "<b>all others</b>",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let road = of(&app, Mode::Road).await;
    assert_eq!(road.points_milli, Some(1_000_000));
    assert!(
        road.apart.is_empty(),
        "7.5.2.1 parts none of 2.2, 3, 4.1 and 4.3"
    );
    assert_eq!(of(&app, Mode::Sea).await.points_milli, None);
}

/// Every note of the demonstration says that it is from memory, or that nothing was written down.
#[tokio::test]
async fn a_rule_says_where_it_stands() {
    let app = storekeeper().await;
    for mode in Mode::ALL.iter().copied() {
        for rule in of(&app, mode).await.rules {
            let told = ["from memory", "nothing else was written down"];
            assert!(
                told.iter().any(|it| rule.note.contains(it)),
                "{mode}: {}",
                rule.note
            );
        }
    }
}

/// Written down anew, they hold as a whole; what was written before stays on record.
#[tokio::test]
async fn the_rules_of_a_mode_are_written_down_as_a_whole() {
    let mut app = storekeeper().await;
    let answer = send(&mut app, ROAD, &RULES, &[]).await;
    assert_eq!(answer.location(), "/resupply/carriage", "{}", answer.body);
    let road = of(&app, Mode::Road).await;
    assert_eq!(road.edition, "ADR 2027, 1.1.3.6");
    assert_eq!(road.entered_by, "Storekeeper");
    let [first, second] = road.rules.as_slice() else {
        panic!("two rules: {:?}", road.rules);
    };
    assert_eq!(
        (first.un, first.group),
        (Some(1_396), Some(PackingGroup::II))
    );
    assert_eq!(
        (first.package, first.load, first.points),
        (Some(15_000), Some(333_000), 3)
    );
    assert!(second.refused && second.un.is_none() && second.class.is_none());
    assert!(!road.apart[0].can_be_kept);
    let versions = "select count(*) from carriage_said where mode = 'road'";
    assert_eq!(number(&app, versions).await, Some(2));

    let stale = send(&mut app, ROAD, &RULES, &[("edition", "another")]).await;
    assert_eq!(stale.status, StatusCode::CONFLICT, "{}", stale.body);
    assert!(
        stale.contains("Not saved: Storekeeper wrote these down anew"),
        "{}",
        stale.body
    );
    assert_eq!(of(&app, Mode::Road).await.edition, "ADR 2027, 1.1.3.6");
}

/// Each fault stands beside its field, in the place where it was typed.
#[tokio::test]
async fn a_fault_of_each_field_stands_beside_it() {
    let mut app = storekeeper().await;
    let wrong = [
        ("points_limit", "0"),
        ("points_limit", "many"),
        ("r0_un", "10000"),
        ("r0_class", "12"),
        ("r0_packing_group", "0"),
        ("r0_refused", ""),
        ("r0_package", "0"),
        ("r0_load", "much"),
        ("r0_points", "1001"),
        ("r0_note", ""),
        ("r2_load", "5"),
        ("a0_one", ""),
        ("a0_other", "4.1"),
        ("a0_other", "9.9"),
        ("a0_what", ""),
        ("a0_can_be_kept", ""),
        ("r1_un", "1396"),
    ];
    for (field, typed) in wrong {
        let answer = send(&mut app, ROAD, &RULES, &[(field, typed)]).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} '{typed}'"
        );
        let beside = match field {
            "r1_un" => "r1_note",
            other => other,
        };
        let fault = answer.field_error(beside);
        assert!(fault.is_some(), "{field} '{typed}': {}", answer.body);
        assert!(
            answer.contains("value=\"ADR 2027, 1.1.3.6\""),
            "{field}: {}",
            answer.body
        );
    }
    let bare = send(&mut app, ROAD, &RULES, &[("edition", "")]).await;
    assert!(bare.field_error("edition").is_some(), "{}", bare.body);
    let same = [
        ("r2_un", "1396"),
        ("r2_class", "4.3"),
        ("r2_packing_group", "II"),
    ];
    let twice = send(&mut app, ROAD, &RULES, &same).await;
    let fault = twice.field_error("r2_note").expect("a fault");
    assert!(
        fault.contains("another rule holds for just these entries"),
        "{fault}"
    );
    assert_eq!(of(&app, Mode::Road).await.edition, "ADR 2025, 1.1.3.6");
}
