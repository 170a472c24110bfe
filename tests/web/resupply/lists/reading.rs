//! What comes over a link or by voice, read on a page that changes nothing.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_core::resupply::list::depot;
use mendpost_tests::{App, between, number};

use super::{frozen, the_list};

const READ: &str = "/resupply/read";

/// A depot that has a Mendpost of its own reads the list as it was sent, and is told where it was not.
#[tokio::test]
async fn a_depot_reads_the_file_of_a_list() {
    let mut site = frozen().await;
    let file = depot::write_list(&the_list(&mut site).await).expect("a file");
    let mut depot = App::signed_in(Role::Viewer).await;
    depot.get(READ).await;
    let page = depot.post(READ, &[("text", file.as_str())]).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.body);
    for said in [
        "This is load list 1 of Port Ansel",
        "its check fits",
        "42.6 kg net",
        "UN 3089",
    ] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    for (text, fault) in [
        (file[..file.len() - 40].to_owned(), "breaks off"),
        (
            file.replacen("\"units\":4", "\"units\":6", 1),
            "it was altered on its way",
        ),
        (
            file.replacen("load-list/1", "load-list/9", 1),
            "read here are",
        ),
    ] {
        let page = depot.post(READ, &[("text", text.as_str())]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{fault}");
        assert!(
            page.field_error("text").unwrap_or_default().contains(fault),
            "{fault}: {}",
            page.body
        );
    }
    assert_eq!(
        number(&depot, "select count(*) from load_list").await,
        Some(0)
    );
}

fn spoken(page: &str) -> Vec<String> {
    page.split("<li><code>")
        .skip(1)
        .filter_map(|it| Some(it.split_once("</code>")?.0.to_owned()))
        .collect()
}

/// What is on hand is told line by line, and typed back; a wrong letter is told by its row, a line left out
/// by its number.
#[tokio::test]
async fn what_is_on_hand_is_told_and_understood() {
    let mut app = App::signed_in(Role::Viewer).await;
    let page = app.get("/resupply/stock-report").await;
    for said in ["Bank N1", "Fuel", "MASK-20", "lot L0396"] {
        assert!(page.contains(said), "{said}: {}", page.body);
    }
    let lines = spoken(&app.get("/resupply/stock-report/radio").await.body);
    assert!(lines.len() > 40, "{lines:?}");
    let read = app.post(READ, &[("text", lines.join("\n").as_str())]).await;
    assert_eq!(read.status, StatusCode::OK);
    assert!(
        read.contains("lines were heard as they were said") && read.contains("Bank N1"),
        "{}",
        read.body
    );

    let mut wrong = lines.clone();
    wrong[6] = wrong[6].replacen("ENTRY", "EMTRY", 1);
    wrong.remove(9);
    let read = app.post(READ, &[("text", wrong.join("\n").as_str())]).await;
    assert_eq!(read.status, StatusCode::OK);
    for said in [
        "row 7, as line 7, was misheard: its check characters do not fit",
        "missing: line 7, 10",
    ] {
        assert!(read.contains(said), "{said}: {}", read.body);
    }
    let nothing = app.post(READ, &[("text", "good morning")]).await;
    assert_eq!(nothing.status, StatusCode::UNPROCESSABLE_ENTITY);
    let empty = app.post(READ, &[("text", " ")]).await;
    assert_eq!(
        empty.field_error("text"),
        Some("paste a text, or choose a file")
    );
}

/// The storekeeper goes on from an answer that was read to entering it; somebody else does not.
#[tokio::test]
async fn an_answer_that_is_read_leads_to_entering_it() {
    let mut app = frozen().await;
    let list = spoken(&app.get("/resupply/lists/1/radio").await.body);
    let read = app.post(READ, &[("text", list.join(" ").as_str())]).await;
    assert!(
        read.contains("This is load list 1 for trip BOAT-7")
            && read.contains("4 of SS-5, priority 1"),
        "{}",
        read.body
    );
    let answer = mendpost_core::resupply::list::answer::Answer {
        list: 1,
        trip: "BOAT-7".parse().expect("a code"),
        by: String::new(),
        arrival: None,
        lines: vec![],
    };
    let text = answer.radio().join("\n");
    let read = app.post(READ, &[("text", text.as_str())]).await;
    assert!(
        between(
            &read.body,
            "action=\"/resupply/lists/1/answer/read\"",
            "Go on"
        )
        .is_some(),
        "{}",
        read.body
    );
    let mut other = app.other_browser();
    other.sign_in(Role::Viewer).await;
    other.get(READ).await;
    let read = other.post(READ, &[("text", text.as_str())]).await;
    assert!(!read.contains("answer/read"), "{}", read.body);
}
