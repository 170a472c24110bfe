//! Blending: a new lot of weighed shares of released ones, with a release of its own.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_server::book::{balances, replay};
use mendpost_tests::{Answer, App, altered, number, text};

const BLEND: &str = "/blending";

/// 3 000 g of L0393-1 (before 5 420, after 2 420) and 1 000 g of L0399-1 into two cans; 20 g are spilt.
const BRONZE: &[(&str, &str)] = &[
    ("code", "L0416"),
    ("powder", "CUAL10"),
    ("storage", "cabinet B"),
    ("p0_container", "L0393-1"),
    ("p0_before", "5420"),
    ("p0_after", "2420"),
    ("p0_net", ""),
    ("p1_container", "L0399-1"),
    ("p1_before", ""),
    ("p1_after", ""),
    ("p1_net", "1000"),
    ("c0_code", ""),
    ("c0_gross", "2780"),
    ("c0_tare", "280"),
    ("c0_net", ""),
    ("c1_code", "MIX-2"),
    ("c1_gross", ""),
    ("c1_tare", ""),
    ("c1_net", "1480"),
    ("spilt", "20"),
    (
        "reason",
        "one lot for the propeller hub, tumbled for 20 minutes",
    ),
    ("do", "blend"),
];

fn with<'a>(typed: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    altered(BRONZE, typed)
}

async fn blend(app: &mut App, typed: &[(&str, &str)]) -> Answer {
    app.post(BLEND, &with(typed)).await
}

const IN_ALL: &str = "select sum(iif(t.kind in ('container', 'feeder', 'waste'), m.milligrams, 0)
    - iif(f.kind in ('container', 'feeder', 'waste'), m.milligrams, 0)) from movement m
    join place f on f.id = m.from_id join place t on t.id = m.to_id";

/// Of the first can 1 875 g are of L0393 and 625 of L0399, of the second 1 110 and 370, and 15 and 5 are on the
/// floor: three quarters and one, wherever one looks. Good until day 160, the earlier of the two; in quarantine; its
/// parents on its page and it on theirs; and nothing is made or lost.
#[tokio::test]
async fn a_blend_is_traced_to_its_parents() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let before = number(&app, IN_ALL).await;
    let form = app.get(BLEND).await;
    assert!(
        form.contains("value=\"L0416\"") && form.contains("L0393-1: bronze CuAl10, 5\u{202f}000 g")
    );
    for out in ["L0408-1", "L0411-1", "L0410-1", "L0401-1"] {
        assert!(
            !form.contains(&format!("value=\"{out}\"")),
            "{out} is not released"
        );
    }
    let answer = blend(&mut app, &[]).await;
    assert_eq!(answer.location(), "/powder/L0416", "{}", answer.body);
    let moved = "select group_concat(lot || '>' || into_lot || ' ' || coalesce(to_container, to_kind) || ' ' || (milligrams / 1000), ', ')
                 from movement_line where journal_sequence = (select max(sequence) from journal where kind = 'lot.blended')
                 order by place_in_book";
    assert_eq!(
        text(&app, moved).await.as_deref(),
        Some(
            "L0393>L0416 L0416-1 1875, L0399>L0416 L0416-1 625, L0393>L0416 MIX-2 1110, L0399>L0416 MIX-2 370, \
             L0393>L0393 waste 15, L0399>L0399 waste 5"
        )
    );
    assert_eq!(
        number(&app, IN_ALL).await,
        before,
        "nothing made, nothing lost"
    );
    let made = replay(&app.state.db.read)
        .await
        .expect("a database")
        .expect("entries");
    assert_eq!(
        made.all().count(),
        balances(&app.state.db.read).await.expect("balances").len()
    );
    let date = "select count(*) from lot b, lot p where b.code = 'L0416' and p.code = 'L0393'
                and b.use_by_ms = p.use_by_ms and b.state = 'quarantine' and b.receipt_id is null";
    assert_eq!(number(&app, date).await, Some(1));
    let stood_open =
        "select count(*) from container_seal s join container c on c.id = s.container_id
                      where c.code in ('L0393-1', 'L0399-1') and c.opened_ms is not null";
    assert_eq!(
        number(&app, stood_open).await,
        Some(4),
        "each opened and closed"
    );

    let page = app.get("/powder/L0416").await;
    for said in [
        "Made of",
        "L0393",
        "75 %",
        "L0399",
        "25 %",
        "gross 2\u{202f}780 g",
        "in quarantine",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let parent = app.get("/powder/L0393").await;
    assert!(
        parent.contains("Made of it") && parent.contains("2\u{202f}985 g"),
        "{}",
        parent.body
    );

    // Its parents' certificates stand for its own.
    let release = app.get("/powder/L0416/release").await;
    let seen = mendpost_tests::between(&release.body, "name=\"certificate\" value=\"", "\"");
    let seen = seen.expect("a form").to_owned();
    let fields = [
        ("reason", "tumbled, no clumps"),
        ("certificate", seen.as_str()),
    ];
    let answer = app.post("/powder/L0416/release", &fields).await;
    assert_eq!(answer.location(), "/powder/L0416", "{}", answer.body);
}

/// Two metals sprayed as one alloy: listed as a powder of its own. Their chemistry is worked out by mass, and where
/// that is outside what the new powder asks for, two release it.
#[tokio::test]
async fn a_mix_of_two_metals_is_what_its_powder_asks_for() {
    let mut app = App::signed_in(Role::Lead).await;
    // 2 000 g with 9.8 % and 2 000 g with 15.1 % aluminium: 12.45 %.
    let typed = [
        ("p0_before", ""),
        ("p0_after", ""),
        ("p0_net", "2000"),
        ("p1_container", "L0412-1"),
        ("p1_net", "2000"),
        ("c0_gross", ""),
        ("c0_tare", ""),
        ("c0_net", "2000"),
        ("c1_net", "2000"),
        ("spilt", ""),
    ];
    let limits = [
        ("version", "0"),
        ("e0_symbol", "Al"),
        ("e0_max", "12"),
        ("reason", "trial of the mix"),
        ("do", "save"),
    ];
    app.post("/powder/kinds/CUAL10/limits", &limits).await;
    let answer = blend(&mut app, &typed).await;
    assert_eq!(answer.location(), "/powder/L0416", "{}", answer.body);
    let page = app.get("/powder/L0416/release").await;
    assert!(
        page.contains("Al is 12.45 %; the powder asks for 12 % or less."),
        "{}",
        page.body
    );
    assert!(page.contains("Two people must look at it and sign."));
}

/// Each fault beside its field; nothing is booked, and what was typed stays.
#[tokio::test]
async fn each_fault_is_told_beside_its_field() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let before = number(&app, "select count(*) from journal").await;
    for (field, typed, says) in [
        (
            "code",
            "L0415",
            "on record already; the next free number is L0416",
        ),
        ("code", "", "a code is missing"),
        ("powder", "", "listed as a powder of its own first"),
        ("reason", "", "enter something here"),
        (
            "p0_container",
            "L0408-1",
            "choose a container of a released lot in date",
        ),
        ("p1_container", "L0393-1", "is chosen twice"),
        ("p0_after", "5420", "no less than before"),
        ("p0_after", "", "weigh it after too"),
        ("p0_before", "", "weighed before?"),
        ("p0_net", "2990", "before less after is 3\u{202f}000 g"),
        ("p1_net", "", "give the weights before and after"),
        (
            "p1_net",
            "5201",
            "L0399-1 holds 5\u{202f}200 g by the book, and 5\u{202f}201 g is to leave it",
        ),
        ("c0_code", "L0390-1", "on record already"),
        ("c1_code", "L0416-1", "is given twice here"),
        ("c1_net", "", "give the net mass"),
        ("spilt", "4000", "all of it is spilt"),
        // 4 000 g out, 2 500 + 1 000 g in, 20 spilt: 480 g apart, 20 + 120 allowed.
        ("c1_net", "1000", ""),
    ] {
        let answer = blend(&mut app, &[(field, typed)]).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {typed}"
        );
        let at = if says.is_empty() { "spilt" } else { field };
        let says = if says.is_empty() {
            "480 g apart, and 140 g are allowed"
        } else {
            says
        };
        let told = answer.field_error(at).unwrap_or_default();
        assert!(
            told.contains(says),
            "{field} {typed}: {told} {}",
            answer.body
        );
        assert!(answer.contains("tumbled for 20 minutes") || field == "reason");
    }
    // Of one lot alone there is nothing to blend.
    let alone = [
        ("p1_container", ""),
        ("p1_net", ""),
        ("c0_net", ""),
        ("c1_net", "500"),
    ];
    let answer = blend(&mut app, &alone).await;
    let told = answer.field_error("p0_container").unwrap_or_default();
    assert!(told.contains("two lots at least"), "{}", answer.body);
    assert_eq!(number(&app, "select count(*) from journal").await, before);
}

/// Scales are not exact: 10 g too little in the new cans are within the allowance, and what left the lots is what is
/// booked in: 3 980 g, as the cans' weights are to each other. A single can of which nothing is told holds all.
#[tokio::test]
async fn what_left_the_lots_is_what_is_booked_in() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    blend(&mut app, &[("c1_net", "1470")]).await;
    let held = "select sum(c.milligrams) from container_now c join lot l on l.id = c.lot_id where l.code = 'L0416'";
    assert_eq!(number(&app, held).await, Some(3_980_000));
    let one = [
        ("code", "L0417"),
        ("powder", "CUAL10"),
        ("p0_container", "L0393-1"),
        ("p0_net", "500.5"),
        ("p1_container", "L0399-1"),
        ("p1_net", "1"),
        ("c0_code", ""),
        ("reason", "the rest"),
        ("do", "blend"),
    ];
    let answer = app.post(BLEND, &one).await;
    assert_eq!(answer.location(), "/powder/L0417", "{}", answer.body);
    let held = "select milligrams from container_now where code = 'L0417-1'";
    assert_eq!(number(&app, held).await, Some(501_500));
}

/// A second tap is no second blend; two tablets that take from one container do not take more than is there.
#[tokio::test]
async fn sent_twice_it_is_one_blend_and_no_container_is_overdrawn() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let fields = with(&[("once", "the number of this form")]);
    let first = app.post(BLEND, &fields).await;
    let again = app.post(BLEND, &fields).await;
    assert_eq!(again.location(), first.location(), "{}", again.body);
    assert_eq!(
        number(
            &app,
            "select count(*) from journal where kind = 'lot.blended'"
        )
        .await,
        Some(1)
    );
    // 2 000 g are left in L0393-1, and the other tablet still shows 5 000.
    let other = [("code", "L0417"), ("c1_code", "MIX-3")];
    let late = blend(&mut app, &other).await;
    assert_eq!(late.status, StatusCode::UNPROCESSABLE_ENTITY);
    let told = late.field_error("p0_after").unwrap_or_default();
    assert!(
        told.contains("L0393-1 holds 2\u{202f}000 g by the book"),
        "{told}"
    );
}

/// A parent is stopped: what was made of it is named, and stopped in the same act unless somebody says otherwise.
#[tokio::test]
async fn what_was_made_of_a_stopped_lot_is_offered() {
    let mut app = App::signed_in(Role::Lead).await;
    blend(&mut app, &[]).await;
    let page = app.get("/powder/L0393/hold").await;
    assert!(page.contains("Stop these too"), "{}", page.body);
    assert!(
        page.contains("name=\"with\" value=\"L0416\" checked"),
        "{}",
        page.body
    );
    let fields = [("reason", "called back by its maker"), ("with", "L0416")];
    let answer = app.post("/powder/L0393/hold", &fields).await;
    assert_eq!(answer.location(), "/powder/L0393", "{}", answer.body);
    let states = "select group_concat(code || ' ' || state || ': ' || state_note, '; ') from
                  (select * from lot where code in ('L0393', 'L0416') order by code)";
    assert_eq!(
        text(&app, states).await.as_deref(),
        Some(
            "L0393 hold: called back by its maker; L0416 hold: made of L0393: called back by its maker"
        )
    );
    // L0399 went into the same blend, which is stopped already: nothing is offered.
    let other = app.get("/powder/L0399/hold").await;
    assert!(!other.contains("Stop these too"));
    let no_relative = [("reason", "damp"), ("with", "L0390")];
    app.post("/powder/L0399/hold", &no_relative).await;
    let untouched = "select count(*) from lot where code = 'L0390' and state = 'released'";
    assert_eq!(
        number(&app, untouched).await,
        Some(1),
        "only what was made of it"
    );
}

/// Rows are added without losing an entry; who does not answer for powder does not blend.
#[tokio::test]
async fn rows_are_added_and_roles_are_kept() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    for (press, there) in [
        ("add-out", "name=\"p2_container\""),
        ("add-can", "name=\"c2_code\""),
        ("look", "value=\"MIX-2\""),
    ] {
        let answer = blend(&mut app, &[("do", press)]).await;
        assert_eq!(answer.status, StatusCode::OK);
        assert!(
            answer.contains(there) && answer.contains("value=\"5420\""),
            "{press}: {}",
            answer.body
        );
    }
    for role in [Role::Crew, Role::Checker, Role::Viewer] {
        app.sign_in(role).await;
        assert_eq!(app.get(BLEND).await.status, StatusCode::FORBIDDEN, "{role}");
        assert_eq!(
            blend(&mut app, &[]).await.status,
            StatusCode::FORBIDDEN,
            "{role}"
        );
        assert!(!app.get("/powder").await.contains("/blending"), "{role}");
    }
    assert_eq!(
        number(
            &app,
            "select count(*) from journal where kind = 'lot.blended'"
        )
        .await,
        Some(0)
    );
}
