//! What is no sheet, and what is wrong in one: told by line and column, and nothing stored.

use axum::http::StatusCode;
use mendpost_core::people::Role;
use mendpost_tests::{App, number};

use super::{JOURNAL, fault, faults, send};

const HEADER: &str = "code,name,x_mm,y_mm,z_mm,mass_g,flags";

/// Each sheet has one fault: line, column, and what to do.
#[tokio::test]
async fn each_fault_is_told_by_line_and_column() {
    let mut app = App::signed_in(Role::Lead).await;
    let before = number(&app, JOURNAL).await;
    let row = "A,a,1,2,3,4,guard";
    for (sheet, told) in [
        (
            String::new(),
            "all | all | the file is empty; its first line holds the columns code,name,x_mm,y_mm,z_mm,mass_g,flags",
        ),
        (
            "# nothing\n\n".to_owned(),
            "all | all | the file is empty; its first line holds the columns code,name,x_mm,y_mm,z_mm,mass_g,flags",
        ),
        (
            format!("{HEADER}\n"),
            "all | all | no row stands under the columns; there is nothing to bring in",
        ),
        (
            format!("{HEADER},colour\n{row},red\n"),
            "1 | all | unknown column 'colour'; known are code, name, x_mm, y_mm, z_mm, mass_g, flags, assets, allowance_mm",
        ),
        (
            "code,name,x_mm,y_mm,z_mm,flags\nA,a,1,2,3,guard\n".to_owned(),
            "1 | all | the column 'mass_g' is missing",
        ),
        (
            format!("{HEADER},flags\n{row},guard\n"),
            "1 | all | the column 'flags' is there twice",
        ),
        (
            format!("{HEADER}\nA,gear, box,1,2,3,4,guard\n"),
            "2 | all | 8 fields under 7 columns; a text with a comma in it goes between double quotes",
        ),
        (
            "code;name;x_mm;y_mm;z_mm;mass_g;flags\nA;a;1;2;3;4\n".to_owned(),
            "2 | all | 6 fields under 7 columns; each column has a field, also an empty one",
        ),
        (
            format!("{HEADER}\n{row}\nB,b,1,2,3,4,guard\n{row}\n"),
            "4 | code | 'A' is listed twice",
        ),
        (
            format!("{HEADER}\n\n# remark\nA,a,1,2,3,x,guard\n"),
            "4 | mass_g | 'x' is not a number; use figures with at most one point or comma",
        ),
        (
            format!("{HEADER}\nA,a,1,2,3,0,guard\n"),
            "2 | mass_g | 0 is out of range; enter 1 to 100000000",
        ),
        (
            format!("{HEADER}\nA,a,1,2,3,\"1,500\",guard\n"),
            "2 | mass_g | '1,500' may mean thousands or decimals; write 1500 for thousands, else fewer or more decimals",
        ),
        (
            format!("{HEADER}\nA,a,1,2,3,1.000,guard\n"),
            "2 | mass_g | '1.000' may mean thousands or decimals; write 1000 for thousands, else fewer or more decimals",
        ),
        (
            format!("{HEADER}\nA,,1,2,3,4,guard\n"),
            "2 | name | nothing is given, and it is needed",
        ),
        (
            format!("{HEADER}\nA,\"two\nlines\",1,2,3,4,guard\nB,b,1,2,3,4,guard\n"),
            "2 | name | the character '\\n'; write it on one line",
        ),
        (
            format!("{HEADER}\nA b,a,1,2,3,4,guard\n"),
            "2 | code | 'A b' has the character ' '; use letters, figures, '-', '.' and '+'",
        ),
        (
            format!("{HEADER}\nA/B,a,1,2,3,4,guard\n"),
            "2 | code | 'A/B' cannot be found by an address; leave out '/', and do not call it '.', '..' or 'new'",
        ),
        (
            format!("{HEADER}\nA,a,1,2,3,4,guards\n"),
            "2 | flags | 'guards' is none of: form-only, guard, food-or-water, carries-load, can-injure, lifts, holds-pressure, steers-or-brakes, explosive-area, unknown",
        ),
    ] {
        assert_eq!(
            fault(&mut app, "parts", &[("parts", sheet.as_bytes())]).await,
            told,
            "{sheet}"
        );
    }
    assert_eq!(number(&app, JOURNAL).await, before);
}

/// A spreadsheet program that saved in Windows-1252 wrote 'ü' as one byte, on line 3.
#[tokio::test]
async fn another_character_set_is_told_with_how_to_save() {
    let mut app = App::signed_in(Role::Lead).await;
    let sheet = [
        HEADER.as_bytes(),
        b"\nA,a,1,2,3,4,guard\nB,T\xfcr,1,2,3,4,guard\n",
    ]
    .concat();
    assert_eq!(
        fault(&mut app, "parts", &[("parts", &sheet)]).await,
        "3 | all | not UTF-8 text; save the file as CSV with the character set UTF-8"
    );
}

/// 10 000 rows are read, one more is not; a workbook, too much and nothing at all are told at the field.
#[tokio::test]
async fn what_is_no_sheet_is_told_at_its_field() {
    let mut app = App::signed_in(Role::Lead).await;
    let rows = |count: usize| {
        let rows: String = (0..count)
            .map(|n| format!("P{n},p,1,2,3,4,guard\n"))
            .collect();
        format!("{HEADER}\n{rows}")
    };
    let most = send(&mut app, "parts", &[("parts", rows(10_000).as_bytes())]).await;
    assert!(most.contains("10\u{202f}000 new"), "{}", most.status);
    assert_eq!(
        fault(&mut app, "parts", &[("parts", rows(10_001).as_bytes())]).await,
        "all | all | more than 10000 rows; part it into several files"
    );
    let large = vec![b'#'; (1 << 20) + 1];
    for (bytes, told) in [
        (
            &b"PK\x03\x04 and so on"[..],
            "this is a workbook; save its sheet as CSV with the character set UTF-8, and send that",
        ),
        (
            &large[..],
            "1025 KiB are too much at once; send at most 1024 KiB, in several parts",
        ),
    ] {
        let answer = send(&mut app, "parts", &[("parts", bytes)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(answer.field_error("parts"), Some(told));
    }
    let none = send(&mut app, "parts", &[]).await;
    assert_eq!(none.field_error("parts"), Some("choose a file first"));
}

/// Faults beyond 500 are counted; a column of nonsense hides none of the first.
#[tokio::test]
async fn so_many_faults_are_counted() {
    let mut app = App::signed_in(Role::Lead).await;
    let rows: String = (0..600)
        .map(|n| format!("P{n},p,1,2,3,none,guard\n"))
        .collect();
    let answer = send(
        &mut app,
        "parts",
        &[("parts", format!("{HEADER}\n{rows}").as_bytes())],
    )
    .await;
    assert_eq!(faults(&answer).len(), 500);
    assert!(answer.contains("Put 600 faults right") && answer.contains("And 100 more."));
}
