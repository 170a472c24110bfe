//! What goes on a trip of the demonstration: within every limit, worth more than usual ways of ordering, and
//! shown as what it is.

use axum::http::StatusCode;
use chrono::{DateTime, Utc};
use mendpost_core::people::Role;
use mendpost_core::resupply::{Carrier, Load, Proposal, Usual};
use mendpost_tests::{App, site};

const PATH: &str = "/resupply";

async fn worked_out(app: &mut App, trip: &str) -> std::sync::Arc<mendpost_server::resupply::Found> {
    app.get(&format!("{PATH}?trip={trip}")).await;
    let answer = app.post("/resupply/work-out", &[("trip", trip)]).await;
    assert_eq!(answer.location(), format!("{PATH}?trip={trip}"));
    app.state.proposals.finished().await;
    let shown = app.state.proposals.shown();
    assert!(!shown.failed);
    shown.found.expect("worked out")
}

/// What the boat takes and the aircraft takes differ: each load is within all limits of its own trip. Each
/// averts more than cans for the oldest requests until it is full, and more than the same kilos of each
/// powder; what must go goes first; a packing is proven, or within half a per cent.
#[tokio::test(flavor = "multi_thread")]
async fn a_load_is_within_all_limits_and_averts_more_than_usual_ways_of_ordering() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let mut loads: Vec<Load> = Vec::new();
    for trip in ["BOAT-7", "AIR-3"] {
        let found = worked_out(&mut app, trip).await;
        let (basis, proposal) = (&found.basis, &found.proposal);
        let carrier = Carrier {
            trip: &basis.trip,
            rules: basis.rules.as_ref(),
        };
        assert!(
            carrier.carries(&basis.items, &proposal.load),
            "{trip}: {:?}",
            proposal.load
        );
        let Proposal {
            truly,
            usual,
            packed,
            ..
        } = proposal;
        let Usual { by_age, same_kilos } = usual;
        for (load, averts) in [by_age, same_kilos] {
            assert!(carrier.carries(&basis.items, load), "{trip}: {load:?}");
            assert!(
                truly.averted() > *averts,
                "{trip}: {} and {averts}",
                truly.averted()
            );
        }
        assert!(
            (packed.bound - packed.worth) * 200 <= packed.bound,
            "{trip}: {packed:?}"
        );
        for (item, units) in &basis.trip.must_go {
            let gone = proposal.load.get(item).copied().unwrap_or(0);
            let left = proposal.must_left.iter().find(|(code, _)| code == item);
            assert_eq!(
                gone.min(*units) + left.map_or(0, |(_, n)| *n),
                *units,
                "{trip}: {item}"
            );
        }
        loads.push(proposal.load.clone());
        page_tells(&mut app, trip).await;
        let frees = proposal.lines.iter().filter(|line| !line.frees.is_empty());
        needed_once_here(&mut app, trip, (basis.trip.usual, frees.count())).await;
    }
    assert_ne!(loads[0], loads[1]);
}

async fn page_tells(app: &mut App, trip: &str) {
    let page = app.get(&format!("{PATH}?trip={trip}")).await;
    for told in [
        format!("lines on {trip} by"),
        "Against usual ways of ordering".to_owned(),
        "less</td>".to_owned(),
        "Ten kilograms more of payload".to_owned(),
        "nobody has read its safety sheet".to_owned(),
        "One day late".to_owned(),
        "Make it a load list".to_owned(),
        "Until the next trip".to_owned(),
    ] {
        assert!(page.contains(&told), "{trip}: {told}: {}", page.body);
    }
    assert!(!page.contains("since this was worked out"), "{trip}");
}

/// Each line that frees a request says when the plan first uses it, which is not before it is here; the others
/// leave that open.
async fn needed_once_here(app: &mut App, trip: &str, (here, frees): (DateTime<Utc>, usize)) {
    let page = app.get(&format!("{PATH}?trip={trip}")).await;
    let fields = page.body.split("name=\"needed_by\" value=\"").skip(1);
    let typed: Vec<&str> = fields
        .filter_map(|field| field.split('"').next())
        .filter(|typed| !typed.is_empty())
        .collect();
    assert_eq!(typed.len(), frees, "{trip}: {typed:?}");
    let zone = site(app).await.site.zone;
    let here = here.with_timezone(&zone).format("%Y-%m-%dT%H:%M");
    let here = here.to_string();
    assert!(
        typed.iter().all(|typed| *typed >= here.as_str()),
        "{trip}: {typed:?} before {here}"
    );
}

/// A run can be stopped, and then finds nothing. After a change the page says that what it shows is of
/// before.
#[tokio::test(flavor = "multi_thread")]
async fn a_run_can_be_stopped_and_grows_old() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    app.get(PATH).await;
    app.post("/resupply/work-out", &[("trip", "BOAT-7")]).await;
    let page = app.get(PATH).await;
    assert!(page.contains("whole loads planned with"), "{}", page.body);
    app.post("/resupply/stop", &[]).await;
    assert!(app.state.proposals.shown().found.is_none());
    let page = app.get(PATH).await;
    assert!(
        page.contains("Work out what goes on BOAT-7"),
        "{}",
        page.body
    );

    worked_out(&mut app, "AIR-3").await;
    app.get("/resupply/items/GLOVE-12").await;
    let counted = [
        ("units", "3"),
        ("counted_by", "Storekeeper"),
        ("counted_at", "2026-11-25T14:00"),
    ];
    let answer = app.post("/resupply/items/GLOVE-12/count", &counted).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = app.get("/resupply?trip=AIR-3").await;
    assert!(
        page.contains("One change since this was worked out"),
        "{}",
        page.body
    );
}

/// Whoever only looks works nothing out, and a trip that is not announced is not found.
#[tokio::test]
async fn who_only_looks_starts_no_run() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get(PATH).await;
    assert!(!page.contains("/resupply/work-out"), "{}", page.body);
    let answer = app.post("/resupply/work-out", &[("trip", "BOAT-7")]).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    let answer = app.get_unchecked("/resupply?trip=NONE").await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    app.sign_in(Role::Crew).await;
    app.get(PATH).await;
    let answer = app.post("/resupply/work-out", &[("trip", "NONE")]).await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
}

/// A cell that leaves for a week in the boat: what it carries serves some failures, and finished spares that
/// serve as many would weigh so much. Days that are no number are told beside their field, and what was typed
/// is kept.
#[tokio::test(flavor = "multi_thread")]
async fn a_cell_about_to_leave_is_told_what_to_take() {
    let mut app = App::signed_in(Role::Lead).await;
    app.get("/resupply/first").await;
    let wrong = [("days", "a week"), ("trip", "BOAT-7")];
    let answer = app.post("/resupply/first", &wrong).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    let told = answer.field_error("days").unwrap_or_default();
    assert!(
        told.ends_with("is no number of days; give 1 to 120"),
        "{told}"
    );
    assert!(answer.contains("value=\"a week\""), "{}", answer.body);

    let right = [("days", "7"), ("trip", "BOAT-7")];
    let answer = app.post("/resupply/first", &right).await;
    assert_eq!(answer.location(), "/resupply/first", "{}", answer.body);
    app.state.first_loads.finished().await;
    let found = app.state.first_loads.shown().found.expect("worked out");
    assert!(found.proposal.truly.outlook.served_permille > 0);
    assert!(found.spares.mass_g > 0);
    let page = app.get("/resupply/first").await;
    for told in [
        "The case for powder",
        "7 days alone with BOAT-7",
        "Finished spares that serve as many failures",
    ] {
        assert!(page.contains(told), "{told}: {}", page.body);
    }
}
