//! The record of a build, from its begin to the balance of its powder.

use axum::http::StatusCode;
use mendpost_core::catalogue::{Pace, Timed};
use mendpost_core::lineup::stage_need;
use mendpost_core::people::Role;
use mendpost_server::form::plain_decimal;
use mendpost_tests::{App, SentFile, number, site, text};

use super::{draw, grams, replayed, with_clean_feeder};
use crate::attachments::jpeg;
use crate::requests::course::sort;

/// R9 is blasted and masked, and its steel is in the feeder: 560 g of L0406.
async fn ready() -> App {
    let mut app = with_clean_feeder().await;
    sort(&mut app, 9, "SS-041").await;
    for _ in 0..2 {
        let answer = app.post("/requests/9/work", &[]).await;
        assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    }
    let answer = draw(&mut app, "L0406-1", "R9", 560).await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    app
}

/// The same, begun and sprayed.
async fn sprayed() -> App {
    let mut app = ready().await;
    let answer = app.post("/requests/9/build", &[]).await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    app.wait_minutes(20);
    app.post("/builds/1/mark", &[("what", "spray"), ("pass", "1")])
        .await;
    app
}

fn weighed<'a>(
    part: &'a str,
    coupon: &'a str,
    left: &'a str,
    swept: &'a str,
) -> Vec<(&'a str, &'a str)> {
    vec![
        ("outcome", "done"),
        ("part", part),
        ("coupon", coupon),
        ("left", left),
        ("swept", swept),
        ("division", "10"),
    ]
}

/// 560 g are drawn and 100 g left: 460 g are fed. The part has 210 g of them, coupons 10 g, 230 g are swept up, and
/// 10 g are unexplained; the watch line is 2 x 10 + 1 % of 560 = 25.6 g.
#[tokio::test]
async fn a_build_from_its_begin_to_its_balance() {
    let mut app = ready().await;
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("Begin the build"), "{}", page.body);
    let answer = app.post("/requests/9/build", &[]).await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    // Nothing else is entered for it meanwhile, and no other build begins.
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("build 1 of it is under way"), "{}", page.body);
    let answer = app.post("/requests/9/build", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    app.wait_minutes(25);
    for (wait, fields) in [
        (35, vec![("what", "spray"), ("pass", "1")]),
        (
            18,
            vec![
                ("what", "clog"),
                ("pass", "9"),
                ("note", "spits; parked at the end of pass 9, nozzle changed"),
            ],
        ),
        (22, vec![("what", "spray"), ("pass", "10")]),
    ] {
        let answer = app.post("/builds/1/mark", &fields).await;
        assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
        app.wait_minutes(wait);
    }
    let page = app.get("/builds/1").await;
    assert!(page.contains("is being sprayed since"), "{}", page.body);
    let answer = app
        .post("/builds/1/finish", &weighed("210", "10", "100", "230"))
        .await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let page = app.get("/builds/1").await;
    for said in [
        "has ended",
        "560 g drawn",
        "Within what scales allow",
        "25 min",
        "57 min",
        "18 min",
        "45.6 %",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    // Its bank was read before it began, and is read again.
    assert!(
        page.contains("bank N1, before 71.5 bar abs"),
        "{}",
        page.body
    );
    assert!(page.contains("not read"), "{}", page.body);
    app.wait_minutes(2);
    let read = [
        ("bank", "N1"),
        ("pressure", "59.2"),
        ("temperature", "24"),
        ("scale", "bar-absolute"),
    ];
    let answer = app.post("/cell/reading", &read).await;
    assert_eq!(answer.location(), "/cell", "{}", answer.body);
    let page = app.get("/builds/1").await;
    assert!(page.contains("59.2 bar abs"), "{}", page.body);
    assert_eq!(grams(&app, "feeder", "L0406").await, 100);
    // On the part and not told apart from it: 460 - 10 - 230.
    assert_eq!(grams(&app, "\"build\":1", "L0406").await, 220);
    assert_eq!(grams(&app, "\"coupon\":1", "L0406").await, 10);
    assert_eq!(grams(&app, "waste", "L0406").await, 230);
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("Cut to size for R9."), "{}", page.body);
    // Its recipe learns from it: fed to the part are 460 g less 60 g of starts and 30 g of coupons.
    let learned =
        "select fed_mg * 1000 + deposited_mg / 1000 from weighed_build where note = 'build 1'";
    assert_eq!(number(&app, learned).await, Some(370_000 * 1000 + 210));
    replayed(&app).await;
}

/// What a stage is planned with follows what its builds took, and says so. Set up 20, sprayed 40, stood 30 for power
/// and 10 for a clogged nozzle: without the power, which is no matter of the recipe, 70 minutes. Against what was
/// reckoned the pace is (4 + 70 / reckoned) / 5, and the next build is planned as that times the recipe's minutes.
#[tokio::test]
async fn the_line_up_learns_how_long_a_build_takes() {
    let mut app = sprayed().await;
    for (wait, mark) in [(25, "power"), (30, "spray"), (15, "clog"), (10, "spray")] {
        app.wait_minutes(wait);
        let fields = [("what", mark), ("note", "parked at the end of the pass")];
        let answer = app.post("/builds/1/mark", &fields).await;
        assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    }
    let answer = app
        .post("/builds/1/finish", &weighed("210", "10", "100", "230"))
        .await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let reckoned = number(&app, "select reckoned_min from build_plan").await;
    let reckoned = reckoned.expect("reckoned at its begin");
    // What it took has its set-up in it, and so has what it is held against: 10 minutes where the powder is in the
    // feeder already.
    let planned = number(&app, "select minutes from build_plan").await;
    assert_eq!(planned, Some(reckoned - 10));
    let took = number(
        &app,
        "select took_min * 10000 + reckoned_min from operation_took",
    )
    .await;
    assert_eq!(took, Some(70 * 10_000 + reckoned));
    let page = app.get("/recipes/SS-041/1").await;
    for said in [
        "Where a build’s minutes went",
        "Stood: power cut",
        "in 1 of 1",
        "1 h 10 min",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let permille = (4000 + 70_000 / reckoned + 2) / 5;
    let pace = plain_decimal((permille + 5) / 10, 2);
    let pace = format!("{pace} times the recipe");
    assert!(page.contains(&pace), "{pace}: {}", page.body);
    // The plan takes it: what is reckoned now for the same stage is planned by that pace.
    let planned = (reckoned * permille + 999) / 1000;
    let site = site(&app).await;
    let recipe = site.recipe(&"SS-041".parse().expect("a code"), 1);
    let spray = recipe.and_then(|it| it.operations[2].spray.as_ref());
    let need = stage_need(&site, spray.expect("a stage")).expect("a need");
    let now = Pace::of(&[Timed {
        reckoned_min: reckoned,
        took_min: 70,
    }]);
    assert_eq!(now.minutes(reckoned), planned);
    assert_eq!(need.minutes, now.minutes(need.reckoned_min));
}

/// A step says how long it took where somebody says so: blasting planned at 25 minutes took 45, a pace of
/// (4 + 1.8) / 5 = 1.16, and 29 minutes are planned. What runs by a program or is no work is not asked.
#[tokio::test]
async fn the_line_up_learns_how_long_a_step_takes() {
    let mut app = with_clean_feeder().await;
    sort(&mut app, 9, "SS-041").await;
    let page = app.get("/requests/9/work").await;
    assert!(page.contains("name=\"took\""), "{}", page.body);
    let wrong = app
        .post("/requests/9/work", &[("took", "half an hour")])
        .await;
    assert!(wrong.field_error("took").is_some(), "{}", wrong.body);
    assert!(wrong.contains("half an hour"), "{}", wrong.body);
    let answer = app.post("/requests/9/work", &[("took", "45")]).await;
    assert_eq!(answer.location(), "/requests/9", "{}", answer.body);
    let page = app.get("/recipes/SS-041/1").await;
    assert!(page.contains("1.16 times the recipe"), "{}", page.body);
    let site = site(&app).await;
    let recipe = site.recipe(&"SS-041".parse().expect("a code"), 1);
    assert_eq!(recipe.expect("a recipe").operations[0].step_min(), 29);
}

/// 230 g are weighed as swept up a day later, and only then is anything said of the rest. Of 560 g drawn the stop
/// line is 20 + 16.8 = 36.8 g; with 150 g swept up 90 g are missing, and the lot is held.
#[tokio::test]
async fn what_is_missing_beyond_the_stop_line_holds_the_lot() {
    let mut app = sprayed().await;
    let answer = app
        .post("/builds/1/finish", &weighed("210", "10", "100", ""))
        .await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let page = app.get("/builds/1").await;
    assert!(
        page.contains("not weighed yet") && page.contains("/builds/1/swept"),
        "{}",
        page.body
    );
    let too_much = app.post("/builds/1/swept", &[("swept", "460")]).await;
    assert!(
        too_much
            .field_error("swept")
            .is_some_and(|it| it.contains("450 g"))
    );
    let answer = app.post("/builds/1/swept", &[("swept", "150")]).await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let page = app.get("/builds/1").await;
    assert!(page.contains("beyond the stop line"), "{}", page.body);
    assert_eq!(
        text(&app, "select state from lot where code = 'L0406'")
            .await
            .as_deref(),
        Some("hold")
    );
    let note = text(&app, "select state_note from lot where code = 'L0406'")
        .await
        .expect("a note");
    assert_eq!(
        note,
        "build 1: 90 g unexplained, stop line 36.8 g; count again"
    );
    assert_eq!(
        app.post("/builds/1/swept", &[("swept", "150")])
            .await
            .status,
        StatusCode::CONFLICT
    );
    replayed(&app).await;
}

/// What was scrapped gives its request back: it begins anew with blasting, and what was fed stays with the build.
#[tokio::test]
async fn a_scrapped_build_gives_its_request_back() {
    let mut app = sprayed().await;
    let mut fields = weighed("150", "0", "200", "180");
    fields[0].1 = "scrapped";
    assert!(
        app.post("/builds/1/finish", &fields)
            .await
            .field_error("note")
            .is_some()
    );
    fields.push(("note", "peeled off at the edge after pass 3"));
    let answer = app.post("/builds/1/finish", &fields).await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    assert!(app.get("/builds/1").await.contains("was scrapped"));
    let page = app.get("/requests/9/work").await;
    assert!(
        page.contains("Blast to clean metal for R9."),
        "{}",
        page.body
    );
    let page = app.get("/requests/9").await;
    assert!(page.contains("peeled off at the edge"), "{}", page.body);
    let page = app.get("/requests/9/trace").await;
    assert!(page.contains("scrapped"), "{}", page.body);
    assert_eq!(
        number(
            &app,
            "select count(*) from weighed_build where note = 'build 1'"
        )
        .await,
        Some(0)
    );
    replayed(&app).await;
}

/// What cannot be is told beside its field: more left than was in, more found than fed, no outcome.
#[tokio::test]
async fn weighings_at_the_end_that_cannot_be() {
    let mut app = sprayed().await;
    for (fields, field, told) in [
        (
            weighed("210", "10", "600", ""),
            "left",
            "by the book the feeder held 560 g",
        ),
        (
            weighed("210", "10", "100", "455"),
            "swept",
            "460 g were fed",
        ),
        (weighed("", "10", "100", ""), "part", "enter something here"),
        (
            weighed("210", "ten", "100", ""),
            "coupon",
            "is not a number",
        ),
    ] {
        let answer = app.post("/builds/1/finish", &fields).await;
        let fault = answer.field_error(field).expect(told);
        assert!(fault.contains(told), "{fault}");
    }
    let answer = app
        .post("/builds/1/finish", &weighed("210", "10", "100", "")[1..])
        .await;
    assert!(answer.field_error("outcome").is_some());
    assert_eq!(
        number(&app, "select count(*) from build_end").await,
        Some(0)
    );
}

/// Stopped for a fault it says what was found; stopped twice it is refused; and low oxygen is told loudly.
#[tokio::test]
async fn stops_and_readings() {
    let mut app = sprayed().await;
    let answer = app.post("/builds/1/mark", &[("what", "feeder")]).await;
    assert!(answer.field_error("note").is_some());
    let answer = app.post("/builds/1/mark", &[("what", "tea")]).await;
    assert!(answer.field_error("what").is_some());
    let note = "blocked at the hopper, parked at the end of pass 4";
    app.post("/builds/1/mark", &[("what", "feeder"), ("note", note)])
        .await;
    let page = app.get("/builds/1").await;
    assert!(
        page.contains("feeder blocked or pulsing") && page.contains("Blocked at the hopper"),
        "{}",
        page.body
    );
    let again = app
        .post("/builds/1/mark", &[("what", "feeder"), ("note", note)])
        .await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let answer = app.post("/builds/1/read", &[]).await;
    assert!(answer.field_error("pressure").is_some());
    let answer = app
        .post(
            "/builds/1/read",
            &[("pressure", "much"), ("draught", "12.5")],
        )
        .await;
    assert!(answer.field_error("pressure").is_some() && answer.field_error("draught").is_some());
    let read = [
        ("pressure", "45.2"),
        ("temperature", "751"),
        ("thickness", "0.35"),
        ("read_pass", "4"),
        ("oxygen", "19.1"),
    ];
    let answer = app.post("/builds/1/read", &read).await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let page = app.get("/builds/1").await;
    for said in [
        "OXYGEN LOW",
        "45.2 bar abs",
        "751 °C",
        "0.35 mm",
        "19.1 %",
        "pass 4",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    app.post(
        "/builds/1/deviation",
        &[("words", "stand-off 45 mm, the clamp was in the way")],
    )
    .await;
    assert!(
        app.get("/builds/1")
            .await
            .contains("the clamp was in the way")
    );
}

/// L0391 is poured on the heel of L0406 in mid-build, which two people must say for a part of one lot; what is
/// sprayed is traced to both, as their shares in the feeder are: of 460 g fed from 460 + 100 g, 377.857 g and
/// 82.143 g.
#[tokio::test]
async fn a_build_from_a_mixed_feeder_is_traced_to_both_lots() {
    let mut app = with_clean_feeder().await;
    draw(&mut app, "L0406-1", "trial", 460).await;
    draw(&mut app, "L0391-1", "trial", 100).await;
    sort(&mut app, 9, "SS-041").await;
    for _ in 0..2 {
        app.post("/requests/9/work", &[]).await;
    }
    app.post("/requests/9/build", &[]).await;
    app.post("/builds/1/mark", &[("what", "spray")]).await;
    let answer = app
        .post("/builds/1/finish", &weighed("210", "0", "100", "240"))
        .await;
    assert_eq!(answer.location(), "/builds/1", "{}", answer.body);
    let of = "select group_concat(milligrams, ' ') from (select m.milligrams from movement m join lot l on l.id = m.lot_id
              where m.reason = 'spray' order by l.code)";
    assert_eq!(text(&app, of).await.as_deref(), Some("82143 377857"));
    let page = app.get("/builds/1").await;
    assert!(
        page.contains("/powder/L0406") && page.contains("/powder/L0391"),
        "{}",
        page.body
    );
    replayed(&app).await;
}

/// While R9 is under the nozzle it is kept there: planned anew, it goes on after its build, and what the feeder holds
/// for it is nobody else's.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_under_the_nozzle_is_kept_when_planned_again() {
    let mut app = sprayed().await;
    app.plan().await;
    let site = mendpost_server::situation::now(&app.state)
        .await
        .expect("a site");
    let request = site
        .requests
        .iter()
        .find(|it| it.code.as_str() == "R9")
        .expect("R9");
    assert_eq!(request.building, Some(1));
    assert_eq!(request.begun.as_ref().map(|it| it.done), Some(3));
    assert!(site.cell.free_from.is_some_and(|at| at > site.now));
    let lot = site
        .lots
        .iter()
        .find(|it| it.code.as_str() == "L0406")
        .expect("L0406");
    assert_eq!(lot.on_hand.grams_on_hand(), 1_400 - 560);
    let page = app.get("/line-up").await;
    assert_eq!(page.status, StatusCode::OK);
    let page = app.get("/requests/9").await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    // Every movement and stop makes the order stale.
    app.post("/builds/1/mark", &[("what", "measure")]).await;
    assert!(app.get("/line-up").await.contains("change since"));
}

/// Nobody begins what is not sprayed next, nor with another powder in the feeder; a viewer begins nothing.
#[tokio::test]
async fn what_does_not_begin() {
    let mut app = App::signed_in(Role::Lead).await;
    sort(&mut app, 9, "SS-041").await;
    let answer = app.post("/requests/9/build", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(
        answer.contains("Blast to clean metal comes next"),
        "{}",
        answer.body
    );
    for _ in 0..2 {
        app.post("/requests/9/work", &[]).await;
    }
    let answer = app.post("/requests/9/build", &[]).await;
    assert!(
        answer.contains("he feeder is not clean of"),
        "{}",
        answer.body
    );
    let mut viewer = App::signed_in(Role::Viewer).await;
    assert_eq!(
        viewer.post("/requests/9/build", &[]).await.status,
        StatusCode::FORBIDDEN
    );
}

/// Nozzle N-7 is put in with 12.5 hours from elsewhere, and sprays 30 minutes here: 13 hours in all. The build knows
/// it, and the nozzle knows the build.
#[tokio::test]
async fn a_nozzle_has_the_hours_of_its_builds() {
    let mut app = ready().await;
    assert!(app.get("/cell/nozzle").await.contains("nobody has yet"));
    let answer = app
        .post("/cell/nozzle", &[("code", ""), ("hours", "long")])
        .await;
    assert!(answer.field_error("code").is_some() && answer.field_error("hours").is_some());
    let answer = app
        .post("/cell/nozzle", &[("code", "N-7"), ("hours", "12.5")])
        .await;
    assert_eq!(answer.location(), "/cell/nozzle", "{}", answer.body);
    app.post("/requests/9/build", &[]).await;
    app.wait_minutes(10);
    app.post("/builds/1/mark", &[("what", "spray")]).await;
    app.wait_minutes(30);
    app.post("/builds/1/finish", &weighed("210", "10", "100", "230"))
        .await;
    let page = app.get("/cell/nozzle").await;
    assert!(
        page.contains("Nozzle N-7 is in; it has sprayed 13 h."),
        "{}",
        page.body
    );
    assert!(app.get("/builds/1").await.contains("N-7"));
    assert!(app.get("/trace/nozzles/N-7").await.contains("R9"));
}

/// A tablet's camera is offered, what it took is shown with the build and in the trace of the part, and only a picture
/// of something that is there can be added.
#[tokio::test]
async fn photos_hang_on_a_build() {
    let mut app = sprayed().await;
    let page = app.get("/builds/1").await;
    assert!(
        page.contains("None yet. Photograph how it is parked at a stop"),
        "{}",
        page.body
    );
    let page = app.get("/builds/1/photos").await;
    assert!(page.contains("accept=\"image/*\""), "{}", page.body);
    let taken = jpeg();
    let photo = SentFile {
        name: "stop.jpg",
        media_type: "image/jpeg",
        bytes: &taken,
    };
    let caption = [("caption", "parked at pass 9")];
    let answer = app.post_files("/builds/1/photos", &caption, &[photo]).await;
    assert_eq!(answer.location(), "/builds/1/photos", "{}", answer.body);
    for path in ["/builds/1", "/builds/1/photos", "/requests/9/trace"] {
        let page = app.get(path).await;
        assert!(page.contains("<b>parked at pass 9</b>"), "{path}");
    }
    let entry =
        "select subject_kind || ' ' || subject_id from journal where kind = 'attachment.added'";
    assert_eq!(text(&app, entry).await.as_deref(), Some("build 1"));
    let none = app.post_files("/builds/7/photos", &caption, &[photo]).await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
}
