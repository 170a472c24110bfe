//! Drawing, pouring back, emptying and undoing.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, number, text};

use super::{draw, grams, replayed, with_clean_feeder};

/// The demonstration's feeder holds its heel, 80 g of L0395. Steel may not be poured on it; emptied and cleaned, it
/// may, and the page says what comes next.
#[tokio::test]
async fn another_powder_waits_until_the_feeder_is_clean() {
    let mut app = App::signed_in(Role::Lead).await;
    let page = app.get("/feeder").await;
    assert!(
        page.contains("80 g of L0395 are in the feeder."),
        "{}",
        page.body
    );
    let answer = draw(&mut app, "L0406-1", "trial", 500).await;
    let fault = answer.field_error("container").expect("a fault");
    assert!(fault.contains("not clean of"), "{fault}");
    let answer = app
        .post("/feeder/empty", &[("waste", "80"), ("clean", "")])
        .await;
    assert_eq!(
        answer.field_error("clean"),
        Some("say whether it is clean now")
    );
    let answer = app
        .post("/feeder/empty", &[("waste", "80"), ("clean", "yes")])
        .await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    assert!(
        app.get("/feeder")
            .await
            .contains("The feeder is empty and clean.")
    );
    // L0406-1 holds 1 400 g: 500 g are poured, 900 g stay.
    let answer = draw(&mut app, "L0406-1", "trial", 500).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    let page = app.get("/feeder").await;
    assert!(
        page.contains("SAVED") && page.contains("Put the label L0406 on the feeder"),
        "{}",
        page.body
    );
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 900);
    assert_eq!(grams(&app, "feeder", "L0406").await, 500);
    assert_eq!(grams(&app, "waste", "L0395").await, 80);
    replayed(&app).await;
}

/// A scale with divisions of 10 g shows no 2 995; nothing was poured where both weighings agree; and 1 500 g do not
/// come out of 1 400 g. What was typed stays.
#[tokio::test]
async fn weighings_that_cannot_be_are_told_beside_their_field() {
    let mut app = with_clean_feeder().await;
    let all = |before, after, division| {
        vec![
            ("container", "L0406-1"),
            ("for", "trial"),
            ("before", before),
            ("after", after),
            ("division", division),
            ("closed", "yes"),
        ]
    };
    for (fields, field, told) in [
        (
            all("2995", "2500", "10"),
            "before",
            "a scale with a division of 10 g does not show",
        ),
        (all("3000", "3000", "10"), "after", "nothing was poured"),
        (all("2500", "3000", "10"), "after", "the right way round"),
        (
            all("3000", "1500", "10"),
            "after",
            "the book says that L0406-1 holds",
        ),
        (all("", "1500", "10"), "before", "enter something here"),
        (all("3000", "2500", "0"), "division", "out of range"),
    ] {
        let answer = app.post("/feeder/draw", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        let fault = answer.field_error(field).expect(told);
        assert!(fault.contains(told), "{fault}");
        assert!(
            answer.contains("value=\"L0406-1\" selected"),
            "{}",
            answer.body
        );
    }
    let fields = [
        ("container", "L9999-1"),
        ("for", ""),
        ("before", "3000"),
        ("after", "2500"),
        ("division", "10"),
    ];
    let answer = app.post("/feeder/draw", &fields).await;
    for field in ["container", "for", "closed"] {
        assert!(answer.field_error(field).is_some(), "{field}");
    }
    assert_eq!(
        number(&app, "select count(*) from movement where reason = 'draw'").await,
        Some(1)
    );
}

/// L0397 is good for 260 days and L0391 for 210: what goes out of date first is used first, or somebody says why.
#[tokio::test]
async fn what_goes_out_of_date_first_is_drawn_first_or_with_a_reason() {
    let mut app = with_clean_feeder().await;
    let bare = [
        ("container", "L0397-1"),
        ("for", "trial"),
        ("before", "3000"),
        ("after", "2500"),
        ("division", "10"),
        ("closed", "yes"),
    ];
    let answer = app.post("/feeder/draw", &bare).await;
    let fault = answer.field_error("reason").expect("a fault");
    assert!(fault.contains("L0391 goes out of date earlier"), "{fault}");
    let fields = [
        ("container", "L0397-1"),
        ("for", "trial"),
        ("before", "3000"),
        ("after", "2500"),
        ("division", "10"),
        ("closed", "yes"),
        ("reason", "L0391 stands behind the furnace that is hot"),
    ];
    let answer = app.post("/feeder/draw", &fields).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    let entry = text(
        &app,
        "select content from journal where kind = 'powder.drawn'",
    )
    .await;
    let entry = entry.expect("an entry");
    assert!(
        entry.contains("earlier-lot") && entry.contains("behind the furnace"),
        "{entry}"
    );
}

/// A lot on hold, in quarantine or rejected is drawn by nobody, whatever the reason.
#[tokio::test]
async fn what_is_not_released_is_not_drawn() {
    let mut app = with_clean_feeder().await;
    for (container, state) in [
        ("L0408-1", "hold"),
        ("L0411-1", "quarantine"),
        ("L0410-1", "rejected"),
        ("L0401-1", "arrived"),
    ] {
        let answer = draw(&mut app, container, "trial", 100).await;
        let fault = answer.field_error("container").expect(container);
        assert!(
            fault.contains("may not be drawn") && fault.contains(state),
            "{fault}"
        );
    }
}

/// L0394's date passes two days from now. A day later it takes two people to draw it: the lead signs first, the
/// storekeeper second, and then it is drawn; twelve hours later that holds no longer.
#[tokio::test]
async fn what_is_out_of_date_takes_two_people() {
    let mut app = with_clean_feeder().await;
    app.wait_minutes(3 * 24 * 60);
    app.sign_in(Role::Lead).await;
    let answer = draw(&mut app, "L0394-1", "trial", 100).await;
    let fault = answer.field_error("container").expect("a fault");
    assert!(
        fault.contains("its date passed") && fault.contains("two people"),
        "{fault}"
    );
    let page = app.get("/feeder/waive?container=L0394-1&for=trial").await;
    assert!(page.contains("Its date passed"), "{}", page.body);
    let answer = app
        .post(
            "/feeder/waive",
            &[("container", "L0394-1"), ("for", "trial"), ("reason", "")],
        )
        .await;
    assert!(answer.field_error("reason").is_some());
    let reason = "retested this morning, flows as new";
    let fields = [
        ("container", "L0394-1"),
        ("for", "trial"),
        ("reason", reason),
    ];
    let answer = app.post("/feeder/waive", &fields).await;
    let signing = answer.location().to_owned();
    assert!(
        draw(&mut app, "L0394-1", "trial", 100)
            .await
            .field_error("container")
            .is_some(),
        "one is not enough"
    );
    let answer = app.post(&signing, &[]).await;
    assert_ne!(
        answer.status,
        StatusCode::SEE_OTHER,
        "the same person twice"
    );
    let answer = app.post(&signing, &[("name", "Storekeeper")]).await;
    assert_eq!(
        answer.location(),
        "/feeder/draw?container=L0394-1",
        "{}",
        answer.body
    );
    let answer = draw(&mut app, "L0394-1", "trial", 100).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    app.wait_minutes(12 * 60);
    app.sign_in(Role::Lead).await;
    assert!(
        draw(&mut app, "L0394-1", "trial", 100)
            .await
            .field_error("container")
            .is_some()
    );
}

/// 500 g of L0406, of which 200 g come back; then L0391 is poured on the rest, and nobody can tell them apart: none
/// of it goes back into a container.
#[tokio::test]
async fn only_one_lot_is_poured_back() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 500).await;
    let back = [
        ("container", "L0406-1"),
        ("before", "2500"),
        ("after", "2700"),
        ("division", "10"),
    ];
    let answer = app.post("/feeder/pour-back", &back).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 1_100);
    assert_eq!(grams(&app, "feeder", "L0406").await, 300);
    let other = [
        ("container", "L0391-1"),
        ("before", "2500"),
        ("after", "2700"),
        ("division", "10"),
    ];
    let answer = app.post("/feeder/pour-back", &other).await;
    assert!(
        answer
            .field_error("container")
            .is_some_and(|it| it.contains("L0406"))
    );
    // 320 g come out where the book has 300 g: that takes a reason, and the 20 g are a gap.
    let more = [
        ("container", "L0406-1"),
        ("before", "2700"),
        ("after", "3020"),
        ("division", "10"),
    ];
    assert!(
        app.post("/feeder/pour-back", &more)
            .await
            .field_error("reason")
            .is_some()
    );
    draw(&mut app, "L0391-1", "trial", 100).await;
    let page = app.get("/feeder").await;
    assert!(page.contains("are mixed in the feeder"), "{}", page.body);
    let answer = app.post("/feeder/pour-back", &back).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("no container takes two lots"));
    replayed(&app).await;
}

/// 300 g of L0406 and 100 g of L0391 are emptied, and 360 g come out: 40 g are missing, 30 of the one and 10 of the
/// other. With divisions of 10 g the stop line is 20 + 12 = 32 g, so both lots are held.
#[tokio::test]
async fn a_gap_beyond_the_stop_line_holds_the_lots() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 300).await;
    draw(&mut app, "L0391-1", "trial", 100).await;
    let answer = app
        .post("/feeder/empty", &[("waste", "360"), ("clean", "no")])
        .await;
    let fault = answer.field_error("reason").expect("a fault");
    assert!(fault.contains("40 g"), "{fault}");
    let fields = [
        ("waste", "360"),
        ("clean", "no"),
        ("reason", "spilt at the hatch"),
    ];
    let answer = app.post("/feeder/empty", &fields).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    assert_eq!(grams(&app, "gap", "L0406").await, 30);
    assert_eq!(grams(&app, "gap", "L0391").await, 10);
    assert_eq!(grams(&app, "feeder", "L0406").await, 0);
    for lot in ["L0406", "L0391"] {
        let page = app.get(&format!("/powder/{lot}")).await;
        assert!(
            page.contains("on hold") && page.contains("count again"),
            "{}",
            page.body
        );
    }
    // It is not clean: the same powder may follow, another may not.
    assert!(app.get("/feeder").await.contains("not clean of"));
    replayed(&app).await;
}

/// A draw is undone at a touch for a minute, by who entered it; later by a signature with a reason. Each is a
/// movement of its own, and none is taken back twice.
#[tokio::test]
async fn what_was_wrong_moves_back() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 500).await;
    let drawn = number(&app, "select max(journal_sequence) from movement")
        .await
        .expect("one");
    assert!(
        app.get("/feeder")
            .await
            .contains(&format!("/book/{drawn}/undo"))
    );
    let mut other = app.other_browser();
    other.sign_in(Role::Crew).await;
    let answer = other.post(&format!("/book/{drawn}/undo"), &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT, "somebody else's");
    let answer = app.post(&format!("/book/{drawn}/undo"), &[]).await;
    assert_eq!(answer.location(), "/powder/L0406", "{}", answer.body);
    assert_eq!(grams(&app, "L0406-1", "L0406").await, 1_400);
    assert_eq!(
        app.post(&format!("/book/{drawn}/undo"), &[]).await.status,
        StatusCode::CONFLICT
    );
    draw(&mut app, "L0406-1", "trial", 400).await;
    let drawn = number(&app, "select max(journal_sequence) from movement")
        .await
        .expect("one");
    app.wait_minutes(2);
    assert!(!app.get("/feeder").await.contains("/undo"));
    assert_eq!(
        app.post(&format!("/book/{drawn}/undo"), &[]).await.status,
        StatusCode::CONFLICT
    );
    let path = format!("/book/{drawn}/take-back");
    assert!(
        app.get(&path)
            .await
            .contains("400 g of L0406 from L0406-1 to feeder")
    );
    assert!(
        app.post(&path, &[("reason", "")])
            .await
            .field_error("reason")
            .is_some()
    );
    let answer = app
        .post(&path, &[("reason", "it was L0391 that was poured")])
        .await;
    assert_eq!(answer.location(), "/powder/L0406", "{}", answer.body);
    assert_eq!(grams(&app, "feeder", "L0406").await, 0);
    assert_eq!(
        number(
            &app,
            "select count(*) from movement where reason = 'correction'"
        )
        .await,
        Some(2)
    );
    replayed(&app).await;
}

/// Opened at 15:20 and closed at 15:40: 20 of the 30 minutes that its powder may stand open in all. Opened again at
/// 16:29 and still open at 16:40 it would be 31.
#[tokio::test]
async fn minutes_in_the_open_add_up() {
    let mut app = with_clean_feeder().await;
    sqlx::query("update powder set open_limit_min = 30 where code = 'SS316'")
        .execute(&app.state.db.write)
        .await
        .expect("a limit");
    let fields = [
        ("container", "L0406-1"),
        ("for", "trial"),
        ("opened", "2026-11-25T15:20"),
        ("reason", "the crew chose it"),
        ("before", "3000"),
        ("after", "2900"),
        ("division", "10"),
        ("closed", "yes"),
    ];
    let answer = app.post("/feeder/draw", &fields).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    let page = app.get("/feeder/draw?container=L0406-1").await;
    assert!(page.contains("20 min of 30 min"), "{}", page.body);
    app.wait_minutes(60);
    let mut longer = fields;
    longer[2].1 = "2026-11-25T16:29";
    let answer = app.post("/feeder/draw", &longer).await;
    let fault = answer.field_error("container").expect("a fault");
    assert!(
        fault.contains("it stood open for 31 min, and 30 min are allowed"),
        "{fault}"
    );
}

/// Who only looks draws nothing.
#[tokio::test]
async fn a_viewer_draws_nothing() {
    let mut app = App::signed_in(Role::Viewer).await;
    assert_eq!(app.get("/feeder").await.status, StatusCode::OK);
    assert_eq!(
        draw(&mut app, "L0406-1", "trial", 100).await.status,
        StatusCode::FORBIDDEN
    );
}
