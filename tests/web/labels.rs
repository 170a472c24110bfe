//! Labels: what stands on them, what their squares say, and who may print them.

use axum::http::StatusCode;
use mendpost_core::label::{Kind, Label};
use mendpost_core::people::Role;
use mendpost_tests::{App, squares};
use sqlx::query;

fn text(kind: Kind, code: &str) -> String {
    Label::new(kind, code).expect("a code").text()
}

/// L0390 came in two cans. Its sheet has the lot's label and one for each can, and a decoder that knows
/// nothing of ours reads from each square what its label says.
#[tokio::test]
async fn a_lot_has_its_label_and_one_for_each_container() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/labels/lots/L0390").await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.contains("Print 3 labels of lot L0390, on 1 sheet of A4."));
    assert_eq!(
        squares::of_page(&page.body),
        [
            text(Kind::Lot, "L0390"),
            text(Kind::Container, "L0390-1"),
            text(Kind::Container, "L0390-2"),
        ]
    );
    for words in [
        ">L0390-2<",
        ">Al 6061<",
        ">lot L0390<",
        ">maker’s AL-2207<",
        ">use by 3 Jun 2027<",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert!(
        !page.contains("released"),
        "a state changes, a label does not"
    );
}

/// The one lot without a date says so; blank would be read as none.
#[tokio::test]
async fn a_date_that_nobody_told_is_not_left_blank() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/labels/lots/L0410").await;
    assert!(page.contains(">use by:<") && page.contains(">not told<"));
}

/// One label stands alone, unless a sheet is asked for; a word that names no paper is no fault.
#[tokio::test]
async fn one_container_has_a_single_label() {
    let mut app = App::signed_in(Role::Crew).await;
    let single = app.get("/labels/containers/L0396-1").await;
    assert!(single.contains("class=\"labels single\""));
    let label = text(Kind::Container, "L0396-1");
    assert_eq!(squares::of_page(&single.body), [label.as_str()]);
    let lot = app.get("/labels/lots/L0396/own").await;
    assert_eq!(squares::of_page(&lot.body), [text(Kind::Lot, "L0396")]);
    let all = app.get("/labels/lots/L0396").await;
    for alone in ["/labels/lots/L0396/own", "/labels/containers/L0396-1"] {
        assert!(all.contains(&format!("href=\"{alone}\"")), "{alone}");
    }
    let sheet = app.get("/labels/containers/L0396-1?paper=letter").await;
    assert!(sheet.contains("class=\"labels letter\"") && sheet.contains("on 1 sheet of Letter"));
    let neither = app.get("/labels/containers/L0396-1?paper=vellum").await;
    assert!(neither.contains("class=\"labels single\""));
}

/// 37 requests are open in the demonstration: four sheets of ten. R13 names its machine and its part.
#[tokio::test]
async fn open_requests_fill_sheets_of_ten() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let page = app.get("/labels/requests").await;
    assert!(page.contains("Print 37 labels of open requests, on 4 sheets of A4."));
    assert_eq!(page.body.matches("class=\"label-sheet\"").count(), 4);
    let read = squares::of_page(&page.body);
    assert_eq!(read.len(), 37);
    assert_eq!(read[12], text(Kind::Request, "R13"));
    let one = app.get("/labels/requests/13").await;
    assert!(one.contains(">generating set 3<") && one.contains(">bearing housing<"));
}

#[tokio::test]
async fn what_is_not_there_has_no_label() {
    let mut app = App::signed_in(Role::Viewer).await;
    for path in [
        "/labels/lots/L9999",
        "/labels/lots/L9999/own",
        "/labels/containers/L9999-1",
        "/labels/requests/9999",
        "/labels/requests/R12",
    ] {
        assert_eq!(app.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}

/// The list offers every lot that is not used up and every open request, and the pages of a powder, a
/// lot and a request lead to their labels.
#[tokio::test]
async fn the_way_to_labels_is_where_one_looks_for_it() {
    let mut app = App::signed_in(Role::Viewer).await;
    for (page, link) in [
        ("/labels", "/labels/lots/L0396"),
        ("/labels", "/labels/requests/13"),
        ("/labels", "/labels/requests"),
        ("/powder", "/labels"),
        ("/powder/L0396", "/labels/lots/L0396"),
        ("/requests/13", "/labels/requests/13"),
        ("/pages", "/labels"),
        ("/site", "/labels"),
    ] {
        let shown = app.get(page).await;
        assert!(
            shown.contains(&format!("href=\"{link}\"")),
            "{link} on {page}"
        );
    }
}

/// Signed out, nobody reads which lots there are.
#[tokio::test]
async fn labels_are_for_those_who_have_signed_in() {
    let mut app = App::new().await;
    let answer = app.get("/labels/lots/L0390").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(answer.location(), "/sign-in?next=%2Flabels%2Flots%2FL0390");
}

/// A name is text, whatever it looks like; a code with a slash stays one step of its address.
#[tokio::test]
async fn names_are_escaped_and_codes_keep_their_slash() {
    let mut app = App::signed_in(Role::Lead).await;
    let odd = "update asset set name = 'pump <b>&\"1\"' where code = 'GS3'";
    query(odd).execute(&app.state.db.write).await.expect(odd);
    let label = app.get("/labels/requests/13").await;
    assert!(
        label.contains("pump &#60;b&#62;&#38;&#34;1&#34;"),
        "{}",
        label.body
    );
    assert!(!label.contains("<b>&"));

    let slash = "update lot set code = '26/0417' where code = 'L0396'";
    query(slash)
        .execute(&app.state.db.write)
        .await
        .expect(slash);
    let list = app.get("/labels").await;
    assert!(list.contains("href=\"/labels/lots/26%2F0417\""));
    let sheet = app.get("/labels/lots/26%2F0417").await;
    assert_eq!(squares::of_page(&sheet.body)[0], text(Kind::Lot, "26/0417"));
    assert!(sheet.contains("href=\"/labels/lots/26%2F0417?paper=letter\""));
}
