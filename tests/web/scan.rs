//! What a scan opens, and what is said where it opens nothing.

use axum::http::StatusCode;
use mendpost_core::label::{Kind, Label};
use mendpost_core::people::Role;
use mendpost_tests::{Answer, App, form, number};
use sqlx::query;

async fn scan(app: &mut App, read: &str) -> Answer {
    app.get(&format!("/scan?{}", form(&[("read", read)]))).await
}

/// Where a scan leads; it must lead somewhere.
async fn opens(app: &mut App, read: &str) -> String {
    let answer = scan(app, read).await;
    assert_eq!(
        answer.status,
        StatusCode::SEE_OTHER,
        "{read}: {}",
        answer.body
    );
    answer.location().to_owned()
}

fn text(kind: Kind, code: &str) -> String {
    Label::new(kind, code).expect("a code").text()
}

/// A container is marked on its lot's page; a release tag opens the request that its part was built for.
/// Caps Lock makes no difference.
#[tokio::test]
async fn a_label_opens_what_it_stands_on() {
    let mut app = App::signed_in(Role::Viewer).await;
    for (label, page) in [
        (
            text(Kind::Container, "L0396-1"),
            "/powder/L0396#container-L0396-1",
        ),
        (text(Kind::Lot, "L0396"), "/powder/L0396"),
        (text(Kind::Request, "R12"), "/requests/12"),
        (text(Kind::ReleaseTag, "R12"), "/requests/12"),
    ] {
        assert_eq!(opens(&mut app, &label).await, page, "{label}");
        assert_eq!(
            opens(&mut app, &label.to_lowercase()).await,
            page,
            "{label}"
        );
        assert_eq!(
            opens(&mut app, &format!("]Q1{label}\r\n")).await,
            page,
            "{label}"
        );
    }
    let lot = app.get("/powder/L0396").await;
    assert!(
        lot.contains("id=\"container-L0396-1\""),
        "the place that the address names"
    );
}

/// The code printed in large letters may be typed instead, as it comes.
#[tokio::test]
async fn a_typed_code_opens_it_too() {
    let mut app = App::signed_in(Role::Crew).await;
    for (typed, page) in [
        ("L0396-1", "/powder/L0396#container-L0396-1"),
        ("l0396-1 ", "/powder/L0396#container-L0396-1"),
        ("L0396", "/powder/L0396"),
        (" r12", "/requests/12"),
    ] {
        assert_eq!(opens(&mut app, typed).await, page, "{typed}");
    }
}

/// One wrong character: nothing opens, and the page says what was read and what to do.
#[tokio::test]
async fn a_damaged_read_is_told() {
    let mut app = App::signed_in(Role::Crew).await;
    let damaged = text(Kind::Container, "L0396-1").replace("0396", "0397");
    let answer = scan(&mut app, &damaged).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    let fault = answer
        .field_error("read")
        .expect("a fault beside the field");
    assert!(
        fault.contains(&damaged) && fault.contains("was not read whole"),
        "{fault}"
    );
    assert!(fault.contains("Scan again, or type the code"), "{fault}");
    assert!(
        answer.contains(&format!("value=\"{damaged}\"")),
        "what was read stays"
    );
}

/// A German keyboard swaps Y and Z, so that the label begins otherwise.
#[tokio::test]
async fn another_keyboard_layout_is_told_by_its_name() {
    let mut app = App::signed_in(Role::Crew).await;
    let typed = text(Kind::Lot, "L0396").replace('Y', "Z");
    let answer = scan(&mut app, &typed).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    let fault = answer
        .field_error("read")
        .expect("a fault beside the field");
    assert!(
        fault.contains("takes the scanner for a QWERTZ keyboard"),
        "{fault}"
    );
}

/// A whole label of another site, a code that nothing has, and a maker's own label.
#[tokio::test]
async fn what_is_not_known_here_is_told() {
    let mut app = App::signed_in(Role::Viewer).await;
    let foreign = scan(&mut app, &text(Kind::Lot, "L7777")).await;
    assert_eq!(foreign.status, StatusCode::NOT_FOUND);
    let fault = foreign.field_error("read").expect("a fault");
    assert!(fault.contains("it says lot L7777"), "{fault}");

    let typed = scan(&mut app, "L7777").await;
    assert_eq!(typed.status, StatusCode::NOT_FOUND);
    let fault = typed.field_error("read").expect("a fault");
    assert!(
        fault.contains("names no container, lot or request here"),
        "{fault}"
    );
    // A request's label does not open the lot of its code, nor a lot's a request.
    assert_eq!(
        scan(&mut app, &text(Kind::Request, "L0396")).await.status,
        StatusCode::NOT_FOUND
    );
    assert_eq!(
        scan(&mut app, &text(Kind::Lot, "R12")).await.status,
        StatusCode::NOT_FOUND
    );

    let makers = scan(&mut app, "(01)0 40 <b>06381</b>").await;
    assert_eq!(makers.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(makers.contains("is no label of ours and no code"));
    assert!(
        makers.contains("&#60;b&#62;") && !makers.contains("<b>06381"),
        "escaped"
    );
}

/// Nothing read is no fault: the page asks for a scan. Too much is told without all of it.
#[tokio::test]
async fn nothing_and_far_too_much_are_answered() {
    let mut app = App::signed_in(Role::Viewer).await;
    for path in ["/scan", "/scan?read=", "/scan?read=%20%0D"] {
        let answer = app.get(path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}");
        assert!(answer.contains("Scan a label, or type its code."));
        assert_eq!(answer.field_error("read"), None);
    }
    let answer = scan(&mut app, &"8".repeat(3000)).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.contains("3000 characters were read"));
    assert!(
        answer.contains("name=\"read\" type=\"text\" value=\"\""),
        "nobody corrects that by hand"
    );
}

/// Two lots whose codes differ by case only, and a lot that is called as a request is: the page asks
/// which is meant. A label's kind says it.
#[tokio::test]
async fn a_code_of_several_things_is_asked_back() {
    let mut app = App::signed_in(Role::Lead).await;
    for change in [
        "update lot set code = 'l0396' where code = 'L0397'",
        "update lot set code = 'R12' where code = 'L0399'",
    ] {
        query(change)
            .execute(&app.state.db.write)
            .await
            .expect(change);
    }
    let twice = scan(&mut app, "L0396").await;
    assert_eq!(twice.status, StatusCode::OK);
    assert!(
        twice.contains("Choose what is meant.") && twice.contains("L0396 names 2 things here.")
    );
    for lot in ["L0396", "l0396"] {
        assert!(twice.contains(&format!("href=\"/powder/{lot}\"")), "{lot}");
    }
    let mixed = scan(&mut app, "R12").await;
    assert!(mixed.contains("href=\"/powder/R12\"") && mixed.contains("href=\"/requests/12\""));
    assert_eq!(
        opens(&mut app, &text(Kind::Request, "R12")).await,
        "/requests/12"
    );
    assert_eq!(
        opens(&mut app, &text(Kind::Lot, "R12")).await,
        "/powder/R12"
    );
}

/// The field stands on every page for who has signed in, on no other; the script on all, since a scan
/// must not press the button of a sign-in either.
#[tokio::test]
async fn every_page_has_the_field_and_the_script() {
    let mut app = App::new().await;
    let before = app.get("/sign-in").await;
    assert!(!before.contains("action=\"/scan\""));
    assert!(before.contains("<script src=\"/static/scan.js?v="));
    app.sign_in(Role::Viewer).await;
    for path in ["/now", "/powder/L0396", "/scan", "/no-such-page"] {
        let page = app.get(path).await;
        assert!(
            page.contains("<form class=\"scan\" action=\"/scan\""),
            "{path}"
        );
        assert_eq!(page.body.matches("<script").count(), 1, "{path}");
        // The script knows what labels begin with from here alone.
        assert!(
            page.contains("data-beginnings=\"MYQ MZQ ,YA ?YA MF&#39; MF&#34; MJQ\""),
            "{path}"
        );
    }
    let script = app.get(&mendpost_server::assets::asset("scan.js")).await;
    assert_eq!(
        script.header("content-type"),
        Some("text/javascript; charset=utf-8")
    );
}

/// Scanned before anybody has signed in, the label opens after that. A scan writes nothing.
#[tokio::test]
async fn a_scan_waits_for_the_sign_in_and_writes_nothing() {
    let mut app = App::new().await;
    let answer = scan(&mut app, "L0396").await;
    assert_eq!(answer.location(), "/sign-in?next=%2Fscan%3Fread%3DL0396");
    app.sign_in(Role::Crew).await;
    let entries = "select max(sequence) from journal";
    let before = number(&app, entries).await;
    opens(&mut app, "L0396-1").await;
    scan(&mut app, "L9999").await;
    assert_eq!(number(&app, entries).await, before);
}
