//! The form of a receipt: faults beside fields, rows added and taken out, files kept.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, SentFile, number};

use super::{JOURNAL, NEW, receive, with};
use crate::attachments::jpeg;

/// Each wrong entry is told beside its field; all others stand as typed, and nothing is booked.
#[tokio::test]
async fn each_fault_is_told_beside_its_field() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let before = number(&app, JOURNAL).await;
    for (field, typed, says) in [
        ("received_at", "2031-01-01 10:00", "still to come"),
        ("received_at", "noon", "is not a date and time"),
        ("l0_code", "", "a code is missing"),
        ("l0_code", "L0416 A", "has the character"),
        (
            "l0_code",
            "L0415",
            "on record already; the next free number is L0416",
        ),
        ("l0_powder", "GOLD", "choose the powder"),
        ("l0_made_on", "2031-01-01", "still to come"),
        ("l0_use_by", "2026-08-31", "before it was made"),
        ("l0_use_by", "next year", "is not a date"),
        ("l0_humidity_max", "101", "out of range"),
        (
            "l0_c0_code",
            "L0390-1",
            "container L0390-1 is on record already",
        ),
        ("l0_c0_code", "AL-BOTTLE-2", "is given twice here"),
        ("l0_c0_gross", "heavy", "is not a number"),
        ("l0_c0_seal_state", "loose", "not one of the choices"),
        ("l0_maker", &"x".repeat(81), "81 characters are too many"),
        ("l0_dated", "2031-01-01", "still to come"),
        ("l0_d50", "60", ""),
        ("l0_moisture", "101", "out of range"),
        ("l0_e0_symbol", "Xx", "is no element; write its symbol"),
        ("l0_e0_symbol", "", "of which element?"),
        ("l0_e1_max", "0.7", "less than the least"),
        ("l0_e0_found", "101", "out of range"),
        ("l1_code", "L0416", "L0416 is given twice here"),
        (
            "l1_c0_net",
            "",
            "give the net mass, or gross weight and tare",
        ),
        ("d2_came", "", "how much came? enter 0 if nothing did"),
        ("d2_damaged", "7", "more than came"),
        ("d2_fate", "", "say what becomes of it"),
        ("d2_note", "", "say what is damaged"),
        ("d4_came", "", "did it come?"),
        ("d0_refused", "-1", "out of range"),
    ] {
        let answer = receive(&mut app, &[(field, typed)]).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{field} {typed}"
        );
        let at = match field {
            // D10, D50 and D90 rise: with 60 at D50, D90 is the one that is below.
            "l0_d50" => "l0_d90",
            "l0_c0_code" if typed == "AL-BOTTLE-2" => "l0_c1_code",
            field => field,
        };
        let told = answer.field_error(at);
        assert!(
            told.is_some_and(|told| told.contains(says)),
            "{field} {typed}: {told:?} {}",
            answer.body
        );
        for (name, kept) in super::BOAT {
            let is_line =
                !kept.is_empty() && (name.starts_with("l0_c") || name.ends_with("number"));
            if is_line && *name != field && !name.ends_with("seal_state") {
                let shown = format!("name=\"{name}\"");
                let value = format!("value=\"{kept}\"");
                assert!(
                    answer.contains(&shown) && answer.contains(&value),
                    "{field}: {name}"
                );
            }
        }
        assert!(
            answer.contains("waits: put the"),
            "{field}: the button says so"
        );
    }
    assert_eq!(number(&app, JOURNAL).await, before);
}

/// A bottle that says 5 500 g weighs 5 700 g less its 420: 5 280 g, 220 g off, where 20 + 3 % of 5 500 = 185 g are
/// allowed.
#[tokio::test]
async fn scale_and_certificate_too_far_apart_are_refused() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let answer = receive(&mut app, &[("l0_c0_gross", "5700")]).await;
    let told = answer
        .field_error("l0_c0_net")
        .expect("told beside the net mass");
    assert_eq!(
        told,
        "gross less tare is 5280 g, 220 g off the net mass of 5500 g, and 185 g are allowed; weigh it again, or enter as net what is there"
    );
    let near = receive(&mut app, &[("l0_c0_gross", "5740")]).await;
    assert_eq!(
        near.location(),
        "/receiving/receipts/1",
        "180 g off: {}",
        near.body
    );
}

/// Buttons that add and take out only show the form again: no entry is lost, and nothing is booked.
#[tokio::test]
async fn rows_are_added_and_taken_out_without_losing_an_entry() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let before = number(&app, JOURNAL).await;
    for (press, there, gone) in [
        ("add-can.0", "name=\"l0_c2_code\"", "name=\"l0_c3_code\""),
        (
            "add-lot",
            "name=\"l2_code\" type=\"text\" value=\"L0418\"",
            "name=\"l3_code\"",
        ),
        (
            "add-element.0",
            "name=\"l0_e2_symbol\"",
            "name=\"l0_e3_symbol\"",
        ),
        (
            "take-can-out.0.0",
            "value=\"AL-BOTTLE-2\"",
            "name=\"l0_c1_code\"",
        ),
        ("take-lot-out.0", "value=\"NI-1\"", "name=\"l1_code\""),
        // What a scanner's Enter presses.
        ("look", "value=\"S9001\"", "name=\"l2_code\""),
    ] {
        let answer = receive(&mut app, &[("do", press)]).await;
        assert_eq!(answer.status, StatusCode::OK, "{press}: {}", answer.body);
        assert!(
            answer.contains(there) && !answer.contains(gone),
            "{press}: {}",
            answer.body
        );
        assert!(
            answer.contains("value=\"NI-0107\"") && answer.contains("value=\"valve bent\""),
            "{press}"
        );
    }
    assert_eq!(number(&app, JOURNAL).await, before);
    let first = app.get(NEW).await;
    let button = first
        .body
        .find("<button")
        .expect("a button after the page's head");
    let in_form = &first.body[first
        .body
        .find("action=\"/receiving/new\"")
        .expect("a form")..];
    assert!(button > 0);
    let pressed = in_form.split("<button").nth(1).expect("a first button");
    assert!(
        pressed.contains("value=\"look\""),
        "Enter presses the first: {pressed}"
    );
}

/// The certificate's photo is chosen once. The form comes back with a fault and with the photo, and the receipt
/// hangs it on its lot.
#[tokio::test]
async fn a_photo_outlives_a_fault() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let photo = jpeg();
    let file = SentFile {
        name: "C-2301.jpg",
        media_type: "image/jpeg",
        bytes: &photo,
    };
    let wrong = with(&[("l1_c0_net", "")]);
    let answer = app.post_files_in(NEW, &wrong, &[("l0_files", file)]).await;
    assert_eq!(
        answer.status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "{}",
        answer.body
    );
    assert!(
        answer.contains("Chosen already: <b>C-2301.jpg</b>"),
        "{}",
        answer.body
    );
    let kept = mendpost_tests::between(&answer.body, "name=\"l0_kept\" value=\"", "\"");
    let kept = kept.expect("a word by which it is found").to_owned();
    assert_eq!(
        number(&app, "select count(*) from attachment").await,
        Some(0),
        "nothing is stored yet"
    );

    let right = with(&[("l0_kept", &kept)]);
    let answer = app.post_files_in(NEW, &right, &[]).await;
    assert_eq!(
        answer.location(),
        "/receiving/receipts/1",
        "{}",
        answer.body
    );
    let hangs = "select count(*) from attached where subject_kind = 'lot' and subject = 'L0416' and caption = 'certificate'";
    assert_eq!(number(&app, hangs).await, Some(1));
    assert!(app.get("/powder/L0416").await.contains("C-2301.jpg"));
}

/// A word that finds no file asks for it again; a file that is none is told beside its field.
#[tokio::test]
async fn a_file_that_is_gone_or_none_is_told() {
    let mut app = App::signed_in(Role::Storekeeper).await;
    let answer = receive(&mut app, &[("l0_kept", "feed")]).await;
    let told = answer.field_error("l0_files");
    assert_eq!(
        told,
        Some("the file chosen before is no longer at hand; choose it again")
    );
    let file = SentFile {
        name: "C-2301.jpg",
        media_type: "image/jpeg",
        bytes: b"no picture",
    };
    let answer = app
        .post_files_in(NEW, &with(&[]), &[("l0_files", file)])
        .await;
    let told = answer.field_error("l0_files").unwrap_or_default();
    assert!(told.contains("C-2301.jpg"), "{told} {}", answer.body);
    assert_eq!(number(&app, "select count(*) from receipt").await, Some(0));
}
