//! Photos that come with the report.

use std::io::Cursor;

use axum::http::StatusCode;
use image::{ImageFormat, Rgb, RgbImage};
use mendpost_tests::{App, SentFile};

use super::{journal_length, number, planned, report_with, text};

/// A small JPEG of one colour.
pub fn photo(colour: [u8; 3]) -> Vec<u8> {
    let mut bytes = Vec::new();
    RgbImage::from_pixel(64, 48, Rgb(colour))
        .write_to(&mut Cursor::new(&mut bytes), ImageFormat::Jpeg)
        .expect("it can be encoded");
    bytes
}

pub fn sent<'a>(name: &'a str, bytes: &'a [u8]) -> SentFile<'a> {
    SentFile {
        name,
        media_type: "image/jpeg",
        bytes,
    }
}

async fn hanging(app: &App) -> Option<i64> {
    number(app, "select count(*) from attached where subject = '38'").await
}

/// Two photos come with the report, in the same change; they say what is broken, so no words are needed.
#[tokio::test(flavor = "multi_thread")]
async fn photos_are_filed_with_the_report() {
    let mut app = planned().await;
    let before = journal_length(&app).await;
    let (hub, blade) = (photo([200, 30, 30]), photo([30, 30, 200]));
    let photos = [sent("hub.jpg", &hub), sent("blade.jpg", &blade)];
    let answer = report_with(&mut app, &[("description", "")], &photos).await;
    assert_eq!(
        (answer.status, answer.location()),
        (StatusCode::SEE_OTHER, "/requests/38")
    );
    assert_eq!(hanging(&app).await, Some(2));
    // The request, the machine that is down, and a photo each.
    assert_eq!(journal_length(&app).await, before + 4);
    let kinds =
        "select group_concat(kind) from (select kind from journal order by sequence desc limit 4)";
    assert_eq!(
        text(&app, kinds).await.as_deref(),
        Some("attachment.added,attachment.added,asset.down,request.filed")
    );
    let page = app.get("/requests/38").await;
    assert!(page.contains("with 2 photos"), "{}", page.body);
    assert!(page.contains("hub.jpg") && page.contains("blade.jpg"));
}

/// A text under a picture's name, and a picture cut short: told beside the field, what was typed is kept,
/// nothing is filed, and the photos must be chosen again.
#[tokio::test(flavor = "multi_thread")]
async fn a_faulty_photo_costs_no_word_of_the_report() {
    let mut app = planned().await;
    let before = journal_length(&app).await;
    let good = photo([200, 30, 30]);
    for (name, bytes, fault) in [
        (
            "hub.jpg",
            b"no picture".as_slice(),
            "“hub.jpg” is a text; taken are JPEG, PNG and WebP pictures and PDF papers",
        ),
        (
            "hub.jpg",
            &good[..good.len() / 3],
            "“hub.jpg” starts as a JPEG picture and cannot be read to its end",
        ),
        ("hub.jpg", b"".as_slice(), "“hub.jpg” is empty"),
    ] {
        let photos = [sent("good.jpg", &good), sent(name, bytes)];
        let page = report_with(&mut app, &[], &photos).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        let told = page.field_error("files").expect("a fault at the photos");
        assert!(told.starts_with(fault), "{told}");
        assert!(page.contains("the 2 photos were not kept: choose them again"));
        for typed in [
            "Two blades gone, hub cracked 40 mm",
            "a-0417",
            "2026-11-25T13:00",
        ] {
            assert!(page.contains(typed), "{typed} is kept");
        }
    }
    assert_eq!(journal_length(&app).await, before);
    assert_eq!(
        number(&app, "select count(*) from attachment").await,
        Some(0)
    );
    assert_eq!(
        number(&app, "select max(number) from request").await,
        Some(37)
    );
}

/// Good photos beside a field that is wrong: they too must be chosen again, and it is said so.
#[tokio::test(flavor = "multi_thread")]
async fn photos_beside_a_wrong_field_must_be_chosen_again() {
    let mut app = planned().await;
    let good = photo([200, 30, 30]);
    let photos = [sent("good.jpg", &good)];
    let page = report_with(&mut app, &[("asked_by", "")], &photos).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("the photo was not kept: choose it again"));
    assert_eq!(
        number(&app, "select count(*) from attachment").await,
        Some(0)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn more_than_ten_photos_at_once_are_too_many() {
    let mut app = planned().await;
    let photos: Vec<Vec<u8>> = (0..11).map(|n| photo([n * 20, 30, 30])).collect();
    let photos: Vec<SentFile<'_>> = photos.iter().map(|bytes| sent("p.jpg", bytes)).collect();
    let page = report_with(&mut app, &[], &photos).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        page.field_error("files"),
        Some("11 files are too many at once; choose at most 10")
    );
}
