//! Loads of the furnace: which parts shared one, powder that dries, and a soak that is void until it is judged.

use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, number, text};

use super::{judge, work};
use crate::requests::course::{FOUND, heat, local, sort, work_on};

/// R8 and R10 are sprayed and wait for the same cycle, SR-2.
pub async fn two_wait() -> App {
    let mut app = App::signed_in(Role::Lead).await;
    sort(&mut app, 8, "BR-035").await;
    sort(&mut app, 10, "AL-011").await;
    app.sign_in(Role::Crew).await;
    for _ in 0..3 {
        work_on(&mut app, 8).await;
        work_on(&mut app, 10).await;
    }
    app
}

const BOTH: [(&str, &str); 4] = [
    ("station", "furnace"),
    ("set_c", "300"),
    ("part", "8"),
    ("part", "10"),
];

pub async fn open(app: &mut App) {
    let answer = app.post("/furnace/open", &BOTH).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
}

/// Closes load 1 after two hours, with some fields typed otherwise.
pub async fn close(app: &mut App, otherwise: &[(&str, &str)]) -> Answer {
    let from = local(app).await;
    app.wait_minutes(121);
    let to = local(app).await;
    let mut fields = vec![
        ("actual_c", "298"),
        ("soak_from", from.as_str()),
        ("soak_to", to.as_str()),
        ("chart", "C-118"),
        ("operator", "Sprayer"),
    ];
    for (name, value) in otherwise {
        fields.retain(|(known, _)| known != name);
        fields.push((name, value));
    }
    app.post("/furnace/1/close", &fields).await
}

/// Both go into one load; closing it enters the heat treatment of both as done in one change, and each leads to the
/// load as the load leads to each.
#[tokio::test(flavor = "multi_thread")]
async fn closing_a_load_heat_treats_all_its_parts() {
    let mut app = two_wait().await;
    let page = app.get("/furnace").await;
    assert!(
        page.contains("Open a load: 2 parts wait for the furnace."),
        "{}",
        page.body
    );
    let page = app.get("/requests/8/work").await;
    assert!(page.contains("its load enters it as done"), "{}", page.body);
    assert_eq!(work(&mut app, 8, &FOUND).await.status, 422);
    open(&mut app).await;
    let page = app.get("/furnace/1").await;
    for said in ["R8", "R10", "SR-2", "set to 300", "at the cell, in work"] {
        assert!(
            page.contains(said) || page.contains("300 °C"),
            "{said}: {}",
            page.body
        );
    }
    let before = number(&app, "select count(*) from work_done").await;
    let answer = close(&mut app, &[]).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
    let after = number(&app, "select count(*) from work_done").await;
    assert_eq!(after, before.map(|done| done + 2));
    let times = number(
        &app,
        "select count(distinct j.time) from work_done w join journal j on j.sequence = w.journal_sequence
         join furnace_done d on d.journal_sequence = w.journal_sequence",
    )
    .await;
    assert_eq!(times, Some(1), "one change");
    for request in [8, 10] {
        let page = app.get(&format!("/requests/{request}")).await;
        assert!(
            page.contains("load F1: 300 °C set, 298 °C found, 2 h 1 min, chart C-118"),
            "{}",
            page.body
        );
        let page = app.get(&format!("/requests/{request}/work")).await;
        assert!(page.contains("Cut to size for"), "{}", page.body);
    }
}

/// Each field is told where it is wrong; a full furnace, a busy one, another cycle, and powder beside parts are too.
#[tokio::test(flavor = "multi_thread")]
async fn what_does_not_go_into_a_load_is_told() {
    let mut app = two_wait().await;
    for (fields, field) in [
        (vec![("set_c", "300"), ("part", "8")], "station"),
        (
            vec![("station", "mill"), ("set_c", "300"), ("part", "8")],
            "station",
        ),
        (
            vec![("station", "furnace"), ("set_c", ""), ("part", "8")],
            "set_c",
        ),
        (
            vec![("station", "furnace"), ("set_c", "5"), ("part", "8")],
            "set_c",
        ),
        (vec![("station", "furnace"), ("set_c", "300")], "part"),
        (
            vec![("station", "furnace"), ("set_c", "300"), ("part", "9")],
            "part",
        ),
        (
            vec![
                ("station", "furnace"),
                ("set_c", "120"),
                ("containers", "NOWHERE"),
            ],
            "containers",
        ),
    ] {
        let answer = app.post("/furnace/open", &fields).await;
        assert_eq!(answer.status, 422, "{fields:?}");
        assert!(
            answer.field_error(field).is_some(),
            "{fields:?}: {}",
            answer.body
        );
    }
    let container = text(
        &app,
        "select c.code from container c join lot l on l.id = c.lot_id
        where l.state = 'released' order by c.code limit 1",
    )
    .await
    .expect("a container");
    let mixed = [
        BOTH[0],
        BOTH[1],
        BOTH[2],
        ("containers", container.as_str()),
    ];
    let answer = app.post("/furnace/open", &mixed).await;
    assert!(
        answer.field_error("containers").is_some(),
        "{}",
        answer.body
    );
    open(&mut app).await;
    let again = app.post("/furnace/open", &BOTH).await;
    assert!(
        again
            .field_error("station")
            .is_some_and(|fault| fault.contains("load F1 is in it")),
        "{}",
        again.body
    );
    let full = app.post("/furnace/1/add", &[("part", "8")]).await;
    assert_eq!(full.status, 422, "{}", full.body);
}

/// What the chart shows is told beside its field where it cannot be.
#[tokio::test(flavor = "multi_thread")]
async fn what_a_chart_cannot_show_is_told() {
    let mut app = two_wait().await;
    open(&mut app).await;
    for (field, typed) in [
        ("actual_c", ""),
        ("actual_c", "9000"),
        ("soak_from", ""),
        ("soak_from", "2026-11-20T08:00"),
        ("soak_to", "2026-11-25T15:00"),
        ("soak_to", "2026-12-24T15:00"),
        ("chart", ""),
        ("operator", ""),
    ] {
        let answer = close(&mut app, &[(field, typed)]).await;
        assert_eq!(answer.status, 422, "{field} '{typed}'");
        assert!(
            answer.field_error(field).is_some(),
            "{field} '{typed}': {}",
            answer.body
        );
    }
    assert_eq!(
        number(&app, "select count(*) from furnace_closed").await,
        Some(0)
    );
}

/// The power fails: the soak is void and both parts are held. One is judged fit and goes on; the other is treated
/// again, in another load, and then nothing of the first one stops it.
#[tokio::test(flavor = "multi_thread")]
async fn a_disturbed_soak_is_void_until_each_part_is_judged() {
    let mut app = two_wait().await;
    open(&mut app).await;
    let at = local(&app).await;
    for (fields, field) in [
        ([("what", ""), ("at", at.as_str())], "what"),
        ([("what", "power cut"), ("at", "2026-12-24T08:00")], "at"),
    ] {
        let answer = app.post("/furnace/1/excursion", &fields).await;
        assert!(answer.field_error(field).is_some(), "{}", answer.body);
    }
    let cut = [
        ("what", "power cut, 40 min below 200 °C"),
        ("at", at.as_str()),
    ];
    let answer = app.post("/furnace/1/excursion", &cut).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
    assert_eq!(
        app.post("/furnace/1/add", &[("part", "8")]).await.status,
        409,
        "nothing more goes in"
    );
    assert_eq!(close(&mut app, &[]).await.location(), "/furnace/1");
    let page = app.get("/furnace/1").await;
    assert!(
        page.contains("its soak is void") && page.contains("hold 2"),
        "{}",
        page.body
    );
    assert_eq!(work(&mut app, 8, &FOUND).await.status, 422, "held");
    app.sign_in(Role::Checker).await;
    judge(&mut app, 1, &[]).await;
    work_on(&mut app, 8).await;
    let back = [
        ("verdict", "rework"),
        ("position", "4"),
        ("reason", "heat it again"),
    ];
    let answer = judge(&mut app, 2, &back).await;
    assert_eq!(answer.location(), "/requests/10", "{}", answer.body);
    heat(&mut app, &[10]).await;
    let page = app.get("/requests/10").await;
    assert!(page.contains("load F2: 300"), "{}", page.body);
    assert!(!page.contains("load F1: 300"), "it counts no more");
    let page = app.get("/furnace/2").await;
    assert!(page.contains("Load F2 is closed."), "{}", page.body);
}

/// Told after the load was closed, it holds what is here still.
#[tokio::test(flavor = "multi_thread")]
async fn what_a_chart_tells_later_holds_what_is_here_still() {
    let mut app = two_wait().await;
    open(&mut app).await;
    close(&mut app, &[]).await;
    let at = local(&app).await;
    let late = [("what", "thermocouple 30 °C low"), ("at", at.as_str())];
    app.post("/furnace/1/excursion", &late).await;
    assert_eq!(
        number(&app, "select count(*) from part_hold").await,
        Some(2)
    );
}

/// Opened by mistake, a load is given up with a reason; nothing in it was treated, and all of it may go into another.
#[tokio::test(flavor = "multi_thread")]
async fn a_load_is_given_up() {
    let mut app = two_wait().await;
    open(&mut app).await;
    let answer = app.post("/furnace/1/give-up", &[("reason", "")]).await;
    assert!(answer.field_error("reason").is_some());
    let why = [("reason", "the element is broken")];
    let answer = app.post("/furnace/1/give-up", &why).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
    assert_eq!(app.post("/furnace/1/give-up", &why).await.status, 409);
    assert_eq!(app.get("/furnace/1/excursion").await.status, 409);
    assert_eq!(close(&mut app, &[]).await.status, 409);
    heat(&mut app, &[8, 10]).await;
    let page = app.get("/furnace/1").await;
    assert!(page.contains("was given up"), "{}", page.body);
}

/// One part is opened alone, the other added by another tablet while the first one closes: whoever comes late is
/// told, and a form sent twice closes once.
#[tokio::test(flavor = "multi_thread")]
async fn two_tablets_at_one_load() {
    let mut app = two_wait().await;
    let one = [BOTH[0], BOTH[1], BOTH[2]];
    app.post("/furnace/open", &one).await;
    let answer = app.post("/furnace/1/add", &[("part", "10")]).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
    let mut other = app.same_browser();
    let number_of_its_own = [("once", "a-number-of-its-own-0002")];
    assert_eq!(
        close(&mut app, &number_of_its_own).await.location(),
        "/furnace/1"
    );
    assert_eq!(close(&mut other, &[]).await.status, 409);
    assert_eq!(
        number(&app, "select count(*) from furnace_done").await,
        Some(2)
    );
    let late = app.post("/furnace/1/add", &[("part", "8")]).await;
    assert_eq!(late.status, 409);
    app.sign_in(Role::Storekeeper).await;
    assert_eq!(app.get("/furnace").await.status, 200);
    assert_eq!(app.get("/furnace/open").await.status, 403);
    assert_eq!(app.get("/furnace/9").await.status, 404);
}

/// Powder dries in a load of its own; the page of its lot says so.
#[tokio::test(flavor = "multi_thread")]
async fn powder_dries_in_a_load_of_its_own() {
    let mut app = App::signed_in(Role::Crew).await;
    let both = text(
        &app,
        "select c.code || ' ' || l.code from container c join lot l on l.id = c.lot_id
         where l.state = 'released' and l.code not like '%/%' order by c.code limit 1",
    )
    .await
    .expect("a container");
    let (container, lot) = both.split_once(' ').expect("two codes");
    let fields = [BOTH[0], ("set_c", "120"), ("containers", container)];
    let answer = app.post("/furnace/open", &fields).await;
    assert_eq!(answer.location(), "/furnace/1", "{}", answer.body);
    let page = app.get(&format!("/powder/{lot}")).await;
    assert!(page.contains("120 °C set, in the furnace"), "{}", page.body);
    close(&mut app, &[("actual_c", "118")]).await;
    let page = app.get(&format!("/powder/{lot}")).await;
    assert!(
        page.contains("120 °C set, 118 °C found, 2 h 1 min, chart C-118"),
        "{}",
        page.body
    );
    assert_eq!(
        number(&app, "select count(*) from work_done").await,
        Some(0)
    );
}
