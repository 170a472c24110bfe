//! Writing a handover and telling it.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{number, text};
use serde_json::Value;

use super::{FIRST, Fields, WRITE, answered, names, on_shift, other, send, tell, told, value};

/// All answered, it is told: signed, step by step what was typed, ordinary, and every screen of everybody says that
/// nobody has taken it over.
#[tokio::test]
async fn a_quiet_shift_is_told() {
    let (mut giver, mut receiver) = told(&[]).await;
    let stored = text(&giver, "select told from handover")
        .await
        .expect("a handover");
    let stored: Value = serde_json::from_str(&stored).expect("JSON");
    assert_eq!(stored["triggers"], serde_json::json!([]));
    assert_eq!(
        stored["record"]["could_bite"],
        "dust may blow in at the door"
    );
    assert_eq!(stored["facts"].as_array().map(Vec::len), Some(5));
    let signed = text(
        &giver,
        "select statement from signature where subject_kind = 'handover'",
    )
    .await;
    assert!(signed.is_some_and(|it| it.starts_with("Told.")));
    for path in [
        "/now",
        "/powder",
        "/requests/9",
        "/site",
        "/handover",
        "/no-such-page",
    ] {
        for app in [&mut giver, &mut receiver] {
            let page = app.get(path).await;
            assert!(
                page.contains("HANDOVER 1 IS NOT TAKEN OVER"),
                "{path}: {}",
                page.body
            );
        }
    }
    // Whoever is not signed in learns nothing of it.
    let page = giver.other_browser().get("/sign-in").await;
    assert!(!page.contains("HANDOVER 1"), "{}", page.body);
}

/// Each field left blank is named beside it, nothing is told, and what was typed is still there.
#[tokio::test]
async fn a_blank_field_keeps_it_from_being_told() {
    let mut app = on_shift().await;
    let page = app.get(WRITE).await;
    let fields = answered(&page);
    let guards: Vec<String> = names(&page)
        .into_iter()
        .filter(|it| it.ends_with("_off"))
        .collect();
    let mut blanks: Vec<&str> = vec![
        "booth_word",
        "booth_reading",
        "bank-N1_reading",
        "could_bite",
        "people_alone",
        "people_hurt",
        "people_words",
        "clock_agrees",
    ];
    blanks.extend(
        guards
            .iter()
            .map(|it| &**it)
            .collect::<std::collections::BTreeSet<_>>(),
    );
    assert!(blanks.len() > 14, "{blanks:?}");
    for blank in blanks {
        let answer = tell(&mut app, &[(blank, "")]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{blank}");
        let fault = answer.field_error(blank).expect(blank);
        assert!(
            fault.contains("blank is never 'none'") || fault.contains("never &#39;none"),
            "{blank}: {fault}"
        );
        if blank != "people_words" {
            assert!(answer.contains(&fields["people_words"]), "{}", answer.body);
        }
    }
    assert_eq!(number(&app, "select count(*) from handover").await, Some(0));
}

/// A guard that is off asks what is off and who may put it back; told so, the handover is one of higher risk.
#[tokio::test]
async fn a_guard_that_is_off_says_what_and_who() {
    let mut app = on_shift().await;
    let answer = tell(&mut app, &[("mill_off", "yes")]).await;
    for field in ["mill_what", "mill_restore"] {
        assert!(
            answer.field_error(field).is_some(),
            "{field}: {}",
            answer.body
        );
    }
    let off = [
        ("mill_off", "yes"),
        ("mill_what", "chip guard, since 15:10"),
        ("mill_restore", "fitter"),
    ];
    let answer = tell(&mut app, &off).await;
    assert_eq!(answer.location(), FIRST, "{}", answer.body);
    let page = app.get(FIRST).await;
    assert!(
        page.contains("STEP-UP") && page.contains("a safeguard is off"),
        "{}",
        page.body
    );
    assert!(
        page.contains("chip guard, since 15:10; put back by fitter"),
        "{}",
        page.body
    );
}

/// The clock stands at 15:40. Read at 14:40 is an hour ago and told; 14:39 is 61 minutes ago. 15:45 is still to come.
#[tokio::test]
async fn what_was_read_over_an_hour_ago_is_read_again() {
    let mut app = on_shift().await;
    for (read, fault) in [
        (
            "14:39",
            "read 61 min ago, and 60 min are allowed; read it again",
        ),
        (
            "15:45",
            "read in 5 min from now; check the time that you typed",
        ),
        ("noon", "no time of day; use hours:minutes"),
    ] {
        let answer = tell(&mut app, &[("booth_read", read)]).await;
        let found = answer.field_error("booth_read").expect("a fault");
        assert!(found.contains(fault), "{read}: {found}");
    }
    let answer = tell(&mut app, &[("booth_read", "14:40")]).await;
    assert_eq!(answer.location(), FIRST, "{}", answer.body);
}

/// What was read off a gauge within the hour stands there already, with its time: 410 L of fuel, just now.
#[tokio::test]
async fn fresh_readings_are_proposed() {
    let mut app = on_shift().await;
    app.post("/cell/reading", &[("fuel", "410")]).await;
    app.wait_minutes(7);
    let page = app.get(WRITE).await;
    assert_eq!(value(&page, "fuel_reading"), "410 L");
    assert_eq!(value(&page, "fuel_read"), "15:40");
    assert_eq!(value(&page, "heater_reading"), "");
}

/// A proposal that was rubbed out is no reading: the field is blank, and told to be.
#[tokio::test]
async fn what_was_rubbed_out_is_not_told() {
    let mut app = on_shift().await;
    app.post("/cell/reading", &[("fuel", "410")]).await;
    let answer = tell(&mut app, &[("fuel_reading", "")]).await;
    let fault = answer.field_error("fuel_reading");
    assert!(
        fault.is_some_and(|it| it.contains("blank is never")),
        "{}",
        answer.body
    );
    assert_eq!(value(&answer, "fuel_reading"), "");
}

/// Kept at 15:40 as read at 15:35, a draft that is told at 15:45 of the next day has no reading of that day.
#[tokio::test]
async fn a_time_of_day_is_not_that_of_the_next_day() {
    let mut app = on_shift().await;
    let fields = answered(&app.get(WRITE).await);
    send(&mut app, WRITE, &fields).await;
    assert_eq!(value(&app.get(WRITE).await, "round"), "15:35");
    app.wait_minutes(24 * 60 + 5);
    app.sign_in(Role::Crew).await;
    let page = app.get(WRITE).await;
    assert_eq!(value(&page, "round"), "");
    let answer = tell(&mut app, &[("round", "")]).await;
    assert!(
        answer.field_error("booth_read").is_some(),
        "{}",
        answer.body
    );
}

/// Kept on one tablet, it stands on another; each saving is one entry of the journal that holds what changed.
#[tokio::test]
async fn a_draft_goes_on_at_another_tablet() {
    let mut app = on_shift().await;
    let mut fields = answered(&app.get(WRITE).await);
    fields.insert("act".to_owned(), "keep".to_owned());
    let answer = send(&mut app, WRITE, &fields).await;
    assert_eq!(answer.location(), WRITE, "{}", answer.body);
    let mut lead = other(&app, Role::Lead).await;
    let page = lead.get(WRITE).await;
    assert!(
        page.contains("dust may blow in at the door"),
        "{}",
        page.body
    );
    let mut fields = answered(&page);
    fields.insert("could_bite".to_owned(), "a valve may weep".to_owned());
    let answer = send(&mut lead, WRITE, &fields).await;
    assert_eq!(answer.location(), WRITE, "{}", answer.body);
    let changed = text(
        &app,
        "select json_extract(content, '$.fields') from journal where kind = 'handover.drafted'
         order by sequence desc limit 1",
    )
    .await;
    assert_eq!(
        changed.as_deref(),
        Some(r#"{"could_bite":"a valve may weep"}"#)
    );
}

/// Two tablets show the same draft. The lead writes fuel; the sprayer, who did not touch it, does not rub that out,
/// and is told where both wrote.
#[tokio::test]
async fn two_who_write_at_one_time_do_not_write_over_each_other() {
    let mut app = on_shift().await;
    let shown = answered(&app.get(WRITE).await);
    let send_only = |changed: &[(&str, &str)]| {
        let names = shown.keys();
        let mut fields: Fields = names.map(|name| (name.clone(), String::new())).collect();
        for kept in ["shift", "base"] {
            fields.insert(kept.to_owned(), shown[kept].clone());
        }
        for (name, value) in changed {
            fields.insert((*name).to_owned(), (*value).to_owned());
        }
        fields
    };
    let mut lead = other(&app, Role::Lead).await;
    let answer = send(
        &mut lead,
        WRITE,
        &send_only(&[("fuel_reading", "400 L"), ("could_bite", "wind")]),
    )
    .await;
    assert_eq!(answer.location(), WRITE, "{}", answer.body);
    let fields = send_only(&[
        ("booth_reading", "20.9 %"),
        ("could_bite", "a valve may weep"),
    ]);
    let answer = send(&mut app, WRITE, &fields).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    let fault = answer.field_error("could_bite").expect("a clash");
    assert!(
        fault.contains("Cell lead wrote") && fault.contains("wind"),
        "{fault}"
    );
    assert!(answer.contains("a valve may weep"), "{}", answer.body);
    assert_eq!(value(&answer, "fuel_reading"), "400 L");
    assert_eq!(value(&answer, "booth_reading"), "20.9 %");
    // Sent again from the page that shows both, the sprayer's stands.
    let mut again = fields;
    again.insert("base".to_owned(), super::answered(&answer)["base"].clone());
    again.insert("fuel_reading".to_owned(), "400 L".to_owned());
    let answer = send(&mut app, WRITE, &again).await;
    assert_eq!(answer.location(), WRITE, "{}", answer.body);
    let page = app.get(WRITE).await;
    assert!(
        page.contains("a valve may weep") && !page.contains("wind"),
        "{}",
        page.body
    );
}

/// The script's way to keep a draft answers with the number of the saving and the number of the next form.
#[tokio::test]
async fn the_script_keeps_fields_too() {
    let mut app = on_shift().await;
    let fields = answered(&app.get(WRITE).await);
    let answer = send(&mut app, "/handover/write/keep", &fields).await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
    let said: Value = serde_json::from_str(&answer.body).expect("JSON");
    assert_eq!((&said["base"], &said["kept"]), (&1.into(), &"15:40".into()));
    assert!(said["clash"].is_null());
    let kept = number(&app, "select count(distinct field) from handover_draft").await;
    assert!(kept.is_some_and(|kept| kept > 30), "{kept:?}");
}

/// A part that waits between two operations is half done: it must be looked at, parked and told from a finished one.
/// The powder left in the feeder too.
#[tokio::test]
async fn half_done_work_is_confirmed_one_by_one() {
    let mut app = on_shift().await;
    let page = app.get(WRITE).await;
    let seen: Vec<String> = names(&page)
        .into_iter()
        .filter(|it| it.starts_with("half-") && it.ends_with("_seen"))
        .collect();
    assert!(!seen.is_empty(), "{}", page.body);
    assert!(page.contains("80 g of L0395 left in"), "{}", page.body);
    for field in &seen {
        let answer = tell(&mut app, &[(field, "")]).await;
        let fault = answer.field_error(field).expect("a fault");
        assert_eq!(fault, "look at it, then tick that you did");
    }
}

/// Confirmed in the draft; then the work goes on. What was said of the state before does not stand for the new one.
#[tokio::test]
async fn work_that_went_on_is_said_anew() {
    let mut app = on_shift().await;
    let mut fields = answered(&app.get(WRITE).await);
    let before: Vec<String> = fields
        .keys()
        .filter(|it| it.starts_with("half-feeder"))
        .cloned()
        .collect();
    assert!(!before.is_empty());
    send(&mut app, WRITE, &fields).await;
    let answer = app
        .post("/feeder/empty", &[("waste", "80"), ("clean", "yes")])
        .await;
    assert_eq!(answer.location(), "/feeder", "{}", answer.body);
    // The page that still asks for it is told so, with what was written.
    fields.insert("act".to_owned(), "tell".to_owned());
    fields.insert("base".to_owned(), "1".to_owned());
    fields.insert(
        "half-feeder-L0395_not".to_owned(),
        "a clean feeder".to_owned(),
    );
    let answer = send(&mut app, WRITE, &fields).await;
    assert_eq!(
        answer.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "{}",
        answer.body
    );
    assert!(
        answer.contains("Work went on while you wrote") && answer.contains("a clean feeder"),
        "{}",
        answer.body
    );
    let page = app.get(WRITE).await;
    assert!(!page.contains("half-feeder"), "{}", page.body);
    assert_eq!(tell(&mut app, &[]).await.location(), FIRST);
}

/// While one waits no other is told, and a page of a shift that has ended tells nothing.
#[tokio::test]
async fn one_handover_at_a_time() {
    let mut giver = on_shift().await;
    let fields = answered(&giver.get(WRITE).await);
    tell(&mut giver, &[]).await;
    assert_eq!(giver.get(WRITE).await.location(), FIRST);
    let answer = send(&mut giver, WRITE, &fields).await;
    assert_eq!(answer.status, StatusCode::CONFLICT, "{}", answer.body);
    let mut receiver = other(&giver, Role::Lead).await;
    let answer = super::hear(&mut receiver, FIRST, &[]).await;
    assert_eq!(answer.location(), "/handover", "{}", answer.body);
    let answer = send(&mut giver, WRITE, &fields).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.contains("Shift 1 has ended"), "{}", answer.body);
}

/// What is typed is text, wherever it is shown again.
#[tokio::test]
async fn markup_is_shown_as_text() {
    let (mut app, _) = told(&[("could_bite", "<script>alert(1)</script>")]).await;
    let page = app.get(FIRST).await;
    assert!(
        !page.contains("<script>alert") && page.contains("alert(1)"),
        "{}",
        page.body
    );
}

/// More than a field holds is refused beside it, and nothing typed is lost.
#[tokio::test]
async fn too_long_is_told_beside_its_field() {
    let mut app = on_shift().await;
    let long = "x".repeat(401);
    let answer = tell(&mut app, &[("could_bite", &long)]).await;
    let fault = answer.field_error("could_bite").expect("a fault");
    assert!(fault.starts_with("401 characters are too many"), "{fault}");
    assert!(answer.contains(&long));
}
